"""A ride as far as it was read: its signals in order, each held against the one that was passed before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import msgspec

from litlamp.footage_state import Passed
from litlamp.photo_reading import SourceReading

if TYPE_CHECKING:
    from litlamp.aspects.rulebook import Rulebook
    from litlamp.aspects.succession import Step, Told
    from litlamp.report.footage_record import FollowsRecord, FootageRecord
    from litlamp.report.record import AspectRecord

TOGETHER = 0.7
"""Signals that leave the picture within so many seconds of each other stand beside each other."""
TRACK_UNKNOWN = "Which track it governs is not known: a picture does not tell."


@dataclass(frozen=True, slots=True)
class Ride:
    """A ride as far as it was read.

    Attributes
    ----------
    record : what was read, in the published form.
    passed : for each of its signals what is more than that: pictures, and its way through the frame.
    whole : read to its end, and the clip is not cut off.
    stopped : reading was interrupted.
    """

    record: FootageRecord
    passed: tuple[Passed, ...]
    whole: bool
    stopped: bool


def assembled(
    passed: Sequence[Passed],
    clip: SourceReading,
    book: Rulebook,
    *,
    at: float,
    whole: bool,
    stopped: bool,
) -> Ride:
    """The ride: its signals in the order in which they came into sight, each held against the one before."""
    from litlamp.report.footage_record import RideRecord, ride_of
    from litlamp.report.record import record

    def came(one: Passed) -> tuple[float, float]:
        return _span(one)[0], one.signal.box[0]

    ordered = sorted(passed, key=came)
    beside = {i: _beside(i, ordered) for i in range(len(ordered))}
    follows = _follows(ordered, beside, book)
    signals = []
    for i, one in enumerate(ordered):
        told = one.signal.footage.track
        numbers = tuple(j + 1 for j in beside[i])
        if numbers:
            listed = " and ".join(str(n) for n in numbers)
            told = f"{TRACK_UNKNOWN} It stands beside {listed}, so that not all are for the same track."
        new = msgspec.structs.replace(
            one.signal.footage, number=i + 1, beside=numbers, track=told, follows=follows[i]
        )
        signals.append(msgspec.structs.replace(one.signal, footage=new))
    of = ride_of(record(clip), tuple(signals), RideRecord(whole=whole, read_to_s=round(at, 3)))
    kept = tuple(
        msgspec.structs.replace(one, signal=signal) for one, signal in zip(ordered, signals, strict=True)
    )
    return Ride(of, kept, whole, stopped)


def _span(one: Passed) -> tuple[float, float]:
    assert one.signal.span_s is not None
    return one.signal.span_s


def _beside(i: int, ordered: Sequence[Passed]) -> tuple[int, ...]:
    """Indices of the signals that were passed at the same moment."""
    if ordered[i].signal.footage.ended != "passed":
        return ()
    return tuple(
        j
        for j, other in enumerate(ordered)
        if j != i
        and other.signal.footage.ended == "passed"
        and abs(_span(other)[1] - _span(ordered[i])[1]) <= TOGETHER
    )


def _follows(
    ordered: Sequence[Passed], beside: dict[int, tuple[int, ...]], book: Rulebook
) -> list[FollowsRecord | None]:
    """Each signal held against the one that was passed before it; None for the first."""
    from litlamp.report.footage_record import FollowsRecord

    out: list[FollowsRecord | None] = [None] * len(ordered)
    by_end = sorted(range(len(ordered)), key=lambda i: (_span(ordered[i])[1], i))
    for before, after in pairwise(by_end):
        if beside[before] or beside[after]:
            words = "Not checked: it is not known which of the signals beside each other is for this track."
            out[after] = FollowsRecord(before=before + 1, verdict="not told", words=words)
        else:
            step = _step(ordered[before], ordered[after], book)
            out[after] = FollowsRecord(
                before=before + 1, verdict=step.verdict, words=step.words, less_restrictive=step.laxer
            )
    return out


def _step(before: Passed, after: Passed, book: Rulebook) -> Step:
    """How what a signal showed when the one before it was passed, and showed later, follows from that."""
    from litlamp.aspects.succession import Step, follow

    left = _told(before, None)
    first, last = _told(after, _span(before)[1]), _told(after, None)
    step = follow(left, first, book)
    if first.reading is None or last.reading in (None, first.reading):
        return step
    later = follow(left, last, book)
    held = "stop" in book.rule(first.reading).speed  # one that held the train has cleared: that is its way
    if step.verdict != "holds" or later.verdict in ("holds", "not told") or held:
        return step
    words = f"{step.words} But later in view: {later.words}"
    return Step("open", words, later.fits, later.between, later.laxer)


def _told(one: Passed, at: float | None) -> Told:
    """What a signal was read as at its last or, given a moment, from then on: first that which was settled.

    From afar a signal may be misread before it is read well; such a reading settles nothing.
    """
    from litlamp.aspects.succession import Told

    aspects = [a for a in one.signal.aspects or () if a.reading is not None]
    if not aspects:
        return Told(None)
    chosen = aspects[-1]
    if at is not None:
        later = [a for a in aspects if a.to_s >= at] or [chosen]
        chosen = next((a for a in later if _settled(a)), later[0])
    return Told(chosen.reading.rule if chosen.reading else None, tuple(c.rule for c in chosen.set))


def _settled(of: AspectRecord) -> bool:
    return of.reading is not None and of.guarded is not None and of.reading.rule == of.guarded.rule
