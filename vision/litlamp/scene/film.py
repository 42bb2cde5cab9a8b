"""A camera that films: one setting for all frames of a clip, cheap for each.

The same optics, sensor and processing as of stills (`camera`), but exposure is set once and then only drifts,
and saving is left to the video coder.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.scene.camera import Camera, metered
from litlamp.scene.develop import Pixels, develop, sense, sharpened
from litlamp.scene.lens import through
from litlamp.scene.light import GLOW_COLOURS, GlowColour, LitScene, Radiance, Source
from litlamp.scene.spectra import balanced, cast, lamp_spectrum, luminance_one


@dataclass(frozen=True, slots=True)
class Shutter:
    """How a frame is exposed: seconds that each row is open, and from the first row's start to the last's."""

    open_s: float = 1 / 250
    readout_s: float = 0.012

    def __post_init__(self) -> None:
        if not 1e-5 <= self.open_s <= 1:
            raise ValueError(f"the shutter must be open for 1/100000 to 1 s, not {self.open_s:g}")
        if not 0 <= self.readout_s <= 0.1:
            raise ValueError(f"the rows must be read out in 0 to 0.1 s, not {self.readout_s:g}")


@dataclass(frozen=True, slots=True)
class Pumping:
    """Automatic exposure that hunts: waves of (stops, Hz, phase in turns), summed."""

    waves: tuple[tuple[float, float, float], ...] = ()

    def stops(self, seconds: float) -> float:
        """How much brighter than at rest."""
        return sum(a * math.sin(2 * math.pi * (hz * seconds + p)) for a, hz, p in self.waves)


def draw_pumping(rng: np.random.Generator, stops: float) -> Pumping:
    """Pumping of about that many stops to each side, of two waves of 0.15 to 1.6 Hz."""
    if not 0 <= stops <= 3:
        raise ValueError(f"exposure may pump by 0 to 3 stops, not {stops:g}")
    if stops == 0:
        return Pumping()
    waves = tuple(
        (stops * share, float(rng.uniform(low, high)), float(rng.random()))
        for share, low, high in ((0.65, 0.15, 0.7), (0.35, 0.5, 1.6))
    )
    return Pumping(waves)


@dataclass(frozen=True, slots=True)
class Film:
    """One camera at one place.

    Attributes
    ----------
    camera : optics, sensor and look; its saving is not used.
    kelvin : correlated colour temperature of the place's light.
    lamps : seed of the lamps' spectra.
    """

    camera: Camera
    kelvin: float
    lamps: int
    shutter: Shutter = field(default_factory=Shutter)
    pumping: Pumping = field(default_factory=Pumping)

    def gain(self, radiance: Radiance, scene: LitScene) -> float:
        """The exposure that the meter chooses before the clip: a factor for linear light."""
        seen = replace(scene, radiance=np.ascontiguousarray(np.clip(radiance, 0, 4)))
        return float(metered(seen, self.camera.metering) * 2.0**self.camera.exposure)

    def lamp_colour(self, colour: GlowColour, source: Source) -> Radiance:
        """A lamp of luminance 1 in the scene's own linear R G B, (3,); parts may be below 0."""
        own = np.random.default_rng((self.lamps, GLOW_COLOURS.index(colour), source == "led"))
        spectrum = lamp_spectrum(colour, source, own)
        seen = balanced(luminance_one(spectrum[None]), self.camera.curves)[0] * self._undone()
        return np.asarray(np.linalg.solve(self._to_raw(), seen), np.float32)

    def take(
        self,
        radiance: Radiance,
        gain: float,
        rng: np.random.Generator,
        sweep: tuple[float, float] = (0.0, 0.0),
    ) -> Pixels:
        """One frame, RGB uint8 (H, W, 3), of linear light (H, W, 3), lamps included.

        `sweep` is how far the picture moves while the shutter is open, px.
        """
        raw = np.asarray(cv2.transform(radiance, (self._to_raw() * gain).astype(np.float32)), np.float32)
        np.maximum(raw, 0, out=raw)
        lens = self.camera.lens
        length = math.hypot(*sweep)
        if length > 0.7:
            lens = replace(lens, motion=(min(length, 25.0), math.atan2(sweep[1], sweep[0])))
        raw = sense(through(raw, lens), self.camera.sensor, rng)
        picture = develop(raw, self.camera.matrix, self.camera.look, self.camera.sensor.headroom)
        return sharpened(picture, *self.camera.look.sharpen)

    def _undone(self) -> NDArray[np.float64]:
        """What white balance does to balanced raw, (3,); see `camera` for stills."""
        low, high = self.camera.reach
        followed = 1 / ((1 - self.camera.adapt) / 6500 + self.camera.adapt / self.kelvin)
        undone: NDArray[np.float64] = np.asarray(self.camera.balance) / cast(
            min(max(followed, low), high), self.camera.curves
        )
        return undone

    def _to_raw(self) -> NDArray[np.float64]:
        under = self._undone() * cast(self.kelvin, self.camera.curves)
        return np.asarray(under[:, None] * np.linalg.inv(self.camera.matrix))
