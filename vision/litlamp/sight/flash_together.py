"""What is told of the lamps of one signal, weighed together: they flash together, and beat together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from litlamp.sight.flash import FEWEST_FRAMES, flash, lit_for_long
from litlamp.sight.lamp_series import LEANS, Flash, LampSeries, leaning
from litlamp.sight.lit_level import normalised
from litlamp.sight.rhythm import BEAT_PRIOR, CLEARLY, SURE, SWELLS

EDGES = 8.0
"""Nats by which the edges of all lamps together must be those of a flash."""
RIPPLE_BESIDE_STEADY = 1e-4
"""Share of lamps that only ripple, of those that come and go beside one that does not ripple at all; common
practice, no source."""
WHOLLY = 0.5
"""Of its light about that moment, what a lamp without a ripple gives in all but a few frames."""
FIRM, SELDOM = 0.75, 0.1
"""And in all but this share of them."""
DIM = 0.25
"""A lamp that gives less than this of what the brightest of its signal gives may be a dark one's glass."""
MAY_BE_GLASS = "the lamp is so dim beside another that it may be dark"
DARK, DARK_SHARE = 0.25, 0.1
"""Of its lit light, what a dark lamp gives at most; and the share of frames in which a flash does so."""
ALL_STEADY = 0.02
"""Where lamps lean to flashing, how likely it stays that none does: one cause may make them all seem so."""
ALONE = "a lamp's ripple against the shutter could look as this does, and no lamp beside it is steady"
"""Why a flash cannot be told of the lamps of a signal of which none burns steadily."""
FEWEST_TURNS = 3
"""Changes between lit and dark of the lamp that leads; fewer may have any cause."""
STEP = 0.65
"""What a lamp still gives while another is dark, of what it gives while that is lit, if both flash."""


def together(series: Sequence[LampSeries], told: Sequence[Flash]) -> tuple[Flash, ...]:
    """What is told of each lamp of one signal in view of the others; `series` have the same times.

    What the edges of one lamp show of a ripple speaks against a flash of another; and a lamp that is dark
    whenever a flashing one is, and lit whenever that is, flashes with it.
    """
    steady = any(_plainly_steady(s, found) for s, found in zip(series, told, strict=True))
    usual = RIPPLE_BESIDE_STEADY if steady else BEAT_PRIOR
    priors = [BEAT_PRIOR] * len(told)
    if steady:
        # It has no ripple and does not swell, and shares supply and camera with the others.
        anew = [_not_settled(found) and _goes_dark(s) for s, found in zip(series, told, strict=True)]
        told = [flash(s, usual) if a else found for s, found, a in zip(series, told, anew, strict=True)]
        priors = [usual if a else BEAT_PRIOR for a in anew]
    ratios = [found.edges_ratio for found in told if found.edges_ratio is not None]
    # What speaks for a ripple beforehand counts once: one cause is asked of.
    edges = [
        found.edges_ratio + math.log(prior)
        for found, prior in zip(told, priors, strict=True)
        if found.edges_ratio is not None
    ]
    joint = sum(edges) - math.log(usual)
    out = list(told)
    if ratios and (joint < EDGES or min(ratios) < -CLEARLY):
        doubted = leaning(1 / (1 + float(np.exp(-np.clip(joint, -50, 50)))))
        out = [replace(f, flashing=None, reason=SWELLS, leaning=doubted) if _flashes(f) else f for f in told]
    leads = [i for i, found in enumerate(out) if _flashes(found)]
    for i, found in enumerate(told):
        if found.flashing is None:
            lead = next((j for j in leads if _in_step(series[i], series[j])), None)
            if lead is not None:
                out[i] = replace(out[lead], edges_ratio=found.edges_ratio)
    if not steady:
        # A ripple's edges are as sharp as any if the shutter is short enough, and drawn out as a filament's
        # where the camera over-exposes: it is never ruled out.
        out = [replace(f, flashing=None, reason=ALONE, leaning=LEANS) if _flashes(f) else f for f in out]
    out = _but_glass(series, _leaning_together(series, out))
    open_ones = [f for f in out if f.leaning is not None and f.leaning > 0.5]
    most = 1 - ALL_STEADY ** (1 / max(len(open_ones), 1))
    return tuple(replace(f, leaning=min(f.leaning or 0.0, most)) if f in open_ones else f for f in out)


def _leaning_together(series: Sequence[LampSeries], told: Sequence[Flash]) -> list[Flash]:
    """What is told, with lamps that come and go with one that leans to flashing leaning to it as much."""
    out = list(told)
    leads = sorted((f.leaning, i) for i, f in enumerate(told) if f.leaning is not None and f.leaning > 0.5)
    for i, found in enumerate(told):
        for most, lead in leads:
            other = lead != i and found.flashing is None and most > (found.leaning or 0.0)
            if other and _in_step(series[i], series[lead]):
                out[i] = replace(found, leaning=most)
    return out


def _but_glass(series: Sequence[LampSeries], told: Sequence[Flash]) -> list[Flash]:
    """What is told, with nothing of lamps said to be steady that are so dim beside another."""
    levels = [float(np.quantile(s.brightness[s.seen], 0.9)) if s.seen.any() else 0.0 for s in series]
    least = DIM * max(levels, default=0.0)
    return [
        replace(found, flashing=None, reason=MAY_BE_GLASS)
        if found.flashing is not None and found.flashing < 0.5 and level < least
        else found
        for found, level in zip(told, levels, strict=True)
    ]


def _plainly_steady(series: LampSeries, found: Flash) -> bool:
    """Whether a lamp was lit in every frame."""
    if found.flashing is None or found.flashing > 1 - SURE or not lit_for_long(series):
        return False
    x = normalised(series.times[series.seen], series.brightness[series.seen])
    return x is not None and bool((np.quantile(x, (0.02, SELDOM)) > (WHOLLY, FIRM)).all())


def _goes_dark(series: LampSeries) -> bool:
    """Whether it is truly dark in as many frames as a flash is; a lamp followed badly only dims."""
    light = series.brightness[series.seen]
    return light.size > 0 and float(np.mean(light < DARK * np.quantile(light, 0.85))) > DARK_SHARE


def _not_settled(found: Flash) -> bool:
    """Whether a lamp may flash and its own edges do not tell."""
    return found.flashing is None or (_flashes(found) and (found.edges_ratio or 0.0) < EDGES)


def _flashes(found: Flash) -> bool:
    return found.flashing is not None and found.flashing >= SURE


def _in_step(lamp: LampSeries, lead: LampSeries) -> bool:
    """Whether a lamp is lit when a flashing one is, and dark when that is."""
    if not np.array_equal(lamp.times, lead.times):
        return False
    both = lamp.seen & lead.seen
    if int(both.sum()) < FEWEST_FRAMES:
        return False
    own = lamp.brightness[both]
    x = normalised(lamp.times[both], lead.brightness[both])
    if x is None:
        return False
    on, off = x > 0.7, x < 0.3
    turns = int(np.count_nonzero(np.diff(on[on | off].astype(int))))
    if turns < FEWEST_TURNS or min(int(on.sum()), int(off.sum())) < FEWEST_FRAMES // 3:
        return False
    # A slow filament is still warm in a few frames of the one kind, and a few are none too good.
    return float(np.quantile(own[off], 0.8)) < STEP * float(np.quantile(own[on], 0.2))
