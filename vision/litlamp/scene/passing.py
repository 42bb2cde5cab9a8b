"""What passes before a signal for a moment: a pole, a mast of wires, someone walking by."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from litlamp.box import Box
from litlamp.scene.light import Radiance


@dataclass(frozen=True, slots=True)
class Passing:
    """An upright thing out of focus that crosses the picture at an even pace.

    Attributes
    ----------
    at : seconds at which its middle stands at column `column`, px.
    pace : px a second, to the right where positive.
    wide : px; `soft` how far its edges are drawn out, px.
    tone : its linear light, R G B.
    """

    at: float
    column: float
    pace: float
    wide: float
    soft: float
    tone: tuple[float, float, float]

    def middle(self, seconds: float) -> float:
        """Column of its middle at that time."""
        return self.column + (seconds - self.at) * self.pace

    def box(self, seconds: float, size: tuple[int, int]) -> Box | None:
        """What it hides of a picture of that size, px, or None."""
        x = self.middle(seconds)
        left, right = max(x - self.wide / 2, 0.0), min(x + self.wide / 2, float(size[0]))
        return Box(left, 0.0, right, float(size[1])) if left < right else None

    def paint(self, picture: Radiance, seconds: float) -> None:
        """Paint it over the picture, in place."""
        x, half = self.middle(seconds), self.wide / 2
        left = max(math.floor(x - half - self.soft), 0)
        right = min(math.ceil(x + half + self.soft) + 1, picture.shape[1])
        if left >= right:
            return
        off = np.abs(np.arange(left, right) + 0.5 - x)
        cover = np.clip((half - off) / max(self.soft, 0.5) + 0.5, 0, 1).astype(np.float32)[None, :, None]
        part = picture[:, left:right]
        part += cover * (np.asarray(self.tone, np.float32) - part)


def draw_passing(
    rng: np.random.Generator, at: float, length: float, over: Box, size: tuple[int, int]
) -> Passing:
    """A thing that hides the middle of `over` for `length` seconds about the time `at`.

    Raises
    ------
    ValueError : a length out of bounds.
    """
    if not 0.02 <= length <= 5:
        raise ValueError(f"something may hide the signal for 0.02 to 5 s, not {length:g}")
    wide = max(over.width * float(rng.uniform(1.2, 2.5)), 0.03 * size[0])
    grey = float(np.exp(rng.uniform(np.log(0.015), np.log(0.15))))
    return Passing(
        at,
        over.centre[0],
        wide / length * float(rng.choice([-1, 1])),
        wide,
        wide * float(rng.uniform(0.03, 0.15)),
        (grey * 1.05, grey, grey * 0.95),
    )
