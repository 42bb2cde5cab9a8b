"""A reader for tests of `litlamp label`: quick, and as ill-behaved as the name of its source asks for.

Run as a program it labels a folder with it: label_stub.py FOLDER RESULTS WORKERS
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from litlamp.collection.reading_work import Done, Settings, Task, stamp_of


@dataclass(frozen=True, slots=True)
class StubWork:
    """What comes of a task follows from its file's bytes and from `run`, and from nothing else."""

    run: str
    marks: str | None = None

    def start(self) -> Callable[[Task, Callable[[], None]], Done]:
        return self.read

    def read(self, task: Task, beat: Callable[[], None]) -> Done:
        name = Path(task.path).name
        if name.startswith("hang"):
            time.sleep(1000)
        if name.startswith("die"):
            os._exit(7)
        if name.startswith("once") and self.marks:  # ends the first worker that tries it
            mark = Path(self.marks) / name
            if not mark.exists():
                mark.touch()
                os._exit(7)
        if name.startswith("slow"):
            for _ in range(9):  # longer than the patience of the test in all
                time.sleep(0.6)
                beat()
        stamp = stamp_of(task.path)
        try:
            data = Path(task.path).read_bytes()
        except OSError:
            return self.given_up(task, "there is no such file")
        # From 0 to 16 ms, so that sources are not done in their order.
        time.sleep(hashlib.sha256(data).digest()[0] / 16000)
        return Done(task.n, self.line(task, hashlib.sha256(data).hexdigest() * 8), "none", stamp)

    def given_up(self, task: Task, sentence: str) -> Done:
        return Done(task.n, self.line(task, sentence), "failed", stamp_of(task.path))

    def line(self, task: Task, what: str) -> bytes:
        return json.dumps({"source": task.source, "what": what, "run": self.run}).encode()


def work(settings: Settings) -> StubWork:
    return StubWork(settings.run, os.environ.get("STUB_MARKS"))


def main(folder: str, to: str, workers: str) -> None:
    from litlamp.aspects.rulebook import load_book
    from litlamp.collection import label as labelling
    from litlamp.collection.label import Asked, LabelError, crew, label

    # What made it is the stub, whatever becomes of the code of the networks meanwhile.
    labelling.made_by = lambda *_: {"litlamp": "stub"}

    try:
        done = label(
            [folder], Path(to), Asked(load_book()), workers=crew(int(workers), patience=60), work=work
        )
    except LabelError as error:
        print(error, file=sys.stderr)
        sys.exit(2)
    print(done.counts.done, done.now)


if __name__ == "__main__":
    main(*sys.argv[1:])
