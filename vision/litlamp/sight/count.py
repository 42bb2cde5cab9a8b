"""How many heads a signal has: whether all were found, and whether each that was found is one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from litlamp.aspects.aspect import MOST_HEADS
from litlamp.sight.eyes import Calibration, log_odds, logistic
from litlamp.sight.find import HeadFound, usual_width

if TYPE_CHECKING:
    from litlamp.sight.look import SignalRead

LEAST_DOUBT = 1e-5
SIDEWAYS, UPRIGHT = 5.0, 9.0
"""So near, in head widths, may a head of another signal be one of this: aside, and above or below."""


def crowded(heads: Sequence[HeadFound], others: Iterable[HeadFound]) -> bool:
    """Whether heads that were taken for another signal's stand so near that they may be this one's."""
    width = usual_width(heads)
    x = float(np.mean([h.x for h in heads]))
    top, low = heads[0].y - UPRIGHT * width, heads[-1].y + UPRIGHT * width
    return any(abs(h.x - x) < SIDEWAYS * width and top < h.y < low for h in others)


def whole_evidence(
    heads: Sequence[HeadFound],
    size: tuple[int, int],
    read: SignalRead,
    tuned: Calibration,
    others: Sequence[HeadFound] = (),
) -> tuple[float, ...]:
    """What speaks for all of a signal's heads being among those found.

    A constant; the reader's log-odds that none is cut off or hidden, and that it counts no more of them; 1
    where the outer heads stand close to the picture's edge, 1 where another might stand beyond it, 1 where
    there can be no more; how large the heads are, doublings; log-odds of the faintest head; 1 where `others`,
    heads found that were taken for another signal's, stand close.
    """
    n, width = len(heads), usual_width(heads)
    more = float(read.count[n + 1 :].sum() / max(1.0 - read.count[0], 1e-6))
    top = min(h.box.y0 for h in heads) / width
    low = (size[1] - max(h.box.y1 for h in heads)) / width
    full = n == MOST_HEADS
    near = min(top, low) < tuned.edge_near
    beyond = not near and (low < tuned.edge_low or top < tuned.edge_top)
    return (
        1.0,
        log_odds(read.whole, LEAST_DOUBT),
        log_odds(1.0 - more, LEAST_DOUBT),
        float(near and not full),
        float(beyond and not full),
        float(full),
        float(np.clip(np.log2(max(width, 1.0)), 2, 6)) - 4.0,
        log_odds(min(h.score for h in heads)),
        float(crowded(heads, others)),
    )


def whole_belief(evidence: Sequence[float], tuned: Calibration) -> float:
    """Belief that every head of the signal was found."""
    return logistic(float(np.dot(tuned.whole_weights, evidence)))


def head_evidence(head: HeadFound, n: int, read: SignalRead) -> tuple[float, ...]:
    """What speaks for one of `n` heads found being a head of the signal.

    A constant; the finder's log-odds for it; the reader's that it counts as many heads as were found.
    """
    fewer = float(read.count[1:n].sum() / max(1.0 - read.count[0], 1e-6))
    return 1.0, log_odds(head.score), log_odds(1.0 - fewer, LEAST_DOUBT)


def head_belief(head: HeadFound, n: int, read: SignalRead, tuned: Calibration) -> float:
    """Belief that one of `n` heads found is a head of the signal; sure where it is the only one."""
    if n == 1:
        return 1.0
    return logistic(float(np.dot(tuned.head_weights, head_evidence(head, n, read))))
