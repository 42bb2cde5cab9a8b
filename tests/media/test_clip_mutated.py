"""Damaged clips of every kind: frames or one MediaError, never another exception, never a crash."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from litlamp.box import Box
from litlamp.media.clip import MediaError, open_clip

pytest.importorskip("av")

EACH = 60  # x 9 kinds = 540 clips

KINDS = {
    "a.mp4": {"codec": "libx264"},
    "b.mov": {"codec": "mpeg4"},
    "c.mkv": {"codec": "libx264"},
    "d.webm": {"codec": "libvpx-vp9"},
    "e.avi": {"codec": "mpeg4"},
    "f.ts": {"codec": "mpeg2video"},
    "g.mp4": {"codec": "libx265"},
}


def _planes(index: int) -> list[np.ndarray]:
    # Not under 64 px: the encoder of H.265 writes beyond its memory for pictures smaller than its block.
    dice = np.random.default_rng(index)
    return [dice.integers(16, 235, s, dtype=np.uint8) for s in ((64, 96), (32, 48), (32, 48))]


def _mutated(data: bytes, dice: random.Random) -> bytes:
    """Flipped bits, overwritten runs, a cut, a repeat, a hole, a lie in a size."""
    out = bytearray(data)
    for _ in range(dice.choice((1, 1, 2, 8))):
        at = dice.randrange(len(out) + 1)
        if dice.random() < 0.4:  # headers and the index at the end are where the surprises are
            at = dice.choice(
                (dice.randrange(min(800, len(out) + 1)), max(len(out) - dice.randrange(1, 900), 0))
            )
        blow = dice.randrange(6)
        if blow == 0 and at < len(out):
            out[at] ^= 1 << dice.randrange(8)
        elif blow == 1:
            out[at : at + 8] = bytes(dice.randrange(256) for _ in range(8))
        elif blow == 2:
            del out[at:]
        elif blow == 3:
            out[at:at] = out[at : at + dice.randrange(1, 2000)]
        elif blow == 4:
            del out[at : at + dice.randrange(1, 500)]
        else:
            out[at : at + 4] = dice.choice((b"\xff" * 4, bytes(4), b"\x7f\xff\xff\xff", b"\0\0\xff\xff"))
    return bytes(out)


def _try(data: bytes) -> int:
    """Frames read, or -1 if the clip was refused."""
    given = 0
    try:
        with open_clip(data, pixel_limit=1_000_000, threads=1) as clip:
            for frame in clip:
                width, height = frame.size
                assert frame.luma.shape == (height, width)
                assert frame.luma.dtype == np.uint8
                assert frame.rgb(Box(0, 0, min(8, width), min(8, height))).dtype == np.uint8
                given += 1
            assert all("\n" not in note for note in clip.notes)
    except MediaError as error:
        assert error.sentence
        assert "\n" not in error.sentence
        return -1
    assert given
    return given


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_damaged_clip_is_frames_or_one_error(
    kind: str, write_clip: Callable[..., Path], tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    how = {**KINDS[kind], "options": {"g": "4", "log-level": "none"}}
    if KINDS[kind]["codec"] == "libx265":
        how["options"] = {"x265-params": "keyint=4:log-level=none"}
    sound = write_clip(tmp_path / kind, [_planes(i) for i in range(10)], **how).read_bytes()
    capfd.readouterr()
    assert _try(sound) == 10
    dice = random.Random(f"{kind} 2")
    outcomes = [_try(_mutated(sound, dice)) for _ in range(EACH)]
    assert outcomes.count(-1) < EACH
    assert max(outcomes) >= 9
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize("kind", ["GIF", "WEBP"])
def test_a_damaged_animation_is_frames_or_one_error(
    kind: str, damaged: Callable[[str, int], Iterator[bytes]], capfd: pytest.CaptureFixture[str]
) -> None:
    import io

    from PIL import Image

    pictures = [Image.fromarray(np.dstack(_planes(i)[:1] * 3)) for i in range(4)]
    out = io.BytesIO()
    pictures[0].save(out, kind, save_all=True, append_images=pictures[1:], duration=80)
    dice = random.Random(f"{kind} 2")
    outcomes = [_try(_mutated(out.getvalue(), dice)) for _ in range(EACH)]
    outcomes += [_try(data) for data in damaged(kind, EACH)]  # stills, and other files spliced in
    assert -1 in outcomes
    assert max(outcomes) >= 4
    assert capfd.readouterr().err == ""
