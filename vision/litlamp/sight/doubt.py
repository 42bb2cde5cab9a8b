"""Belief moved from one colour to another: how doubt enters what the networks were sure of."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Beliefs = NDArray[np.float64]


def moved(belief: Beliefs, share: float, *, of: int | None = None, to: int | None = None) -> Beliefs:
    """Beliefs that sum to 1 as before, of which a share went elsewhere.

    Parameters
    ----------
    belief : over the colours, (5,), in the order of COLOURS; not written to.
    share : 0 to 1, of the belief in the colour `of`, or of every colour's where that is None.
    to : the colour that it goes to; None spreads it evenly over all.
    """
    share = min(max(share, 0.0), 1.0)
    taken = share * belief if of is None else share * np.where(np.arange(len(belief)) == of, belief, 0.0)
    out = belief - taken
    if to is None:
        out += taken.sum() / len(belief)
    else:
        out[to] += taken.sum()
    return out
