"""The scan proposes lit lamps of every size and light, quickly, and ranks them above clutter."""

from __future__ import annotations

import time

import cv2
import numpy as np
import pytest

from litlamp.scene.compose import training_sample
from litlamp.sight import scan as scanning
from litlamp.sight.beside import workers
from litlamp.sight.scan import HUES, scan

COLOURS = {"red": (255, 40, 30), "yellow": (255, 190, 40), "green": (40, 240, 190), "white": (235, 240, 255)}


def clutter(width: int, height: int, level: int, seed: int = 0) -> np.ndarray:
    """Cloudy ground with grain, uint8 R G B."""
    rng = np.random.default_rng(seed)
    coarse = rng.uniform(0.4, 1.0, (max(height // 24, 2), max(width // 24, 2), 3)).astype(np.float32)
    ground = cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC) * level
    ground += rng.normal(0, 1.5 + 0.01 * level, ground.shape)
    return np.clip(ground, 0, 255).astype(np.uint8)


def light(rgb: np.ndarray, x: float, y: float, diameter: float, colour: tuple[int, int, int]) -> np.ndarray:
    """A round lamp on a black disc twice as wide, added with soft edges."""
    yy, xx = np.mgrid[: rgb.shape[0], : rgb.shape[1]] + 0.5
    r = np.hypot(xx - x, yy - y)
    board = np.clip(1.1 * diameter - r + 0.5, 0, 1)[..., None]
    lamp = np.clip(diameter / 2 - r + 0.5, 0, 1)[..., None]
    out = rgb * (1 - board) + 20 * board
    return np.rint(out * (1 - lamp) + np.array(colour) * lamp).astype(np.uint8)


def hit(spots, x: float, y: float, diameter: float):
    """The first spot on the lamp, or None."""
    near = max(4.0, diameter / 2)
    return next((s for s in spots if np.hypot(s.x - x, s.y - y) <= near), None)


# A white light of 3 px by day is left out: all that is pale and small looks like it.
CASES = [
    (colour, diameter, level)
    for colour in COLOURS
    for diameter in (3, 5, 9, 20, 45, 110)
    for level in (6, 60, 190)
    if (colour, diameter) != ("white", 3) or level == 6
]


@pytest.mark.parametrize(("colour", "diameter", "level"), CASES)
def test_a_lamp_of_any_size_colour_and_light_is_proposed(colour, diameter, level):
    x, y = 301.3, 207.8
    rgb = light(clutter(640, 480, level), x, y, diameter, COLOURS[colour])
    spot = hit(scan(rgb), x, y, diameter)
    assert spot is not None
    assert 0.4 * diameter <= spot.diameter <= 2.5 * max(diameter, 2)


def test_a_clipped_core_with_a_coloured_ring_is_proposed():
    rgb = light(clutter(640, 480, 20), 200, 200, 24, (255, 40, 30))
    rgb = np.maximum(rgb, light(np.zeros_like(rgb), 200, 200, 15, (255, 250, 240)))
    assert hit(scan(rgb), 200, 200, 24) is not None


@pytest.mark.parametrize("size", [(64, 64), (64, 48), (333, 250), (1921, 1083), (4000, 3000), (3000, 700)])
def test_a_small_lamp_survives_every_reduction(size):
    w, h = size
    for shift in (0.0, 0.5, 1.0, 1.5):
        x, y = w * 0.6 + shift, h * 0.4 + shift
        rgb = light(clutter(64, 64, 70), 32 + x % 1, 32 + y % 1, 3, COLOURS["red"])
        whole = clutter(w, h, 70) if (w, h) != (64, 64) else np.full((64, 64, 3), 70, np.uint8)
        x0, y0 = int(x), int(y)
        piece = rgb[26:38, 26:38]
        whole[y0 - 6 : y0 + 6, x0 - 6 : x0 + 6] = piece
        assert hit(scan(whole), x, y, 3) is not None


def test_best_first_no_more_than_the_limit_and_apart():
    rgb = clutter(800, 600, 200, seed=4)
    spots = scan(rgb, limit=10)
    assert len(spots) <= 10
    assert list(spots) == sorted(spots, key=lambda s: -s.strength)
    for i, s in enumerate(spots):
        assert s.hue in HUES
        assert s.diameter > 0
        assert 0 <= s.x <= 800 and 0 <= s.y <= 600
        assert all(np.hypot(s.x - t.x, s.y - t.y) >= 2 for t in spots[:i])
    assert spots == scan(rgb)[: len(spots)]


def test_nothing_stands_out_of_an_even_picture():
    for level in (0, 128, 255):
        assert scan(np.full((200, 300, 3), level, np.uint8)) == ()


@pytest.mark.parametrize("shape", [(1, 1), (2, 500), (3, 3), (5, 4000), (4000, 5), (10, 10)])
def test_odd_shapes_are_stood(shape):
    rng = np.random.default_rng(1)
    scan(rng.integers(0, 255, (*shape, 3), np.uint8))


def test_the_picture_is_not_written_to_and_need_not_be_contiguous():
    rgb = clutter(400, 300, 150)
    rgb.flags.writeable = False
    assert scan(rgb[:, ::-1]) == scan(np.ascontiguousarray(rgb[:, ::-1]))


def test_other_arrays_are_refused():
    with pytest.raises(ValueError, match="uint8"):
        scan(np.zeros((10, 10), np.uint8))
    with pytest.raises(ValueError, match="uint8"):
        scan(np.zeros((10, 10, 3), np.float32))  # type: ignore[arg-type]


def test_rendered_lamps_are_proposed():
    """On renders of seeds that the ranking was not fitted on."""
    found = n = 0
    for seed in range(40):
        rgb, truth = training_sample(91_000 + seed, (480, 360))
        spots = scan(rgb)
        for signal in truth.signals:
            for head in signal.heads:
                x, y = head.centre
                inside = 2 <= x < 478 and 2 <= y < 358
                if signal.facing and head.lit and head.visible > 0.9 and head.diameter >= 3 and inside:
                    n += 1
                    found += hit(spots, x, y, head.diameter) is not None
    assert n > 30
    assert found / n >= 0.92


def test_no_dearer_than_decoding_the_picture():
    """Both measured here, by turns, so that a busy machine does not fail it; measured about 1.6."""
    rgb = clutter(1920, 1080, 180)
    data = cv2.imencode(".jpg", rgb)[1]
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        took = [(_seconds(lambda: scan(rgb)), _seconds(lambda: cv2.imdecode(data, 1))) for _ in range(7)]
    finally:
        cv2.setNumThreads(threads)
    assert min(a for a, _ in took) < 3.5 * min(b for _, b in took)


def _seconds(work):
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


@pytest.mark.parametrize("shape", [(1001, 1203), (2999, 1500), (40, 3000)])
def test_neither_strips_nor_who_does_them_change_what_is_found(shape, monkeypatch):
    rng = np.random.default_rng(4)
    small = rng.integers(0, 255, (max(shape[0] // 6, 3), shape[1] // 6, 3), np.uint8)
    rgb = cv2.resize(small, shape[::-1], interpolation=cv2.INTER_CUBIC)
    spots = scan(rgb)
    assert spots
    with workers(2) as others:
        assert scan(rgb, others=others) == spots
    for strip in (1, 10_000, 10_000_000):
        monkeypatch.setattr(scanning, "STRIP", strip)
        assert scan(rgb) == spots
