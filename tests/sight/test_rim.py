"""The red rim: lamps of published colours, painted in linear light, blurred, over-exposed and clipped."""

import cv2
import numpy as np
import pytest

from litlamp.sight.rim import REDDEST_YELLOW, red_rim


def srgb_of(x, y):
    """Linear sRGB (IEC 61966-2-1) of a chromaticity, brightest channel 1, what lies outside cut off."""
    xyz = np.array([x / y, 1.0, (1 - x - y) / y])
    rgb = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]) @ xyz
    return np.maximum(rgb, 0) / rgb.max()


# Corners of the signal colours of ICAO Annex 14, Volume I, Appendix 1 (CIE 1931 x, y).
REDDEST, YELLOWEST_RED = srgb_of(0.618, 0.382), srgb_of(0.66, 0.335)
MILD_YELLOW, GREEN, WHITE = srgb_of(0.565, 0.425), srgb_of(0.2, 0.5), srgb_of(0.31, 0.32)


def lamp(colour, exposure, diameter=18.0, wall=0.02):
    """A lamp of that colour in the middle of a dark head, 96 x 96, with a little crosstalk and glow."""
    yy, xx = np.mgrid[0:96, 0:96] + 0.5
    disc = np.clip(diameter / 2 - np.hypot(xx - 48, yy - 48) + 0.5, 0, 1)
    light = 0.85 * cv2.GaussianBlur(disc, (0, 0), 0.8) + 0.15 * cv2.GaussianBlur(disc, (0, 0), diameter / 5)
    sensor = colour @ np.array([[0.97, 0.03, 0], [0.03, 0.94, 0.03], [0, 0.03, 0.97]])
    scene = wall + exposure * light[..., None] * sensor
    linear = np.clip(scene, 0, 1)
    out = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.round(out * 255).astype(np.uint8)


def test_the_reddest_yellow_is_where_the_standard_puts_it():
    assert np.log2(REDDEST[0] / REDDEST[1]) == pytest.approx(REDDEST_YELLOW, abs=0.05)


@pytest.mark.parametrize("exposure", [4, 8, 16])
def test_an_overexposed_red_has_a_red_rim_whatever_its_core(exposure):
    rgb = lamp(YELLOWEST_RED, exposure)
    assert rgb[48, 48, 0] == 255
    assert red_rim(rgb, 48, 48, 18) > 0.5


@pytest.mark.parametrize(
    "colour", [REDDEST, MILD_YELLOW, GREEN, WHITE], ids=["reddest", "mild", "green", "white"]
)
@pytest.mark.parametrize("exposure", [0.5, 1, 4, 16])
@pytest.mark.parametrize("diameter", [6.0, 18.0, 60.0])
def test_no_other_lamp_has(colour, exposure, diameter):
    assert red_rim(lamp(colour, exposure, diameter), 48, 48, diameter) == 0


def test_nothing_seen_says_nothing():
    flat = np.full((40, 40, 3), 90, np.uint8)
    for x, y, d in ((20, 20, 8), (-30, 5, 6), (39, 39, 2), (500, 500, 9)):
        assert red_rim(flat, x, y, d) == 0
