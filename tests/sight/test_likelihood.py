"""Densities and means that a lamp's brightness is weighed by, against scipy where it is there."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.sight.likelihood import OFF, chances_of, mean_of_logs, normal, spread_of
from litlamp.sight.lit_level import MOST

VALUES = st.lists(st.floats(-700, 700), min_size=1, max_size=30)


@given(VALUES)
def test_the_mean_of_logs_is_that_of_scipy(values: list[float]) -> None:
    special = pytest.importorskip("scipy.special")
    expected = special.logsumexp(values) - np.log(len(values))
    assert mean_of_logs(np.array(values)) == pytest.approx(expected, abs=1e-9)


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(0.01, 3))
def test_the_normal_density_is_that_of_scipy(x: float, mean: float, spread: float) -> None:
    stats = pytest.importorskip("scipy.stats")
    assert normal(np.array([x]), mean, spread)[0] == pytest.approx(stats.norm.pdf(x, mean, spread), rel=1e-9)


def test_a_few_wild_frames_do_not_widen_the_spread() -> None:
    dice = np.random.default_rng(5)
    values = dice.normal(1.0, 0.1, 400)
    assert spread_of(values, 0.0, 9.0) == pytest.approx(0.1, rel=0.15)
    values[:40] = 50.0
    assert spread_of(values, 0.0, 9.0) == pytest.approx(0.1, rel=0.3)
    assert spread_of(values[:3], 0.0, 9.0) == 9.0


def test_each_frame_is_likeliest_as_what_it_looks_like() -> None:
    x = np.array([1.0, 0.98, 1.02, 1.0, 0.01, 0.0, 0.02, 0.0, 0.5])
    of = chances_of(x)
    assert (of.lit[:4] > of.dark[:4]).all() and (of.dark[4:8] > of.lit[4:8]).all()
    assert of.between[8] == pytest.approx(-np.log(MOST))
    # A lamp often caught dark is dark at less cost, one often dimmed is dim at less.
    assert chances_of(x, bad_dark=0.3).lit[4] > of.lit[4]
    assert x[8] > OFF and chances_of(x, dims=0.5).lit[8] > of.lit[8]
