import itertools
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.scene.frame_times import frame_times


@given(
    seconds=st.floats(0.2, 20),
    fps=st.floats(5, 120),
    uneven=st.sampled_from([0.0, 0.3, 0.8]),
    seed=st.integers(0, 99),
)
def test_times_begin_at_zero_and_increase_within_the_clip(seconds, fps, uneven, seed):
    times = frame_times(np.random.default_rng(seed), seconds, fps, uneven)
    pts = np.array([t.pts for t in times])
    assert pts[0] == 0
    assert (np.diff(pts) > 0).all()
    assert times[-1].seconds < seconds + 1e-5
    assert {t.time_base for t in times} == {Fraction(1, 90000)}


@pytest.mark.parametrize(
    ("fps", "step"), [(30, 3000), (25, 3600), (29.97002997, 3003), (60, 1500), (24, 3750)]
)
def test_even_steps_are_exact(fps, step):
    times = frame_times(np.random.default_rng(0), 10, fps)
    assert {b.pts - a.pts for a, b in itertools.pairwise(times)} == {step}
    assert len(times) == int(np.ceil(10 * fps - 1e-9))


def test_uneven_steps_vary_and_some_frames_are_dropped():
    times = frame_times(np.random.default_rng(3), 20, 30, 0.35)
    steps = np.diff([t.seconds for t in times]) * 30
    assert steps.min() < 0.75
    assert steps.max() > 1.4  # a dropped frame
    assert np.mean(steps) == pytest.approx(1.04, abs=0.06)


@pytest.mark.parametrize(
    "wrong", [(0.0, 30, 0.0), (9999, 30, 0.0), (5, 0.5, 0.0), (5, 500, 0.0), (5, 30, 0.9)]
)
def test_bounds(wrong):
    with pytest.raises(ValueError, match=r"must|may"):
        frame_times(np.random.default_rng(0), *wrong)
