"""Single frames of lines seen from a cab, each by a camera of its own: pictures to learn from.

What stands along a line is painted once; `Lineside` then shows it from many places.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from litlamp.box import union_of
from litlamp.scene import codec
from litlamp.scene.clip import DrawnClip, film_scene
from litlamp.scene.clutter import KINDS
from litlamp.scene.codec import Saving
from litlamp.scene.compose import random_aspect
from litlamp.scene.frame_times import frame_times
from litlamp.scene.lamps_over_time import Filament, Flashing, Ripple, Shown
from litlamp.scene.light import LIGHTS, Light, Weather
from litlamp.scene.moving import Spot, shown_at
from litlamp.scene.ride import FOCAL, LineScene, LineSignal, LineThing
from litlamp.scene.track import Run
from litlamp.scene.truth import SceneTruth, SignalTruth

Pixels = NDArray[np.uint8]

_SIZES = (768, 432), (960, 540), (1280, 720)
_SIGNALS = 3
_APART = 90.0, 220.0  # m
_PACE = 16.0  # m/s
_LENS_M = 0.2
_LENS_PX = 2.8, 22.0
_MARGIN = 24  # px about a piece of the picture that glare and blur may come from


class Lineside:
    """One line with a few signals, all else drawn by the seed."""

    def __init__(self, seed: int) -> None:
        """Paint the line: a second's work."""
        rng = np.random.default_rng((seed, 90))
        light: Light = LIGHTS[int(rng.choice(5, p=[0.34, 0.24, 0.14, 0.13, 0.15]))]
        weathers: tuple[Weather, ...] = ("clear", "haze", "rain", "snow", "fog")
        weather = weathers[int(rng.choice(5, p=[0.7, 0.1, 0.08, 0.07, 0.05]))]
        self._size = _SIZES[int(rng.integers(len(_SIZES)))]
        signals, at = [], 40.0
        for _ in range(_SIGNALS):
            aspect = random_aspect(rng)
            at += float(rng.uniform(*_APART))
            beside = float(rng.uniform(1.9, 2.3) if aspect.mount == "dwarf" else rng.uniform(2.5, 3.3))
            if rng.random() < 0.2:  # of another track
                beside = float(rng.choice([-1, 1]) * rng.uniform(3, 8))
            signals.append(LineSignal((aspect,), at, beside, None, bool(rng.random() < 0.08)))
        things = [
            LineThing(str(kind), float(rng.uniform(40, at)), float(rng.choice([-1, 1]) * rng.uniform(5, 14)))
            for kind in rng.choice(KINDS, int(rng.integers(0, 4)))
        ]
        seconds = at / _PACE
        scene = LineScene(
            signals, Run((0.0, seconds), (_PACE, _PACE), 10.0), seed=seed, size=self._size, light=light,
            weather=weather, tightest=float(rng.uniform(500, 2500)), wires=bool(rng.random() < 0.3),
            extras=things,
        )  # fmt: skip
        self._at = [signal.at for signal in signals]
        self._clip = partial(
            film_scene,
            scene,
            tuple((Shown(0.0, seconds, signal.aspects[0]),) for signal in signals),
            frame_times(rng, seconds, 2.0, 0.0),
            ripple=Ripple(),
            filament=Filament(float(rng.uniform(0.03, 0.12)), float(rng.uniform(0.03, 0.1))),
            shutter=None,
            pumping=0.0,
            exposure=0.0,
        )

    def picture(self, seed: int, side: int) -> tuple[Pixels, SceneTruth]:
        """A square piece of one frame, uint8 (side, side, 3), R G B, sRGB, and what is true of it, px of it.

        `side` is no more than the frames are high, 432 px at the least.
        """
        rng = np.random.default_rng((seed, 91))
        flashing = tuple(
            Flashing(float(rng.uniform(40, 65)), float(rng.uniform(0.4, 0.6)), float(rng.random()))
            for _ in self._at
        )
        fine = bool(rng.random() < 0.5)
        clip = self._clip(seed=seed, flashing=flashing, fine=fine)
        lens = math.exp(rng.uniform(math.log(_LENS_PX[0]), math.log(_LENS_PX[1])))
        away = max(FOCAL * self._size[0] * _LENS_M / lens, 6.0)
        number = int(rng.integers(len(self._at)))
        now = max((self._at[number] - away - 10.0) / _PACE, 0.0)
        told = clip.signals_at(now)
        corner = _corner(rng, told.get(number), self._size, side)
        rgb = _piece(clip, now, corner, side, rng)
        return rgb, _truth(clip, now, told, corner, side)


def _corner(
    rng: np.random.Generator, signal: SignalTruth | None, size: tuple[int, int], side: int
) -> tuple[int, int]:
    """Where the piece begins: somewhere about the signal, inside the picture."""
    x, y = (s / 2 for s in size) if signal is None else union_of([h.box for h in signal.heads]).centre
    corner = (v - side * rng.uniform(0.2, 0.8) for v in (x, y))
    left, top = (int(min(max(v, 0), s - side)) for v, s in zip(corner, size, strict=True))
    return left, top


def _piece(
    clip: DrawnClip, now: float, corner: tuple[int, int], side: int, rng: np.random.Generator
) -> Pixels:
    """That piece as the clip's camera takes it."""
    light = clip.scene.paint(now, clip.film, partial(clip.rows, seconds=now))
    clip.falling.lay(light, rng)
    gain = clip.film.gain(light, clip.scene.setting)
    width, height = clip.size
    x0, y0 = (max(v - _MARGIN, 0) for v in corner)
    x1, y1 = min(corner[0] + side + _MARGIN, width), min(corner[1] + side + _MARGIN, height)
    sweep = clip.scene.sweep(now, clip.film.shutter.open_s)
    taken = clip.film.take(np.ascontiguousarray(light[y0:y1, x0:x1]), gain, rng, sweep)
    left, top = corner[0] - x0, corner[1] - y0
    piece = np.ascontiguousarray(taken[top : top + side, left : left + side])
    step = float(rng.choice([0.0, rng.uniform(2, 8), rng.uniform(8, 24)], p=[0.3, 0.5, 0.2]))
    return codec.save(piece, Saving(quality=(), video=step))


def _truth(
    clip: DrawnClip, now: float, told: dict[int, SignalTruth], corner: tuple[int, int], side: int
) -> SceneTruth:
    x, y = corner
    moved = np.array([[1.0, 0.0, -x], [0.0, 1.0, -y]])
    shown = [shown_at(signal, Spot(i, moved), (side, side)) for i, signal in told.items()]
    signals = tuple(s for s in shown if any(h.box.clamp(side, side).area > 0 for h in s.heads))
    others = ((kind, box.shift(-x, -y)) for kind, box in clip.scene.others(now))
    kept = tuple((kind, box) for kind, box in others if box.clamp(side, side).area > 0)
    return SceneTruth((side, side), signals, kept, clip.scene.factors)
