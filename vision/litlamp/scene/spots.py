"""Plain lights and outlines that the things which are no signals are made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np

from litlamp.box import Box
from litlamp.scene.backdrop import Lie
from litlamp.scene.canvas import Canvas, Points, cover
from litlamp.scene.light import Glow, GlowColour, Light, Source

Spot = tuple[float, float]
Found = tuple[str, Box]


@dataclass(frozen=True, slots=True)
class Here:
    """Where a thing that is no signal is painted.

    `at` px of its middle or foot, `size` px its characteristic width; `lie` of the land, `light` of the hour,
    and `lum` of its lamps (see Glow).
    """

    at: Spot
    size: float
    lie: Lie
    light: Light
    lum: float


def spot(
    canvas: Canvas,
    at: Spot,
    radius: float,
    colour: GlowColour,
    source: Source,
    luminance: float,
    squash: float = 1.0,
) -> Box:
    """A plain round light."""
    t = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    shape = np.stack([at[0] + radius * np.cos(t), at[1] + radius * squash * np.sin(t)], -1)
    found = cover([shape], canvas.size)
    if found is not None:
        mask, origin = found
        canvas.glows.append(Glow(at[0], at[1], mask, origin, colour, source, luminance))
    return Box(at[0] - radius, at[1] - radius * squash, at[0] + radius, at[1] + radius * squash)


def box_of(shapes: list[Points]) -> Box:
    """What bounds all of them."""
    every = np.concatenate(shapes)
    (x0, y0), (x1, y1) = every.min(0), every.max(0)
    return Box(float(x0), float(y0), float(x1), float(y1))


def pick(rng: np.random.Generator, colours: tuple[str, ...]) -> GlowColour:
    """One of the colours."""
    return cast(GlowColour, str(rng.choice(list(colours))))


def shine(canvas: Canvas, shapes: list[Points], colour: GlowColour, source: Source, luminance: float) -> Box:
    """Shapes that give light evenly: a lit figure, an arrow, a digit."""
    box = box_of(shapes)
    found = cover(shapes, canvas.size)
    if found is not None:
        canvas.glows.append(Glow(*box.centre, found[0], found[1], colour, source, luminance))
    return box
