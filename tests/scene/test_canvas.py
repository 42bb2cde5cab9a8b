import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.scene.canvas import Canvas, Patch, Sun, bar, cover, hull, linear, noise, times
from litlamp.scene.heads import ellipse
from litlamp.scene.light import Glow

SUN = Sun(0.0, 0.6, 0.8, 0.7, 0.3)


def blank(w=40, h=30, value=0.5):
    return Canvas(np.full((h, w, 3), value, np.float32), SUN)


def test_srgb_decoding_agrees_with_iec_61966_2_1_as_in_colour_science():
    codes = np.arange(256, dtype=np.uint8)
    theirs = colour.cctf_decoding(codes / 255, function="sRGB")
    np.testing.assert_allclose(linear(codes), theirs, atol=1e-6)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.8, 12), st.floats(15, 25), st.floats(10, 20))
def test_coverage_weighs_what_the_shape_weighs(r, x, y):
    mask, _ = cover([ellipse(2 * r, 2 * r, x, y, 60)], (60, 60))
    assert mask.sum() == pytest.approx(np.pi * r * r, rel=0.25)  # filling takes in the px under the outline
    assert mask.min() >= 0
    assert mask.max() <= 1


def test_coverage_sits_where_the_shape_is():
    mask, (x0, y0) = cover([ellipse(10, 10, 21.3, 14.8)], (60, 60))
    ys, xs = np.mgrid[0 : mask.shape[0], 0 : mask.shape[1]] + 0.5
    assert (xs * mask).sum() / mask.sum() + x0 == pytest.approx(21.3, abs=0.15)
    assert (ys * mask).sum() / mask.sum() + y0 == pytest.approx(14.8, abs=0.15)


def test_outside_the_picture_is_nothing():
    assert cover([ellipse(5, 5, -20, -20)], (60, 60)) is None
    canvas = blank()
    canvas.stamp(np.ones((5, 5), np.float32), (-10, 0), (1.0, 1.0, 1.0))
    assert np.all(canvas.radiance == 0.5)


def test_a_stamp_at_the_edge_is_cut():
    canvas = blank()
    canvas.stamp(np.ones((6, 6), np.float32), (-3, -3), (1.0, 0.0, 0.0))
    assert np.all(canvas.radiance[:3, :3] == (1.0, 0.0, 0.0))
    assert np.all(canvas.radiance[3:] == 0.5)


def test_haze_draws_a_stamp_towards_the_air():
    canvas = blank()
    canvas.air, canvas.clear = (1.0, 1.0, 1.0), 0.25
    canvas.stamp(np.ones((4, 4), np.float32), (0, 0), (0.0, 0.0, 0.0))
    np.testing.assert_allclose(canvas.radiance[:4, :4], 0.75, atol=1e-6)


def test_what_is_painted_in_front_dims_a_glow():
    canvas = blank()
    mask = np.ones((10, 10), np.float32)
    canvas.glows.append(Glow(10, 10, mask, (5, 5), "red", "led", 1.0))
    canvas.stamp(np.ones((20, 5), np.float32), (0, 0), (0.0, 0.0, 0.0))
    assert canvas.glows[0].mask.sum() == 100
    canvas.stamp(np.ones((30, 10), np.float32), (0, 0), (0.0, 0.0, 0.0))
    assert canvas.glows[0].mask.sum() == 50
    assert mask.sum() == 100, "the mask given is not written to"


def test_a_thin_pipe_weighs_its_width():
    canvas = blank(60, 60, 1.0)
    canvas.pipe((30.0, 5.0), (30.0, 55.0), 0.25, (0.0, 0.0, 0.0))
    missing = (1 - canvas.radiance[..., 0]).sum()
    assert missing == pytest.approx(50 * 0.5, rel=0.05)


def test_noise_is_repeatable_and_level():
    a = noise(np.random.default_rng(3), 90, 120, 30)
    b = noise(np.random.default_rng(3), 90, 120, 30)
    assert a.shape == (90, 120)
    assert np.array_equal(a, b)
    many = [noise(np.random.default_rng(s), 64, 64, 20).mean() for s in range(40)]
    assert abs(np.mean(many)) < 0.3


def test_a_face_turned_to_the_sun_is_brighter():
    assert SUN.shade(0, 0.6, 0.8) > SUN.shade(0, 0, -1)
    assert times((1, 2, 3), (2, 2, 2), 0.5) == (1, 2, 3)


def test_a_patch_averages_its_fine_board():
    shape = ellipse(8, 8, 20, 20)
    patch = Patch([shape], 8)
    assert patch.down(patch.fill(shape)).sum() == pytest.approx(np.pi * 16, rel=0.06)


def test_hull_and_bar():
    assert len(hull(bar((0, 0), (10, 0), 1), bar((0, 5), (10, 5), 1))) == 4
