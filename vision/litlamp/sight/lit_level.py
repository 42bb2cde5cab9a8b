"""A lamp's brightness in terms of itself when lit, which may grow as it comes nearer."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MOST = 1.3
"""Brightness that a frame may have, in terms of the lit lamp; what is more shows something else."""
_LIT = 0.4
_SHORTLY = 0.4  # s
_ROWS = 512  # stretches whose levels are found at once


def normalised(times: Floats, light: Floats) -> Floats | None:
    """Brightness with 1 for the lit lamp, which may grow as it comes nearer; None if it is never lit.

    Parameters
    ----------
    times : float, shape (N,), seconds, increasing.
    light : float, shape (N,), linear light in any unit, as is what is returned.
    """
    # The lit level about each moment: the upper part of what is seen within the longest period.
    reach = 1.15
    first = np.searchsorted(times, times - reach)
    last = np.searchsorted(times, times + reach, side="right")
    level = levels(light, first, last, 0.85)
    whole = float(np.quantile(light, 0.9))
    if whole <= 0:
        return None
    # Where the lamp is dark for longer than that, the level of the nearest stretch where it was lit.
    lit = level > 0.3 * whole
    level = np.interp(times, times[lit], level[lit]) if lit.any() else np.full_like(times, whole)
    return np.asarray(light / level)


def levels(light: Floats, first: NDArray[np.int64], last: NDArray[np.int64], share: float) -> Floats:
    """`np.quantile` of each of the stretches from `first` up to `last`, which are short and many.

    `light` is of shape (N,), `first` and `last` are places in it, shape (M,), as is what is returned.
    """
    sizes = last - first
    # All stretches as rows of one array, filled up with what sorts behind; some at a time, to stay small.
    wide = np.append(light, np.full(int(sizes.max(initial=0)), np.inf))
    out = np.empty(first.size)
    for some in (slice(k, k + _ROWS) for k in range(0, first.size, _ROWS)):
        size = sizes[some]
        columns = np.arange(int(size.max()))
        rows = np.where(columns < size[:, None], wide[first[some, None] + columns], np.inf)
        rows.sort(axis=1)
        at = (size - 1) * share
        low = at.astype(np.int64)
        over, each = at - low, np.arange(size.size)
        lower, upper = rows[each, low], rows[each, np.minimum(low + 1, size - 1)]
        # As numpy reckons it, to the last bit: from whichever of the two is the nearer.
        step = upper - lower
        out[some] = np.where(over < 0.5, lower + step * over, upper - step * (1 - over))
    return out


def evened(times: Floats, x: Floats) -> Floats:
    """The brightness x, shape (N,), in terms of the lit frames shortly before and after; `times` in s."""
    lit = x > _LIT
    when, light = times[lit], x[lit]
    first = np.searchsorted(when, when - _SHORTLY)
    last = np.searchsorted(when, when + _SHORTLY, side="right")
    level = levels(light, first, last, 0.6)
    return np.asarray(np.minimum(x / np.interp(times, when, level), MOST))
