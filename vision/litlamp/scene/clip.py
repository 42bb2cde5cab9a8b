"""A clip of a signal with its truth: what `litlamp draw WORDS OUT.mp4` makes, frame by frame.

Frames come one at a time and only when asked for; the truth is known before any frame is drawn.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Literal, get_args

import numpy as np

from litlamp.aspects.aspect import Aspect
from litlamp.box import union_of
from litlamp.media.frame import Pixels, Time
from litlamp.scene.backdrop import draw_sun
from litlamp.scene.camera import draw_camera
from litlamp.scene.clip_truth import ClipSignal, ClipTruth
from litlamp.scene.clutter import KINDS
from litlamp.scene.falling import Falling
from litlamp.scene.film import Film, Shutter, draw_pumping
from litlamp.scene.flat import FlatScene
from litlamp.scene.frame_times import frame_times
from litlamp.scene.heads import Kind
from litlamp.scene.lamps_over_time import Filament, Flashing, LampKey, LampLight, Ripple, Shown, lamp_light
from litlamp.scene.light import LIGHTS, WEATHERS, Light, Weather
from litlamp.scene.motion import HELD, Held, hold
from litlamp.scene.moving import Moving, Rows, shown_at
from litlamp.scene.passing import Passing, draw_passing
from litlamp.scene.truth import SignalTruth

Motion = Literal["still", "hand", "zoom", "approach"]
MOTIONS: tuple[Motion, ...] = get_args(Motion)

_SEEN = 1.5  # px of lens; farther away a signal is not held to be in the clip yet


@dataclass(frozen=True, slots=True)
class DrawnFrame:
    """One frame.

    Attributes
    ----------
    rgb : uint8 (H, W, 3), sRGB.
    gain : exposure against the clip's own at rest: what every brightness is multiplied by, in linear light.
    """

    time: Time
    rgb: Pixels
    gain: float


@dataclass(frozen=True)
class DrawnClip:
    """A clip that can be drawn.

    Attributes
    ----------
    times : of the frames, strictly increasing.
    scene : what is filmed; `film` with what.
    shown : for each of the scene's signals, its aspects in time order.
    flashing : for each of the signals, how its flashing lamps flash.
    lights : of each lamp that is ever lit.
    """

    seed: int
    times: tuple[Time, ...]
    scene: Moving
    film: Film
    shown: tuple[tuple[Shown, ...], ...]
    flashing: tuple[Flashing, ...]
    lights: dict[LampKey, LampLight]
    passing: tuple[Passing, ...]
    falling: Falling

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) of every frame, px."""
        return self.scene.size

    @property
    def fps(self) -> float:
        """Frames a second, on average; 1 for a single frame."""
        return (len(self.times) - 1) / self.times[-1].seconds if len(self.times) > 1 else 1.0

    @property
    def duration(self) -> float:
        """Seconds from the first frame to the end of the last."""
        return self.times[-1].seconds + 1 / self.fps

    def frames(self) -> Iterator[DrawnFrame]:
        """Every frame in turn; the same bytes each time they are asked for."""
        return (self.frame(i) for i in range(len(self.times)))

    def frame(self, index: int) -> DrawnFrame:
        """The frame of `times[index]`."""
        time = self.times[index]
        rng = np.random.default_rng((self.seed, 41, index))
        now = time.seconds
        light = self.scene.paint(now, self.film, partial(self.rows, seconds=now))
        for thing in self.passing:
            thing.paint(light, now)
        self.falling.lay(light, rng)
        gain = 2.0 ** self.film.pumping.stops(now)
        sweep = self.scene.sweep(now, self.film.shutter.open_s)
        return DrawnFrame(time, self.film.take(light, self._exposure * gain, rng, sweep), gain)

    @cached_property
    def _exposure(self) -> float:
        """What the meter chooses on the first frame, its lamps dark."""
        first = self.scene.paint(self.times[0].seconds, self.film, lambda key, rows: np.zeros_like(rows))
        return self.film.gain(first, self.scene.setting)

    def signals_at(self, seconds: float) -> dict[int, SignalTruth]:
        """Every signal at that time, by its number, px of the picture; `lit` as the frame of then records it.

        A lamp counts as lit where its mean light while the shutter is open is over a half.
        """
        out: dict[int, SignalTruth] = {}
        covers = tuple(box for p in self.passing if (box := p.box(seconds, self.size)) is not None)
        for spot in self.scene.where(seconds):
            signal = shown_at(self.scene.signals[spot.signal], spot, self.size, covers)
            part = _at(self.shown[spot.signal], seconds)
            heads = tuple(
                replace(
                    h,
                    lamp=lamp,
                    lit=self.light(LampKey(spot.signal, i, lamp.colour), h.centre[1], seconds) > 0.5,
                )
                for i, (h, lamp) in enumerate(zip(signal.heads, part.aspect.heads, strict=True))
            )
            out[spot.signal] = replace(signal, heads=heads)
        return out

    def light(self, key: LampKey, row: float, seconds: float) -> float:
        """Mean light of a lamp, 0 to 1, in the frame of that time at a row of the picture."""
        return float(self.rows(key, np.array([row]), seconds)[0])

    @cached_property
    def truth(self) -> ClipTruth:
        """What is true of the whole clip."""
        best: dict[int, tuple[float, float, SignalTruth]] = {}
        spans: dict[int, tuple[float, float]] = {}
        for time in self.times:
            now = time.seconds
            for number, signal in self.signals_at(now).items():
                size = min(h.diameter for h in signal.heads)
                seen = min(h.visible for h in signal.heads)
                if max(h.visible for h in signal.heads) < 0.5 or size < _SEEN:
                    continue
                spans[number] = (spans.get(number, (now, now))[0], now)
                worth = size * (1.0 if signal.whole_in_view and seen > 0.9 else 0.25 * seen)
                if number not in best or worth >= 0.999 * best[number][0]:  # the last of equals
                    best[number] = (worth, now, signal)
        signals = tuple(
            ClipSignal(_burning(signal), now, spans[number], self._aspects(number), self._flash(number))
            for number, (_, now, signal) in sorted(best.items(), key=lambda of: spans[of[0]])
        )
        middle = self.times[len(self.times) // 2].seconds
        return ClipTruth(self.size, self.duration, signals, self.scene.others(middle), self.scene.factors)

    def _aspects(self, number: int) -> tuple[Shown, ...]:
        end = self.duration
        return tuple(
            replace(part, to_s=min(part.to_s, end)) for part in self.shown[number] if part.from_s < end
        )

    def _flash(self, number: int) -> Flashing | None:
        flashes = any(lamp.flashing for part in self.shown[number] for lamp in part.aspect.heads)
        return self.flashing[number] if flashes else None

    def rows(self, key: LampKey, rows: Rows, seconds: float) -> Rows:
        """Mean light of a lamp, 0 to 1, at those rows of the frame of that time."""
        light = self.lights.get(key)
        if light is None:
            return np.zeros_like(rows)
        shutter = self.film.shutter
        start = seconds + rows / self.size[1] * shutter.readout_s
        return light.mean(start, shutter.open_s)


def _at(shown: Sequence[Shown], seconds: float) -> Shown:
    return next((p for p in reversed(shown) if p.from_s <= seconds), shown[0])


def _burning(signal: SignalTruth) -> SignalTruth:
    """A clip shows every lamp of the aspect lit at some time, whatever the one frame shows."""
    return replace(signal, heads=tuple(replace(h, lit=h.lamp.colour != "dark") for h in signal.heads))


def draw_clip(
    aspect: Aspect | None,
    *,
    seed: int = 0,
    size: tuple[int, int] = (1280, 720),
    light: Light = "day",
    weather: Weather = "clear",
    seconds: float = 6.0,
    fps: float = 30.0,
    motion: Motion = "hand",
    distance: float | None = None,
    kind: Kind | None = None,
    exposure: float = 0.0,
    flashing: Flashing | None = None,
    ripple: Ripple | None = None,
    filament: Filament | None = None,
    shutter: Shutter | None = None,
    pumping: float = 0.0,
    uneven: float = 0.0,
    changes: Sequence[tuple[float, Aspect]] = (),
    hidden: Sequence[tuple[float, float]] = (),
    shake: float = 1.0,
    zoom: float = 2.0,
    extra: str | None = None,
    back: bool = False,
    fine: bool = True,
) -> DrawnClip:
    """Draw the aspect as a clip. The same arguments give the same frames.

    Parameters
    ----------
    aspect : what the signal shows at first; None for a scene with no signal.
    motion : "still" on a tripod, "hand" held, "zoom" going in, "approach" of a train that passes the signal.
    distance : metres to the signal (at first, for an approach); None frames it well.
    kind : of the heads, or None to let the seed choose.
    exposure : stops brighter (positive) or darker than the camera would have chosen.
    flashing : rate, lit share and phase of what flashes; None draws 40 to 65 a minute, 0.4 to 0.6 lit.
    ripple, filament : of LED lamps and of bulbs; None: no ripple, and a filament drawn by the seed.
    shutter : how long rows are open and how fast they are read; None draws one that fits the light.
    pumping : stops by which automatic exposure hunts to each side.
    uneven : 0 for a constant frame rate, else the share by which steps between frames vary.
    changes : (seconds, aspect) in time order: what the signal shows from then on.
    hidden : (seconds, length in s) of times at which something passes before the signal.
    shake, zoom : see `motion.hold`.
    extra, back : see `draw.draw`.
    fine : a good camera; else any.

    Raises
    ------
    ValueError : for an unknown word, a value out of bounds, or changes that do not fit the signal.
    """
    _check(size, light, weather, motion, extra)
    rng = np.random.default_rng((seed, 40))
    times = frame_times(np.random.default_rng((seed, 43)), seconds, fps, uneven)
    shown = _over_time(aspect, changes, seconds)
    flashing = flashing or Flashing(
        float(rng.uniform(40, 65)), float(rng.uniform(0.4, 0.6)), float(rng.random())
    )
    filament = filament or Filament(float(rng.uniform(0.03, 0.12)), float(rng.uniform(0.03, 0.1)))
    scene: Moving
    aspects = tuple(dict.fromkeys(part.aspect for part in shown))
    if motion == "approach":
        from litlamp.scene.ride import approach

        scene = approach(aspects, seed=seed, size=size, light=light, weather=weather, seconds=seconds,
                         distance=distance, kind=kind, extra=extra, back=back)  # fmt: skip
    else:
        held = hold(np.random.default_rng((seed, 44)), motion, size, seconds, shake, zoom)
        scene = FlatScene(aspects, held, seed=seed, light=light, weather=weather, distance=distance,
                          kind=kind, extra=extra, back=back)  # fmt: skip
    return film_scene(
        scene,
        (shown,) if aspect is not None else (),
        times,
        seed=seed,
        flashing=(flashing,),
        ripple=ripple or Ripple(),
        filament=filament,
        shutter=shutter,
        pumping=pumping,
        exposure=exposure,
        hidden=hidden,
        fine=fine,
    )


def film_scene(
    scene: Moving,
    shown: tuple[tuple[Shown, ...], ...],
    times: tuple[Time, ...],
    *,
    seed: int,
    flashing: tuple[Flashing, ...],
    ripple: Ripple,
    filament: Filament,
    shutter: Shutter | None,
    pumping: float,
    exposure: float,
    hidden: Sequence[tuple[float, float]] = (),
    fine: bool = True,
) -> DrawnClip:
    """Film a scene whose signals show these aspects; the other arguments as of `draw_clip`."""
    setting = scene.setting
    camera = draw_camera(np.random.default_rng((seed, 45)), setting.light, fine=fine)
    rng = np.random.default_rng((seed, 46))
    film = Film(
        replace(camera, exposure=camera.exposure + exposure, zoom=1.0),
        setting.ambient_kelvin,
        int(rng.integers(2**31)),
        shutter or _shutter(rng, setting.light, times),
        draw_pumping(rng, pumping),
    )
    lights: dict[LampKey, LampLight] = {}
    for number, parts in enumerate(shown):
        for head, source in enumerate(scene.sources(number)):
            for colour in dict.fromkeys(p.aspect.heads[head].colour for p in parts):
                if colour != "dark" and scene.signals[number].facing:
                    lights[LampKey(number, head, colour)] = lamp_light(
                        parts, head, colour, source, flashing[number], ripple, filament
                    )
    sun = draw_sun(np.random.default_rng((seed, 47)), "overcast")
    passing = _passing(scene, hidden, seed)
    falling = Falling(scene.size, setting.weather, sun, seed)
    return DrawnClip(seed, times, scene, film, shown, flashing, lights, passing, falling)


def _passing(scene: Moving, hidden: Sequence[tuple[float, float]], seed: int) -> tuple[Passing, ...]:
    out = []
    for i, (at, length) in enumerate(hidden):
        spots = scene.where(at)
        if not spots:
            continue
        signal = shown_at(scene.signals[spots[0].signal], spots[0], scene.size)
        box = union_of(head.box for head in signal.heads)
        out.append(draw_passing(np.random.default_rng((seed, 48, i)), at, length, box, scene.size))
    return tuple(out)


def _check(size: tuple[int, int], light: str, weather: str, motion: str, extra: str | None) -> None:
    if light not in LIGHTS:
        raise ValueError(f"light must be one of {', '.join(LIGHTS)}, not {light!r}")
    if weather not in WEATHERS:
        raise ValueError(f"weather must be one of {', '.join(WEATHERS)}, not {weather!r}")
    if motion not in MOTIONS:
        raise ValueError(f"motion must be one of {', '.join(MOTIONS)}, not {motion!r}")
    if extra is not None and extra not in KINDS:
        raise ValueError(f"a thing that is no signal must be one of {', '.join(KINDS)}, not {extra!r}")
    if min(size) < 64 or any(v % 2 for v in size):
        raise ValueError(f"a clip must be at least 64 px wide and high, both even, not {size[0]} x {size[1]}")


def _over_time(
    aspect: Aspect | None, changes: Sequence[tuple[float, Aspect]], seconds: float
) -> tuple[Shown, ...]:
    if aspect is None:
        if changes:
            raise ValueError("a scene with no signal cannot change its aspect")
        return ()
    first = replace(aspect, mount=aspect.mount or "mast", arrangement=aspect.arrangement or "vertical")
    starts, aspects = [0.0], [first]
    for at, to in changes:
        if not starts[-1] < at < seconds:
            raise ValueError(
                f"changes must follow each other within the clip's {seconds:g} s, not at {at:g} s"
            )
        if len(to.heads) != len(first.heads):
            raise ValueError(
                f"a signal of {len(first.heads)} heads cannot change to an aspect of {len(to.heads)}"
            )
        starts.append(float(at))
        aspects.append(replace(first, heads=to.heads))
    return tuple(
        Shown(a, b, of) for a, b, of in zip(starts, [*starts[1:], float(seconds)], aspects, strict=True)
    )


def _shutter(rng: np.random.Generator, light: Light, times: tuple[Time, ...]) -> Shutter:
    """A shutter that fits the light and stays within the frame."""
    step = times[-1].seconds / (len(times) - 1) if len(times) > 1 else 1 / 30
    low, high = {"night": (1 / 60, 1 / 25), "dusk": (1 / 240, 1 / 50)}.get(light, (1 / 2000, 1 / 240))
    open_s = min(float(np.exp(rng.uniform(np.log(low), np.log(high)))), 0.95 * step)
    return Shutter(open_s, min(float(rng.uniform(0.006, 0.025)), 0.95 * step))


__all__ = ["HELD", "MOTIONS", "DrawnClip", "DrawnFrame", "Held", "Motion", "draw_clip", "film_scene"]
