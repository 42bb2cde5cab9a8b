"""The red rim of an over-exposed red lamp, the one thing that tells it from a yellow or a white one.

Where a red lamp clips, its core turns orange, yellow or white; only where its light fades, at the rim and in
its glow, does it stay red. The rim of a lamp of any other colour is no redder than that lamp.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from litlamp.sight.codes import brightest_channel
from litlamp.sight.colour import CLIPPED, cut_out, linear_light

Pixels = NDArray[np.uint8]

REDDEST_YELLOW = 3.57
"""Log2 of R over G, linear sRGB, of the reddest yellow: the corner x = 0.618, y = 0.382 of ICAO Annex 14,
Volume I, Appendix 1 (its boundary towards red, y = 0.382, at the spectrum locus)."""
SURELY_RED = 5.0
"""From this on the rim is as red as can be told; red's own boundary, y = 0.335, lies outside sRGB."""
LARGEST = 40.0
"""Lamps wider than this, px, are reduced to it."""
INNER, OUTER, BEYOND = 0.6, 1.9, 3.2
"""Where the rim lies, and how far out the light behind it is taken from, lens radii."""
FAINTEST = 0.06
"""Light below this share of the lamp's brightest is not looked at, nor below a fifth of it of full scale."""


def red_rim(rgb: Pixels, x: float, y: float, diameter: float) -> float:
    """How plainly a lit lamp's rim is redder than any yellow can be, 0 (not at all, or nothing seen) to 1.

    Parameters
    ----------
    rgb : uint8 (H, W, 3), R G B, sRGB; not written to.
    x, y, diameter : of the lens, px.
    """
    cut = cut_out(rgb, x, y, diameter, LARGEST)
    if cut is None:
        return 0.0
    patch, distance = cut
    light = linear_light(patch)
    around = light[(distance > OUTER + 0.3) & (distance < BEYOND)]
    behind = np.median(around, axis=0) if len(around) > 3 else np.zeros(3)
    own = np.maximum(light - behind, 0.0)
    top = float(brightest_channel(own)[distance < 1].max(initial=0.0))
    rim = (distance > INNER) & (distance < OUTER) & (brightest_channel(patch) < CLIPPED - 5)
    rim &= own[:, :, 0] > FAINTEST * max(top, 0.2)
    if int(rim.sum()) < 3:
        return 0.0
    red, green = own[:, :, 0][rim], own[:, :, 1][rim]
    # A little red is taken for green, so that noise in a green near zero makes no rim surely red.
    ratio = np.log2((red + 0.002) / (green + 0.01 * red + 0.002))
    order = np.argsort(ratio)
    heard = np.cumsum(red[order]) / red.sum()
    reddest = float(ratio[order][min(int(np.searchsorted(heard, 0.75)), len(order) - 1)])
    return float(np.clip((reddest - REDDEST_YELLOW) / (SURELY_RED - REDDEST_YELLOW), 0.0, 1.0))
