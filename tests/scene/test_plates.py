import numpy as np
import pytest

from litlamp.scene.canvas import Canvas, Sun
from litlamp.scene.plates import _face, draw_plate, number_text, paint_plate
from litlamp.scene.view import View


@pytest.mark.parametrize("kind", ["A", "R", "L", "DV", "number"])
def test_every_plate_carries_ink_inside_its_outline(kind):
    for seed in range(20):
        rng = np.random.default_rng(seed)
        plate = draw_plate(rng, kind)
        face, alpha = _face(plate, 80, rng)
        assert alpha.shape == face.shape[:2]
        grey = face.mean(-1)[alpha > 0.9]
        assert grey.max() > 1.8 * grey.min(), "letters must stand out"


def test_plates_have_their_colours():
    rng = np.random.default_rng(0)
    for kind in ("R", "L", "DV"):
        face = draw_plate(rng, kind).face
        assert face[2] < 0.3 * face[0], "yellow"
    white = draw_plate(rng, "A").face
    assert max(white) - min(white) < 0.05


def test_letters_differ_from_each_other():
    faces = {}
    for kind in ("R", "DV"):
        plate = draw_plate(np.random.default_rng(5), kind)
        faces[kind] = _face(plate, 60, np.random.default_rng(1))[0].mean(-1)
    a, b = faces["R"], faces["DV"]
    w = min(a.shape[1], b.shape[1])
    assert np.abs(a[:, :w] - b[:, :w]).mean() > 0.05


def test_truth_box_holds_the_paint_and_letter_height_follows_scale():
    rng = np.random.default_rng(2)
    plate = draw_plate(rng, "DV")
    for scale in (40.0, 120.0):
        canvas = Canvas(np.zeros((200, 200, 3), np.float32), Sun(0, 0.6, 0.8, 0.7, 0.3))
        view = View(scale, (100.0, 100.0), roll=0.05, distance=100.0)
        truth = paint_plate(canvas, view, plate, (0.0, 0.0), np.random.default_rng(1))
        ys, xs = np.nonzero(canvas.radiance.sum(-1) > 0.05)
        assert truth.box.x0 - 1 <= xs.min()
        assert xs.max() <= truth.box.x1 + 1
        assert truth.box.y0 - 1 <= ys.min()
        assert ys.max() <= truth.box.y1 + 1
        assert truth.letter_px == pytest.approx(plate.letter * plate.height * scale, rel=0.02)


def test_snow_covers_the_share_it_says():
    rng = np.random.default_rng(2)
    plate = draw_plate(rng, "R", snow=0.8)
    face, alpha = _face(plate, 100, rng)
    white = (face.min(-1) > 0.6) & (alpha > 0.9)
    assert white.mean() > 0.6


def test_number_text_is_digits_with_perhaps_one_letter():
    rng = np.random.default_rng(0)
    for _ in range(200):
        text = number_text(rng)
        assert 1 <= len(text) <= 6
        assert text[0] in "123456789"
        assert text.rstrip("LRA").isdigit()
