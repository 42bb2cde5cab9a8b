"""A journal of long work: one line for each piece done, so that what was stopped goes on where it was.

The first line says what made the journal; work by anything else is not added to it. A line is written whole
before the next piece begins; one that a stop cut short is dropped on the next opening.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, TypeVar

import msgspec


class JournalError(Exception):
    """The journal cannot be used; the message is one sentence."""


class Entry(msgspec.Struct, frozen=True):
    """One scene done: its seed, its truth line and its reading, both JSON objects as they were written."""

    seed: int
    truth: msgspec.Raw
    reading: msgspec.Raw


class _First(msgspec.Struct, frozen=True):
    made_by: dict[str, str]


_T = TypeVar("_T", bound=msgspec.Struct)


@dataclass(slots=True)
class Journal:
    """An open journal. `done` holds the entries by seed; `add` writes one more to the file."""

    done: dict[int, Entry]
    _file: BinaryIO = field(repr=False)

    def add(self, entry: Entry) -> None:
        """Write one entry down for good."""
        self._file.write(msgspec.json.encode(entry) + b"\n")
        self._file.flush()
        os.fsync(self._file.fileno())
        self.done[entry.seed] = entry

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def open_journal(path: Path, made_by: Mapping[str, str]) -> Journal:
    """Open the journal at that path, or begin it.

    Parameters
    ----------
    made_by : name -> version of everything that changes what is written.

    Raises
    ------
    JournalError : the file cannot be read or written, is no journal, or was made by something else; the
        first difference is named.
    """
    try:
        lines, sound = _whole_lines(path.read_bytes()) if path.exists() else ([], 0)
        if lines:
            _compare(path, _decoded(path, 1, lines[0], _First).made_by, made_by)
        entries = [_decoded(path, i, line, Entry) for i, line in enumerate(lines[1:], 2)]
        file = path.open("r+b" if lines else "wb")
        file.seek(sound)
        file.truncate()
        if not lines:
            file.write(msgspec.json.encode(_First(dict(made_by))) + b"\n")
            file.flush()
    except OSError as error:
        raise JournalError(f"{path}: {(error.strerror or 'cannot be used').lower()}") from error
    return Journal({entry.seed: entry for entry in entries}, file)


def _whole_lines(data: bytes) -> tuple[list[bytes], int]:
    """The lines that were written to their end, and where the last of them ends."""
    sound = data.rfind(b"\n") + 1
    return data[:sound].splitlines(), sound


def _decoded(path: Path, number: int, line: bytes, kind: type[_T]) -> _T:
    try:
        return msgspec.json.decode(line, type=kind)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise JournalError(f"{path}, line {number}: this is no line of such a journal") from error


def _compare(path: Path, then: Mapping[str, str], now: Mapping[str, str]) -> None:
    for name in dict.fromkeys([*then, *now]):
        if then.get(name) != now.get(name):
            raise JournalError(
                f"{path} was begun with {name} {then.get(name, 'not given')}, but now it is "
                f"{now.get(name, 'not given')}: go on with what began it, or begin in another folder"
            )
