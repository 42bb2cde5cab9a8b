"""Light before any camera: the linear picture of a scene and the lit lamps that stand in it.

The world half of the renderer (heads, posts, backdrop, compose) fills a LitScene; the camera half turns
it into the 8-bit picture a phone or camera would have made.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

Radiance = NDArray[np.float32]

Light = Literal["day", "overcast", "dusk", "night", "low sun"]
Weather = Literal["clear", "rain", "snow", "fog", "haze"]
Source = Literal["incandescent", "led"]
GlowColour = Literal["red", "yellow", "green", "lunar", "white", "amber", "blue"]

LIGHTS: tuple[Light, ...] = ("day", "overcast", "low sun", "dusk", "night")
GLOW_COLOURS: tuple[GlowColour, ...] = get_args(GlowColour)
WEATHERS: tuple[Weather, ...] = ("clear", "haze", "rain", "snow", "fog")


@dataclass(frozen=True, slots=True)
class Glow:
    """One lit surface, to be added to the radiance by the camera (which knows lamp spectra).

    Attributes
    ----------
    x, y : centre in the picture, px.
    mask : float32 (h, w), coverage times relative emission, 0 to 1.
    origin : (x0, y0) of the mask's first pixel in the picture; may reach outside it.
    colour, source : which filter and which lamp made the light.
    luminance : of a mask value of 1, in units of a white diffuse reflector under the scene's key light.
    """

    x: float
    y: float
    mask: Radiance
    origin: tuple[int, int]
    colour: GlowColour
    source: Source
    luminance: float


@dataclass(frozen=True, slots=True)
class LitScene:
    """A picture in linear light, before the camera.

    Attributes
    ----------
    radiance : float32 (H, W, 3), R G B in linear sRGB primaries; 1.0 is a white diffuse reflector under
        the scene's own key light (normalised for each scene, so night is not dark here). Lit lamps are
        not in it, except what they throw on their surroundings.
    glows : the lit lamps, signals and distractors alike.
    ambient_kelvin : correlated colour temperature of the key light.
    """

    radiance: Radiance
    glows: tuple[Glow, ...]
    light: Light
    ambient_kelvin: float
    weather: Weather
