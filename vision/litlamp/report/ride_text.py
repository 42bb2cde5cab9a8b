"""A ride as text for people: a line for each signal, what does not fit, and where all of it was written."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from litlamp.aspects.cautions import LONG
from litlamp.media.sources import shown
from litlamp.report.subtitles import in_short
from litlamp.report.text import WIDTH, clock

if TYPE_CHECKING:
    from litlamp.footage import Made
    from litlamp.report.footage_record import FootageSignal

_MARGIN = 4


def ride_text(made: Made) -> str:
    """All that is to be told; several lines, without a line break at the end."""
    of = made.ride.record
    count = len(of.signals)
    found = {0: "no signal found", 1: "1 signal"}.get(count, f"{count} signals")
    lines = _wrapped(f"{shown(of.source)}, {clock(of.duration_s or 0.0)}: {found}", "")
    for note in of.notes or ():
        lines += _wrapped(f"Note: {note}.", "", "      ")
    if count == 0:
        lines += _wrapped(
            "That none was found does not mean that none is there: one may be too small, hidden or unlit.", ""
        )
    for signal in of.signals:
        lines += _signal(signal)
    if made.files:
        names = ", ".join(path.name for path in made.files)
        lines += ["", *_wrapped(f"Written into {made.files[0].parent}: {names}", "")]
    return "\n".join([*lines, *_wrapped(LONG, "")])


def _signal(of: FootageSignal) -> list[str]:
    passed, span = of.footage, of.span_s or (0.0, 0.0)
    seen = f"{clock(span[0])} to {clock(span[1])}"
    lead = f"{passed.number}.".ljust(_MARGIN)
    lines = _wrapped(f"{seen}  {in_short(of.reading, of.guarded)}", lead, " " * _MARGIN)
    if of.aspects and len(of.aspects) > 1:
        for part in of.aspects:
            words = f"{clock(part.from_s)}: {part.aspect}; {in_short(part.reading, part.guarded)}"
            lines += _wrapped(words, " " * _MARGIN + "- ", " " * _MARGIN + "  ")
    if passed.follows is not None and passed.follows.verdict in ("open", "broken"):
        lines += _wrapped(f"Order: {passed.follows.words}", " " * _MARGIN)
    if passed.beside:
        lines += _wrapped(passed.track, " " * _MARGIN)
    return lines


def _wrapped(words: str, lead: str, further: str | None = None) -> list[str]:
    return [
        line.replace("\u00a0", " ")
        for line in textwrap.wrap(
            words,
            WIDTH,
            initial_indent=lead,
            subsequent_indent=lead if further is None else further,
            break_long_words=False,
            break_on_hyphens=False,
        )
    ]
