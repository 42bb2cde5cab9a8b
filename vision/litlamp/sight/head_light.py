"""How bright one head of a followed signal was over time, whichever of its lamps was lit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from litlamp.sight.flash import lasting
from litlamp.sight.lamp_series import LampSeries
from litlamp.sight.traces import LampTrace
from litlamp.sight.tracks import Track

Floats = NDArray[np.float64]

DARK_SPAN = 3.0
"""Seconds that a head must have been watched before it is said to be dark throughout; the longest dark spell
of a flash of 0.5 Hz is well under two."""
DARK_FRAMES = 45
FLASH_FRAMES = 15
DARK_SHARE = 0.12
"""Of the other lamps' light: a head that never shows more than this is dark."""
BY_TURNS, TURNS = (0.2, 0.8), 3
"""Share of frames in which a lamp that flashes is lit, and how often it changes at least."""
HALF, UNEVEN, PLAINLY = 0.5, 1.6, 0.2
"""It is lit if above HALF of its light, and neither lit nor dark in at most PLAINLY of frames. A dull
lens is never darker than HALF of its usual light, and not UNEVEN times as bright while the lamp is lit."""
DULL = 0.1
"""Of a lamp's light, what a lens that shines dully gives at least; with less it says nothing."""
OTHER_TINT, MOSTLY = 0.5, 0.7
"""It differs by so much, log of red over green; the share of looks that name the lamp where that is lit."""
BOTH, LIT = (0.3, 0.14), 0.4
"""Seconds for which two lenses of a head shine at once, and for which one of them is dark, at least; the
share of the head's light above which a lens shines."""
AROUND, BRIGHT, FALLEN = 2.5, 0.75, 0.6
"""Seconds on either side in which a lamp comes and goes; the shares of its light above which it is bright,
and below which it is not, though its glass may shine."""
LONGEST_GAP = 0.35
"""Seconds between two frames in which a lamp was seen; longer, and it was not watched meanwhile."""
ALWAYS = 0.98
"""Quantile that stands for the brightest moment; single frames may show anything."""


@dataclass(frozen=True, slots=True, eq=False)
class HeadLight:
    """A head's light as a series, and of each frame its hue and the diameter of its lens, px.

    The hue is the log of red over green, nan where the lamp is not lit or not seen. `doubtful`: two of its
    lenses shone at once, and for a while one alone: which of them is a glass in the sun is not known.
    """

    series: LampSeries
    hue: Floats
    lens: Floats
    doubtful: bool = False

    def after(self, moment: float) -> HeadLight:
        """The same in the frames after this moment."""
        s, late = self.series, self.series.times > moment
        common = None if s.common is None else s.common[late]
        series = LampSeries(s.times[late], s.brightness[late], s.seen[late], common, s.times_fault)
        return HeadLight(series, self.hue[late], self.lens[late], self.doubtful)


def head_light(
    track: Track, slot: int, span: tuple[float, float] | None = None, times_fault: str | None = None
) -> HeadLight:
    """The light of one head of a track within a span of seconds, both ends included."""
    times = np.array(track.times)
    n = len(times)
    light, red, green = np.zeros(n), np.zeros(n), np.zeros(n)
    known = np.zeros(n, bool)
    real = _real(track, slot)
    for lamp in real:
        own = slice(lamp.first, lamp.first + len(lamp.light))
        now = np.array(lamp.light, float)  # nan where it was out of the picture
        more = now >= light[own]
        for total, channel in ((light, now), (red, lamp.red), (green, lamp.green)):
            total[own] = np.where(more, np.array(channel, float), total[own])
        known[own] |= ~np.isnan(now)
    seen = np.array(track.seen, bool) & known
    if track.misses > 1:  # it was lost after the look that saw it last
        seen &= times <= track.last_seen
    common = np.array(track.common, float)
    inside = np.ones(n, bool) if span is None else (times >= span[0]) & (times <= span[1])
    top = float(np.quantile(light[seen], 0.9)) if seen.any() else 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        hue = np.where(
            seen & (light > 0.3 * top) & (light > 0), np.log((red + 0.02) / (green + 0.02)), np.nan
        )
    if not _follows(light[seen & inside], common[seen & inside]):
        common = np.ones(n)
    series = LampSeries(times[inside], light[inside], seen[inside], common[inside], times_fault)
    lens = np.array(track.widths) * float(np.median([lamp.diameter for lamp in track.heads[slot].lamps]))
    return HeadLight(series, hue[inside], lens[inside], _one_goes_out(real, seen & inside, times, top))


def _real(track: Track, slot: int) -> list[LampTrace]:
    """The head's lamps without what only looks like one: a lens that daylight makes shine dully.

    While another lamp of the head flashes it shines on all the while, and looks name it mostly where that one
    is dark: a head has one lamp lit at a time.
    """
    lamps = [lamp for lamp in track.heads[slot].lamps if lamp.light]
    if len(lamps) < 2:
        return lamps
    dull = {id(b) for a in lamps for b in lamps if a is not b and _outshines(track, slot, a, b)}
    return [lamp for lamp in lamps if id(lamp) not in dull]


def _outshines(track: Track, slot: int, lamp: LampTrace, lens: LampTrace) -> bool:
    """Whether a lamp flashes beside a lens that does not."""
    first = max(lamp.first, lens.first)
    last = min(lamp.first + len(lamp.light), lens.first + len(lens.light))
    if last - first < FLASH_FRAMES:
        return False
    light, other = (np.array(each.light[first - each.first : last - each.first]) for each in (lamp, lens))
    hue, tint = (_tint(each, first, last) for each in (lamp, lens))
    both = np.isfinite(light) & np.isfinite(other) & np.array(track.seen[first:last], bool)
    if int(both.sum()) < FLASH_FRAMES:
        return False
    light, other, hue, tint = light[both], other[both], hue[both], tint[both]
    level, usual = float(np.quantile(light, 0.9)), float(np.median(other))
    on = light > HALF * level
    between = float(np.mean((light > 0.3 * level) & (light < 0.6 * level)))
    turns = int(np.count_nonzero(on[1:] != on[:-1]))
    if not BY_TURNS[0] < float(on.mean()) < BY_TURNS[1] or turns < TURNS or between > PLAINLY:
        return False
    if not DULL * level < usual < level / HALF or float(np.quantile(other, 0.1)) < HALF * usual:
        return False
    if float(np.median(other[on])) > UNEVEN * float(np.median(other[~on])):
        return False
    if abs(float(np.median(hue[on])) - float(np.median(tint))) < OTHER_TINT:
        return False
    times = np.array(track.times[first:last])[both]
    named = {True: Counter[str](), False: Counter[str]()}
    for look in track.looks:
        if slot in look.heads and look.glance is not None and times[0] <= look.at <= times[-1]:
            colour = look.glance.seen.heads[look.heads.index(slot)].colour
            named[bool(on[np.argmin(np.abs(times - look.at))])][
                max((p, c) for c, p in colour.items())[1]
            ] += 1
    if not named[True] or not named[False]:
        return False
    (own, count), *_ = named[True].most_common(1)
    mostly = count > MOSTLY * named[True].total()
    return own != "dark" and mostly and named[False][own] < (1 - MOSTLY) * named[False].total()


def _one_goes_out(lamps: Sequence[LampTrace], seen: NDArray[np.bool_], times: Floats, top: float) -> bool:
    """Whether, in frames in which the head is `seen`, two lenses shine at once, and for a while one alone."""
    lights = [np.full(times.size, np.nan) for _ in lamps]
    for light, lamp in zip(lights, lamps, strict=True):
        light[lamp.first : lamp.first + len(lamp.light)] = lamp.light
    gap = np.diff(times) > LONGEST_GAP

    def longest(so: NDArray[np.bool_]) -> float:
        return float(lasting(times, so & seen, gap).max(initial=0.0))

    return any(
        longest((one > LIT * top) & (other > LIT * top)) >= BOTH[0]
        and longest((one > LIT * top) & (other < DARK_SHARE * top)) >= BOTH[1]
        for one, other in permutations(lights, 2)
    )


def _tint(lamp: LampTrace, first: int, last: int) -> Floats:
    """Log of red over green in the track's frames from `first` up to `last`."""
    own = slice(first - lamp.first, last - lamp.first)
    return np.asarray(np.log((np.array(lamp.red[own]) + 0.02) / (np.array(lamp.green[own]) + 0.02)))


def _follows(light: Floats, common: Floats) -> bool:
    """Whether a lamp's light goes with the exposure; that of a lamp that clips the sensor does not."""
    if light.size < 8 or float(common.min()) <= 0 or float(np.quantile(light, 0.9)) <= 0:
        return False  # too few frames, or black in all of them
    spreads = []
    for bright in (light, light / common):
        lit = bright[bright > 0.5 * np.quantile(bright, 0.9)]
        low, high = np.quantile(lit, (0.1, 0.9))
        spreads.append(float(high / max(low, 1e-9)))
    return spreads[1] < spreads[0]


def brightness_at(light: HeadLight, moments: Sequence[float]) -> Floats:
    """The head's light at these moments in terms of its light when lit, 0 to 1; 1 where it is not known."""
    series = light.series
    seen = series.seen & (series.brightness > 0)
    if not seen.any():
        return np.ones(len(moments))
    lit = float(np.quantile(series.brightness[seen], 0.9))
    times, share = series.times[series.seen], np.clip(series.brightness[series.seen] / lit, 0, 1)
    at = np.clip(np.searchsorted(times, moments), 0, len(times) - 1)
    near = np.abs(times[at] - np.array(moments)) < 0.1
    return np.where(near, share[at], 1.0)


def shares_lit(lights: Sequence[HeadLight], moments: Sequence[float]) -> Floats:
    """All the light of a signal's heads at these moments in terms of that when all are lit, 0.05 to 1.

    Dark heads count for nothing in it.
    """
    seen = [light.series.brightness[light.series.seen] for light in lights]
    most = np.array([float(np.quantile(bright, 0.9)) if bright.size else 0.0 for bright in seen])
    if not most.sum() > 0:
        return np.ones(len(moments))
    now = np.stack([brightness_at(light, moments) for light in lights], axis=1)
    return np.asarray(np.clip(now @ (most / most.sum()), 0.05, 1.0))


def comes_and_goes_at(light: HeadLight, moment: float) -> bool:
    """Whether about this moment the head was by turns bright and far less so, and not bright then.

    What a look sees of it then is the glass, which the sky may colour.
    """
    series = light.series
    own = series.seen & (np.abs(series.times - moment) < AROUND)
    times, bright = series.times[own], series.brightness[own]
    if times.size < FLASH_FRAMES:
        return False
    level = float(np.quantile(bright, 0.9))
    on, off = bright > BRIGHT * level, bright < FALLEN * level
    turns = int(np.count_nonzero(np.diff(on[on | off].astype(int))))
    return turns >= TURNS and bool(off[np.argmin(np.abs(times - moment))])


def dark_throughout(light: HeadLight, others: Sequence[HeadLight]) -> bool:
    """Whether the head was watched for long enough, beside lit ones, and never lit up."""
    seen = light.series.seen
    times = light.series.times[seen]
    if times.size < DARK_FRAMES:
        return False
    steps = np.diff(times)
    if float(steps[steps < LONGEST_GAP].sum()) < DARK_SPAN:
        return False
    lit = [float(np.median(o.series.brightness[o.series.seen])) for o in others if o.series.seen.any()]
    usual = max(lit, default=0.0)
    return usual > 0 and float(np.quantile(light.series.brightness[seen], ALWAYS)) < DARK_SHARE * usual
