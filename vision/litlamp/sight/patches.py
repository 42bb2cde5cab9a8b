"""Parts of a clip's frame as small RGB pictures: reduced, or resampled round many points at once.

Planes are cut and resampled before their colours are made, so that a part costs what it shows and not what it
covers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.box import Box
from litlamp.media.clip_frame import ClipFrame
from litlamp.media.planes import UPRIGHT, Packed, YCbCr, whole_pixels

Pixels = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a frame: `rgb` uint8 (h, w, 3), px of the frame = (x0, y0) + px of the part * `by`."""

    rgb: Pixels
    x0: float
    y0: float
    by: float

    def to_frame(self, x: float, y: float) -> tuple[float, float]:
        """The frame's point under a point of the part."""
        return self.x0 + x * self.by, self.y0 + y * self.by


def part_of(frame: ClipFrame, box: Box | None = None, by: int = 1) -> Part:
    """The whole px that `box` touches (all for None), each side reduced `by` a power of two by area means.

    Raises
    ------
    ValueError
        The box lies outside the picture.
    """
    x0, y0, x1, y1 = whole_pixels(box, frame.size)
    if by == 1:
        return Part(frame.picture.rgb((x0, y0, x1, y1)), x0, y0, 1)
    # Cut where chroma samples begin, and to whole px of the reduced part.
    x0, y0 = x0 // (2 * by) * 2 * by, y0 // (2 * by) * 2 * by
    wide, high = max((x1 - x0) // by, 1), max((y1 - y0) // by, 1)
    x1, y1 = min(x0 + wide * by, frame.size[0]), min(y0 + high * by, frame.size[1])
    picture = frame.picture
    if isinstance(picture, Packed):
        rgb = _reduced(picture.turn.view(picture.pixels)[y0:y1, x0:x1], wide, high)
        return Part(np.asarray(rgb, np.uint8), x0, y0, by)
    planes: list[NDArray[Any] | None] = []
    for plane in (picture.y, picture.cb, picture.cr):
        if plane is None:
            planes.append(None)
            continue
        upright = picture.turn.view(plane)
        down, across = (-(-n // m) for n, m in zip(frame.size[::-1], upright.shape, strict=True))
        cut = upright[y0 // down : -(-y1 // down), x0 // across : -(-x1 // across)]
        planes.append(_reduced(cut, wide, high))
    y, cb, cr = planes
    assert y is not None
    small = YCbCr(y, cb, cr, replace(picture.coding, centred=True), UPRIGHT)
    return Part(small.rgb((0, 0, wide, high)), x0, y0, by)


def patches(frame: ClipFrame, at: Sequence[tuple[float, float]], step: Sequence[float], side: int) -> Pixels:
    """Square patches round points, each sampled at its own step from area means about as wide.

    Parameters
    ----------
    at : centres, frame px (edges' coordinates: the first px spans 0 to 1).
    step : frame px between two samples, for each.
    side : samples a side.

    Returns
    -------
    uint8, shape (n, side, side, 3), sRGB. Beyond the frame its edge is repeated.
    """
    picture = frame.picture
    n = len(at)
    if isinstance(picture, Packed):
        (rgb,) = _sampled([picture.turn.view(picture.pixels)], frame.size, at, step, side)
        return np.asarray(rgb, np.uint8)
    view = picture.turn.view
    planes = _sampled([view(picture.y)], frame.size, at, step, side)
    if picture.cb is None or picture.cr is None:
        planes += [np.full_like(planes[0], 1 << (picture.coding.bits - 1))] * 2
    else:
        planes += _sampled([view(picture.cb), view(picture.cr)], frame.size, at, step, side)
    codes = cv2.merge([plane.reshape(n * side, side) for plane in planes])
    return picture.coding.rgb(codes).reshape(n, side, side, 3)


def _sampled(
    planes: Sequence[NDArray[Any]],
    size: tuple[int, int],
    at: Sequence[tuple[float, float]],
    step: Sequence[float],
    side: int,
) -> list[NDArray[Any]]:
    """The patches of planes of one shape, of a frame of that size: (n, side, side, ...) of each."""
    high, wide = planes[0].shape[:2]
    # Chroma has one sample for so many px of the frame.
    across, down = -(-size[0] // wide), -(-size[1] // high)
    out = [np.empty((len(at), side, side, *plane.shape[2:]), plane.dtype) for plane in planes]
    half = side / 2
    for i, ((x, y), apart) in enumerate(zip(at, step, strict=True)):
        u, v, du, dv = x / across, y / down, apart / across, apart / down
        # A large lamp of many points of light would flicker with every px that it moves if not all of them
        # were looked at.
        by = 1 << int(math.log2(max(du, 1.0)))
        x0, x1 = _stretch(u, half * du, by, wide)
        y0, y1 = _stretch(v, half * dv, by, high)
        du, dv = du / by, dv / by
        first = (u - x0) / by - (half - 0.5) * du - 0.5, (v - y0) / by - (half - 0.5) * dv - 0.5
        way = np.array([[du, 0.0, first[0]], [0.0, dv, first[1]]])
        for plane, patches_of in zip(planes, out, strict=True):
            cut = _in_rows(plane[y0:y1, x0:x1])
            for _ in range(by.bit_length() - 1):
                smaller = max(cut.shape[1] // 2, 1), max(cut.shape[0] // 2, 1)
                cut = cv2.resize(cut, smaller, interpolation=cv2.INTER_AREA)
            cv2.warpAffine(cut, way, (side, side), patches_of[i], _HOW, cv2.BORDER_REPLICATE)
    return out


_HOW = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP


def _stretch(middle: float, reach: float, by: int, end: int) -> tuple[int, int]:
    """The px of a row, `end` long, that are needed so far round its middle: whole groups of `by`, if any."""
    first = min(max(int(middle - reach) - by, 0), end - 1) // by * by
    count = max(-(-(int(middle + reach) + 1 + by - first) // by), 1)
    last = min(first + count * by, end)
    # Of a group that the edge cuts off nothing is taken, unless there is nothing else.
    return first, max(last - (last - first) % by, min(first + by, end))


def _in_rows(plane: NDArray[Any]) -> NDArray[Any]:
    """The same, copied only where it was turned upright, for OpenCV reads rows from left to right."""
    turned = min(plane.strides) < 0 or plane.strides[0] < plane.strides[1]
    return np.ascontiguousarray(plane) if turned else plane


def _reduced(plane: NDArray[Any], width: int, height: int) -> NDArray[Any]:
    """Reduced by area means; by halves where that is even, which is many times faster than other ratios."""
    plane = _in_rows(plane)
    while plane.shape[1] >= 2 * width and plane.shape[0] >= 2 * height and plane.shape[1] > 2:
        half = plane.shape[1] // 2, plane.shape[0] // 2
        plane = cv2.resize(plane, half, interpolation=cv2.INTER_AREA)
    if plane.shape[:2] != (height, width):
        plane = cv2.resize(plane, (width, height), interpolation=cv2.INTER_LINEAR)
    return plane
