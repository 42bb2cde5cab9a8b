"""Which heads make one signal."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from litlamp.aspects.aspect import MOST_HEADS
from litlamp.sight.find import HeadFound

ALIKE = 1.75
"""How many times as large one head of a signal may look as another, by box or by lens."""
ASIDE = 2.0
"""Sideways offset of staggered heads, head widths, at most."""
APART = 9.0
"""Heads of one signal stand no further above one another, head widths."""
LEAN = 0.12
"""Tangent of the mast's lean in the picture, at most."""
FAINT = 0.35
"""A head seen with less belief joins no other signal's heads."""
VOTES = 1.1
"""How far apart two heads of one signal may vote, beside the distance between them."""


def group(heads: Sequence[HeadFound]) -> list[tuple[HeadFound, ...]]:
    """Signals as tuples of heads, top to bottom, at most three heads each.

    Heads of like size that stand one above the other are one signal, the straightest and nearest pairs first.
    The finder's votes for the middle of a signal keep apart two that merely stand so: they are rough, for a
    window may show a part of the signal only.
    """
    owner = list(range(len(heads)))
    for _, i, j in sorted(_pairs(heads)):
        members = [k for k, o in enumerate(owner) if o in (owner[i], owner[j])]
        if owner[i] == owner[j] or len(members) > MOST_HEADS:
            continue
        if all(_together(heads[a], heads[b]) is not None for a, b in combinations(members, 2)):
            keep, gone = owner[i], owner[j]
            owner = [keep if o == gone else o for o in owner]
    signals = [[h for h, o in zip(heads, owner, strict=True) if o == name] for name in dict.fromkeys(owner)]
    return [tuple(sorted(signal, key=lambda h: h.y)) for signal in signals]


def _pairs(heads: Sequence[HeadFound]) -> list[tuple[float, int, int]]:
    out = []
    for i, j in combinations(range(len(heads)), 2):
        cost = _together(heads[i], heads[j])
        if cost is not None:
            out.append((cost, i, j))
    return out


def _together(a: HeadFound, b: HeadFound) -> float | None:
    """How unlike two heads of one signal these stand, from 0 up; None where they cannot be."""
    width = (a.box.width + b.box.width) / 2
    if min(a.score, b.score) < FAINT or not (
        _ratio(a.box.width, b.box.width) < ALIKE or _ratio(a.lens, b.lens) < ALIKE
    ):
        return None
    dx, dy = abs(a.x - b.x), abs(a.y - b.y)
    if not 0.6 * width < dy < APART * width or dx > ASIDE * width + LEAN * dy:
        return None  # Side by side they stand on masts of their own.
    apart = float(np.hypot(a.vote[0] - b.vote[0], a.vote[1] - b.vote[1]))
    far = float(np.hypot(dx, dy))
    # Heads that know nothing of each other vote for themselves; further apart than that, for others.
    if apart > 0.8 * width + VOTES * far:
        return None
    return dx / width + 0.25 * dy / width + apart / width - (a.score + b.score) / 2


def _ratio(a: float, b: float) -> float:
    return max(a, b) / max(min(a, b), 1e-6)
