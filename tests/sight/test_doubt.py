"""Moving belief keeps it whole and touches nothing else."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.sight.doubt import moved
from litlamp.sight.eyes import Calibration

beliefs = st.lists(st.floats(1e-6, 1), min_size=5, max_size=5).map(lambda v: np.array(v) / sum(v))
colours = st.integers(0, 4)


@given(beliefs, st.floats(0, 1), colours)
def test_spread_evenly_it_widens_and_keeps_its_order(belief, share, _):
    out = moved(belief, share)
    assert out.sum() == pytest.approx(1)
    assert out.min() >= share / 5 - 1e-12
    assert out.max() <= belief.max() + 1e-12
    assert (np.diff(out[np.argsort(belief)]) >= -1e-12).all()


@given(beliefs, st.floats(0, 1), colours)
def test_sent_to_one_colour_only_that_one_gains(belief, share, to):
    before = belief.copy()
    out = moved(belief, share, to=to)
    assert out.sum() == pytest.approx(1)
    others = [i for i in range(5) if i != to]
    assert out[others] == pytest.approx((1 - share) * belief[others])
    assert np.array_equal(belief, before)


@given(beliefs, st.floats(0, 1), colours, colours)
def test_taken_from_one_colour_the_rest_stays(belief, share, of, to):
    out = moved(belief, share, of=of, to=to)
    assert out.sum() == pytest.approx(1)
    rest = [i for i in range(5) if i not in (of, to)]
    assert out[rest] == pytest.approx(belief[rest])
    if of != to:
        assert out[to] - belief[to] == pytest.approx(share * belief[of])


def test_a_half_strange_signal_leaves_every_colour_open_at_the_usual_level():
    sure = np.array([0.0, 1.0, 0.0, 0.0, 0.0])
    assert moved(sure, 0.5 * Calibration("").strange_share).min() >= 0.01
