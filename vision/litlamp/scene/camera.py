"""A camera: linear light through lens, sensor and processing to the 8-bit picture people take.

The order is a real camera's: light of scene and lamps meets in the lens (blur, glare), the sensor clips it,
adds noise and samples colour by mosaic, and only then come balance, colour matrix, tone, sharpening and JPEG.
Clipping before the matrix is what gives an over-exposed red lamp its orange or white core and red rim.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.scene.light import Light, LitScene, Radiance
from litlamp.scene.spectra import balanced, colour_matrix, lamp_spectrum, luminance_one, sensitivities

Pixels = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Camera:
    """One camera and how it was held and set. Lengths in px of the finished picture.

    Attributes
    ----------
    curves : sensitivities (3, wavelengths); `matrix` balanced raw to linear sRGB.
    balance : error of the white balance, a factor for each of R, G, B.
    exposure : stops from what the meter would choose.
    blur : lens softness, sigma; `motion` (length, angle in radians).
    glare : share of lamp light in the near, middle and far halo.
    read, shot : noise: sigma at black, and variance a unit of light.
    mosaic : whether colour is sampled through a Bayer filter.
    tone : strength of an S curve; `local` of local tone mapping; `saturation` a factor; `lift` of black.
    sharpen : (amount, sigma).
    softness : share of resolution left after a reduction and enlargement; 1 for none.
    quality : JPEG quality of each save; `sampling` 444, 422 or 420.
    """

    curves: NDArray[np.float64]
    matrix: NDArray[np.float64]
    balance: tuple[float, float, float]
    exposure: float
    blur: float
    motion: tuple[float, float]
    glare: tuple[float, float, float]
    read: float
    shot: float
    mosaic: bool
    tone: float
    local: float
    saturation: float
    lift: float
    sharpen: tuple[float, float]
    softness: float
    quality: tuple[int, ...]
    sampling: int


def draw_camera(rng: np.random.Generator, light: Light, *, fine: bool = False) -> Camera:
    """A random camera for that light; `fine` a good one, well held, for pictures people are to look at."""
    u, n = rng.uniform, rng.normal
    curves = sensitivities(rng)
    dark = light in ("night", "dusk")
    warm = n(0, 0.08 if fine else 0.17)
    tint = n(0, 0.03 if fine else 0.06)
    motion = 0.0 if fine or rng.random() < 0.8 else float(abs(n(0, 3.0)))
    glare_all = float(np.exp(n(-3.6 if fine else -3.2, 0.4 if fine else 0.9)))
    gain = 2.0 ** u(-0.5, 3.0) if dark else 2.0 ** u(-1.0, 1.5)
    quality: tuple[int, ...] = (int(u(88, 96)),) if fine else (int(u(35, 97)),)
    if not fine and rng.random() < 0.3:
        quality = (*quality, int(u(45, 95)))
    return Camera(
        curves=curves,
        matrix=colour_matrix(curves),
        balance=(float(2.0 ** (warm + tint)), 1.0, float(2.0 ** (-warm + tint))),
        exposure=float(n(0, 0.15 if fine else 0.6)),
        blur=float(u(0.3, 0.5) if fine else min(abs(n(0.3, 0.55)) + 0.2, 2.2)),
        motion=(motion, float(u(0, np.pi))),
        glare=(glare_all, glare_all * float(u(0.2, 0.7)), glare_all * float(u(0.05, 0.3))),
        read=float(u(0.0005, 0.002) * gain),
        shot=float((u(0.5, 1.0) if fine else u(0.5, 6.0)) * 2e-4 * gain),
        mosaic=bool(rng.random() < 0.4),
        tone=float(u(0.0, 0.5) if fine else u(-0.2, 0.9)),
        local=0.0 if fine or rng.random() < 0.75 else float(u(0.2, 0.7)),
        saturation=float(u(0.95, 1.15) if fine else np.exp(n(0.05, 0.18))),
        lift=0.0 if fine or rng.random() < 0.7 else float(u(0.0, 0.06)),
        sharpen=(float(u(0.1, 0.4) if fine else max(n(0.4, 0.5), 0.0)), float(u(0.6, 1.4))),
        softness=1.0 if fine or rng.random() < 0.75 else float(u(0.45, 0.9)),
        quality=quality,
        sampling=444 if fine else int(rng.choice([444, 422, 420, 420, 420])),
    )  # fmt: skip


def expose(scene: LitScene, camera: Camera, rng: np.random.Generator) -> Pixels:
    """The picture, RGB uint8 (H, W, 3). The scene is not written to."""
    raw = _meet(scene, camera, rng)
    raw *= np.float32(_gain(scene, camera))
    raw *= np.asarray(camera.balance, np.float32)
    raw = _sense(raw, camera, rng)
    picture = _develop(raw, camera)
    return _encode(picture, camera)


def _lamps(scene: LitScene, camera: Camera, rng: np.random.Generator) -> Radiance | None:
    if not scene.glows:
        return None
    h, w = scene.radiance.shape[:2]
    layer = np.zeros((h, w, 3), np.float32)
    spectra = np.stack([lamp_spectrum(g.colour, g.source, rng) for g in scene.glows])
    colours = balanced(luminance_one(spectra), camera.curves).astype(np.float32)
    for glow, colour in zip(scene.glows, colours, strict=True):
        x0, y0 = glow.origin
        gh, gw = glow.mask.shape
        left, top, right, low = max(x0, 0), max(y0, 0), min(x0 + gw, w), min(y0 + gh, h)
        if left < right and top < low:
            part = glow.mask[top - y0 : low - y0, left - x0 : right - x0, None]
            layer[top:low, left:right] += part * (colour * np.float32(glow.luminance))
    return layer


def _meet(scene: LitScene, camera: Camera, rng: np.random.Generator) -> Radiance:
    """Scene and lamps in balanced raw, through the lens."""
    to_raw = np.linalg.inv(camera.matrix).astype(np.float32)
    raw = np.maximum(cv2.transform(scene.radiance, to_raw), 0)
    lamps = _lamps(scene, camera, rng)
    if lamps is not None:
        raw += lamps
        raw += _halo(lamps, camera)
    if camera.blur > 0.25:
        raw = cv2.GaussianBlur(raw, (0, 0), camera.blur)
    length, angle = camera.motion
    if length > 0.7:
        size = 2 * int(np.ceil(length / 2)) + 1
        kernel = np.zeros((size, size), np.float32)
        mid = size // 2
        dx, dy = np.cos(angle) * length / 2, np.sin(angle) * length / 2
        ends = [tuple(round(float(v) * 16) for v in p) for p in ((mid - dx, mid - dy), (mid + dx, mid + dy))]
        cv2.line(kernel, ends[0], ends[1], 1.0, 1, cv2.LINE_8, 4)
        raw = cv2.filter2D(raw, -1, kernel / max(float(kernel.sum()), 1e-6))
    return np.asarray(raw, np.float32)


def _halo(lamps: Radiance, camera: Camera) -> Radiance:
    h, w = lamps.shape[:2]
    near, middle, far = camera.glare
    halo = np.float32(near) * cv2.GaussianBlur(lamps, (0, 0), 2.2)
    small = cv2.resize(lamps, (max(w // 4, 1), max(h // 4, 1)), interpolation=cv2.INTER_AREA)
    wide = np.float32(middle) * cv2.GaussianBlur(small, (0, 0), 2.0)
    wide += np.float32(far) * cv2.GaussianBlur(small, (0, 0), 7.0)
    halo += cv2.resize(wide, (w, h), interpolation=cv2.INTER_LINEAR)
    return np.asarray(halo, np.float32)


def _gain(scene: LitScene, camera: Camera) -> float:
    grey = float(scene.radiance[::4, ::4, 1].mean()) + 1e-4
    metered = float(np.clip(0.24 / grey, 0.35, 2.2))
    gain = (metered * 0.85) ** 0.5 * 0.85**0.5
    if scene.light == "night":
        gain *= 0.35
    elif scene.light == "dusk":
        gain *= 0.65
    return gain * float(2.0**camera.exposure)


def _sense(raw: Radiance, camera: Camera, rng: np.random.Generator) -> Radiance:
    """Clipping, noise and mosaic."""
    np.minimum(raw, 1.0, out=raw)
    noise = np.empty(raw.shape, np.float32)
    rng.standard_normal(out=noise, dtype=np.float32)
    noise *= np.sqrt(raw * np.float32(camera.shot) + np.float32(camera.read**2))
    raw += noise
    np.clip(raw, 0.0, 1.0, out=raw)
    if camera.mosaic:
        full = (raw * 65535.0).astype(np.uint16)
        bayer = np.ascontiguousarray(full[:, :, 1])
        bayer[0::2, 0::2] = full[0::2, 0::2, 0]
        bayer[1::2, 1::2] = full[1::2, 1::2, 2]
        raw = cv2.cvtColor(bayer, cv2.COLOR_BayerRGGB2RGB).astype(np.float32) / np.float32(65535.0)
    return raw


def _curve(camera: Camera) -> Pixels:
    x = np.linspace(0, 1, 4096)
    y = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(x, 1 / 2.4) - 0.055)
    s = y * y * (3 - 2 * y)
    y = y + camera.tone * (s - y)
    y = camera.lift + (1 - camera.lift) * y
    return np.asarray(np.round(np.clip(y, 0, 1) * 255), np.uint8)


def _develop(raw: Radiance, camera: Camera) -> Pixels:
    matrix = camera.matrix.copy()
    grey = np.array([[0.2126, 0.7152, 0.0722]] * 3)
    matrix = (grey + camera.saturation * (np.eye(3) - grey)) @ matrix
    linear = cv2.transform(raw, matrix.astype(np.float32))
    np.clip(linear, 0, 1, out=linear)
    if camera.local:
        h, w = linear.shape[:2]
        small = cv2.resize(linear[:, :, 1], (max(w // 8, 1), max(h // 8, 1)), interpolation=cv2.INTER_AREA)
        base = cv2.resize(cv2.GaussianBlur(small, (0, 0), 3), (w, h), interpolation=cv2.INTER_LINEAR)
        linear *= (np.power(np.maximum(base, 0.02) / 0.25, -0.5 * camera.local))[:, :, None]
        np.clip(linear, 0, 1, out=linear)
    picture = _curve(camera)[(linear * 4095).astype(np.uint16)]
    amount, sigma = camera.sharpen
    if amount > 0.05:
        soft = cv2.GaussianBlur(picture, (0, 0), sigma)
        picture = cv2.addWeighted(picture, 1 + amount, soft, -amount, 0)
    return np.asarray(picture, np.uint8)


def _encode(picture: Pixels, camera: Camera) -> Pixels:
    if camera.softness < 1:
        h, w = picture.shape[:2]
        small = cv2.resize(
            picture,
            (max(int(w * camera.softness), 1), max(int(h * camera.softness), 1)),
            interpolation=cv2.INTER_AREA,
        )
        picture = np.asarray(cv2.resize(small, (w, h), interpolation=cv2.INTER_CUBIC), np.uint8)
    sampling = {
        444: cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
        422: cv2.IMWRITE_JPEG_SAMPLING_FACTOR_422,
        420: cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420,
    }[camera.sampling]
    for quality in camera.quality:
        _, data = cv2.imencode(
            ".jpg", picture[:, :, ::-1],
            [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling],
        )  # fmt: skip
        picture = np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)[:, :, ::-1]
    return np.ascontiguousarray(picture)
