"""Many sources as one flow of readings, for programs that want them as values and not in a folder."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from litlamp.aspects.aspect import Mount
from litlamp.aspects.rulebook import Rulebook, load_book
from litlamp.collection.crew import work_off
from litlamp.collection.label import PATIENCE
from litlamp.collection.reading_work import Task, failed_reading
from litlamp.collection.sources_list import list_items
from litlamp.photo_reading import DEFAULT_LEVEL, SourceReading

if TYPE_CHECKING:
    from litlamp.collection.reading_work import Beat

_Numbered = tuple[int, SourceReading]


@dataclass(frozen=True, slots=True)
class _Work:
    """What a worker does with one source."""

    book: Rulebook
    level: float
    expect: Mount | None
    fps: float | None

    def start(self) -> Callable[[Task, Beat], _Numbered]:
        import cv2

        from litlamp.sight.eyes import load_eyes
        from litlamp.source_reading import read_source

        cv2.setNumThreads(1)
        eyes = load_eyes(threads=1)

        def read(task: Task, beat: Beat) -> _Numbered:
            try:
                reading, _ = read_source(
                    task.path,
                    book=self.book,
                    level=self.level,
                    expect=self.expect,
                    eyes=eyes,
                    fps=self.fps,
                    progress=lambda *_: beat(),
                    threads=1,
                )
            except Exception as error:
                what = f"{type(error).__module__}.{type(error).__qualname__}".removeprefix("builtins.")
                return self.given_up(task, f"litlamp failed on this source ({what}); please report it")
            return task.n, replace(reading, source=task.source)

        return read

    def given_up(self, task: Task, sentence: str) -> _Numbered:
        return task.n, failed_reading(task.source, sentence, self.book)


def read_many(
    sources: Iterable[str | os.PathLike[str]],
    *,
    workers: int = 0,
    book: Rulebook | None = None,
    level: float = DEFAULT_LEVEL,
    expect: Mount | None = None,
    fps: float | None = None,
    patience: float = PATIENCE,
) -> Iterator[SourceReading]:
    """Read photographs and clips one after the other, in the order given.

    Parameters
    ----------
    sources : files, folders (searched with all folders in them), patterns, and lists, as for `litlamp label`.
    workers : processes that read side by side; 0 reads in this one. A script that asks for workers keeps its
        own work under `if __name__ == "__main__":`, for each worker loads it anew.
    book, level, expect, fps : as for `read_photo` and `read_clip`.
    patience : seconds without a sign of life after which a worker's source is given up.

    Yields
    ------
    SourceReading
        One for each source; of what cannot be read, `failure` says why.

    Raises
    ------
    litlamp.collection.truth_file.LinesError : a list or pattern cannot be used.
    litlamp.collection.crew.CrewError : the workers cannot work at all.
    litlamp.sight.eyes.EyesError : the installation's networks are missing or altered.
    ValueError : a level out of range.

    Examples
    --------
    >>> import litlamp
    >>> for reading in litlamp.read_many(["samples/mossgate-yard-*.jpg"]):
    ...     print(reading.source, len(reading.signals))
    samples/mossgate-yard-red.jpg 1
    samples/mossgate-yard-yellow.jpg 1
    """
    if not 0 < level <= 1:
        raise ValueError(f"the level must be above 0 and at most 1, not {level}")
    work = _Work(book or load_book(), level, expect, fps)
    given = [os.fspath(source) for source in sources]
    return _in_order(given, work, workers, patience)


def _in_order(given: list[str], work: _Work, workers: int, patience: float) -> Iterator[SourceReading]:
    early: dict[int, SourceReading] = {}
    turn = 0

    def tasks() -> Iterator[Task]:
        for n, item in enumerate(list_items(given)):
            if item.fault is None:
                yield Task(n, item.path, item.source)
            else:
                early[n] = work.given_up(Task(n, item.path, item.source), item.fault)[1]

    for n, reading in work_off(tasks(), work, workers, patience):
        early[n] = reading
        while turn in early:
            yield early.pop(turn)
            turn += 1
    while turn in early:
        yield early.pop(turn)
        turn += 1
