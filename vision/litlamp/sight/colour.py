"""A lit lamp's colour from its pixels, by the physics of lamps and cameras alone.

A bright lamp clips: its core turns yellow or white whatever its colour was, and only the ring where its
light fades keeps the hue (a red core four times over-exposed looks like a well exposed yellow one). So core
and ring are measured apart, with how much of the core was clipped. What each colour can look like was
simulated: spectra that fill the published chromaticity regions (ICAO Annex 14, Volume I, Appendix 1),
through camera sensitivities, from a quarter of the right exposure to sixteen times it and more, with the
white balance up to 2000 K out, haze, tone maps and JPEG. The table holds a small classifier fitted on them
against a fifth class spread wide and thinly: pixels that no lamp would give leave the belief flat.

The table is made by models/training/colour_table.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import COLOURS, Colour
from litlamp.sight.codes import brightest_channel
from litlamp.sight.seen import Shade

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float64]

LIT: tuple[Colour, ...] = ("red", "yellow", "green", "lunar")

CLIPPED = 250
"""A channel at or above this code value holds no more than "bright"."""
LARGEST = 16.0
"""Lamps wider than this, px, are reduced to it before they are measured."""
FLOOR = 0.002
"""Least belief in each lit colour."""
_CLIPPED_SHARES = slice(13, 16)
"""Where `features` has the clipped shares of the core."""
RED_WEIGHT = 3.0
"""Red's prior odds against the others, where red does not lead."""


@dataclass(frozen=True, slots=True)
class _Table:
    """Two hidden layers; five answers, the last for lights that no lamp simulated would give."""

    weights: tuple[Floats, ...]
    biases: tuple[Floats, ...]


def lamp_colour(
    rgb: Pixels,
    x: float,
    y: float,
    diameter: float,
    reference_white: tuple[float, float, float] | None = None,
) -> Mapping[Colour, float]:
    """Belief over the five colours of a lamp that is taken to be lit.

    Parameters
    ----------
    rgb : uint8, shape (H, W, 3), colour order R G B, sRGB; not written to.
    x, y, diameter : the lit lamp, px; good to about a third of the diameter.
    reference_white : linear R, G, B of something in the same light known to be white or grey, if there is
        one; the picture's balance is corrected by it.

    Returns
    -------
    Beliefs that sum to 1. Where the pixels are like no lamp simulated, or there are none, all are equal,
    "dark" with them: "cannot tell".
    """
    return believed(features(rgb, x, y, diameter, reference_white))


def believed(seen: Floats | None) -> Mapping[Colour, float]:
    """The same from what was measured of the lamp by `features`."""
    if seen is None:
        return {name: 1 / len(COLOURS) for name in COLOURS}
    answer = seen
    table = _table()
    for i, (weight, bias) in enumerate(zip(table.weights, table.biases, strict=True)):
        answer = (np.tanh(answer) if i else answer) @ weight + bias
    likely = np.exp(answer - answer.max())
    likely /= likely.sum()
    lit, other = likely[:-1], float(likely[-1])
    # Red taken for less is the error that can hurt: where red does not lead it counts more, up to evens.
    red, rest = RED_WEIGHT * lit[0], float(lit[1:].sum())
    share = max(float(lit[0]) / max(float(lit.sum()), 1e-12), min(0.5, float(red / max(red + rest, 1e-12))))
    lit = np.array([share, *(lit[1:] * (1 - share) / max(rest, 1e-12))]) * (1 - other)
    whole = 1 + FLOOR * len(LIT)
    belief = {name: other / len(COLOURS) / whole for name in COLOURS}
    for name, p in zip(LIT, lit, strict=True):
        belief[name] += (float(p) + FLOOR) / whole
    return belief


def features(
    rgb: Pixels,
    x: float,
    y: float,
    diameter: float,
    reference_white: tuple[float, float, float] | None = None,
) -> Floats | None:
    """What is measured of a lamp: log ratios of core and ring, their brightness, clipped shares of the core.

    None where too little of the lamp is inside the picture.
    """
    cut = cut_out(rgb, x, y, diameter)
    if cut is None:
        return None
    patch, distance = cut
    light = linear_light(patch)
    if reference_white is not None:
        white = np.maximum(np.asarray(reference_white, float), 1e-4)
        light = light * (white[1] / white)
    around = light[(distance > 2.4) & (distance < 3.2)]
    core, ring, far = distance <= 0.6, (distance > 0.6) & (distance <= 1.4), distance <= 2.4
    if core.sum() < 1 or ring.sum() < 4:
        return None
    behind = np.median(around, axis=0) if len(around) >= 4 else np.zeros(3)
    clipped = patch >= CLIPPED
    any_clipped: NDArray[np.bool_] = np.asarray(brightest_channel(patch) >= CLIPPED)
    own = np.maximum(light - behind, 0.0)
    bright = brightest_channel(own)
    middle = own[core].mean(axis=0)
    # A clipped px tells no ratio; among the others the brighter tell more. Far fainter ones are looked at
    # apart: what is nearly clipped may have been bent by the camera's own matrix and curve.
    whole = bright * ~any_clipped
    faint = whole * (bright < 0.35) * (bright > 0.01) * far
    edge, skirt = _mean(own, whole * ring), _mean(own, faint)
    purest = _purest(own, bright, whole * far)
    # Where only some channels clipped, the rest still bound the ratio: px count by how coloured they are.
    chroma = (bright - own.min(axis=2)) * far
    rich = _mean(own, chroma)
    amount = float(chroma.sum()) / max(float((bright * far).sum()), 1e-4)
    levels = [np.log2(v.sum() + 0.01) / 4 for v in (middle, edge, skirt)]
    wide = float(any_clipped[far].sum() / max(core.sum(), 1)) ** 0.5 / 2
    shares = clipped[core].mean(axis=0)
    return np.array(
        [
            *(*_ratios(edge), *_ratios(middle), *_ratios(skirt), *_ratios(rich)),
            *(*purest, *levels, *shares),
            *(wide, np.log2(diameter) / 4, amount, np.log2(behind.sum() + 0.01) / 4),
        ]
    )


def shade(seen: Floats | None) -> Shade | None:
    """How the lamp looks, from what was measured of it; None where its rim is lost in clipping or glare."""
    if seen is None or seen[0] == 0.0:
        return None
    return Shade(float(seen[0]), float(seen[_CLIPPED_SHARES].max()))


def _mean(own: Floats, weight: Floats) -> Floats:
    return np.asarray(np.einsum("yxc,yx->c", own, weight) / max(float(weight.sum()), 1e-4))


def _purest(own: Floats, bright: Floats, usable: Floats) -> tuple[float, float]:
    """The reddest and the greenest log ratio of red to green that a tenth of the lit px reach."""
    lit = usable > 0.03
    if lit.sum() < 3:
        return 0.0, 0.0
    seen = own[lit] + 0.02 * bright[lit][:, None] + 0.002
    low, high = np.percentile(np.log2(seen[:, 0] / seen[:, 1]) / 2, (10, 90))
    return float(high), float(low)


def _ratios(light: Floats) -> tuple[float, float]:
    floor = 0.02 * float(light.max()) + 0.002
    r, g, b = np.log2(light + floor)
    return float(r - g) / 2, float(b - g) / 2


def cut_out(
    rgb: Pixels, x: float, y: float, diameter: float, largest: float = LARGEST
) -> tuple[Pixels, Floats] | None:
    """The lamp and as much around it again and more, and each px's distance from its centre in lamp radii.

    A lamp wider than `largest` px is reduced to it. None where too little of it is inside the picture.
    """
    diameter = max(diameter, 2.0)
    scale = min(1.0, largest / diameter)
    reach = 1.6 * diameter + 1
    x0, y0 = max(int(x - reach), 0), max(int(y - reach), 0)
    x1, y1 = min(int(x + reach) + 1, rgb.shape[1]), min(int(y + reach) + 1, rgb.shape[0])
    if x1 - x0 < 2 or y1 - y0 < 2:
        return None
    patch = rgb[y0:y1, x0:x1]
    if scale < 1:
        size = max(round((x1 - x0) * scale), 2), max(round((y1 - y0) * scale), 2)
        patch = np.asarray(cv2.resize(patch, size, interpolation=cv2.INTER_AREA), np.uint8)
    sx, sy = patch.shape[1] / (x1 - x0), patch.shape[0] / (y1 - y0)
    gx = (np.arange(patch.shape[1]) + 0.5) / sx + x0 - x
    gy = (np.arange(patch.shape[0]) + 0.5) / sy + y0 - y
    return patch, np.hypot(gx[None, :], gy[:, None]) / (diameter / 2)


def linear_light(rgb: Pixels) -> Floats:
    """Linear light, 0 to 1, of uint8 sRGB of any shape."""
    return _linear()[rgb]


@cache
def _linear() -> Floats:
    v = np.arange(256) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1


@cache
def _table() -> _Table:
    with np.load(Path(__file__).with_name("colour_table.npz")) as held:
        n = sum(name.startswith("weight") for name in held.files)
        return _Table(
            tuple(held[f"weight{i}"].astype(float) for i in range(n)),
            tuple(held[f"bias{i}"].astype(float) for i in range(n)),
        )
