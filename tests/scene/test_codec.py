"""Saving: JPEG, resizing and the likeness of a video coder."""

import io
from typing import Any

import numpy as np
import pytest
import scipy.fft
from PIL import Image

from litlamp.scene import codec
from litlamp.scene.codec import Saving, jpeg, save, video

Pixels = np.ndarray[Any, Any]


def _picture(h: int = 96, w: int = 120) -> Pixels:
    rng = np.random.default_rng(0)
    y, x = np.mgrid[:h, :w]
    base = 90 + 50 * np.sin(x / 9) + 40 * np.cos(y / 13 + x / 30)
    picture = np.clip(base[..., None] + rng.normal(0, 6, (h, w, 3)), 0, 255).astype(np.uint8)
    picture[30:36, 40:46] = (230, 30, 30)
    picture.setflags(write=False)
    return picture


def _error(a: Pixels, b: Pixels) -> float:
    return float(np.sqrt(((a.astype(float) - b.astype(float)) ** 2).mean()))


def test_lower_quality_costs_more() -> None:
    picture = _picture()
    errors = [_error(jpeg(picture, q), picture) for q in (95, 75, 50, 30)]
    assert errors == sorted(errors)


@pytest.mark.parametrize("quality", [40, 75, 92])
def test_a_save_is_as_good_as_another_codec_says(quality: int) -> None:
    """ITU-T T.81 as done by Pillow at the same quality: the error is the same within a tenth."""
    picture = _picture()
    file = io.BytesIO()
    Image.fromarray(picture).save(file, "JPEG", quality=quality, subsampling="4:2:0")
    other = np.asarray(Image.open(file).convert("RGB"))
    assert _error(jpeg(picture, quality, "420"), picture) == pytest.approx(_error(other, picture), rel=0.1)


def test_colours_keep_their_order() -> None:
    picture = np.tile(np.array([200, 40, 20], np.uint8), (32, 32, 1))
    for out in (jpeg(picture, 95), video(picture, 10), save(picture, Saving((90, 80), resized=0.7))):
        assert np.abs(out[16, 16].astype(int) - picture[16, 16]).max() < 12


def test_small_lamps_lose_colour_when_colour_is_halved() -> None:
    picture = np.full((48, 48, 3), 30, np.uint8)
    picture[21:23, 21:23] = (240, 20, 20)
    full, halved = (jpeg(picture, 90, s)[21:23, 21:23] for s in ("444", "420"))
    assert _error(full, picture[21:23, 21:23]) < _error(halved, picture[21:23, 21:23])


@pytest.mark.parametrize(
    "saving",
    [
        Saving(),
        Saving(()),
        Saving((50, 80), "444", (3, 11)),
        Saving((60,), "422", (15, 1), 0.6),
        Saving((90,), video=20.0, shift=(5, 5)),
    ],
)
@pytest.mark.parametrize("size", [(96, 120), (17, 5), (1, 1)])
def test_size_stays_and_the_input_too(saving: Saving, size: tuple[int, int]) -> None:
    picture = np.array(_picture()[: size[0], : size[1]])
    before = picture.copy()
    out = save(picture, saving)
    assert out.shape == picture.shape
    assert out.dtype == np.uint8
    assert np.array_equal(picture, before)
    assert not np.shares_memory(out, picture) or np.array_equal(out, picture)


def test_the_grid_moves() -> None:
    """The blocks of a coarse save begin where the shift says."""
    y, x = np.mgrid[:64, :64]
    slope = np.repeat((x * 3 + y // 2)[..., None], 3, 2).astype(np.uint8)
    for shift in (0, 3):
        luma = save(slope, Saving((10,), "444", (shift, 0))).astype(int).mean(2)
        jumps = np.abs(np.diff(luma, axis=1)).mean(0)
        edges = [np.mean(jumps[(7 - s) % 8 :: 8]) for s in range(8)]
        assert int(np.argmax(edges)) == shift


def test_the_transform_is_the_discrete_cosine() -> None:
    """DCT-II, orthonormal, as scipy does it."""
    block = np.random.default_rng(0).normal(size=(8, 8))
    ours = codec._cosines() @ block @ codec._cosines().T
    assert ours == pytest.approx(scipy.fft.dctn(block, norm="ortho"), abs=1e-5)


def test_a_coarser_video_costs_more_and_flat_stays_flat() -> None:
    picture = _picture()
    errors = [_error(video(picture, s), picture) for s in (4, 12, 40)]
    assert errors == sorted(errors)
    flat = np.full((40, 40, 3), 117, np.uint8)
    assert np.ptp(video(flat, 20)) == 0


def test_deblocking_softens_block_edges() -> None:
    plane = np.repeat(np.repeat(np.array([[100, 108], [104, 112]], np.float32), 8, 0), 8, 1)
    out = codec._deblocked(plane.copy(), 20.0)
    assert abs(out[0, 8] - out[0, 7]) < 8
    real = np.repeat(np.repeat(np.array([[20, 200], [20, 200]], np.float32), 8, 0), 8, 1)
    assert np.array_equal(codec._deblocked(real.copy(), 20.0), real)
