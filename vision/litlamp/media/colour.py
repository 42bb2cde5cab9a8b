"""ICC profiles: from the colours a file says it holds to sRGB."""

from __future__ import annotations

import io
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from litlamp.media.frame import LARGE, Pixels

# Which picture modes a profile of each colour space (ICC.1:2022, table 19) can speak for.
_SPACE_OF_MODE = {"RGB": "RGB", "L": "GRAY", "CMYK": "CMYK", "LAB": "Lab"}

# Two ways to sRGB are the same if no colour of a test lattice differs by more than this many codes.
_SAME = 2

_UNIT = 32767  # linear light 1.0 in 16 bits, with room above for what overshoots
_STRIP = 64  # rows at a time, so that the 16-bit half-way stays in the processor's cache
_AT_ONCE = 4  # strips of a large picture, at most


@dataclass(frozen=True, slots=True)
class _Way:
    """How a profile's colours become sRGB.

    `transform` is the colour engine's; `matrix` (linear profile RGB to linear sRGB) is the same, several
    times faster, where the profile has sRGB's curve; neither where the profile is sRGB itself.
    """

    name: str
    transform: ImageCms.ImageCmsTransform | None = None
    matrix: NDArray[np.float32] | None = None


def to_srgb(image: Image.Image, profile: bytes | None) -> tuple[Pixels, str | None]:
    """An opaque picture (mode L, RGB, CMYK or LAB) as sRGB pixels, and what was done, if anything.

    Without a profile RGB and grey are taken as sRGB, and CMYK by the plain complement. A profile that is
    damaged or does not fit the picture is left aside and the note says so.

    Returns
    -------
    (uint8 (H, W, 3), colour order R G B; note or None)
    """
    if image.mode == "RGB":
        return rgb_to_srgb(np.array(image), profile)
    if image.mode == "L" and profile is not None and profile[16:20] == b"RGB ":
        # A grey picture saved with its camera's RGB profile.
        return rgb_to_srgb(np.array(image.convert("RGB")), profile)
    if image.mode == "LAB" and profile is None:
        profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    if profile is None:
        note = "CMYK without a profile to RGB by complement" if image.mode == "CMYK" else None
        return np.array(image.convert("RGB")), note
    try:
        way = _way(profile, image.mode)
    except ValueError as error:
        if image.mode == "LAB":  # there is no plain way from Lab
            raise
        return np.array(image.convert("RGB")), f"ICC profile left aside ({error})"
    return _transformed(image, way), _note(way)


def rgb_to_srgb(pixels: Pixels, profile: bytes | None) -> tuple[Pixels, str | None]:
    """The same for RGB pixels; the array given is handed back where nothing is to be done."""
    if profile is None:
        return pixels, None
    try:
        way = _way(profile, "RGB")
    except ValueError as error:
        return pixels, f"ICC profile left aside ({error})"
    if way.matrix is not None:
        return _by_matrix(pixels, way.matrix), _note(way)
    if way.transform is not None:
        return _transformed(Image.fromarray(pixels), way), _note(way)
    return pixels, None


def _note(way: _Way) -> str:
    return f"{way.name} to sRGB by ICC profile"


def _transformed(image: Image.Image, way: _Way) -> Pixels:
    assert way.transform is not None
    return np.array(ImageCms.applyTransform(image, way.transform))


@lru_cache(maxsize=16)
def _way(profile: bytes, mode: str) -> _Way:
    """Raises ValueError where the profile is damaged or does not fit the mode."""
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        if source.profile.xcolor_space.strip() != _SPACE_OF_MODE[mode]:
            raise ValueError("profile of another colour space")
        said = source.profile.profile_description or "unnamed profile"
        transform = ImageCms.buildTransform(source, _srgb(), mode, "RGB")
    except (ImageCms.PyCMSError, OSError, TypeError, AttributeError) as error:
        raise ValueError("damaged profile") from error
    name = "".join(c if c.isprintable() else " " for c in said).strip()[:60]
    if mode != "RGB":
        return _Way(name, transform)
    # What a profile does to a lattice and to the greys tells what it is; its name does not.
    steps = np.linspace(0, 255, 9).astype(np.uint8)
    greys = np.repeat(np.arange(256, dtype=np.uint8), 3).reshape(256, 3)
    lattice = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3)
    tried = np.concatenate([lattice, greys])[None]
    there = _transformed(Image.fromarray(tried), _Way(name, transform))
    if _alike(there, tried):
        return _Way(name)
    matrix = _matrix(source.profile)
    if matrix is not None and _alike(there, _by_matrix(tried, matrix)):
        return _Way(name, transform, matrix)
    return _Way(name, transform)


def _alike(one: Pixels, other: Pixels) -> bool:
    return int(np.abs(one.astype(int) - other).max()) <= _SAME


@lru_cache(maxsize=1)
def _srgb() -> ImageCms.ImageCmsProfile:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))


def _matrix(profile: Any) -> NDArray[np.float32] | None:
    """From linear RGB of the profile to linear sRGB, by the colorants of both (each adapted to D50)."""
    ours, theirs = _colorants(_srgb().profile), _colorants(profile)
    if ours is None or theirs is None:
        return None
    return np.asarray(np.linalg.solve(ours, theirs), dtype=np.float32)


def _colorants(profile: Any) -> NDArray[np.float64] | None:
    columns = (profile.red_colorant, profile.green_colorant, profile.blue_colorant)
    return None if None in columns else np.array([xyz for xyz, _ in columns], dtype=float).T


@lru_cache(maxsize=1)
def _curves() -> tuple[NDArray[np.uint16], Pixels]:
    """sRGB's curve (IEC 61966-2-1), code to linear light in 16 bits and back."""
    code = np.arange(256) / 255
    linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    light = np.minimum(np.arange(65536) / _UNIT, 1.0)
    coded = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(linear * _UNIT).astype(np.uint16), np.round(coded * 255).astype(np.uint8)


def _by_matrix(pixels: Pixels, matrix: NDArray[np.float32]) -> Pixels:
    to_light, to_code = _curves()
    out = np.empty_like(pixels)

    def convert(top: int) -> None:
        light = cv2.transform(cv2.LUT(pixels[top : top + _STRIP], to_light), matrix)
        try:
            out[top : top + _STRIP] = cv2.LUT(light, to_code)
        except cv2.error:  # before OpenCV 5 the table of 65536 was not known
            out[top : top + _STRIP] = to_code[light]

    tops = range(0, pixels.shape[0], _STRIP)
    if pixels.shape[0] * pixels.shape[1] <= LARGE:
        for top in tops:
            convert(top)
    else:
        with ThreadPoolExecutor(min(os.cpu_count() or 1, _AT_ONCE)) as several:
            list(several.map(convert, tops))
    return out
