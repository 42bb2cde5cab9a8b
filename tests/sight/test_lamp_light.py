from __future__ import annotations

from fractions import Fraction

import cv2
import numpy as np
import pytest

from litlamp.media.clip_frame import ClipFrame
from litlamp.media.frame import Time
from litlamp.media.planes import Coding, Packed, YCbCr
from litlamp.sight.lamp_light import lamp_near, measure_lamps


def frame(*lamps: tuple[float, float, float, tuple[int, int, int]], ground: int = 20) -> ClipFrame:
    rgb = np.full((200, 300, 3), ground, np.uint8)
    for x, y, d, colour in lamps:
        at = [round((v - 0.5) * 16) for v in (x, y)]
        cv2.circle(rgb, at, round(d * 8), colour, -1, cv2.LINE_AA, 4)
    return ClipFrame(Packed(rgb), Time(0, Fraction(1, 30)))


def linear(code: int) -> float:
    v = code / 255
    return float(v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4)


@pytest.mark.parametrize("d", [8.0, 20.0, 60.0])
@pytest.mark.parametrize("code", [80, 150, 255])
def test_light_is_linear_and_above_the_surroundings(d: float, code: int) -> None:
    measured = measure_lamps(frame((150, 100, d, (code, code, code))), [(150, 100)], [d])
    assert measured.light[0] == pytest.approx(3 * (linear(code) - linear(20)), rel=0.06)


def test_channels_tell_the_hue() -> None:
    red = measure_lamps(frame((150, 100, 12, (230, 60, 20))), [(150, 100)], [12])
    assert red.rgb[0, 0] > 5 * red.rgb[0, 1] > 0
    assert red.rgb[0].sum() == pytest.approx(red.light[0])


def test_the_lamp_is_found_a_little_aside() -> None:
    measured = measure_lamps(frame((153, 98, 12, (255, 255, 255))), [(150, 100)], [12])
    assert tuple(measured.off[0]) == pytest.approx((3, -2), abs=1.3)
    centred = measure_lamps(frame((150, 100, 12, (255, 255, 255))), [(150, 100)], [12])
    assert measured.light[0] == pytest.approx(centred.light[0], rel=0.05)
    assert tuple(centred.off[0]) == (0, 0)


def test_a_dark_lens_on_a_dark_head_before_bright_sky_gives_no_light() -> None:
    # The head hides the sky in a disc of 2.4 lens diameters; the ring looked at reaches a little beyond.
    sky = frame((150, 100, 29, (12, 12, 12)), (150, 100, 12, (18, 18, 18)), ground=230)
    lit = frame((150, 100, 29, (12, 12, 12)), (150, 100, 12, (255, 190, 30)), ground=230)
    dark_light = measure_lamps(sky, [(150, 100)], [12]).light[0]
    lit_light = measure_lamps(lit, [(150, 100)], [12]).light[0]
    assert dark_light < 0.03 * lit_light


def test_many_at_once_are_as_each_alone() -> None:
    of = frame((60, 50, 10, (255, 40, 20)), (200, 140, 16, (30, 240, 140)))
    both = measure_lamps(of, [(60, 50), (200, 140)], [10, 16])
    for i, (at, d) in enumerate((((60, 50), 10.0), ((200, 140), 16.0))):
        alone = measure_lamps(of, [at], [d])
        assert alone.light[0] == pytest.approx(both.light[i], rel=1e-5)


def test_out_of_the_picture_is_dark() -> None:
    assert measure_lamps(frame(), [(-400, 900)], [9]).light[0] == pytest.approx(0, abs=1e-6)


def test_bright_sky_beside_a_lamp_is_not_taken_for_it() -> None:
    of = frame((150, 100, 12, (200, 40, 30)))
    assert isinstance(of.picture, Packed)
    of.picture.pixels[:93] = 250  # begins right above the lens
    measured = measure_lamps(of, [(150, 100)], [12])
    assert abs(measured.off[0, 1]) < 3
    assert not measured.aside[0]
    assert measured.rgb[0, 0] > 2 * measured.rgb[0, 1]


def test_light_exactly_where_it_was_looked_for_is_told_beside_the_brightest() -> None:
    measured = measure_lamps(frame((154.8, 100, 12, (255, 255, 255))), [(150, 100)], [12])
    assert measured.here[0].sum() < 0.9 * measured.light[0]
    centred = measure_lamps(frame((150, 100, 12, (255, 255, 255))), [(150, 100)], [12])
    assert centred.here[0].sum() == pytest.approx(centred.light[0])


def test_a_near_lamp_of_many_points_of_light_gives_the_same_however_it_lies() -> None:
    # 80 px across, its points 8 px apart: sampled here and there, they would come and go as it moves.
    y, x = (np.mgrid[:800, :1200] + 0.5) / 4
    lens = np.hypot(x - 150, y - 100) < 40
    told = []
    for shift in np.linspace(0, 8, 11):
        points = (np.sin((x + shift) * 2 * np.pi / 8) > 0) & (np.sin((y - shift) * 2 * np.pi / 8) > 0)
        fine = np.where((points & lens)[..., None], (255, 180, 20), (20, 20, 20)).astype(np.uint8)
        rgb = np.asarray(cv2.resize(fine, (300, 200), interpolation=cv2.INTER_AREA), np.uint8)
        y_, cr, cb = (np.asarray(p, np.uint8) for p in cv2.split(cv2.cvtColor(rgb, cv2.COLOR_RGB2YCrCb)))
        coding = Coding(0.299, 0.114, full=True)
        for picture in (Packed(rgb), YCbCr(y_, cb[::2, ::2], cr[::2, ::2], coding)):
            still = ClipFrame(picture, Time(0, Fraction(1, 30)))
            told.append(measure_lamps(still, [(150, 100)], [80]).light[0])
    for kind in (told[::2], told[1::2]):
        assert max(kind) < 1.15 * min(kind) > 0.05


@pytest.mark.parametrize(("dx", "dy"), [(0, 0), (14, -6), (-20, 18)])
def test_a_lamp_that_is_not_where_it_was_is_found_beside(dx: int, dy: int) -> None:
    found = lamp_near(frame((150 + dx, 100 + dy, 12, (255, 190, 30))), (150, 100), 12)
    assert found is not None
    assert found.off == pytest.approx((dx, dy), abs=3)
    assert found.rgb.tolist() == pytest.approx([linear(c) - linear(20) for c in (255, 190, 30)], abs=0.05)


def test_a_bright_sky_beside_a_dark_head_is_no_lamp() -> None:
    rgb = np.full((200, 300, 3), 20, np.uint8)
    rgb[:, 165:] = 235
    assert lamp_near(ClipFrame(Packed(rgb), Time(0, Fraction(1, 30))), (150, 100), 12) is None
