"""How bright lamps are in one frame of a clip: linear light above what is round them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.media.clip_frame import ClipFrame
from litlamp.sight.patches import patches

Floats = NDArray[np.float64]

SIDE = 16
"""Samples a side of the patch that a lamp is measured in."""
ACROSS = 5.0
"""Samples across the lamp."""
ASIDE = 2
"""The lamp is looked for up to so many samples aside: four tenths of its diameter."""
LEAST = 3.0
"""Lamps are measured as if they were at least so wide, px."""
STANDS_OUT = 0.5
"""How much of the light beside a place speaks against it: a lamp stands out all round, the edge of a bright
sky does not."""
WIDELY, WIDE_ACROSS = 2.0, 4
"""One that is not there is sought within so many diameters; samples across it then."""
AROUND = 0.25
"""What is round a lamp is the quantile of its ring: the head is dark, whatever bright sky is behind it."""


@dataclass(frozen=True, slots=True)
class LampLight:
    """What was measured of n lamps.

    Attributes
    ----------
    light : (n,) sum of linear R, G, B of the lamp above its surroundings, 0 to 3; never below 0.
    rgb : (n, 3) the same by channel.
    off : (n, 2) how far from where it was looked for the lamp was found, px of the frame.
    aside : (n,) whether that is as far aside as was looked: the light may come from further still.
    least : (n,) the light of the darkest place about where it was looked for.
    here : (n, 3) light by channel exactly where it was looked for.
    """

    light: Floats
    rgb: Floats
    off: Floats
    least: Floats
    here: Floats
    aside: NDArray[np.bool_]


def measure_lamps(
    frame: ClipFrame, at: Sequence[tuple[float, float]], diameters: Sequence[float]
) -> LampLight:
    """Measure lamps.

    Parameters
    ----------
    at : their centres, px of the frame; good to a third of their diameters.
    diameters : px of the frame.
    """
    step = [max(d, LEAST) / ACROSS for d in diameters]
    flat = patches(frame, at, step, SIDE).reshape(len(at), SIDE * SIDE, 3)
    light = np.asarray(cv2.LUT(flat, _linear()), np.float32)
    discs, blobs, offsets, ring = _discs()
    total = light @ _ONES
    every = total @ discs
    best = (total @ blobs).argmax(axis=1)
    rim = np.sort(light[:, ring], axis=1)
    core = np.matmul(discs.T[best][:, None], light)[:, 0]
    around = rim[:, int(AROUND * len(ring))]
    rgb = np.maximum(core - around, 0.0)
    here = np.maximum(discs[:, 0] @ light - around, 0.0)
    least = np.maximum(every.min(axis=1) - around.sum(axis=1), 0.0)
    off = offsets[best]
    aside = np.abs(off).max(axis=1) >= ASIDE
    return LampLight(rgb.sum(axis=1), rgb, off * np.array(step)[:, None], least, here, aside)


@dataclass(frozen=True, slots=True)
class LampFound:
    """A lamp near a place: how far off, px of the frame, and (3,) linear R, G, B above what is round it."""

    off: tuple[float, float]
    rgb: Floats


def lamp_near(frame: ClipFrame, at: tuple[float, float], diameter: float) -> LampFound | None:
    """The place within WIDELY diameters of one that stands out most, px of the frame; None if none does.

    Sky beside a head is as bright as a lamp, but on one side only.
    """
    step = max(diameter, LEAST) / WIDE_ACROSS
    edge = WIDE_ACROSS
    side = 2 * (round(WIDELY * WIDE_ACROSS) + edge) + 1
    rgb = cv2.LUT(patches(frame, [at], [step], side)[0], _linear())
    total = rgb @ _ONES
    core, inner, outer = (cv2.boxFilter(total, -1, (n, n), normalize=False) for n in (3, 5, 7))
    beside = (outer - inner) / (49 - 25)
    out = (core / 9 - beside)[edge:-edge, edge:-edge]
    v, u = np.unravel_index(int(out.argmax()), out.shape)
    if out[v, u] < STANDS_OUT * core[v + edge, u + edge] / 9:
        return None
    patch = rgb[v + edge - 1 : v + edge + 2, u + edge - 1 : u + edge + 2].reshape(9, 3).mean(axis=0)
    around = np.quantile(rgb.reshape(-1, 3), AROUND, axis=0)
    middle = side // 2 - edge
    off = (float(u) - middle) * step, (float(v) - middle) * step
    return LampFound(off, np.maximum(patch - around, 0.0).astype(np.float64))


_ONES = np.ones(3, np.float32)


@cache
def _discs() -> tuple[NDArray[np.float32], NDArray[np.float32], Floats, NDArray[np.int64]]:
    """Weights of the lamp's core at each place it may have, and of how it stands out there.

    Then those places, samples, and the samples of the ring.
    """
    middle = (SIDE - 1) / 2
    y, x = (v.ravel() - middle for v in np.mgrid[:SIDE, :SIDE].astype(float))
    places = [(u, v) for v in range(-ASIDE, ASIDE + 1) for u in range(-ASIDE, ASIDE + 1)]
    # The place looked for comes first: it wins where none is brighter.
    places.sort(key=lambda p: p[0] ** 2 + p[1] ** 2)
    cores = [np.clip(0.4 * ACROSS + 0.5 - np.hypot(x - u, y - v), 0, 1) for u, v in places]
    away = np.hypot(x, y)
    # Half of the ring's samples, as on a chessboard, tell its quantile as well.
    ring = np.flatnonzero((away > 0.75 * ACROSS) & (away < 0.5 * SIDE) & ((x + y) % 2 == 0))
    weights = np.stack([c / c.sum() for c in cores], axis=1)
    beside = [(np.abs(np.hypot(x - u, y - v) - 0.95 * ACROSS) < 0.25 * ACROSS) * 1.0 for u, v in places]
    blobs = weights - STANDS_OUT * np.stack([b / b.sum() for b in beside], axis=1)
    return weights.astype(np.float32), blobs.astype(np.float32), np.array(places, float), ring


@cache
def _linear() -> NDArray[np.float32]:
    v = np.arange(256) / 255
    lin = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1
    return lin.astype(np.float32)
