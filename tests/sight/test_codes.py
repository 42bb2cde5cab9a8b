"""Codes in bulk against numpy, whose answers they must give."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from litlamp.sight.codes import brightest_channel, code_passed


@given(st.lists(st.integers(0, 255), min_size=1, max_size=60), st.floats(0, 1))
def test_a_quantile_is_numpys(codes: list[int], share: float) -> None:
    held = np.array(codes, np.uint8)
    assert code_passed(held, share) == pytest.approx(float(np.quantile(held, share)), abs=1e-9)


def test_a_quantile_of_a_plane_is_that_of_all_its_px() -> None:
    plane = np.random.default_rng(3).integers(0, 256, (31, 17), dtype=np.uint8)
    assert code_passed(plane[:, ::2], 0.5) == float(np.median(plane[:, ::2]))


@pytest.mark.parametrize("dtype", [np.uint8, np.float64])
def test_the_brightest_channel_is_the_greatest_along_the_last_axis(dtype: type) -> None:
    pixels: NDArray[Any] = (np.random.default_rng(4).random((9, 5, 3)) * 255).astype(dtype)
    assert np.array_equal(brightest_channel(pixels), pixels.max(axis=2))
    assert brightest_channel(pixels[:0]).shape == (0, 5)
