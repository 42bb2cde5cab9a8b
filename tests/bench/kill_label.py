"""Kill a run of `litlamp label` at random moments, go on each time, and compare with a run left alone.

    python tests/bench/kill_label.py [--kills 60] [--files 400] [--workers 2] [--seed 1] [--real FOLDER]

The reader is a stub that takes 0 to 4 ms a file, so that most of what is interrupted is the keeping of the
books; with --real FOLDER the pictures of that folder are read by the networks instead. Each kill is a SIGKILL
of the leading process alone: its workers must find out for themselves. After the last kill the run is
finished, and readings.jsonl compared byte for byte with that of a run left alone.
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
) -> tuple[int, int, list[int]]:
    """How many kills hit a run at work, redone files at most between two goes, and lines at each kill.

    Raises
    ------
    AssertionError : a run broke, a line was lost, or the bytes differ from those of a run left alone.
    """
    whole, to = scratch / "whole", scratch / "killed"
    began = time.monotonic()
    subprocess.run(command(folder, whole, workers, real), env=environment(), check=True, capture_output=True)
    takes = time.monotonic() - began
    expected = (whole / "readings.jsonl").read_bytes()
    hits, journal, lines = 0, 0, []
    for _ in range(kills):
        run = subprocess.Popen(
            command(folder, to, workers, real),
            env=environment(),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        # Half at any moment, most of them of the start; half once there is some progress to interrupt.
        if dice.random() < 0.5:
            time.sleep(dice.uniform(0, min(takes, 3.0)))
        else:
            more = dice.randint(1, max(2 * expected.count(b"\n") // kills, 1))
            _wait_for(run, to / "journal.jsonl", journal + more)
            time.sleep(dice.uniform(0, 0.01))
        hits += run.poll() is None
        run.send_signal(signal.SIGKILL)
        _, said = run.communicate()
        assert run.returncode in (0, -signal.SIGKILL), said.decode()
        readings = to / "readings.jsonl"
        held = readings.read_bytes() if readings.exists() else b""
        assert held[: held.rfind(b"\n") + 1] == expected[: held.rfind(b"\n") + 1], (
            "other lines than it should have"
        )
        now = (to / "journal.jsonl").read_bytes().count(b"\n") if (to / "journal.jsonl").exists() else 0
        assert now >= journal, "the journal lost a line"
        journal = now
        lines.append(held.count(b"\n"))
    last = subprocess.run(
        command(folder, to, workers, real), env=environment(), capture_output=True, check=False
    )
    assert last.returncode == 0, last.stderr.decode()
    assert (to / "readings.jsonl").read_bytes() == expected, "the bytes differ"
    # The first line of the journal says what made it; each other is one file.
    again = (to / "journal.jsonl").read_bytes().count(b"\n") - 1 - expected.count(b"\n")
    return hits, again, lines


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=60)
    parser.add_argument("--files", type=int, default=400)
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
        hits, again, lines = kill_often(
            folder, scratch, asked.kills, asked.workers, random.Random(asked.seed), asked.real is not None
        )
        print(f"{asked.kills} kills, {hits} of them on a run at work; lines at each kill: {lines}")
        print(f"same bytes as the run left alone; files written down twice: {again}")


if __name__ == "__main__":
    main()
