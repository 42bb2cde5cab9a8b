"""Lenses that may only look lit: the sun or the sky in the glass of a lamp that is dark just now.

A lit lamp is nearly always among the brightest things of a picture, and about as bright as the other lamps of
its signal. Of lamps that the networks were sure are lit, though they were far darker than that, a few in a
hundred were dark (measured on the calibration's scenes); so dark stays possible for such a one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from litlamp.sight.codes import brightest_channel, code_passed
from litlamp.sight.colour import linear_light
from litlamp.sight.eyes import Calibration

Pixels = NDArray[np.uint8]

BESIDE = (0.4, 0.2)
"""Share of the brightest lit lamp's light, in the same signal, below which one is dim, and wholly so."""
IN_SCENE = (0.5, 0.2)
"""The same in terms of the bright parts of the picture."""
SAMPLED = 40_000
"""Px of a picture from which its bright parts are told, about."""


def core_light(rgb: Pixels, x: float, y: float, diameter: float) -> float:
    """The light of a lens, linear, 0 to 1: of its brightest channel, what a fifth of its px pass.

    Parameters
    ----------
    rgb : uint8 (H, W, 3), R G B, sRGB; not written to.
    x, y, diameter : of the lens, px.
    """
    radius = max(diameter / 2, 1.0)
    x0, y0 = max(int(x - radius), 0), max(int(y - radius), 0)
    part = brightest_channel(rgb[y0 : int(y + radius) + 2, x0 : int(x + radius) + 2])
    if part.size == 0:
        return 0.0
    across, down = np.arange(part.shape[1]) + 0.5 + x0 - x, np.arange(part.shape[0]) + 0.5 + y0 - y
    own = part[np.hypot(across[None, :], down[:, None]) < 0.9 * radius]
    return _light(code_passed(own if own.size else part, 0.8))


def bright_parts(rgb: Pixels) -> float:
    """The light, linear, 0 to 1, that 2 in 100 of a picture's px pass in their brightest channel."""
    step = max(math.isqrt(rgb.shape[0] * rgb.shape[1] // SAMPLED), 1)
    part = rgb[::step, ::step]
    return _light(code_passed(brightest_channel(part), 0.98))


def _light(code: float) -> float:
    return float(linear_light(np.array([round(code)], np.uint8))[0])


def may_be_dark(
    cores: Sequence[float], lit: Sequence[bool], bright: float, tuned: Calibration
) -> list[float]:
    """For each head of a signal the belief that goes to dark; 0 for one that is taken to be dark already.

    Parameters
    ----------
    cores : the light of each head's lens.
    lit : which are taken to be lit.
    bright : the light of the picture's bright parts.
    """
    most = max((core for core, on in zip(cores, lit, strict=True) if on), default=0.0)
    return [
        max(tuned.dim_beside * _dim(core, most, BESIDE), tuned.dim_scene * _dim(core, bright, IN_SCENE))
        if on
        else 0.0
        for core, on in zip(cores, lit, strict=True)
    ]


def _dim(core: float, other: float, share: tuple[float, float]) -> float:
    if other <= 0:
        return 0.0
    begins, wholly = share
    return float(np.clip((begins - core / other) / (begins - wholly), 0.0, 1.0))
