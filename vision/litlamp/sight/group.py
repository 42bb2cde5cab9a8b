"""Which heads make one signal."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import combinations, pairwise

from litlamp.aspects.aspect import MOST_HEADS
from litlamp.sight.find import HeadFound

ALIKE = 1.75
"""How many times as large one head of a signal may look as another, by box or by lens."""
ASIDE = 2.0
"""Sideways offset of staggered heads, head widths, at most."""
ON_ARMS = 3.4
"""The same of heads on arms of their own: so far aside stand other signals' too."""
NEAR = 0.8
APART = 9.0
"""Neighbouring heads of one signal stand at least NEAR and at most APART head widths above one another."""
OUTER = 0.6
"""The same of the outer two of three heads, which stand on the same side of the mast."""
LEAN = 0.12
"""Tangent of the mast's lean in the picture, at most."""
VOTES = 1.1
"""How far apart two heads of one signal may vote, in shares of the distance between them.

Heads that know nothing of each other vote for themselves, at 1; those that vote further apart, for others.
"""
ROUGH = 0.8
"""Votes are rough: so much of the way between them counts for nothing, head widths."""
FAINT = 0.3
EARNED = 6.0
"""The less a head is believed, the nearer must the votes meet: no further apart than EARNED times the score
over FAINT, so that a false head joins no signal by where it stands alone."""
MOST_CLUSTER = 12
"""The best choice is sought among at most so many heads at a time."""


def group(heads: Sequence[HeadFound]) -> list[tuple[HeadFound, ...]]:
    """Signals as tuples of heads, top to bottom, at most three heads each; those of the best heads first.

    Heads of like size that stand one above the other may be one signal. Of all the ways to share out heads
    that stand so, the one with the likeliest neighbours is taken. The finder's votes for the middle of a
    signal keep apart two that merely stand so: they are rough, for a window may show a part of it only.
    """
    down = sorted(heads, key=lambda h: (h.y, h.x, h.score))
    signals = _between([signal for cluster in _clusters(down) for signal in _best(cluster)])
    return sorted(signals, key=lambda signal: (-max(h.score for h in signal), signal[0].y, signal[0].x))


def may_be_one(some: Sequence[HeadFound], others: Sequence[HeadFound]) -> bool:
    """Whether heads of two groups stand as those of one signal can, whatever they vote for."""
    if len(some) + len(others) > MOST_HEADS:
        return False
    pairs = [(a, b) for a in some for b in others]
    return all(_apart(a, b) > NEAR for a, b in pairs) and any(
        _apart(a, b) < APART and _in_line(a, b, ON_ARMS) for a, b in pairs
    )


def _apart(a: HeadFound, b: HeadFound) -> float:
    """How far above or below one another they stand, head widths."""
    return 2 * abs(a.y - b.y) / (a.box.width + b.box.width)


def _between(signals: list[tuple[HeadFound, ...]]) -> list[tuple[HeadFound, ...]]:
    """The same with every head alone between the two heads of a signal made a part of it.

    A lamp caught dark between two flashes is seen faintly and votes badly, but nothing else stands there; to
    leave it out would read the other two as a signal of two heads.
    """
    alone = [signal[0] for signal in signals if len(signal) == 1]
    taken: list[HeadFound] = []
    out: list[tuple[HeadFound, ...]] = []
    for signal in signals:
        if len(signal) == 2:
            top, low = signal
            inner = [
                h for h in alone
                if not any(h is t for t in taken)
                and min(h.y - top.y, low.y - h.y) > 0.5 * h.box.width
                and _in_line(top, h, OUTER) and _in_line(h, low, OUTER)
            ]  # fmt: skip
            if inner:
                best = max(inner, key=lambda h: h.score)
                taken.append(best)
                signal = (top, best, low)
        out.append(signal)
    return [s for s in out if not any(len(s) == 1 and s[0] is t for t in taken)]


def _clusters(down: Sequence[HeadFound]) -> Iterator[list[HeadFound]]:
    """Heads that may hang together, the likeliest neighbours first where they are too many."""
    owner = list(range(len(down)))
    pairs = ((_likely(down[i], down[j]), i, j) for i, j in combinations(range(len(down)), 2))
    for _, i, j in sorted(((-likely, i, j) for likely, i, j in pairs if likely is not None)):
        keep, gone = owner[i], owner[j]
        if owner.count(keep) + owner.count(gone) <= MOST_CLUSTER:
            owner = [keep if o == gone else o for o in owner]
    for name in dict.fromkeys(owner):
        yield [head for head, o in zip(down, owner, strict=True) if o == name]


def _best(down: Sequence[HeadFound]) -> list[tuple[HeadFound, ...]]:
    """Heads, top to bottom, shared out so that their neighbourhoods are likeliest in sum."""
    choices: list[list[tuple[float, tuple[int, ...]]]] = [[(0.0, (i,))] for i in range(len(down))]
    for n in range(2, MOST_HEADS + 1):
        for at in combinations(range(len(down)), n):
            likely = _signal([down[i] for i in at])
            if likely is not None:
                choices[at[0]].append((likely, at))

    @cache
    def share(free: tuple[int, ...]) -> tuple[float, tuple[tuple[int, ...], ...]]:
        if not free:
            return 0.0, ()
        ways = []
        for likely, at in choices[free[0]]:
            if set(at) <= set(free):
                rest, others = share(tuple(i for i in free if i not in at))
                ways.append((likely + rest, (at, *others)))
        return max(ways)

    return [tuple(down[i] for i in at) for at in share(tuple(range(len(down))))[1]]


def _signal(down: Sequence[HeadFound]) -> float | None:
    """How likely these heads, top to bottom, are one signal; None where they cannot be."""
    if len(down) > 2 and not _in_line(down[0], down[-1], OUTER):
        return None
    total = 0.0
    for a, b in pairwise(down):
        likely = _likely(a, b)
        if likely is None:
            return None
        total += likely
    gaps = [b.y - a.y for a, b in pairwise(down)]
    # Unequal spacing speaks against a third head, though never so far as to tear apart what else agrees.
    return total - 0.2 * math.log(max(gaps) / min(gaps))


def _likely(a: HeadFound, b: HeadFound) -> float | None:
    """How likely two heads are neighbours on one mast, above 0; None where they cannot be."""
    width = (a.box.width + b.box.width) / 2
    dx, dy = abs(a.x - b.x), abs(a.y - b.y)
    if not (NEAR < _apart(a, b) < APART and _in_line(a, b, ASIDE)):
        return None
    apart = math.dist(a.vote, b.vote)
    votes = max(apart - ROUGH * width, 0.0) / math.hypot(dx, dy)
    score = min(a.score, b.score)
    if votes > min(VOTES, EARNED * (score - FAINT)):
        return None
    unlike = math.log(min(_ratio(a.box.width, b.box.width), _ratio(a.lens, b.lens)))
    against = 0.2 * dx / (ASIDE * width) + 0.3 * dy / (APART * width) + 0.2 * votes + 0.3 * unlike
    return score / (1.0 + against)


def _in_line(a: HeadFound, b: HeadFound, aside: float) -> bool:
    """Whether two heads are of like size and at most so many widths aside of each other, the mast upright."""
    width = (a.box.width + b.box.width) / 2
    alike = min(_ratio(a.box.width, b.box.width), _ratio(a.lens, b.lens)) < ALIKE
    return alike and abs(a.x - b.x) <= aside * width + LEAN * abs(a.y - b.y)


def _ratio(a: float, b: float) -> float:
    return max(a, b) / max(min(a, b), 1e-6)
