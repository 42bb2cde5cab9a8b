"""Kill a run of `litlamp label` at random moments, go on each time, and compare with a run left alone.

    python tests/bench/kill_label.py [--kills 60] [--files 400] [--workers 2] [--seed 1] [--real FOLDER]

The reader is a stub that takes 0 to 16 ms a file, so that most of what is interrupted is the keeping of the
books; with --real FOLDER the pictures of that folder are read by the networks instead. Each kill is a SIGKILL
of the leading process alone: its workers must find out for themselves. A run that is finished is
compared with the one left alone, readings.jsonl byte for byte.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
STUB = ROOT / "tests" / "collection" / "stub" / "label_stub.py"


def command(folder: Path, to: Path, workers: int, real: bool) -> list[str]:
    if real:
        return [
            sys.executable, "-m", "litlamp", "label", str(folder), "--to", str(to), "--workers", str(workers),
        ]  # fmt: skip
    return [sys.executable, str(STUB), str(folder), str(to), str(workers)]


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT / "vision"), "OMP_NUM_THREADS": "1"}


def _wait_for(run: subprocess.Popen[bytes], file: Path, lines: int) -> None:
    while run.poll() is None and (not file.exists() or file.read_bytes().count(b"\n") < lines):
        time.sleep(0.002)


def kill_often(
    folder: Path, scratch: Path, kills: int, workers: int, dice: random.Random, real: bool = False
) -> tuple[list[int], int, int]:
    """Kill runs at work so many times, beginning with a new folder whenever one is finished.

    Returns
    -------
    Lines of the journal at each kill; files written down twice; runs finished, each with the same bytes.

    Raises
    ------
    AssertionError : a run broke, a line was lost, or the bytes differ from those of a run left alone.
    """
    whole = scratch / "whole"
    began = time.monotonic()
    alone = subprocess.Popen(
        command(folder, whole, workers, real), env=environment(), stdout=subprocess.DEVNULL
    )
    _wait_for(alone, whole / "journal.jsonl", 2)
    starts = time.monotonic() - began
    assert alone.wait() == 0
    expected = (whole / "readings.jsonl").read_bytes()
    at_work: list[int] = []
    rounds = again = 0
    while len(at_work) < kills:
        to, journal, finished = scratch / f"killed-{rounds}", 0, False
        while not finished:
            run = subprocess.Popen(
                command(folder, to, workers, real),
                env=environment(),
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
            )
            if len(at_work) < kills:
                _some_moment(run, to / "journal.jsonl", journal, starts, expected.count(b"\n"), dice)
                hit = run.poll() is None
                run.send_signal(signal.SIGKILL)
            else:
                hit = False
            _, said = run.communicate()
            assert run.returncode in (0, -signal.SIGKILL), said.decode()
            readings = to / "readings.jsonl"
            held = readings.read_bytes() if readings.exists() else b""
            sound = held[: held.rfind(b"\n") + 1]
            assert expected.startswith(sound), "other lines than it should have"
            now = _lines(to / "journal.jsonl")
            assert now >= journal, "the journal lost a line"
            journal = now
            if hit:
                at_work.append(journal)
            finished = run.returncode == 0
        assert (to / "readings.jsonl").read_bytes() == expected, "the bytes differ"
        # The first line of the journal says what made it; each other is one file.
        again += journal - 1 - expected.count(b"\n")
        rounds += 1
    return at_work, again, rounds


def _some_moment(
    run: subprocess.Popen[bytes], file: Path, lines: int, starts: float, files: int, dice: random.Random
) -> None:
    """One in four at any moment of the start; else once there is some progress to interrupt."""
    if dice.random() < 0.25:
        time.sleep(dice.uniform(0, starts))
    else:
        _wait_for(run, file, lines + dice.randint(1, max(files // 12, 1)))
        time.sleep(dice.uniform(0, 0.02))


def _wait_for(run: subprocess.Popen[bytes], file: Path, lines: int) -> None:
    while run.poll() is None and _lines(file) < lines:
        time.sleep(0.002)


def _lines(file: Path) -> int:
    return file.read_bytes().count(b"\n") if file.exists() else 0


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=60)
    parser.add_argument("--files", type=int, default=300)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--real", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        scratch = Path(name)
        folder = asked.real or scratch / "files"
        if asked.real is None:
            folder.mkdir()
            for i in range(asked.files):
                (folder / f"{i:05}.jpg").write_bytes(b"%d" % i)
        at_work, again, rounds = kill_often(
            folder, scratch, asked.kills, asked.workers, random.Random(asked.seed), asked.real is not None
        )
        print(f"{len(at_work)} kills of runs at work, at these lines of their journals: {at_work}")
        print(
            f"{rounds} runs finished, each with the bytes of the run left alone; written down twice: {again}"
        )


if __name__ == "__main__":
    main()
