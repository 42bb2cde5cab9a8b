"""What a collection of 100,000 costs beside its reading: exports, and taking up a finished run.

    python tests/bench/collection_cost.py [--records 100000]

The records are the readings of some samples over and over, under other names; the files are empty, so that
only the keeping of the books is measured. Targets: CSV and Parquet in under 60 s; a finished run answers in
under 5 s.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import msgspec

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ("*-red.jpg", "*-green.jpg", "quarry-road-*.jpg", "hartsmere-*.jpg")


class Took(NamedTuple):
    """Seconds by the clock, and of processor time: the same on a machine that does nothing else."""

    clock: float
    busy: float

    def __str__(self) -> str:
        return f"{self.clock:.1f} s ({self.busy:.1f} s of processor time)"


def litlamp(*arguments: object) -> Took:
    """What a command takes, from its start to its end."""
    began, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, "-m", "litlamp", *map(str, arguments)],
        env={**os.environ, "PYTHONPATH": str(ROOT / "vision")},
        stdout=subprocess.DEVNULL,
        check=True,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    busy = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Took(time.perf_counter() - began, busy)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--records", type=int, default=100_000)
    count = parser.parse_args().records
    with tempfile.TemporaryDirectory() as name:
        scratch = Path(name)
        litlamp("label", *(ROOT / "samples" / pattern for pattern in SAMPLES), "--to", scratch / "samples")
        lines = [
            msgspec.json.decode(line)
            for line in (scratch / "samples" / "readings.jsonl").read_bytes().splitlines()
        ]
        files = finished_run(scratch, lines, count)
        readings = scratch / "run" / "readings.jsonl"
        print(f"{count} records, {readings.stat().st_size / count / 1e3:.1f} kB each")
        took = litlamp("label", files, "--to", scratch / "run")
        print(f"a finished run answers in {took} (target 5 s)")
        total = Took(0.0, 0.0)
        for form in ("csv", "parquet"):
            took = litlamp("export", scratch / "run", "--as", form, "--to", scratch / "export")
            total = Took(total.clock + took.clock, total.busy + took.busy)
            print(f"{form} {took}")
        print(f"CSV and Parquet {total} (target 60 s)")
        for form in ("coco", "vtt"):
            took = litlamp("export", scratch / "run", "--as", form, "--to", scratch / "export")
            print(f"{form} {took}")
        same = litlamp("compare", scratch / "run", scratch / "run")
        print(f"compared with itself {same}; load {os.getloadavg()[0]:.1f}")
        children = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e3
        print(f"no process took more than {children:.0f} MB")


def finished_run(scratch: Path, lines: list[dict[str, object]], count: int) -> Path:
    """A results folder as a run over so many files leaves it; the folder of the files is returned."""
    from litlamp.aspects.rulebook import load_book
    from litlamp.collection.label import Asked, label
    from litlamp.collection.reading_work import Done, Settings, Task, stamp_of

    files = scratch / "files"
    for i in range(0, count, 1000):
        (files / f"{i:06}").mkdir(parents=True)
        for j in range(i, min(i + 1000, count)):
            (files / f"{i:06}" / f"{j:06}.jpg").touch()

    class Copying:
        def __init__(self, settings: Settings) -> None:
            self.run = settings.run

        def start(self):  # type: ignore[no-untyped-def]
            return lambda task, beat: self.done(task)

        def done(self, task: Task) -> Done:
            line = {**lines[task.n % len(lines)], "source": task.source, "run": self.run}
            return Done(task.n, msgspec.json.encode(line), "read", stamp_of(task.path))

        def given_up(self, task: Task, sentence: str) -> Done:
            return self.done(task)

    began = time.perf_counter()
    from litlamp.collection.label import crew

    label([str(files)], scratch / "run", Asked(load_book()), workers=crew(0), work=Copying)
    took = time.perf_counter() - began
    print(f"listing and the books alone: {1e3 * took / count:.3f} ms a file")
    return files


if __name__ == "__main__":
    main()
