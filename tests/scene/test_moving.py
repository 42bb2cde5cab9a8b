import numpy as np
import pytest

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.box import Box
from litlamp.scene.flat import FlatScene
from litlamp.scene.motion import hold
from litlamp.scene.moving import Spot, shown_at

ASPECT = Aspect((Lamp("green"), Lamp("red")), "mast", "vertical", frozenset({"A"}))
SIZE = (320, 240)


@pytest.fixture(scope="module")
def flat():
    held = hold(np.random.default_rng(1), "still", SIZE, 3.0)
    return FlatScene(
        (ASPECT,), held, seed=1, light="day", weather="clear", distance=None, kind=None,
        extra="road light", back=False,
    )  # fmt: skip


def test_a_scale_scales_all_of_a_signal(flat):
    signal = flat.signals[0]
    half = shown_at(signal, Spot(0, np.array([[0.5, 0, 10.0], [0, 0.5, 20.0]])), (2000, 2000))
    for a, b in zip(signal.heads, half.heads, strict=True):
        assert b.diameter == pytest.approx(a.diameter / 2)
        assert b.centre == pytest.approx((a.centre[0] / 2 + 10, a.centre[1] / 2 + 20))
        assert b.box.area == pytest.approx(a.box.area / 4)
        assert b.visible == 1
    assert half.whole_in_view
    assert half.plates[0].letter_px == pytest.approx(signal.plates[0].letter_px / 2)


def test_what_is_out_of_the_picture_or_hidden_is_not_visible(flat):
    signal = flat.signals[0]
    away = shown_at(signal, Spot(0, np.array([[1.0, 0, -2000.0], [0, 1.0, 0]])), SIZE)
    assert not away.whole_in_view
    assert {h.visible for h in away.heads} == {0}
    here = np.array([[1.0, 0, 0.0], [0, 1.0, 0]])
    covered = shown_at(signal, Spot(0, here, (Box(0, 0, 2000, 2000),)), (2000, 2000))
    assert {h.visible for h in covered.heads} == {0}
    assert not covered.plates[0].legible
    box = signal.heads[0].box
    part = Box(box.x0, box.y0, box.centre[0], box.y1)
    half = shown_at(signal, Spot(0, here), (2000, 2000), (part,))
    assert half.heads[0].visible == pytest.approx(0.5, abs=0.02)
    assert half.heads[1].visible == 1


def test_a_flat_scene_lights_the_lamps_that_it_is_told_to(flat):
    from litlamp.scene.camera import draw_camera
    from litlamp.scene.film import Film

    film = Film(draw_camera(np.random.default_rng(0), "day", fine=True), 5500.0, 1)
    dark = flat.paint(0.5, film, lambda key, rows: np.zeros_like(rows))
    top = flat.paint(0.5, film, lambda key, rows: np.full_like(rows, float(key.head == 0)))
    there = shown_at(flat.signals[0], flat.where(0.5)[0], SIZE)
    more = (top - dark).sum(axis=2)
    y, x = np.unravel_index(np.argmax(np.abs(more)), more.shape)
    head = there.heads[0]
    assert np.hypot(x + 0.5 - head.centre[0], y + 0.5 - head.centre[1]) < head.diameter
    below = there.heads[1].box
    assert np.abs(more[int(below.y0) : int(below.y1), int(below.x0) : int(below.x1)]).max() < 0.05
    assert flat.others(0.5)[0][0] == "road light"
