import numpy as np
import pytest

from litlamp.box import Box
from litlamp.scene.passing import draw_passing

OVER, SIZE = Box(140, 40, 160, 120), (320, 180)


def thing(length=0.4, seed=1):
    return draw_passing(np.random.default_rng(seed), 2.0, length, OVER, SIZE)


@pytest.mark.parametrize("seed", range(5))
def test_it_hides_the_middle_for_as_long_as_asked(seed):
    passing, (x, _) = thing(0.4, seed), OVER.centre

    def hides(t):
        box = passing.box(t, SIZE)
        return box is not None and box.x0 <= x <= box.x1

    assert [hides(t) for t in (1.78, 1.82, 2.0, 2.18, 2.22)] == [False, True, True, True, False]


def test_what_is_painted_is_where_the_box_says():
    passing = thing()
    picture = np.ones((180, 320, 3), np.float32)
    passing.paint(picture, 2.0)
    box = passing.box(2.0, SIZE)
    middle = round(box.centre[0])
    assert picture[:, middle].max() < 0.3
    assert picture[:, int(box.x0) - 20].min() == 1
    assert picture[:, int(box.x1) + 20].min() == 1


def test_long_before_and_after_there_is_nothing():
    passing = thing()
    picture = np.ones((180, 320, 3), np.float32)
    passing.paint(picture, 60.0)
    assert picture.min() == 1
    assert passing.box(60.0, SIZE) is None


def test_bounds():
    with pytest.raises(ValueError, match="hide"):
        thing(99)
