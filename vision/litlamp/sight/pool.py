"""Many looks at one signal become one belief.

Frames of one clip are no independent witnesses: what misleads one, an over-exposed red that looks yellow,
misleads all. So the beliefs of many looks are averaged, never multiplied: a hundred looks that hold red
possible at three in a hundred still hold it so. Looks that showed more count for more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import COLOURS, MOST_HEADS, PLATES, Arrangement, Mount, Plate
from litlamp.aspects.belief import PlateBelief
from litlamp.box import Box, union_of
from litlamp.sight.eyes import Calibration
from litlamp.sight.flash import NOT_PROVEN, SWINGS, flash, lit_for_long, two_levels
from litlamp.sight.flash_together import together
from litlamp.sight.head_light import HeadLight, brightness_at, dark_throughout, head_light
from litlamp.sight.lamp_series import LEANS, Flash, LampSeries, leaning
from litlamp.sight.rhythm import CLEARLY
from litlamp.sight.seen import DARK, HeadSeen, LampSeen, SignalSeen
from litlamp.sight.traces import Look, passed
from litlamp.sight.tracks import COVERED, COVERED_TOGETHER, Track

Floats = NDArray[np.float64]

FULL_WIDTH = 28.0
"""A head shown wider than this tells no more, px; one half as wide counts for a quarter."""
KEPT = 0.3
"""A head is one of the signal if the better looks scored it as high as this on average."""
BETTER = 0.35
"""The better looks: this share of them."""
GLIMMER = 0.2
"""Share of a lit lamp's light that a dark one may give back by day, at most."""
PLAIN_FLASH = 2 * CLEARLY
"""Nats by which a lamp that never looks dark, for its glass is bright, must speak for a flash."""
GAPS, HIDDEN = 2, 0.1
"""A lamp that was out of sight as often, for such a share of the time, is not said to be steady."""
PLAIN_WIDTH = 9.0
"""From this width of its heads on, px, a look that is sure of a lit lamp's colour is heard."""
SURE_HUE, AGREE = 0.8, 2
"""A colour of which so many looks were as sure as this stays possible, whatever all looks come to."""
KEPT_HUE = 0.04
"""The share that it keeps at least: enough to be guarded against."""
SHOWS_NONE = 1e-3
"""How much a look is worth to be shown that saw no head of the signal."""
MISSED = 0.3
"""How much a look counts, for whether there is a signal, that saw nothing or nothing lit: a flash's dark half
looks so."""
NEARBY, NEAR_LOOKS = 0.5, 4
"""Looks from nearby, since its heads were so wide as against the widest; fewer are not asked alone."""
SURE_FLASH = 0.999
"""No clip makes it surer than this that a lamp flashes, or that it does not."""
MEASURED = 3.0
"""Lenses so wide, px, are measured well enough."""
LENSES, LONG = (4.0, MEASURED, 2.0), 3.0
"""Lamps are watched for flashing from when on their lenses are so wide, px, if that is so many seconds."""
LAST_SECONDS = (3.0, 2.5, 2.0)
"""Where a lamp's whole time tells nothing, it leans to flashing if it does in so many last seconds of it."""
LONGEST_GAP = 0.35
SURELY_LIT = 0.9
"""A lamp that looks believe to be lit by no more than this is not told to be steady: it may be glass."""
DIMMEST = 0.02
"""A lamp that looks saw lit and that measures no more than this cannot be watched for flashing."""


@dataclass(frozen=True, slots=True)
class Pooled:
    """A signal over one stretch of time, and the moment its boxes are of.

    One `Flash` a head, and which of the track's heads it is.
    """

    seen: SignalSeen
    at: float
    flashes: tuple[Flash, ...]
    slots: tuple[int, ...]


def pool(
    track: Track,
    looks: Sequence[Look],
    span: tuple[float, float],
    tuned: Calibration,
    times_fault: str | None = None,
    moments: Sequence[float] = (),
) -> Pooled | None:
    """One belief from these looks; None where no head of it was seen well enough.

    Parameters
    ----------
    looks : those of one stretch of unchanged aspect.
    span : that stretch, seconds.
    times_fault : why the clip's times cannot be trusted, or None.
    moments : of looks; boxes are given as of one of these, if there is one among them.
    """
    found = [look for look in looks if look.glance is not None]
    if not found:
        return None
    weight = np.array([_weight(look) for look in found])
    slots = _slots(track, found, weight)
    if not slots:
        return None
    showing = [i for i, look in enumerate(found) if look.at in moments] or list(range(len(found)))
    best = max(showing, key=lambda i: _worth(found[i], slots, float(weight[i])))
    shown = found[best]
    assert shown.glance is not None
    heads: list[HeadSeen] = []
    lights = {slot: head_light(track, slot, span, times_fault) for slot, _ in slots}
    for slot, present in slots:
        heads.append(_head(track, slot, present, found, weight, shown, lights, tuned))
    flashes = _flashes(lights, [1 - head.colour["dark"] for head in heads])
    heads = [_told(head, told) for head, told in zip(heads, flashes, strict=True)]
    full = np.array([all(slot in look.heads for slot, _ in slots) for look in found])
    w = np.where(full, weight, 0.02 * weight)
    of = [look.glance.seen for look in found if look.glance is not None]
    dwarf = _chance([s.mount["dwarf"] for s in of], weight)
    staggered = _chance([s.arrangement["staggered"] for s in of], w) if len(heads) > 1 else 0.0
    mount: dict[Mount, float] = {"mast": 1 - dwarf, "dwarf": dwarf}
    arrangement: dict[Arrangement, float] = {"vertical": 1 - staggered, "staggered": staggered}
    seen = SignalSeen(
        box=_box(heads, shown.glance.seen).clamp(*shown.size),
        heads=tuple(heads),
        mount=mount,
        arrangement=arrangement,
        plates=_plates(of, weight),
        plates_seen=shown.glance.seen.plates_seen,
        number="?" if _mostly([s.number is not None for s in of], weight) else None,
        whole=_whole(np.array([s.whole for s in of]), w),
        resolution=shown.glance.seen.resolution,
        axis=shown.glance.seen.axis if bool(full[best]) else None,
        strange=float(np.average([s.strange for s in of], weights=weight)),
    )
    return Pooled(seen, shown.at, flashes, tuple(slot for slot, _ in slots))


def believed(looks: Sequence[Look]) -> float:
    """Log-odds that what these looks were at is a signal; a look that saw nothing counts a little.

    From afar other lamps look like one, or a signal like none: where those from nearby say so, it is one.
    """
    widths = [look.glance.seen.resolution if look.glance is not None else 0.0 for look in looks]
    first = next((i for i, width in enumerate(widths) if width >= NEARBY * max(widths)), 0)
    near = looks[first:]
    enough = sum(look.glance is not None for look in near) >= NEAR_LOOKS
    return max(_mean_odds(looks), _mean_odds(near)) if enough else _mean_odds(looks)


def _mean_odds(looks: Sequence[Look]) -> float:
    """The same of all of them alike; what is looked for after a train has passed it is behind the train."""
    total, weight = 0.0, 0.0
    last = max((i for i, look in enumerate(looks) if look.glance is not None), default=-1)
    for look in looks[: last + 1] if passed(looks) else looks:
        if look.glance is None:
            total, weight = total - 2 * MISSED, weight + MISSED
        else:
            lit = any(head.lamp is not None for head in look.glance.seen.heads)
            w = (0.2 + _shown(look)) * (1.0 if lit else MISSED)
            total, weight = total + w * look.glance.odds, weight + w
    return total / max(weight, 1e-6)


def asked(looks: Sequence[Look]) -> float:
    """The belief that a still would be asked for before it reports such a signal."""
    return min((look.glance.least for look in looks if look.glance is not None), default=1.0)


def averaged(beliefs: Floats, weights: Floats, doubt: float) -> Floats:
    """One belief, (k,), from many, (n, k).

    Their logarithms are averaged. As far as they differ, by `doubt`, part goes to their plain mean, which
    holds every opinion.
    """
    share = weights / weights.sum()
    log = share @ np.log(beliefs + 1e-4)
    pooled = np.exp(log - log.max())
    pooled /= pooled.sum()
    plain = share @ beliefs
    apart = float(share @ (0.5 * np.abs(beliefs - plain).sum(axis=1)))
    mixed = min(doubt * apart, 1.0)
    return np.asarray((1 - mixed) * pooled + mixed * plain)


def _chance(chances: Sequence[float], weights: Floats) -> float:
    """One probability from many."""
    both = np.array([[p, 1 - p] for p in chances])
    return float(averaged(both, weights, 1.0)[0])


def _weight(look: Look) -> float:
    """How much a look counts: by how it shows the signal, and whether it is one."""
    assert look.glance is not None
    return max(_shown(look) * look.glance.belief, 1e-4)


def _shown(look: Look) -> float:
    """How well a look shows the signal: how large, and whether wholly."""
    assert look.glance is not None
    seen = look.glance.seen
    size = min(seen.resolution / FULL_WIDTH, 1.0) ** 2
    box = union_of(head.box for head in seen.heads)
    edge = min(box.x0, box.y0, look.size[0] - box.x1, look.size[1] - box.y1) / max(seen.resolution, 1.0)
    framed = 1.0 if edge > 0.3 else 0.2
    return size * framed


def _worth(look: Look, slots: Sequence[tuple[int, float]], weight: float) -> float:
    assert look.glance is not None
    own = sum(slot in look.heads for slot, _ in slots)
    lit = sum(h.lamp is not None for h in look.glance.seen.heads)
    # A look that saw none of them, for it took them for others, does not show where they are.
    return weight * (1 + 2 * own + lit) * (1.0 if own else SHOWS_NONE)


def _better(weights: Floats) -> Floats:
    """The same weights with all but the better looks' all but taken away."""
    count = max(round(BETTER * len(weights)), min(3, len(weights)))
    least = np.sort(weights)[-count]
    return np.where(weights >= least, weights, 1e-3 * weights)


def _slots(track: Track, found: Sequence[Look], weight: Floats) -> list[tuple[int, float]]:
    """The heads of the signal, top to bottom, each with the belief that it is one."""
    seen_twice: list[tuple[int, float, float]] = []
    for slot in range(len(track.heads)):
        scores = np.zeros(len(found))
        present = np.zeros(len(found))
        for i, look in enumerate(found):
            assert look.glance is not None
            if slot in look.heads:
                at = look.heads.index(slot)
                scores[i] = look.glance.scores[at]
                present[i] = look.glance.seen.heads[at].present
        times = int((scores > 0).sum())
        if times == 0 or (times == 1 and len(found) > 2):
            continue
        # A lamp that flashes may be seen in few looks; a glint in fewer. Looks that should have seen it and
        # did not count by how well they show the signal.
        could = np.array([scores[i] > 0 or in_view(track, slot, look) for i, look in enumerate(found)])
        score = _best(scores[could], weight[could])
        seen = present[scores > 0]
        seen_twice.append((slot, score, float(np.average(seen, weights=weight[scores > 0]))))
    seen_twice.sort(key=lambda k: -k[1])
    chosen: list[tuple[int, float, float]] = []
    for one in seen_twice:
        beside = all(_beside(track, found, one[0], other[0]) for other in chosen)
        if one[1] >= KEPT and beside and len(chosen) < MOST_HEADS:
            chosen.append(one)
    if 0 < len(chosen) < MOST_HEADS:
        chosen += _flashing_one(track, [one for one in seen_twice if one not in chosen], chosen, found)
    chosen.sort(key=lambda k: track.heads[k[0]].middle[1])
    if len(chosen) == 1:
        return [(chosen[0][0], 1.0)]
    return [(slot, present) for slot, _, present in chosen]


def _flashing_one(
    track: Track,
    rest: Sequence[tuple[int, float, float]],
    chosen: Sequence[tuple[int, float, float]],
    found: Sequence[Look],
) -> list[tuple[int, float, float]]:
    """Of the other heads seen, the one whose lamp flashes as none of the `chosen` does, if there is one.

    While it is dark, looks may miss it, or take its box for a part of the head above it.
    """

    def flashes(slot: int) -> bool:
        light = head_light(track, slot, (found[0].at, found[-1].at))
        return _flashing(_flash(_above_glimmer(light)[0], 1.0, light))

    apart = [
        one for one in rest if all(_beside(track, found, one[0], k[0], COVERED_TOGETHER) for k in chosen)
    ]
    blinking = [one for one in apart if flashes(one[0])]
    return blinking if len(blinking) == 1 and not any(flashes(k[0]) for k in chosen) else []


def _best(scores: Floats, weights: Floats) -> float:
    """The mean of the best scores, those of BETTER of all the weight there is."""
    order = np.argsort(-scores, kind="stable")
    until = np.minimum(np.cumsum(weights[order]), BETTER * float(weights.sum()))
    counted = np.diff(until, prepend=0.0)
    return float(counted @ scores[order] / counted.sum())


def in_view(track: Track, slot: int, look: Look) -> bool:
    """Whether the middle of a head was inside the frame that was looked at."""
    x, y = look.pose.place(*track.heads[slot].middle)
    return 0 <= x < look.size[0] and 0 <= y < look.size[1]


def _beside(track: Track, found: Sequence[Look], a: int, b: int, most: float = COVERED) -> bool:
    """Whether two heads may both be of one signal: seen together, and neither over `most` of the other."""
    both = [a in look.heads and b in look.heads for look in found]
    if not any(both):
        return False
    # From far off two heads that touch look like one: what counts is whether they stay told apart.
    since = both[both.index(True) :]
    mostly = 2 * sum(since) >= len(since)
    one, other = (Box(*track.heads[slot].sides) for slot in (a, b))
    covered = COVERED_TOGETHER if mostly else most
    return one.overlap(other) <= covered * min(one.area, other.area)


def _head(
    track: Track,
    slot: int,
    present: float,
    found: Sequence[Look],
    weight: Floats,
    shown: Look,
    lights: dict[int, HeadLight],
    tuned: Calibration,
) -> HeadSeen:
    colours, weights, plain, lamp = [], [], [], None
    bright = brightness_at(lights[slot], [look.at for look in found])
    for look, w, share in zip(found, weight, bright, strict=True):
        if slot in look.heads and look.glance is not None:
            head = look.glance.seen.heads[look.heads.index(slot)]
            colours.append([head.colour[name] for name in COLOURS])
            # A lamp that is just warming or fading shows another colour than its own.
            weights.append(w * max(share, 0.05) ** 2)
            plain.append(look.glance.seen.resolution >= PLAIN_WIDTH and share > 0.5)
    beliefs, w = np.array(colours), np.array(weights)
    lit = 1 - beliefs[:, DARK]
    # Lit as surely as in the looks that show it best: one caught dark says nothing against them.
    ranked = np.sort(np.where(w >= 0.02 * w.max(), lit, 0.0))[::-1]
    p_lit = float(ranked[min(1, len(ranked) - 1)] if len(ranked) > 3 else ranked[0])
    of_lit = np.delete(beliefs, DARK, axis=1)
    hue = averaged(of_lit / np.maximum(of_lit.sum(axis=1, keepdims=True), 1e-6), w * lit + 1e-9, 1.0)
    hue = _kept(hue, of_lit[np.array(plain, bool)])
    colour = np.insert(hue * p_lit, DARK, 1 - p_lit) + tuned.floor
    colour /= colour.sum()
    at = shown.heads.index(slot) if slot in shown.heads else None
    if at is not None and shown.glance is not None:
        box, lamp = shown.glance.seen.heads[at].box, shown.glance.seen.heads[at].lamp
    else:
        box = shown.pose.box(track.heads[slot].sides)
    if lamp is None and p_lit >= 0.5:
        trace = max(track.heads[slot].lamps, key=lambda t: t.usual)
        lamp = LampSeen(*shown.pose.place(trace.u, trace.v), trace.diameter * shown.pose.width)
    if p_lit < 0.5:
        lamp = None
    others = [lights[s] for s in lights if s != slot]
    dark = p_lit < 0.15 and dark_throughout(lights[slot], others)
    named = {name: float(p) for name, p in zip(COLOURS, colour, strict=True)}
    return HeadSeen(box, lamp, named, None, None, present, dark)


def _kept(hue: Floats, plainly: Floats) -> Floats:
    """The pooled hue, shape (4,), with a share for each that plain looks, (n, 4), were sure of.

    A red lamp that over-exposes as it comes near looks yellow in all the large looks, which outweigh those
    from further off; that must not put red out of the question.
    """
    if len(plainly) < AGREE:
        return hue
    sure = np.sort(plainly, axis=0)[-AGREE]
    kept = np.maximum(hue, np.where(sure > SURE_HUE, KEPT_HUE * sure, 0.0))
    return np.asarray(kept / kept.sum())


def _told(head: HeadSeen, told: Flash) -> HeadSeen:
    """The head with what is told of its flashing."""
    flashing = None if told.flashing is None else float(np.clip(told.flashing, 1 - SURE_FLASH, SURE_FLASH))
    return replace(
        head,
        flashing=flashing,
        flash_per_min=told.per_minute,
        flash_per_min_error=told.per_minute_error,
        leaning=told.leaning,
    )


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


def _flashes(lights: dict[int, HeadLight], lit: Sequence[float]) -> tuple[Flash, ...]:
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


def _at_once(lights: dict[int, HeadLight], lit: Sequence[float]) -> list[Flash]:
    """What is told of the heads of one signal, weighed together."""
    burning = [i for i, p in enumerate(lit) if p > 0.5]
    series, never_dark = zip(*map(_above_glimmer, lights.values()), strict=True)
    told = [_flash(s, p, light) for s, p, light in zip(series, lit, lights.values(), strict=True)]
    together_told = together([series[i] for i in burning], [told[i] for i in burning])
    for i, found in zip(burning, together_told, strict=True):
        # Of a ripple above its glass too little may be left to tell it from a flash.
        doubted = never_dark[i] and _flashing(found) and found.log_ratio < PLAIN_FLASH
        told[i] = replace(found, flashing=None, reason=SWINGS, leaning=LEANS) if doubted else found
    return told


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
    if before.flashing is not None or (before.leaning or 0.0) > 0.5:
        return before
    likely = lately.leaning if lately.flashing is None else leaning(lately.flashing)
    return replace(before, leaning=likely) if (likely or 0.0) > 0.5 else before


def _flashing(told: Flash) -> bool:
    return told.flashing is not None and told.flashing > 0.5


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
    return told


def _comes_and_goes(light: HeadLight) -> bool:
    """Whether so much was not seen of a lamp that seems steady that it may have been dark just then."""
    times, seen = light.series.times, light.series.seen
    if times.size < 2:
        return False
    hidden = np.diff(times)[~seen[1:]].sum()
    starts = int(np.count_nonzero(seen[:-1] & ~seen[1:]))
    return starts >= GAPS and float(hidden) > HIDDEN * float(times[-1] - times[0])


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


def _box(heads: Sequence[HeadSeen], shown: SignalSeen) -> Box:
    return union_of([shown.box, *(head.box for head in heads)])


def _whole(said: Floats, weights: Floats) -> float:
    """Belief that no head is missing, by the looks that had most of what is round the signal in view."""
    good = weights >= 0.1 * weights.max()
    top = np.sort(said[good])[::-1][: max(round(BETTER * int(good.sum())), 1)]
    return float(top.mean())


def _plates(of: Sequence[SignalSeen], weights: Floats) -> dict[Plate, PlateBelief]:
    """What the looks that could make out plates best made of them."""
    told: dict[Plate, PlateBelief] = {}
    for kind in PLATES:
        known = np.array([1 - s.plates[kind].unknown for s in of]) * weights
        best = _better(np.maximum(known, 1e-9))
        parts = np.array([[getattr(s.plates[kind], k) for k in ("present", "absent", "unknown")] for s in of])
        present, absent, unknown = (float(v) for v in best / best.sum() @ parts)
        told[kind] = PlateBelief(present, absent, unknown)
    return told


def _mostly(said: Sequence[bool], weights: Floats) -> bool:
    best = _better(weights)
    return float(best @ np.array(said, float)) > 0.5 * float(best.sum())
