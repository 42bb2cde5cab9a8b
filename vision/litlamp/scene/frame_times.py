"""When the frames of a rendered clip are taken: even steps, or the uneven ones of a telephone."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from litlamp.media.frame import Time

TIME_BASE = Fraction(1, 90000)
_PTS = np.float64(1 / TIME_BASE)


def frame_times(
    rng: np.random.Generator, seconds: float, fps: float, uneven: float = 0.0
) -> tuple[Time, ...]:
    """The times of the frames of a clip, from 0, strictly increasing, in ticks of 1/90000 s.

    Parameters
    ----------
    seconds : how long the clip lasts; the last frame begins before its end.
    fps : frames a second, on average.
    uneven : 0 for even steps; else steps vary by up to this share, and about one frame in 25 is dropped.

    Raises
    ------
    ValueError : a length, rate or unevenness out of bounds.
    """
    if not 0.1 <= seconds <= 3600:
        raise ValueError(f"a clip must last from 0.1 to 3600 s, not {seconds:g}")
    if not 1 <= fps <= 240:
        raise ValueError(f"a clip must have from 1 to 240 frames a second, not {fps:g}")
    if not 0 <= uneven <= 0.8:
        raise ValueError(f"the steps between frames may vary by 0 to 0.8, not {uneven:g}")
    count = max(int(np.ceil(seconds * fps - 1e-9)), 1)
    at = np.arange(count) / fps
    if uneven > 0:
        at = np.concatenate([[0.0], np.cumsum(rng.uniform(1 - uneven, 1 + uneven, count - 1) / fps)])
        kept = rng.random(count) > 0.04
        kept[0] = True
        at = at[kept & (at < seconds)]
    return tuple(Time(int(pts), TIME_BASE) for pts in np.unique(np.round(at * _PTS)))
