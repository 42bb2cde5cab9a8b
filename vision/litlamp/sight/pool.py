"""Many looks at one signal become one belief.

Frames of one clip are no independent witnesses: what misleads one, an over-exposed red that looks yellow,
misleads all. So the beliefs of many looks are averaged, never multiplied: a hundred looks that hold red
possible at three in a hundred still hold it so. Looks that showed more count for more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import COLOURS, MOST_HEADS, PLATES, Arrangement, Mount, Plate
from litlamp.aspects.belief import PlateBelief
from litlamp.box import Box, union_of
from litlamp.sight.eyes import Calibration
from litlamp.sight.head_light import HeadLight, brightness_at, dark_throughout, head_light, shares_lit
from litlamp.sight.lamp_series import Flash
from litlamp.sight.seen import DARK, HeadSeen, LampSeen, Shade, SignalSeen
from litlamp.sight.signal_flash import flashes_alone, flashes_of
from litlamp.sight.traces import Look, passed
from litlamp.sight.tracks import COVERED, COVERED_TOGETHER, Track

Floats = NDArray[np.float64]

FULL_WIDTH = 28.0
"""A head shown wider than this tells no more, px; one half as wide counts for a quarter."""
KEPT = 0.3
"""A head is one of the signal if the better looks scored it as high as this on average."""
BETTER = 0.35
"""The better looks: this share of them."""
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
    lights = {slot: head_light(track, slot, span, times_fault) for slot, _ in slots}
    showing = [i for i, look in enumerate(found) if look.at in moments] or list(range(len(found)))
    # What is shown is better lit: of a flash not its dark half, nor a filament that is fading.
    lit = shares_lit(list(lights.values()), [look.at for look in found])
    best = max(showing, key=lambda i: lit[i] * _worth(found[i], slots, float(weight[i])))
    shown = found[best]
    assert shown.glance is not None
    heads: list[HeadSeen] = []
    for slot, present in slots:
        heads.append(_head(track, slot, present, found, weight, shown, lights, tuned))
    flashes = flashes_of(lights, [1 - head.colour["dark"] for head in heads])
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
        return flashes_alone(head_light(track, slot, (found[0].at, found[-1].at)))

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
    colours, weights, plain, shades, lamp = [], [], [], [], None
    bright = brightness_at(lights[slot], [look.at for look in found])
    for look, w, share in zip(found, weight, bright, strict=True):
        if slot in look.heads and look.glance is not None:
            head = look.glance.seen.heads[look.heads.index(slot)]
            colours.append([head.colour[name] for name in COLOURS])
            # A lamp that is just warming or fading shows another colour than its own.
            weights.append(w * max(share, 0.05) ** 2)
            if head.shade is not None:
                shades.append((head.shade, weights[-1]))
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
    looks_so = None if lamp is None else _shade(shades)
    return HeadSeen(box, lamp, named, None, None, present, dark, shade=looks_so)


def _shade(seen: Sequence[tuple[Shade, float]]) -> Shade | None:
    """How a lamp looks in most of its looks, each with its weight."""
    if not seen:
        return None
    weights = np.array([weight for _, weight in seen])

    def middle(values: Sequence[float]) -> float:
        order = np.argsort(values, kind="stable")
        sums = np.cumsum(weights[order])
        return float(values[order[np.searchsorted(sums, sums[-1] / 2)]])

    return Shade(middle([s.redness for s, _ in seen]), middle([s.clipped for s, _ in seen]))


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
