import cv2
import numpy as np
import pytest

from litlamp.scene.backdrop import (
    SEASONS,
    Lie,
    _tracks,
    draw_sky,
    draw_sun,
    paint_backdrop,
    paint_photo,
    paint_room,
)  # fmt: skip
from litlamp.scene.canvas import Canvas
from litlamp.scene.light import LIGHTS


def backdrop(seed, light="day", season="summer", horizon=90.0, roll=0.0):
    rng = np.random.default_rng(seed)
    canvas = Canvas(np.zeros((160, 200, 3), np.float32), draw_sun(rng, light))
    lie = Lie(horizon, roll, 1.6, 2000.0, 100.0, 30.0, 0.0)
    paint_backdrop(canvas, rng, lie, draw_sky(rng, light, "clear"), light, season, 0.0)
    return canvas.radiance


@pytest.mark.parametrize("light", LIGHTS)
@pytest.mark.parametrize("season", SEASONS)
def test_fills_the_picture_with_finite_light_and_repeats(light, season):
    a = backdrop(1, light, season, roll=0.06)
    assert np.isfinite(a).all()
    assert a.min() >= 0
    assert a.std() > 0
    assert np.array_equal(a, backdrop(1, light, season, roll=0.06))


def test_the_ground_is_below_and_the_sky_above():
    blue_above = 0
    for seed in range(10):
        above = backdrop(seed, horizon=400.0)
        below = backdrop(seed, horizon=-400.0)
        blue_above += (
            above[..., 2].mean() - above[..., 0].mean() > below[..., 2].mean() - below[..., 0].mean()
        )
    assert blue_above >= 8


def test_a_signal_never_stands_on_a_track():
    for seed in range(200):
        assert all(abs(t - 3.0) >= 2.0 for t in _tracks(np.random.default_rng(seed), 3.0))


def test_a_photograph_is_cropped_to_fill_and_a_missing_one_refused(tmp_path):
    photo = np.random.default_rng(0).integers(0, 255, (90, 120, 3), dtype=np.uint8)
    path = tmp_path / "p.png"
    assert cv2.imwrite(str(path), photo)
    rng = np.random.default_rng(1)
    canvas = Canvas(np.zeros((64, 64, 3), np.float32), draw_sun(rng, "day"))
    assert paint_photo(canvas, rng, str(path), 0.9, 0.0)
    assert canvas.radiance.std() > 0.05
    assert not paint_photo(canvas, rng, str(tmp_path / "none.png"), 0.9, 0.0)


def test_a_room_is_painted_all_over():
    rng = np.random.default_rng(1)
    canvas = Canvas(np.full((64, 80, 3), np.nan, np.float32), draw_sun(rng, "overcast"))
    paint_room(canvas, rng, 1.0)
    assert np.isfinite(canvas.radiance).all()
