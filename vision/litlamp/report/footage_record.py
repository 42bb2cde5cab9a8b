"""The signals of a ride as a record: that of the clip (`record.py`), and for each signal how it was passed.

A line of it is a line of readings: what takes those takes this, and ignores the keys `footage`.
"""

from __future__ import annotations

from typing import Literal

import msgspec
from msgspec import UNSET, Struct, UnsetType

from litlamp.report.record import (
    Edges,
    GuardedRecord,
    Record,
    RecordError,
    RuleRecord,
    Seconds,
    SignalRecord,
    validate_line,
)

FOOTAGE = 1
"""Version of what `footage` holds."""

Ended = Literal["passed", "in view at the end", "lost from sight"]
Where = Literal["left", "right", "above"]
Faces = Literal["towards the train", "not known"]


class KnownRecord(Struct, frozen=True, kw_only=True):
    """The reading as it could have been known at a moment, from what had been seen until then.

    `box` is where the heads were; `head_px` is how wide a head was.
    """

    at_s: Seconds
    box: Edges
    head_px: float
    aspect: str
    reading: RuleRecord | None
    guarded: GuardedRecord | None
    set: tuple[RuleRecord, ...]


class FollowsRecord(Struct, frozen=True, kw_only=True):
    """Whether the reading is what the signal passed before announced; `before` is that one's number."""

    before: int
    verdict: Literal["holds", "open", "broken", "not told"]
    words: str
    less_restrictive: bool | None = None


class PassedRecord(Struct, frozen=True, kw_only=True):
    """How a signal was passed."""

    version: int = FOOTAGE
    number: int
    ended: Ended
    side: Where | None
    faces: Faces
    track: str
    beside: tuple[int, ...] = ()
    known: tuple[KnownRecord, ...]
    follows: FollowsRecord | None = None


class FootageSignal(SignalRecord, frozen=True, kw_only=True):
    """One signal of a ride."""

    footage: PassedRecord


class RideRecord(Struct, frozen=True, kw_only=True):
    """How much of the ride was read: `whole`, and up to which moment."""

    version: int = FOOTAGE
    whole: bool
    read_to_s: Seconds


class FootageRecord(Record, frozen=True, kw_only=True):
    """A whole ride."""

    signals: tuple[FootageSignal, ...]
    footage: RideRecord | UnsetType = UNSET


def signal_of(of: SignalRecord, passed: PassedRecord) -> FootageSignal:
    """The signal, with how it was passed."""
    return FootageSignal(**{k: getattr(of, k) for k in of.__struct_fields__}, footage=passed)


def ride_of(of: Record, signals: tuple[FootageSignal, ...], ride: RideRecord) -> FootageRecord:
    """The record of a clip, with these signals in place of its own."""
    kept = {k: getattr(of, k) for k in of.__struct_fields__ if k != "signals"}
    return FootageRecord(**kept, signals=signals, footage=ride)


def validate_ride(line: bytes | str) -> FootageRecord:
    """The record on one line. Raises RecordError as `validate_line` does."""
    validate_line(line)
    try:
        of = msgspec.json.decode(line, type=FootageRecord)
    except msgspec.DecodeError as error:
        raise RecordError(str(error)) from None
    version = None if isinstance(of.footage, UnsetType) else of.footage.version
    if version != FOOTAGE:
        raise RecordError(f"footage {version} is unknown here; {FOOTAGE} is what is read - at `$.footage`")
    for i, signal in enumerate(of.signals):
        known = [k.at_s for k in signal.footage.known]
        if known != sorted(known):
            raise RecordError(f"the moments are out of order - at `$.signals[{i}].footage.known`")
        if signal.footage.number != i + 1:
            raise RecordError(f"the signals are out of order - at `$.signals[{i}].footage.number`")
    return of


_DOCUMENTED: tuple[tuple[str, tuple[tuple[str, str, str], ...]], ...] = (
    (
        "`footage` of the ride",
        (
            ("version", "1", "version of what `footage` holds"),
            ("whole", "true or false", "false: reading was stopped, or the clip is cut off"),
            ("read_to_s", "number", "seconds after the clip's first frame up to which it was read"),
        ),
    ),
    (
        "`footage` of each signal",
        (
            ("version", "1", "the same"),
            ("number", "number", "in the order in which the signals came into sight, from 1"),
            (
                "ended",
                "text",
                "`passed` (it left the picture by an edge, having grown), `in view at the end` or "
                "`lost from sight`",
            ),
            ("side", "left, right, above or null", "where from the middle of the picture it was passed"),
            (
                "faces",
                "text",
                "`towards the train` where a lamp of it was seen lit; a signal seen from behind, or one "
                "that is out, shows none: `not known`",
            ),
            ("track", "text", "which track it governs: a picture does not tell; what can be told is said"),
            ("beside", "list of numbers", "signals passed at the same moment: not all are for this track"),
            (
                "known",
                "list",
                "the reading as it could have been known at moments, from what had been seen until then: "
                "`at_s`, `box` (of the heads), `head_px` (how wide a head was), `aspect`, `reading`, "
                "`guarded`, `set`",
            ),
            (
                "follows",
                "{before, verdict, words, less_restrictive} or null",
                "whether the signal shows what that of the number `before` announced: `holds`; `open` (not "
                "by the readings, but by others of their sets); `broken`; `not told`. `less_restrictive`: "
                "it is read as less restrictive than was announced",
            ),
        ),
    ),
)


def schema_markdown() -> str:
    """What `footage` holds, as Markdown tables."""
    parts = [
        "`signals.jsonl` holds one line, which is a line of readings of the clip. The ride and each of its "
        "signals have one key more, `footage`."
    ]
    for title, keys in _DOCUMENTED:
        rows = [f"| `{key}` | {kind} | {meaning} |" for key, kind, meaning in keys]
        parts.append("\n".join([f"**{title}**", "", "| key | value | meaning |", "|---|---|---|", *rows]))
    return "\n\n".join(parts) + "\n"
