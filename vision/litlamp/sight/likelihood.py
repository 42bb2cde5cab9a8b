"""How likely a frame's brightness is of a lamp that is lit or dark, in terms of the lit lamp."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from litlamp.sight.lit_level import MOST

Floats = NDArray[np.float64]

BAD = 0.1
"""Share of frames that show anything at all (wires, tracking, codec)."""
OFF = 0.16
"""An "off" brighter than this, in terms of the lit lamp, is a dim lamp, not a dark one."""


class Chances(NamedTuple):
    """Log-likelihood of each frame if the lamp is lit, dark, or between."""

    lit: Floats
    dark: Floats
    between: Floats


def spread_of(values: Floats, least: float, most: float) -> float:
    """The standard deviation by the median's, held between `least` and `most`; the most of too few values."""
    if values.size < 4:
        return most
    return float(np.clip(1.48 * np.median(np.abs(values - np.median(values))), least, most))


def normal(x: Floats, mean: float | Floats, spread: float) -> Floats:
    """The normal density."""
    return np.asarray(np.exp(-0.5 * ((x - mean) / spread) ** 2) / (spread * np.sqrt(2 * np.pi)))


def chances_of(x: Floats, bad_dark: float = 0.0, dims: float = 0.0) -> Chances:
    """Of each frame's brightness, shape (N,), in terms of the lit lamp.

    `bad_dark`: share of frames that show a lit lamp dark; `dims`: share that show it at any brightness.
    """
    bad = BAD
    lit_spread = spread_of(x[x > 0.6], 0.03, 0.2)
    low = x[x < 1.25 * OFF]
    off = float(np.clip(np.median(low), 0.0, OFF)) if low.size else 0.0
    dark_spread = spread_of(low, 0.02, 0.05)
    anything = np.full_like(x, 1 / MOST)
    dark = normal(x, off, dark_spread)
    lit = normal(x, 1.0, lit_spread)
    dimmed = np.where(x > OFF, 1 / (MOST - OFF), 0.0)
    return Chances(
        np.log((1 - bad - bad_dark - dims) * lit + bad * anything + bad_dark * dark + dims * dimmed),
        np.log((1 - bad) * dark + bad * anything),
        np.log(anything),
    )


def mean_of_logs(values: Floats) -> float:
    """Logarithm of the mean of exp(values)."""
    most = float(values.max())
    return most + float(np.log(np.exp(values - most).mean()))
