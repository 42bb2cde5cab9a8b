"""A linear-light picture being painted: anti-aliased stamps, the air between, what hides what.

Colours are R G B in linear sRGB primaries; shading knows one sun and one sky. Masks are drawn larger than
the picture and averaged down, so a thing of half a pixel still has the right weight.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.scene.light import Glow, Radiance

Points = NDArray[np.float64]
Colour3 = tuple[float, float, float]

_SHIFT = 4
_TABLES: dict[str, NDArray[np.float32]] = {}
_CLOUDS: dict[int, Radiance] = {}
_CLOUD_SIDE = 512


def linear(rgb: NDArray[np.uint8]) -> Radiance:
    """SRGB bytes to linear light, 0 to 1 (IEC 61966-2-1)."""
    if "linear" not in _TABLES:
        v = np.arange(256, dtype=np.float64) / 255
        _TABLES["linear"] = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)
    return _TABLES["linear"][rgb]


def srgb(red: int, green: int, blue: int) -> Colour3:
    """One sRGB colour as linear light."""
    out = linear(np.array([red, green, blue], np.uint8))
    return float(out[0]), float(out[1]), float(out[2])


def noise(rng: np.random.Generator, height: int, width: int, cell: float, stretch: float = 1.0) -> Radiance:
    """1/f noise, float32 (height, width), mean about 0 and deviation about 1; `cell` px is its large scale.

    Cut from one of four large tiles made once, at a random place, mirrored and scaled: fast, and the same
    generator state gives the same noise. `stretch` > 1 draws it out along the rows.
    """
    which = int(rng.integers(4))
    if which not in _CLOUDS:
        _CLOUDS[which] = _cloud(which)
    tile = _CLOUDS[which]
    step = 64.0 / max(cell, 1.0)  # tile px per picture px; a tile's large features span about 64 px
    h = min(max(int(height * step) + 2, 3), _CLOUD_SIDE)
    w = min(max(int(width * step / stretch) + 2, 3), _CLOUD_SIDE)
    y, x = int(rng.integers(_CLOUD_SIDE - h + 1)), int(rng.integers(_CLOUD_SIDE - w + 1))
    cut = tile[y : y + h, x : x + w]
    if rng.random() < 0.5:
        cut = cut[:, ::-1]
    way = cv2.INTER_AREA if h > height and w > width else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(np.ascontiguousarray(cut), (width, height), interpolation=way), np.float32)


def _cloud(seed: int) -> Radiance:
    rng = np.random.default_rng((911, seed))
    out = np.zeros((_CLOUD_SIDE, _CLOUD_SIDE), np.float32)
    side, weight = 8, 1.0
    while side <= _CLOUD_SIDE:
        grain = rng.standard_normal((side, side)).astype(np.float32)
        grain = np.tile(grain, (2, 2))[: side + 1, : side + 1]
        out += weight * cv2.resize(grain, (_CLOUD_SIDE, _CLOUD_SIDE), interpolation=cv2.INTER_CUBIC)
        side, weight = side * 2, weight * (0.62 + 0.06 * seed)
    return np.asarray((out - out.mean()) / out.std(), np.float32)


@dataclass(frozen=True, slots=True)
class Sun:
    """Where light comes from, for shading: a unit vector to the sun (x right, y up, z to the viewer).

    direct and sky are the radiance of a white surface facing each alone; sky_tint colours the second.
    """

    x: float
    y: float
    z: float
    direct: float
    sky: float
    sky_tint: Colour3 = (0.9, 0.97, 1.1)

    def shade(self, nx: float, ny: float, nz: float) -> Colour3:
        """Radiance (R, G, B) of a white surface with that normal."""
        lit = self.direct * max(0.0, nx * self.x + ny * self.y + nz * self.z)
        sky = self.sky * (0.65 + 0.35 * ny)
        return lit + sky * self.sky_tint[0], lit + sky * self.sky_tint[1], lit + sky * self.sky_tint[2]


def times(a: Colour3, b: Colour3, by: float = 1.0) -> Colour3:
    """Channel by channel product."""
    return a[0] * b[0] * by, a[1] * b[1] * by, a[2] * b[2] * by


@dataclass(slots=True)
class Canvas:
    """The picture under way.

    Attributes
    ----------
    radiance : float32 (H, W, 3), painted in place.
    sun : shading.
    air, clear : haze colour and the share of light that reaches the camera from things painted now.
    glows : lit lamps; things painted later in front of them dim their masks.
    veil : float32 (H, W), how much has been painted since `watch_veil`, or None.
    """

    radiance: Radiance
    sun: Sun
    air: Colour3 = (0.7, 0.75, 0.8)
    clear: float = 1.0
    glows: list[Glow] = field(default_factory=list)
    veil: Radiance | None = None

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) in px."""
        return int(self.radiance.shape[1]), int(self.radiance.shape[0])

    def stamp(
        self, mask: Radiance, origin: tuple[int, int], colour: Colour3 | Radiance, hides: bool = True
    ) -> None:
        """Lay a colour, (3,) or (h, w, 3), over the picture by coverage `mask` (h, w), 0 to 1."""
        x0, y0 = origin
        width, height = self.size
        left, top = max(x0, 0), max(y0, 0)
        right, bottom = min(x0 + mask.shape[1], width), min(y0 + mask.shape[0], height)
        if left >= right or top >= bottom:
            return
        cut = (slice(top - y0, bottom - y0), slice(left - x0, right - x0))
        part = mask[cut]
        paint = (
            np.asarray(colour, np.float32)
            if isinstance(colour, tuple)
            else np.asarray(colour[cut], np.float32)
        )
        if self.clear < 1.0:
            paint = paint * np.float32(self.clear) + np.asarray(self.air, np.float32) * np.float32(
                1 - self.clear
            )
        under = self.radiance[top:bottom, left:right]
        under += part[..., None] * (paint - under)
        if not hides:
            return
        if self.veil is not None:
            seen = self.veil[top:bottom, left:right]
            np.maximum(seen, part, out=seen)
        for i, glow in enumerate(self.glows):
            gx, gy = glow.origin
            gh, gw = glow.mask.shape
            ax0, ay0, ax1, ay1 = max(left, gx), max(top, gy), min(right, gx + gw), min(bottom, gy + gh)
            if ax0 < ax1 and ay0 < ay1:
                dimmed = glow.mask.copy()
                dimmed[ay0 - gy : ay1 - gy, ax0 - gx : ax1 - gx] *= (
                    1 - part[ay0 - top : ay1 - top, ax0 - left : ax1 - left]
                )
                self.glows[i] = replace(glow, mask=dimmed)

    def polygons(
        self, shapes: Sequence[Points], colour: Colour3, alpha: float = 1.0, texture: Radiance | None = None
    ) -> None:
        """Fill shapes (each (n, 2) px) as one stamp; `texture` is a noise field of the picture's size."""
        found = cover(shapes, self.size)
        if found is None:
            return
        mask, origin = found
        if alpha < 1.0:
            mask = mask * np.float32(alpha)
        if texture is None:
            self.stamp(mask, origin, colour)
            return
        h, w = mask.shape
        grain = texture[origin[1] : origin[1] + h, origin[0] : origin[0] + w, None]
        self.stamp(mask, origin, np.asarray(colour, np.float32) * np.maximum(grain, 0.05))

    def pipe(
        self,
        start: tuple[float, float],
        end: tuple[float, float],
        radius: float,
        albedo: Colour3,
        end_radius: float | None = None,
        gloss: float = 0.0,
    ) -> None:
        """A cylinder seen from the side, shaded round its girth; radius px, tapering to `end_radius`."""
        r1 = radius if end_radius is None else end_radius
        (ax, ay), (bx, by) = start, end
        length = math.hypot(bx - ax, by - ay)
        if length < 1e-6:
            return
        ux, uy = (bx - ax) / length, (by - ay) / length
        big = max(radius, r1) + 1
        nx, ny = -uy, ux  # across the axis
        if nx < 0:
            nx, ny = -nx, -ny
        corners = np.array(
            [[ax + nx * big, ay + ny * big], [ax - nx * big, ay - ny * big],
             [bx - nx * big, by - ny * big], [bx + nx * big, by + ny * big]]
        )  # fmt: skip
        width, height = self.size
        x0, y0 = np.floor(corners.min(0)).astype(int)
        x1, y1 = np.ceil(corners.max(0)).astype(int) + 1
        x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, width), min(y1, height)
        if x0 >= x1 or y0 >= y1:
            return
        px = np.arange(x0, x1, dtype=np.float32) + np.float32(0.5 - ax)
        py = (np.arange(y0, y1, dtype=np.float32) + np.float32(0.5 - ay))[:, None]
        along = px * np.float32(ux) + py * np.float32(uy)
        across = px * np.float32(nx) + py * np.float32(ny)
        r = np.float32(radius) + np.clip(along / length, 0, 1) * np.float32(r1 - radius)
        mask: Any = np.clip(np.minimum(across + 0.5, r) - np.maximum(across - 0.5, -r), 0, 1)
        mask *= np.clip(along + 0.5, 0, 1) * np.clip(length - along + 0.5, 0, 1)
        u = np.clip(across / np.maximum(r, 0.5), -1, 1)
        z = np.sqrt(1 - u * u)
        s = self.sun
        light: Any = np.float32(s.direct) * np.maximum(
            0, u * np.float32(s.x * nx - s.y * ny) + z * np.float32(s.z)
        )
        if gloss > 0 and s.direct > 0.1:
            peak = np.float32(np.clip(s.x * nx - s.y * ny, -0.85, 0.85) * 0.6)
            light = light + np.float32(gloss * s.direct) * np.exp(-((u - peak) ** 2) * 18)
        fill = np.float32(s.sky) * (0.55 + 0.35 * z)
        tint, paint = np.asarray(s.sky_tint, np.float32), np.asarray(albedo, np.float32)
        colour = (light[..., None] + fill[..., None] * tint) * paint
        self.stamp(mask.astype(np.float32), (int(x0), int(y0)), colour.astype(np.float32))

    def lines(
        self,
        segments: Sequence[tuple[tuple[float, float], tuple[float, float]]],
        radius: float,
        colour: Colour3,
        alpha: float = 1.0,
    ) -> None:
        """Many thin bars of one thickness and colour, as one stamp (ladders, wires, lattice)."""
        # Filling takes in the px under the outline, an eighth of a picture px more on each side.
        shapes = [bar(a, b, max(radius - 0.1, 0.06)) for a, b in segments if a != b]
        if shapes:
            self.polygons(shapes, colour, alpha)

    def watch_veil(self) -> None:
        """From now on record what is painted over the picture."""
        width, height = self.size
        self.veil = np.zeros((height, width), np.float32)


def bar(a: tuple[float, float], b: tuple[float, float], radius: float) -> Points:
    """The four corners of a thick line."""
    length = math.hypot(b[0] - a[0], b[1] - a[1])
    nx, ny = -(b[1] - a[1]) / length * radius, (b[0] - a[0]) / length * radius
    return np.array(
        [[a[0] + nx, a[1] + ny], [b[0] + nx, b[1] + ny], [b[0] - nx, b[1] - ny], [a[0] - nx, a[1] - ny]]
    )


def cover(
    shapes: Sequence[Points], size: tuple[int, int], finest: int = 4
) -> tuple[Radiance, tuple[int, int]] | None:
    """Coverage of the union of polygons inside a picture of that size: (mask, origin), or None if outside."""
    every = np.concatenate(list(shapes))
    x0, y0 = np.floor(every.min(0)).astype(int)
    x1, y1 = np.ceil(every.max(0)).astype(int) + 1
    x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, size[0]), min(y1, size[1])
    if x0 >= x1 or y0 >= y1:
        return None
    w, h = int(x1 - x0), int(y1 - y0)
    fine = 2 * finest if w * h < 1500 else finest if w * h < 40_000 else 2 if w * h < 400_000 else 1
    mask = np.zeros((h * fine, w * fine), np.uint8)
    offset = np.array([x0, y0], np.float64)
    at = np.round(((every - offset) * fine - 0.5) * (1 << _SHIFT)).astype(np.int32)
    first = 0
    for shape in shapes:
        part = at[first : first + len(shape)]
        first += len(shape)
        cv2.fillPoly(mask, [part], 255, cv2.LINE_AA if fine == 1 else cv2.LINE_8, _SHIFT)
    if fine > 1:
        mask = np.asarray(cv2.resize(mask, (w, h), interpolation=cv2.INTER_AREA), np.uint8)
    return mask.astype(np.float32) * np.float32(1 / 255), (int(x0), int(y0))


class Patch:
    """A small fine-grained board on which masks of one object are cut out of each other."""

    def __init__(self, shapes: Sequence[Points], span: float) -> None:
        """Cover the shapes; `span` px, the size of the thing that matters, sets how fine."""
        every = np.concatenate(list(shapes))
        low, high = np.floor(every.min(0)).astype(int) - 1, np.ceil(every.max(0)).astype(int) + 2
        self.origin = (int(low[0]), int(low[1]))
        self.size = (int(high[0] - low[0]), int(high[1] - low[1]))
        self.fine = 8 if span < 9 else 4 if span < 28 else 2 if span < 90 else 1

    def fill(self, *shapes: Points) -> NDArray[np.bool_]:
        """The union of polygons, fine (h, w)."""
        board = np.zeros((self.size[1] * self.fine, self.size[0] * self.fine), np.uint8)
        offset = np.array(self.origin, np.float64)
        every = np.concatenate(shapes)
        at = np.round(((every - offset) * self.fine - 0.5) * (1 << _SHIFT)).astype(np.int32)
        first = 0
        for shape in shapes:
            part = at[first : first + len(shape)]
            first += len(shape)
            cv2.fillPoly(board, [part], 1, cv2.LINE_8, _SHIFT)
        return board.view(np.bool_)

    def down(self, board: NDArray[np.bool_] | Radiance) -> Radiance:
        """Averaged to picture px, float32 (h, w)."""
        return np.asarray(
            cv2.resize(board.astype(np.float32), self.size, interpolation=cv2.INTER_AREA), np.float32
        )

    def grid(self) -> tuple[Radiance, Radiance]:
        """Picture coordinates of the fine px centres: x (1, w) and y (h, 1)."""
        x = (np.arange(self.size[0] * self.fine, dtype=np.float32) + 0.5) / self.fine + self.origin[0]
        y = (np.arange(self.size[1] * self.fine, dtype=np.float32) + 0.5) / self.fine + self.origin[1]
        return x.astype(np.float32)[None, :], y.astype(np.float32)[:, None]


def moved(shape: Points, x: float, y: float) -> Points:
    """A polygon shifted."""
    return np.asarray(shape + np.array([x, y]), np.float64)


def hull(*shapes: Points) -> Points:
    """Convex hull of polygons, (n, 2) px."""
    every = np.concatenate(shapes).astype(np.float32)
    return np.asarray(cv2.convexHull(every)[:, 0], np.float64)
