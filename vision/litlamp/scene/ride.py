"""A line seen from the cab: signals that are approached and passed, and what lies between them.

`draw_ride` makes a clip of a whole ride; `approach` the scene of one signal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from litlamp.aspects.aspect import Aspect
from litlamp.box import Box
from litlamp.scene.backdrop import Season, draw_sky, draw_sun
from litlamp.scene.beside import Standing, poles_beside, signal_beside, thing_beside, woods_beside
from litlamp.scene.clutter import KINDS
from litlamp.scene.compose import KELVIN
from litlamp.scene.cutout import add_light, lay_over, moved_box
from litlamp.scene.film import Film
from litlamp.scene.frame_times import frame_times
from litlamp.scene.heads import Kind
from litlamp.scene.lamps_over_time import Filament, Flashing, LampKey, Ripple, Shown
from litlamp.scene.land import Air, Far, Ground, Lit
from litlamp.scene.light import Light, LitScene, Radiance, Source, Weather
from litlamp.scene.motion import draw_wave
from litlamp.scene.moving import LampRows, Rows, Spot
from litlamp.scene.sequence import Passed
from litlamp.scene.track import NEAREST, Cab, Run, View, draw_bends
from litlamp.scene.truth import SignalTruth

if TYPE_CHECKING:
    from litlamp.scene.clip import DrawnClip

FOCAL = 1.15
"""Focal length in picture widths: a view of 47 degrees."""
_EYE = 2.7
_FAR, _WOODS_FAR = 900.0, 480.0  # m; as far as signals, and as far as all else is drawn
_REACH: dict[Weather, float] = {"clear": 5000, "haze": 1100, "rain": 900, "snow": 500, "fog": 220}
# Light of a lamp on the axis of its beam against that far beside it, and the beam's half width. From memory.
_BEAM, _BESIDE, _BEAM_WIDE = 2.6, 0.8, math.radians(4.5)


@dataclass(frozen=True, slots=True)
class LineSignal:
    """A signal on a line.

    Attributes
    ----------
    aspects : what it shows, each once, the first one first; they differ in their lamps alone.
    at : metres along the line; `beside` metres right of our track.
    back : it is for trains the other way, and seen from behind.
    """

    aspects: tuple[Aspect, ...]
    at: float
    beside: float = 2.8
    kind: Kind | None = None
    back: bool = False


@dataclass(frozen=True, slots=True)
class LineThing:
    """A thing beside the line that is no signal: its kind (`clutter.KINDS`) and where it stands, metres."""

    kind: str
    at: float
    beside: float


class LineScene:
    """A line from the cab; see `moving.Moving`.

    Parameters
    ----------
    extras : things that are no signal.
    run : where the train is at what time.
    tightest : radius of the sharpest bend, metres; inf for a straight line.
    wires : the line has masts of overhead wires, which may hide a signal for a moment.
    """

    def __init__(
        self,
        signals: Sequence[LineSignal],
        run: Run,
        *,
        seed: int,
        size: tuple[int, int],
        light: Light = "day",
        weather: Weather = "clear",
        tightest: float = 700.0,
        wires: bool = False,
        shake: float = 1.0,
        extras: Sequence[LineThing] = (),
    ) -> None:
        rng = np.random.default_rng((seed, 60))
        self.size = size
        last = run.at(run.seconds[-1])
        grey = weather in ("rain", "snow", "fog") and light in ("day", "low sun")
        sun = draw_sun(rng, "overcast" if grey else light)
        sky = draw_sky(rng, light, weather)
        season: Season = "snow" if weather == "snow" else ("summer", "autumn", "winter")[int(rng.integers(3))]
        focal = FOCAL * size[0]
        swing = 0.0025 * shake
        self._cab = Cab(
            size,
            focal,
            draw_bends(rng, last + 4100, tightest),
            run,
            _EYE,
            float(rng.uniform(-0.2, 0.5)),
            size[1] * 0.6,
            draw_wave(rng, swing),
            draw_wave(rng, 0.7 * swing),
            draw_wave(rng, 0.03 * shake),
        )
        self._lit = Lit(0.2, 1.4) if light == "night" else Lit(0.7, 0.4) if light == "dusk" else Lit()
        grey_air = sum(sky.low) / 3
        self._air = Air(_REACH[weather], tuple(0.6 * c + 0.4 * grey_air for c in sky.low))  # type: ignore[arg-type]
        other = float(rng.choice([-4.2, 4.2])) if rng.random() < 0.4 else None
        tracks = (0.0,) if other is None or other > 0 else (0.0, other)
        self._ground = Ground(rng, self._cab, sun, season, self._air, self._lit, tracks)
        self._far = Far(rng, self._cab, sun, sky, season, self._air, self._lit)
        fine = min(size[0] / 1280 * 64, 90.0)
        end = last + _FAR
        things = woods_beside(rng, end, season, sun, 0.5 * fine)
        if wires:
            things += poles_beside(rng, end, sun, 1.3 * fine, 3.4, True)
        elif rng.random() < 0.6:
            things += poles_beside(rng, end, sun, fine, -6.0 if len(tracks) == 1 else -8.5, False)
        told: list[SignalTruth] = []
        for number, signal in enumerate(signals):
            standing, truth = signal_beside(
                number, signal.aspects, seed=seed, s=signal.at, u=signal.beside, scale=2.2 * fine, sun=sun,
                light=light, eye=_EYE, kind=signal.kind, back=signal.back,
            )  # fmt: skip
            things.append(standing)
            told.append(truth)
        things += [
            thing_beside(
                extra.kind,
                seed=seed + i,
                s=extra.at,
                u=extra.beside,
                scale=fine,
                sun=sun,
                light=light,
                eye=_EYE,
            )
            for i, extra in enumerate(extras)
        ]
        self.signals: tuple[SignalTruth, ...] = tuple(told)
        self._things = sorted(things, key=lambda t: t.s)
        self._along = np.array([t.s for t in self._things])
        self._beside = np.array([t.u for t in self._things])
        low, high = KELVIN[light]
        empty = np.zeros((1, 1, 3), np.float32)
        self.setting = LitScene(empty, (), light, float(rng.uniform(low, high)), weather)
        self.factors: tuple[tuple[str, str], ...] = (
            ("size", str(size)), ("light", light), ("weather", weather), ("season", season),
            ("tightest", f"{tightest:g}"), ("wires", str(wires)), ("tracks", str(len(tracks))),
        )  # fmt: skip

    def sources(self, signal: int) -> tuple[Source, ...]:
        """What makes the light of each head."""
        lamps = next(t.lamps for t in self._things if t.signal == signal)
        known = {lamp.key.head: lamp.source for lamp in lamps if lamp.key is not None}
        return tuple(known.get(i, "incandescent") for i in range(len(self.signals[signal].heads)))

    def where(self, seconds: float) -> tuple[Spot, ...]:
        """The signals ahead, nearest first, and the poles before them."""
        view = self._cab.eye_at(seconds)
        spots: list[Spot] = []
        poles: list[Box] = []
        for thing, right, ahead in self._ahead(view):
            if thing.signal is None and not thing.pole:
                continue
            affine = view.upright(right, ahead, thing.scale, thing.foot)
            if thing.signal is not None:
                spots.append(Spot(thing.signal, affine, tuple(poles)))
            elif thing.pole:
                size = affine[0, 0] * thing.scale
                x = affine[0, 0] * thing.foot[0] + affine[0, 2]
                base = affine[1, 1] * thing.foot[1] + affine[1, 2]
                poles.append(Box(x - thing.pole * size, base - 7 * size, x + thing.pole * size, base))
        return tuple(spots)

    def others(self, seconds: float) -> tuple[tuple[str, Box], ...]:
        """Things beside the line that could be taken for a signal, where they are in the picture."""
        view = self._cab.eye_at(seconds)
        out = []
        for thing, right, ahead in self._ahead(view):
            affine = view.upright(right, ahead, thing.scale, thing.foot)
            moved = ((kind, moved_box(box, affine)) for kind, box in thing.others)
            out += [(kind, box) for kind, box in moved if box.clamp(*self.size).area > 0]
        return tuple(out)

    def paint(self, seconds: float, film: Film, lamps: LampRows) -> Radiance:
        """The picture (H, W, 3), linear."""
        view = self._cab.eye_at(seconds)
        picture = np.empty((self.size[1], self.size[0], 3), np.float32)
        self._far.paint(picture, view)
        self._ground.paint(picture, view)
        for thing, right, ahead in reversed(self._ahead(view)):
            affine = view.upright(right, ahead, thing.scale, thing.foot)
            clear = self._air.clear(ahead)
            # Trees come into sight slowly.
            share = 1.0 if thing.signal is not None else min((_WOODS_FAR - ahead) / 80, 1.0)
            lay_over(
                picture, thing.piece, affine,
                gain=self._lit.at(ahead), air=self._air.colour, clear=clear, share=share,
            )  # fmt: skip
            for lamp in thing.lamps:
                aside = math.hypot(thing.u - self._cab.aside, lamp.high - self._cab.eye)
                beam = _BESIDE + _BEAM * math.exp(-((math.atan2(aside, ahead) / _BEAM_WIDE) ** 2))

                def rows(y: Rows, key: LampKey | None = lamp.key, share: float = beam * clear) -> Rows:
                    return (lamps(key, y) if key is not None else np.ones_like(y)) * share

                add_light(picture, lamp.light, affine, film.lamp_colour(lamp.colour, lamp.source), rows)
        return picture

    def sweep(self, seconds: float, open_s: float) -> tuple[float, float]:
        """Sway within a shutter time, px; the train's own way is not a shift of the whole picture."""
        cab = self._cab
        return -cab.focal * cab.sway.pace(seconds) * open_s, cab.focal * cab.nod.pace(seconds) * open_s

    def _ahead(self, view: View) -> list[tuple[Standing, float, float]]:
        """What stands within sight with its metres to the right and ahead, nearest first."""
        first, last = (int(v) for v in np.searchsorted(self._along, [view.s, view.s + _FAR]))
        right, ahead = view.plan(self._along[first:last], self._beside[first:last])
        edge = self.size[0] / 2 / self._cab.focal
        out = []
        for thing, x, z in zip(self._things[first:last], right.tolist(), ahead.tolist(), strict=True):
            # Trees far off are too many for what they show: the line of trees at the horizon stands for them.
            seen = z > NEAREST and abs(x) - 40 < edge * z
            if seen and (thing.signal is not None or z < _WOODS_FAR):
                out.append((thing, x, z))
        return out


def approach(
    aspects: tuple[Aspect, ...],
    *,
    seed: int,
    size: tuple[int, int],
    light: Light,
    weather: Weather,
    seconds: float,
    distance: float | None,
    kind: Kind | None,
    extra: str | None,
    back: bool,
) -> LineScene:
    """One signal that the train comes near to and passes a little before the clip ends.

    `distance` is how far it is at first, metres; None gives the train a pace of 12 to 20 m/s.
    """
    rng = np.random.default_rng((seed, 59))
    passed = 0.93 * seconds
    away = distance if distance is not None else float(rng.uniform(12, 20)) * passed
    pace = away / passed
    run = Run((0.0, seconds), (pace, pace), 10.0)
    dwarf = bool(aspects) and aspects[0].mount == "dwarf"
    beside = float(rng.uniform(1.9, 2.3) if dwarf else rng.uniform(2.5, 3.3)) * (-1 if back else 1)
    signals = [LineSignal(aspects, 10.0 + away, beside, kind, back)] if aspects else []
    extras = () if extra is None else (LineThing(extra, 10.0 + 0.7 * away, float(rng.uniform(6, 10))),)
    return LineScene(
        signals, run, extras=extras, seed=seed, size=size, light=light, weather=weather,
        tightest=float(rng.uniform(700, 3000)), wires=bool(rng.random() < 0.15),
    )  # fmt: skip


def draw_ride(
    signals: Sequence[Passed],
    *,
    seed: int = 0,
    size: tuple[int, int] = (1280, 720),
    seconds: float = 90.0,
    fps: float = 15.0,
    light: Light = "day",
    weather: Weather = "clear",
    tightest: float = 900.0,
    wires: bool = False,
    backs: int = 0,
    extras: Sequence[str] = (),
    pumping: float = 0.0,
    uneven: float = 0.0,
    ripple: Ripple | None = None,
    exposure: float = 0.0,
    shake: float = 1.0,
) -> DrawnClip:
    """Draw a ride past the signals, the last of which is passed a little before the end.

    Parameters
    ----------
    signals : in the order in which they are met (see `sequence`).
    backs : how many signals for trains the other way are seen from behind as well.
    extras : things beside the line that are no signal, of `litlamp.scene.clutter.KINDS`.
    tightest, wires : of the line; see `LineScene`. All else as of `clip.draw_clip`.

    Raises
    ------
    ValueError : no signal, too many for the time, or a value out of bounds.
    """
    from litlamp.scene.clip import film_scene

    rng = np.random.default_rng((seed, 58))
    if not signals:
        raise ValueError("a ride passes at least one signal")
    if strange := set(extras) - set(KINDS):
        raise ValueError(f"extras must be of {', '.join(KINDS)}, not {', '.join(sorted(strange))}")
    times = frame_times(np.random.default_rng((seed, 43)), seconds, fps, uneven)
    run, at, changed = _plan(rng, signals, seconds)
    met, shown = [], []
    for one, metres, change in zip(signals, at, changed, strict=True):
        dwarf = one.aspect.mount == "dwarf"
        beside = float(rng.uniform(1.9, 2.3) if dwarf else rng.uniform(2.5, 3.3))
        aspects = (one.aspect,) if one.then is None else (one.aspect, one.then)
        met.append(LineSignal(aspects, metres, beside))
        ends = (0.0, seconds) if one.then is None else (0.0, change, seconds)
        shown.append(tuple(Shown(a, b, of) for a, b, of in zip(ends, ends[1:], aspects, strict=False)))
    for i in range(backs):
        aspect = signals[i % len(signals)].aspect
        away = float(rng.uniform(run.at(4.0), run.at(seconds)))
        met.append(LineSignal((aspect,), away, -float(rng.uniform(2.6, 3.4)), None, True))
        shown.append((Shown(0.0, seconds, aspect),))
    scene = LineScene(
        met,
        run,
        seed=seed,
        size=size,
        light=light,
        weather=weather,
        tightest=tightest,
        wires=wires,
        shake=shake,
        extras=[
            LineThing(
                kind,
                float(rng.uniform(run.at(4.0), run.at(seconds))),
                float(rng.choice([-1, 1]) * rng.uniform(5, 14)),
            )
            for kind in extras
        ],
    )
    flashing = tuple(
        Flashing(float(rng.uniform(40, 65)), float(rng.uniform(0.4, 0.6)), float(rng.random())) for _ in met
    )
    return film_scene(
        scene, tuple(shown), times, seed=seed, flashing=flashing, ripple=ripple or Ripple(),
        filament=Filament(float(rng.uniform(0.03, 0.12)), float(rng.uniform(0.03, 0.1))),
        shutter=None, pumping=pumping, exposure=exposure,
    )  # fmt: skip


# A train held: metres a second as it comes near, of slowing and of starting (a second), seconds it stands.
_NEAR, _BRAKES, _PULLS, _HALT = 8.0, 1.0, 1.0, 5.0


def _plan(
    rng: np.random.Generator, signals: Sequence[Passed], seconds: float
) -> tuple[Run, list[float], list[float]]:
    """The run, where each signal stands, and when each that changes does."""
    shares = rng.uniform(0.85, 1.15, len(signals))
    left = 0.96 * seconds - sum(_NEAR / _BRAKES + _HALT + s.pace / _PULLS for s in signals if s.held)
    waits = (left * shares / shares.sum()).tolist()
    if min(waits) < 3:
        raise ValueError(f"{seconds:g} s are too short for a ride past {len(signals)} signals")
    knots = [(0.0, signals[0].pace)]
    at: list[float] = []
    changed: list[float] = []
    for one, wait in zip(signals, waits, strict=True):
        now = knots[-1][0]
        if not one.held:
            knots.append((now + wait, one.pace))
            at.append(_run(knots).at(now + wait))
            changed.append(now + wait * float(rng.uniform(0.3, 0.6)))
            continue
        stop = now + wait + _NEAR / _BRAKES
        knots += [(now + wait, _NEAR), (stop, 0.0), (stop + _HALT, 0.0)]
        knots.append((stop + _HALT + one.pace / _PULLS, one.pace))
        at.append(_run(knots).at(stop) + float(rng.uniform(22, 34)))
        changed.append(stop + _HALT * float(rng.uniform(0.3, 0.8)))
    return _run(knots), at, changed


def _run(knots: list[tuple[float, float]]) -> Run:
    return Run(tuple(t for t, _ in knots), tuple(v for _, v in knots), 20.0)
