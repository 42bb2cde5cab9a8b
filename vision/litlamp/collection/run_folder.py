"""A results folder: what is on the list, what is done, and the readings in the order of the list.

sources.jsonl   the list, fixed when a run begins; sources found later are added at its end
journal.jsonl   one line for each source done, in the order in which they were; the first says what made it
readings.jsonl  the readings, in the order of the list: those of the journal, up to the first that is missing
run.json        what made it, and counts

Whatever moment a run is stopped at, the next one makes up the rest from the journal.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import time
from array import array
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from io import FileIO
from pathlib import Path
from typing import Any, BinaryIO

import msgspec

from litlamp.collection.journal import JournalError, Lines, decoded, open_lines, write_whole
from litlamp.collection.reading_work import Done, Outcome, Stamp, Task, stamp_of
from litlamp.collection.sources_list import Item

SOURCES, JOURNAL, READINGS, RUN = "sources.jsonl", "journal.jsonl", "readings.jsonl", "run.json"
_OURS = (SOURCES, JOURNAL, READINGS, RUN)

_SYNC_EVERY = 1.0
"""Seconds of work that the end of power may cost; the end of this process alone costs none."""


class FolderError(Exception):
    """The results folder cannot be used; the message is one sentence."""


class _Listed(msgspec.Struct, frozen=True, omit_defaults=True):
    """A line of the list. `bytes` is the path in hexadecimal digits where `source` does not give it."""

    source: str
    columns: dict[str, Any] = {}
    bytes: str | None = None
    fault: str | None = None

    def item(self) -> Item:
        path = self.source if self.bytes is None else os.fsdecode(bytes.fromhex(self.bytes))
        return Item(path, self.columns, self.fault)


class _Entry(msgspec.Struct, frozen=True):
    """A line of the journal: the source's place on the list, what came of it, its stamp, its reading.

    `mark` is of the source's name: a list that is not the one that the journal goes with is noticed by it.
    """

    n: int
    mark: str
    outcome: Outcome
    size: int | None
    changed_ns: int | None
    line: msgspec.Raw


@dataclass(slots=True)
class Counts:
    """How many sources had a signal, had none, could not be read."""

    read: int = 0
    none: int = 0
    failed: int = 0

    @property
    def done(self) -> int:
        """All of them."""
        return self.read + self.none + self.failed

    def add(self, outcome: Outcome, by: int = 1) -> None:
        """Count one, or take one back."""
        setattr(self, outcome, getattr(self, outcome) + by)


@dataclass(slots=True)
class RunFolder:
    """An open results folder; one at a time holds it.

    Attributes
    ----------
    listed : sources on the list.
    counts : of what is done.
    in_order : so many from the start of the list are in readings.jsonl.
    """

    path: Path
    listed: int
    counts: Counts
    in_order: int
    _journal: Lines = field(repr=False)
    _readings: FileIO = field(repr=False)
    _look: BinaryIO = field(repr=False)
    _at: array[int] = field(
        repr=False
    )  # of each source, where in the journal its reading begins; -1: not done
    _long: array[int] = field(repr=False)
    _outcome: bytearray = field(repr=False)
    _marks: dict[int, str] = field(default_factory=dict, repr=False)  # of sources handed out
    _synced: float = field(default_factory=time.monotonic, repr=False)

    def tasks(self) -> Iterator[Task | tuple[Task, str]]:
        """What is left to do, in the order of the list; with the reason where it cannot be read."""
        name = self.path / SOURCES
        with name.open("rb") as file:
            for n, line in enumerate(file):
                if self._at[n] >= 0:
                    continue
                item = decoded(name, n + 1, line, _Listed).item()
                task = Task(n, item.path, item.source, item.columns)
                self._marks[n] = _mark_of_name(item.source)
                yield task if item.fault is None else (task, item.fault)

    def add(self, done: Done) -> None:
        """Write one result down, and every reading that is now next in order. Raises OSError."""
        stamp = done.stamp
        mark = self._marks.pop(done.n)
        entry = _Entry(done.n, mark, done.outcome, stamp.size, stamp.changed_ns, msgspec.Raw(done.line))
        line = msgspec.json.encode(entry)
        at = self._journal.add(line) + len(line) - 1 - len(done.line)
        self._mark(done.n, at, len(done.line), done.outcome)
        if done.n == self.in_order:
            write_whole(self._readings, done.line + b"\n")
            self.in_order += 1
            self._catch_up()
        if time.monotonic() - self._synced >= _SYNC_EVERY:
            self.sync()

    def sync(self) -> None:
        """Have everything outlast the end of power."""
        self._journal.sync()
        self._synced = time.monotonic()

    def close(self) -> None:
        """Close its files."""
        with contextlib.suppress(OSError):
            self.sync()
            os.fsync(self._readings.fileno())
        self._look.close()
        self._readings.close()
        self._journal.close()

    def write_run(self, told: Mapping[str, object]) -> None:
        """Write run.json whole. Raises OSError."""
        write_new(self.path / RUN, msgspec.json.format(msgspec.json.encode(told), indent=2) + b"\n")

    def _mark(self, n: int, at: int, length: int, outcome: Outcome) -> None:
        if self._at[n] >= 0:
            self.counts.add(_OUTCOMES[self._outcome[n]], -1)
        self._at[n], self._long[n] = at, length
        self._outcome[n] = _OUTCOMES.index(outcome)
        self.counts.add(outcome)

    def _unmark(self, n: int) -> None:
        self._at[n] = -1
        self.counts.add(_OUTCOMES[self._outcome[n]], -1)

    def _line_of(self, n: int) -> bytes:
        self._look.seek(self._at[n])
        return self._look.read(self._long[n]) + b"\n"

    def _catch_up(self) -> None:
        while self.in_order < self.listed and self._at[self.in_order] >= 0:
            write_whole(self._readings, self._line_of(self.in_order))
            self.in_order += 1

    def _recall(self, again_failed: bool) -> None:
        """Take in the journal; a source that changed since is to be done again."""
        name = self.path / JOURNAL
        stamps: dict[int, Stamp] = {}
        marks: dict[int, str] = {}
        for number, (at, line) in enumerate(self._journal.written(), 2):
            entry = decoded(name, number, line, _Entry)
            # The reading is the last that stands on the line, before the closing brace.
            length = memoryview(entry.line).nbytes
            if not 0 <= entry.n < self.listed:
                raise JournalError(f"{name}, line {number}: there is no source {entry.n} on the list")
            self._mark(entry.n, at + len(line) - 1 - length, length, entry.outcome)
            stamps[entry.n] = Stamp(entry.size, entry.changed_ns)
            marks[entry.n] = entry.mark
        if not stamps:
            return
        listed = self.path / SOURCES
        with listed.open("rb") as file:
            for n, line in enumerate(file):
                stamp = stamps.get(n)
                if stamp is None:
                    continue
                item = decoded(listed, n + 1, line, _Listed).item()
                if marks[n] != _mark_of_name(item.source):
                    raise FolderError(f"{listed}, line {n + 1}: the journal beside it goes with another list")
                now = stamp_of(item.path)
                # What was read and has vanished since keeps its reading: nothing is lost.
                changed = now not in (stamp, Stamp(None, None))
                if changed or (again_failed and _OUTCOMES[self._outcome[n]] == "failed"):
                    self._unmark(n)

    def _settle(self) -> None:
        """Let readings.jsonl hold what the journal says, up to the first source that is not done."""
        sound = 0
        with (self.path / READINGS).open("rb") as file:
            while self.in_order < self.listed and self._at[self.in_order] >= 0:
                line = self._line_of(self.in_order)
                if file.read(len(line)) != line:
                    break
                sound += len(line)
                self.in_order += 1
        self._readings.truncate(sound)
        self._readings.seek(sound)
        self._catch_up()


_OUTCOMES: tuple[Outcome, ...] = ("read", "none", "failed")


def open_folder(
    path: Path,
    made_by: Mapping[str, str],
    items: Callable[[set[str]], Iterable[Item]],
    *,
    again_failed: bool = False,
) -> RunFolder:
    """Open a results folder, or begin it.

    Parameters
    ----------
    made_by : name -> version of everything that changes a reading.
    items : gives the sources that are meant now, told which are on the list already.
    again_failed : what could not be read is tried again.

    Raises
    ------
    litlamp.collection.journal.OtherMaker : it was begun by something else.
    JournalError, FolderError, litlamp.collection.truth_file.LinesError : it cannot be used, or the sources
        cannot be listed.
    OSError : the system refused something.
    """
    path.mkdir(parents=True, exist_ok=True)
    # A list is there before any reading is: without one these are not of a run that power's end cut short.
    if not begun(path) and not (path / SOURCES).exists() and _holds_any(path / READINGS):
        raise FolderError(
            f"{path / READINGS} is of no run that can be gone on with: give another folder, or begin with "
            "--anew, which moves it aside"
        )
    journal = open_lines(path / JOURNAL, made_by)
    try:
        _hold(journal, path)
        count = _list(path, items)
        if count == 0:
            raise FolderError("there is no photograph or clip among these sources")
        with (path / READINGS).open("ab"):
            pass
        folder = RunFolder(
            path,
            count,
            Counts(),
            0,
            journal,
            (path / READINGS).open("r+b", buffering=0),
            (path / JOURNAL).open("rb"),
            array("q", [-1]) * count,
            array("q", [0]) * count,
            bytearray(count),
        )
        folder._recall(again_failed)
        folder._settle()
    except BaseException:
        journal.close()
        raise
    return folder


def set_aside(path: Path) -> Path | None:
    """Move an earlier run aside, into a folder in this one; None where there was none. Raises OSError."""
    held = [path / name for name in _OURS if (path / name).exists()]
    if not held:
        return None
    number = 1
    while (path / f"earlier-{number}").exists():
        number += 1
    aside = path / f"earlier-{number}"
    aside.mkdir()
    # The journal last: until it is gone the run is still the earlier one.
    for each in sorted(held, key=lambda file: file.name == JOURNAL):
        each.replace(aside / each.name)
    return aside


def begun(path: Path) -> bool:
    """Whether the folder holds a run: its journal's first line, which says what made it. Raises OSError."""
    try:
        with (path / JOURNAL).open("rb") as file:
            return file.readline().endswith(b"\n")
    except (FileNotFoundError, NotADirectoryError):
        return False


def write_new(path: Path, data: bytes) -> None:
    """Write a file whole or not at all. Raises OSError."""
    temporary = path.with_name(path.name + ".part")
    with temporary.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    temporary.replace(path)


def _holds_any(file: Path) -> bool:
    return file.exists() and file.stat().st_size > 0


def _hold(journal: Lines, path: Path) -> None:
    """Two runs in one folder would write over each other."""
    try:
        import fcntl
    except ImportError:  # a system without such locks
        return
    try:
        fcntl.flock(journal.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        raise FolderError(f"another run is at work in {path}") from error


def _list(path: Path, items: Callable[[set[str]], Iterable[Item]]) -> int:
    """Bring the list up to date; how many sources are on it."""
    file, count = path / SOURCES, 0
    known: dict[str, bytes] = {}
    if file.exists():
        with file.open("rb") as lines:
            for count, line in enumerate(lines, 1):
                item = decoded(file, count, line, _Listed).item()
                known[item.path] = _mark_of(item.columns)
    fresh: list[bytes] = []
    for item in items(set(known)):
        if item.path in known:
            if item.columns and known[item.path] != _mark_of(item.columns):
                raise FolderError(
                    f"the columns of {item.source} are no longer those that {path} was begun with: begin "
                    "again with --anew, or in another folder"
                )
            continue
        source, raw = item.source, os.fsencode(item.path)
        other = None if source.encode() == raw else raw.hex()
        fresh.append(msgspec.json.encode(_Listed(source, dict(item.columns), other, item.fault)))
    if fresh or not count:
        before = file.read_bytes() if count else b""
        write_new(file, before + b"".join(line + b"\n" for line in fresh))
    return count + len(fresh)


def _mark_of_name(source: str) -> str:
    return hashlib.sha256(source.encode()).hexdigest()[:8]


def _mark_of(columns: Mapping[str, Any]) -> bytes:
    return hashlib.sha256(msgspec.json.encode(columns)).digest()[:8] if columns else b""
