"""How much brighter than at first the camera shows everything: its own exposure over a clip."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Plane = NDArray[np.uint8]

ACROSS = 96
"""About so many px each way are looked at along the frame's longer side."""
CELL = 6
"""Looked-at px a side of one cell."""
DIM = 0.004
"""Cells darker than this tell nothing, linear light."""
FEWEST = 12
MOST = 2.0
"""What brightness may change by from one frame to the next; more is another view, not an exposure."""


class Exposure:
    """The common factor of each frame's brightness, from how most of the picture changes.

    A lamp, or a train that passes, changes few cells and moves the median of their ratios by little.
    """

    def __init__(self) -> None:
        self._last: NDArray[np.float32] | None = None
        self._factor = 1.0
        self._span: tuple[int, int] | None = None
        self._light = np.zeros(256, np.float32)

    def factor(self, luma: Plane, span: tuple[int, int]) -> float:
        """What this frame's linear light is multiplied by, 1 for the first frame.

        Parameters
        ----------
        luma : uint8 (H, W).
        span : the codes of black and white.
        """
        if span != self._span:
            black, white = self._span = span
            light = np.clip((np.arange(256) - black) / (white - black), 0, 1) ** 2.2
            self._light = light.astype(np.float32)
        apart = max(max(luma.shape) // ACROSS, 1)
        part = luma[apart // 2 :: apart, apart // 2 :: apart]
        rows, columns = part.shape[0] // CELL, part.shape[1] // CELL
        if rows == 0 or columns == 0:
            return self._factor
        linear = cv2.LUT(np.ascontiguousarray(part[: rows * CELL, : columns * CELL]), self._light)
        cells = np.asarray(cv2.resize(linear, (columns, rows), interpolation=cv2.INTER_AREA), np.float32)
        last, self._last = self._last, cells
        if last is None or last.shape != cells.shape:
            return self._factor
        told = (last > DIM) & (cells > DIM)
        if int(told.sum()) >= FEWEST:
            ratios = np.sort(cells[told] / last[told])
            ratio = float(ratios[len(ratios) // 2])
            if 1 / MOST < ratio < MOST:
                self._factor *= ratio
        return self._factor
