"""The mast's line, its lean seen in pixels, and in line told from staggered."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.box import Box
from litlamp.sight.axis import MastLine, fit_axis, mast_direction, stagger

DEGREE = math.radians(1.0)


def heads(offsets: list[float], roll: float = 0.0, gap: float = 2.6, width: float = 20.0, wane: float = 1.0):
    """Heads of a signal, turned by `roll` radians; `offsets` are widths aside; `wane` shrinks each further
    up."""
    out, y = [], 0.0
    for aside in offsets:
        x = aside * width
        out.append((x * math.cos(roll) + y * math.sin(roll), y * math.cos(roll) - x * math.sin(roll), width))
        y += gap * width
        width *= wane
    return out


def drawn(roll: float, size: int = 200, night: bool = False) -> np.ndarray:
    """A mast with three heads, leaning by `roll`, before a mottled background."""
    rng = np.random.default_rng(3)
    ground = cv2.resize(
        rng.integers(80, 180, (25, 25, 3), np.uint8), (size, size), interpolation=cv2.INTER_CUBIC
    )
    picture = np.full_like(ground, 4) if night else ground
    fine = cv2.resize(picture, None, fx=4, fy=4, interpolation=cv2.INTER_CUBIC)
    across, along = np.array([math.cos(roll), -math.sin(roll)]), np.array([math.sin(roll), math.cos(roll)])
    middle = np.array([size / 2, size / 2])

    def board(aside: float, down: float, half: float, tall: float, shade: int) -> None:
        corners = [middle + across * (aside + a) + along * (down + b)
                   for a, b in ((-half, -tall), (half, -tall), (half, tall), (-half, tall))]  # fmt: skip
        cv2.fillPoly(fine, [np.round(np.array(corners) * 4).astype(np.int32)], (shade, shade, shade))

    if not night:
        board(0, 0, 3, size, 40)
        for down in (-60, 0, 60):
            board(0, down, 14, 20, 15)
    small = cv2.resize(fine, (size, size), interpolation=cv2.INTER_AREA).astype(float)
    return np.clip(small + rng.normal(0, 3, small.shape), 0, 255).astype(np.uint8)


@given(
    roll=st.floats(-5, 5),
    offsets=st.sampled_from([[0, 0], [0, 0, 0]]),
    gap=st.floats(1.5, 6),
    wane=st.floats(0.9, 1),
)
def test_in_line_stays_in_line_under_roll_with_the_mast_known(roll, offsets, gap, wane):
    seen = stagger(heads(offsets, roll * DEGREE, gap, wane=wane), MastLine(roll * DEGREE, 0.9))
    assert seen["vertical"] > 0.95


@given(
    roll=st.floats(-5, 5), side=st.sampled_from([-1, 1]), aside=st.floats(0.5, 0.8), gap=st.floats(1.5, 6),
    n=st.integers(2, 3),
)  # fmt: skip
def test_staggered_stays_staggered_under_roll_with_the_mast_known(roll, side, aside, gap, n):
    offsets = [side * aside * (-1) ** i for i in range(n)]
    seen = stagger(heads(offsets, roll * DEGREE, gap), MastLine(roll * DEGREE, 0.9))
    assert seen["staggered"] > 0.95


@given(
    points=st.lists(
        st.tuples(st.floats(-1, 1), st.floats(0, 8), st.floats(0.8, 1.2)), min_size=1, max_size=3
    ),
    shift=st.tuples(st.floats(-500, 500), st.floats(-500, 500)),
    scale=st.floats(0.2, 20),
)
def test_belief_sums_to_one_and_knows_no_place_or_scale(points, shift, scale):
    points = sorted(points, key=lambda p: p[1])
    here = stagger(points)
    there = stagger([(x * scale + shift[0], y * scale + shift[1], w * scale) for x, y, w in points])
    assert sum(here.values()) == pytest.approx(1.0)
    assert min(here.values()) >= 0
    assert there["staggered"] == pytest.approx(here["staggered"], abs=1e-6)


@given(aside=st.floats(-0.8, 0.8), gap=st.floats(1.5, 5))
def test_mirrored_heads_are_as_staggered(aside, gap):
    one = stagger(heads([aside, -aside, aside], gap=gap))
    other = stagger(heads([-aside, aside, -aside], gap=gap))
    assert one["staggered"] == pytest.approx(other["staggered"], abs=1e-9)


def test_two_far_heads_without_a_mast_line_are_less_sure_than_with_one():
    # Six widths apart and one aside: ten degrees of roll would do it, and so would a stagger.
    leaning = heads([0.4, -0.4], gap=7.0)
    assert stagger(leaning)["staggered"] < stagger(leaning, MastLine(0.0, 1.0))["staggered"]
    lean = math.atan2(-0.8, 7.0)
    assert stagger(leaning, MastLine(lean, 1.0))["vertical"] > 0.9


def test_one_head_has_no_stagger():
    assert stagger([(3, 4, 5)]) == {"vertical": 1.0, "staggered": 0.0}


@settings(max_examples=50)
@given(angle=st.floats(-0.2, 0.2), x=st.floats(0, 900), y=st.floats(0, 900), size=st.floats(4, 60))
def test_axis_ignores_a_stray(angle, x, y, size):
    steps = np.arange(5) * size * 2
    line = np.stack([x + steps * math.sin(angle), y + steps * math.cos(angle)], axis=1)
    points = np.concatenate([line, [[x + 3 * size, y + size]]])
    axis = fit_axis(points, np.full(6, size))
    assert axis.inliers == (True,) * 5 + (False,)
    assert axis.angle == pytest.approx(angle, abs=1e-6)
    assert axis.offset(*line[3]) == pytest.approx(0, abs=1e-6 * size + 1e-6)


def test_axis_agrees_with_the_sampling_fit_of_scikit_image():
    measure = pytest.importorskip("skimage.measure")
    rng = np.random.default_rng(4)
    for _ in range(20):
        down = np.sort(rng.uniform(0, 200, 7))
        points = np.stack([50 + 0.08 * down + rng.normal(0, 0.4, 7), down], axis=1)
        points[rng.integers(7)] += (60, 0)
        axis = fit_axis(points, np.full(7, 16.0))
        model, kept = measure.ransac(points, measure.LineModelND, 2, 4.0, max_trials=200, rng=1)
        assert axis.inliers == tuple(kept.tolist())
        residuals = [abs(axis.offset(*p)) for p in points]
        assert np.allclose(residuals, model.residuals(points), atol=1e-6)


def test_axis_of_one_point_is_upright_and_bad_shapes_are_refused():
    assert fit_axis([[3, 4]], [2]).angle == 0.0
    with pytest.raises(ValueError, match="needed"):
        fit_axis([[1, 2], [3, 4]], [1])
    with pytest.raises(ValueError, match="needed"):
        fit_axis(np.zeros((0, 2)), np.zeros(0))


@pytest.mark.parametrize("roll", [-6, -3.3, -1, 0, 0.7, 4, 6])
def test_the_lean_of_a_mast_is_seen(roll):
    rgb = drawn(roll * DEGREE)
    line = mast_direction(rgb, Box(70, 10, 130, 190))
    assert line is not None
    assert line.angle == pytest.approx(roll * DEGREE, abs=0.6 * DEGREE)


def test_no_mast_at_night_and_none_in_a_tiny_box():
    assert mast_direction(drawn(0, night=True), Box(70, 10, 130, 190)) is None
    assert mast_direction(drawn(0), Box(70, 10, 73, 14)) is None
