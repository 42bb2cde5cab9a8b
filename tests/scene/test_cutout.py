import numpy as np
import pytest

from litlamp.box import Box
from litlamp.scene.backdrop import draw_sun
from litlamp.scene.cutout import Light, Sizes, add_light, cut_out, lay_over, moved_box, moved_point


def placed(scale, x, y):
    return np.array([[scale, 0.0, x], [0.0, scale, y]])


@pytest.mark.parametrize("scale", [0.05, 0.3, 0.7, 1.0, 1.6])
@pytest.mark.parametrize("shift", [0.0, 0.37])
def test_light_keeps_its_place_and_amount_at_any_scale(scale, shift):
    mask = np.zeros((40, 40), np.float32)
    mask[10:30, 8:28] = 1.0  # centre (18, 20)
    out = np.zeros((100, 100, 3), np.float32)
    affine = placed(scale, 40 + shift, 30 + shift)
    add_light(out, Light(Sizes(mask), (0, 0), 2.0), affine, np.array([1, 2, 3], np.float32), np.ones_like)
    sums = out.sum(axis=(0, 1))
    # An enlarged or reduced square keeps its light by area; a few per cent are lost to sampling.
    assert sums == pytest.approx(np.array([1, 2, 3]) * 2.0 * 400 * scale**2, rel=0.12)
    y, x = np.mgrid[0:100, 0:100] + 0.5
    weight = out[..., 0] / out[..., 0].sum()
    assert ((x * weight).sum(), (y * weight).sum()) == pytest.approx(moved_point((18, 20), affine), abs=0.3)


def test_rows_of_a_lamp_may_differ():
    mask = np.ones((10, 10), np.float32)
    out = np.zeros((20, 20, 3), np.float32)
    add_light(
        out, Light(Sizes(mask), (5, 5), 1.0), placed(1, 0, 0), np.ones(3, np.float32),
        lambda y: (y < 10).astype(float),
    )  # fmt: skip
    assert out[5:10, 5:15].min() == 1
    assert out[10:].max() == 0


def test_a_piece_hides_what_is_under_it_as_far_as_it_covers():
    piece = np.zeros((10, 10, 4), np.float32)
    piece[..., :3], piece[..., 3] = 0.25, 0.5  # half covered by a grey of 0.5
    picture = np.full((30, 30, 3), 0.8, np.float32)
    lay_over(picture, Sizes(piece), placed(1, 10, 10))
    assert picture[12:18, 12:18] == pytest.approx(0.65)
    assert picture[:9] == pytest.approx(0.8)
    hazy = np.zeros((30, 30, 3), np.float32)
    lay_over(hazy, Sizes(piece), placed(1, 10, 10), air=(1.0, 1.0, 1.0), clear=0.25)
    assert hazy[15, 15] == pytest.approx(0.25 * 0.25 + 0.5 * 0.75)


def test_a_piece_beside_the_picture_is_no_piece():
    assert Sizes(np.ones((4, 4), np.float32)).laid(placed(1, 500, 0), (30, 30)) is None


def test_cutting_out_gives_colour_and_cover():
    def paint(canvas, rng):
        shape = np.array([[2.0, 2.0], [12.0, 2.0], [12.0, 12.0], [2.0, 12.0]])
        canvas.polygons([shape], (0.1, 0.2, 0.3), alpha=0.5)
        return float(rng.random())

    rng = np.random.default_rng(1)
    piece, glows, answer = cut_out(paint, (20, 20), draw_sun(rng, "day"), (7,))
    assert piece[6, 6] == pytest.approx([0.05, 0.1, 0.15, 0.5], abs=0.01)
    assert piece[16, 16] == pytest.approx(0)
    assert glows == ()
    assert answer == np.random.default_rng((7,)).random()


def test_moved_boxes_hold_their_corners():
    turn = np.array([[0.8, -0.6, 5.0], [0.6, 0.8, 1.0]])
    box = moved_box(Box(0, 0, 10, 4), turn)
    for corner in ((0, 0), (10, 0), (0, 4), (10, 4)):
        x, y = moved_point(corner, turn)
        assert box.x0 - 1e-9 <= x <= box.x1 + 1e-9
        assert box.y0 - 1e-9 <= y <= box.y1 + 1e-9
