"""Animations against Pillow's own pictures and FFmpeg's decoder of GIF."""

from __future__ import annotations

import io
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from litlamp.media.clip import MediaError, open_clip

av = pytest.importorskip("av")

DURATIONS = [100, 40, 250, 100, 70]


def pictures() -> list[Image.Image]:
    dice = np.random.default_rng(6)
    palette = dice.integers(0, 256, (16, 3), dtype=np.uint8)
    return [Image.fromarray(palette[dice.integers(0, 16, (30, 44))]) for _ in DURATIONS]


def saved(kind: str, **how: object) -> bytes:
    out = io.BytesIO()
    first, *rest = pictures()
    lossless = {"WEBP": {"lossless": True, "exact": True}, "AVIF": {"quality": 100, "subsampling": "4:4:4"}}
    first.save(
        out, kind, save_all=True, append_images=rest, duration=DURATIONS, **{**lossless.get(kind, {}), **how}
    )
    return out.getvalue()


@pytest.mark.parametrize("kind", ["GIF", "WEBP", "PNG", "AVIF"])
def test_pictures_and_times(kind: str) -> None:
    with open_clip(saved(kind)) as clip:
        frames = list(clip)
    assert clip.times_fault is None
    assert clip.size == (44, 30)
    times = [f.time.pts * f.time.time_base for f in frames]
    assert times == [Fraction(sum(DURATIONS[:i]), 1000) for i in range(len(DURATIONS))]
    for frame, picture in zip(frames, pictures(), strict=True):
        error = np.abs(frame.rgb().astype(int) - np.asarray(picture))
        assert error.mean() < (2 if kind == "AVIF" else 1e-9)
        assert np.abs(frame.luma.astype(int) - np.asarray(picture.convert("L"))).mean() < 2
        assert frame.luma_span == (0, 255)


def test_gif_like_ffmpeg() -> None:
    data = saved("GIF")
    with av.open(io.BytesIO(data), format="gif") as container:
        theirs = [(float(f.time), f.to_ndarray(format="rgb24")) for f in container.decode(video=0)]
    with open_clip(data) as clip:
        ours = [(f.time.seconds, f.rgb()) for f in clip]
    assert [t for t, _ in ours] == pytest.approx([t for t, _ in theirs])
    for (_, one), (_, other) in zip(ours, theirs, strict=True):
        assert np.array_equal(one, other)


def test_the_real_gifs_like_ffmpeg(real: Path) -> None:
    for path in sorted((real / "clips").glob("*.gif")):
        with av.open(str(path)) as container:
            theirs = [(float(f.time), f.to_ndarray(format="rgb24")) for f in container.decode(video=0)]
        with open_clip(path) as clip:
            ours = [(f.time.seconds, f.rgb()) for f in clip]
        assert [t for t, _ in ours] == pytest.approx([t for t, _ in theirs], abs=0.011)
        assert np.abs(ours[-1][1].astype(int) - theirs[-1][1]).mean() < 0.5


def test_no_durations_give_no_rate() -> None:
    out = io.BytesIO()
    first, *rest = pictures()
    first.save(out, "GIF", save_all=True, append_images=rest, duration=0)
    with open_clip(out.getvalue()) as clip:
        assert len(list(clip)) == 5
    assert clip.times_fault == "the times of this clip's frames do not increase"


def test_transparency_is_laid_over_mid_grey() -> None:
    clear = Image.new("RGBA", (8, 8), (255, 0, 0, 0))
    solid = Image.new("RGBA", (8, 8), (0, 200, 0, 255))
    out = io.BytesIO()
    clear.save(out, "WEBP", save_all=True, append_images=[solid], duration=50, lossless=True, exact=True)
    with open_clip(out.getvalue()) as clip:
        first, second = list(clip)
    assert (first.rgb() == 128).all()
    assert first.conversions == ("laid over mid grey where transparent",)
    assert tuple(second.rgb()[0, 0]) == (0, 200, 0)


def test_cut_off_gives_what_it_has() -> None:
    data = saved("GIF")
    with open_clip(data[: len(data) * 6 // 10]) as clip:
        frames = list(clip)
    assert 1 <= len(frames) <= 3
    assert np.array_equal(frames[0].rgb(), np.asarray(pictures()[0]))


def test_sentences() -> None:
    with pytest.raises(MediaError, match="damaged or cut off"):
        open_clip(saved("GIF")[:20])
    with pytest.raises(MediaError, match="44 x 30 pixels"):
        open_clip(saved("WEBP"), pixel_limit=1000)
