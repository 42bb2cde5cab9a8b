"""What the signal reader is shown, and how often."""

import numpy as np
import pytest

from litlamp.aspects.aspect import COLOURS
from litlamp.box import Box
from litlamp.sight.asked import ask_reader
from litlamp.sight.crop import size_code
from litlamp.sight.eyes import Calibration, Eyes
from litlamp.sight.find import HeadFound

TUNED = Calibration("nothing")
NC = len(COLOURS)


class _Reader:
    """A reader network that sees one head where heads are said to be about so wide, and else no signal."""

    def __init__(self, width: float) -> None:
        self.code, self.asked = size_code(width), 0

    def run(self, pixels: np.ndarray) -> np.ndarray:
        self.asked += 1
        answer = np.zeros((1, 27), np.float32)
        answer[0, int(abs(int(pixels[0, 0, 0, 3]) - self.code) <= 4)] = 6.0
        return answer


@pytest.mark.parametrize(
    ("widths", "sees", "taken", "asked"),
    [((20, 40), 40, 40, 2), ((20, 40), 20, 20, 1), ((20, 40), 200, 20, 2), ((20, None), 40, 20, 1)],
    ids=["the other", "the first", "neither", "of one mind"],
)
def test_the_reader_settles_how_large_a_head_is(widths, sees, taken, asked):
    def head(width: float, otherwise: HeadFound | None = None) -> HeadFound:
        box = Box(100 - width / 2, 60, 100 + width / 2, 140)
        zeros = np.zeros(NC, np.float32)
        return HeadFound(100.0, 100.0, box, 8.0, zeros, (100.0, 100.0), 0.9, 1.0, True, otherwise)

    reader = _Reader(sees)
    eyes = Eyes(reader, reader, reader, TUNED, {})  # type: ignore[arg-type]
    one = head(widths[0], head(widths[1]) if widths[1] else None)
    said = ask_reader(np.zeros((300, 300, 3), np.uint8), (one,), eyes)
    assert said.found == (one,) and said.heads[0].box.width == taken
    assert reader.asked == asked
    assert (said.answer[0] < said.answer[1]) == (
        sees in widths[:1] or (sees in widths and widths[1] is not None)
    )
