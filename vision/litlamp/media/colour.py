"""ICC profiles: from the colours a file says it holds to sRGB."""

from __future__ import annotations

import io
from functools import lru_cache

import numpy as np
from PIL import Image, ImageCms

# Which picture modes a profile of each colour space (ICC.1:2022, table 19) can speak for.
_SPACE_OF_MODE = {"RGB": "RGB", "L": "GRAY", "CMYK": "CMYK", "LAB": "Lab"}

# A profile that moves no colour of a test lattice by more than this many codes is sRGB, whatever its name.
_SAME = 2


@lru_cache(maxsize=16)
def _transform(profile: bytes, mode: str) -> tuple[ImageCms.ImageCmsTransform | None, str]:
    """The way to sRGB and the profile's name; no transform where the profile is sRGB already.

    Raises
    ------
    ValueError
        The profile is damaged or does not fit the mode.
    """
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        if source.profile.xcolor_space.strip() != _SPACE_OF_MODE[mode]:
            raise ValueError("profile of another colour space")
        name = " ".join((source.profile.profile_description or "unnamed profile").split())
        transform = ImageCms.buildTransform(source, _srgb(), mode, "RGB")
    except (ImageCms.PyCMSError, OSError, TypeError, AttributeError) as error:
        raise ValueError("damaged profile") from error
    if mode == "RGB":
        steps = np.linspace(0, 255, 9).astype(np.uint8)
        lattice = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(27, 27, 3)
        there = np.asarray(ImageCms.applyTransform(Image.fromarray(lattice), transform))
        if np.abs(there.astype(int) - lattice).max() <= _SAME:
            return None, name
    return transform, name


@lru_cache(maxsize=1)
def _srgb() -> ImageCms.ImageCmsProfile:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))


def to_srgb(image: Image.Image, profile: bytes | None) -> tuple[Image.Image, str | None]:
    """An opaque picture (mode L, RGB, CMYK or LAB) as sRGB "RGB", and what was done, if anything.

    Without a profile RGB and grey are taken as sRGB, and CMYK by the plain complement. A profile that is
    damaged or does not fit the picture is left aside and the note says so.
    """
    if profile is None:
        if image.mode == "LAB":
            profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
        else:
            note = "CMYK without a profile to RGB by complement" if image.mode == "CMYK" else None
            return image.convert("RGB"), note
    if image.mode == "L" and _is_rgb(profile):
        image = image.convert("RGB")  # a grey picture saved with its camera's RGB profile
    try:
        transform, name = _transform(profile, image.mode)
    except ValueError as error:
        if image.mode == "LAB":
            raise
        return image.convert("RGB"), f"ICC profile left aside ({error})"
    if transform is None:
        return image, None
    converted = ImageCms.applyTransform(image, transform)
    assert converted is not None  # only `inPlace` gives None
    return converted, f"{_printable(name)} to sRGB by ICC profile"


def is_srgb(profile: bytes) -> bool:
    """Whether an RGB picture with this profile needs no conversion."""
    try:
        return _transform(profile, "RGB")[0] is None
    except ValueError:
        return False


def _is_rgb(profile: bytes) -> bool:
    return profile[16:20] == b"RGB "


def _printable(name: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in name)[:60]
