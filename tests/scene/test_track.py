import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.scene.track import Cab, Run, draw_bends

STRAIGHT = draw_bends(np.random.default_rng(0), 2000, math.inf)


def cab(bends=STRAIGHT, run=None):
    return Cab((320, 180), 368.0, bends, run or Run((0.0, 10.0), (10.0, 10.0)), 2.5, 0.0, 90.0)


@given(
    paces=st.lists(st.floats(0, 30), min_size=2, max_size=6),
    start=st.floats(0, 100),
)
def test_the_way_is_the_sum_of_the_pace(paces, start):
    run = Run(tuple(3.0 * i for i in range(len(paces))), tuple(paces), start)
    fine = np.linspace(0, 3.0 * (len(paces) - 1), 3000)
    pace = np.interp(fine, run.seconds, run.paces)
    way = start + np.concatenate([[0], np.cumsum((pace[1:] + pace[:-1]) / 2 * np.diff(fine))])
    assert [run.at(t) for t in fine[::500]] == pytest.approx(list(way[::500]), abs=0.05)
    end = run.seconds[-1]
    assert run.at(end + 2) == pytest.approx(run.at(end) + 2 * paces[-1])
    assert run.at(-1.0) == pytest.approx(start - paces[0])


def test_a_straight_line_is_straight_and_a_bent_one_is_no_tighter_than_asked():
    assert np.ptp(STRAIGHT.x) == 0
    bends = draw_bends(np.random.default_rng(4), 4000, 600.0)
    assert np.abs(np.diff(bends.heading)).max() <= 1 / 600 + 1e-9
    assert np.ptp(bends.x) > 20
    steps = np.hypot(np.diff(bends.x), np.diff(bends.z))
    assert steps == pytest.approx(1.0)


def test_things_fall_where_a_pinhole_puts_them():
    view = cab().eye_at(0.0)
    right, ahead = view.plan(np.array([50.0]), np.array([3.0]))
    assert (right[0], ahead[0]) == pytest.approx((3.0, 50.0))
    affine = view.upright(3.0, 50.0, 20.0, (10.0, 100.0))
    foot = affine @ [10.0, 100.0, 1.0]
    assert foot == pytest.approx([160 + 368 * 3 / 50, 90 + 368 * 2.5 / 50])
    top = affine @ [10.0, 100.0 - 20.0 * 5, 1.0]  # five metres up
    assert foot[1] - top[1] == pytest.approx(368 * 5 / 50)


@pytest.mark.parametrize("seed", range(3))
def test_in_a_bend_the_track_ahead_lies_to_its_side(seed):
    bends = draw_bends(np.random.default_rng(seed), 3000, 500.0)
    for s in (200.0, 900.0, 1500.0):
        view = cab(bends, Run((0.0, 1.0), (0.0, 0.0), s)).eye_at(0.5)
        ahead = np.array([s + 1.0, s + 80.0])
        right, far = view.plan(ahead, np.zeros(2))
        assert right[0] == pytest.approx(0, abs=0.01)
        assert far[1] == pytest.approx(80, abs=1.0)
        turned = bends.heading[int(s) + 40] - bends.heading[int(s)]
        if abs(turned) > 0.03:
            assert np.sign(right[1]) == np.sign(turned)
