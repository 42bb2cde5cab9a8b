import numpy as np
import pytest

from litlamp.scene.woods import LONG, TALL, strip, window


@pytest.mark.parametrize("wood", ["leafy", "conifer", "bare", "scrub"])
def test_a_strip_is_open_above_and_closed_at_the_foot(wood):
    board = strip(wood, 0)
    assert board.shape == (TALL, LONG, 3)
    assert board[-1, :, 0].mean() > 150
    assert board[:8, :, 0].mean() < 40
    assert strip(wood, 0, 2).shape == (TALL // 4, LONG // 4, 3)


def test_a_window_has_the_size_asked_for_and_repeats():
    a = window(np.random.default_rng(1), "leafy", 100.0, 256, (20, 90))
    b = window(np.random.default_rng(1), "leafy", 100.0, 256, (20, 90))
    assert a is not None
    assert b is not None
    assert a[0].shape == (70, 256, 3)
    assert a[1] == (20, 90)
    assert np.array_equal(a[0], b[0])
    assert window(np.random.default_rng(1), "leafy", 100.0, 256, (120, 200)) is None
