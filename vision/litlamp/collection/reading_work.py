"""One source of a collection read to its line: the work that a worker process is given."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

from litlamp.aspects.aspect import Mount
from litlamp.collection.far import far_stamp, is_far, near
from litlamp.collection.made_by import made_by, run_name
from litlamp.media.errors import MediaError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from litlamp.aspects.rulebook import Rulebook
    from litlamp.media.frame import Frame
    from litlamp.photo_reading import SourceReading

Beat = Callable[[], None]
Outcome = Literal["read", "none", "failed"]


@dataclass(frozen=True, slots=True)
class Task:
    """One source to read: its place on the list, the path to open, the name to write, its own columns."""

    n: int
    path: str
    source: str
    columns: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Stamp:
    """Size in bytes and time of change in ns of a file, by which it is still the same; None: not there."""

    size: int | None
    changed_ns: int | None


@dataclass(frozen=True, slots=True)
class Done:
    """A source that was dealt with: its line without the line break, whether a signal was read, its stamp."""

    n: int
    line: bytes
    outcome: Outcome
    stamp: Stamp


@dataclass(frozen=True, slots=True)
class Settings:
    """How every source of a run is read; `run` names the run in each line."""

    book: Rulebook
    level: float
    expect: Mount | None
    fps: float | None
    run: str

    def start(self) -> Callable[[Task, Beat], Done]:
        """What reads one task after the other in this process, with one thread each.

        Raises
        ------
        litlamp.sight.eyes.EyesError : the networks are missing or altered.
        """
        import cv2

        from litlamp.sight.eyes import load_eyes

        cv2.setNumThreads(1)
        eyes = load_eyes(threads=1)

        def read(task: Task, beat: Beat) -> Done:
            return read_task(task, self, eyes, beat)

        return read

    def same_here(self) -> bool:
        """Whether this installation is the one that the run was begun with: other machines' may differ."""
        return run_name(made_by(self.book, self.level, self.expect, self.fps)) == self.run

    def given_up(self, task: Task, sentence: str) -> Done:
        """The record of a source that no reader came back from."""
        return _failed(task, self, sentence, stamp_of(task.path), None)


def stamp_of(path: str) -> Stamp:
    """The stamp of a file or folder, or of a file in a store."""
    if is_far(path):
        return Stamp(*far_stamp(path))
    try:
        status = os.stat(path)  # noqa: PTH116 - a name that is no UTF-8 stays as it is
    except (OSError, ValueError):
        return Stamp(None, None)
    return Stamp(status.st_size, status.st_mtime_ns)


def read_task(task: Task, how: Settings, eyes: Any, beat: Beat) -> Done:
    """Read one source and write its line; whatever happens, there is a record of it."""
    from litlamp.source_reading import read_source

    before, content = stamp_of(task.path), None
    try:
        with near(task.path, beat) as path:
            content = _sha256(path, beat)
            reading, frames = read_source(
                path,
                book=how.book,
                level=how.level,
                expect=how.expect,
                eyes=eyes,
                fps=how.fps,
                progress=lambda *_: beat(),
                threads=1,
            )
    except MediaError as error:
        return _failed(task, how, error.sentence, before, content)
    except MemoryError:
        return _failed(task, how, "there is not enough memory to read this source", before, content)
    except Exception as error:
        # One source that this program trips over must not cost the reading of the others.
        what = f"{type(error).__module__}.{type(error).__qualname__}".removeprefix("builtins.")
        sentence = f"litlamp failed on this source ({what}); please report it"
        return _failed(task, how, sentence, before, content)
    if before.size is not None and stamp_of(task.path) != before:
        return _failed(task, how, "this file changed or vanished while it was read", before, content)
    bright = None if reading.kind != "photo" or not frames or frames[0] is None else brightness(frames[0])
    outcome: Outcome = "failed" if reading.failure is not None else "read" if reading.signals else "none"
    line = _line(replace(reading, source=task.source), task, how, content, bright)
    return Done(task.n, line, outcome, before)


def brightness(frame: Frame) -> float:
    """Mean luma (ITU-R BT.601) of every eighth pixel both ways, 0 to 255, one decimal."""
    some: NDArray[np.uint8] = frame.rgb[::8, ::8]
    return round(float((some.reshape(-1, 3).mean(axis=0) * (0.299, 0.587, 0.114)).sum()), 1)


def _sha256(path: str, beat: Beat) -> str | None:
    """Of a regular file's bytes; None for what is none, or cannot be read: the reader will say why."""
    try:
        with open(path, "rb", opener=_only_regular) as file:
            told = hashlib.sha256()
            while part := file.read(1 << 20):
                told.update(part)
                beat()
            return told.hexdigest()
    except (OSError, ValueError):
        return None


def _only_regular(path: str, flags: int) -> int:
    if not stat.S_ISREG(os.stat(path).st_mode):  # noqa: PTH116
        raise OSError("not a regular file")
    return os.open(path, flags)


def failed_reading(source: str, sentence: str, book: Rulebook) -> SourceReading:
    """What stands for a source of which nothing could be read."""
    from litlamp.photo_reading import SourceReading
    from litlamp.sight.eyes import models_folder, read_manifest

    models = read_manifest(models_folder()).models
    names = {part: f"litlamp-{part}-{of.version}@{of.sha256[:12]}" for part, of in models.items()}
    return SourceReading(source, None, None, (), sentence, book.name, book.edition, names)


def _failed(task: Task, how: Settings, sentence: str, stamp: Stamp, content: str | None) -> Done:
    reading = failed_reading(task.source, sentence, how.book)
    return Done(task.n, _line(reading, task, how, content, None), "failed", stamp)


def _line(
    reading: SourceReading, task: Task, how: Settings, content: str | None, bright: float | None
) -> bytes:
    import msgspec

    from litlamp.collection.label_line import LabelRecord
    from litlamp.report.record import encode, record

    of = record(reading)
    return encode(
        LabelRecord(
            **{name: getattr(of, name) for name in of.__struct_fields__},
            run=how.run,
            sha256=content,
            brightness=bright,
            columns=dict(task.columns) or msgspec.UNSET,
        )
    )
