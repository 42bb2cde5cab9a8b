"""What was watched becomes the signals of a clip: false tracks dropped, looks pooled stretch by stretch."""

from __future__ import annotations

from dataclasses import dataclass

from litlamp.media.clip_frame import ClipFrame
from litlamp.sight.eyes import Calibration, logistic
from litlamp.sight.flash import Flash
from litlamp.sight.glance import moved_signal
from litlamp.sight.pool import asked, believed, pool
from litlamp.sight.seen import SignalSeen
from litlamp.sight.stretches import spans
from litlamp.sight.tracks import Look, Track
from litlamp.sight.watch import Watched

FEWEST_LOOKS = 2
"""Looks that must have seen a signal, where the clip is long enough for as many."""
LONG_ENOUGH = 0.5
CLEAR = 0.4
"""A stretch as long as this, seconds, was seen clearly enough to be the reading."""


@dataclass(frozen=True, slots=True)
class StretchSeen:
    """A signal over a stretch of one aspect; its boxes are of the moment `at`. One `Flash` a head."""

    span: tuple[float, float]
    at: float
    seen: SignalSeen
    flashes: tuple[Flash, ...]


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
    """

    span: tuple[float, float]
    stretches: tuple[StretchSeen, ...]
    last_clear: int
    frame: ClipFrame | None
    track: Track


def signals_in(watched: Watched, tuned: Calibration) -> tuple[SignalInClip, ...]:
    """The signals, in the order in which they came into sight, and from left to right."""
    found = []
    for track in watched.tracks:
        one = _signal(track, watched, tuned)
        if one is not None:
            found.append(one)
    return tuple(sorted(found, key=lambda s: (round(s.span[0]), s.stretches[s.last_clear].seen.box.x0)))


def _signal(track: Track, watched: Watched, tuned: Calibration) -> SignalInClip | None:
    needed = FEWEST_LOOKS if watched.seconds >= LONG_ENOUGH else 1
    if track.found < needed or logistic(believed(track.looks)) < asked(track.looks):
        return None
    stretches: list[StretchSeen] = []
    shown = {s.at: s.frame for s in watched.shown.get(track.number, ())}
    for a, b in spans(track):
        last = not stretches or b == track.last_seen
        looks = [look for look in track.looks if a <= look.at < b or (last and look.at == b)]
        pooled = pool(track, looks, (a, b), tuned, watched.times_fault, tuple(shown))
        if pooled is not None:
            by = _scale(looks, pooled.at, watched.size)
            seen = moved_signal(pooled.seen, by, 0.0, 0.0)
            stretches.append(StretchSeen((a, b), pooled.at, seen, pooled.flashes))
    if not stretches:
        return None
    clear = [i for i, s in enumerate(stretches) if s.span[1] - s.span[0] >= CLEAR]
    span = stretches[0].span[0], stretches[-1].span[1]
    at = clear[-1] if clear else len(stretches) - 1
    return SignalInClip(span, tuple(stretches), at, shown.get(stretches[at].at), track)


def _scale(looks: list[Look], at: float, size: tuple[int, int]) -> float:
    """From px of the frame that was looked at to px of the clip's first."""
    own = next((look.size for look in looks if look.at == at), size)
    return size[0] / own[0]
