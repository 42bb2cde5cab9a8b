"""One decent photograph of a signal showing a given aspect, with its truth: what `litlamp draw` makes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import Aspect
from litlamp.scene.camera import draw_camera, expose
from litlamp.scene.clutter import KINDS, Before
from litlamp.scene.compose import Cut, Extra, Scenery, compose, draw_scenery
from litlamp.scene.heads import Kind
from litlamp.scene.light import LIGHTS, WEATHERS, Light, LitScene, Weather
from litlamp.scene.posts import draw_post
from litlamp.scene.truth import SceneTruth

# A telephone's main lens zoomed in about three times: focal length as a multiple of the picture's width.
_FOCAL = 2.4
# Bright enough to be seen as lit, low enough that the colour survives in the lamp's core (see BRIGHT).
_LUMINANCE: dict[Light, float] = {"day": 0.8, "overcast": 1.0, "low sun": 0.8, "dusk": 1.8, "night": 4.0}


def draw(
    aspect: Aspect | None,
    *,
    seed: int = 0,
    size: tuple[int, int] = (1600, 1200),
    light: Light = "day",
    weather: Weather = "clear",
    distance: float | None = None,
    exposure: float = 0.0,
    kind: Kind | None = None,
    cut: Cut | None = None,
    snow_on_plate: bool = False,
    extra: str | None = None,
    back: bool = False,
    lit: tuple[bool, ...] | None = None,
) -> tuple[NDArray[np.uint8], SceneTruth]:
    """Draw the aspect: (rgb uint8 (H, W, 3) sRGB, its exact truth). The same arguments give the same bytes.

    Parameters
    ----------
    aspect : what the signal shows; mount and arrangement left unsaid are mast and vertical; None draws
        a scene with no signal.
    distance : metres to the signal through a telephone's lens zoomed three times; None frames it well.
    exposure : stops brighter (positive) or darker than the camera would have chosen.
    kind : of the heads, or None to let the seed choose.
    cut : the picture's edge cuts the highest or the lowest head.
    snow_on_plate : the plates are mostly under snow.
    extra : one thing more that is no signal, of `litlamp.scene.clutter.KINDS` ("road light", ..).
    back : seen from behind.
    lit : which heads burn at this moment, for flashing lamps; None shows them all lit.

    Raises
    ------
    ValueError : for an unknown light, weather or extra, or a size that is not positive.
    """
    scene, truth, rng = stage(
        aspect, seed, size, light, weather, distance, kind, cut, snow_on_plate, extra, back, lit
    )
    camera = draw_camera(rng, light, fine=True)
    return expose(scene, replace(camera, exposure=camera.exposure + exposure), rng), truth


def stage(
    aspect: Aspect | None,
    seed: int,
    size: tuple[int, int],
    light: Light,
    weather: Weather,
    distance: float | None,
    kind: Kind | None,
    cut: Cut | None,
    snow_on_plate: bool,
    extra: str | None,
    back: bool,
    lit: tuple[bool, ...] | None,
) -> tuple[LitScene, SceneTruth, np.random.Generator]:
    """What `draw` exposes: the linear scene, its truth, and the generator left for the camera.

    Between calls that differ in `lit` alone nothing but the lamps changes, so a clip can be staged phase by
    phase.
    """
    if light not in LIGHTS:
        raise ValueError(f"light must be one of {', '.join(LIGHTS)}, not {light!r}")
    if weather not in WEATHERS:
        raise ValueError(f"weather must be one of {', '.join(WEATHERS)}, not {weather!r}")
    if extra is not None and extra not in KINDS:
        raise ValueError(f"a thing that is no signal must be one of {', '.join(KINDS)}, not {extra!r}")
    if min(size) < 16:
        raise ValueError(f"a picture must be at least 16 px wide and high, not {size[0]} x {size[1]}")
    rng = np.random.default_rng((seed, 11))
    width, height = size
    scenery = _framed(rng, size, light, weather)
    if extra is not None:
        side = float(rng.choice([0.14, 0.86]))
        scenery = replace(scenery, extras=(Extra(extra, (side, 0.4), 0.07 * min(size)),))
    scenery = replace(
        scenery, kind=kind, cut=cut, snow_on_plate=snow_on_plate, back=back,
        lit=None if aspect is None else lit if lit is not None else (True,) * len(aspect.heads),
    )  # fmt: skip
    if aspect is None:
        scene, truth = compose((), scenery, rng)
        return scene, truth, rng
    aspect = replace(aspect, mount=aspect.mount or "mast", arrangement=aspect.arrangement or "vertical")
    # A first look at how tall such a signal is: the one that compose builds differs a little, and fits.
    trial = draw_post(np.random.default_rng((seed, 12)), aspect, kind=kind)
    tall = trial.high - trial.low
    lens = trial.heads[0][0].lens
    scale = min(0.6 * height / tall, 0.042 * height / lens)
    if distance is not None:
        scale = _FOCAL * width / distance
    away = distance if distance is not None else _FOCAL * width / scale
    scenery = replace(scenery, lens=scale * lens, distance=away, fit=distance is None)
    scene, truth = compose((aspect,), scenery, rng)
    return scene, truth, rng


def _framed(rng: np.random.Generator, size: tuple[int, int], light: Light, weather: Weather) -> Scenery:
    """Scenery as someone would choose it who wants the signal to be seen."""
    haze = {"clear": 0.0, "haze": 0.12, "rain": 0.08, "snow": 0.1, "fog": 0.35}[weather]
    return draw_scenery(
        rng,
        size,
        light=light,
        weather=weather,
        fit=True,
        place=(float(rng.uniform(0.38, 0.62)), float(rng.uniform(0.42, 0.5))),
        roll=float(np.clip(rng.normal(0, 0.012), -0.03, 0.03)),
        yaw=float(np.clip(rng.normal(0, 0.12), -0.3, 0.3)),
        converge=0.003,
        eye=1.6,
        blur=float(rng.uniform(0, 1.5)) * max(size) / 1600,
        haze=haze,
        luminance=float(_LUMINANCE[light] * math.exp(rng.normal(0, 0.15))),
        cut=None,
        extras=(),
        before=Before(),
        photo=None,
        room=False,
        back=False,
    )
