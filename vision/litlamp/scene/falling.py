"""Rain and snow in the air before a camera that films: elsewhere in every frame."""

from __future__ import annotations

import numpy as np

from litlamp.scene.canvas import Canvas, Sun
from litlamp.scene.clutter import paint_weather
from litlamp.scene.cutout import cut_out
from litlamp.scene.light import Radiance, Weather


class Falling:
    """A large sheet of streaks or flakes, of which each frame shows another piece."""

    def __init__(self, size: tuple[int, int], weather: Weather, sun: Sun, seed: int) -> None:
        """Draw the sheet for pictures of that size; none where nothing falls."""
        self._size = size
        self._sheet: Radiance | None = None
        if weather not in ("rain", "snow"):
            return

        def paint(canvas: Canvas, rng: np.random.Generator) -> None:
            paint_weather(canvas, rng, weather)

        self._sheet, _, _ = cut_out(paint, (size[0] * 3 // 2, size[1] * 3 // 2), sun, (seed, 31))

    def lay(self, picture: Radiance, rng: np.random.Generator) -> None:
        """Let it fall over the picture, in place."""
        if self._sheet is None:
            return
        width, height = self._size
        x, y = (int(rng.integers(room // 2)) for room in self._size)
        part = self._sheet[y : y + height, x : x + width]
        picture *= 1 - part[..., 3:]
        picture += part[..., :3]
