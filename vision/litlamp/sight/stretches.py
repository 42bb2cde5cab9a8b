"""Where in a clip a signal changed its aspect: the stretches of time in which it showed one.

Two things are a change: a head whose light takes on another colour, and a head that stays lit after it was
dark, or dark after it was lit, for longer than any flash leaves it so. A flash is none, nor is a lamp that
looks of another colour from further off: a change is sudden.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import COLOURS
from litlamp.sight.head_light import HeadLight, brightness_at, comes_and_goes_at, head_light
from litlamp.sight.seen import DARK
from litlamp.sight.traces import Look
from litlamp.sight.tracks import Track

Floats = NDArray[np.float64]

LONG_DARK = 2.0
"""Seconds; a flash of 0.5 Hz that is lit for 0.3 of its period is dark for 1.4."""
LIT_LEVEL = 0.35
"""Of the head's usual light."""
UNLIT = 0.15
"""Of its light, what the lamp gives at most when a look at it says nothing of its colour."""
SURE_COLOUR, TURNED = 0.55, 0.5
"""How sure looks must be of a colour on either side of a change, and how far their beliefs lie apart."""
AGREE = 2
"""Looks on either side that must name the colour."""
BESIDE = 0.6
"""Seconds on either side in which the hue is compared."""
SUDDEN, AT_ONCE = 0.25, 0.6
"""Within so many seconds on either side of a change the hue must do such a share of its jump."""
JUMP = 0.2
"""Least jump of the log of red over green, and so many times its own unrest."""
UNREST = 3.0
APART = 0.7
"""Changes nearer to each other than this, seconds, are one: heads rarely change in the very same frame."""


def changes(track: Track) -> tuple[float, ...]:
    """The moments, seconds, from which on the signal showed another aspect; in order."""
    moments: list[float] = []
    for slot in range(len(track.heads)):
        looks = [look for look in track.looks if slot in look.heads]
        if len(looks) < 2:
            continue
        light = head_light(track, slot)
        moments += _of_colour(looks, slot, light)
        moments += _of_light(light)
    kept: list[float] = []
    for moment in sorted(moments):
        if kept and moment - kept[-1] < APART:
            continue
        kept.append(moment)
    return tuple(kept)


def spans(track: Track) -> list[tuple[float, float]]:
    """The stretches between changes, from when the track began to when it was last followed."""
    if not len(track.times):
        return [(track.born, track.born)]
    seen = np.array(track.seen, bool)
    times = np.array(track.times)
    last = max(float(times[seen][-1]) if seen.any() else track.born, track.last_seen)
    edges = [track.born, *(c for c in changes(track) if track.born < c < last), last]
    return list(pairwise(edges))


def _of_colour(looks: Sequence[Look], slot: int, light: HeadLight) -> list[float]:
    """Moments at which the looks before and after name different colours and the hue jumps."""
    told: list[tuple[float, Floats]] = []
    shares = brightness_at(light, [look.at for look in looks])
    for look, share in zip(looks, shares, strict=True):
        assert look.glance is not None
        # In a flash's dark half, looks may see a lens that only shines dully.
        if share < UNLIT or comes_and_goes_at(light, look.at):
            continue
        belief = look.glance.seen.heads[look.heads.index(slot)].colour
        colour = np.array([belief[name] for name in COLOURS])
        if colour[DARK] < 0.5:
            lit = np.delete(colour, DARK)
            told.append((look.at, lit / lit.sum()))
    moments: list[float] = []
    start = 0
    for i in range(1, len(told)):
        before = np.mean([c for _, c in told[max(start, i - 3) : i]], axis=0)
        after = np.mean([c for _, c in told[i : i + 3]], axis=0)
        enough = i - start >= min(AGREE, i) and len(told) - i >= AGREE
        differ = int(before.argmax()) != int(after.argmax())
        # The look itself must be the first of the new colour, or the change would be put a look too soon.
        turned = int(told[i][1].argmax()) == int(after.argmax())
        # A lamp that is over-exposed as it comes near looks a little less red with every look.
        sharp = 0.5 * float(np.abs(before - after).sum()) > TURNED
        if enough and differ and turned and sharp and min(before.max(), after.max()) > SURE_COLOUR:
            moment = _jump(light, told[i - 1][0], told[i][0])
            if moment is not None:
                moments.append(moment)
                start = i
    return moments


def _jump(light: HeadLight, before: float, after: float) -> float | None:
    """When between two looks the hue jumped; None where it did not."""
    times, hue = light.series.times, light.hue
    told = np.isfinite(hue)
    times, hue = times[told], hue[told]
    first = hue[(times >= before - BESIDE) & (times <= before)]
    then = hue[(times >= after) & (times <= after + BESIDE)]
    if first.size < 2 or then.size < 2:
        return None
    unrest = max(float(np.median(np.abs(v - np.median(v)))) for v in (first, then))
    step = float(np.median(then) - np.median(first))
    if abs(step) < max(JUMP, UNREST * unrest):
        return None
    middle = (float(np.median(then)) + float(np.median(first))) / 2
    between = (times >= before) & (times <= after)
    over = (hue[between] > middle) == (step > 0)
    own = times[between]
    if own.size == 0:
        return after
    # The frame after which least is on the wrong side of the middle. Of a lamp that was not followed before
    # it was lit nothing is known but that the old one had gone dark: that is when it changed.
    wrong = np.concatenate([[0], np.cumsum(over)]) + np.concatenate([np.cumsum(~over[::-1])[::-1], [0]])
    last = int(np.argmin(wrong)) - 1
    every = light.series.times
    later = every[every > (own[last] if last >= 0 else before)]
    moment = float(later[0]) if later.size else after
    near = [
        hue[(times >= a) & (times < b)] for a, b in ((moment - SUDDEN, moment), (moment, moment + SUDDEN))
    ]
    if min(v.size for v in near) > 1:
        at_once = abs(float(np.median(near[1]) - np.median(near[0])))
        if at_once < AT_ONCE * abs(step):
            return None  # a lamp that comes near is over-exposed by and by
    return moment


def _of_light(light: HeadLight) -> list[float]:
    """Moments at which the head went dark, or lit up, for good or for long."""
    series = light.series
    times, bright = series.times[series.seen], series.brightness[series.seen]
    if times.size < 8:
        return []
    usual = float(np.quantile(bright, 0.95))
    if usual <= 0:
        return []
    lit = bright > LIT_LEVEL * usual
    turns = np.flatnonzero(lit[1:] != lit[:-1]) + 1
    edges = [0, *(int(t) for t in turns), len(lit)]
    moments: list[float] = []
    for a, b in pairwise(edges):
        steps = np.diff(times[a:b])
        watched = float(steps[steps < 0.35].sum())
        if lit[a] or watched < LONG_DARK:
            continue
        # Other lamps of the signal dim alike where something passes before them; that is not told apart here.
        if a > 0 and lit[:a].mean() > 0.2 and times[a] - times[0] > 0.5:
            moments.append(float(times[a]))
        if b < len(lit) and times[-1] - times[b] > 0.5:
            moments.append(float(times[b]))
    return moments
