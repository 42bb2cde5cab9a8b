from __future__ import annotations

import cv2
import numpy as np
import pytest

from litlamp.sight.exposure import Exposure

SPAN = (16, 235)


def coded(light: np.ndarray) -> np.ndarray:
    return np.rint(16 + 219 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)


@pytest.fixture(scope="module")
def view() -> np.ndarray:
    noise = np.random.default_rng(4).normal(0, 1, (360, 640)).astype(np.float32)
    return cv2.normalize(cv2.GaussianBlur(noise, (0, 0), 8), None, 0.02, 0.4, cv2.NORM_MINMAX)


def test_it_begins_at_one_and_follows_a_gain(view: np.ndarray) -> None:
    exposure = Exposure()
    assert exposure.factor(coded(view), SPAN) == 1.0
    for gain in (1.1, 1.4, 1.9, 1.2, 0.8):
        assert exposure.factor(coded(view * gain), SPAN) == pytest.approx(gain, rel=0.02)


def test_one_bright_thing_is_no_exposure(view: np.ndarray) -> None:
    exposure = Exposure()
    exposure.factor(coded(view), SPAN)
    lit = view.copy()
    lit[100:200, 200:330] = 1.0
    assert exposure.factor(coded(lit), SPAN) == pytest.approx(1.0, rel=0.02)


def test_a_pan_over_alike_scenery_is_hardly_one(view: np.ndarray) -> None:
    exposure = Exposure()
    wide = np.tile(view, (1, 2))
    factors = [exposure.factor(coded(wide[:, 6 * i : 6 * i + 640]), SPAN) for i in range(60)]
    assert max(abs(np.log(factors))) < 0.25


def test_the_night_tells_nothing() -> None:
    exposure = Exposure()
    dark = np.full((360, 640), 17, np.uint8)
    lamp = dark.copy()
    lamp[100:108, 100:108] = 235
    assert exposure.factor(dark, SPAN) == 1.0
    assert exposure.factor(lamp, SPAN) == 1.0


def test_tiny_pictures_and_new_sizes_do_not_fail() -> None:
    exposure = Exposure()
    for shape in ((1, 1), (4, 900), (360, 640), (720, 1280)):
        assert exposure.factor(np.full(shape, 100, np.uint8), SPAN) == 1.0
