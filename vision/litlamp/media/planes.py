"""A decoded picture as its decoder left it: planes to look at without copying, RGB where it is asked for.

OpenCV is imported where RGB is made: a clip is being decoded by then, and need not wait for that.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from litlamp.box import Box
from litlamp.media.frame import Pixels
from litlamp.media.transfer import Curve, Primaries, to_srgb

Plane = NDArray[np.uint8] | NDArray[np.uint16]


@dataclass(frozen=True, slots=True)
class Turn:
    """How a stored picture comes upright: first the axes are swapped, then columns and rows reversed."""

    swapped: bool = False
    mirrored: bool = False
    upended: bool = False

    @classmethod
    def of_matrix(cls, matrix: NDArray[np.int32]) -> Turn | None:
        """From a display matrix (ISO/IEC 14496-12, 6.2.2: a b u c d v x y w); None where it is askew."""
        a, b, _, c, d = (int(v) for v in matrix[:5])
        if a and d and abs(b) + abs(c) < (abs(a) + abs(d)) / 50:
            return cls(False, a < 0, d < 0)
        if b and c and abs(a) + abs(d) < (abs(b) + abs(c)) / 50:
            return cls(True, c < 0, b < 0)
        return None

    def view(self, stored: NDArray[Any]) -> NDArray[Any]:
        """The array upright, without copying: (H, W, ...) to (H, W, ...) or (W, H, ...)."""
        if self.swapped:
            stored = stored.swapaxes(0, 1)
        return stored[:: -1 if self.upended else 1, :: -1 if self.mirrored else 1]

    def stored(self, window: Window, size: tuple[int, int]) -> Window:
        """Where a window of the upright picture of `size` (width, height) lies in the stored one."""
        width, height = size
        x0, y0, x1, y1 = window
        if self.mirrored:
            x0, x1 = width - x1, width - x0
        if self.upended:
            y0, y1 = height - y1, height - y0
        return (y0, x0, y1, x1) if self.swapped else (x0, y0, x1, y1)


Window = tuple[int, int, int, int]  # x0, y0, x1, y1 in whole px, the last two exclusive
UPRIGHT = Turn()


@dataclass(frozen=True, slots=True)
class Coding:
    """What the codes of the planes stand for.

    Attributes
    ----------
    kr, kb : the luma weights of red and blue (ITU-T H.273, table 4).
    full : codes span 0 to 2^bits - 1; else 16 to 235 (luma) and 16 to 240 (chroma), times 2^(bits - 8).
    centred : chroma samples lie amid their luma samples (JPEG); else level with the left one (MPEG).
    """

    kr: float
    kb: float
    full: bool = False
    bits: int = 8
    curve: Curve = "sdr"
    primaries: Primaries = "bt709"
    centred: bool = False

    def matrix(self, top: float) -> NDArray[np.float64]:
        """3 x 4, read-only: codes (Y, Cb, Cr, 1) to R'G'B' with `top` for 1.0."""
        return _matrix(self, top)

    def rgb(self, codes: NDArray[Any]) -> Pixels:
        """Codes (h, w, 3), Y Cb Cr, as sRGB, uint8 (h, w, 3)."""
        import cv2

        if self.bits == 8 and self.curve == "sdr" and self.primaries == "bt709":
            return np.asarray(cv2.transform(codes, self.matrix(255)), dtype=np.uint8)
        wide = cv2.transform(codes.astype(np.uint16, copy=False), self.matrix(65535))
        if self.curve == "sdr" and self.primaries == "bt709":
            return np.asarray(cv2.convertScaleAbs(wide, alpha=255 / 65535), dtype=np.uint8)
        return to_srgb(np.asarray(wide, dtype=np.uint16), self.curve, self.primaries)


@lru_cache(maxsize=16)
def _matrix(coding: Coding, top: float) -> NDArray[np.float64]:
    kr, kb, kg = coding.kr, coding.kb, 1 - coding.kr - coding.kb
    # E'Cb = (B' - Y') / (2 - 2 kb), E'Cr = (R' - Y') / (2 - 2 kr): H.273, equations 31 to 33 undone.
    to_rgb = np.array(
        [
            [1, 0, 2 - 2 * kr],
            [1, -(2 - 2 * kb) * kb / kg, -(2 - 2 * kr) * kr / kg],
            [1, 2 - 2 * kb, 0],
        ]
    )
    scale = 2.0 ** (coding.bits - 8)
    black, luma, chroma = (0.0, 256 * scale - 1, 256 * scale - 1)
    if not coding.full:
        black, luma, chroma = 16 * scale, 219 * scale, 224 * scale
    to_rgb = to_rgb @ np.diag([1 / luma, 1 / chroma, 1 / chroma])
    zero = np.array([black, 128 * scale, 128 * scale])
    made: NDArray[np.float64] = top * np.column_stack([to_rgb, -to_rgb @ zero])
    made.flags.writeable = False
    return made


@dataclass(frozen=True, slots=True, eq=False)
class YCbCr:
    """Planes as stored: luma and, unless grey, Cb and Cr of the same or a smaller size."""

    y: Plane
    cb: Plane | None
    cr: Plane | None
    coding: Coding
    turn: Turn = UPRIGHT

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) upright."""
        height, width = self.y.shape
        return (height, width) if self.turn.swapped else (width, height)

    def luma(self) -> Pixels:
        """Upright luma; a view, except of more than 8 bits."""
        return _eight_bit(self.turn.view(self.y), self.coding.bits)

    def chroma(self) -> tuple[Pixels, Pixels] | None:
        """Upright Cb and Cr at their own size, or None of a grey picture."""
        if self.cb is None or self.cr is None:
            return None
        bits = self.coding.bits
        return _eight_bit(self.turn.view(self.cb), bits), _eight_bit(self.turn.view(self.cr), bits)

    def luma_span(self) -> tuple[int, int]:
        """The codes of black and white."""
        return (0, 255) if self.coding.full else (16, 235)

    def rgb(self, window: Window) -> Pixels:
        """The window (upright px) in sRGB, upright."""
        stored = self.turn.stored(window, self.size)
        return np.ascontiguousarray(self.turn.view(self._stored_rgb(stored)))

    def _stored_rgb(self, window: Window) -> Pixels:
        import cv2

        x0, y0, x1, y1 = window
        y = self.y[y0:y1, x0:x1]
        if self.cb is None or self.cr is None:
            grey = np.full(y.shape, 1 << (self.coding.bits - 1), dtype=y.dtype)
            planes = [y, grey, grey]
        else:
            planes = [y, self._at_luma(self.cb, window), self._at_luma(self.cr, window)]
        return self.coding.rgb(cv2.merge(planes))

    def _at_luma(self, plane: Plane, window: Window) -> Plane:
        """A chroma plane under a luma window, one sample for each luma sample."""
        x0, y0, x1, y1 = window
        height, width = self.y.shape
        # 1, 2 or 4 luma samples to one of chroma; odd sizes round up.
        across, down = -(-width // plane.shape[1]), -(-height // plane.shape[0])
        # One chroma sample more on each side than the window covers: a crop equals that part of the whole.
        left, top = max(x0 // across - 1, 0), max(y0 // down - 1, 0)
        right, bottom = min(-(-x1 // across) + 1, plane.shape[1]), min(-(-y1 // down) + 1, plane.shape[0])
        part: NDArray[Any] = np.ascontiguousarray(plane[top:bottom, left:right])
        rows, columns = part.shape
        if across == 2 and not self.coding.centred:
            part = _doubled(_resized(part, columns, rows * down))
        else:
            part = _resized(part, columns * across, rows * down)
        x, y = x0 - left * across, y0 - top * down
        return part[y : y + y1 - y0, x : x + x1 - x0]


def _resized(part: NDArray[Any], width: int, height: int) -> NDArray[Any]:
    import cv2

    if part.shape == (height, width):
        return part
    return cv2.resize(part, (width, height), interpolation=cv2.INTER_LINEAR).reshape(height, width)


def _doubled(part: NDArray[Any]) -> NDArray[Any]:
    """Columns doubled where each sample lies on an even column: odd ones are the mean of their neighbours."""
    import cv2

    following = np.concatenate([part[:, 1:], part[:, -1:]], axis=1)
    out = np.empty((part.shape[0], 2 * part.shape[1]), dtype=part.dtype)
    out[:, 0::2] = part
    out[:, 1::2] = cv2.addWeighted(part, 0.5, following, 0.5, 0).reshape(part.shape)
    return out


@dataclass(frozen=True, slots=True, eq=False)
class Packed:
    """A picture that is RGB already: an animation's, a photograph's, or of a codec of RGB."""

    pixels: Pixels
    turn: Turn = UPRIGHT

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) upright."""
        height, width = self.pixels.shape[:2]
        return (height, width) if self.turn.swapped else (width, height)

    def luma(self) -> Pixels:
        """Upright BT.601 luma of the RGB, computed."""
        import cv2

        return np.asarray(self.turn.view(cv2.cvtColor(self.pixels, cv2.COLOR_RGB2GRAY)), dtype=np.uint8)

    def chroma(self) -> tuple[Pixels, Pixels] | None:
        """None: there are no planes of chroma."""
        return None

    def luma_span(self) -> tuple[int, int]:
        """The codes of black and white."""
        return 0, 255

    def rgb(self, window: Window) -> Pixels:
        """The window (upright px) in sRGB, upright."""
        x0, y0, x1, y1 = window
        return np.ascontiguousarray(self.turn.view(self.pixels)[y0:y1, x0:x1])


Picture = YCbCr | Packed


def whole_pixels(box: Box | None, size: tuple[int, int]) -> Window:
    """The window of whole px that a box touches inside a picture of `size`; all of it for None.

    Raises
    ------
    ValueError
        The box lies outside the picture.
    """
    width, height = size
    if box is None:
        return 0, 0, width, height
    part = box.clamp(width, height)
    x0, y0, x1, y1 = int(part.x0), int(part.y0), -int(-part.x1 // 1), -int(-part.y1 // 1)
    if x1 <= x0 or y1 <= y0:
        raise ValueError(f"no pixel of a {width} x {height} picture lies in {box}")
    return x0, y0, x1, y1


def _eight_bit(plane: NDArray[Any], bits: int) -> Pixels:
    """The upper 8 bits; a view where there are no more than 8. Read-only either way."""
    eight: Pixels = plane if bits == 8 else (plane >> (bits - 8)).astype(np.uint8)
    eight = eight.view()
    eight.flags.writeable = False
    return eight
