"""What was watched becomes the signals of a clip: false tracks dropped, looks pooled stretch by stretch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from litlamp.media.clip_frame import ClipFrame
from litlamp.sight.alternating import in_turn
from litlamp.sight.eyes import Calibration, logistic
from litlamp.sight.glance import moved_signal
from litlamp.sight.lamp_series import Flash
from litlamp.sight.one_camera import of_others
from litlamp.sight.pool import asked, believed, in_view, pool
from litlamp.sight.seen import SignalSeen
from litlamp.sight.shades import Known, known, side_by_side
from litlamp.sight.stretches import spans
from litlamp.sight.traces import Look
from litlamp.sight.tracks import Track
from litlamp.sight.watch import Watched

FEWEST_LOOKS = 2
"""Looks that must have seen a signal, where the clip is long enough for as many."""
LONG_ENOUGH = 0.5
OUT_OF_VIEW = 0.02
"""Belief that all heads were seen where some that are known have left the picture."""
CLEAR = 0.4
"""A stretch as long as this, seconds, was seen clearly enough to be the reading."""


@dataclass(frozen=True, slots=True)
class StretchSeen:
    """A signal over a stretch of one aspect; its boxes are of the moment `at`.

    One `Flash` a head, and which of the track's heads it is.
    """

    span: tuple[float, float]
    at: float
    seen: SignalSeen
    flashes: tuple[Flash, ...]
    slots: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SignalInClip:
    """One signal of a clip.

    Attributes
    ----------
    span : from when to when it was in sight, seconds after the first frame.
    stretches : in time order, at least one.
    last_clear : which of them the reading is that of.
    frame : a frame that shows it, where frames were kept; the boxes of `last_clear` are then of it.
    track : what it was gathered from.
    known : its lamps that others are held against, as they were before they were held against any.
    """

    span: tuple[float, float]
    stretches: tuple[StretchSeen, ...]
    last_clear: int
    frame: ClipFrame | None
    track: Track
    known: tuple[Known, ...] = ()


def signals_in(
    watched: Watched, tuned: Calibration, elsewhere: Sequence[Known] = ()
) -> tuple[SignalInClip, ...]:
    """The signals, in the order in which they came into sight, and from left to right.

    `elsewhere` are lamps `known` (see `shades`) of signals that were handed on before.
    """
    alone = []
    crossing = in_turn(watched.tracks)
    for track in watched.tracks:
        if track.number in crossing:
            continue
        one = _signal(track, watched, tuned)
        if one is not None:
            alone.append(one)
    told = [known(head for part in one.stretches for head in part.seen.heads) for one in alone]
    found = [
        replace(_beside(one, [*elsewhere, *others], watched, tuned), known=own)
        for one, own, others in zip(alone, told, of_others(told), strict=True)
    ]
    return tuple(sorted(found, key=lambda s: (round(s.span[0]), s.stretches[s.last_clear].seen.box.x0)))


def _beside(one: SignalInClip, others: Sequence[Known], watched: Watched, tuned: Calibration) -> SignalInClip:
    """The signal, its lamps held against those of others."""
    parts = [replace(part, seen=side_by_side(part.seen, others)) for part in one.stretches]
    if any(_same_shown(one.track, a, b) for a, b in pairwise(parts)):
        return _signal(one.track, watched, tuned, others) or one
    return replace(one, stretches=tuple(parts))


def _signal(
    track: Track, watched: Watched, tuned: Calibration, others: Sequence[Known] | None = None
) -> SignalInClip | None:
    """What the track shows; with `others`, its lamps are held against those of other signals."""
    needed = FEWEST_LOOKS if watched.seconds >= LONG_ENOUGH else 1
    if track.found < needed or logistic(believed(track.looks)) < asked(track.looks):
        return None
    stretches: list[StretchSeen] = []
    shown = {s.at: s.frame for s in watched.shown.get(track.number, ())}
    for span in spans(track):
        part = _stretch(track, span, watched, tuned, tuple(shown), others)
        if part is None:
            continue
        if stretches and _partly_gone(track, stretches[-1], part):
            part = replace(part, seen=replace(part.seen, whole=min(part.seen.whole, OUT_OF_VIEW)))
        if stretches and _same_shown(track, stretches[-1], part):
            # What seemed a change was none: both are read again as one.
            span = stretches.pop().span[0], span[1]
            part = _stretch(track, span, watched, tuned, tuple(shown), others) or part
        stretches.append(part)
    if not stretches:
        return None
    clear = [i for i, s in enumerate(stretches) if s.span[1] - s.span[0] >= CLEAR]
    span = stretches[0].span[0], stretches[-1].span[1]
    at = clear[-1] if clear else len(stretches) - 1
    return SignalInClip(span, tuple(stretches), at, shown.get(stretches[at].at), track)


def _stretch(
    track: Track,
    span: tuple[float, float],
    watched: Watched,
    tuned: Calibration,
    shown: tuple[float, ...],
    others: Sequence[Known] | None,
) -> StretchSeen | None:
    last = span[1] >= track.last_seen
    looks = [look for look in track.looks if span[0] <= look.at < span[1] or (last and look.at == span[1])]
    if logistic(believed(looks)) < asked(looks):
        return None  # something else was taken for the signal then
    pooled = pool(track, looks, span, tuned, watched.times_fault, shown)
    if pooled is None:
        return None
    seen = moved_signal(pooled.seen, _scale(looks, pooled.at, watched.size), 0.0, 0.0)
    if others is not None:
        seen = side_by_side(seen, others)
    return StretchSeen(span, pooled.at, seen, pooled.flashes, pooled.slots)


def _partly_gone(track: Track, before: StretchSeen, after: StretchSeen) -> bool:
    """Whether all that is seen no more of a signal has left the picture, as a train came near.

    A head that looks did not see where it would have been in view has not left: it was none.
    """
    gone = set(before.slots) - set(after.slots)
    own = [
        look for look in track.looks if look.glance is not None and after.span[0] <= look.at <= after.span[1]
    ]
    if not gone or not own or any(in_view(track, slot, own[-1]) for slot in gone):
        return False
    return all(slot in look.heads or not in_view(track, slot, look) for slot in gone for look in own)


def _same_shown(track: Track, before: StretchSeen, after: StretchSeen) -> bool:
    """Whether a stretch shows what the one before did, as far as its heads are still in view."""
    if len(before.slots) == len(after.slots) or not _partly_gone(track, before, after):
        return _alike(before.seen, after.seen)
    left = [head for head, slot in zip(before.seen.heads, before.slots, strict=True) if slot in after.slots]
    return bool(left) and _alike(replace(before.seen, heads=tuple(left)), after.seen)


def _alike(a: SignalSeen, b: SignalSeen) -> bool:
    """Whether both most likely show the same: as many heads, each of one colour, flashing or not in both."""
    if len(a.heads) != len(b.heads):
        return False
    for one, other in zip(a.heads, b.heads, strict=True):
        if max(one.colour, key=lambda c: one.colour[c]) != max(other.colour, key=lambda c: other.colour[c]):
            return False
        told = [h.flashing for h in (one, other) if h.flashing is not None]
        if len(told) == 2 and (told[0] >= 0.5) != (told[1] >= 0.5):
            return False
    return True


def _scale(looks: list[Look], at: float, size: tuple[int, int]) -> float:
    """From px of the frame that was looked at to px of the clip's first."""
    own = next((look.size for look in looks if look.at == at), size)
    return size[0] / own[0]
