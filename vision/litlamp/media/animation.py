"""Moving pictures in the formats of stills (GIF, WebP, PNG, AVIF), by Pillow, one at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import BinaryIO

import numpy as np
from PIL import AvifImagePlugin, GifImagePlugin, Image, PngImagePlugin, WebPImagePlugin

from litlamp.media.clip_frame import Moment, too_large
from litlamp.media.decoders import overheard
from litlamp.media.errors import MediaError
from litlamp.media.frame import Pixels
from litlamp.media.planes import Packed

_OPENERS: dict[str, Callable[[BinaryIO], Image.Image]] = {
    "GIF": GifImagePlugin.GifImageFile,
    "PNG": PngImagePlugin.PngImageFile,
    "WebP": WebPImagePlugin.WebPImageFile,
    "AVIF": AvifImagePlugin.AvifImageFile,
}

_MID_GREY = (
    128,
    128,
    128,
    255,
)  # as the door for stills: black would look like a dark head, white like a lit
_TICK = Fraction(1, 1_000_000)  # Pillow gives ms, and fractions of them for PNG


def animation_moments(file: BinaryIO, name: str, pixel_limit: int, notes: list[str]) -> Iterator[Moment]:
    """Every picture, each with the sum of the durations before it as its time.

    Raises
    ------
    MediaError
        Damaged from the first picture on, a still, or over `pixel_limit`.
    """
    image: Image.Image | None = None
    at, index = Fraction(0), 0
    try:
        while True:
            try:
                with overheard():
                    if image is None:
                        image = _opened(file, name, pixel_limit)
                    else:
                        image.seek(index)
                    pixels, transparent = _pixels(image)
                    lasts = Fraction(image.info.get("duration") or 0) / 1000
            except EOFError:
                return
            except MediaError:
                raise
            except MemoryError:
                raise MediaError("there is not enough memory for this picture") from None
            except Exception as error:  # decoders of untrusted bytes fail in every way there is
                if index == 0:
                    raise MediaError(f"this {name} file is damaged or cut off") from error
                notes.append(f"this {name} file is damaged or cut off after {index} pictures")
                return
            said = ("laid over mid grey where transparent",) if transparent else ()
            yield Moment(Packed(pixels), round(at / _TICK), _TICK, said)
            at += lasts
            index += 1
    finally:
        if image is not None:
            image.close()


def is_animation(file: BinaryIO, name: str) -> bool:
    """Whether a file of this format holds a moving picture; one that cannot be opened holds none."""
    try:
        with overheard():
            return int(getattr(_OPENERS[name](file), "n_frames", 1)) > 1
    except Exception:  # decoders of untrusted bytes fail in every way there is
        return False


def _opened(file: BinaryIO, name: str, pixel_limit: int) -> Image.Image:
    image = _OPENERS[name](file)
    width, height = image.size
    if width * height > pixel_limit:
        raise MediaError(too_large(width, height, pixel_limit))
    if int(getattr(image, "n_frames", 1)) < 2:
        raise MediaError(f"this is a photograph ({name}), not a clip")
    return image


def _pixels(image: Image.Image) -> tuple[Pixels, bool]:
    if image.mode == "RGB":
        return np.array(image), False
    full = image.convert("RGBA")
    if full.getchannel("A").getextrema() == (255, 255):
        return np.array(full.convert("RGB")), False
    return np.array(Image.alpha_composite(Image.new("RGBA", full.size, _MID_GREY), full).convert("RGB")), True
