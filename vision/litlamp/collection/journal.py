"""A journal of long work: one line for each piece done, so that what was stopped goes on where it was.

The first line says what made the journal; work by anything else is not added to it. A line is written whole
before the next piece begins; one that a stop cut short is dropped on the next opening.

`Lines` is such a file, whatever its lines hold; `Journal` is the one of the rendered exam.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from io import FileIO
from pathlib import Path
from typing import TypeVar

import msgspec


class JournalError(Exception):
    """The journal cannot be used; the message is one sentence."""


class OtherMaker(JournalError):
    """The journal was made by something else: `name` was `then` and is `now`."""

    def __init__(self, path: Path, name: str, then: str, now: str) -> None:
        super().__init__(
            f"{path} was begun with {name} {then}, but now it is {now}: go on with what began it, or begin "
            "in another folder"
        )
        self.name, self.then, self.now = name, then, now


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
    _lines: Lines = field(repr=False)

    def add(self, entry: Entry) -> None:
        """Write one entry down for good."""
        self._lines.add(msgspec.json.encode(entry))
        self._lines.sync()
        self.done[entry.seed] = entry

    def close(self) -> None:
        """Close the file."""
        self._lines.close()


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
    lines = open_lines(path, made_by)
    try:
        done = {}
        for number, (_, line) in enumerate(lines.written(), 2):
            entry = decoded(path, number, line, Entry)
            done[entry.seed] = entry
    except JournalError:
        lines.close()
        raise
    return Journal(done, lines)


@dataclass(slots=True)
class Lines:
    """An open file of whole lines, of which the first says what made it. Only its end is written to.

    Attributes
    ----------
    path : the file.
    end : its length in bytes; the next line begins there.
    """

    path: Path
    end: int
    _file: FileIO = field(repr=False)
    _first_end: int = field(repr=False)

    def written(self) -> Iterator[tuple[int, bytes]]:
        """Every line after the first: where it begins in the file, and its bytes without the line break."""
        at = self._first_end
        try:
            with self.path.open("rb") as file:
                file.seek(at)
                for line in file:
                    if at >= self.end:
                        return
                    yield at, line[:-1]
                    at += len(line)
        except OSError as error:
            raise _unusable(self.path, error) from error

    def add(self, line: bytes) -> int:
        """Write one line (which holds no line break) down; where it begins in the file.

        It is then safe from the end of this process; from the end of power only after `sync`. Raises OSError;
        what was written of the line is taken back as far as the system lets.
        """
        at = self.end
        try:
            write_whole(self._file, line + b"\n")
        except OSError:
            with contextlib.suppress(OSError):
                self._file.truncate(at)
            raise
        self.end += len(line) + 1
        return at

    def sync(self) -> None:
        """Have everything written so far outlast the end of power."""
        os.fsync(self._file.fileno())

    def fileno(self) -> int:
        """The descriptor of the open file."""
        return self._file.fileno()

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def open_lines(path: Path, made_by: Mapping[str, str]) -> Lines:
    """Open such a file, or begin it; a line at its end that was not written whole is dropped.

    Raises
    ------
    OtherMaker : it was made by something else; the first difference is named.
    JournalError : it cannot be read or written, or its first line is none of such a file.
    """
    try:
        # Not through a buffer: a line that could not be written must not be tried again at the close.
        file = path.open("r+b" if path.exists() else "x+b", buffering=0)
        try:
            sound, first = _last_break(file), b""
            if sound:
                file.seek(0)
                first = _first_line(file)
                _compare(path, decoded(path, 1, first[:-1], _First).made_by, made_by)
            file.truncate(sound)
            file.seek(sound)
            if not sound:
                first = msgspec.json.encode(_First(dict(made_by))) + b"\n"
                write_whole(file, first)
        except BaseException:
            file.close()
            raise
    except OSError as error:
        raise _unusable(path, error) from error
    return Lines(path, max(sound, len(first)), file, len(first))


def write_whole(file: FileIO, data: bytes) -> None:
    """Write all of it to a file without a buffer, which may take less at once. Raises OSError."""
    left = memoryview(data)
    while left:
        left = left[file.write(left) or 0 :]


_BLOCK = 1 << 16


def _last_break(file: FileIO) -> int:
    """Where the last whole line ends; 0 where there is none."""
    at = file.seek(0, os.SEEK_END)
    while at > 0:
        start = max(at - _BLOCK, 0)
        file.seek(start)
        found = file.read(at - start).rfind(b"\n")
        if found >= 0:
            return start + found + 1
        at = start
    return 0


def _first_line(file: FileIO) -> bytes:
    parts: list[bytes] = []
    while part := file.read(_BLOCK):
        end = part.find(b"\n") + 1
        parts.append(part[:end] if end else part)
        if end:
            break
    return b"".join(parts)


def _unusable(path: Path, error: OSError) -> JournalError:
    return JournalError(f"{path}: {(error.strerror or 'cannot be used').lower()}")


def decoded(path: Path, number: int, line: bytes, kind: type[_T]) -> _T:
    """What one line of such a file holds. Raises JournalError, naming the line."""
    try:
        return msgspec.json.decode(line, type=kind)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise JournalError(f"{path}, line {number}: this is no line of such a journal") from error


def _compare(path: Path, then: Mapping[str, str], now: Mapping[str, str]) -> None:
    for name in dict.fromkeys([*then, *now]):
        if then.get(name) != now.get(name):
            raise OtherMaker(path, name, then.get(name, "not given"), now.get(name, "not given"))
