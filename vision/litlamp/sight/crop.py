"""Windows cut for the networks, the same for training and for reading.

Each window keeps what undoes it: a point (u, v) of the window is (x0 + u / scale, y0 + v / scale) in
the picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.box import Box

Pixels = NDArray[np.uint8]

READER_WIDTH, READER_HEIGHT = 144, 384
READER_HEAD = 21.0
"""Width of a head in the reader's window, px."""
READER_TOP = 96.0
"""How far below the window's top edge the uppermost found head stands, px."""
PLATE_SIDE = 40
GREY = 114
STRIDE = 4
"""Px of the finder's window for each cell of its answer."""
LETTERS = ("A", "R", "L", "DV", "number", "other")
"""The plate reader's answers in order; "other" is a board with no readable letter, or no plate at all."""


@dataclass(frozen=True, slots=True)
class Window:
    """`pixels` uint8 (h, w, channels), R G B first; `scale` window px a picture px; (x0, y0) its corner."""

    pixels: Pixels
    x0: float
    y0: float
    scale: float

    def to_picture(self, u: float, v: float) -> tuple[float, float]:
        """The picture's point under a point of the window."""
        return self.x0 + u / self.scale, self.y0 + v / self.scale


def cut(rgb: Pixels, x0: float, y0: float, scale: float, width: int, height: int) -> Window:
    """A window of `width` x `height` px of the picture from (x0, y0), scaled; grey beyond its edges.

    Reduces by area means and enlarges bilinearly; only the pixels needed are touched.
    """
    h, w = rgb.shape[:2]
    if scale >= 1:
        matrix = np.array([[scale, 0, -x0 * scale], [0, scale, -y0 * scale]], np.float64)
        # warpAffine maps pixel centres; half a pixel aside keeps edges where area reduction does.
        matrix[:, 2] += (scale - 1) / 2
        left, top = max(int(x0) - 2, 0), max(int(y0) - 2, 0)
        right, low = min(int(x0 + width / scale) + 3, w), min(int(y0 + height / scale) + 3, h)
        if right <= left or low <= top:
            return Window(np.full((height, width, 3), GREY, np.uint8), x0, y0, scale)
        part = rgb[top:low, left:right]
        matrix[:, 2] += matrix[:, :2] @ np.array([left, top], np.float64)
        pixels = cv2.warpAffine(
            part, matrix, (width, height), flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT, borderValue=(GREY, GREY, GREY),
        )  # fmt: skip
        return Window(np.asarray(pixels, np.uint8), x0, y0, scale)
    out = np.full((height, width, 3), GREY, np.uint8)
    left, top = round(x0), round(y0)
    x1, y1 = left + round(width / scale), top + round(height / scale)
    cx0, cy0, cx1, cy1 = max(left, 0), max(top, 0), min(x1, w), min(y1, h)
    if cx1 > cx0 and cy1 > cy0:
        u0, v0 = round((cx0 - left) * scale), round((cy0 - top) * scale)
        u1, v1 = min(round((cx1 - left) * scale), width), min(round((cy1 - top) * scale), height)
        if u1 > u0 and v1 > v0:
            out[v0:v1, u0:u1] = cv2.resize(
                rgb[cy0:cy1, cx0:cx1], (u1 - u0, v1 - v0), interpolation=cv2.INTER_AREA
            )
    return Window(out, float(left), float(top), scale)


def reader_window(rgb: Pixels, points: Sequence[tuple[float, float]], head_width: float) -> Window:
    """The signal reader's window: uint8 (384, 144, 4), the fourth channel marks the heads found.

    Beside the marks that channel holds how large the heads were in the picture, `size_code`: enlarged or
    not, all windows show them equally wide, and only this tells what could have been made out.

    Parameters
    ----------
    points : where the heads were found, px in the picture, at least one.
    head_width : the usual width of those heads, px.
    """
    scale = READER_HEAD / max(head_width, 1.0)
    x = float(np.mean([p[0] for p in points])) - READER_WIDTH / 2 / scale
    y = min(p[1] for p in points) - READER_TOP / scale
    window = cut(rgb, x, y, scale, READER_WIDTH, READER_HEIGHT)
    marks = np.full((READER_HEIGHT, READER_WIDTH), size_code(head_width), np.uint8)
    for px, py in points:
        u, v = (px - window.x0) * scale, (py - window.y0) * scale
        if -50 < u < READER_WIDTH + 50 and -50 < v < READER_HEIGHT + 50:
            cv2.circle(marks, (round(u * 16), round(v * 16)), 4 * 16, 255, -1, cv2.LINE_AA, 4)
    return Window(np.asarray(cv2.merge([window.pixels, marks]), np.uint8), window.x0, window.y0, scale)


def size_code(head_width: float) -> int:
    """A head's width in the picture, px, as a level of grey, 0 to 112: sixteen for each doubling."""
    return round(16 * float(np.clip(np.log2(max(head_width, 1.0)), 0, 7)))


def plate_window(rgb: Pixels, box: Box) -> Window:
    """The plate reader's window: uint8 (40, 40, 3), the plate and a margin, square."""
    cx, cy = box.centre
    side = max(box.width, box.height, 4.0) * 1.3
    return cut(rgb, cx - side / 2, cy - side / 2, PLATE_SIDE / side, PLATE_SIDE, PLATE_SIDE)
