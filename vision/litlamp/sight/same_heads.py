"""Which of the heads and lamps that are followed those are that a look saw, by where they stand."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import product

import numpy as np

from litlamp.aspects.aspect import Colour
from litlamp.sight.glance import Glance
from litlamp.sight.seen import HeadSeen
from litlamp.sight.traces import HeadTrace, LampTrace, Pose

Point = tuple[float, float]

SAME_HEAD = 0.75
"""Heads whose middles lie nearer to each other than this, head widths, are one."""
BESIDE = 3.0
"""So far, head widths, may a signal be from where it was taken to be."""
OTHER_SIZE = 1.5
"""By so much, as a factor, may a signal be of another size than it was taken to be."""
OTHER_LAMP = 0.3
"""Lamps of one head of which looks named different colours are one if their centres lie nearer to each other
than this, of their diameter: one lamp may look so, but not from elsewhere."""
LARGE = 4.0
"""Px of a lens from which on looks tell where its lamp is and of what colour."""
NEXT_LAMP = 0.9
"""Within so many diameters of where a lamp was expected there is no other: they stand further apart."""
UNSEEN = 2
"""Looks in a row that did not see a head, from which on it gives way to one that has no place left."""
SETTLE = 0.3
"""Share of the way that a head's place within the signal goes with each look."""


def heads_matched(heads: Sequence[HeadTrace], pose: Pose, glance: Glance) -> dict[int, int]:
    """Which of a signal's heads each head of a look is: the look's place of it -> its own.

    Of a signal that comes near fast the place may be out by as much as its heads stand apart. So where
    heads would be left over, those of the look are laid on it anew, if more of them then find theirs.
    How large it is then, the width of its heads tells, and how far they stand apart.

    Parameters
    ----------
    heads : followed, or `gone`.
    pose : where the signal is taken to be in the frame that was looked at.
    """
    shown = glance.seen.heads
    followed = [head for head in heads if not head.gone]
    size = pose.width
    best = laid(heads, glance, (pose.x, pose.y), size, max(1.0, glance.seen.resolution / size))
    if len(best) in (len(shown), len(followed)):
        return best
    for size, head, trace in product(_sizes(followed, pose, glance), shown, followed):
        (x, y), (u, v) = head.box.centre, trace.middle
        middle = x - u * size, y - v * size
        if math.dist(middle, (pose.x, pose.y)) < BESIDE * size:
            other = laid(heads, glance, middle, size)
            # What looks no longer see where it would be was none: nothing is laid on it.
            known = sum(heads[slot].missed < UNSEEN for slot in other.values())
            if known > len(best) and alike(heads, glance, other):
                best = other
    return best


def _sizes(followed: Sequence[HeadTrace], pose: Pose, glance: Glance) -> Iterator[float]:
    """Widths that its heads may have, px, where they are not where they were expected."""
    yield glance.seen.resolution
    known = [head.middle for head in followed if head.missed < UNSEEN]
    shown = [head.box.centre for head in glance.seen.heads]
    if 1 < len(known) == len(shown):
        own, now = (math.dist(*_ends(middles)) for middles in (known, shown))
        size = now / max(own, 1e-6)
        if abs(math.log(size / pose.width)) < math.log(OTHER_SIZE):
            yield size


def laid(
    heads: Sequence[HeadTrace], glance: Glance, middle: Point, width: float, reach: float = 1.0
) -> dict[int, int]:
    """The same, were the signal's middle there, px of the frame, and its heads so wide."""
    pairs = []
    for i, head in enumerate(glance.seen.heads):
        for slot, trace in enumerate(heads):
            if trace.gone:
                continue
            u, v = trace.middle
            away = math.dist(head.box.centre, (middle[0] + u * width, middle[1] + v * width)) / width
            if away < SAME_HEAD * reach:
                pairs.append((away, i, slot))
    matched: dict[int, int] = {}
    for _, i, slot in sorted(pairs):
        if i not in matched and slot not in matched.values():
            matched[i] = slot
    return matched


def alike(heads: Sequence[HeadTrace], glance: Glance, matched: Mapping[int, int]) -> bool:
    """Whether each head that a look saw lit shows a colour that was seen there before, if any was."""
    for i, slot in matched.items():
        shown = lit_colour(glance.seen.heads[i])
        known = {lamp.colour for lamp in heads[slot].lamps if lamp.colour is not None}
        if shown is not None and known and shown not in known:
            return False
    return True


def settled(
    heads: Sequence[HeadTrace], pose: Pose, glance: Glance, matched: Mapping[int, int], *, sure: bool
) -> Pose:
    """The pose put right by heads that a look saw: by their lamps, whose places are truer than boxes.

    `sure`: it was followed there, which is surer than dark heads are.
    """
    if not matched:
        return pose
    pairs = [_same_lamp(heads[slot], pose, glance, i) for i, slot in matched.items()]
    lamps = [pair for pair in pairs if pair is not None]
    boxes = [(glance.seen.heads[i].box.centre, heads[slot].middle) for i, slot in matched.items()]
    width = pose.width + 0.5 * (glance.seen.resolution - pose.width)
    for places in (lamps, boxes):
        now, own = (np.array([pair[k] for pair in places]).reshape(-1, 2) for k in (0, 1))
        if len(places) < 2:
            continue
        own = own - own.mean(axis=0)
        spread = float((own**2).sum())
        if spread > 0.5:  # how far heads stand apart tells best how large all is
            width = float((own * (now - now.mean(axis=0))).sum()) / spread
            width = min(max(width, 0.8 * pose.width), 1.25 * pose.width)
            if places is boxes and lamps and sure:
                width = pose.width + SETTLE * (width - pose.width)
            break
    now, own = (np.array([pair[k] for pair in lamps or boxes]) for k in (0, 1))
    x, y = now.mean(axis=0) - own.mean(axis=0) * width
    return Pose(float(x), float(y), max(width, 2.0))


def _same_lamp(head: HeadTrace, pose: Pose, glance: Glance, i: int) -> tuple[Point, Point] | None:
    """Where the lit lamp of a look's head is, and where that lamp is in the signal, if it is known."""
    x, y, _ = glance.lenses[i]
    known = [lamp for lamp in head.lamps if lamp.usual != 0 and not lamp.gone]
    if glance.seen.heads[i].lamp is None or not known:
        return None
    near = min(known, key=lambda lamp: math.dist((x, y), pose.place(lamp.u, lamp.v)))
    away = math.dist((x, y), pose.place(near.u, near.v)) / pose.width
    reach = OTHER_LAMP if another(near, pose.width, lit_colour(glance.seen.heads[i])) else NEXT_LAMP
    return ((x, y), (near.u, near.v)) if away < reach * near.diameter else None


def another(lamp: LampTrace, width: float, colour: Colour | None) -> bool:
    """Whether one of that colour is another lamp, if it is elsewhere: small ones are of any colour.

    `width` is that of the signal's heads, px.
    """
    large = lamp.diameter * width > LARGE
    return large and lamp.colour is not None and colour is not None and colour != lamp.colour


def lit_colour(head: HeadSeen) -> Colour | None:
    """The colour of its lamp; None where it is dark."""
    if head.lamp is None:
        return None
    _, colour = max((belief, colour) for colour, belief in head.colour.items())
    return colour


def _ends(middles: Sequence[Point]) -> tuple[Point, Point]:
    """The highest and the lowest."""
    return min(middles, key=lambda m: m[1]), max(middles, key=lambda m: m[1])
