"""All files of a ride, written into a folder one by one, each whole or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from litlamp.report.footage_record import FootageRecord
from litlamp.report.record import encode
from litlamp.report.ride_page import ride_page
from litlamp.report.signal_table import signal_table
from litlamp.report.subtitles import (
    chapters,
    cues,
    ffmetadata,
    subrip,
    webvtt,
    webvtt_chapters,
)
from litlamp.report.whole_file import write_whole

if TYPE_CHECKING:
    from litlamp.aspects.rulebook import Rulebook
    from litlamp.ride import Ride

RECORD, TABLE = "signals.jsonl", "signals.csv"
SUBTITLES, SUBRIP = "ride.vtt", "ride.srt"
CHAPTERS, METADATA = "chapters.vtt", "chapters.ffmeta"
PAGE, VIDEO = "index.html", "ride.mp4"
NAMES = (PAGE, RECORD, TABLE, SUBTITLES, SUBRIP, CHAPTERS, METADATA, VIDEO)
"""Of all files that are written of a ride."""


def texts(record: FootageRecord, title: str) -> dict[str, str]:
    """The text of every file but the page, by its name."""
    shown, parts = cues(record), chapters(record)
    return {
        RECORD: encode(record).decode() + "\n",
        TABLE: signal_table(record),
        SUBTITLES: webvtt(shown),
        SUBRIP: subrip(shown),
        CHAPTERS: webvtt_chapters(parts),
        METADATA: ffmetadata(parts, title),
    }


def write_ride(ride: Ride, folder: Path, book: Rulebook, *, video: bool = False) -> tuple[Path, ...]:
    """Write the record, the table, subtitles, chapters and the page; the paths of what was written.

    With `video` the page links to the video that is to be written beside it.

    Raises
    ------
    litlamp.report.whole_file.WriteError : the folder is full or cannot be written to.
    """
    title = f"Signals of {Path(ride.record.source).name}"
    files = texts(ride.record, title)
    for name, text in files.items():
        write_whole(folder / name, text.encode("utf-8"))
    write_whole(folder / PAGE, ride_page(ride, book, VIDEO if video else None).encode("utf-8"))
    return tuple(folder / name for name in (PAGE, *files))
