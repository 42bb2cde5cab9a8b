"""Lenses too dark to be surely lit."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.sight.dim import bright_parts, core_light, may_be_dark
from litlamp.sight.eyes import Calibration

TUNED = Calibration("")
shares = st.floats(0, 1)


def disc(level, at=(50, 40), radius=10, size=(80, 100), wall=10):
    rgb = np.full((*size, 3), wall, np.uint8)
    yy, xx = np.mgrid[0 : size[0], 0 : size[1]] + 0.5
    rgb[np.hypot(xx - at[0], yy - at[1]) < radius] = level
    return rgb


def test_the_light_of_a_lens_is_that_of_its_brightest_channel():
    assert core_light(disc((0, 255, 90)), 50, 40, 20) == pytest.approx(1)
    # sRGB 128 is linear 0.216 (IEC 61966-2-1).
    assert core_light(disc((128, 20, 20)), 50, 40, 20) == pytest.approx(0.216, abs=0.001)


@given(st.floats(-50, 200), st.floats(-50, 200), st.floats(0, 300))
def test_a_lens_anywhere_has_some_light(x, y, diameter):
    assert 0 <= core_light(disc((200, 20, 20)), x, y, diameter) <= 1


def test_bright_parts_are_not_one_lamp():
    assert bright_parts(disc(255, radius=2)) == pytest.approx(bright_parts(disc(10)))
    assert bright_parts(disc(255, radius=20)) == pytest.approx(1)


def test_one_far_darker_than_its_neighbour_may_be_dark():
    beside, same, off = may_be_dark([0.14, 1.0, 0.01], [True, True, False], 0.0, TUNED)
    assert beside == TUNED.dim_beside >= 0.02
    assert same == off == 0


def test_one_far_darker_than_the_picture_may_be_dark():
    (alone,) = may_be_dark([0.1], [True], 0.9, TUNED)
    assert alone == TUNED.dim_scene > 0.01
    assert may_be_dark([0.6], [True], 0.9, TUNED) == [0]


@given(st.lists(st.tuples(shares, st.booleans()), min_size=1, max_size=3), shares)
def test_the_brightest_lamp_never_speaks_against_itself(heads, bright):
    cores, lit = (list(v) for v in zip(*heads, strict=True))
    told = may_be_dark(cores, lit, 0.0, TUNED)
    lights = [core for core, on in heads if on]
    for (core, on), moved in zip(heads, told, strict=True):
        assert 0 <= moved <= TUNED.dim_beside
        if not on or core == max(lights):
            assert moved == 0
    brighter = may_be_dark(cores, lit, bright, TUNED)
    assert all(b >= a for a, b in zip(told, brighter, strict=True))
