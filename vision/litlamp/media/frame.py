"""One upright sRGB picture and its time: what every source becomes."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]

LARGE = 4_000_000
"""A picture of more px than this is had reduced by its decoder first, where that can, and looked at in a
smaller whole."""


@dataclass(frozen=True, slots=True)
class Time:
    """An exact moment: `pts` ticks of `time_base` seconds."""

    pts: int
    time_base: Fraction

    @property
    def seconds(self) -> float:
        """Seconds since the clip's zero."""
        return float(self.pts * self.time_base)

    def since(self, other: Time) -> float:
        """Seconds from another moment of the same clip to this one, correctly rounded."""
        if self.time_base == other.time_base:  # nearly always, and many times as quick
            base = self.time_base
            return (self.pts - other.pts) * base.numerator / base.denominator
        return float(self.pts * self.time_base - other.pts * other.time_base)


@dataclass(frozen=True, slots=True)
class Frame:
    """A picture.

    Attributes
    ----------
    rgb : uint8, shape (H, W, 3), colour order R G B, sRGB, upright. Never written to by any reader.
    time : when, for a frame of a clip; None for a still.
    conversions : what was done on the way in, in order ("turned by EXIF orientation 6", "P3 to sRGB").
    """

    rgb: Pixels
    time: Time | None = None
    conversions: tuple[str, ...] = ()

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) in px."""
        return int(self.rgb.shape[1]), int(self.rgb.shape[0])
