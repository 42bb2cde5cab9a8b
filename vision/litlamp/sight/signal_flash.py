"""Which of a signal's lamps flash, by the light of its heads over one stretch of time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from litlamp.sight.flash import NOT_PROVEN, SWINGS, flash, lit_for_long, two_levels
from litlamp.sight.flash_together import together
from litlamp.sight.head_light import LONGEST_GAP, HeadLight
from litlamp.sight.lamp_series import LEANS, Flash, LampSeries, leaning

GLIMMER = 0.2
"""Share of a lit lamp's light that a dark one may give back by day, at most."""
GAPS, HIDDEN = 2, 0.1
"""A lamp that was out of sight as often, for such a share of the time, is not said to be steady."""
MEASURED = 3.0
"""Lenses so wide, px, are measured well enough."""
LENSES, LONG = (4.0, MEASURED, 2.0), 3.0
"""Lamps are watched for flashing from when on their lenses are so wide, px, if that is so many seconds."""
LAST_SECONDS = (3.0, 2.5, 2.0)
"""Where a lamp's whole time tells nothing, it leans to flashing if it does in so many last seconds of it."""
AGAINST = -8.0
"""But not where all of it speaks so plainly against a flash, by the log of the likelihoods' ratio."""
SURELY_LIT = 0.9
"""A lamp that looks believe to be lit by no more than this is not told to be steady: it may be glass."""
DIMMEST = 0.02
"""A lamp that looks saw lit and that measures no more than this cannot be watched for flashing."""


def flashes_of(lights: dict[int, HeadLight], lit: Sequence[float]) -> tuple[Flash, ...]:
    """What is told of each head, in the order of `lights`, that looks believe to be `lit` by so much.

    By what was measured well, and where that tells too little, by more that was not: a rhythm that lasts is
    one, however faint; a lamp that seems steady from afar may be lost beside another.
    """
    told: list[Flash] = []
    for watched in _windows(lights):
        now = _at_once(watched, lit)
        told = [_surer(*pair) for pair in zip(told, now, strict=True)] if told else now
        if not any(map(_open, told, lit)) or any(map(_flashing, told)):
            break
    for watched in _last_parts(lights):
        if not any(map(_open, told, lit)):
            break
        told = [_with_lately(*pair) for pair in zip(told, _at_once(watched, lit), strict=True)]
    return tuple(told)


def flashes_alone(light: HeadLight) -> bool:
    """Whether a head's light by itself tells of a flash, were its lamp lit."""
    return _flashing(_flash(_above_glimmer(light)[0], 1.0, light))


def _at_once(lights: dict[int, HeadLight], lit: Sequence[float]) -> list[Flash]:
    """What is told of the heads of one signal, weighed together."""
    burning = [i for i, p in enumerate(lit) if p > 0.5]
    series, never_dark = zip(*map(_above_glimmer, lights.values()), strict=True)
    told = [_flash(s, p, light) for s, p, light in zip(series, lit, lights.values(), strict=True)]
    together_told = together([series[i] for i in burning], [told[i] for i in burning])
    for i, found in zip(burning, together_told, strict=True):
        # Of a ripple above bright glass too little is left to tell it from a flash, however plain that looks.
        doubted = never_dark[i] and _flashing(found)
        told[i] = replace(found, flashing=None, reason=SWINGS, leaning=LEANS) if doubted else found
    return told


def _above_glimmer(light: HeadLight) -> tuple[LampSeries, bool]:
    """A head's light without what the camera's exposure does to it, nor what a dark lens gives back.

    And whether that is so much that the lamp never looked dark.
    """
    series = light.series
    if series.common is not None:
        series = replace(series, brightness=series.brightness / np.maximum(series.common, 1e-6), common=None)
    bright = series.brightness[series.seen]
    if not bright.size:
        return series, False
    # What daylight a dark lens gives back is no light of the lamp's; a dim lamp's light is more than that.
    low, high = (float(v) for v in np.quantile(bright, (0.05, 0.9)))
    if low < GLIMMER * high:
        return replace(series, brightness=np.maximum(series.brightness - low, 0.0)), False
    glass = two_levels(series.times[series.seen], bright)
    if glass is None:
        return series, False
    # In terms of what the lamp gives about that moment, for both grow as the signal comes near.
    some = glass.x > 0
    lit = np.interp(series.times, series.times[series.seen][some], bright[some] / glass.x[some])
    shine = glass.low * lit
    return replace(series, brightness=np.maximum(series.brightness - shine, 0.0) / (1 - glass.low)), True


def _flash(series: LampSeries, lit: float, light: HeadLight) -> Flash:
    """What is told of a lamp that the looks believe to be lit by so much, of its `series` above its glass."""
    if lit < 0.5:
        return Flash(None, "the lamp was not seen lit")
    bright = series.brightness[series.seen]
    if not bright.size or float(np.quantile(bright, 0.95)) < DIMMEST:
        return Flash(None, "the lamp was too faint to be watched")
    told = flash(series)
    if told.flashing is not None and told.flashing < 0.5 and lit < SURELY_LIT:
        return Flash(None, "no look was sure that the lamp was lit", log_ratio=told.log_ratio)
    if told.flashing is not None and told.flashing < 0.5 and not lit_for_long(series):
        # It may have gone dark, or have been lost where it stood; and no beat is told by a lost lamp either.
        return Flash(None, NOT_PROVEN, log_ratio=told.log_ratio)
    if told.flashing is not None and told.flashing < 0.5 and _comes_and_goes(light):
        return Flash(None, "the lamp was out of sight now and again", log_ratio=told.log_ratio)
    if told.flashing is not None and told.flashing < 0.5 and light.doubtful:
        return Flash(None, "two lenses of this head shone, and one went dark", log_ratio=told.log_ratio)
    return told


def _comes_and_goes(light: HeadLight) -> bool:
    """Whether so much was not seen of a lamp that seems steady that it may have been dark just then."""
    times, seen = light.series.times, light.series.seen
    if times.size < 2:
        return False
    hidden = np.diff(times)[~seen[1:]].sum()
    starts = int(np.count_nonzero(seen[:-1] & ~seen[1:]))
    return starts >= GAPS and float(hidden) > HIDDEN * float(times[-1] - times[0])


def _open(told: Flash, lit: float) -> bool:
    """Whether a lamp that is lit may be steady or flash, as far as is told."""
    return lit > 0.5 and told.flashing is None and (told.leaning or 0.0) <= 0.5


def _surer(before: Flash, more: Flash) -> Flash:
    """What is told, where a longer time may tell of a flash that the part of it before did not."""
    if before.flashing is not None:
        return before
    leans = more.flashing is None and (more.leaning or 0.0) > max(before.leaning or 0.0, 0.5)
    return more if _flashing(more) or leans else before


def _with_lately(before: Flash, lately: Flash) -> Flash:
    """What is told, leaning to a flash where the last seconds alone show one: they may be too few to tell."""
    if before.flashing is not None or (before.leaning or 0.0) > 0.5 or before.log_ratio < AGAINST:
        return before
    likely = lately.leaning if lately.flashing is None else leaning(lately.flashing)
    return replace(before, leaning=likely) if (likely or 0.0) > 0.5 else before


def _flashing(told: Flash) -> bool:
    return told.flashing is not None and told.flashing > 0.5


def _near(lights: dict[int, HeadLight]) -> dict[int, HeadLight]:
    """The lights from when on the lenses are large enough to be measured well; all, where they hardly are.

    Of a signal far off the place of a lamp is known no better than to its own diameter: what is measured may
    be beside it. Of one that comes near at last, little that was measured well tells more than much that was
    not.
    """
    for least in LENSES:
        near = _from(lights, least)
        if all(_watched(light) >= LONG for light in near.values()):
            return near
    largest = min((float(light.lens.max(initial=0.0)) for light in lights.values()), default=0.0)
    return _from(lights, MEASURED) if largest >= 2 * MEASURED else lights


def _windows(lights: dict[int, HeadLight]) -> Iterator[dict[int, HeadLight]]:
    """The lights as `_near` has them, then from ever earlier on."""
    shown = -1
    for now in (_near(lights), *(_from(lights, least) for least in LENSES), lights):
        frames = max(light.series.times.size for light in now.values())
        if frames > shown:
            shown = frames
            yield now


def _last_parts(lights: dict[int, HeadLight]) -> Iterator[dict[int, HeadLight]]:
    """The lights of the last seconds in which a head was seen, in which the signal is nearest."""
    ends = [float(light.series.times[light.series.seen].max(initial=-np.inf)) for light in lights.values()]
    for last in LAST_SECONDS:
        yield {slot: light.after(max(ends) - last) for slot, light in lights.items()}


def _from(lights: dict[int, HeadLight], least: float) -> dict[int, HeadLight]:
    """The lights after the last moment at which a lens was smaller than this, px."""
    small = [light.series.times[light.lens < least] for light in lights.values()]
    since = max((float(times[-1]) for times in small if times.size), default=-np.inf)
    return {slot: light.after(since) for slot, light in lights.items()}


def _watched(light: HeadLight) -> float:
    steps = np.diff(light.series.times[light.series.seen])
    return float(steps[steps < LONGEST_GAP].sum())
