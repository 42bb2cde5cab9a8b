"""Pieces of a picture at many sizes, and how they are laid over another: sprites and the light of lamps."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.box import Box
from litlamp.scene.canvas import Canvas, Sun
from litlamp.scene.light import Glow, Radiance

Affine = NDArray[np.float64]  # (2, 3), px of a piece to px of the picture; px centres lie at 0.5, 1.5 ..
T = TypeVar("T")
_STEP = math.sqrt(2)


class Sizes:
    """A picture (h, w) or (h, w, n), float32, and ever smaller copies of it, each 0.7 of the one before."""

    def __init__(self, picture: Radiance, least: float = 0.0) -> None:
        """Make copies down to the scale `least`, or to one px."""
        self.pictures = [np.ascontiguousarray(picture, np.float32)]
        height, width = picture.shape[:2]
        scale = 1.0
        while min(width, height) * scale / _STEP >= 1 and scale / _STEP > least / _STEP:
            scale /= _STEP
            to = max(round(width * scale), 1), max(round(height * scale), 1)
            # From a copy of twice the size or more: rounding does not add up, and it stays cheap.
            source = self.pictures[max(len(self.pictures) - 2, 0)]
            self.pictures.append(np.asarray(cv2.resize(source, to, interpolation=cv2.INTER_AREA), np.float32))

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) of the largest."""
        return int(self.pictures[0].shape[1]), int(self.pictures[0].shape[0])

    def laid(self, affine: Affine, size: tuple[int, int]) -> tuple[Radiance, tuple[int, int]] | None:
        """The piece as it falls into a picture of that size: (part, its origin), or None if beside it."""
        width, height = self.size
        corners = np.array([[0, 0, 1], [width, 0, 1], [0, height, 1], [width, height, 1]]) @ affine.T
        (x0, y0), (x1, y1) = corners.min(axis=0) - 1, corners.max(axis=0) + 2
        left, top = int(max(x0, 0)), int(max(y0, 0))
        right, low = int(min(x1, size[0])), int(min(y1, size[1]))
        if left >= right or top >= low:
            return None
        (a, b), (c, d) = affine[:, :2]
        scale = math.sqrt(abs(float(a * d - b * c)))
        source = self.pictures[int(np.clip(math.floor(-2 * math.log2(max(scale, 1e-6)) + 0.25), 0, len(self.pictures) - 1))]  # fmt: skip # noqa: E501
        h, w = source.shape[:2]
        to_full = np.array([[width / w, 0.0], [0.0, height / h]])
        turn = affine[:, :2] @ to_full
        shift = turn @ np.array([0.5, 0.5]) + affine[:, 2] - 0.5 - np.array([left, top])
        part = cv2.warpAffine(
            source, np.column_stack([turn, shift]), (right - left, low - top), flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT, borderValue=0,
        )  # fmt: skip
        return np.asarray(part, np.float32), (left, top)


@dataclass(frozen=True, slots=True)
class Light:
    """A lamp's glow as a piece: `sizes` of its mask, its first px in the whole, and how bright it is."""

    sizes: Sizes
    origin: tuple[int, int]
    luminance: float


def light_of(glow: Glow) -> Light:
    """A glow as a piece; a rim of dark px about it lets it fall off evenly."""
    mask = cv2.copyMakeBorder(glow.mask, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    return Light(
        Sizes(np.asarray(mask, np.float32)), (glow.origin[0] - 1, glow.origin[1] - 1), glow.luminance
    )


def lay_over(
    picture: Radiance,
    piece: Sizes,
    affine: Affine,
    *,
    gain: float = 1.0,
    air: tuple[float, float, float] = (0.0, 0.0, 0.0),
    clear: float = 1.0,
    share: float = 1.0,
) -> None:
    """Lay a piece (h, w, 4), colour times cover and cover, over the picture in place.

    `gain` is how brightly it is lit, `clear` the share of its light that comes through the air, whose own
    colour `air` takes the place of the rest; `share` thins the whole piece out.
    """
    found = piece.laid(affine, (picture.shape[1], picture.shape[0]))
    if found is None:
        return
    part, (x, y) = found
    under = picture[y : y + part.shape[0], x : x + part.shape[1]]
    if share < 1:
        part *= np.float32(share)
    lay_part(under, part, gain * clear)
    if clear < 1:
        haze = np.asarray(air, np.float32) * np.float32(1 - clear)
        under += cv2.cvtColor(part[..., 3], cv2.COLOR_GRAY2RGB) * haze


def lay_part(under: Radiance, part: Radiance, gain: float = 1.0) -> None:
    """Lay a part (h, w, 4), colour times cover and cover, over as large a part of a picture, in place."""
    # Spread to three channels first: numpy is slow where one of a px meets three.
    under *= cv2.cvtColor(1 - part[..., 3], cv2.COLOR_GRAY2RGB)
    colour = cv2.cvtColor(part, cv2.COLOR_RGBA2RGB)
    under += colour if gain == 1 else colour * np.float32(gain)


def add_light(
    picture: Radiance,
    light: Light,
    affine: Affine,
    colour: Radiance,
    rows: Callable[[NDArray[np.float64]], NDArray[np.float64]],
) -> None:
    """Add a lamp to the picture in place. `rows` gives its light, 0 to 1, for rows of the picture."""
    moved = affine.copy()
    moved[:, 2] += affine[:, :2] @ np.array(light.origin, np.float64)
    found = light.sizes.laid(moved, (picture.shape[1], picture.shape[0]))
    if found is None:
        return
    part, (x, y) = found
    strength = np.asarray(rows(np.arange(y, y + part.shape[0]) + 0.5) * light.luminance, np.float32)
    picture[y : y + part.shape[0], x : x + part.shape[1]] += (part * strength[:, None])[..., None] * colour


def cut_out(
    paint: Callable[[Canvas, np.random.Generator], T], size: tuple[int, int], sun: Sun, seed: tuple[int, ...]
) -> tuple[Radiance, tuple[Glow, ...], T]:
    """What `paint` paints, cut out: (colour times cover and cover (h, w, 4), glows, its answer).

    It is painted twice, on black and on white, and must draw all chance from the generator it is given.
    """
    width, height = size
    black = Canvas(np.zeros((height, width, 3), np.float32), sun)
    white = Canvas(np.ones((height, width, 3), np.float32), sun)
    answer = paint(black, np.random.default_rng(seed))
    paint(white, np.random.default_rng(seed))
    cover = np.clip(1 - (white.radiance - black.radiance).mean(axis=2), 0, 1)
    return np.dstack([black.radiance, cover]).astype(np.float32), tuple(black.glows), answer


def moved_box(box: Box, affine: Affine) -> Box:
    """The box about a moved box."""
    corners = np.array([[x, y, 1] for x in (box.x0, box.x1) for y in (box.y0, box.y1)]) @ affine.T
    (x0, y0), (x1, y1) = corners.min(0), corners.max(0)
    return Box(float(x0), float(y0), float(x1), float(y1))


def moved_point(point: tuple[float, float], affine: Affine) -> tuple[float, float]:
    """A moved point."""
    x, y = affine @ np.array([point[0], point[1], 1.0])
    return float(x), float(y)
