"""One lamp's brightness over time, and what it tells of whether the lamp flashes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEANS = 0.95
"""What cannot be told is held no likelier than this, and no less likely than 1 - LEANS."""


@dataclass(frozen=True, slots=True, eq=False)
class LampSeries:
    """One lamp over time.

    Attributes
    ----------
    times : float, shape (N,), seconds.
    brightness : float, shape (N,), linear light of the lamp above its surroundings, any unit; about 0 where
        it is dark. (Codes of a picture are no linear light: undo their curve first.)
    seen : bool, shape (N,); False where the lamp is hidden, out of the picture, or the frame damaged.
    common : float, shape (N,), what the whole frame's brightness is multiplied by (auto-exposure), or None.
    times_fault : why the times cannot be trusted, or None.
    """

    times: Floats
    brightness: Floats
    seen: NDArray[np.bool_]
    common: Floats | None = None
    times_fault: str | None = None


@dataclass(frozen=True, slots=True)
class Flash:
    """Whether a lamp flashes.

    Attributes
    ----------
    flashing : probability, or None where it cannot be told; `reason` then says why.
    per_minute, per_minute_error : rate of a flash and its standard error; None unless flashing is likelier.
    lit_share : share of the period that it is lit; None likewise.
    log_ratio : natural logarithm of the likelihood ratio, flashing against not; 0 where it was not computed.
    edges_ratio : of a lamp that comes and goes in the rhythm of a flash, the same of its edges being those
        of a flash against those of a filmed ripple; None of any other.
    leaning : where it cannot be told, how likely a flash is by what was seen all the same; None: nothing was.
    """

    flashing: float | None
    reason: str | None = None
    per_minute: float | None = None
    per_minute_error: float | None = None
    lit_share: float | None = None
    log_ratio: float = 0.0
    edges_ratio: float | None = None
    leaning: float | None = None


def leaning(chance: float) -> float:
    """How likely a flash is where it cannot be told: near neither end."""
    return float(np.clip(chance, 1 - LEANS, LEANS))
