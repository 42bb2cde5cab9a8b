import math

import numpy as np
import pytest

from litlamp.scene.view import View


def test_up_is_up_and_right_is_right():
    view = View(10.0, (100.0, 200.0), distance=1e9)
    assert view.point(0, 0) == (100.0, 200.0)
    assert view.point(1, 2) == pytest.approx((110.0, 180.0))


def test_roll_turns_about_the_foot_and_keeps_lengths():
    view = View(10.0, (0.0, 0.0), roll=0.1, distance=1e9)
    x, y = view.point(0, 5)
    assert math.hypot(x, y) == pytest.approx(50)
    assert math.atan2(x, -y) == pytest.approx(0.1)


def test_seen_from_below_what_is_nearer_stands_higher():
    view = View(10.0, (0.0, 0.0), eye=1.6, distance=20.0)
    assert view.point(0, 6, 0.4)[1] < view.point(0, 6)[1]
    assert view.point(0, 0.5, 0.4)[1] > view.point(0, 0.5)[1]


def test_masts_narrow_when_looking_up():
    view = View(10.0, (0.0, 0.0), converge=0.02)
    low, high = (view.points(np.array([-1.0, 1.0]), np.array([y, y]))[:, 0] for y in (0.0, 6.0))
    assert np.ptp(high) < np.ptp(low)
    assert view.size_at(6) < view.size_at(0)


def test_the_horizon_is_at_eye_height():
    assert View(10.0, (0.0, 100.0), eye=1.6).horizon == pytest.approx(84.0)
