"""An aspect in words to its reading: what is taken as said, what is told, and how fast."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

import litlamp
from litlamp.aspects.explain import explain
from litlamp.aspects.rulebook import Rulebook
from litlamp.aspects.words import AspectWordsError


def test_what_was_not_said_is_taken_as_the_plainest_and_told(cror: Rulebook) -> None:
    reading = explain("red over red", cror)
    assert reading.reading is not None and reading.reading.rule == "439"
    assert reading.why[0] == "Not said, so taken as the plainest: on a mast, in line, no plates."
    assert "The stagger matters: staggered the same lamps are Stop and Proceed (437)." in reading.why
    assert not any(step.startswith("Not said") for step in explain("green, dwarf, A plate", cror).why)


def test_the_other_reading_is_named_for_mount_and_plates(cror: Rulebook) -> None:
    steps = explain("single red", cror).why
    assert "The mount matters: on a dwarf the same lamps are Stop (439)." in steps
    assert "No A plate: with one it would be Stop (439)." in steps
    assert "No R plate: with one it would be Restricting (436)." in steps


def test_what_is_said_beside_the_words_counts(cror: Rulebook) -> None:
    assert explain("yellow", cror, mount="dwarf").reading.rule == "436"  # type: ignore[union-attr]
    assert explain("red over red", cror, arrangement="staggered").reading.rule == "437"  # type: ignore[union-attr]
    assert explain("red", cror, plates=["R"]).reading.rule == "436"  # type: ignore[union-attr]
    with pytest.raises(AspectWordsError):
        explain("yellow, mast", cror, mount="dwarf")


def test_the_words_come_back(cror: Rulebook) -> None:
    assert explain("Y over R", cror).aspect == "yellow over red, vertical, mast"
    assert explain("r, A plate, dwarf", cror).aspect == "single red, dwarf, A plate"


def test_explaining_needs_neither_pictures_nor_a_third_of_a_second() -> None:
    """Whole process, book and all; the best of three, so that a busy machine does not decide."""
    program = (
        "import sys\n"
        "from litlamp.aspects.explain import explain\n"
        "from litlamp.aspects.rulebook import load_book\n"
        "print(explain('flashing yellow over red', load_book()).reading.rule)\n"
        "heavy = {'numpy', 'cv2', 'onnxruntime', 'PIL', 'av', 'skimage'} & sys.modules.keys()\n"
        "assert not heavy, heavy\n"
    )
    best = 10.0
    for _ in range(3):
        start = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", program], capture_output=True, text=True, check=False, env=_env()
        )
        best = min(best, time.perf_counter() - start)
        assert (done.returncode, done.stdout) == (0, "415\n"), done.stderr
    assert best < 0.3


def _env() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(Path(litlamp.__file__).parents[1])}
