"""A camera: linear light through lens, sensor and processing to the 8-bit picture people take.

The order is a real camera's: the light of scene and lamps meets in the lens (glare, blur), the sensor clips
it, adds noise and samples colour through a mosaic, and only then come colour matrix, tone, sharpening and
JPEG. Clipping before the matrix is what gives an over-exposed red lamp its orange or white core and red rim;
no colour of a lit lamp is chosen here, all follow from the lamp's spectrum and the camera's sensitivities.

Spreads of the factors are estimates without a source, wide on purpose, unless a line says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.scene import codec, weather
from litlamp.scene.codec import Saving
from litlamp.scene.develop import Look, Pixels, Sensor, develop, sense, sharpened
from litlamp.scene.lens import Lens, through
from litlamp.scene.light import GLOW_COLOURS, Glow, Light, LitScene, Radiance
from litlamp.scene.spectra import balanced, cast, colour_matrix, lamp_spectrum, luminance_one, sensitivities


@dataclass(frozen=True, slots=True)
class Camera:
    """One camera, and how it was set and held.

    Attributes
    ----------
    curves : float64 (3, wavelengths), sensitivity of red, green and blue; see `spectra`.
    matrix : float64 (3, 3), balanced raw to linear sRGB.
    exposure : stops brighter than the meter would choose.
    metering : 0 to 1, how far the meter brings every scene to one grey.
    adapt : 0 to 1, how far the white balance follows the light from daylight to `reach`.
    reach : (low, high) kelvin that the white balance can follow.
    balance : error of the white balance left then, a factor each for R, G, B.
    zoom : share of the picture's pixels across that the sensor really had, the rest made by enlarging.
    wet : 0 to 1, how wet the glass gets in falling rain or snow.
    """

    curves: NDArray[np.float64]
    matrix: NDArray[np.float64]
    exposure: float = 0.0
    metering: float = 0.5
    adapt: float = 0.9
    reach: tuple[float, float] = (3000.0, 9000.0)
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    zoom: float = 1.0
    wet: float = 0.0
    lens: Lens = field(default_factory=Lens)
    sensor: Sensor = field(default_factory=Sensor)
    look: Look = field(default_factory=Look)
    saving: Saving = field(default_factory=Saving)


def draw_camera(rng: np.random.Generator, light: Light, *, fine: bool = False) -> Camera:
    """A random camera for that light; `fine` a good one, well held, for pictures people are to look at."""
    curves = sensitivities(rng)
    matrix = colour_matrix(curves)
    if fine:
        return _fine(rng, light, curves, matrix)
    u, n, chance = rng.uniform, rng.normal, rng.random
    # Makers tone the matrix down to save noise, some overdo it.
    matrix = _pure_red(np.eye(3) + u(0.65, 1.1) * (matrix - np.eye(3)), max(u(-0.6, 1.0), 0.0))
    warm, tint = n(0, 0.14), n(0, 0.06)
    merged = chance() < 0.4  # several exposures in one: highlights keep their detail
    return Camera(
        curves=curves,
        matrix=matrix,
        exposure=float(n(0, 0.65) if chance() < 0.86 else u(-2.5, 2.5)),
        metering=float(u(0.3, 0.8)),
        adapt=float(u(0.3, 1.0)),
        reach=(float(u(2600, 3600)), float(u(6500, 10000))),
        balance=(float(2.0 ** (warm + tint)), 1.0, float(2.0 ** (-warm + tint))),
        zoom=1.0 if chance() < 0.72 else float(u(0.35, 0.9)),
        wet=0.0 if chance() < 0.6 else float(u(0, 1)),
        lens=_draw_lens(rng, light),
        sensor=_draw_sensor(rng, light, merged),
        look=Look(
            tone=float(u(-0.2, 0.8)),
            lift=0.0 if chance() < 0.7 else float(u(0.0, 0.06)),
            local=0.0 if chance() < (0.4 if merged else 0.85) else float(u(0.2, 0.8)),
            keep_hue=bool(chance() < 0.4),
            saturation=float(np.exp(n(0.0, 0.2))),
            vibrance=0.0 if chance() < 0.6 else float(u(-0.3, 0.7)),
            whiten=0.0 if chance() < 0.45 else float(u(0.3, 1.0)),
            smear=0.0 if chance() < 0.6 else float(u(0.5, 2.2)),
            clean=0.0 if chance() < 0.88 else float(u(8, 40)),
            sharpen=(float(max(n(0.4, 0.5), 0.0)), float(u(0.6, 1.8))),
        ),
        saving=_draw_saving(rng),
    )


def _pure_red(matrix: NDArray[np.float64], share: float) -> NDArray[np.float64]:
    """The matrix with a share of the blue taken out of deep reds, which the eye minds most; white stays."""
    excess = share * max(float(matrix[2, 0]), 0.0)
    purer = matrix.copy()
    purer[2] += np.array([-excess, 0.0, excess])
    return purer


def _draw_lens(rng: np.random.Generator, light: Light) -> Lens:
    u, n, chance = rng.uniform, rng.normal, rng.random
    dark = light in ("dusk", "night")
    # Clean lenses throw a hundredth of the light about, greasy ones a quarter. Large halos are weak.
    total = float(np.clip(np.exp(n(-3.2, 0.9)), 0.004, 0.4))
    falls = u(0.35, 0.75)
    glare = np.array([falls**k for k in range(5)])
    glare *= total / glare.sum()
    rays, ghost = (0, 0.0, 0.0), (0.0, 0.5, 0.5, 1.0)
    if dark and chance() < 0.08:
        rays = (int(rng.choice([4, 6, 8, 14])), float(u(0.01, 0.12)), float(u(0, math.pi)))
    if dark and chance() < 0.1:
        ghost = (float(np.exp(u(-7, -4))), float(u(-0.2, 1.2)), float(u(-0.2, 1.2)), float(u(0.6, 1.8)))
    edge = float(abs(n(0, 0.5))) if chance() < 0.3 else 0.0
    way = float(u(0, 2 * math.pi))
    return Lens(
        soft=float(min(abs(n(0.3, 0.5)) + 0.2, 2.2)),
        defocus=0.0 if chance() < 0.93 else float(u(0.6, 3.5)),
        motion=(0.0 if chance() < 0.8 else float(min(abs(n(0, 3.0)), 9.0)), float(u(0, math.pi))),
        glare=tuple(float(g) for g in glare),
        fringe=(edge * math.cos(way), edge * math.sin(way)),
        rays=rays,
        ghost=ghost,
    )


def _gain(rng: np.random.Generator, light: Light) -> float:
    low, high = {"night": (1.5, 5.5), "dusk": (0.5, 4.0)}.get(light, (-0.5, 2.0))
    return float(2.0 ** rng.uniform(low, high))


def _draw_sensor(rng: np.random.Generator, light: Light, merged: bool) -> Sensor:
    u, chance = rng.uniform, rng.random
    mosaic = int(rng.integers(4)) if chance() < 0.4 else None
    # A telephone's pixel holds a few thousand electrons; a picture reduced from a finer one averages.
    held = u(2000, 9000) * (1 if mosaic is not None else u(1.5, 10)) * (3 if merged else 1)
    return Sensor(
        gain=min(_gain(rng, light), held / 250),  # beyond that, cameras lengthen the exposure instead
        read=float(u(1.0, 3.0) / held),
        shot=float(1 / held),
        headroom=float(2.0 ** u(0.5, 3)) if merged else 1.0,
        mosaic=mosaic,
        stuck=0.0 if light != "night" or chance() < 0.9 else float(np.exp(u(-11, -8))),
    )


def _draw_saving(rng: np.random.Generator) -> Saving:
    u, chance = rng.uniform, rng.random
    film = chance() < 0.14
    quality = [int(u(80, 98))] if film else [int(97 - 62 * chance() ** 1.7)]
    if not film and chance() < 0.3:
        quality.append(int(u(45, 95)))
    return Saving(
        quality=tuple(quality),
        sampling="444" if chance() < 0.2 else "422" if chance() < 0.2 else "420",
        shift=(int(rng.integers(16)), int(rng.integers(16))),
        resized=float(u(0.6, 0.95)) if len(quality) > 1 and chance() < 0.4 else 1.0,
        video=float(np.exp(u(math.log(6), math.log(45)))) if film else 0.0,
    )


def _fine(
    rng: np.random.Generator, light: Light, curves: NDArray[np.float64], matrix: NDArray[np.float64]
) -> Camera:
    u, n = rng.uniform, rng.normal
    warm, tint = n(0, 0.06), n(0, 0.025)
    total = float(np.exp(n(-4.0, 0.4)))
    return Camera(
        curves=curves,
        matrix=_pure_red(matrix, 1.0),
        exposure=float(n(0, 0.15)),
        metering=0.5,
        adapt=float(u(0.75, 0.95)),
        reach=(3200.0, 8000.0),
        balance=(float(2.0 ** (warm + tint)), 1.0, float(2.0 ** (-warm + tint))),
        lens=Lens(soft=float(u(0.3, 0.5)), glare=tuple(total * f for f in (0.5, 0.25, 0.13, 0.08, 0.04))),
        sensor=Sensor(
            gain=min(_gain(rng, light), 8.0), read=0.0003, shot=float(u(2e-5, 8e-5)), headroom=float(u(1, 2))
        ),
        look=Look(
            tone=float(u(0.0, 0.4)),
            saturation=float(u(0.95, 1.12)),
            whiten=float(u(0, 0.6)),
            sharpen=(float(u(0.1, 0.4)), float(u(0.6, 1.2))),
        ),
        saving=Saving((int(u(88, 96)),), "444"),
    )


def expose(
    scene: LitScene,
    camera: Camera,
    rng: np.random.Generator,
    *,
    lamps: int | None = None,
    model: bool = False,
) -> Pixels:
    """The picture the camera makes: RGB uint8 (H, W, 3), sRGB. The scene is not written to.

    Parameters
    ----------
    lamps : seed of the lamps' spectra, for frames of one clip whose lamps must keep theirs; None draws it.
    model : the lamps are those of a model layout (see `spectra.lamp_spectrum`).
    """
    seed = int(rng.integers(2**31)) if lamps is None else lamps
    raw = _gather(scene, camera, seed, model)
    h, w = raw.shape[:2]
    if camera.wet > 0 and scene.weather in ("rain", "snow"):
        raw = _wet(raw, rng, camera.wet)
    raw = through(raw, camera.lens)
    if camera.zoom < 1:
        size = (max(round(w * camera.zoom), 2), max(round(h * camera.zoom), 2))
        raw = np.asarray(cv2.resize(raw, size, interpolation=cv2.INTER_AREA), np.float32)
    raw = sense(raw, camera.sensor, rng)
    picture = develop(raw, camera.matrix, camera.look, camera.sensor.headroom)
    if camera.zoom < 1:
        picture = codec.resized(picture, (h, w))
    return codec.save(sharpened(picture, *camera.look.sharpen), camera.saving)


def _gather(scene: LitScene, camera: Camera, seed: int, model: bool) -> Radiance:
    """Scene and lamps as exposed, balanced raw (H, W, 3), a new array."""
    gain = metered(scene, camera.metering) * 2.0**camera.exposure
    low, high = camera.reach
    # Between daylight and the light of the place, in reciprocal kelvin, as white balance scales run.
    followed = 1 / ((1 - camera.adapt) / 6500 + camera.adapt / scene.ambient_kelvin)
    undone = np.asarray(camera.balance) * gain / cast(min(max(followed, low), high), camera.curves)
    under_ambient = undone * cast(scene.ambient_kelvin, camera.curves)
    to_raw = under_ambient[:, None] * np.linalg.inv(camera.matrix)
    raw = np.asarray(cv2.transform(scene.radiance, to_raw.astype(np.float32)), np.float32)
    np.maximum(raw, 0, out=raw)
    colours: dict[tuple[str, str], Radiance] = {}
    for glow in scene.glows:
        key = (glow.colour, glow.source)
        if key not in colours:
            own = np.random.default_rng((seed, GLOW_COLOURS.index(glow.colour), glow.source == "led"))
            spectrum = lamp_spectrum(glow.colour, glow.source, own, model=model)
            seen = balanced(luminance_one(spectrum[None]), camera.curves)[0]
            colours[key] = np.asarray(seen * undone, np.float32)
        _add(raw, glow, colours[key])
    return raw


def _add(raw: Radiance, glow: Glow, colour: Radiance) -> None:
    h, w = raw.shape[:2]
    x0, y0 = glow.origin
    gh, gw = glow.mask.shape
    left, top, right, low = max(x0, 0), max(y0, 0), min(x0 + gw, w), min(y0 + gh, h)
    if left < right and top < low:
        part = glow.mask[top - y0 : low - y0, left - x0 : right - x0, None]
        raw[top:low, left:right] += part * (colour * np.float32(glow.luminance))


def metered(scene: LitScene, strength: float) -> float:
    """The gain a meter chooses, white paint in the key light being 1: about 0.85 of full scale by day.

    Dark scenes are shown dark: nobody's meter makes night as bright as day.
    """
    small = cv2.resize(scene.radiance, (24, 24), interpolation=cv2.INTER_AREA)
    grey = float(small.mean(axis=(0, 1)) @ np.array([0.2126, 0.7152, 0.0722])) + 1e-4
    shown = {"night": 0.35, "dusk": 0.65}.get(scene.light, 1.0)
    return float(0.85 * shown * np.clip(0.24 / grey, 0.35, 2.5) ** strength)


def _wet(raw: Radiance, rng: np.random.Generator, amount: float) -> Radiance:
    size = min(raw.shape[:2]) / 256
    if rng.random() < 0.6:
        most = 1 + int(10 * amount)
        raw = weather.drops(raw, rng, int(rng.integers(1, most + 1)), (4 * size, (6 + 22 * amount) * size))
    if rng.random() < 0.4:
        raw = weather.wiped(raw, rng, 0.05 + 0.4 * amount)
    if rng.random() < 0.25:  # misted over: the glass shows the mean of all before it
        r, g, b = (float(v) for v in raw.mean(axis=(0, 1)))
        raw = weather.veiled(raw, 0.4 * amount, (r, g, b))
    return raw
