"""Damaged files of every kind: a frame or one MediaError, never another exception, never a crash."""

from __future__ import annotations

import io
import random

import numpy as np
import pytest
from PIL import Image

from litlamp.media.photo import MediaError, read_photo

KINDS = ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "AVIF", "GIF")
EACH = 120  # x 7 kinds = 840 files


def seeds() -> dict[str, bytes]:
    """A small valid file of each kind, with EXIF where the kind has it."""
    noise = np.random.default_rng(3).integers(0, 256, (5, 7, 3), dtype=np.uint8)
    picture = Image.fromarray(noise).resize((56, 40), Image.Resampling.BICUBIC)
    exif = Image.Exif()
    exif[0x0112] = 6
    files = {}
    for kind in KINDS:
        out = io.BytesIO()
        options = {} if kind in {"BMP", "GIF"} else {"exif": exif}
        picture.save(out, kind, **options)
        files[kind] = out.getvalue()
    return files


def mutated(data: bytes, other: bytes, dice: random.Random) -> bytes:
    """Flipped bits, overwritten runs, a cut, a splice with another file, a repeat, a lie in a size."""
    out = bytearray(data)
    for _ in range(dice.choice((1, 1, 2, 5))):
        if not out:
            break
        at = dice.randrange(len(out))
        # Headers are where the surprises are: half of all blows land there.
        at = dice.randrange(min(64, len(out))) if dice.random() < 0.5 else at
        blow = dice.randrange(6)
        if blow == 0:
            out[at] ^= 1 << dice.randrange(8)
        elif blow == 1:
            run = dice.randrange(1, 9)
            out[at : at + run] = bytes(dice.randrange(256) for _ in range(run))
        elif blow == 2:
            del out[at:]
        elif blow == 3:
            out[at:] = other[dice.randrange(len(other)) :]
        elif blow == 4:
            out[at:at] = out[at : at + dice.randrange(1, 64)]
        else:
            out[at : at + 4] = dice.choice((b"\xff" * 4, bytes(4), b"\x7f\xff\xff\xff", b"\0\0\xff\xff"))
    return bytes(out)


@pytest.mark.parametrize("kind", KINDS)
def test_a_damaged_file_is_a_frame_or_one_error(kind: str, capfd: pytest.CaptureFixture[str]) -> None:
    files, dice = seeds(), random.Random(f"{kind} 1")
    refused = 0
    for _ in range(EACH):
        other = files[dice.choice(KINDS)]
        try:
            frame = read_photo(mutated(files[kind], other, dice), pixel_limit=4_000_000)
        except MediaError as error:
            refused += 1
            assert error.sentence
            assert "\n" not in error.sentence
        else:
            assert frame.rgb.dtype == np.uint8
            assert frame.rgb.ndim == 3
            assert min(frame.rgb.shape) >= 1
    assert 0 < refused < EACH + 1
    assert capfd.readouterr().err == ""
