"""Which heads make one signal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from litlamp.aspects.aspect import MOST_HEADS
from litlamp.sight.find import HeadFound


def group(heads: Sequence[HeadFound]) -> list[tuple[HeadFound, ...]]:
    """Signals as tuples of heads, top to bottom, at most three heads each.

    Every head votes for the middle of its signal; heads of like size whose votes meet, and which stand
    one above the other, are one signal. The better-seen heads choose first.
    """
    left = sorted(heads, key=lambda h: -h.score)
    signals = []
    while left:
        signal = [left.pop(0)]
        others: list[HeadFound] = []
        for other in left:
            joins = len(signal) < MOST_HEADS and all(_together(other, h) for h in signal)
            (signal if joins else others).append(other)
        left = others
        signals.append(tuple(sorted(signal, key=lambda h: h.y)))
    return signals


def _together(a: HeadFound, b: HeadFound) -> bool:
    width = (a.box.width + b.box.width) / 2
    if max(a.lens, b.lens) > 1.9 * min(a.lens, b.lens) and max(a.box.width, b.box.width) > 1.9 * min(
        a.box.width, b.box.width
    ):
        return False
    dx, dy = a.x - b.x, a.y - b.y
    if abs(dy) < 0.6 * width or abs(dy) > 8 * width:
        return False  # Side by side they stand on masts of their own.
    if abs(dx) > 0.6 * abs(dy) + 1.5 * width:
        return False
    apart = float(np.hypot(a.vote[0] - b.vote[0], a.vote[1] - b.vote[1]))
    return apart < 0.8 * width + 0.22 * float(np.hypot(dx, dy))
