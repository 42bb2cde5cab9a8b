"""Lamps side by side that light in turn belong to a road crossing, not to a railway signal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from litlamp.sight.head_light import HeadLight, head_light
from litlamp.sight.tracks import Track

ALONE = 1.5
"""A pair's lamp is seen as a signal of one head; now and then as one of more."""
ALIKE = 1.5
"""One lamp of a pair looks at most so many times as large as the other."""
ASIDE, ABOVE = 9.0, 1.0
"""They stand at most so many widths of theirs beside and above each other. Common practice, no source."""
IN_TURN = 0.8
"""Share of frames in which just one of the two is lit."""
SHARES = (0.25, 0.75)
"""Share of frames in which each is lit."""
CHANGES = 3
LIT = 0.5


def in_turn(tracks: Sequence[Track]) -> set[int]:
    """Numbers of the tracks that are such lamps."""
    lone = [(t, head_light(t, _main(t))) for t in tracks if t.heads_known() < ALONE and len(t.times) > 1]
    found: set[int] = set()
    for i, (a, light_a) in enumerate(lone):
        for b, light_b in lone[i + 1 :]:
            if _at_once(a, b) and _beside(a, b) and _alternate(light_a, light_b):
                found |= {a.number, b.number}
    return found


def _main(track: Track) -> int:
    """The head that most looks saw."""
    return max(range(len(track.heads)), key=lambda slot: sum(slot in look.heads for look in track.looks))


def _at_once(a: Track, b: Track) -> bool:
    """Whether there was a time when both were followed."""
    return a.times[0] <= b.times[-1] and b.times[0] <= a.times[-1]


def _beside(a: Track, b: Track) -> bool:
    width = (a.pose.width + b.pose.width) / 2
    alike = 1 / ALIKE < a.pose.width / b.pose.width < ALIKE
    return alike and abs(a.pose.x - b.pose.x) < ASIDE * width and abs(a.pose.y - b.pose.y) < ABOVE * width


def _alternate(a: HeadLight, b: HeadLight) -> bool:
    times, at_a, at_b = np.intersect1d(a.series.times, b.series.times, return_indices=True)
    seen = a.series.seen[at_a] & b.series.seen[at_b]
    if times.size == 0 or not seen.any():
        return False
    lit = []
    for light in (a.series.brightness[at_a][seen], b.series.brightness[at_b][seen]):
        lit.append(light > LIT * float(np.quantile(light, 0.95)))
    one, other = lit
    changes = int(np.count_nonzero(one[1:] != one[:-1]))
    shares = all(SHARES[0] < float(v.mean()) < SHARES[1] for v in lit)
    return shares and changes >= CHANGES and float((one != other).mean()) > IN_TURN
