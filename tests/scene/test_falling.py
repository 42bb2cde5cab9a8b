import numpy as np
import pytest

from litlamp.scene.backdrop import draw_sun
from litlamp.scene.falling import Falling

SUN = draw_sun(np.random.default_rng(0), "overcast")


@pytest.mark.parametrize("weather", ["rain", "snow"])
def test_it_falls_elsewhere_in_every_frame(weather):
    falling = Falling((160, 90), weather, SUN, 3)
    frames = []
    for i in range(3):
        picture = np.full((90, 160, 3), 0.2, np.float32)
        falling.lay(picture, np.random.default_rng(i))
        frames.append(picture)
        assert 0.0003 < np.abs(picture - 0.2).mean() < 0.2
    assert (frames[0] != frames[1]).any()
    again = np.full((90, 160, 3), 0.2, np.float32)
    falling.lay(again, np.random.default_rng(0))
    assert (again == frames[0]).all()


def test_nothing_falls_from_a_clear_sky():
    picture = np.full((90, 160, 3), 0.2, np.float32)
    Falling((160, 90), "clear", SUN, 3).lay(picture, np.random.default_rng(0))
    assert (picture == np.float32(0.2)).all()
