import numpy as np
import pytest

from litlamp.scene.motion import HELD, hold

SIZE = (320, 180)


@pytest.mark.parametrize("how", HELD)
@pytest.mark.parametrize("seed", range(4))
def test_the_picture_never_leaves_the_wide_one(how, seed):
    held = hold(np.random.default_rng(seed), how, SIZE, 8.0)
    for t in np.linspace(0, 8, 200):
        affine = held.at(t)
        back = np.linalg.inv(affine[:, :2])
        for corner in ((0, 0), (320, 0), (0, 180), (320, 180)):
            x, y = back @ (np.array(corner) - affine[:, 2])
            assert -1 < x < held.wide[0] + 1
            assert -1 < y < held.wide[1] + 1


def test_a_tripod_is_far_stiller_than_a_hand():
    def spread(how):
        held = hold(np.random.default_rng(1), how, SIZE, 5.0)
        return np.ptp([held.at(t)[0, 2] + held.at(t)[0, 0] * held.wide[0] / 2 for t in np.linspace(0, 5, 99)])

    assert spread("still") < 0.2
    assert 3 < spread("hand") < 0.06 * SIZE[0]


def test_a_zoom_goes_in_by_its_ratio_and_never_back():
    held = hold(np.random.default_rng(1), "zoom", SIZE, 4.0, ratio=3.0)
    scales = [held.scale(t) for t in np.linspace(0, 4, 50)]
    assert scales[-1] / scales[0] == pytest.approx(3.0)
    assert (np.diff(scales) >= -1e-12).all()


def test_the_sweep_is_the_pace_of_the_shake():
    held = hold(np.random.default_rng(2), "hand", SIZE, 5.0)
    mid = np.array(held.wide) / 2
    before, after = (held.at(t)[:, :2] @ mid + held.at(t)[:, 2] for t in (2.0, 2.001))
    assert held.sweep(2.0, 0.001) == pytest.approx(tuple(after - before), abs=1e-3)


@pytest.mark.parametrize("wrong", [{"shake": -1}, {"shake": 9}, {"ratio": 0.5}, {"ratio": 9}])
def test_bounds(wrong):
    with pytest.raises(ValueError, match="must"):
        hold(np.random.default_rng(0), "zoom", SIZE, 5.0, **wrong)
