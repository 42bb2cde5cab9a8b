"""What labelling a collection costs: rate by workers, the share of the books, memory of a worker.

    python tests/bench/label_cost.py [--photos 1000] [--clips 50] [--workers 1 2] [--keep FOLDER]

The photographs are the samples saved anew at different qualities, so that no two are the same; the clips are
copies of the three-second sample. Each count of workers reads all of them into a new folder, and the readings
must be the same bytes. Targets: two workers on two cores at least 1.8 times the rate of one; keeping the
books at most 2 % of the time; at most 400 MB a worker. On a machine that does other work, rates say little.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import platform
import resource
import shutil
import tempfile
import time
from pathlib import Path

import msgspec
from PIL import Image

from litlamp.aspects.rulebook import load_book
from litlamp.collection.label import Asked, crew, label
from litlamp.collection.reading_work import Done
from litlamp.collection.run_folder import Counts, RunFolder

ROOT = Path(__file__).resolve().parents[2]


def make_collection(folder: Path, photos: int, clips: int) -> None:
    """So many photographs and clips."""
    samples = sorted((ROOT / "samples").glob("*.jpg"))
    pictures = [Image.open(path).convert("RGB") for path in samples]
    for i in range(photos):
        path = folder / f"photo-{i:05}-{samples[i % len(samples)].name}"
        if not path.exists():
            pictures[i % len(samples)].save(path, quality=95 - i // len(samples) % 30)
    clip = ROOT / "samples" / "brindle-staggered-flash.mp4"
    for i in range(clips):
        # Among the photographs, as they come from a telephone.
        shutil.copyfile(clip, folder / f"photo-{i * max(photos // max(clips, 1), 1):05}-{i:03}.mp4")


def high_water(pid: int | None) -> float:
    """The most memory that a process ever held, MB; 0 where the system does not tell."""
    # The ru_maxrss of a child is its parent's where that was larger: Linux hands it on.
    try:
        status = Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return 0.0
    return next((int(line.split()[1]) / 1e3 for line in status.splitlines() if line.startswith("VmHWM")), 0.0)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--photos", type=int, default=1000)
    parser.add_argument("--clips", type=int, default=50)
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    add = RunFolder.add
    books = 0.0

    def timed_add(self: RunFolder, done: Done) -> None:
        nonlocal books
        began = time.perf_counter()
        add(self, done)
        books += time.perf_counter() - began

    RunFolder.add = timed_add  # type: ignore[method-assign]
    peak = 0.0

    def watch(counts: Counts, listed: int) -> None:
        nonlocal peak
        if counts.done % 10 == 0:
            peak = max([peak, *(high_water(child.pid) for child in multiprocessing.active_children())])

    with tempfile.TemporaryDirectory() as name:
        folder = asked.keep or Path(name) / "collection"
        folder.mkdir(exist_ok=True, parents=True)
        make_collection(folder, asked.photos, asked.clips)
        print(
            f"{asked.photos} photographs and {asked.clips} clips; {platform.machine()}, "
            f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} before"
        )
        first: tuple[float, bytes] | None = None
        for workers in asked.workers:
            books = peak = 0.0
            to = Path(name) / f"with-{workers}"
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            done = label([str(folder)], to, Asked(load_book()), workers=crew(workers), told=watch)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
            readings = (to / "readings.jsonl").read_bytes()
            rate = done.listed / done.seconds
            first = first or (rate, readings)
            run = msgspec.json.decode((to / "run.json").read_bytes())["run"]
            same = "the same bytes" if readings == first[1] else f"OTHER BYTES than the first (made by {run})"
            print(
                f"{workers} workers: {done.seconds:.0f} s, {rate:.2f} a second "
                f"({rate / first[0]:.2f} times), their processor time {spent:.0f} s; "
                f"keeping the books {books:.2f} s = "
                f"{100 * books / done.seconds:.2f} %; at most {peak:.0f} MB "
                f"a worker; {same}; {done.counts}"
            )
        print(f"load {os.getloadavg()[0]:.1f} after")


if __name__ == "__main__":
    main()
