"""A scene filmed from where one stands: composed once, wider than the picture, then moved about."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from litlamp.aspects.aspect import Aspect
from litlamp.box import Box
from litlamp.scene.cutout import Light, Sizes, add_light, light_of, moved_box
from litlamp.scene.draw import stage
from litlamp.scene.film import Film
from litlamp.scene.heads import Kind
from litlamp.scene.lamps_over_time import LampKey
from litlamp.scene.light import Glow, GlowColour, LitScene, Radiance, Source, Weather
from litlamp.scene.light import Light as LightName
from litlamp.scene.motion import Hold
from litlamp.scene.moving import LampRows, Spot
from litlamp.scene.posts import draw_post
from litlamp.scene.truth import SceneTruth, SignalTruth

_FOCAL = 2.4  # of the picture's width, as of `draw`
# Streaks of rain are not part of a picture that is moved about; the grey light is.
_STILL_WEATHER: dict[Weather, Weather] = {"rain": "haze", "snow": "haze"}


@dataclass(frozen=True, slots=True)
class _Lamp:
    key: LampKey | None  # None: no signal's lamp, lit throughout
    colour: GlowColour
    source: Source
    light: Light


class FlatScene:
    """One signal, or none, in a scene composed like a photograph; see `moving.Moving`.

    Parameters
    ----------
    aspects : what the signal shows over time, each once; they differ in their lamps alone.
    held : how the camera is held.
    """

    def __init__(
        self,
        aspects: tuple[Aspect, ...],
        held: Hold,
        *,
        seed: int,
        light: LightName,
        weather: Weather,
        distance: float | None,
        kind: Kind | None,
        extra: str | None,
        back: bool,
    ) -> None:
        self.size, self._held = held.size, held
        shade = "overcast" if weather in ("rain", "snow") and light in ("day", "low sun") else light
        calm = _STILL_WEATHER.get(weather, weather)
        if len(aspects) > 1 and kind not in ("searchlight", "led"):
            kind = "searchlight"  # one lens for every colour, so that all else stays the same
        if distance is None and aspects:
            distance = _framed(aspects[0], seed, kind, held.size)
        away = None if distance is None else distance * held.wide[0] / held.size[0]
        staged = [
            stage(a, seed, held.wide, shade, calm, away, kind, None, False, extra, back, None)
            for a in (aspects or (None,))
        ]
        scene, truth, _ = staged[0]
        self.signals: tuple[SignalTruth, ...] = truth.signals
        self.setting: LitScene = replace(scene, glows=(), weather=weather, light=light)
        self.factors = tuple(
            (k, {"light": light, "weather": weather, "size": str(self.size)}.get(k, v))
            for k, v in truth.factors
        )
        self._others = truth.distractors
        self._wide = Sizes(scene.radiance, min(held.zooms))
        self._lamps = _lamps_of([(s, t) for s, t, _ in staged])

    def sources(self, signal: int) -> tuple[Source, ...]:
        """What makes the light of each head."""
        known = {lamp.key.head: lamp.source for lamp in self._lamps if lamp.key is not None}
        return tuple(known.get(i, "incandescent") for i in range(len(self.signals[signal].heads)))

    def where(self, seconds: float) -> tuple[Spot, ...]:
        """The one signal."""
        return tuple(Spot(i, self._held.at(seconds)) for i in range(len(self.signals)))

    def others(self, seconds: float) -> tuple[tuple[str, Box], ...]:
        """Distractors in the picture."""
        moved = ((kind, moved_box(box, self._held.at(seconds))) for kind, box in self._others)
        return tuple((kind, box) for kind, box in moved if box.clamp(*self.size).area > 0)

    def paint(self, seconds: float, film: Film, lamps: LampRows) -> Radiance:
        """The picture (H, W, 3), linear."""
        affine = self._held.at(seconds)
        found = self._wide.laid(affine, self.size)
        assert found is not None and found[1] == (0, 0)
        picture = found[0]
        for lamp in self._lamps:
            rows = (lambda y, key=lamp.key: lamps(key, y)) if lamp.key is not None else np.ones_like
            add_light(picture, lamp.light, affine, film.lamp_colour(lamp.colour, lamp.source), rows)
        return picture

    def sweep(self, seconds: float, open_s: float) -> tuple[float, float]:
        """Shake within a shutter time, px."""
        return self._held.sweep(seconds, open_s)


def _framed(aspect: Aspect, seed: int, kind: Kind | None, size: tuple[int, int]) -> float:
    """Metres from which the signal fills the clip's picture well, at its most where a zoom goes in."""
    trial = draw_post(np.random.default_rng((seed, 12)), aspect, kind=kind)  # as `stage` will build it
    scale = min(0.48 * size[1] / (trial.high - trial.low), 0.042 * size[1] / trial.heads[0][0].lens)
    return _FOCAL * size[0] / scale


def _lamps_of(staged: list[tuple[LitScene, SceneTruth]]) -> tuple[_Lamp, ...]:
    """Every lamp once: those of the signal by head and colour, with their reflections; then all others."""
    out: dict[tuple[LampKey, int], _Lamp] = {}
    rest: list[_Lamp] = []
    for scene, truth in staged:
        heads = [(i, h) for s in truth.signals if s.facing for i, h in enumerate(s.heads)]
        others: list[_Lamp] = []
        for glow in scene.glows:
            key = next((LampKey(0, i, h.lamp.colour) for i, h in heads if glow.x == h.centre[0]
                        and glow.colour == h.lamp.colour and _of_head(glow, h.centre)), None)  # fmt: skip
            lamp = _Lamp(key, glow.colour, glow.source, light_of(glow))
            if key is None:
                others.append(lamp)
            else:
                out.setdefault((key, 0 if glow.y == truth.signals[0].heads[key.head].centre[1] else 1), lamp)
        rest = rest or others
    return (*out.values(), *rest)


def _of_head(glow: Glow, centre: tuple[float, float]) -> bool:
    """A lamp itself, or its reflection in wet ground straight below."""
    return glow.y >= centre[1]
