"""From light on the sensor to an 8-bit picture: clipping, noise, mosaic; then matrix, tone, sharpening."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.scene.light import Radiance

Pixels = NDArray[np.uint8]

# Daylight gains that bring raw red and blue up to green; their noise comes up with them. Typical, no source.
_RAISED = np.array([1.9, 1.0, 1.6], np.float32)
_BAYER = (cv2.COLOR_BayerRGGB2RGB, cv2.COLOR_BayerGRBG2RGB, cv2.COLOR_BayerGBRG2RGB, cv2.COLOR_BayerBGGR2RGB)


@dataclass(frozen=True, slots=True)
class Sensor:
    """A sensor at one setting. Levels are shares of the clipping level of green in one exposure.

    Attributes
    ----------
    gain : amplification over the base setting; noise grows with it.
    read, shot : noise at gain 1: sigma at black, variance a unit of light.
    headroom : level that still holds detail; above 1 where several exposures were merged.
    mosaic : place of red in the 2 x 2 filter pattern, 0 to 3; None where the picture was reduced from a far
        finer one and every pixel saw all colours.
    stuck : share of pixels that are stuck bright.
    """

    gain: float = 1.0
    read: float = 0.0005
    shot: float = 1e-4
    headroom: float = 1.0
    mosaic: int | None = None
    stuck: float = 0.0


@dataclass(frozen=True, slots=True)
class Look:
    """What the camera's processing makes of the raw picture.

    Attributes
    ----------
    tone : strength of an S curve, negative flattens; `lift` of black, 0 to 0.1.
    local : 0 to 1, how far dark parts are raised and bright ones lowered.
    keep_hue : highlights are lowered as a whole, not each channel by itself.
    saturation : a factor in linear light; `vibrance` -1 to 1, more for dull colours only.
    whiten : 0 to 1, how far the brightest tones lose colour.
    smear : sigma, px, by which colour noise is smoothed (and small lamps lose colour).
    clean : strength, in codes, of the smoothing of luminance noise; 0 for none.
    sharpen : (amount, sigma px).
    """

    tone: float = 0.0
    lift: float = 0.0
    local: float = 0.0
    keep_hue: bool = False
    saturation: float = 1.0
    vibrance: float = 0.0
    whiten: float = 0.0
    smear: float = 0.0
    clean: float = 0.0
    sharpen: tuple[float, float] = (0.0, 1.0)


@cache
def _grain() -> Radiance:
    """A store of normal noise: drawing afresh for each picture would cost more than all the rest."""
    return np.random.default_rng(1).standard_normal(1 << 20, dtype=np.float32)


def noise(shape: tuple[int, ...], rng: np.random.Generator) -> Radiance:
    """Standard normal noise of that shape, float32, cut from a store at places drawn from `rng`."""
    store = _grain()
    n = int(np.prod(shape))
    out = np.empty(n, np.float32)
    at = 0
    while at < n:
        size = min(n - at, len(store) // 2)
        start = int(rng.integers(len(store) - size))
        out[at : at + size] = store[start : start + size]
        at += size
    return out.reshape(shape)


def sense(raw: Radiance, sensor: Sensor, rng: np.random.Generator) -> Radiance:
    """Balanced raw light (H, W, 3) as the sensor records it: clipped at its headroom, noisy, demosaiced.

    The array given is overwritten or returned.
    """
    top = sensor.headroom
    np.minimum(raw, np.float32(top), out=raw)
    shot = np.float32(sensor.shot * sensor.gain)
    read = np.float32(sensor.read * sensor.gain)
    if sensor.mosaic is None or min(raw.shape[:2]) < 4:
        sigma = raw * (_RAISED * shot)
        sigma += (read * _RAISED) ** 2
        np.sqrt(sigma, out=sigma)
        sigma *= noise(raw.shape, rng)
        raw += sigma
        return np.clip(raw, 0, np.float32(top), out=raw)
    plane = np.ascontiguousarray(raw[:, :, 1])
    sigma = plane * shot + read * read
    for channel, (y, x) in ((0, divmod(sensor.mosaic, 2)), (2, divmod(3 - sensor.mosaic, 2))):
        part = raw[y::2, x::2, channel]
        plane[y::2, x::2] = part
        sigma[y::2, x::2] = (part * shot + read * read * _RAISED[channel]) * _RAISED[channel]
    plane += np.sqrt(sigma) * noise(plane.shape, rng)
    if sensor.stuck > 0:
        n = rng.poisson(sensor.stuck * plane.size)
        plane[rng.integers(plane.shape[0], size=n), rng.integers(plane.shape[1], size=n)] = top
    scale = np.float32(65535.0 / top)
    plane *= scale
    np.clip(plane, 0, 65535, out=plane)
    full = cv2.cvtColor(plane.astype(np.uint16), _BAYER[sensor.mosaic])
    return np.asarray(full, np.float32) / scale


def _shoulder(x: Radiance, top: float) -> Radiance:
    """Linear up to a knee, then ever flatter so that `top` becomes 1."""
    if top <= 1.001:
        return np.minimum(x, 1.0)
    knee = 0.5
    bend = (1 - knee) * -np.expm1(-(np.maximum(x, knee) - knee) / (1 - knee))
    full = (1 - knee) * -np.expm1(-(top - knee) / (1 - knee))
    return np.where(x <= knee, x, np.minimum(knee + bend * ((1 - knee) / full), 1.0))


def _curve(look: Look, top: float) -> Pixels:
    """Codes by the square root of linear light, 4096 steps up to `top`."""
    x = (np.linspace(0, 1, 4096, dtype=np.float32) ** 2) * np.float32(top)
    x = _shoulder(x, top)
    y = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(x, 1 / 2.4) - 0.055)
    y = y + look.tone * (y * y * (3 - 2 * y) - y)
    y = look.lift + (1 - look.lift) * y
    return np.asarray(np.round(np.clip(y, 0, 1) * 255), np.uint8)


def develop(raw: Radiance, matrix: NDArray[np.float64], look: Look, headroom: float = 1.0) -> Pixels:
    """Balanced raw (H, W, 3) to an sRGB picture (H, W, 3): matrix, local and global tone, cleaning."""
    grey = np.array([[0.2126, 0.7152, 0.0722]] * 3)
    whole = (grey + look.saturation * (np.eye(3) - grey)) @ matrix
    linear = np.asarray(cv2.transform(raw, whole.astype(np.float32)), np.float32)
    if look.local > 0:
        h, w = linear.shape[:2]
        small = cv2.resize(raw[:, :, 1], (max(w // 8, 1), max(h // 8, 1)), interpolation=cv2.INTER_AREA)
        base = cv2.GaussianBlur(small, (0, 0), 3)
        lever = np.power(np.clip(base, 0.02, 1.5) / np.float32(0.25), np.float32(-0.5 * look.local))
        linear *= cv2.resize(lever, (w, h), interpolation=cv2.INTER_LINEAR)[:, :, None]
    top = headroom
    if look.keep_hue and top > 1.001:
        r, g, b = cv2.split(linear)
        most = cv2.max(cv2.max(r, g), b)
        x = (np.linspace(0, 1, 1024, dtype=np.float32) ** 2) * np.float32(4 * top)
        share = _shoulder(x, top) / np.maximum(x, 1e-6)
        share[0] = 1.0
        index = np.sqrt(np.clip(most / np.float32(4 * top), 0, 1)) * np.float32(1023)
        linear *= share[index.astype(np.uint16)][:, :, None]
        top = 1.0
    np.clip(linear, 0, np.float32(top), out=linear)
    np.sqrt(linear, out=linear)
    linear *= np.float32(4095.0 / np.sqrt(top))
    linear += np.float32(0.5)
    picture = _curve(look, top)[linear.astype(np.uint16)]
    return _tidy(picture, look)


def _tidy(picture: Pixels, look: Look) -> Pixels:
    if look.clean > 0:
        picture = np.asarray(cv2.bilateralFilter(picture, 5, look.clean, 2.0), np.uint8)
    if look.smear <= 0.3 and look.vibrance == 0 and look.whiten == 0:
        return picture
    luma, *chroma = cv2.split(cv2.cvtColor(picture, cv2.COLOR_RGB2YCrCb))
    if look.vibrance:
        c = np.arange(256, dtype=np.float32) - 128
        lively = c * (1 + look.vibrance * np.exp(-((c / 40) ** 2)))
        table = np.clip(np.round(128 + lively), 0, 255).astype(np.uint8)
        chroma = [cv2.LUT(c, table) for c in chroma]
    if look.smear > 0.3:
        chroma = [cv2.GaussianBlur(c, (0, 0), look.smear) for c in chroma]
    if look.whiten:
        y = np.arange(256, dtype=np.float32)
        faded = 1 - look.whiten * np.clip((y - 190) / 50, 0, 1)
        share = cv2.LUT(luma, faded)
        chroma = [np.asarray((c - np.float32(128)) * share + np.float32(128.5), np.uint8) for c in chroma]
    return np.asarray(cv2.cvtColor(cv2.merge([luma, *chroma]), cv2.COLOR_YCrCb2RGB), np.uint8)


def sharpened(picture: Pixels, amount: float, sigma: float) -> Pixels:
    """An unsharp mask: edges steeper, with the halos that come of it."""
    if amount < 0.05:
        return picture
    soft = cv2.GaussianBlur(picture, (0, 0), sigma)
    return np.asarray(cv2.addWeighted(picture, 1 + amount, soft, -amount, 0), np.uint8)
