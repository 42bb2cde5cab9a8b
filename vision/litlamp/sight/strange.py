"""How unlike a signal is to those the networks learned from, and what follows for its beliefs.

Of the signals drawn for calibration, larger ones are told from everything else more surely. One that the
networks hardly take for a signal though it is large is of a kind they do not know: a strange head, a picture
of another sort. What they say of its lamps then is worth less than it claims; of one that is rather strange
than not, heads may have been missed too.
"""

from __future__ import annotations

import math

import numpy as np

from litlamp.sight.eyes import Calibration


def unlike(odds: float, width: float, tuned: Calibration) -> float:
    """0 where the odds for a signal are usual for heads so wide, 1 where they are hardly ever so low.

    Parameters
    ----------
    odds : log-odds that heads found are a signal.
    width : usual width of the heads, px of the picture.
    """
    if not tuned.strange_widths:
        return 0.0
    at = math.log2(max(width, 1.0))
    usual, least = (
        float(np.interp(at, tuned.strange_widths, v)) for v in (tuned.strange_usual, tuned.strange_least)
    )
    return float(np.clip((usual - odds) / max(usual - least, 1e-6), 0.0, 1.0))
