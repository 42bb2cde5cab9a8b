"""How many heads a signal has: whether all were found, and whether each that was found is one."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import MOST_HEADS
from litlamp.sight.codes import brightest_channel, code_passed
from litlamp.sight.colour import linear_light
from litlamp.sight.crop import READER_WIDTH
from litlamp.sight.eyes import Calibration, log_odds, logistic
from litlamp.sight.find import FAINTEST, HeadFound, usual_width

if TYPE_CHECKING:
    from litlamp.sight.look import SignalRead

Pixels = NDArray[np.uint8]

LEAST_DOUBT = 1e-5
PER_PRODUCT = 4.0
"""Products are so many times smaller, for they are as large as what they are made of."""
LAPPING = 0.3
"""What lies on a head by more of the smaller one's box is that head seen again."""
AT_EDGE = 0.9
"""No more is believed in every head having been found where the picture's edge may cut the mast: that cannot
settle how many it bears, however sure the reader is. Set by hand: a third of the drawn signals that stand by
an edge have more heads, though none of the 65 believed at 0.99 had."""
ROOM_ABOVE = 0.5
"""With less room above its highest head, head widths, a mast is not seen to end there."""
SIDEWAYS, UPRIGHT = 5.0, 9.0
"""So near, in head widths, may a head of another signal be one of this: aside, and above or below."""
COLUMN = 2.5
"""So near, in head widths, may one that was missed stand to the column of heads: staggered, no further."""


def crowded(heads: Sequence[HeadFound], others: Iterable[HeadFound]) -> bool:
    """Whether heads that were taken for another signal's stand so near that they may be this one's."""
    width = usual_width(heads)
    x = float(np.mean([h.x for h in heads]))
    top, low = heads[0].y - UPRIGHT * width, heads[-1].y + UPRIGHT * width
    return any(abs(h.x - x) < SIDEWAYS * width and top < h.y < low for h in others)


def faintly(heads: Sequence[HeadFound], faint: Iterable[HeadFound]) -> float:
    """The best score, FAINTEST where there is none, of what may be a head of these that was missed.

    Parameters
    ----------
    heads : the signal's, from the top.
    faint : what scored too low for a head, anywhere in the picture.
    """
    width = usual_width(heads)
    top, low = heads[0].y - UPRIGHT * width, heads[-1].y + UPRIGHT * width
    left, right = min(h.x for h in heads) - COLUMN * width, max(h.x for h in heads) + COLUMN * width
    boxes = [h.box for h in heads]
    return max(
        (
            one.score
            for one in faint
            if left < one.x < right
            and top < one.y < low
            and width / 2 < one.box.width < 2 * width
            and all(one.box.overlap(box) <= LAPPING * min(one.box.area, box.area) for box in boxes)
        ),
        default=FAINTEST,
    )


def light_about(window: Pixels) -> float:
    """How light it is about the heads in the reader's window, log2 of linear light, -7 (black) to 0.

    Of a head that is dark nothing is seen where it is dark round about too.
    """
    middle = window[:, READER_WIDTH // 4 : 3 * READER_WIDTH // 4]
    code = round(code_passed(brightest_channel(middle), 0.5))
    return math.log2(float(linear_light(np.array([code], np.uint8))[0]) + 2.0**-7)


def whole_evidence(
    heads: Sequence[HeadFound],
    size: tuple[int, int],
    read: SignalRead,
    tuned: Calibration,
    others: Sequence[HeadFound] = (),
    faint: Sequence[HeadFound] = (),
    light: float = 0.0,
) -> tuple[float, ...]:
    """What speaks for all of a signal's heads being among those found.

    A constant; the reader's log-odds that none is cut off or hidden; how large the heads are, doublings;
    log-odds of the faintest head; 1 where `others`, heads found that were taken for another signal's, stand
    close. That is all, of as many heads as a signal can have. Of fewer: the reader's log-odds that it counts
    no more of them; 1 where the outer heads stand close to the picture's edge, 1 where another might stand
    beyond it; log-odds of the best of the `faint` that may be one missed, over those of none; how light it is
    about them, as `light_about` says; and products, for the reader's word is worth the more the larger the
    heads are, the lighter it is and the less faint they are.
    """
    n, width = len(heads), usual_width(heads)
    more = float(read.count[n + 1 :].sum() / max(1.0 - read.count[0], 1e-6))
    top, low = _to_edges(heads, size)
    whole, large = log_odds(read.whole, LEAST_DOUBT), float(np.clip(np.log2(max(width, 1.0)), 2, 6)) - 4.0
    score = log_odds(min(h.score for h in heads))
    always = 1.0, whole, large, score, float(crowded(heads, others))
    if n == MOST_HEADS:
        return always
    near = min(top, low) < tuned.edge_near
    beyond = not near and (low < tuned.edge_low or top < tuned.edge_top)
    no_more = log_odds(1.0 - more, LEAST_DOUBT)
    missed = log_odds(faintly(heads, faint)) - log_odds(FAINTEST)
    products = (
        whole * no_more, large * no_more, large * whole, score * no_more,
        missed * no_more, light * no_more, light * whole, light * large,
    )  # fmt: skip
    alone = no_more, float(near), float(beyond), missed, light
    return (*always, *alone, *(product / PER_PRODUCT for product in products))


def whole_belief(evidence: Sequence[float], tuned: Calibration) -> float:
    """Belief that every head of the signal was found."""
    weights = tuned.full_weights if len(evidence) == len(tuned.full_weights) else tuned.whole_weights
    return logistic(float(np.dot(weights, evidence)))


def may_be_cut(heads: Sequence[HeadFound], size: tuple[int, int], dwarf: float, tuned: Calibration) -> bool:
    """Whether the picture's edge may cut off further heads of so many, by where it is alone.

    Above, a mast is seen to end where there is some room; below it always goes on, but for a dwarf's.

    Parameters
    ----------
    heads : the signal's, px of the picture.
    size : of the picture, width and height, px.
    dwarf : the reader's belief in a dwarf, 0 to 1.
    """
    if len(heads) == MOST_HEADS:
        return False
    top, low = _to_edges(heads, size)
    return top < ROOM_ABOVE or (low < tuned.edge_low and dwarf < 0.5)


def _to_edges(heads: Sequence[HeadFound], size: tuple[int, int]) -> tuple[float, float]:
    """Head widths from the highest to the picture's upper edge, and from the lowest to the lower one."""
    width = usual_width(heads)
    top, low = min(h.box.y0 for h in heads), max(h.box.y1 for h in heads)
    return top / width, (size[1] - low) / width


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
