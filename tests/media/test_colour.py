from __future__ import annotations

import colorsys

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms

from litlamp.media import colour as profiles
from litlamp.media.colour import _way, rgb_to_srgb, to_srgb

# A signal green, a yellow, a red and a lunar white as a phone stores them in Display P3.
PATCHES = np.array([[60, 200, 140], [230, 180, 40], [200, 50, 40], [200, 215, 235], [90, 90, 90]], np.uint8)


def _hue(rgb: np.ndarray) -> float:
    return 360 * colorsys.rgb_to_hsv(*(float(v) / 255 for v in rgb))[0]


def test_display_p3_against_a_reference_library(display_p3: bytes) -> None:
    colour = pytest.importorskip("colour")  # colour-science, an open reference library
    expected = colour.RGB_to_RGB(
        PATCHES / 255, "Display P3", "sRGB", apply_cctf_decoding=True, apply_cctf_encoding=True
    )
    expected = np.clip(np.nan_to_num(expected), 0, 1) * 255
    got, note = to_srgb(Image.fromarray(PATCHES[None]), display_p3)
    assert note == "a wide display to sRGB by ICC profile"
    assert np.abs(got[0] - expected).max() <= 2.0


def test_to_ignore_the_profile_would_move_green(display_p3: bytes) -> None:
    got, _ = to_srgb(Image.fromarray(PATCHES[None]), display_p3)
    assert abs(_hue(got[0, 0]) - _hue(PATCHES[0])) > 5


def test_the_quick_way_is_the_colour_engines(display_p3: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    # LittleCMS, an open reference engine, beside the matrix; with OpenCV's wide table and without it.
    noise = np.random.default_rng(2).integers(0, 256, (150, 90, 3), dtype=np.uint8)
    way = _way(display_p3, "RGB")
    assert way.matrix is not None
    assert way.transform is not None
    engine = np.asarray(ImageCms.applyTransform(Image.fromarray(noise), way.transform)).astype(int)
    assert np.abs(to_srgb(Image.fromarray(noise), display_p3)[0] - engine).max() <= 1
    narrow = cv2.LUT

    def before_five(pixels: np.ndarray, table: np.ndarray) -> np.ndarray:
        if table.size != 256:
            raise cv2.error("table of 256 wanted")
        return narrow(pixels, table)

    monkeypatch.setattr(cv2, "LUT", before_five)
    assert np.abs(to_srgb(Image.fromarray(noise), display_p3)[0] - engine).max() <= 1


def test_strips_of_a_large_picture_are_converted_side_by_side_to_the_same(
    display_p3: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    noise = np.random.default_rng(3).integers(0, 256, (331, 70, 3), dtype=np.uint8)
    alone, _ = rgb_to_srgb(noise, display_p3)
    monkeypatch.setattr(profiles, "LARGE", 1000)
    assert np.array_equal(rgb_to_srgb(noise, display_p3)[0], alone)


def test_a_profile_with_another_curve_goes_by_the_engine(adobe_like: bytes) -> None:
    colour = pytest.importorskip("colour")
    way = _way(adobe_like, "RGB")
    assert way.matrix is None
    got, note = to_srgb(Image.fromarray(PATCHES[None]), adobe_like)
    assert note == "a print space to sRGB by ICC profile"
    expected = colour.RGB_to_RGB(
        PATCHES / 255, "Adobe RGB (1998)", "sRGB", apply_cctf_decoding=True, apply_cctf_encoding=True
    )
    assert np.abs(got[0] - np.clip(np.nan_to_num(expected), 0, 1) * 255).max() <= 2


def test_srgb_is_known_by_its_content(plain_srgb: bytes, display_p3: bytes) -> None:
    built_in = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for profile in (plain_srgb, built_in):
        got, note = to_srgb(Image.fromarray(PATCHES[None]), profile)
        assert note is None
        assert np.array_equal(got, PATCHES[None])


def test_a_damaged_profile_is_left_aside_and_said(display_p3: bytes) -> None:
    for profile in (b"", b"junk" * 50, display_p3[:200], display_p3[:100] + b"\xff" * 300):
        got, note = to_srgb(Image.fromarray(PATCHES[None]), profile)
        assert note is not None
        assert "left aside" in note
        assert np.array_equal(got, PATCHES[None])


def test_a_grey_picture_with_its_cameras_rgb_profile(display_p3: bytes) -> None:
    got, note = to_srgb(Image.new("L", (2, 2), 128), display_p3)
    assert note is not None
    assert np.abs(got.astype(int) - 128).max() <= 1


def test_a_profile_of_another_space_is_left_aside(display_p3: bytes) -> None:
    got, note = to_srgb(Image.new("CMYK", (2, 2), (0, 255, 255, 0)), display_p3)
    assert note is not None
    assert "another colour space" in note
    assert got[0, 0].tolist() == [255, 0, 0]


def test_lab_needs_no_profile() -> None:
    # CIE 1976 L*a*b* of sRGB red at D50 is 54.29, 80.80, 69.89 (from memory; Pillow holds a and b + 128).
    lab = Image.merge("LAB", [Image.new("L", (1, 1), v) for v in (138, 209, 198)])
    got, note = to_srgb(lab, None)
    assert np.abs(got[0, 0].astype(int) - [255, 0, 0]).max() <= 6
    assert note is not None
