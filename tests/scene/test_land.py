import math

import numpy as np
import pytest

from litlamp.scene.backdrop import SEASONS, draw_sky, draw_sun
from litlamp.scene.land import Air, Far, Ground, Lit
from litlamp.scene.motion import Wave
from litlamp.scene.track import Cab, Run, draw_bends

SIZE = (320, 180)


def cab(**kw):
    bends = draw_bends(np.random.default_rng(0), 3000, math.inf)
    return Cab(SIZE, 368.0, bends, Run((0.0, 10.0), (10.0, 10.0), 50.0), 2.6, 0.0, 100.0, **kw)


def painted(season="summer", seconds=0.0, air=None, lit=None, of=None):
    of = of or cab()
    rng = np.random.default_rng(1)
    sun, sky = draw_sun(rng, "day"), draw_sky(rng, "day", "clear")
    air, lit = air or Air(5000, (0.7, 0.75, 0.8)), lit or Lit()
    picture = np.full((180, 320, 3), np.nan, np.float32)
    view = of.eye_at(seconds)
    Far(rng, of, sun, sky, season, air, lit).paint(picture, view)
    Ground(rng, of, sun, season, air, lit, (0.0,)).paint(picture, view)
    return picture


@pytest.mark.parametrize("season", SEASONS)
def test_land_and_sky_fill_the_picture(season):
    picture = painted(season)
    assert np.isfinite(picture).all()
    assert picture.min() >= 0
    assert picture[:40].mean() != pytest.approx(picture[140:].mean(), rel=0.05)


def test_the_rails_run_to_the_vanishing_point():
    # On a straight track a rail 0.75 m from its middle stands 368 * 0.75 / ahead px from the middle column,
    # where a row lies 368 * 2.6 / ahead px below the horizon: 0.29 px aside for each px down.
    picture = painted().mean(axis=2)
    for row in (130, 150, 170):
        down = row + 0.5 - 100
        at = 160 + np.array([-1, 1]) * 0.7525 / 2.6 * down
        for x in at:
            near = picture[row, round(x - 0.5) - 1 : round(x - 0.5) + 2].max()
            beside = np.median(picture[row, round(x - 0.5) - 6 : round(x - 0.5) + 6])
            assert near > 1.2 * beside


def test_the_ground_moves_under_the_train_and_repeats():
    still, on, round_again = painted(seconds=0.0), painted(seconds=0.13), painted(seconds=6.4)
    assert np.abs(still - on)[140:].mean() > 0.005
    assert np.abs(still - round_again)[140:].mean() < 1e-4  # 64 m on
    assert (still[:60] == on[:60]).all()


def test_turning_shifts_what_is_far():
    of = cab(sway=Wave(((0.05, 0.25, 0.0),)))
    a, b = painted(of=of, seconds=0.0), painted(of=of, seconds=1.0)  # at its widest: 0.05 rad
    shift = round(0.05 * 368)
    assert np.abs(a[50:80, shift:] - b[50:80, :-shift]).mean() < 0.2 * np.abs(a - b)[50:80].mean() + 0.01


def test_thick_air_hides_the_distance_and_night_the_rest():
    fog = painted(air=Air(60, (0.5, 0.5, 0.5)))
    assert fog[102:106].std() < 0.05
    night = painted(lit=Lit(0.1, 1.0))
    day = painted()
    assert night[110].mean() < 0.6 * day[110].mean()
    assert night[175].mean() / day[175].mean() > 1.5 * night[110].mean() / day[110].mean()
    assert Air(100, (0, 0, 0)).clear(100) == pytest.approx(math.exp(-1))
