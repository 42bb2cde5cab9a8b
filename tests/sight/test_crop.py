"""Windows, and the way back from them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.box import Box
from litlamp.sight.crop import (
    GREY,
    PLATE_SIDE,
    READER_HEAD,
    READER_HEIGHT,
    READER_TOP,
    READER_WIDTH,
    cut,
    plate_window,
    reader_window,
)

SIDE = 160


def centroid(pixels: np.ndarray) -> tuple[float, float]:
    """Of all that is brighter than the ground, red channel alone: the grey beyond has the ground's."""
    weight = np.maximum(pixels[..., 0].astype(float) - GREY, 0)
    ys, xs = np.mgrid[: weight.shape[0], : weight.shape[1]] + 0.5
    return float((weight * xs).sum() / weight.sum()), float((weight * ys).sum() / weight.sum())


def square(size: tuple[int, int], x: int, y: int, side: int) -> np.ndarray:
    """A white square with its middle at (x, y); the ground is as grey as what lies beyond."""
    rgb = np.full((size[1], size[0], 3), GREY, np.uint8)
    rgb[y - side // 2 : y + side // 2, x - side // 2 : x + side // 2] = 255
    rgb.flags.writeable = False
    return rgb


@settings(max_examples=150, deadline=None)
@given(
    x=st.integers(40, 560), y=st.integers(40, 360),
    scale=st.one_of(st.sampled_from([1 / 8, 1 / 4, 1 / 2, 1.0, 2.0]), st.floats(0.12, 4)),
    u=st.floats(20, SIDE - 20), v=st.floats(20, SIDE - 20),
)  # fmt: skip
def test_a_dot_seen_in_a_window_is_where_it_was_in_the_picture(x, y, scale, u, v):
    side = 2 * max(round(2 / scale), 1)
    rgb = square((600, 400), x, y, side)
    # The window is laid so that the dot comes to about (u, v), over the picture's edge or not.
    window = cut(rgb, x - u / scale, y - v / scale, scale, SIDE, SIDE)
    assert window.pixels.shape == (SIDE, SIDE, 3)
    seen = centroid(window.pixels)
    assert seen == pytest.approx((u, v), abs=1 + scale / 2)
    back = window.to_picture(*seen)
    assert back == pytest.approx((x, y), abs=0.75 / scale + 0.1)


@settings(max_examples=60, deadline=None)
@given(u=st.floats(-1e3, 1e3), v=st.floats(-1e3, 1e3), scale=st.floats(0.03, 8))
def test_to_picture_is_undone_by_its_own_formula(u, v, scale):
    window = cut(np.zeros((9, 9, 3), np.uint8), 1.0, -2.0, scale, 32, 32)
    x, y = window.to_picture(u, v)
    assert ((x - window.x0) * scale, (y - window.y0) * scale) == pytest.approx((u, v), abs=1e-6)


@pytest.mark.parametrize("scale", [0.1, 0.5, 1.0, 3.0])
@pytest.mark.parametrize("corner", [(-5000, 0), (0, -5000), (5000, 0), (0, 5000), (-5000, 5000)])
def test_a_window_wholly_beyond_the_edge_is_grey(scale, corner):
    window = cut(np.zeros((50, 70, 3), np.uint8), *corner, scale, 64, 32)
    assert window.pixels.shape == (32, 64, 3)
    assert (window.pixels == GREY).all()


@pytest.mark.parametrize("scale", [0.25, 0.5, 1.0, 2.0])
@pytest.mark.parametrize(("x0", "y0"), [(-20, -12), (140, 85), (-20, 85), (140, -12)])
def test_what_lies_beyond_is_grey_and_what_lies_within_is_the_picture(scale, x0, y0):
    rgb = np.zeros((100, 160, 3), np.uint8)
    window = cut(rgb, x0, y0, scale, 80, 64)
    ys, xs = np.mgrid[:64, :80] + 0.5
    px, py = window.to_picture(xs, ys)
    edge = np.minimum.reduce([np.abs(px), np.abs(px - 160), np.abs(py), np.abs(py - 100)])
    inside = (px > 0) & (px < 160) & (py > 0) & (py < 100)
    clear = edge > 1.5 / scale
    assert (inside & clear).any()
    assert (~inside & clear).any()
    assert (window.pixels[inside & clear] == 0).all()
    assert (window.pixels[~inside & clear] == GREY).all()


@pytest.mark.parametrize("scale", [1 / 32, 0.3, 1.0, 1.5, 40.0])
@pytest.mark.parametrize("x0", [-100.0, -3.5, 0.0, 0.5, 100.0])
def test_one_px_and_thin_pictures_give_whole_windows(scale, x0):
    for shape in ((1, 1), (1, 500), (500, 1)):
        window = cut(np.full((*shape, 3), 9, np.uint8), x0, x0, scale, 32, 64)
        assert window.pixels.shape == (64, 32, 3)
        assert np.isfinite(window.to_picture(0, 0)).all()


def test_a_window_does_not_share_the_pictures_memory():
    rgb = np.zeros((64, 64, 3), np.uint8)
    for scale in (0.5, 1.0, 2.0):
        window = cut(rgb, 0, 0, scale, 32, 32)
        assert not np.shares_memory(window.pixels, rgb)


@settings(max_examples=80, deadline=None)
@given(
    x=st.integers(100, 500), y=st.integers(100, 300), width=st.floats(8, 120),
    below=st.lists(st.floats(1.5, 4), max_size=2),
)  # fmt: skip
def test_the_readers_window_puts_the_top_head_in_its_place_and_marks_all(x, y, width, below):
    rgb = square((600, 500), x, y, 2 * max(round(width / 6), 2))
    points = [(float(x), float(y))]
    for gap in below:
        points.append((float(x), points[-1][1] + gap * width))
    window = reader_window(rgb, points, width)
    assert window.pixels.shape == (READER_HEIGHT, READER_WIDTH, 4)
    assert window.scale == pytest.approx(READER_HEAD / width)
    seen = centroid(window.pixels[..., :3])
    assert seen == pytest.approx((READER_WIDTH / 2, READER_TOP), abs=1.2 + window.scale)
    for px, py in points:
        u, v = (px - window.x0) * window.scale, (py - window.y0) * window.scale
        if 0 <= u < READER_WIDTH and 0 <= v < READER_HEIGHT:
            assert window.pixels[int(v), int(u), 3] > 200
    assert (window.pixels[..., 3] > 200).sum() <= 80 * len(points)


@pytest.mark.parametrize("width", [0.0, 1e-9, 1.0, 5000.0])
def test_the_readers_window_stands_any_width_and_far_points(width):
    window = reader_window(np.zeros((1, 1, 3), np.uint8), [(0.0, 0.0), (1e6, -1e6), (-1e6, 1e6)], width)
    assert window.pixels.shape == (READER_HEIGHT, READER_WIDTH, 4)


@settings(max_examples=60, deadline=None)
@given(x=st.integers(60, 300), y=st.integers(60, 200), side=st.integers(3, 50), tall=st.floats(0.3, 3))
def test_the_plate_fills_its_window_but_for_a_margin(x, y, side, tall):
    rgb = square((400, 300), x, y, 2 * side)
    # The board's box, as wide or as tall as the painted square at its longer side.
    half_w, half_h = (side, side * tall) if tall <= 1 else (side / tall, side)
    window = plate_window(rgb, Box(x - half_w, y - half_h, x + half_w, y + half_h))
    assert window.pixels.shape == (PLATE_SIDE, PLATE_SIDE, 3)
    lit = window.pixels[PLATE_SIDE // 2, :, 0] > (255 + GREY) / 2
    assert lit.sum() == pytest.approx(PLATE_SIDE / 1.3, abs=2.5)
    assert centroid(window.pixels) == pytest.approx((PLATE_SIDE / 2, PLATE_SIDE / 2), abs=1.5)


def test_a_plate_without_size_or_outside_the_picture_still_has_a_window():
    rgb = np.zeros((20, 20, 3), np.uint8)
    assert plate_window(rgb, Box(5, 5, 5, 5)).pixels.shape == (PLATE_SIDE, PLATE_SIDE, 3)
    assert (plate_window(rgb, Box(500, 500, 520, 520)).pixels == GREY).all()
