"""Light that an unlit lens sends back: sun or sky in coloured glass, a mirror shining behind a clear front.

How strong it gets, and which shapes it takes, are estimates without a source, wide on purpose.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from litlamp.scene.canvas import Colour3
from litlamp.scene.light import Light, Radiance

Shape = Literal["veil", "sun", "heart", "rim"]

_TINTS: dict[str, Colour3] = {
    "red": (1.0, 0.07, 0.05),
    "yellow": (1.0, 0.55, 0.09),
    "green": (0.09, 1.0, 0.66),
    "lunar": (0.86, 0.94, 1.0),
    "clear": (1.0, 0.98, 0.94),
}
# Chance that a picture has it at all: full sun on the glass, a bright sky behind the camera, or a street's
# light and headlamps after dark.
_CHANCE: dict[Light, float] = {"day": 0.36, "low sun": 0.5, "overcast": 0.2, "dusk": 0.14, "night": 0.1}


@dataclass(frozen=True, slots=True)
class Phantom:
    """What the unlit lenses of one head send back.

    Attributes
    ----------
    strength : radiance of the brightest channel where it is brightest (1: white paint under the key light).
    shape : "veil" over the whole glass, "sun" with the hood's shadow across it, "heart" from the mirror in
        the middle, "rim" along the lens's edge.
    lean : direction (radians) in which it grows brighter; `slope` 0 to 1, how much; `edge` where the hood's
        shadow ends or how wide heart and rim are, in lens radii.
    pale : 0 to 1, how much of the colour is lost.
    behind : colour that a clear front shows of what lies behind it.
    only : number of the one lens that has it, or None for all.
    """

    strength: float
    shape: Shape
    lean: float
    slope: float
    edge: float
    pale: float
    behind: str
    only: int | None = None

    def falls_on(self, lens: int, lenses: int) -> bool:
        """Whether that lens of a head with so many has it."""
        return self.only is None or self.only % lenses == lens

    def colour(self, glass: str) -> Colour3:
        """Radiance (R, G, B) where it is brightest, in glass of that name."""
        r, g, b = _TINTS[self.behind if glass == "clear" else glass]
        keep = 1 - self.pale
        return (
            self.strength * (keep * r + self.pale),
            self.strength * (keep * g + self.pale),
            self.strength * (keep * b + self.pale),
        )

    def face(self, u: Radiance, v: Radiance) -> Radiance:
        """0 to 1 over the glass; u and v in lens radii from its middle, to the right and downwards."""
        along = u * np.float32(math.cos(self.lean)) + v * np.float32(math.sin(self.lean))
        light = 1 - np.float32(self.slope) * np.clip(0.5 - 0.5 * along, 0, 1)
        if self.shape == "sun":  # the hood's round edge throws its shadow on the upper glass
            bent = v + np.float32(0.35) * u * u - np.float32(self.edge - 0.5)
            light = light * np.clip(0.12 + 4 * bent, 0.12, 1)
        elif self.shape == "heart":
            light = light * (0.1 + 0.9 * np.exp(-(u * u + v * v) / np.float32(0.08 + 0.3 * self.edge)))
        elif self.shape == "rim":
            out = np.sqrt(u * u + v * v)
            light = light * (0.15 + 0.85 * np.clip((out - 0.9 + 0.4 * self.edge) * 6, 0, 1))
        return np.asarray(light, np.float32)


def draw_phantoms(
    rng: np.random.Generator, heads: int, light: Light, luminance: float
) -> tuple[Phantom | None, ...]:
    """For each head of a signal what its unlit glass sends back, or None; mostly much alike on all of them.

    `luminance` is that of the scene's lit lamps (see Glow): mostly even the brightest phantom
    stays well under them, so that a comparison within the picture still tells them apart.
    """
    none: tuple[Phantom | None, ...] = (None,) * heads
    if rng.random() >= _CHANCE[light]:
        return none
    most = 3.0 if light in ("day", "low sun") else 1.0
    strength = math.exp(rng.uniform(math.log(0.15), math.log(most)))
    if rng.random() < 0.7:
        strength = min(strength, max(1.6 * luminance, 0.12))
    shape: Shape = ("veil", "sun", "heart", "rim")[int(rng.choice(4, p=[0.4, 0.3, 0.2, 0.1]))]
    lean, slope = float(rng.uniform(-math.pi, math.pi)), float(rng.uniform(0.1, 0.95))
    edge = float(rng.random())
    pale = float(rng.uniform(0, 0.6)) if rng.random() < 0.6 else float(rng.uniform(0, 0.1))
    share = 1.0 if rng.random() < 0.6 else 0.5
    out: list[Phantom | None] = []
    for _ in range(heads):
        behind = str(rng.choice(["clear", "red", "green", "yellow"], p=[0.4, 0.28, 0.18, 0.14]))
        own = strength * float(np.exp(rng.normal(0, 0.3)))
        only = int(rng.integers(3)) if rng.random() < 0.25 else None
        kept = rng.random() < share
        out.append(Phantom(own, shape, lean, slope, edge, pale, behind, only) if kept else None)
    return tuple(out)


__all__ = ["Phantom", "Shape", "draw_phantoms"]
