"""Turning by the display matrix, against the arithmetic of the standard."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from litlamp.box import Box
from litlamp.media.planes import Turn, whole_pixels

ONE = 1 << 16

MATRICES = [
    np.array([a * ONE, b * ONE, 0, c * ONE, d * ONE, 0, 0, 0, 1 << 30], np.int32)
    for (a, d), (b, c) in [
        *(((s, t), (0, 0)) for s, t in itertools.product((1, -1), repeat=2)),
        *(((0, 0), (s, t)) for s, t in itertools.product((1, -1), repeat=2)),
    ]
]


def turned_by_arithmetic(stored: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    """ISO/IEC 14496-12, 6.2.2: (x, y) goes to (a x + c y, b x + d y), here moved to begin at 0."""
    a, b, _, c, d = (int(np.sign(v)) for v in matrix[:5])
    height, width = stored.shape
    ys, xs = np.mgrid[0:height, 0:width]
    to_x, to_y = a * xs + c * ys, b * xs + d * ys
    to_x, to_y = to_x - to_x.min(), to_y - to_y.min()
    out = np.zeros((to_y.max() + 1, to_x.max() + 1), stored.dtype)
    out[to_y, to_x] = stored
    return out


@pytest.mark.parametrize("matrix", MATRICES)
def test_every_turn_and_mirror(matrix: np.ndarray) -> None:
    stored = np.arange(5 * 7).reshape(5, 7)
    turn = Turn.of_matrix(matrix)
    assert turn is not None
    upright = turn.view(stored)
    assert np.array_equal(upright, turned_by_arithmetic(stored, matrix))
    assert np.shares_memory(upright, stored)
    height, width = upright.shape
    for x0, y0 in itertools.product(range(width), range(height)):
        for x1, y1 in itertools.product(range(x0 + 1, width + 1), range(y0 + 1, height + 1)):
            left, top, right, bottom = turn.stored((x0, y0, x1, y1), (width, height))
            assert np.array_equal(turn.view(stored[top:bottom, left:right]), upright[y0:y1, x0:x1])


def test_an_askew_or_empty_matrix_turns_nothing() -> None:
    assert Turn.of_matrix(np.array([46340, 46340, 0, -46340, 46340, 0, 0, 0, 1 << 30], np.int32)) is None
    assert Turn.of_matrix(np.zeros(9, np.int32)) is None


def test_whole_pixels() -> None:
    assert whole_pixels(None, (8, 6)) == (0, 0, 8, 6)
    assert whole_pixels(Box(1.2, 2.9, 3.1, 4.0), (8, 6)) == (1, 2, 4, 4)
    assert whole_pixels(Box(-9, -9, 99, 99), (8, 6)) == (0, 0, 8, 6)
    with pytest.raises(ValueError, match="no pixel"):
        whole_pixels(Box(8, 0, 9, 5), (8, 6))
