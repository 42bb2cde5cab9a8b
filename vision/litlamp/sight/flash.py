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

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SHORTEST = 1.5  # s; only from here does every flash of 0.5 Hz and more show a change
FEWEST_FRAMES = 15
LONGEST_STEP = 0.11  # s between frames; a flash of 1.5 Hz is lit for as little as 0.2 s
LONGEST = 12.0  # s; of a longer series the end counts: it shows what is displayed now

# Rates and shares looked for: those of signals (0.5 to 1.5 Hz, 0.3 to 0.7 lit) and a little more each way.
_SLOWEST, _FASTEST = 0.45, 1.65  # Hz
_SHARES = np.linspace(0.26, 0.74, 13)
_ALL_SHARES = np.linspace(0.08, 0.92, 15)

_SHORTEST_SPELL = 0.14  # s lit or dark; a flash of 1.5 Hz lit for 0.3 has 0.2 s
_EDGE_ROOM = 0.1  # s
_WINDOW, _HOP = 4.0, 2.0  # s; parts of a long series, looked at where the whole keeps no rhythm
_FEWEST_EDGES = 3  # two are one dark spell, of which there are many causes
_CURVES_PART = 0.05  # the phases near the best, of all phases, when curves are laid over a series
SWELLS = "the lamp swells and fades as an LED lamp's ripple does against the shutter"

SWINGS = "the lamp brightens and fades as often as a flash does, but is never dark"
_LEAST_SWING = 0.12
_BRIGHT_GLASS = 0.65  # of the lit lamp's light, what the glass of a dark one may give back, at most
_EVEN_GLASS, _BETWEEN = 0.5, 0.3  # of the swing, what differs then; and the share of frames midway

NOT_PROVEN = f"the lamp was never seen lit for {SHORTEST} s without a break"
UNSETTLED = "the lamp's light was too uneven to tell a steady lamp from a flash"
_UNSETTLED = 0.12  # share of frames in which a steady lamp is not plainly lit, at most
_FALLEN = 0.7  # of its light about that moment, what a steady lamp gives at least
_BLINKS = 2.5  # so many times its usual light in a few frames, and the usual light is that of a dark lens

_PRIOR = 0.2  # of a lit lamp that it flashes; common practice, no source
SURE = 0.98  # below, and above 1 - SURE, the answer is "cannot tell"
LEANS = 0.95  # what cannot be told is held no likelier than this, and no less likely than 1 - LEANS

_BAD = 0.1  # share of frames that show anything at all (wires, tracking, codec)
_MOST = 1.3  # brightness such a frame may have, in terms of the lit lamp
_OFF = 0.16  # an "off" brighter than this, in terms of the lit lamp, is a dim lamp, not a dark one
_NEVER_DARK = 0.5
_LIT = 0.4
_OFTEN_DARK = 0.12  # share of frames in which a flash is dark, at least; a filament's cooling taken off
_SHORTLY = 0.4  # s
_DIP = 0.8  # a steady lamp stays brighter than this, in terms of its level before and after
_LONGEST_PERIOD = 2.0  # s
_BLINK = 0.06  # s on either side; what is shorter than this is no dark half of a flash
_BLIND = 0.15  # s between frames in which one could be missed
_ROWS = 512  # stretches whose levels are found at once
_BINS = 48  # of a period
_FINE_BINS = 192
_POINTS = 240  # of the curve of a period
_HOPELESS = -40.0  # nats; below, no finer look makes a flash of it
CLEARLY = 6.0  # nats by which one explanation must lead another to be told from it

# Light of a filament as it warms and cools: 1 - exp(-t / rise), exp(-t / fall), in s; from memory.
_RISES = (0.03, 0.06, 0.1, 0.15)
_FALLS = (0.03, 0.05, 0.08, 0.13)

_MAINS_RIPPLE = (100.0, 120.0)  # Hz; twice the mains
_MAINS_DRIFT = 0.002  # of it; common practice, no source
BY_MAINS = 0.5  # of flashes among those that the mains would give; set by hand
BY_SWELLING = 0.7  # and among lamps that go dark in their rhythm, but seem to drift there; likewise
BEAT_PRIOR = 0.05  # of beats among lamps that come and go at the rates of signals; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class LampSeries:
    """One lamp over time.

    Attributes
    ----------
    times : float, shape (N,), seconds.
    brightness : float, shape (N,), linear light of the lamp above its surroundings, any unit; about 0 where
        it is dark. (Codes of a picture are no linear light: undo their curve first.)
    seen : bool, shape (N,); False where the lamp is hidden, out of the picture, or the frame damaged.
    common : float, shape (N,), what the whole frame's brightness is multiplied by (auto-exposure), or None.
    times_fault : why the times cannot be trusted, or None.
    """

    times: Floats
    brightness: Floats
    seen: NDArray[np.bool_]
    common: Floats | None = None
    times_fault: str | None = None


@dataclass(frozen=True, slots=True)
class Flash:
    """Whether a lamp flashes.

    Attributes
    ----------
    flashing : probability, or None where it cannot be told; `reason` then says why.
    per_minute, per_minute_error : rate of a flash and its standard error; None unless flashing is likelier.
    lit_share : share of the period that it is lit; None likewise.
    log_ratio : natural logarithm of the likelihood ratio, flashing against not; 0 where it was not computed.
    edges_ratio : of a lamp that comes and goes in the rhythm of a flash, the same of its edges being those
        of a flash against those of a filmed ripple; None of any other.
    leaning : where it cannot be told, how likely a flash is by what was seen all the same; None: nothing was.
    """

    flashing: float | None
    reason: str | None = None
    per_minute: float | None = None
    per_minute_error: float | None = None
    lit_share: float | None = None
    log_ratio: float = 0.0
    edges_ratio: float | None = None
    leaning: float | None = None


def leaning(chance: float) -> float:
    """How likely a flash is where it cannot be told: near neither end."""
    return float(np.clip(chance, 1 - LEANS, LEANS))


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
    if found.edges_ratio is None and float(np.mean(seen_as < _OFF)) > _OFTEN_DARK:
        # It does go dark. What differs from one lit spell to the next, the camera's exposure or its
        # distance, is then taken out, or it would look like a lamp that drifts.
        again = _as_whole(times, _evened(times, seen_as), ripple)
        found = again if again.edges_ratio is not None else found
    return _proven(times, light, found)


def _evened(times: Floats, x: Floats) -> Floats:
    """The brightness in terms of the lit frames shortly before and after."""
    lit = x > _LIT
    when, light = times[lit], x[lit]
    first = np.searchsorted(when, when - _SHORTLY)
    last = np.searchsorted(when, when + _SHORTLY, side="right")
    level = _levels(light, first, last, 0.6)
    return np.asarray(np.minimum(x / np.interp(times, when, level), _MOST))


def _as_whole(times: Floats, seen_as: Floats, ripple: float) -> Flash:
    whole = _guarded(times, seen_as, _weighed(times, seen_as, ripple))
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
        return found
    if spells.dips.size >= 4 and float(np.diff(spells.dips).max()) < 0.9 / _FASTEST:
        return found
    return Flash(None, NOT_PROVEN, log_ratio=found.log_ratio)


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
    before, after = _levels(light, first, here + 1, 0.85), _levels(light, here, last, 0.85)
    lower, higher = np.minimum(before, after), np.maximum(before, after)
    gap = np.diff(times) > max(_BLIND, 1.5 * step)
    lit = (calm > _DIP * lower) & (calm > _NEVER_DARK * higher)
    dark = calm < 2 * _OFF * float(np.quantile(light, 0.9))
    of_lit, of_dark = (_lasting(times, so, gap) for so in (lit, dark))
    # Glass that gives back the sky hides a flash's dark half, but not that the light fell.
    filled = normalised(times, _about(calm, near).min(axis=1))
    fallen = np.zeros(times.size, bool) if filled is None else filled < _FALLEN
    unsettled = float(np.mean((~lit | fallen) & (of_dark < SHORTEST)))
    dips = times[1:][lit[:-1] & ~lit[1:]]
    return _Spells(dips, float(of_lit.max()), float(of_dark.max()), unsettled)


def _about(light: Floats, near: int) -> Floats:
    """Of each frame the light of those `near` it on either side, shape (N, 2 near + 1)."""
    return np.lib.stride_tricks.sliding_window_view(np.pad(light, near, mode="edge"), 2 * near + 1)


def _lasting(times: Floats, so: NDArray[np.bool_], gap: NDArray[np.bool_]) -> Floats:
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
    return _alternates(times[1:-1], calm > 0.6, calm < 2 * _OFF)


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
    if len(kept) < _FEWEST_EDGES:
        return False
    rate = (len(kept) - 1) / 2 / (kept[-1] - kept[0])
    return bool(rate < 1.1 * _FASTEST and max(np.diff(kept)) < 1 / _SLOWEST)


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
            found = _guarded(times[part], x[part], _weighed(times[part], x[part], ripple))
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


def normalised(times: Floats, light: Floats) -> Floats | None:
    """Brightness with 1 for the lit lamp, which may grow as it comes nearer; None if it is never lit."""
    # The lit level about each moment: the upper part of what is seen within the longest period.
    reach = 1.15
    first = np.searchsorted(times, times - reach)
    last = np.searchsorted(times, times + reach, side="right")
    level = _levels(light, first, last, 0.85)
    whole = float(np.quantile(light, 0.9))
    if whole <= 0:
        return None
    # Where the lamp is dark for longer than that, the level of the nearest stretch where it was lit.
    lit = level > 0.3 * whole
    level = np.interp(times, times[lit], level[lit]) if lit.any() else np.full_like(times, whole)
    return np.asarray(light / level)


def _levels(light: Floats, first: NDArray[np.int64], last: NDArray[np.int64], share: float) -> Floats:
    """`np.quantile` of each of the stretches from `first` up to `last`, which are short and many."""
    sizes = last - first
    # All stretches as rows of one array, filled up with what sorts behind; some at a time, to stay small.
    wide = np.append(light, np.full(int(sizes.max(initial=0)), np.inf))
    out = np.empty(first.size)
    for some in (slice(k, k + _ROWS) for k in range(0, first.size, _ROWS)):
        size = sizes[some]
        columns = np.arange(int(size.max()))
        rows = np.where(columns < size[:, None], wide[first[some, None] + columns], np.inf)
        rows.sort(axis=1)
        at = (size - 1) * share
        low = at.astype(np.int64)
        over, each = at - low, np.arange(size.size)
        lower, upper = rows[each, low], rows[each, np.minimum(low + 1, size - 1)]
        # As numpy reckons it, to the last bit: from whichever of the two is the nearer.
        step = upper - lower
        out[some] = np.where(over < 0.5, lower + step * over, upper - step * (1 - over))
    return out


class _Chances(NamedTuple):
    """Log-likelihood of each frame if the lamp is lit, dark, or between."""

    lit: Floats
    dark: Floats
    between: Floats


def _spread(values: Floats, least: float, most: float) -> float:
    if values.size < 4:
        return most
    return float(np.clip(1.48 * np.median(np.abs(values - np.median(values))), least, most))


def _normal(x: Floats, mean: float | Floats, spread: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((x - mean) / spread) ** 2) / (spread * np.sqrt(2 * np.pi)))


def _chances(x: Floats, bad_dark: float = 0.0, dims: float = 0.0) -> _Chances:
    """`bad_dark`: share of frames that show a lit lamp dark; `dims`: share that show it at any brightness."""
    bad = _BAD
    lit_spread = _spread(x[x > 0.6], 0.03, 0.2)
    low = x[x < 1.25 * _OFF]
    off = float(np.clip(np.median(low), 0.0, _OFF)) if low.size else 0.0
    dark_spread = _spread(low, 0.02, 0.05)
    anything = np.full_like(x, 1 / _MOST)
    dark = _normal(x, off, dark_spread)
    lit = _normal(x, 1.0, lit_spread)
    dimmed = np.where(x > _OFF, 1 / (_MOST - _OFF), 0.0)
    return _Chances(
        np.log((1 - bad - bad_dark - dims) * lit + bad * anything + bad_dark * dark + dims * dimmed),
        np.log((1 - bad) * dark + bad * anything),
        np.log(anything),
    )


def _weighed(times: Floats, x: Floats, prior: float) -> Flash:
    chances = _chances(x)
    span = float(times[-1] - times[0])
    step = float(np.median(np.diff(times)))
    widths = ((0.0, 0.0), (step, step), (0.12, 0.12), (0.24, 0.2))
    rates = np.arange(_SLOWEST, _FASTEST, 1 / (6 * span))
    coarse = _folded(times, chances, rates, _SHARES, widths, _BINS)
    # Around the best once more, as finely as frames can tell: a sharp edge one bin late costs many nats.
    peak = np.unravel_index(np.argmax(coarse), coarse.shape)
    fine_rates = np.clip(rates[peak[0]] + np.linspace(-1, 1, 33) / (6 * span), _SLOWEST, _FASTEST)
    fine_shares = _SHARES[peak[1]] + np.linspace(-0.06, 0.06, 13)
    fine = _folded(times, chances, fine_rates, fine_shares, widths, _FINE_BINS)
    # The part of all flashes that the finer grid stands for.
    part = 33 / 32 * 2 / (6 * span) / (_FASTEST - _SLOWEST) * 13 * 0.01 / (_SHARES[-1] - _SHARES[0])
    for_flash = max(_mean_of_logs(coarse), _mean_of_logs(fine) + float(np.log(min(part, 1.0))))

    weights = np.exp(fine - fine.max())
    by_rate, by_share = weights.sum(axis=(1, 2, 3)), weights.sum(axis=(0, 2, 3))
    rate = float(np.average(fine_rates, weights=by_rate))
    # The posterior's own width, and what the spacing of frames leaves open.
    error = float(
        np.sqrt(np.average((fine_rates - rate) ** 2, weights=by_rate) + (0.4 * rate * step / span) ** 2)
    )
    share = float(np.average(fine_shares, weights=by_share))
    best = np.unravel_index(np.argmax(fine), fine.shape)
    # An edge counts where some frames were seen on either side of it.
    first, last = (float(fine_rates[best[0]]) * at for at in (_EDGE_ROOM, span - _EDGE_ROOM))
    edges = _edges(first, last, float(best[3]) / _FINE_BINS, float(fine_shares[best[1]]))
    against = [_unrhythmic(times, x)]
    fast = np.arange(_FASTEST + 1 / (6 * span), 0.5 / step, 1 / (6 * span))
    if fast.size:
        beats = _folded(times, chances, fast, _ALL_SHARES, ((0.0, 0.0),), _BINS)
        against.append(_mean_of_logs(beats) - float(np.log(4)))
    if for_flash - float(np.logaddexp.reduce(against)) < _HOPELESS:
        return Flash(0.0, None, log_ratio=for_flash - float(np.logaddexp.reduce(against)))
    # The exact curves of lamps, which tell a slow filament from a brightness that drifts.
    shapes = _by_shape(times, x, (rate, error), share, step)
    for_flash = max(
        for_flash, max(shapes.led, shapes.filament) + float(np.log(_CURVES_PART * min(part, 1.0)))
    )

    # Neither its supply nor the camera makes one lamp drift alone.
    drift = _drifting(x) if prior >= BEAT_PRIOR else -np.inf
    settled = for_flash - float(np.logaddexp.reduce(against))
    ratio = for_flash - float(np.logaddexp.reduce([*against, drift]))
    flashing = _logistic(ratio + np.log(_PRIOR / (1 - _PRIOR)))
    if flashing <= 1 - SURE:
        # Where it is only a drift that speaks against a flash, and the lamp does go dark, neither is sure.
        if settled > 0 and float(np.quantile(x, 0.2)) < _OFF:
            rhythm = _logistic(settled + np.log(_PRIOR / (1 - _PRIOR)))
            return Flash(None, SWELLS, log_ratio=ratio, leaning=leaning(rhythm * BY_SWELLING))
        return Flash(flashing, None, log_ratio=ratio)
    if flashing < SURE or edges < _FEWEST_EDGES:
        too_little = "too little was seen to tell a flash from a change"
        return Flash(None, too_little, log_ratio=ratio, leaning=leaning(flashing))
    by_edges = max(shapes.led, shapes.filament) - shapes.blurred - float(np.log(prior))
    warms = shapes.filament - max(shapes.led, shapes.ripple) >= 2 * CLEARLY
    found = Flash(flashing, None, 60 * rate, 60 * error, share, ratio, by_edges)
    if by_edges < CLEARLY:
        return replace(found, flashing=None, reason=SWELLS, leaning=leaning(flashing * _logistic(by_edges)))
    # Edges like a filament's seldom come from a ripple; sharp ones may well.
    ripple = _mains_in_step(times, rate, error) if prior >= BEAT_PRIOR and not warms else None
    if ripple is not None:
        by_mains = (
            f"a lamp fed by the mains would seem to flash so: {ripple:.0f} Hz against this clip's frames"
        )
        return replace(found, flashing=None, reason=by_mains, leaning=leaning(flashing * BY_MAINS))
    return found


def _edges(first: float, last: float, start: float, share: float) -> int:
    """How often the lamp goes on or off between two phases (whole ones counted), lit from `start`."""
    return sum(
        int(np.floor(last - at)) - int(np.ceil(first - at)) + 1 for at in (start % 1, (start + share) % 1)
    )


def _folded(
    times: Floats,
    chances: _Chances,
    rates: Floats,
    shares: Floats,
    widths: tuple[tuple[float, float], ...],
    count: int,
) -> Floats:
    """Log-likelihood of each rhythm, shape (rates, shares, edges, phases); `count` bins a period.

    For one rate the frames are laid into the bins of one period; a rhythm then is a run of lit bins, a run of
    bins between, a run of dark ones and a run between again, and its likelihood four differences of sums.
    """
    bins = (np.outer(rates, times - times[0]) % 1.0 * count).astype(int).clip(0, count - 1)
    bins += np.arange(rates.size)[:, None] * count
    sums = []
    for chance in chances:
        laid = np.bincount(bins.ravel(), np.tile(chance, rates.size), rates.size * count)
        twice = np.tile(laid.reshape(rates.size, count), (1, 2))
        sums.append(np.concatenate([np.zeros((rates.size, 1)), np.cumsum(twice, axis=1)], axis=1))
    # Laid end to end, for one index finds its place many times as fast as two.
    lit, dark, between = (s.ravel() for s in sums)
    start = np.arange(rates.size)[:, None] * (2 * count + 1) + np.arange(count)[None, :]
    end = start + count
    lit_start, between_end = lit[start], between[end]
    out = np.empty((rates.size, shares.size, len(widths), count))
    for k, (rise, fall) in enumerate(widths):
        # In bins of this rate's period, and never more than leaves half of either run.
        up = np.round(rise * rates * count).astype(int)[:, None]
        down = np.round(fall * rates * count).astype(int)[:, None]
        for j, share in enumerate(shares):
            least = int(min(share, 1 - share) * count)
            rising, falling = np.minimum(up, least), np.minimum(down, least)
            end_lit = start + (round(share * count) - rising // 2 - falling // 2)
            end_fall = end_lit + falling
            end_dark = end - rising
            out[:, j, k] = (
                (lit.take(end_lit) - lit_start)
                + (between.take(end_fall) - between.take(end_lit))
                + (dark.take(end_dark) - dark.take(end_fall))
                + (between_end - between.take(end_dark))
            )
    return out


def _mean_of_logs(values: Floats) -> float:
    """Logarithm of the mean of exp(values)."""
    most = float(values.max())
    return most + float(np.log(np.exp(values - most).mean()))


def _logistic(x: float) -> float:
    return float(1 / (1 + np.exp(-np.clip(x, -700, 700))))


def _unrhythmic(times: Floats, x: Floats) -> float:
    """Evidence for a lamp that stays as it is or changes now and then, seldom or often caught dark."""
    steps = np.diff(times)
    evidences = []
    for bad_dark, dims in ((0.0, 0.0), (0.1, 0.0), (0.3, 0.0), (0.5, 0.0), (0.0, 0.7), (0.2, 0.5)):
        chances = _chances(x, bad_dark, dims)
        for changes in (0.02, 0.12):  # a second
            evidences.append(_of_changes(steps, chances, changes))
    return float(np.logaddexp.reduce(evidences)) - float(np.log(len(evidences)))


def _drifting(x: Floats) -> float:
    evidences = [_of_drift(x, wider) for wider in (1.0, 1.5, 2.5)]
    return float(np.logaddexp.reduce(evidences)) - float(np.log(4 * len(evidences)))


def _of_drift(x: Floats, wider: float) -> float:
    """Log-likelihood of a brightness that goes from frame to frame (auto-exposure, a slow beat)."""
    # The grain of two frames, never finer than a plateau's own: stillness alone is no sign of drift.
    step = wider * _spread(np.diff(x), 0.045, 0.3)
    before, earlier = np.roll(x, 1), np.roll(x, 2)
    before[0] = earlier[:2] = 1.0
    near = 0.5 * _normal(x, before, step) + 0.5 * _normal(x, earlier, step)
    return float(np.log((1 - _BAD) * near + _BAD / _MOST).sum())


def _of_changes(steps: Floats, chances: _Chances, changes: float) -> float:
    """Log-likelihood of a lamp that goes on or off at random moments, so many a second."""
    change = np.maximum(0.5 - 0.5 * np.exp(-2 * changes * steps), 1e-12)
    is_lit, is_dark = np.log(0.85) + chances.lit[0], np.log(0.15) + chances.dark[0]
    stays, turns = np.log1p(-change), np.log(change)
    for i in range(steps.size):
        was_lit, was_dark = is_lit, is_dark
        is_lit = np.logaddexp(was_lit + stays[i], was_dark + turns[i]) + chances.lit[i + 1]
        is_dark = np.logaddexp(was_dark + stays[i], was_lit + turns[i]) + chances.dark[i + 1]
    return float(np.logaddexp(is_lit, is_dark))


# -- a flash, or a ripple against the shutter ---------------------------------------------------------------


class _Shapes(NamedTuple):
    """Log-likelihood of the best curve of each kind.

    `blurred` is a ripple whose edges the frames can show to be drawn out, `ripple` any at all.
    """

    led: float
    filament: float
    blurred: float
    ripple: float


def _by_shape(times: Floats, x: Floats, measured: tuple[float, float], share: float, step: float) -> _Shapes:
    """Every kind of curve laid over the series, near a measured rate (and its error)."""
    rate, error = measured
    tried = [_at_rate(times, x, rate + off * error, share, step) for off in (-1.5, -0.75, 0.0, 0.75, 1.5)]
    return _Shapes(*(max(values) for values in zip(*tried, strict=True)))


def _at_rate(times: Floats, x: Floats, rate: float, share: float, step: float) -> _Shapes:
    period = 1 / rate
    grid = (np.arange(_POINTS) + 0.5) / _POINTS
    shares = np.clip(share + np.array([-0.06, -0.03, 0.0, 0.03, 0.06]), 0.05, 0.95)
    finer = np.clip(share + np.linspace(-0.06, 0.06, 13), 0.05, 0.95)
    leds = _boxes(grid, finer, (0.0, 0.5 * step / period, step / period))
    filaments = _filaments(grid, shares, period)
    blurs, ripples = _ripples()
    # A switched ripple's edges rise and fall in a straight line, cut off at the top or not.
    drawn_out = (0.03, 0.06, 0.1, 0.17, 0.28)
    blurs = np.concatenate([blurs, np.tile(drawn_out, finer.size)])
    ripples = np.concatenate([ripples, _boxes(grid, finer, drawn_out)])
    each = _of_curves(times, x, rate, np.concatenate([leds, filaments, ripples]), _curve_spread(x))
    of_led, of_filament, of_ripple = np.split(each, [len(leds), len(leds) + len(filaments)])
    # Sharper than the frames can show: no shape tells it from an LED that flashes.
    shown = blurs * period >= 1.6 * step
    return _Shapes(
        _mean_of_logs(of_led),
        _mean_of_logs(of_filament),
        _mean_of_logs(of_ripple[shown]),
        _mean_of_logs(of_ripple),
    )


def _curve_spread(x: Floats) -> float:
    return max(_spread(x[x > 0.6], 0.03, 0.2), 0.04)


@lru_cache(maxsize=1)
def _ripples() -> tuple[Floats, Floats]:
    """Periods of a filmed ripple: how far each is blurred (shutter time in its periods), and the curves."""
    grid = (np.arange(_POINTS) + 0.5) / _POINTS
    blurs, curves = [], []
    for blur in (0.02, 0.06, 0.1, 0.17, 0.28, 0.45, 0.7, 1.0):
        sources = [(grid < s).astype(float) for s in (0.2, 0.35, 0.5, 0.65, 0.8, 0.9)]  # switched
        sources += [np.maximum(np.abs(np.sin(np.pi * grid)) - low, 0) for low in (0.0, 0.25)]  # rectified
        sources += [np.maximum(np.sin(2 * np.pi * grid), 0.0)]
        for index, source in enumerate(sources):
            curve = _smeared(source, blur)
            for gain in (1.0, 1.6, 2.8):  # over-exposed, the lamp's swelling is cut off at the top
                # Sines are drawn out by themselves, but for what the cut leaves of them.
                blurs.append(max(blur, 0.3) / gain if index >= 6 else blur / gain)
                curves.append(np.minimum(gain * curve / curve.max(), 1.0))
    return np.array(blurs), np.array(curves)


def _of_curves(times: Floats, x: Floats, rate: float, curves: Floats, spread: float) -> Floats:
    """Log-likelihood at its best phase of each of the curves (n, points of a period), shape (n,)."""
    points = curves.shape[1]
    curves = curves / curves.max(axis=1, keepdims=True)
    at = ((times - times[0]) * rate % 1.0 * points).astype(int) % points
    # By correlation first: the phases worth the full sum are few.
    laid = np.bincount(at, x - x.mean(), points)
    fits = np.fft.irfft(np.conj(np.fft.rfft(curves, axis=1)) * np.fft.rfft(laid), points, axis=1)
    best = np.argmax(fits, axis=1)
    shifts = np.arange(-8, 9, 2)
    index = (at[None, None, :] - best[:, None, None] - shifts[None, :, None]) % points
    model = np.take_along_axis(curves[:, None, :], index, axis=2)
    each = np.log((1 - _BAD) * _normal(x, model, spread) + _BAD / _MOST).sum(axis=2)
    return np.asarray(each.max(axis=1))


def _smeared(curves: Floats, width: float) -> Floats:
    """Curves of a period, along the last axis, averaged over a part of it, as an open shutter does."""
    points = curves.shape[-1]
    kernel = np.zeros(points)
    count = max(round(width * points), 1)
    kernel[:count] = 1 / count
    return np.fft.irfft(np.fft.rfft(curves) * np.fft.rfft(kernel), points)


def _boxes(grid: Floats, shares: Floats, blurs: Sequence[float]) -> Floats:
    """Switched light, lit for each share of the period with each blur, shape (shares * blurs, points)."""
    sharp = (grid < shares[:, None]).astype(float)
    smeared = np.stack([_smeared(sharp, blur) for blur in blurs], axis=1)
    return smeared.reshape(-1, grid.size)


def _filaments(grid: Floats, shares: Floats, period: float) -> Floats:
    """Current for each share of the period; the light follows, twice round so that it has settled.

    Shape (shares * rises * falls, points).
    """
    share, rise, fall = (
        v.reshape(-1, 1) for v in np.meshgrid(shares, np.array(_RISES), np.array(_FALLS), indexing="ij")
    )
    warm, cool = np.exp(-grid * period / rise), np.exp(-(grid - share) * period / fall)
    peak = np.ones_like(share)
    for _ in range(3):
        low = peak * np.exp(-(1 - share) * period / fall)
        peak = 1 - (1 - low) * np.exp(-share * period / rise)
    return np.asarray(np.where(grid < share, 1 - (1 - low) * warm, peak * cool))


def _mains_in_step(times: Floats, rate: float, error: float) -> float | None:
    """The ripple of the mains that, at the times of these frames, would look like this rate; or None."""
    span = float(times[-1] - times[0])
    for ripple in _MAINS_RIPPLE:
        drift = _MAINS_DRIFT * ripple + 2 * error
        count = int(np.ceil(2 * drift * span * 6)) + 1
        for hertz in np.linspace(ripple - drift, ripple + drift, count):
            for sign in (1, -1):
                turns = (hertz - sign * rate) * times
                if abs(np.exp(2j * np.pi * turns).mean()) > 0.94:
                    return ripple
    return None
