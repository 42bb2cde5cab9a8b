"""One camera took all lamps of a clip: how they look to it, side by side, tells red ones from yellow.

Lamps of one colour are much alike, and a red one's light is far redder than a yellow one's; but how red
either looks is the camera's doing. Where other lamps of the clip are surely red or surely yellow, one that is
neither is held against them: by the ratio of its red to its green where its light fades. That is for lamps
that are over-exposed, whose colour is hard to tell alone; of others the networks know as much, and there are
yellow lamps as deep as red ones.
Belief only ever moves from yellow to red, and never so far that yellow could be left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import median

from litlamp.sight.one_camera import log_odds_red, redder
from litlamp.sight.seen import HeadSeen, Shade, SignalSeen

SURE = 2.0
"""Log-odds for red against yellow, or the other way, from which a lamp is one to hold others against."""
WEIGHT = 3.0
"""By how much the log-odds for red of an over-exposed lamp rise for each unit of redness (see `Shade`)."""
OVER_EXPOSED = 0.3
"""Share of its core that is clipped from which a lamp is held against others in full."""
MIDWAY = 0.3
"""A lamp redder than a yellow one by so much, or less red than a red one, is as likely either."""
CLIPPED = 1.0
"""By how much less red a lamp looks where all of its core is clipped."""
FURTHEST = 0.6
"""Beyond this much redder or less red than midway it tells no more."""


@dataclass(frozen=True, slots=True)
class Known:
    """A lamp that others are held against: whether it is red or yellow, and how it looks."""

    red: bool
    shade: Shade


def known(heads: Iterable[HeadSeen]) -> tuple[Known, ...]:
    """Those of the lamps that are surely red or surely yellow."""
    return tuple(
        Known(odds > 0, head.shade)
        for head in heads
        if head.shade is not None and _amber(head) and abs(odds := log_odds_red(head.colour)) >= SURE
    )


def side_by_side(seen: SignalSeen, elsewhere: Sequence[Known]) -> SignalSeen:
    """The signal, its lamps held against others of the clip: its own and those `known` of other signals."""
    heads = []
    for at, head in enumerate(seen.heads):
        others = (*elsewhere, *known(seen.heads[:at]), *known(seen.heads[at + 1 :]))
        more = _redder_by(head.shade, others) if head.shade is not None and _amber(head) else 0.0
        colour = redder(head.colour, more) if more > 0 else head.colour
        heads.append(head if colour is head.colour else replace(head, colour=colour))
    return replace(seen, heads=tuple(heads))


def _amber(head: HeadSeen) -> bool:
    return max(head.colour, key=lambda c: head.colour[c]) in ("red", "yellow")


def _redder_by(own: Shade, others: Sequence[Known]) -> float:
    """By how much the log-odds for red rise for a lamp that looks so."""
    told = 0.0
    for red, midway in ((False, -MIDWAY), (True, MIDWAY)):
        same = [_as_clipped_as(own, one.shade) for one in others if one.red is red]
        if same:
            told += min(max(own.redness - median(same) + midway, -FURTHEST), FURTHEST)
    return WEIGHT * told * min(own.clipped / OVER_EXPOSED, 1.0)


def _as_clipped_as(own: Shade, other: Shade) -> float:
    """How red the other would look were it exposed as this one is."""
    return other.redness + CLIPPED * (other.clipped - own.clipped)
