"""The readings of a ride as subtitles and chapter marks: WebVTT, SubRip and FFmpeg's metadata.

A line of a subtitle says what could be known of a signal at that moment, from what had been seen until then.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from litlamp.aspects.cautions import LONG, SHORT

if TYPE_CHECKING:
    from litlamp.report.footage_record import FootageRecord, FootageSignal, KnownRecord
    from litlamp.report.record import GuardedRecord, RuleRecord

OPENING = 4.0
"""Seconds at the beginning in which nothing but the caution is told, where no signal is in view."""
SHORTEST = 0.05
"""Shorter cues are joined to the one before."""


@dataclass(frozen=True, slots=True)
class Cue:
    """Lines to be shown from one moment to another, seconds."""

    from_s: float
    to_s: float
    lines: tuple[str, ...]


def webvtt_time(seconds: float) -> str:
    """A moment in WebVTT: "00:01:02.500"."""
    return _clock(seconds, ".")


def subrip_time(seconds: float) -> str:
    """A moment in SubRip: "00:01:02,500"."""
    return _clock(seconds, ",")


def _clock(seconds: float, point: str) -> str:
    whole = round(max(seconds, 0.0) * 1000)
    rest, thousandths = divmod(whole, 1000)
    minutes, second = divmod(rest, 60)
    hours, minute = divmod(minutes, 60)
    return f"{hours:02}:{minute:02}:{second:02}{point}{thousandths:03}"


def rule_words(rule: RuleRecord | GuardedRecord) -> str:
    """A rule as it is named: "Clear to Stop, Rule 411"; an outcome that is no rule in its own words."""
    name = rule.name[:1].upper() + rule.name[1:]
    return name if rule.rule is None else f"{name}, Rule {rule.rule}"


def in_short(reading: RuleRecord | None, guarded: GuardedRecord | None) -> str:
    """A reading in one line, the guarded one first where it differs."""
    from litlamp.report.text import percent

    if reading is None or guarded is None:
        return "no reading"
    sure = percent(reading.probability).replace("\u00a0", " ")
    if reading.rule != guarded.rule:
        return f"guarded: {rule_words(guarded)} (likeliest {rule_words(reading)}: {sure})"
    return f"{rule_words(reading)}: {sure}"


def cues(ride: FootageRecord) -> tuple[Cue, ...]:
    """What is shown when, in order; no two cues overlap, and the caution stands in each."""
    parts = [part for signal in ride.signals for part in _parts(signal)]
    edges = sorted({t for a, b, _ in parts for t in (a, b)})
    out: list[Cue] = []
    for a, b in pairwise(edges):
        lines = tuple(words for x, y, words in parts if x <= a and b <= y)
        if not lines:
            continue
        if out and out[-1].to_s == a and (out[-1].lines[:-1] == lines or b - a < SHORTEST):
            out[-1] = Cue(out[-1].from_s, b, out[-1].lines)
        else:
            out.append(Cue(a, b, (*lines, SHORT)))
    first = out[0].from_s if out else OPENING
    end = ride.footage.read_to_s if ride.footage else OPENING
    until = min(OPENING, first, end)
    if until > SHORTEST:
        out.insert(0, Cue(0.0, until, (SHORT,)))
    return tuple(out)


def _parts(signal: FootageSignal) -> list[tuple[float, float, str]]:
    """What is known of one signal, from each moment on; nothing before it was known for a signal."""
    span, known = signal.span_s, _steps(signal.footage.known)
    if span is None or not known:
        return []
    starts = [k.at_s for k in known]
    ends = [*starts[1:], max(span[1], starts[-1] + SHORTEST)]
    return [
        (a, b, f"Signal {signal.footage.number}: {in_short(k.reading, k.guarded)}")
        for a, b, k in zip(starts, ends, known, strict=True)
        if b > a
    ]


def _steps(known: Sequence[KnownRecord]) -> list[KnownRecord]:
    """Those that say something new: other rules, or another degree of sureness."""
    from litlamp.report.text import confidence_words

    def said(k: KnownRecord) -> tuple[str | None, ...]:
        if k.reading is None or k.guarded is None:
            return ()
        return k.reading.name, k.guarded.name, confidence_words(k.reading.probability)

    return [k for i, k in enumerate(known) if i == 0 or said(k) != said(known[i - 1])]


def webvtt(of: Sequence[Cue]) -> str:
    """The cues as a WebVTT file (W3C, WebVTT: The Web Video Text Tracks Format)."""
    parts = ["WEBVTT", f"NOTE\n{LONG}"]
    for number, cue in enumerate(of, 1):
        lines = "\n".join(_plain(line) for line in cue.lines)
        parts.append(f"{number}\n{webvtt_time(cue.from_s)} --> {webvtt_time(cue.to_s)}\n{lines}")
    return "\n\n".join(parts) + "\n"


def subrip(of: Sequence[Cue]) -> str:
    """The cues as a SubRip file."""
    parts = []
    for number, cue in enumerate(of, 1):
        lines = "\n".join(" ".join(line.split()) for line in cue.lines)
        parts.append(f"{number}\n{subrip_time(cue.from_s)} --> {subrip_time(cue.to_s)}\n{lines}\n")
    return "\n".join(parts)


@dataclass(frozen=True, slots=True)
class Chapter:
    """A part of the ride, named for the signal that it leads to."""

    from_s: float
    to_s: float
    title: str


def chapters(ride: FootageRecord) -> tuple[Chapter, ...]:
    """One for each signal, from when it came into sight, and one for what comes before the first."""
    end = ride.footage.read_to_s if ride.footage else 0.0
    starts = [(s.span_s[0], _title(s)) for s in ride.signals if s.span_s is not None]
    if not starts or starts[0][0] > SHORTEST:
        starts.insert(0, (0.0, "No signal in view yet" if starts else "No signal found"))
    starts[0] = (0.0, starts[0][1])  # chapters begin with the ride, a little before the first signal or not
    ends = [*(at for at, _ in starts[1:]), max(end, starts[-1][0])]
    return tuple(
        Chapter(a, b, words)
        for (a, words), b in zip(starts, ends, strict=True)
        if b - a >= 0.001  # of two that came into sight at once, the later names the chapter
    )


def _title(signal: FootageSignal) -> str:
    guarded = signal.guarded
    return f"Signal {signal.footage.number}: {'no reading' if guarded is None else rule_words(guarded)}"


def webvtt_chapters(of: Iterable[Chapter]) -> str:
    """Chapters as a WebVTT file of kind "chapters"."""
    parts = ["WEBVTT", f"NOTE\n{LONG}"]
    for chapter in of:
        times = f"{webvtt_time(chapter.from_s)} --> {webvtt_time(chapter.to_s)}"
        parts.append(f"{times}\n{_plain(chapter.title)}")
    return "\n\n".join(parts) + "\n"


def ffmetadata(of: Iterable[Chapter], title: str) -> str:
    """Chapters as FFmpeg's metadata file (FFmpeg formats documentation, "Metadata")."""
    lines = [";FFMETADATA1", f"title={_escaped(title)}", f"comment={_escaped(LONG)}"]
    for chapter in of:
        lines += [
            "[CHAPTER]",
            "TIMEBASE=1/1000",
            f"START={round(1000 * chapter.from_s)}",
            f"END={round(1000 * chapter.to_s)}",
            f"title={_escaped(chapter.title)}",
        ]
    return "\n".join(lines) + "\n"


def _plain(words: str) -> str:
    """Words as WebVTT takes them: its marks escaped, no arrow, no line break."""
    line = " ".join(words.split())
    return line.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _escaped(words: str) -> str:
    out = "".join(f"\\{c}" if c in "=;#\\" else c for c in words)
    return out.replace("\n", "\\\n")
