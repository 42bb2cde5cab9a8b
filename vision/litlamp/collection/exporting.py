"""What every export of a collection shares: where its records come from, and files written whole."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import msgspec

from litlamp.collection.label_line import LabelRecord, read_lines
from litlamp.collection.run_folder import RUN, SOURCES
from litlamp.report.whole_file import cannot_write, part_of

Column = tuple[str, str, str]
"""Name, kind and meaning, for the data dictionary."""


class ExportError(Exception):
    """An export cannot be made; the message is one sentence."""


@dataclass(frozen=True, slots=True)
class Readings:
    """The readings of a collection, read anew by each loop, so that they need no memory."""

    path: Path

    def __iter__(self) -> Iterator[LabelRecord]:
        return read_lines(self.path)

    def columns(self) -> list[str]:
        """Names of the researcher's columns, in the order in which they first come."""
        names: dict[str, None] = {}
        for line in _decoded(self.path, _Columns):
            names.update(dict.fromkeys(line.columns))
        return list(names)

    def opener(self) -> Callable[[str], str]:
        """From the source of a record to a path that it can be opened by now.

        A path that was relative is looked for here, then where the collection was read from.
        """
        folder = self.path.parent
        raw: dict[str, str] = {}
        if (folder / SOURCES).exists():
            for listed in _decoded(folder / SOURCES, _Listed):
                if listed.bytes is not None:
                    raw[listed.source] = os.fsdecode(bytes.fromhex(listed.bytes))
        from_there = _folder_of_run(folder)

        def path_of(source: str) -> str:
            path = raw.get(source, source)
            if from_there is not None and not os.path.lexists(path):
                there = Path(from_there) / path
                if there.exists():
                    return str(there)
            return path

        return path_of


class _Columns(msgspec.Struct):
    columns: dict[str, Any] = {}


class _Listed(msgspec.Struct):
    source: str
    bytes: str | None = None


class _Session(msgspec.Struct):
    folder: str


class _Run(msgspec.Struct):
    sessions: list[_Session] = []


def _decoded(path: Path, kind: type[Any]) -> Iterator[Any]:
    decoder = msgspec.json.Decoder(kind)
    try:
        with path.open("rb") as file:
            for number, line in enumerate(file, 1):
                if line.strip():
                    try:
                        yield decoder.decode(line)
                    except (msgspec.DecodeError, UnicodeDecodeError) as error:
                        raise ExportError(f"{path}, line {number}: this is no such line ({error})") from error
    except OSError as error:
        raise ExportError(f"{path}: {(error.strerror or 'cannot be read').lower()}") from error


def _folder_of_run(folder: Path) -> str | None:
    try:
        sessions = msgspec.json.decode((folder / RUN).read_bytes(), type=_Run).sessions
    except (OSError, msgspec.DecodeError, UnicodeDecodeError):
        return None
    return sessions[-1].folder if sessions else None


@contextlib.contextmanager
def streamed(path: Path, **how: Any) -> Iterator[IO[Any]]:
    """A file to write to that takes its place once it is whole; `how` as for `Path.open`.

    Raises
    ------
    ExportError : it cannot be written; what was there is left as it was.
    """
    part = part_of(path)
    try:
        with part.open(**{"mode": "xb", **how}) as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        raise ExportError(cannot_write(path, error)) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def plain_name(words: str) -> str:
    """A name for a file or folder: letters, digits and ".-_" only, 80 characters at most, never hidden."""
    kept = "".join(c if c.isalnum() or c in ".-_" else "-" for c in words)
    return kept.strip(".-")[:80] or "unnamed"
