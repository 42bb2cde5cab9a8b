import numpy as np
import pytest

from litlamp.scene.backdrop import Lie
from litlamp.scene.canvas import Canvas, Sun
from litlamp.scene.clutter import KINDS, Before, paint_before, paint_distractor, paint_weather

LIE = Lie(120.0, 0.0, 1.6, 2000.0, 100.0, 40.0)


def blank():
    return Canvas(np.full((200, 200, 3), 0.3, np.float32), Sun(0, 0.6, 0.8, 0.7, 0.3))


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_is_painted_and_named_near_its_place(kind):
    for seed in range(6):
        canvas = blank()
        found = paint_distractor(
            canvas, np.random.default_rng(seed), kind, LIE, "night", 20.0, (100.0, 100.0), 30.0
        )
        assert found
        assert canvas.glows or np.any(canvas.radiance != np.float32(0.3))
        x, y = np.mean([b.centre for _, b in found], axis=0)
        assert np.hypot(x - 100, y - 100) < 150


def test_wires_and_poles_hide_what_is_behind_and_weather_paints():
    canvas = blank()
    canvas.watch_veil()
    paint_before(canvas, np.random.default_rng(1), Before(wires=3, branches=0.8, pole=True))
    assert canvas.veil is not None
    assert canvas.veil.max() > 0.9
    assert 0.005 < canvas.veil.mean() < 0.5
    for weather in ("rain", "snow"):
        canvas = blank()
        paint_weather(canvas, np.random.default_rng(1), weather)
        assert np.any(canvas.radiance != np.float32(0.3))
    canvas = blank()
    paint_weather(canvas, np.random.default_rng(1), "clear")
    assert np.all(canvas.radiance == np.float32(0.3))
