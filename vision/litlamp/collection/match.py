"""Which signal that was read is which that is there, and which lamp is which."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from msgspec.structs import asdict

from litlamp.aspects.aspect import COLOURS, Colour
from litlamp.box import Box
from litlamp.collection.truth_file import TrueLamp, TrueSignal
from litlamp.report.record import HeadRecord, SignalRecord

# Hand-made labels are good to 1-3 px, rendered ones to a tenth; a lamp may be read at its hot spot instead of
# its middle.
_REACH_PX, _REACH_DIAMETERS = 4.0, 0.75
_LEAST_IOU = 0.1


@dataclass(frozen=True, slots=True)
class ReadLamp:
    """One head as read: the centre of its lamp, or of its box where no lamp is lit; its belief."""

    at: tuple[float, float]
    colour: Colour
    belief: tuple[float, ...]  # of COLOURS, in their order


def read_lamp(head: HeadRecord) -> ReadLamp:
    """The head of a record that `validate_line` let pass."""
    belief = asdict(head.colour)
    colour = max(COLOURS, key=lambda c: belief[c])
    if isinstance(head.lamp, tuple):
        at = head.lamp[0], head.lamp[1]
    else:
        at = box_of(head.box).centre if isinstance(head.box, tuple) else (math.inf, math.inf)
    return ReadLamp(at, colour, tuple(belief[c] for c in COLOURS))


def box_of(edges: tuple[float, float, float, float]) -> Box:
    """A record's box."""
    return Box(*edges)


def distance(true: TrueLamp, read: ReadLamp) -> float:
    """From one centre to the other, px; infinite where they are too far apart to be the same lamp."""
    if true.at is None:
        return math.inf
    apart = math.dist(true.at, read.at)
    return apart if apart <= max(_REACH_PX, _REACH_DIAMETERS * (true.diameter or 0.0)) else math.inf


def match_lamps(true: Sequence[TrueLamp], read: Sequence[ReadLamp]) -> dict[int, int]:
    """True lamp -> read lamp, one to one, the nearest first."""
    near = [(distance(t, r), i, j) for i, t in enumerate(true) for j, r in enumerate(read)]
    return one_to_one((d, i, j) for d, i, j in near if math.isfinite(d))


def match_signals(true: Sequence[TrueSignal], read: Sequence[SignalRecord]) -> dict[int, int]:
    """True signal -> read signal, one to one, the best fitting first.

    They fit by the overlap of their boxes and by the share of the true lamps that the reading has a head at;
    a pair with neither is none.
    """
    fits = [(fit(t, r), i, j) for i, t in enumerate(true) for j, r in enumerate(read)]
    return one_to_one((-f, i, j) for f, i, j in fits if f > 0)


def fit(true: TrueSignal, read: SignalRecord) -> float:
    """0 for no pair, to 2 where boxes and lamps agree."""
    iou = true.box.iou(box_of(read.box))
    shared = lamps_shared(true, read)
    return iou + shared if iou >= _LEAST_IOU or shared > 0 else 0.0


def lamps_shared(true: TrueSignal, read: SignalRecord) -> float:
    """Share of the true lamps whose place is known at which the reading has a head; 0 where there is none."""
    placed = [lamp for lamp in true.lamps if lamp.at is not None]
    if not placed:
        return 0.0
    return len(match_lamps(placed, [read_lamp(h) for h in read.heads])) / len(placed)


def beside(true: TrueSignal, read: SignalRecord) -> bool:
    """Whether a signal read lies on or next to a true one: within half its box's size of it, or on a lamp."""
    by = max(true.box.width, true.box.height) / 2
    near, other = true.box.grow(by), box_of(read.box)
    touches = near.x0 <= other.x1 and other.x0 <= near.x1 and near.y0 <= other.y1 and other.y0 <= near.y1
    return touches or lamps_shared(true, read) > 0


def one_to_one(costs: Iterable[tuple[float, int, int]]) -> dict[int, int]:
    """The cheapest pair first, then the cheapest of those that are left."""
    pairs: dict[int, int] = {}
    taken: set[int] = set()
    for _, i, j in sorted(costs):
        if i not in pairs and j not in taken:
            pairs[i] = j
            taken.add(j)
    return pairs
