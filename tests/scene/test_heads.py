import numpy as np
import pytest

from litlamp.aspects.aspect import Lamp
from litlamp.scene.canvas import Canvas, Sun
from litlamp.scene.heads import LONG_RANGE, SHORT_RANGE, draw_head, paint_back, paint_head
from litlamp.scene.view import View

SKY = (0.3, 0.4, 0.7)


def blank():
    return Canvas(np.full((240, 240, 3), 0.4, np.float32), Sun(0, 0.6, 0.8, 0.7, 0.3))


@pytest.mark.parametrize("kind", ["searchlight", "vertical", "triangular", "led"])
@pytest.mark.parametrize("dwarf", [False, True])
def test_every_head_can_show_the_colours_asked_for(kind, dwarf):
    for seed in range(30):
        head = draw_head(np.random.default_rng(seed), ("red", "lunar"), dwarf, kind)
        assert head.kind == kind
        glasses = [a.glass for a in head.apertures]
        assert glasses == ["clear"] or {"red", "lunar"} <= set(glasses)
        for a in head.apertures:
            assert abs(a.x) + head.lens / 2 <= head.width / 2 + 0.02
            assert abs(a.y) + head.lens / 2 <= head.height / 2 + 0.06


def test_lenses_have_the_published_diameters():
    """AREMA C&S Manual Part 7.1: 8-3/8 in long range, 6-3/8 in short range; TC E-16: LED of 200 mm."""
    assert pytest.approx(8.375 * 0.0254, abs=5e-4) == LONG_RANGE
    assert pytest.approx(6.375 * 0.0254, abs=5e-4) == SHORT_RANGE
    seen = {draw_head(np.random.default_rng(s), ("red",), s % 2 == 0, alone=False).lens for s in range(60)}
    assert seen <= {LONG_RANGE, SHORT_RANGE, 0.2}


def test_small_lenses_stand_alone_on_a_broad_background():
    """0.09 to 0.17 m in a background five times as wide or less: common practice, no source."""
    heads = [draw_head(np.random.default_rng(s), ("red",), False, "vertical") for s in range(60)]
    small = [h for h in heads if h.lens not in (LONG_RANGE, SHORT_RANGE)]
    assert 15 < len(small) < 45
    assert all(0.085 < h.lens < 0.175 and 2.9 < h.width / h.lens < 6.7 for h in small)


@pytest.mark.parametrize("kind", ["searchlight", "vertical", "triangular", "led"])
def test_one_aperture_burns_and_it_is_the_one_of_the_colour(kind):
    for seed in range(10):
        rng = np.random.default_rng(seed)
        head = draw_head(rng, ("red", "green"), False, kind)
        canvas, view = blank(), View(150.0, (120.0, 120.0), distance=60.0)
        truth = paint_head(canvas, view, head, (0.0, 0.0), Lamp("green"), True, 2.0, SKY, rng)
        assert len(canvas.glows) == 1
        glow = canvas.glows[0]
        assert glow.colour == "green"
        aperture = next((a for a in head.apertures if a.glass == "green"), head.apertures[0])
        assert truth.centre == view.point(aperture.x, aperture.y)
        ys, xs = np.mgrid[0 : glow.mask.shape[0], 0 : glow.mask.shape[1]] + 0.5
        weight = np.where(glow.mask > 0.2, glow.mask, 0)
        at = (
            (weight * xs).sum() / weight.sum() + glow.origin[0],
            (weight * ys).sum() / weight.sum() + glow.origin[1],
        )
        assert np.hypot(at[0] - truth.centre[0], at[1] - truth.centre[1]) < 0.3 * truth.diameter


@pytest.mark.parametrize("seed", range(7))  # every texture of a lens comes among these
def test_small_lamps_keep_their_weight(seed):
    """The light of a lens shrinks with its area, down to a few px; fine dots are then a little too bright."""
    head = draw_head(np.random.default_rng(seed), ("red",), False, "searchlight")
    sums = []
    for scale in (120.0, 15.0):
        canvas, view = blank(), View(scale, (120.3, 120.4), distance=300.0)
        paint_head(canvas, view, head, (0.0, 0.0), Lamp("red"), True, 1.0, SKY, np.random.default_rng(1))
        sums.append(canvas.glows[0].mask.sum() / scale**2)
    assert sums[1] == pytest.approx(sums[0], rel=0.3)


def test_an_unlit_or_dark_head_has_no_glow():
    for lamp, lit in ((Lamp("dark"), True), (Lamp("red", True), False)):
        canvas = blank()
        rng = np.random.default_rng(1)
        truth = paint_head(
            canvas,
            View(100.0, (120.0, 120.0)),
            draw_head(rng, ("red",), False),
            (0.0, 0.0),
            lamp,
            lit,
            1.0,
            SKY,
            rng,
        )
        assert not canvas.glows
        assert not truth.lit


def test_the_back_is_painted_without_light():
    canvas, rng = blank(), np.random.default_rng(1)
    head = draw_head(rng, ("red",), False)
    truth = paint_back(canvas, View(100.0, (120.0, 120.0)), head, (0.0, 0.0), Lamp("red"), rng)
    assert not canvas.glows
    assert not truth.lit
    assert np.any(canvas.radiance != np.float32(0.4))
