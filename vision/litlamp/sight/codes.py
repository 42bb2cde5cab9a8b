"""Codes of pixels, 0 to 255, in bulk: the same answers as numpy's, several times as quick."""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Kind = TypeVar("Kind", bound=np.generic)


def brightest_channel(pixels: NDArray[Kind]) -> NDArray[Kind]:
    """The greatest of three channels, (H, W), of pixels (H, W, 3) of any dtype."""
    greatest: NDArray[Kind] = np.maximum(np.maximum(pixels[..., 0], pixels[..., 1]), pixels[..., 2])
    return greatest


def code_passed(codes: NDArray[np.uint8], share: float) -> float:
    """The quantile at `share`, 0 to 1, of uint8 of any shape, at least one: linear between neighbours."""
    below = np.cumsum(np.bincount(codes.ravel(), minlength=256))
    at = share * (codes.size - 1)
    low, high = (int(np.searchsorted(below, rank, side="right")) for rank in (math.floor(at), math.ceil(at)))
    return low + (high - low) * (at - math.floor(at))
