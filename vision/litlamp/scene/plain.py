"""A plain exposure: linear light to sRGB with no camera's faults, for tests and quick looks."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.scene.light import GlowColour, LitScene, Radiance

# Linear sRGB of each lamp colour at luminance 1: red and green within the limits of ICAO Annex 14,
# Appendix 1; signal yellow lies outside sRGB, so the nearest colour stands for it.
LAMPS: dict[GlowColour, tuple[float, float, float]] = {
    "red": (4.6, 0.03, 0.0),
    "yellow": (2.0, 0.8, 0.02),
    "green": (0.06, 1.3, 0.75),
    "lunar": (0.85, 1.0, 1.35),
    "white": (1.2, 0.98, 0.7),
    "amber": (2.2, 0.72, 0.02),
    "blue": (0.1, 0.5, 8.0),
}


def plain_exposure(scene: LitScene, gain: float = 0.85) -> NDArray[np.uint8]:
    """Rgb uint8 (H, W, 3): white paint at `gain`, a little glare about the lamps, clipped at 1."""
    light = scene.radiance.copy()
    lamps = add_glows(scene, np.zeros_like(light))
    light += np.float32(0.95) * lamps + np.float32(0.04) * cv2.GaussianBlur(lamps, (0, 0), 2.0)
    light = np.clip(light * np.float32(gain), 0, 1)
    out = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.power(light, 1 / 2.4) - 0.055)
    return np.asarray(np.round(out * 255), np.uint8)


def add_glows(scene: LitScene, onto: Radiance) -> Radiance:
    """Add every glow's light to a picture of the scene's size, in place."""
    height, width = onto.shape[:2]
    for glow in scene.glows:
        x0, y0 = glow.origin
        h, w = glow.mask.shape
        left, top, right, bottom = max(x0, 0), max(y0, 0), min(x0 + w, width), min(y0 + h, height)
        if left < right and top < bottom:
            part = glow.mask[top - y0 : bottom - y0, left - x0 : right - x0, None]
            tint = np.asarray(LAMPS[glow.colour], np.float32) * np.float32(glow.luminance)
            onto[top:bottom, left:right] += part * tint
    return onto
