"""What a followed part looked like when it was last seen for certain: whether it still does, and where."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.box import Box
from litlamp.sight.follow import sampled

Plane = NDArray[np.uint8]

SIDE = 48
"""The part's long side, px, in which it is compared."""
PLAIN = 3.0
"""A part whose px differ by no more than this, codes, cannot be told from another."""
BLOOM = 1.3
"""Px within so many lens diameters of a lamp are left out: they change with it."""
FEWEST = 60


class Likeness:
    """One part, remembered; its lamps are left out, for they may go dark."""

    def __init__(self) -> None:
        self._kept: Plane | None = None
        self._weights: NDArray[np.float32] | None = None
        self._centred: NDArray[np.float32] | None = None
        self._size = 1.0

    def remember(self, luma: Plane, box: Box, lamps: Sequence[tuple[float, float, float]]) -> None:
        """Take this part of this frame for what it is like; `lamps` are x, y, diameter, px of the frame."""
        step = max(box.width, box.height) / SIDE
        self._kept = sampled(luma, box, step)
        high, wide = self._kept.shape
        y, x = np.mgrid[:high, :wide].astype(np.float32)
        mask = np.ones((high, wide), bool)
        for lx, ly, d in lamps:
            u, v = (lx - box.x0) / step - 0.5, (ly - box.y0) / step - 0.5
            mask &= np.hypot(x - u, y - v) > BLOOM * d / step + 1
        self._weights = self._centred = None
        self._size = max(box.width, box.height)
        if int(mask.sum()) < FEWEST:
            return
        told = self._kept[mask].astype(np.float32)
        if float(told.std()) < PLAIN:
            return
        self._weights = mask.astype(np.float32)
        centred = (self._kept - told.mean()) * self._weights
        self._centred = centred / np.float32(np.sqrt(np.vdot(centred, centred)))

    def here(self, luma: Plane, box: Box) -> float | None:
        """How like the part in this box is, -1 to 1; None where that cannot be told."""
        if self._centred is None or self._weights is None:
            return None
        now = sampled(luma, box, max(box.width, box.height) / SIDE, self._centred.shape)
        part = now * self._weights
        part -= self._weights * np.float32(part.sum() / self._weights.sum())
        size = float(np.vdot(part, part))
        return float(np.vdot(part, self._centred)) / size**0.5 if size > 1 else 0.0

    def search(self, luma: Plane, box: Box, reach: float) -> tuple[float, float, float] | None:
        """Where near this box the part is found best: shift x and y, px of the frame, and its likeness.

        `reach` is how far to look each way, in terms of the part's longer side.
        """
        if self._kept is None:
            return None
        step = max(box.width, box.height) / SIDE
        more = reach * SIDE * step
        high, wide = self._kept.shape
        margin = round(reach * SIDE)
        around = Box(box.x0 - more, box.y0 - more, box.x1 + more, box.y1 + more)
        scene = sampled(luma, around, step, (high + 2 * margin, wide + 2 * margin))
        match = cv2.matchTemplate(scene, self._kept, cv2.TM_CCOEFF_NORMED)
        _, best, _, (u, v) = cv2.minMaxLoc(match)
        return (u - margin) * step, (v - margin) * step, float(best)
