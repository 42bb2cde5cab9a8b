"""Parts of a clip's frame as small RGB pictures: reduced, or resampled round many points at once.

Planes are cut and resampled before their colours are made, so that a part costs what it shows and not what it
covers.
"""

from __future__ import annotations

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
Floats = NDArray[np.float32]


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
    """Square patches round points, each sampled bilinearly at its own step.

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
    middles, steps = np.array(at, np.float32), np.array(step, np.float32)
    reach = (np.arange(side, dtype=np.float32) - np.float32((side - 1) / 2))[None] * steps[:, None]
    x, y = middles[:, :1] + reach, middles[:, 1:] + reach
    if isinstance(picture, Packed):
        upright = picture.turn.view(picture.pixels)
        rgb = _sampled(upright, *_grid(x, y, upright.shape, frame.size))
        return np.asarray(rgb, np.uint8).reshape(n, side, side, 3)
    luma = picture.turn.view(picture.y)
    planes: list[NDArray[Any] | None] = [_sampled(luma, *_grid(x, y, luma.shape, frame.size)), None, None]
    if picture.cb is not None and picture.cr is not None:
        both = [picture.turn.view(plane) for plane in (picture.cb, picture.cr)]
        grid = _grid(x, y, both[0].shape, frame.size)
        planes[1:] = [_sampled(plane, *grid) for plane in both]
    y_, cb, cr = planes
    assert y_ is not None
    small = YCbCr(y_, cb, cr, replace(picture.coding, centred=True), UPRIGHT)
    return small.rgb((0, 0, side, n * side)).reshape(n, side, side, 3)


def _grid(
    x: Floats, y: Floats, shape: tuple[int, ...], size: tuple[int, int]
) -> tuple[tuple[slice, slice], Floats, Floats]:
    """The part of a plane that is needed, and where in it each sample lies: (n * side, side) twice."""
    high, wide = shape[:2]
    # Chroma has one sample for so many px of the frame.
    across, down = -(-size[0] // wide), -(-size[1] // high)
    u, v = x / np.float32(across) - np.float32(0.5), y / np.float32(down) - np.float32(0.5)
    x0, y0 = (min(max(int(w.min()) - 1, 0), n - 1) for w, n in ((u, wide), (v, high)))
    x1, y1 = (min(max(int(w.max()) + 3, o + 1), n) for w, o, n in ((u, x0, wide), (v, y0, high)))
    side = x.shape[1]
    columns = np.repeat(u - np.float32(x0), side, axis=0)
    rows = np.repeat((v - np.float32(y0)).reshape(-1, 1), side, axis=1)
    return (slice(y0, y1), slice(x0, x1)), columns, rows


def _sampled(plane: NDArray[Any], part: tuple[slice, slice], columns: Floats, rows: Floats) -> NDArray[Any]:
    """The patches under one another, (n * side, side, ...): one call for all of them."""
    cut = plane[part]
    if min(cut.strides) < 0 or cut.strides[0] < cut.strides[1]:
        cut = np.ascontiguousarray(cut)  # a picture that was turned upright
    return cv2.remap(cut, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def _reduced(plane: NDArray[Any], width: int, height: int) -> NDArray[Any]:
    """Reduced by area means; by halves where that is even, which is many times faster than other ratios."""
    plane = np.ascontiguousarray(plane)
    while plane.shape[1] >= 2 * width and plane.shape[0] >= 2 * height and plane.shape[1] > 2:
        half = plane.shape[1] // 2, plane.shape[0] // 2
        plane = cv2.resize(plane, half, interpolation=cv2.INTER_AREA)
    if plane.shape[:2] != (height, width):
        plane = cv2.resize(plane, (width, height), interpolation=cv2.INTER_LINEAR)
    return plane
