"""Weather at the camera: drops, wiped glass, thick air."""

import numpy as np
import pytest

from litlamp.scene.light import Radiance
from litlamp.scene.weather import drops, veiled, wiped


def _view() -> Radiance:
    """Bright above, dark below; refuses writing."""
    light = np.full((120, 160, 3), 0.05, np.float32)
    light[:60] = 0.9
    light.setflags(write=False)
    return light


def test_drops_show_the_view_upside_down() -> None:
    upright, turned = 0, 0
    for seed in range(40):
        out = drops(_view(), np.random.default_rng(seed), 1, (14, 20))
        changed = np.abs(out - _view()).max(2) > 0.1
        if not changed.any():
            continue
        rows = np.flatnonzero(changed.any(1))
        # Where a drop lies across the horizon its upper part shows ground, its lower part sky.
        if rows[0] < 55 and rows[-1] > 65:
            column = int(np.flatnonzero(changed.any(0)).mean())
            high, low = out[rows[0] : 58, column, 0].mean(), out[62 : rows[-1], column, 0].mean()
            turned += bool(high < 0.8)
            upright += bool(high > 0.85 and low < 0.1)
    assert turned > 3
    assert upright == 0


def test_drops_leave_the_rest_alone() -> None:
    out = drops(_view(), np.random.default_rng(1), 3, (5, 8))
    same = (out == _view()).all(2).mean()
    assert 0.8 < same < 1.0
    assert out.dtype == np.float32


def test_no_drops_no_change() -> None:
    assert np.array_equal(drops(_view(), np.random.default_rng(0), 0, (5, 8)), _view())


@pytest.mark.parametrize("size", [(1, 1), (3, 40), (64, 64)])
def test_drops_fit_any_picture(size: tuple[int, int]) -> None:
    light = np.full((*size, 3), 0.4, np.float32)
    assert drops(light, np.random.default_rng(2), 12, (2, 30)).shape == light.shape
    assert wiped(light, np.random.default_rng(2), 0.3).shape == light.shape


def test_wiping_draws_lights_out_and_keeps_them() -> None:
    light = np.zeros((100, 100, 3), np.float32)
    light[50, 50] = 40.0
    out = wiped(light, np.random.default_rng(0), 0.3)
    assert float(out.sum()) == pytest.approx(120, rel=0.05)
    assert out[50, 50, 0] == pytest.approx(28, rel=0.1)
    assert (out[:, :, 0] > 0.05).sum() > 20


def test_a_veil_mixes_in_the_air() -> None:
    out = veiled(_view(), 0.25, (0.4, 0.5, 0.6))
    assert out[0, 0].tolist() == pytest.approx([0.775, 0.8, 0.825], abs=1e-5)
    assert np.array_equal(veiled(_view(), 0.0, (1, 1, 1)), _view())
