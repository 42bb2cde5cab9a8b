"""A researcher's list of sources with columns of their own: CSV with a heading, or JSON Lines."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

from litlamp.collection.truth_file import LinesError, read_bytes

ENDINGS = (".csv", ".tsv", ".jsonl", ".ndjson")
NAMES = ("source", "path", "file", "filename")
"""Columns that may name the source, the first that is there."""

_NAMED = 5  # rows named in a fault


@dataclass(frozen=True, slots=True)
class Row:
    """One source and its columns; `number` is the line it begins on in the file."""

    number: int
    source: str
    columns: Mapping[str, Any] = field(default_factory=dict)


def is_manifest(source: str) -> bool:
    """Whether a source of the command line is such a list, by its ending."""
    return Path(source).suffix.lower() in ENDINGS


def read_manifest(path: str) -> tuple[Row, ...]:
    """The rows, in order. A relative source is taken from the folder of the list.

    Raises
    ------
    LinesError : the list cannot be read, is empty, has no column that names the source; or rows with cells
        missing or too many, without a source, or with a source that an earlier row has (their numbers named).
    """
    data = read_bytes(path)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        number = data.count(b"\n", 0, error.start) + 1
        raise LinesError(f"{path}, row {number}: this is no UTF-8 text") from error
    ending = Path(path).suffix.lower()
    if ending in (".csv", ".tsv"):
        rows = list(_csv_rows(path, text, "\t" if ending == ".tsv" else ","))
    else:
        rows = list(_json_rows(path, text))
    if not rows:
        raise LinesError(f"{path} holds no row")
    _refuse(path, (row.number for row in rows if not row.source.strip()), "name no source")
    first: dict[str, int] = {}
    again = [row.number for row in rows if first.setdefault(row.source, row.number) != row.number]
    _refuse(path, again, "name a source that an earlier row has")
    folder = Path(path).parent
    return tuple(Row(row.number, _beside(folder, row.source), row.columns) for row in rows)


def _beside(folder: Path, source: str) -> str:
    if "://" in source or folder == Path():
        return source
    return str(folder / source)


def _csv_rows(path: str, text: str, comma: str) -> Iterator[Row]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=comma, strict=True)
    rows: list[tuple[int, list[str]]] = []
    at = 1
    try:
        for cells in reader:
            if cells:
                rows.append((at, cells))
            at = reader.line_num + 1
    except csv.Error as error:
        raise LinesError(f"{path}, row {at}: {error}") from error
    if not rows:
        return
    heading = [name.strip() for name in rows[0][1]]
    twice = sorted({name for name in heading if heading.count(name) > 1})
    if twice:
        raise LinesError(f"{path}: the heading has {', '.join(map(repr, twice))} more than once")
    key = _key(path, heading)
    wrong = [number for number, cells in rows[1:] if len(cells) != len(heading)]
    _refuse(path, wrong, f"do not have the {len(heading)} cells of the heading")
    for number, cells in rows[1:]:
        columns = dict(zip(heading, cells, strict=True))
        yield Row(number, columns.pop(key), columns)


def _json_rows(path: str, text: str) -> Iterator[Row]:
    missing: list[int] = []
    for number, line in enumerate(text.split("\n"), 1):
        if not line.strip():
            continue
        try:
            columns = msgspec.json.decode(line, type=dict[str, Any])
        except msgspec.DecodeError as error:
            raise LinesError(f"{path}, row {number}: this is no JSON object ({error})") from error
        key = next((name for name in NAMES if isinstance(columns.get(name), str)), None)
        if key is None:
            missing.append(number)
        else:
            yield Row(number, columns.pop(key), columns)
    _refuse(path, missing, f"have no {_or(NAMES)}")


def _key(path: str, heading: list[str]) -> str:
    for name in NAMES:
        if name in heading:
            return name
    raise LinesError(f"{path}: the heading has no {_or(NAMES)}, which would name the source")


def _or(names: tuple[str, ...]) -> str:
    quoted = [f"{name!r}" for name in names]
    return f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def _refuse(path: str, numbers: Iterable[int], what: str) -> None:
    rows = list(numbers)
    if not rows:
        return
    named = ", ".join(map(str, rows[:_NAMED]))
    more = f" and {len(rows) - _NAMED} more" if len(rows) > _NAMED else ""
    raise LinesError(f"{path}: rows that {what}: {named}{more}")
