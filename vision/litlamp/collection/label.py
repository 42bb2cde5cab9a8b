"""A collection read from end to end: sources in, one line each out, gone on with wherever it was stopped."""

from __future__ import annotations

import contextlib
import os
import platform
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

import msgspec

from litlamp import __version__
from litlamp.aspects.aspect import Mount
from litlamp.aspects.cautions import LONG
from litlamp.aspects.rulebook import Rulebook
from litlamp.collection.crew import CrewError, Work, work_off
from litlamp.collection.far import FarError
from litlamp.collection.journal import JournalError, OtherMaker
from litlamp.collection.made_by import made_by, run_name
from litlamp.collection.reading_work import Done, Settings, Task
from litlamp.collection.run_folder import (
    READINGS,
    RUN,
    Counts,
    FolderError,
    RunFolder,
    begun,
    open_folder,
    set_aside,
)
from litlamp.collection.sources_list import list_items
from litlamp.collection.truth_file import LinesError
from litlamp.photo_reading import DEFAULT_LEVEL
from litlamp.sight.eyes import models_folder, read_manifest

PATIENCE = 120.0
"""Seconds without a sign of life after which a source is given up."""

SCHEMA = 1


class LabelError(Exception):
    """The run cannot begin or go on; the message is one sentence."""


class Workers(Protocol):
    """Where the work is done: `work_off` of a crew of processes, or of a cluster."""

    def __call__(self, tasks: Iterator[Task], work: Work[Task, Done], /) -> Iterator[Done]:
        """What comes of each task, as it comes."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of every source: the book, the level of the guard, and what the caller states."""

    book: Rulebook
    level: float = DEFAULT_LEVEL
    expect: Mount | None = None
    fps: float | None = None


@dataclass(frozen=True, slots=True)
class Labelled:
    """How a run ended: counts over all sessions, sources read in this one and its seconds."""

    path: Path
    listed: int
    counts: Counts
    now: int
    seconds: float
    aside: Path | None


def processors() -> int:
    """How many this process may run on."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def crew(workers: int | None = None, patience: float = PATIENCE) -> Workers:
    """Worker processes on this machine, as many as it has processors where not given."""
    count = processors() if workers is None else workers

    def at_work(tasks: Iterator[Task], work: Work[Task, Done]) -> Iterator[Done]:
        return work_off(tasks, work, count, patience)

    return at_work


def label(
    sources: Sequence[str],
    to: Path,
    asked: Asked,
    *,
    workers: Workers | None = None,
    anew: bool = False,
    again_failed: bool = False,
    told: Callable[[Counts, int], None] = lambda counts, listed: None,
    command: Sequence[str] = (),
    work: Callable[[Settings], Work[Task, Done]] = lambda settings: settings,
) -> Labelled:
    """Read every source into a results folder, or go on with a run that was stopped there.

    Parameters
    ----------
    sources : as `litlamp.collection.sources_list.list_items` takes them.
    to : the results folder; see `litlamp.collection.run_folder`.
    workers : who does it; a crew of this machine's processors where not given.
    anew : an earlier run there is moved into a folder beside its results, and all is read again.
    again_failed : what could not be read is tried again.
    told : called with the counts and the length of the list, at the start and after each source.
    command : what run.json says of how this was asked for.
    work : another reader in place of this program's own, for tests.

    Raises
    ------
    LabelError : it cannot begin or go on. What was read until then is kept.
    litlamp.sight.eyes.EyesError : the networks are missing or altered.
    """
    for source in sources:
        with contextlib.suppress(OSError, ValueError):
            if Path(source).is_dir() and to.samefile(source):
                raise LabelError(f"{to} holds the sources: give another folder for the results")
    by = made_by(asked.book, asked.level, asked.expect, asked.fps)
    settings = Settings(asked.book, asked.level, asked.expect, asked.fps, run_name(by))
    began, clock = datetime.now(UTC), time.monotonic()
    try:
        aside = set_aside(to) if anew else None
        folder = open_folder(to, by, lambda known: list_items(sources, known, to), again_failed=again_failed)
        try:
            session = _Session(folder, by, settings, command, began, _sessions(to))
            before = folder.counts.done
            told(folder.counts, folder.listed)
            if before < folder.listed:
                session.write(ended=None)
                _read(folder, work(settings), workers or crew(), told)
                folder.sync()
                if folder.counts.done < folder.listed:
                    left = folder.listed - folder.counts.done
                    raise CrewError(f"{left} sources did not come back; the same command reads them")
                session.write(ended=datetime.now(UTC))
            return Labelled(
                to,
                folder.listed,
                replace(folder.counts),
                folder.counts.done - before,
                time.monotonic() - clock,
                aside,
            )
        finally:
            folder.close()
    except OtherMaker as error:
        raise LabelError(
            f"{to} was begun with {error.name} {error.then}, but now it is {error.now}: go on with what "
            "began it, give another folder, or begin again with --anew (which keeps the earlier readings)"
        ) from error
    except (JournalError, FolderError, LinesError, CrewError, FarError) as error:
        raise LabelError(str(error)) from error
    except OSError as error:
        said = (error.strerror or "unknown fault").lower()
        where = error.filename if isinstance(error.filename, str) else to
        kept = ""
        with contextlib.suppress(OSError):
            kept = "; what was read is kept, and the same command goes on from there" if begun(to) else ""
        raise LabelError(f"{where}: {said}{kept}") from error


def first_failure(to: Path) -> str | None:
    """Why the first source in a results folder could not be read; None where it could."""
    try:
        with (to / READINGS).open("rb") as file:
            told = msgspec.json.decode(file.readline(), type=dict[str, Any])
    except (OSError, msgspec.DecodeError, UnicodeDecodeError):
        return None
    return f"{told['source']}: {told['failure']}" if told.get("failure") else None


def _read(
    folder: RunFolder, work: Work[Task, Done], workers: Workers, told: Callable[[Counts, int], None]
) -> None:
    def tasks() -> Iterator[Task]:
        for left in folder.tasks():
            if isinstance(left, Task):
                yield left
            else:
                folder.add(work.given_up(*left))

    results = workers(tasks(), work)
    try:
        for done in results:
            folder.add(done)
            told(folder.counts, folder.listed)
    finally:
        # A generator left to itself would end its workers only when it is collected.
        close = getattr(results, "close", None)
        if close is not None:
            close()


@dataclass(frozen=True, slots=True)
class _Session:
    """One go at a run, for run.json."""

    folder: RunFolder
    by: dict[str, str]
    settings: Settings
    command: Sequence[str]
    began: datetime
    earlier: list[Any]

    def write(self, ended: datetime | None) -> None:
        counts, of = self.folder.counts, self.settings
        this = {
            "command": list(self.command),
            "folder": os.fsencode(Path.cwd()).decode("utf-8", "backslashreplace"),
            "began": self.began.isoformat(timespec="seconds"),
            "ended": None if ended is None else ended.isoformat(timespec="seconds"),
            "seconds": None if ended is None else round((ended - self.began).total_seconds(), 1),
        }
        self.folder.write_run(
            {
                "schema": SCHEMA,
                "run": of.run,
                "litlamp": __version__,
                "caution": LONG,
                "rulebook": {"name": of.book.name, "edition": of.book.edition},
                "level": of.level,
                "expect": of.expect,
                "fps": of.fps,
                "models": {
                    part: {"version": entry.version, "sha256": entry.sha256}
                    for part, entry in read_manifest(models_folder()).models.items()
                },
                "made_by": self.by,
                "python": platform.python_version(),
                "sources": self.folder.listed,
                "read": counts.read,
                "no_signal": counts.none,
                "failed": counts.failed,
                "sessions": [*self.earlier, this],
            }
        )


def _sessions(to: Path) -> list[Any]:
    """Those that an earlier run.json tells of; none where it tells of nothing that can be understood."""
    try:
        held = msgspec.json.decode((to / RUN).read_bytes(), type=dict[str, Any]).get("sessions")
    except (OSError, msgspec.DecodeError, UnicodeDecodeError):
        return []
    return held if isinstance(held, list) else []
