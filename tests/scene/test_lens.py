"""The lens: light moves, and is neither lost nor made."""

import cv2
import numpy as np
import pytest

from litlamp.scene.lens import Lens, through
from litlamp.scene.light import Radiance


def _point(at: tuple[int, int] = (64, 64), level: float = 100.0) -> Radiance:
    light = np.zeros((128, 128, 3), np.float32)
    light[at] = level
    light.setflags(write=False)
    return light


BLURS = [
    Lens(soft=1.5),
    Lens(defocus=3.2),
    Lens(motion=(7.0, 0.6)),
    Lens(glare=(0.1, 0.05, 0.02)),
    Lens(fringe=(0.7, -0.3)),
]


@pytest.mark.parametrize("lens", BLURS)
def test_light_is_kept(lens: Lens) -> None:
    assert float(through(_point(), lens).sum()) == pytest.approx(300, rel=0.02)


@pytest.mark.parametrize("lens", BLURS[:4])
def test_a_flat_field_stays_flat(lens: Lens) -> None:
    flat = np.full((64, 80, 3), 0.3, np.float32)
    assert np.abs(through(flat, lens) - 0.3).max() < 1e-4


def test_a_perfect_lens_changes_nothing() -> None:
    light = _point()
    assert np.array_equal(through(light, Lens()), light)


def test_a_halo_falls_off() -> None:
    out = through(_point(), Lens(glare=(0.1, 0.05, 0.025, 0.012, 0.006)))[64, :, 0]
    steps = [out[64 + d] for d in (0, 2, 5, 10, 20, 35)]
    assert steps == sorted(steps, reverse=True)
    assert steps[-1] > 0
    assert steps[0] > 60


def test_defocus_is_a_disc() -> None:
    out = through(_point(), Lens(defocus=4.0))[:, :, 0]
    assert out[64, 64] == pytest.approx(out[64, 67], rel=1e-4)
    assert out[64, 70] == 0


def test_motion_goes_its_way() -> None:
    out = through(_point(), Lens(motion=(9.0, 0.0)))[:, :, 0]
    assert out[64, 60] > 1
    assert out[60, 64] == 0


def test_fringes_part_red_from_blue() -> None:
    out = through(_point(), Lens(fringe=(1.0, 0.0)))
    assert out[64, 65].tolist() == pytest.approx([100, 0, 0], abs=1e-3)
    assert out[64, 63].tolist() == pytest.approx([0, 0, 100], abs=1e-3)
    assert out[64, 64].tolist() == pytest.approx([0, 100, 0], abs=1e-3)


def test_a_ghost_lies_across() -> None:
    out = through(_point((40, 30)), Lens(ghost=(0.01, 0.5, 0.5, 1.0)))
    y, x = np.unravel_index(out[64:, 64:, 0].argmax(), (64, 64))
    assert (y + 64, x + 64) == (88, 98)
    dim = through(_point((40, 30), 1.0), Lens(ghost=(0.01, 0.5, 0.5, 1.0)))
    assert dim[64:, 64:].max() == 0  # only lights bright enough throw one


def test_rays_have_their_number() -> None:
    out = through(_point(), Lens(rays=(6, 0.1, 0.2)))[:, :, 0]
    out = np.where(out > 1e-3, out, 0)  # what the transform leaves of nothing
    out = cv2.dilate(out, np.ones((3, 3), np.uint8))  # a thin ray skips pixels
    a = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    ring = out[np.round(64 + 14 * np.sin(a)).astype(int), np.round(64 + 14 * np.cos(a)).astype(int)] > 0
    assert int((ring & ~np.roll(ring, 1)).sum()) == 6
