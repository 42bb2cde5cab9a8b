"""One camera took all lamps of a picture or clip: what it made of a yellow one tells about the others.

An over-exposed red lamp can look as orange as a yellow one does to a camera set too warm. Alone it leaves
both open; but a warm camera makes every yellow lamp orange. So where a lamp that may be yellow looks much
redder than one that surely is, red becomes likelier for it. Belief only ever moves from yellow to red, and
never so far that yellow could be left out: of what else was taken for a lamp, some is none.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import chain
from typing import TypeVar

from litlamp.aspects.aspect import Colour
from litlamp.sight.seen import SignalSeen

Bounds = tuple[float, float, float]
"""By how much, at most, the log-odds for red against yellow of a lamp may rise, and by how much a yellow
lamp's exceed another's often, and hardly ever: below the one they rise not at all, above the other by the
most."""
LEAST = 1e-9
Told = TypeVar("Told")


def yellows(heads: Iterable[Mapping[Colour, float]]) -> tuple[float, ...]:
    """Log-odds for red against yellow of the lamps read as yellow; `heads` are beliefs over the colours."""
    return tuple(log_odds_red(own) for own in heads if max(own, key=lambda c: own[c]) == "yellow")


def of_others(told: Sequence[Sequence[Told]]) -> list[list[Told]]:
    """For each signal what all others tell, from what each does."""
    return [[*chain(*told[:at], *told[at + 1 :])] for at in range(len(told))]


def under_one_camera(seen: SignalSeen, elsewhere: Sequence[float], how: Bounds) -> SignalSeen:
    """The signal, with what its camera made of other lamps taken into account.

    Parameters
    ----------
    elsewhere : the `yellows` of other signals that the same camera took; those of this one are added.
    how : the calibration's for stills or for clips.
    """
    beliefs = [head.colour for head in seen.heads]
    heads = []
    for at, head in enumerate(seen.heads):
        others = (*elsewhere, *yellows(beliefs[:at]), *yellows(beliefs[at + 1 :]))
        colour = _beside(head.colour, min(others), how) if others else head.colour
        heads.append(head if colour is head.colour else replace(head, colour=colour))
    return replace(seen, heads=tuple(heads))


def _beside(own: Mapping[Colour, float], yellowest: float, how: Bounds) -> Mapping[Colour, float]:
    """The belief over a lamp's colours, another's log-odds for red against yellow being so low."""
    if max(own, key=lambda c: own[c]) not in ("red", "yellow"):
        return own
    most, alike, apart = how
    share = min(max((log_odds_red(own) - yellowest - alike) / (apart - alike), 0.0), 1.0)
    return redder(own, most * share)


def redder(own: Mapping[Colour, float], more: float) -> Mapping[Colour, float]:
    """The belief over a lamp's colours, with log-odds for red against yellow higher by `more`, up to it."""
    odds = log_odds_red(own)
    new = min(odds + more, more)
    if new <= odds:
        return own
    both = own["red"] + own["yellow"]
    red = both / (1.0 + math.exp(-new))
    return {**own, "red": red, "yellow": both - red}


def log_odds_red(own: Mapping[Colour, float]) -> float:
    """Log-odds for red against yellow."""
    return math.log(max(own["red"], LEAST) / max(own["yellow"], LEAST))
