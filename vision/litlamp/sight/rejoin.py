"""Groups of heads that the finder's votes left apart, and that are one signal all the same.

The votes of a faint head are worth little, and of heads on arms of their own the finder knows little. Shown
them together, the reader can tell: it sees the mast, and whether more heads belong to those it was shown.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import MOST_HEADS
from litlamp.sight.asked import Answered
from litlamp.sight.eyes import Calibration, softmax
from litlamp.sight.find import HeadFound
from litlamp.sight.group import may_be_one

TOGETHER = 0.8
"""Belief in just so many heads as were shown together, from which they are taken for one signal."""
MORE, NONE = 0.4, 0.3
"""Of the fainter group alone the reader must say by the first that there are more heads, and by no more than
the second that there is no signal."""
PLAIN = 0.5
"""The finder's score of a head from which it most likely stands on a signal: where all score so much, no such
word is needed."""


def rejoined(
    answered: Sequence[Answered], ask: Callable[[tuple[HeadFound, ...]], Answered], tuned: Calibration
) -> list[Answered]:
    """The same, but groups that are one signal made one.

    Parameters
    ----------
    answered : the groups found, those of the best heads first.
    ask : shows the reader heads, top to bottom, together.
    tuned : tempers what the reader says of their number.

    Returns
    -------
    Each head once, in the groups' order; a group made of two stands in the place of the first that it took.
    """
    tries: list[tuple[float, Answered, Answered, Answered]] = []
    for some, other in combinations(answered, 2):
        if may_be_one(some.found, other.found) and _may_lack_some(some, other, tuned):
            both = ask(tuple(sorted(some.found + other.found, key=lambda h: h.y)))
            sure = float(_count(both, tuned)[len(both.found)])
            if sure >= TOGETHER:
                tries.append((sure, some, other, both))
    left = list(answered)
    for _, some, other, both in sorted(tries, key=lambda t: -t[0]):
        if some in left and other in left:
            left[left.index(some)] = both
            left.remove(other)
    return left


def _may_lack_some(some: Answered, other: Answered, tuned: Calibration) -> bool:
    """Whether all their heads are plain, or the fainter group alone looks like a part of a signal."""
    if all(h.score >= PLAIN for h in some.found + other.found):
        return True
    fainter = min(some, other, key=lambda a: max(h.score for h in a.found))
    count = _count(fainter, tuned)
    return bool(count[len(fainter.found) + 1 :].sum() >= MORE and count[0] <= NONE)


def _count(of: Answered, tuned: Calibration) -> NDArray[np.float64]:
    """Belief in 0 to 3 heads there, as the reader sees it."""
    return softmax(of.answer[: MOST_HEADS + 1], tuned.count)
