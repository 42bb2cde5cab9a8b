"""The clips of a collection as WebVTT subtitles: what each signal showed, while it showed it."""

from __future__ import annotations

from pathlib import Path

from msgspec import UnsetType

from litlamp.aspects.cautions import SHORT
from litlamp.collection.exporting import Column, ExportError, Readings, plain_name
from litlamp.collection.label_line import LabelRecord
from litlamp.report.record import AspectRecord
from litlamp.report.subtitles import Cue, in_short, webvtt
from litlamp.report.whole_file import WriteError, write_whole

NAME = "vtt"

DOCUMENTED: tuple[Column, ...] = (
    (
        "vtt/NAME.vtt",
        "one file a clip",
        "NAME is that of the clip's file; further ones of a name are numbered",
    ),
    ("cue times", "h:mm:ss.ttt", "from the clip's first frame; a signal's time in view, aspect by aspect"),
    ("cue text", "text", "the guarded reading first; then the most likely one where it differs; the aspect"),
)

_LEAST_S = 0.5  # a cue of a single frame would not be seen


def write_vtt(readings: Readings, to: Path) -> str:
    """Write DIR/vtt/*.vtt, one for each clip; what was written, in words. Raises ExportError, LinesError."""
    taken: set[str] = set()
    for record in readings:
        if record.kind != "clip":
            continue
        stem = plain_name(Path(record.source).name)
        name, count = stem, 1
        while name.lower() in taken:
            count += 1
            name = f"{stem}-{count}"
        taken.add(name.lower())
        try:
            (to / NAME).mkdir(exist_ok=True)
            write_whole(to / NAME / f"{name}.vtt", subtitles(record).encode())
        except OSError as error:
            raise ExportError(f"{to / NAME}: {(error.strerror or 'cannot be made').lower()}") from error
        except WriteError as error:
            raise ExportError(str(error)) from error
    return f"{NAME}/: {len(taken):,} clips"


def subtitles(of: LabelRecord) -> str:
    """The subtitles of one clip."""
    many = len(of.signals) > 1
    cues = [
        Cue(aspect.from_s, max(aspect.to_s, aspect.from_s + _LEAST_S), (_words(aspect, number, many), SHORT))
        for number, signal in enumerate(of.signals, 1)
        for aspect in (() if isinstance(signal.aspects, UnsetType) else signal.aspects)
    ]
    return webvtt(sorted(cues, key=lambda cue: (cue.from_s, cue.to_s)))


def _words(of: AspectRecord, number: int, many: bool) -> str:
    told = in_short(of.reading, of.guarded)
    told = f"Signal {number}: {told}" if many else told
    return f"{told}; {of.aspect}" if of.aspect else told
