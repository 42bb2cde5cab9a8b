import colour
import numpy as np
import pytest

from litlamp.scene.light import Glow, LitScene
from litlamp.scene.plain import LAMPS, add_glows, plain_exposure


def xy(rgb):
    xyz = np.asarray(rgb) @ colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ.T
    return xyz[:2] / xyz.sum()


def test_red_and_green_lie_within_icao_annex_14_appendix_1():
    x, y = xy(LAMPS["red"])
    assert y <= 0.980 - x
    assert y <= 0.335
    x, y = xy(LAMPS["green"])
    assert x <= 0.360 - 0.080 * y
    assert x <= 0.650 * y
    assert y >= 0.390 - 0.171 * x


@pytest.mark.parametrize("name", sorted(LAMPS))
def test_each_lamp_has_luminance_one(name):
    assert np.asarray(LAMPS[name]) @ [0.2126, 0.7152, 0.0722] == pytest.approx(1.0, abs=0.08)


def test_white_paint_and_a_glow_that_reaches_outside():
    glow = Glow(0, 0, np.ones((6, 6), np.float32), (-3, -3), "red", "led", 2.0)
    scene = LitScene(np.ones((20, 20, 3), np.float32), (glow,), "day", 5500, "clear")
    before = scene.radiance.copy()
    out = plain_exposure(scene, 1.0)
    assert out.dtype == np.uint8
    assert np.all(out[-1, -1] == 255)
    assert np.array_equal(scene.radiance, before)
    only = add_glows(scene, np.zeros((20, 20, 3), np.float32))
    assert only[:3, :3, 0].min() == pytest.approx(2 * LAMPS["red"][0])
    assert only[4:].sum() == 0
