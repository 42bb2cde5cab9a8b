"""How a camera that stands is held: on a tripod, in the hand, zooming, panning."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from litlamp.scene.cutout import Affine

Held = Literal["still", "hand", "zoom"]
HELD: tuple[Held, ...] = get_args(Held)

# (share of the amplitude, Hz low, Hz high): slow sway of the body, breathing, tremor. From memory.
_SHAKE = ((0.62, 0.2, 0.6), (0.28, 0.8, 2.0), (0.08, 3.0, 6.0), (0.02, 8.0, 11.0))


@dataclass(frozen=True, slots=True)
class Wave:
    """A sum of sines: (amplitude, Hz, phase in turns) each."""

    parts: tuple[tuple[float, float, float], ...]

    def at(self, seconds: float) -> float:
        """Its value."""
        return sum(a * math.sin(2 * math.pi * (hz * seconds + p)) for a, hz, p in self.parts)

    def pace(self, seconds: float) -> float:
        """How fast it changes, per second."""
        return sum(
            a * 2 * math.pi * hz * math.cos(2 * math.pi * (hz * seconds + p)) for a, hz, p in self.parts
        )


def draw_wave(rng: np.random.Generator, amplitude: float) -> Wave:
    """A hand's shake that stays within `amplitude` either way."""
    return Wave(
        tuple(
            (amplitude * share, float(rng.uniform(low, high)), float(rng.random()))
            for share, low, high in _SHAKE
        )
    )


@dataclass(frozen=True, slots=True)
class Hold:
    """A camera over a wide picture of a scene.

    Attributes
    ----------
    wide, size : (width, height) px of the wide picture and of the clip.
    across, down : shake, px of the clip; roll in radians.
    zooms : (from, to) px of the clip per px of the wide picture, over the middle half of `seconds`.
    """

    wide: tuple[int, int]
    size: tuple[int, int]
    seconds: float
    across: Wave
    down: Wave
    roll: Wave
    zooms: tuple[float, float] = (1.0, 1.0)

    def scale(self, seconds: float) -> float:
        """Px of the clip per px of the wide picture."""
        t = min(max((seconds / self.seconds - 0.25) / 0.5, 0.0), 1.0)
        eased = t * t * (3 - 2 * t)
        return float(self.zooms[0] * (self.zooms[1] / self.zooms[0]) ** eased)

    def at(self, seconds: float) -> Affine:
        """From px of the wide picture to px of the clip."""
        scale, roll = self.scale(seconds), self.roll.at(seconds)
        c, s = scale * math.cos(roll), scale * math.sin(roll)
        turn = np.array([[c, -s], [s, c]])
        middle = np.array(
            [self.size[0] / 2 + self.across.at(seconds), self.size[1] / 2 + self.down.at(seconds)]
        )
        shift = middle - turn @ (np.array(self.wide) / 2)
        return np.column_stack([turn, shift])

    def sweep(self, seconds: float, open_s: float) -> tuple[float, float]:
        """Px that the picture moves within a shutter time."""
        return self.across.pace(seconds) * open_s, self.down.pace(seconds) * open_s


def hold(
    rng: np.random.Generator,
    how: Held,
    size: tuple[int, int],
    seconds: float,
    shake: float = 1.0,
    ratio: float = 2.0,
) -> Hold:
    """Draw how a camera is held for a clip of `size` and that length.

    `shake` scales the hand's (1: about 2.5 % of the picture's width to each side); `ratio` is how far a zoom
    goes in. A tripod moves by a hundredth of a hand.

    Raises
    ------
    ValueError : a shake or ratio out of bounds.
    """
    if not 0 <= shake <= 3:
        raise ValueError(f"the shake must be from 0 to 3 times a hand's, not {shake:g}")
    if not 1 <= ratio <= 4:
        raise ValueError(f"a zoom must go in by 1 to 4 times, not {ratio:g}")
    most = {"still": 0.00015, "hand": 0.025, "zoom": 0.012}[how] * shake
    across, down = (draw_wave(rng, most * size[0]) for _ in range(2))
    roll = draw_wave(rng, 0.6 * most)
    room = 1.04 + 2.2 * most + 1.2 * most * size[0] / min(size)
    zoomed = ratio if how == "zoom" else 1.0
    wide = tuple(math.ceil(v * room * zoomed / 2) * 2 for v in size)
    return Hold((wide[0], wide[1]), size, seconds, across, down, roll, (1 / zoomed, 1.0))
