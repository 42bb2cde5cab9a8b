"""A lamp's brightness in terms of itself when lit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from litlamp.sight.lit_level import MOST, evened, levels, normalised

TIMES = np.arange(300) / 30


@given(
    arrays(np.float64, st.integers(1, 60), elements=st.floats(-10, 10, width=32)),
    st.sampled_from([0.0, 0.25, 0.6, 0.85, 1.0]),
    st.data(),
)
def test_levels_are_numpys_quantiles_to_the_last_bit(
    light: np.ndarray, share: float, data: st.DataObject
) -> None:
    first = np.array([data.draw(st.integers(0, light.size - 1)) for _ in range(5)])
    last = np.array([data.draw(st.integers(int(f) + 1, light.size)) for f in first])
    expected = [np.quantile(light[a:b], share) for a, b in zip(first, last, strict=True)]
    assert levels(light, first, last, share).tolist() == expected


def test_more_stretches_than_are_taken_at_once() -> None:
    light = np.random.default_rng(3).random(3000)
    first = np.arange(2900)
    found = levels(light, first, first + 100, 0.85)
    assert np.array_equal(found, [np.quantile(light[a : a + 100], 0.85) for a in first])


@settings(deadline=None)
@given(st.floats(1e-3, 1e3), st.floats(0.0, 0.1))
def test_a_lit_lamp_is_one_however_bright_and_however_it_grows(unit: float, growth: float) -> None:
    light = unit * np.exp(growth * TIMES)
    x = normalised(TIMES, light)
    assert x is not None
    assert np.abs(x - 1).max() < 0.15
    again = normalised(TIMES, 7.0 * light)
    assert again is not None and again == pytest.approx(x)


def test_a_lamp_dark_for_long_keeps_the_level_it_had() -> None:
    light = np.where(TIMES < 4, 0.5, 0.0)
    x = normalised(TIMES, light)
    assert x is not None
    assert x[TIMES < 3] == pytest.approx(1.0) and x[TIMES >= 4] == pytest.approx(0.0)


def test_one_that_is_never_lit_has_none() -> None:
    assert normalised(TIMES, np.zeros(TIMES.size)) is None


def test_what_differs_from_one_lit_spell_to_the_next_is_evened() -> None:
    lit = TIMES % 1.0 < 0.5
    x = np.where(lit, np.where(TIMES % 2.0 < 1.0, 1.0, 0.7), 0.0)
    out = evened(TIMES, x)
    assert out[lit] == pytest.approx(1.0) and out[~lit] == pytest.approx(0.0)
    assert out.max() <= MOST
