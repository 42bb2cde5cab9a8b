"""Flashing told from steady: one lamp's brightness over time, weighed under every way it may have come about.

Two families of explanations are compared by their evidence (likelihood averaged over all their free values,
so that a supple explanation pays for its suppleness):

flashing
    lit and dark in turn at a rate and lit share of signals, edges sharp (LED) or drawn out (a filament).
not flashing
    lit, or dark, or changing between them a few times without rhythm (a change of aspect, a wire, an engine
    that passes); with any share of frames in which an LED lamp is caught dark; or dark in a rhythm that no
    signal has (the beat of an LED lamp's ripple with the shutter).

A beat may also fall among the rates of signals. Its edges then are drawn out alike on both sides, which
neither an LED nor a filament does; where they cannot be told, or where the ripple of mains-fed lamps would
look just so at the times of these very frames, the answer is "cannot tell".
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from litlamp.sight.lamp_series import Flash, LampSeries
from litlamp.sight.likelihood import OFF
from litlamp.sight.lit_level import evened, levels, normalised
from litlamp.sight.rhythm import BEAT_PRIOR, FASTEST, FEWEST_EDGES, SLOWEST, SURE, weighed

Floats = NDArray[np.float64]

SHORTEST = 1.5  # s; only from here does every flash of 0.5 Hz and more show a change
FEWEST_FRAMES = 15
LONGEST_STEP = 0.11  # s between frames; a flash of 1.5 Hz is lit for as little as 0.2 s
LONGEST = 12.0  # s; of a longer series the end counts: it shows what is displayed now

_SHORTEST_SPELL = 0.14  # s lit or dark; a flash of 1.5 Hz lit for 0.3 has 0.2 s
_WINDOW, _HOP = 4.0, 2.0  # s; parts of a long series, looked at where the whole keeps no rhythm

SWINGS = "the lamp brightens and fades as often as a flash does, but is never dark"
_LEAST_SWING = 0.12
_BRIGHT_GLASS = 0.65  # of the lit lamp's light, what the glass of a dark one may give back, at most
_EVEN_GLASS, _BETWEEN = 0.5, 0.3  # of the swing, what differs then; and the share of frames midway

NOT_PROVEN = f"the lamp was never seen lit for {SHORTEST} s without a break"
UNSETTLED = "the lamp's light was too uneven to tell a steady lamp from a flash"
_UNSETTLED = 0.12  # share of frames in which a steady lamp is not plainly lit, at most
_FALLEN = 0.7  # of its light about that moment, what a steady lamp gives at least
IN_STEP = "the lamp dips as regularly as one that flashes"
_FEWEST_DIPS = 3
_UNEVEN = 0.15  # of the period, how far dips that keep step may be out
_BLINKS = 2.5  # so many times its usual light in a few frames, and the usual light is that of a dark lens

_NEVER_DARK = 0.5
_OFTEN_DARK = 0.12  # share of frames in which a flash is dark, at least; a filament's cooling taken off
_DIP = 0.8  # a steady lamp stays brighter than this, in terms of its level before and after
_LONGEST_PERIOD = 2.0  # s
_BLINK = 0.06  # s on either side; what is shorter than this is no dark half of a flash
_BLIND = 0.15  # s between frames in which one could be missed


def flash(series: LampSeries, ripple: float = BEAT_PRIOR) -> Flash:
    """Weigh a lamp's series.

    Parameters
    ----------
    ripple : of lamps that come and go at the rates of signals, the share whose light only ripples so. Less
        than BEAT_PRIOR: another lamp of the signal tells that neither supply nor camera makes lamps do so.

    Raises
    ------
    ValueError
        The arrays are not of one length.
    """
    times, light = np.asarray(series.times, float), np.asarray(series.brightness, float)
    seen = np.asarray(series.seen, bool)
    common = np.ones_like(times) if series.common is None else np.asarray(series.common, float)
    if not times.ndim == 1 or not times.shape == light.shape == seen.shape == common.shape:
        raise ValueError("times, brightness, seen and common are of one length")
    if series.times_fault is not None:
        return Flash(None, series.times_fault)
    if not np.isfinite(times).all() or (np.diff(times) <= 0).any():
        return Flash(None, "the times do not increase")
    good = seen & np.isfinite(light) & np.isfinite(common) & (common > 0)
    times, light = times[good], (light / np.where(good, common, 1.0))[good]
    if times.size:
        late = times >= times[-1] - LONGEST
        times, light = times[late], light[late]
    unfit = _unfit(times)
    if unfit is not None:
        return Flash(None, unfit)
    seen_as = normalised(times, light)
    if seen_as is None:
        return Flash(0.0, None, log_ratio=-np.inf)
    if float(seen_as.min()) > _NEVER_DARK:  # not one frame of a flash's dark half
        if _swings(times, seen_as):
            return Flash(None, SWINGS)
        return _proven(times, light, Flash(0.0, None, log_ratio=-np.inf))
    found = _as_whole(times, seen_as, ripple)
    if found.edges_ratio is None and float(np.mean(seen_as < OFF)) > _OFTEN_DARK:
        # It does go dark. What differs from one lit spell to the next, the camera's exposure or its
        # distance, is then taken out, or it would look like a lamp that drifts.
        again = _as_whole(times, evened(times, seen_as), ripple)
        found = again if again.edges_ratio is not None else found
    return _proven(times, light, found)


def _as_whole(times: Floats, seen_as: Floats, ripple: float) -> Flash:
    whole = _guarded(times, seen_as, weighed(times, seen_as, ripple))
    if times[-1] - times[0] < 2 * _WINDOW - _HOP or (whole.flashing or 0.0) >= SURE:
        return whole
    return _in_parts(times, seen_as, whole, ripple)


def _proven(times: Floats, light: Floats, found: Flash) -> Flash:
    """A lamp is said to be steady only where it was seen lit for longer than any flash leaves it so.

    Or where it dips too often for a flash: an LED lamp's beat.
    """
    if found.flashing is None or found.flashing >= 0.5:
        return found
    spells = _spells(times, light)
    # Dark for longer than any flash is a change.
    if spells.lit >= SHORTEST or spells.dark >= SHORTEST:
        usual, most = (float(v) for v in np.quantile(light, (0.9, 0.98)))
        if spells.unsettled > _UNSETTLED or most > _BLINKS * usual:
            return Flash(None, UNSETTLED, log_ratio=found.log_ratio)
        return Flash(None, IN_STEP, log_ratio=found.log_ratio) if _dips_in_step(times, light) else found
    if spells.dips.size >= 4 and float(np.diff(spells.dips).max()) < 0.9 / FASTEST:
        return found
    return Flash(None, NOT_PROVEN, log_ratio=found.log_ratio)


def _dips_in_step(times: Floats, light: Floats) -> bool:
    """Whether a lamp falls and rises again three times and more, evenly, at the rate of a flash.

    A slow filament that is off for a short while only never goes dark, nor is it dim for long.
    """
    x = normalised(times, light)
    if x is None:
        return False
    edges = np.diff(np.concatenate([[0], (x < _FALLEN).astype(int), [0]]))
    starts, ends = np.flatnonzero(edges > 0), np.flatnonzero(edges < 0)
    # One frame alone may be a wire, or one in which an LED lamp was caught dark.
    dips = np.array([times[a:b].mean() for a, b in zip(starts, ends, strict=True) if b - a > 1])
    if dips.size < _FEWEST_DIPS:
        return False
    steps = np.diff(dips)
    period = float(np.median(steps))
    even = float(np.abs(steps / period - 1).max()) < _UNEVEN
    return even and 1 / FASTEST < period < 1 / SLOWEST


def lit_for_long(series: LampSeries) -> bool:
    """Whether the lamp was seen lit without a break for longer than any flash leaves it so."""
    times, light = (np.asarray(v, float)[series.seen] for v in (series.times, series.brightness))
    return times.size >= FEWEST_FRAMES and float(light.max()) > 0 and _spells(times, light).lit >= SHORTEST


class _Spells(NamedTuple):
    """When a lamp dips; for how long at a time, s, it was seen lit, and seen dark, without a break; and in
    what share of the frames it was neither lit nor dark for long."""

    dips: Floats
    lit: float
    dark: float
    unsettled: float


def _spells(times: Floats, light: Floats) -> _Spells:
    step = float(np.median(np.diff(times)))
    near = max(1, round(_BLINK / step))
    # A frame or two in which an LED lamp was caught dark are no dip, nor is a wire that passes.
    calm = _about(light, near).max(axis=1)
    # The lit level before and after: a lamp that grows all the while does not dip.
    first = np.searchsorted(times, times - _LONGEST_PERIOD)
    last = np.searchsorted(times, times + _LONGEST_PERIOD, side="right")
    here = np.arange(times.size)
    before, after = levels(light, first, here + 1, 0.85), levels(light, here, last, 0.85)
    lower, higher = np.minimum(before, after), np.maximum(before, after)
    gap = np.diff(times) > max(_BLIND, 1.5 * step)
    lit = (calm > _DIP * lower) & (calm > _NEVER_DARK * higher)
    dark = calm < 2 * OFF * float(np.quantile(light, 0.9))
    of_lit, of_dark = (lasting(times, so, gap) for so in (lit, dark))
    # Glass that gives back the sky hides a flash's dark half, but not that the light fell.
    filled = normalised(times, _about(calm, near).min(axis=1))
    fallen = np.zeros(times.size, bool) if filled is None else filled < _FALLEN
    unsettled = float(np.mean((~lit | fallen) & (of_dark < SHORTEST)))
    dips = times[1:][lit[:-1] & ~lit[1:]]
    return _Spells(dips, float(of_lit.max()), float(of_dark.max()), unsettled)


def _about(light: Floats, near: int) -> Floats:
    """Of each frame the light of those `near` it on either side, shape (N, 2 near + 1)."""
    return np.lib.stride_tricks.sliding_window_view(np.pad(light, near, mode="edge"), 2 * near + 1)


def lasting(times: Floats, so: NDArray[np.bool_], gap: NDArray[np.bool_]) -> Floats:
    """Of each frame the time, s, for which it was `so` without a break about it; 0 where it is not."""
    edges = np.flatnonzero(np.concatenate([[True], ~so[1:] | ~so[:-1] | gap, [True]]))
    lasted = np.zeros(times.size)
    for a, b in pairwise(edges):
        lasted[a:b] = times[b - 1] - times[a]
    return np.where(so, lasted, 0.0)


def _guarded(times: Floats, x: Floats, found: Flash) -> Flash:
    """No flash is ruled out of a lamp that comes and goes about as often as a flash, however unevenly."""
    if found.flashing is None or found.flashing > 1 - SURE or not _comes_and_goes(times, x):
        return found
    return Flash(None, "the lamp comes and goes, but keeps no rhythm of a flash", log_ratio=found.log_ratio)


def _comes_and_goes(times: Floats, x: Floats) -> bool:
    """Whether there are three changes and more between plainly lit and dark, at the rate of flashes."""
    calm = np.median(np.stack([np.roll(x, 1), x, np.roll(x, -1)]), axis=0)[1:-1]
    return _alternates(times[1:-1], calm > 0.6, calm < 2 * OFF)


def _alternates(times: Floats, lit: NDArray[np.bool_], dark: NDArray[np.bool_]) -> bool:
    """Whether frames that are `lit` and `dark` follow each other as often as in a flash."""
    plain = lit | dark
    lit, when = lit[plain], times[plain]
    turns = when[1:][lit[1:] != lit[:-1]]
    # A spell shorter than any of a flash is a wire or a bad frame: it and its two changes do not count.
    kept: list[float] = []
    for turn in turns:
        if kept and turn - kept[-1] < _SHORTEST_SPELL:
            kept.pop()
        else:
            kept.append(float(turn))
    if len(kept) < FEWEST_EDGES:
        return False
    rate = (len(kept) - 1) / 2 / (kept[-1] - kept[0])
    return bool(rate < 1.1 * FASTEST and max(np.diff(kept)) < 1 / SLOWEST)


def _swings(times: Floats, x: Floats) -> bool:
    """Whether a lamp that is never dark goes up and down between two levels as often as a flash does.

    The lens of a dark lamp may give back so much of the sun.
    """
    grain = 1.48 * float(np.median(np.abs(np.diff(x))))
    swing = max(_LEAST_SWING, 6 * grain)
    return _alternates(times, x > 1 - 0.5 * swing, x < 1 - swing)


class TwoLevels(NamedTuple):
    """Brightness in terms of the lit lamp, and how bright in these terms the lower of two levels is."""

    x: Floats
    low: float


def two_levels(times: Floats, light: Floats) -> TwoLevels | None:
    """Whether a lamp goes to and fro between two levels as often as a flash does, as few frames between.

    Glass that gives back the sky or the sun is bright while its lamp is dark, but evenly so.

    Parameters
    ----------
    times : float, shape (N,), seconds, increasing.
    light : float, shape (N,), linear light in any unit, of the frames in which the lamp is seen.
    """
    x = normalised(times, light) if times.size >= FEWEST_FRAMES else None
    if x is None:
        return None
    low, high = (float(v) for v in np.quantile(x, (0.1, 0.9)))
    swing, middle = high - low, (low + high) / 2
    lit = x > middle
    if low > _BRIGHT_GLASS * high or low <= 0 or not _alternates(times, lit, ~lit):
        return None
    between = float(np.mean(np.abs(x - middle) < 0.2 * swing))
    dark = x[~lit]
    even = float(np.quantile(dark, 0.9) - np.quantile(dark, 0.1)) < _EVEN_GLASS * swing
    return TwoLevels(x, float(np.median(dark))) if even and between < _BETWEEN else None


def _in_parts(times: Floats, x: Floats, whole: Flash, ripple: float) -> Flash:
    """A long series that is no flash as a whole may be one whose rhythm slips, or begins in mid-clip."""
    told: list[tuple[float, Flash]] = []
    final = times[-1] - _WINDOW
    for start in (*np.arange(times[0], final - 0.25 * _HOP, _HOP), final):
        part = (times >= start) & (times <= start + _WINDOW)
        if _unfit(times[part]) is None:
            found = _guarded(times[part], x[part], weighed(times[part], x[part], ripple))
            if found.flashing is not None:
                told.append((float(start), found))
    flashes = [(start, found) for start, found in told if (found.flashing or 0.0) >= SURE]
    if not flashes:
        return whole
    first, last = flashes[0], flashes[-1]
    # Twice in separate parts, at one rate, and to the end: a flash that lost its step between. Or from some
    # moment on without a break: it was steady, or dark, and flashes now.
    alike = abs((first[1].per_minute or 0.0) / (last[1].per_minute or 1.0) - 1) < 0.1
    apart = last[0] - first[0]
    unbroken = apart > 0.4 * _HOP and told[-len(flashes) :] == flashes
    if alike and told[-1] == last and (apart >= _WINDOW or unbroken):
        return last[1]
    return Flash(None, "the lamp flashes in one part of this time, not in another", log_ratio=whole.log_ratio)


def _unfit(times: Floats) -> str | None:
    if times.size < 2:
        return "the lamp was seen in too few frames"
    steps = np.diff(times)
    # Time under observation: a gap shows nothing of what the lamp did in it.
    watched = float(steps[steps <= 3 * LONGEST_STEP].sum())
    if watched < SHORTEST:
        return f"the lamp was seen for {watched:.1f} s; a flash takes {SHORTEST} s to tell"
    if times.size < FEWEST_FRAMES or float(np.median(steps)) > LONGEST_STEP:
        return "the lamp was seen in too few frames"
    return None
