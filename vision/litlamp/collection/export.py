"""A collection in the formats that other programs read, made from its readings at any later time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

from litlamp.aspects.cautions import LONG
from litlamp.collection.exporting import Column, ExportError, Readings
from litlamp.collection.label_line import DOCUMENTED as OF_LINES
from litlamp.report.record import schema_markdown
from litlamp.report.whole_file import WriteError, write_whole

FORMATS = ("csv", "parquet", "coco", "crops", "vtt")
DICTIONARY = "dictionary.md"

_UNITS = (
    "Lengths are px of the upright picture (turned as its EXIF or its clip says), origin top left, x to the "
    "right, y downwards; right and bottom edges are exclusive. Times are seconds after a clip's first frame. "
    "Probabilities run from 0 to 1. Text is UTF-8; bytes of a file's name that are none are written as "
    "\\x and two digits."
)


def export(readings: Path, to: Path, formats: Sequence[str], told: Callable[[str], None]) -> None:
    """Write these formats, and a data dictionary of them, into a folder.

    Parameters
    ----------
    readings : a file of readings.
    formats : of `FORMATS`.
    told : called with what was written, after each.

    Raises
    ------
    ExportError : one cannot be written, or an extra for it is not installed.
    litlamp.collection.truth_file.LinesError : the readings cannot be read.
    """
    try:
        to.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ExportError(f"{to}: {(error.strerror or 'cannot be made').lower()}") from error
    chosen = list(dict.fromkeys(formats))
    for name in chosen:
        if name not in FORMATS:
            raise ExportError(f"there is no format {name!r}: {', '.join(FORMATS)}")
    source = Readings(readings)
    for name in chosen:
        write: Callable[[Readings, Path], str] = getattr(_module(name), f"write_{name}")
        told(write(source, to))
    try:
        write_whole(to / DICTIONARY, dictionary(chosen).encode())
    except WriteError as error:
        raise ExportError(str(error)) from error
    told(f"{DICTIONARY}: what every column means")


def dictionary(formats: Sequence[str]) -> str:
    """The data dictionary of these formats and of readings.jsonl, in Markdown."""
    parts = ["# Data dictionary", f"**Caution.** {LONG}", _UNITS]
    for name in formats:
        module = _module(name)
        parts += [f"## {module.NAME}", _table(module.DOCUMENTED)]
    parts += [
        "## readings.jsonl",
        schema_markdown().rstrip(),
        "**Besides, in a collection**",
        _table(OF_LINES),
    ]
    return "\n\n".join(parts) + "\n"


def _table(columns: Sequence[Column]) -> str:
    rows = [f"| `{name}` | {kind} | {meaning} |" for name, kind, meaning in columns]
    return "\n".join(["| name | kind | meaning |", "|---|---|---|", *rows])


def _module(name: str) -> Any:
    return import_module(f"litlamp.collection.as_{name}")
