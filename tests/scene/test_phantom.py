import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.aspects.aspect import Lamp
from litlamp.scene.canvas import Canvas, Sun
from litlamp.scene.heads import draw_head, paint_head
from litlamp.scene.phantom import Phantom, draw_phantoms
from litlamp.scene.view import View

SUN = Sun(0.1, 0.4, 0.9, 0.7, 0.3)
VEIL = Phantom(1.0, "veil", 0.0, 0.2, 0.5, 0.0, "clear")


def painted(phantom, colour="dark", lit=False):
    rng = np.random.default_rng(3)
    head = dataclasses.replace(draw_head(rng, ("red", "green"), False, "vertical"), hood=0.0)
    canvas = Canvas(np.zeros((200, 200, 3), np.float32), SUN)
    view = View(120.0, (100.0, 100.0), 0.0, 0.0, 0.0)
    truth = paint_head(
        canvas, view, head, (0.0, 0.0), Lamp(colour), lit, 1.0, (0.3, 0.3, 0.4), rng, phantom=phantom
    )
    return canvas, head, view, truth


def lens_colour(canvas, head, view, name):
    a = next(a for a in head.apertures if a.glass == name)
    x, y = view.point(a.x, a.y)
    return canvas.radiance[int(y) - 2 : int(y) + 3, int(x) - 2 : int(x) + 3].mean(axis=(0, 1))


def test_glass_in_the_sun_shines_in_its_own_colour_and_the_truth_stays_dark():
    canvas, head, view, truth = painted(VEIL)
    red, green = (lens_colour(canvas, head, view, g) for g in ("red", "green"))
    assert red[0] > 0.6
    assert red[0] > 3 * red[1]
    assert green[1] > 0.6
    assert green[1] > 3 * green[0]
    assert not truth.lit
    assert truth.lamp.colour == "dark"
    assert not canvas.glows


def test_without_a_phantom_the_same_glass_is_dim():
    canvas, head, view, _ = painted(None)
    assert lens_colour(canvas, head, view, "red").max() < 0.3


def test_one_lens_alone_may_have_it():
    canvas, head, view, _ = painted(dataclasses.replace(VEIL, only=1))
    bright = [lens_colour(canvas, head, view, a.glass).max() > 0.5 for a in head.apertures]
    assert bright == [i == 1 for i in range(len(head.apertures))]


def test_a_lit_lamp_keeps_its_glow_under_the_phantom():
    canvas, _, _, truth = painted(VEIL, "red", True)
    assert truth.lit
    assert [g.colour for g in canvas.glows] == ["red"]


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(["veil", "sun", "heart", "rim"]), st.floats(-3.2, 3.2), st.floats(0, 1), st.floats(0, 1)
)
def test_a_face_is_a_share_of_light(shape, lean, slope, edge):
    u = np.linspace(-1, 1, 21, dtype=np.float32)[None, :]
    face = Phantom(1.0, shape, lean, slope, edge, 0.0, "clear").face(u, u.T)
    assert face.shape == (21, 21)
    assert face.min() >= 0
    assert face.max() <= 1.0001


def test_phantoms_are_common_in_the_sun_and_mostly_weaker_than_lit_lamps():
    rng = np.random.default_rng(1)
    drawn = [draw_phantoms(rng, 2, "low sun", 0.4) for _ in range(800)]
    having = [d for d in drawn if any(d)]
    assert 0.35 < len(having) / len(drawn) < 0.6
    strong = np.array([p.strength for d in having for p in d if p])
    assert np.mean(strong < 4 * 0.4) > 0.75
    assert strong.max() > 1.5
    assert strong.min() < 0.25


def test_colour_fades_to_white():
    pale = dataclasses.replace(VEIL, pale=1.0)
    assert pale.colour("green") == pytest.approx((1, 1, 1))
