"""A cheap look over the whole picture for places where a lit lamp may be.

High recall, little precision: a network looks at a window round each spot afterwards. A lit lamp, near or
far, by day or night, is compact and differs from all that surrounds it in at least one of four maps: how much
redder, yellower or greener it is than grey, and how bright. The maps are halved again and again, so that one
small filter finds lamps of every size; the best places are then measured on rings round each, and ranked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.media.frame import LARGE
from litlamp.sight.beside import AtOnce

Pixels = NDArray[np.uint8]
Plane = NDArray[np.uint8]
Floats = NDArray[np.float64]
Places = NDArray[np.int64]
Hue = Literal["red", "yellow", "green", "white"]

HUES: tuple[Hue, ...] = ("red", "yellow", "green", "white")

WORKING_SIDE = 1000
"""The long side of the largest maps, px."""
STRIP = 256_000
"""Px turned into maps at a time: they stay in the processor's cache however large the picture."""
LEAST_SIDE = 10
"""The maps are halved until a side would be shorter than this, px."""
MOST_PEAKS = (120, 64, 32, 16)
"""Places kept for measuring in each map: of the largest maps, the next, and so on."""
REACH = 7
"""Rows above and below that say whether a px is a peak."""
LEAST_CONTRAST = 6
"""A peak must stand so many grey levels above the mean round it."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A place where a lit lamp may be.

    (x, y) and `diameter` (where its light has fallen by half) are px of the picture; `strength` only ranks;
    `hue` names the map in which it stood out most and is no judgement of the lamp's colour.
    """

    x: float
    y: float
    diameter: float
    strength: float
    hue: Hue


class _Pyramid:
    """The maps of every size, kept end to end so that places of all sizes are measured at once."""

    def __init__(self, rgb: Pixels, side: int = WORKING_SIDE, others: Executor | None = None) -> None:
        others = others or AtOnce()
        planes, steps, peaks = [], [], []
        for index, (maps, step) in enumerate(_sizes(rgb, side, others)):
            planes.append(maps)
            steps.append(step)
            peaks.append(_peaks(maps, index, others))
        self.steps = np.array(steps)
        self.heights = np.array([maps.shape[0] for maps in planes])
        self.widths = np.array([maps.shape[1] for maps in planes])
        self.starts = np.concatenate([[0], np.cumsum(self.heights * self.widths)[:-1]])
        self.flat = np.concatenate([maps.reshape(-1, len(HUES)) for maps in planes])
        self.places: Places = np.concatenate(peaks)

    def at(self, level: NDArray[np.int64], x: NDArray[np.int64], y: NDArray[np.int64]) -> NDArray[np.int64]:
        """Positions in `flat` of the px nearest to (x, y); all three broadcast together."""
        x = np.minimum(np.maximum(x, 0), self.widths[level] - 1)
        y = np.minimum(np.maximum(y, 0), self.heights[level] - 1)
        return np.asarray(self.starts[level] + y * self.widths[level] + x)


def halved(rgb: Pixels) -> Pixels:
    """The picture at half its size, by area means; an odd last row or column is left out."""
    h, w = rgb.shape[0] // 2, rgb.shape[1] // 2
    half = cv2.resize(rgb[: 2 * h, : 2 * w], (w, h), interpolation=cv2.INTER_AREA)
    return np.asarray(half, np.uint8)


def scan(
    rgb: Pixels, limit: int = 48, side: int = WORKING_SIDE, *, others: Executor | None = None
) -> tuple[Spot, ...]:
    """The places most like a lit lamp, best first, at most `limit`.

    Parameters
    ----------
    rgb : uint8, shape (H, W, 3), colour order R G B; not written to.
    side : about how long the long side of the largest maps is to be, px; smaller ones cost less.
    others : who does half of the work meanwhile, if anyone.

    Raises
    ------
    ValueError : for an array of another shape or type.
    """
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
        raise ValueError(f"a uint8 (H, W, 3) picture is needed, not {rgb.dtype} {rgb.shape}")
    if min(rgb.shape[:2]) < 3 or limit < 1:
        return ()
    first, pool = _reduction(rgb, side)
    if min(rgb.shape[:2]) < first * pool:
        return ()  # A strip this thin leaves nothing of itself in the reduced maps.
    pyramid = _Pyramid(rgb, side, others)
    if not len(pyramid.places):
        return ()
    strength = _strength(measure(pyramid))
    x, y, size = whereabouts(pyramid)
    best = _distinct(x, y, size, strength, limit)
    wide = _diameters(pyramid, best)
    return tuple(
        Spot(float(x[i]), float(y[i]), float(d), float(strength[i]), HUES[pyramid.places[i, 1]])
        for i, d in zip(best, wide, strict=True)
    )


def whereabouts(pyramid: _Pyramid) -> tuple[Floats, Floats, Floats]:
    """x, y and the size of a px of its map, for every place, px of the picture."""
    size = pyramid.steps[pyramid.places[:, 0]]
    return (pyramid.places[:, 2] + 0.5) * size, (pyramid.places[:, 3] + 0.5) * size, size


def _shared(work: Callable[[int], None], tops: Sequence[int], others: Executor) -> None:
    """Does the work of every strip, named by its top row: the lower half of them is handed over."""

    def each(some: Sequence[int]) -> None:
        for top in some:
            work(top)

    middle = -(-len(tops) // 2)
    lower = others.submit(each, tops[middle:])
    each(tops[:middle])
    lower.result()


def _sizes(rgb: Pixels, side: int, others: Executor) -> Iterator[tuple[Plane, float]]:
    """The four maps (h, w, 4) at each size, largest first, and how many px of the picture a px of them is."""
    maps, step = _largest_maps(rgb, side, others)
    while True:
        yield maps, step
        h, w = maps.shape[0] // 2, maps.shape[1] // 2
        if min(h, w) < LEAST_SIDE:
            return
        maps = np.asarray(cv2.resize(maps[: 2 * h, : 2 * w], (w, h), interpolation=cv2.INTER_AREA), np.uint8)
        step *= 2


def _reduction(rgb: Pixels, side: int) -> tuple[int, int]:
    """How many px a side are averaged first, and of how many of those the greatest is then kept.

    Large pictures are halved first: a 3 px lamp still fills at least one px of the half.
    """
    first = 2 if rgb.shape[0] * rgb.shape[1] > LARGE else 1
    return first, max(1, round(max(rgb.shape[:2]) // first / side))


def _largest_maps(rgb: Pixels, side: int, others: Executor) -> tuple[Plane, float]:
    """The four maps at the working size, each px the greatest of those it stands for: small lamps survive."""
    first, pool = _reduction(rgb, side)
    block = first * pool
    h, w = rgb.shape[0] // block, rgb.shape[1] // block
    maps = np.empty((h, w, len(HUES)), np.uint8)
    rows = max(1, STRIP // (w * pool * pool))

    def strip(top: int) -> None:
        low = min(top + rows, h)
        part = rgb[top * block : low * block, : w * block]
        part = halved(part) if first == 2 else part
        cv2.merge([_greatest(plane, pool) for plane in _opponents(part)], maps[top:low])

    _shared(strip, range(0, h, rows), others)
    return maps, float(block)


def _opponents(rgb: Pixels) -> tuple[Plane, Plane, Plane, Plane]:
    r, g, b = cv2.split(rgb)
    red = cv2.subtract(r, cv2.max(g, b))
    yellow = cv2.subtract(cv2.min(r, g), b)
    # Green lamps record anywhere from yellowish green to cyan; blue sky is bluer than it is green.
    green = cv2.subtract(cv2.subtract(g, r), cv2.subtract(b, g))
    return red, yellow, green, cv2.max(cv2.max(r, g), b)  # type: ignore[return-value]


def _greatest(plane: Plane, pool: int) -> Plane:
    if pool == 1:
        return plane
    h, w = plane.shape[0] // pool, plane.shape[1] // pool
    rows = plane[::pool]
    for i in range(1, pool):
        rows = np.maximum(rows, plane[i::pool])
    if pool == 2:
        # Two neighbours read as one 16-bit number: several times as quick as two strided halves.
        pair = np.ascontiguousarray(rows).view(np.uint16)
        return np.asarray(np.maximum(pair & 255, pair >> 8), np.uint8)
    return np.asarray(rows.reshape(h, w, pool).max(axis=2), np.uint8)


def _peaks(maps: Plane, index: int, others: Executor) -> Places:
    """Rows (level, map, x, y) of the places that stand out most from the mean round them, in each map."""
    most = MOST_PEAKS[min(index, len(MOST_PEAKS) - 1)]
    rows = max(1, STRIP // (len(HUES) * maps.shape[1]))
    tops = range(0, len(maps), rows)
    every: list[Places] = [np.empty(0, np.int64)] * len(tops)
    height = [np.empty(0, np.uint8)] * len(tops)

    def strip(top: int) -> None:
        low = min(top + rows, len(maps))
        over, under = min(top, REACH), min(len(maps) - low, REACH)
        rise = _rise(maps[top - over : low + under], smooth=index > 0)[over : over + low - top]
        at = np.flatnonzero(rise > LEAST_CONTRAST)  # of all four maps, px by px
        height[top // rows] = rise.ravel()[at]
        every[top // rows] = at + top * maps.shape[1] * len(HUES)

    _shared(strip, tops, others)
    found = []
    places, heights = np.concatenate(every), np.concatenate(height)
    for hue in range(len(HUES)):
        own = places % len(HUES) == hue
        at, high = places[own], heights[own]
        if len(at) > most:
            at = at[np.argpartition(high, -most)[-most:]]
        y, x = np.divmod(at // len(HUES), maps.shape[1])
        found.append(np.stack([np.full_like(x, index), np.full_like(x, hue), x, y], axis=1))
    return np.concatenate(found)


def _rise(maps: Plane, *, smooth: bool) -> Plane:
    """How far each px that nothing within two px tops stands above the mean round it; 0 elsewhere."""
    core = cv2.blur(maps, (3, 3)) if smooth else maps
    round_it = cv2.blur(maps, (11, 11))
    rise = cv2.subtract(core, round_it, round_it)
    top = cv2.dilate(rise, np.ones((5, 5), np.uint8))
    top = cv2.compare(rise, top, cv2.CMP_GE, top)
    return np.asarray(cv2.bitwise_and(rise, top, top), np.uint8)


_ANGLES = np.linspace(0, 2 * np.pi, 12, endpoint=False)
_RINGS = np.array([2.2, 3.6, 5.5])
_DX = np.rint(_RINGS[:, None] * np.cos(_ANGLES)).astype(np.int64)
_DY = np.rint(_RINGS[:, None] * np.sin(_ANGLES)).astype(np.int64)


def measure(pyramid: _Pyramid) -> NDArray[np.float32]:
    """Features (n, k) of the places: how each stands above rings round it, in every map."""
    level, hue, x, y = pyramid.places.T
    around = pyramid.at(level[:, None, None], x[:, None, None] + _DX, y[:, None, None] + _DY)
    seen = pyramid.flat[around]  # (n, ring, angle, map)
    ring = np.ascontiguousarray(np.moveaxis(seen, 3, 0), np.float32) / 255
    core = pyramid.flat[pyramid.at(level, x, y)].T.astype(np.float32) / 255  # (map, n)
    n = np.arange(len(hue))
    own, light = ring[hue, n], ring[3]
    own_core, light_core, colour_core = core[hue, n], core[3], core[:3].max(axis=0)
    sides, lights = np.sort(own, axis=2), np.sort(light, axis=2)
    return np.stack(
        [
            own_core,
            *(own_core - sides[:, i, j] for i in range(len(_RINGS)) for j in (0, 6, 9, 11)),
            light_core,
            *(light_core - lights[:, i, j] for i in range(len(_RINGS)) for j in (0, 6, 9, 11)),
            colour_core,
            *core[:3],
            *ring[:3].mean(axis=(2, 3)),
            *(ring[:3].max(axis=(2, 3)) - core[:3]),
            own.std(axis=(1, 2)),
            light.std(axis=(1, 2)),
            *((hue == k).astype(np.float32) for k in range(len(HUES))),
            np.minimum(level, 5) / 5,
        ],
        axis=1,
        dtype=np.float32,
    )


def _strength(features: NDArray[np.float32]) -> Floats:
    """The log odds, up to a constant, that each place is a lit lamp: fitted on rendered scenes."""
    inner, inner_bias, outer = _ranking()
    # Not `@`: where the networks have the processors, a product shared out among threads waits for them.
    hidden = np.tanh(np.einsum("nf,fh->nh", features, inner) + inner_bias)
    return np.asarray(np.einsum("nh,h->n", hidden, outer), np.float64)


@cache
def _ranking() -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """The small table made by models/training/scan_rank.py."""
    with np.load(Path(__file__).with_name("scan_rank.npz")) as held:
        return held["inner"], held["inner_bias"], held["outer"]


def _distinct(x: Floats, y: Floats, size: Floats, strength: Floats, limit: int) -> list[int]:
    """Indices of the strongest, leaving out any that lies on a stronger one."""
    order = np.argsort(-strength, kind="stable")
    x, y, size = x[order], y[order], size[order]
    free = np.ones(len(order), bool)
    kept: list[int] = []
    at = 0
    while len(kept) < limit:
        kept.append(int(order[at]))
        near = np.maximum(1.5 * np.maximum(size[at], 0.5 * size[at:]), 2.0)
        free[at:] &= np.square(x[at:] - x[at]) + np.square(y[at:] - y[at]) >= np.square(near)
        left = int(free[at:].argmax())
        if left == 0:  # none is free: the place itself never is
            break
        at += left
    return kept


def _diameters(pyramid: _Pyramid, chosen: list[int]) -> Floats:
    """Twice the median distance, over rays, at which the light of each place has fallen by half, px."""
    level, hue, x, y = pyramid.places[chosen].T
    fine = np.maximum(level - 1, 0)  # the next larger maps show the edge better
    by = (pyramid.steps[level] / pyramid.steps[fine])[:, None, None]
    reach = np.arange(0.0, 6.01, 0.25)
    px = (x[:, None, None] + 0.5 + reach * np.cos(_ANGLES)[:, None]) * by
    py = (y[:, None, None] + 0.5 + reach * np.sin(_ANGLES)[:, None]) * by
    where = pyramid.at(fine[:, None, None], px.astype(np.int64), py.astype(np.int64))
    rays = pyramid.flat[where, hue[:, None, None]].astype(np.float64)
    half = (rays[:, :, 0].max(axis=1) + np.median(rays[:, :, -1], axis=1)) / 2
    below = rays < half[:, None, None]
    first = np.where(below.any(axis=2), below.argmax(axis=2), len(reach) - 1)
    wide = 2 * np.median(reach[first], axis=1) * pyramid.steps[level]
    return np.asarray(np.maximum(wide, pyramid.steps[fine]))
