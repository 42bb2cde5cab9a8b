from __future__ import annotations

from fractions import Fraction

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.box import Box
from litlamp.media.clip_frame import ClipFrame
from litlamp.media.frame import Time
from litlamp.media.planes import Coding, Packed, Turn, YCbCr
from litlamp.sight.patches import part_of, patches

TIME = Time(0, Fraction(1, 30))


def smooth(height: int, width: int, seed: int = 1) -> np.ndarray:
    noise = np.random.default_rng(seed).normal(0, 1, (height, width)).astype(np.float32)
    return np.asarray(
        cv2.normalize(cv2.GaussianBlur(noise, (0, 0), 6), None, 40, 200, cv2.NORM_MINMAX), np.uint8
    )


def planar(turn: Turn | None = None, width: int = 192, height: int = 128) -> ClipFrame:
    y, cb, cr = smooth(height, width), smooth(height // 2, width // 2, 2), smooth(height // 2, width // 2, 3)
    cb, cr = 96 + cb // 4, 96 + cr // 4
    return ClipFrame(YCbCr(y, cb, cr, Coding(0.2126, 0.0722), turn or Turn()), TIME)


TURNS = [Turn(s, m, u) for s in (False, True) for m in (False, True) for u in (False, True)]


@pytest.mark.parametrize("turn", TURNS)
def test_a_whole_part_is_the_frame_itself(turn: Turn) -> None:
    frame = planar(turn)
    part = part_of(frame, Box(30, 20, 90, 70))
    assert np.array_equal(part.rgb, frame.rgb(Box(30, 20, 90, 70)))
    assert part.to_frame(0, 0) == (30, 20)


@pytest.mark.parametrize("by", [2, 4, 8])
@pytest.mark.parametrize("turn", TURNS)
def test_a_reduced_part_is_the_mean_of_what_it_covers(turn: Turn, by: int) -> None:
    frame = planar(turn)
    part = part_of(frame, Box(34, 18, 110, 90), by)
    h, w = part.rgb.shape[:2]
    x, y = (int(v) for v in part.to_frame(0, 0))
    full = frame.rgb(Box(x, y, x + by * w, y + by * h))
    mean = cv2.resize(full, (w, h), interpolation=cv2.INTER_AREA)
    assert np.abs(mean.astype(int) - part.rgb).mean() < 1.5
    assert x <= 34 and y <= 18


def test_a_reduced_part_of_rgb() -> None:
    rgb = np.dstack([smooth(96, 128, s) for s in (1, 2, 3)])
    part = part_of(ClipFrame(Packed(rgb), TIME), None, 4)
    assert np.abs(part.rgb.astype(int) - cv2.resize(rgb, (32, 24), interpolation=cv2.INTER_AREA)).max() <= 2


@given(
    st.floats(-50, 250),
    st.floats(-50, 200),
    st.floats(1, 300),
    st.floats(1, 300),
    st.sampled_from([1, 2, 4, 16]),
)
def test_any_box_that_touches_the_picture_has_a_part(x: float, y: float, w: float, h: float, by: int) -> None:
    frame = planar()
    box = Box(x, y, x + w, y + h)
    inside = box.clamp(*frame.size)
    if inside.width < 1 or inside.height < 1:
        return
    part = part_of(frame, box, by)
    assert part.rgb.dtype == np.uint8 and part.rgb.ndim == 3 and part.rgb.size > 0
    x0, y0 = part.to_frame(0, 0)
    assert x0 <= max(inside.x0, 0) + 1e-9 and y0 <= max(inside.y0, 0) + 1e-9


def test_a_box_beside_the_picture_has_none() -> None:
    with pytest.raises(ValueError, match="no pixel"):
        part_of(planar(), Box(-20, -20, -5, -5))


@pytest.mark.parametrize("turn", TURNS)
def test_patches_at_whole_places_are_crops(turn: Turn) -> None:
    frame = planar(turn)
    # 8 samples at a step of 1 round (40, 30) are the px from 36 to 44 and from 26 to 34.
    (one, two) = patches(frame, [(40, 30), (100, 70)], [1.0, 1.0], 8)
    assert np.abs(one.astype(int) - frame.rgb(Box(36, 26, 44, 34))).max() <= 3
    assert np.abs(two.astype(int) - frame.rgb(Box(96, 66, 104, 74))).max() <= 3


def test_patches_beyond_the_edge_repeat_it() -> None:
    frame = planar()
    (far,) = patches(frame, [(-500.0, 4.0)], [1.0], 8)
    assert np.ptp(far, axis=1).max() <= 3
    (at_edge,) = patches(frame, [(0.0, 64.0)], [1.0], 8)
    assert np.abs(at_edge[:, 4:].astype(int) - frame.rgb(Box(0, 60, 4, 68))).max() <= 3


def test_a_grey_stream_has_grey_patches() -> None:
    frame = ClipFrame(YCbCr(smooth(64, 96), None, None, Coding(0.2126, 0.0722)), TIME)
    (one,) = patches(frame, [(40, 30)], [1.5], 16)
    assert np.ptp(one, axis=2).max() <= 1  # rounding
    assert np.ptp(part_of(frame, None, 2).rgb, axis=2).max() <= 1


def test_ten_bits() -> None:
    y = smooth(64, 96).astype(np.uint16) * 4
    chroma = np.full((32, 48), 512, np.uint16)
    deep = ClipFrame(YCbCr(y, chroma, chroma, Coding(0.2126, 0.0722, bits=10)), TIME)
    flat = ClipFrame(
        YCbCr(*((p >> 2).astype(np.uint8) for p in (y, chroma, chroma)), Coding(0.2126, 0.0722)), TIME
    )
    assert np.abs(part_of(deep, None, 2).rgb.astype(int) - part_of(flat, None, 2).rgb).max() <= 2
    a, b = (patches(f, [(40, 30)], [1.0], 8)[0].astype(int) for f in (deep, flat))
    assert np.abs(a - b).max() <= 2
