"""A sheet to draw on: lines, boxes and words on an RGB array of its own."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from litlamp.box import Box

RGB = tuple[int, int, int]
Point = tuple[float, float]
Pixels = NDArray[np.uint8]

INK: RGB = (18, 21, 28)
PAPER: RGB = (242, 240, 232)

_SHIFT = 4  # cv2 takes sixteenths of a pixel
# The far ends of lines stay within what cv2's fixed-point coordinates can hold.
_FAR = 1 << 20


@cache
def _font(size: int) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size)
    if not isinstance(font, ImageFont.FreeTypeFont):
        raise RuntimeError("this Pillow was built without FreeType, which words on pictures need")
    return font


@cache
def _missing() -> bytes:
    return bytes(_font(32).getmask("\U0010ffff"))


def printable(words: str) -> str:
    """The words in the characters that Pillow's own font has: accents dropped, what it lacks as "?"."""
    plain = words.translate({0x2013: "-", 0x2014: "-", 0xD7: "x", 0xA0: " "})
    out = []
    for c in plain:
        if c.isascii():
            out.append(c if c.isprintable() else " ")
            continue
        if bytes(_font(32).getmask(c)) != _missing():
            out.append(c)
            continue
        base = unicodedata.normalize("NFKD", c).encode("ascii", "ignore").decode()
        out.append(base or "?")
    return "".join(out)


def text_width(words: str, size: int, bold: bool = False) -> int:
    """Width in px of one line of words at that size."""
    return int(np.ceil(_font(size).getlength(printable(words)))) + 2 * _weight(size, bold)


def line_height(size: int) -> int:
    """Height in px from one line to the next."""
    return round(1.24 * size)


def wrap(words: str, size: int, width: float, bold: bool = False) -> list[str]:
    """The words in lines no wider than `width` px, except where a single word is."""
    lines: list[str] = []
    for word in words.split(" "):  # a no-break space keeps its words together
        if lines and text_width(f"{lines[-1]} {word}", size, bold) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def _weight(size: int, bold: bool) -> int:
    # Pillow's font has one weight; a stroke round the letters makes the other.
    return max(1, round(size / 32)) if bold else 0


@dataclass(frozen=True, slots=True)
class Sheet:
    """`pixels` uint8 (H, W, 3) RGB; every method draws on it, and anything outside is left out."""

    pixels: Pixels

    @classmethod
    def blank(cls, width: int, height: int, colour: RGB = INK) -> Sheet:
        """A new sheet of one colour."""
        pixels = np.empty((height, width, 3), np.uint8)
        pixels[:] = colour
        return cls(pixels)

    @property
    def width(self) -> int:
        """In px."""
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        """In px."""
        return int(self.pixels.shape[0])

    def paste(self, picture: Pixels, x: int, y: int) -> None:
        """Lay a picture down with its top left corner at (x, y); it must fit."""
        h, w = picture.shape[:2]
        self.pixels[y : y + h, x : x + w] = picture

    def line(self, points: Sequence[Point], colour: RGB, width: float, closed: bool = False) -> None:
        """A line through the points."""
        scaled = np.clip(np.asarray(points, np.float64), -_FAR, _FAR) * (1 << _SHIFT)
        path = [np.rint(scaled).astype(np.int32)]
        cv2.polylines(self.pixels, path, closed, colour, max(1, round(width)), cv2.LINE_AA, _SHIFT)

    def cased(self, points: Sequence[Point], colour: RGB, width: float, closed: bool = False) -> None:
        """A line with a dark casing, to be seen on anything."""
        self.line(points, INK, 2.2 * width + 1, closed)
        self.line(points, colour, width, closed)

    def dashed(self, start: Point, end: Point, colour: RGB, width: float, dash: float) -> None:
        """A cased line in dashes."""
        (x0, y0), (x1, y1) = start, end
        length = float(np.hypot(x1 - x0, y1 - y0))
        count = max(1, min(int(length / (2 * dash)), 400))
        for i in range(count):
            a, b = i / count, (i + 0.55) / count
            self.cased(
                [(x0 + a * (x1 - x0), y0 + a * (y1 - y0)), (x0 + b * (x1 - x0), y0 + b * (y1 - y0))],
                colour,
                width,
            )

    def fill(self, box: Box, colour: RGB, opacity: float = 1.0) -> None:
        """Fill a rectangle."""
        inside = box.clamp(self.width, self.height)
        x0, y0, x1, y1 = (round(v) for v in (inside.x0, inside.y0, inside.x1, inside.y1))
        part = self.pixels[y0:y1, x0:x1]
        if part.size:
            part[:] = np.rint((1 - opacity) * part + opacity * np.asarray(colour)).astype(np.uint8)

    def frame(self, box: Box, colour: RGB, width: float) -> None:
        """Outline a rectangle, cased."""
        self.cased(
            [(box.x0, box.y0), (box.x1, box.y0), (box.x1, box.y1), (box.x0, box.y1)], colour, width, True
        )

    def text(
        self, x: float, y: float, words: str, size: int, colour: RGB = PAPER, bold: bool = False
    ) -> None:
        """One line of words, its top left corner at (x, y)."""
        plain = printable(words)
        weight = _weight(size, bold)
        canvas = Image.new("L", (max(1, text_width(words, size, bold)), line_height(size) + 2 * weight))
        ImageDraw.Draw(canvas).text(
            (weight, weight), plain, 255, _font(size), stroke_width=weight // 2 or weight
        )
        mask = np.asarray(canvas)
        left, top = round(x), round(y)
        x0, y0 = max(left, 0), max(top, 0)
        x1, y1 = min(left + mask.shape[1], self.width), min(top + mask.shape[0], self.height)
        if x0 >= x1 or y0 >= y1:
            return
        part = self.pixels[y0:y1, x0:x1]
        share = mask[y0 - top : y1 - top, x0 - left : x1 - left, None].astype(np.float32) / 255
        part[:] = np.rint(part + share * (np.asarray(colour, np.float32) - part)).astype(np.uint8)
