"""One line of a collection's readings.jsonl: a reading as `litlamp read --json` prints it, and its origin.

Whoever reads the lines of `litlamp read --json` can read these too: the keys added here come after theirs.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
from msgspec import UNSET, UnsetType

from litlamp.collection.truth_file import LinesError
from litlamp.report.record import SCHEMA, Record

DOCUMENTED = (
    ("run", "text", "what read it: the `run` of the folder's run.json"),
    (
        "sha256",
        "text or null",
        "of the file's bytes; null for a folder of photographs, or if it was not read",
    ),
    ("brightness", "number or null", "mean luma of a photograph, 0 black to 255 white; null of a clip"),
    ("columns", "object", "the researcher's own columns; left out where the source came with none"),
)


class LabelRecord(Record, frozen=True, kw_only=True):
    """A record of a collection. All four are left out of lines that `litlamp read --json` printed."""

    run: str | UnsetType = UNSET
    sha256: str | UnsetType | None = UNSET
    brightness: float | UnsetType | None = UNSET
    columns: dict[str, Any] | UnsetType = UNSET


def readings_path(given: str | Path) -> Path:
    """The file of readings that is meant: the file itself, or readings.jsonl of a results folder."""
    path = Path(given)
    return path / "readings.jsonl" if path.is_dir() else path


def read_lines(path: Path) -> Iterator[LabelRecord]:
    """The records of such a file one after the other, few in memory at once.

    Raises
    ------
    LinesError : the file cannot be read, or a line is no record; the line is named.
    """
    decoder = msgspec.json.Decoder(LabelRecord)
    try:
        with path.open("rb") as file:
            for number, line in enumerate(file, 1):
                if not line.strip():
                    continue
                try:
                    of = decoder.decode(line)
                except (msgspec.DecodeError, UnicodeDecodeError) as error:
                    what = " ".join(str(error).split())
                    raise LinesError(f"{path}, line {number}: this is no reading ({what})") from error
                if of.schema != SCHEMA:
                    raise LinesError(f"{path}, line {number}: schema {of.schema} is unknown here")
                yield of
    except OSError as error:
        raise LinesError(f"{path}: {(error.strerror or 'cannot be read').lower()}") from error


def text_of(value: object) -> str:
    """A value of the researcher's columns as one cell of text."""
    if value is None:
        return ""
    return value if isinstance(value, str) else msgspec.json.encode(value).decode()
