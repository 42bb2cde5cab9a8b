"""Where things are, and files damaged on purpose, for every room's tests."""

from __future__ import annotations

import io
import random
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings
from PIL import Image

# How long an example takes hangs on what else the machine does, which is nothing a property can hold.
settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")

_ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def root() -> Path:
    """The folder of the checkout."""
    return _ROOT


@pytest.fixture(scope="session")
def real() -> Path:
    """The real photographs beside the checkout; the test is skipped where there are none."""
    folder = _ROOT.parent / "shared" / "real"
    if not folder.is_dir():
        pytest.skip("no real photographs beside the checkout")
    return folder


@pytest.fixture(scope="session")
def film() -> Callable[..., object]:
    """`film(pictures, fps=30, times=None)`: an open clip of these RGB arrays; `times` in thousandths."""
    from litlamp.media.clip import Clip
    from litlamp.media.clip_frame import Moment
    from litlamp.media.planes import Packed

    def make(pictures: Iterable[np.ndarray], fps: float = 30.0, times: Iterable[int] | None = None) -> Clip:
        base = Fraction(1, 1000)

        def moments() -> Iterator[Moment]:
            at = iter(times) if times is not None else (round(1000 * i / fps) for i in range(10**9))
            for rgb in pictures:
                yield Moment(Packed(rgb), next(at), base)

        return Clip(moments(), [], "film")

    return make


@pytest.fixture(scope="session")
def damaged() -> Callable[[str, int], Iterator[bytes]]:
    """`damaged(kind, count)`: so many damaged files of a kind (Pillow's name), the same ones every time."""
    sound = {kind: _sound(kind) for kind in ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "AVIF", "GIF")}

    def damage(kind: str, count: int) -> Iterator[bytes]:
        dice = random.Random(f"{kind} 1")
        for _ in range(count):
            yield _mutated(sound[kind], sound[dice.choice(sorted(sound))], dice)

    return damage


def _sound(kind: str) -> bytes:
    """A small valid file, with EXIF where the kind has it."""
    noise = np.random.default_rng(3).integers(0, 256, (5, 7, 3), dtype=np.uint8)
    picture = Image.fromarray(noise).resize((56, 40), Image.Resampling.BICUBIC)
    exif = Image.Exif()
    exif[0x0112] = 6
    out = io.BytesIO()
    picture.save(out, kind, **({} if kind in {"BMP", "GIF"} else {"exif": exif}))
    return out.getvalue()


def _mutated(data: bytes, other: bytes, dice: random.Random) -> bytes:
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
