"""What stands behind a signal: sky, hills, trees, buildings, track, walls; or a photograph given by path."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.scene.canvas import Canvas, Colour3, Points, Sun, linear, noise, srgb, times
from litlamp.scene.light import Light, Radiance
from litlamp.scene.woods import Wood, window

Season = Literal["summer", "autumn", "winter", "snow"]
SEASONS: tuple[Season, ...] = ("summer", "autumn", "winter", "snow")


@dataclass(frozen=True, slots=True)
class Lie:
    """How the land lies in the picture.

    horizon : row at the middle column, px; roll : radians; eye : camera height, metres; focal : px;
    vanish : column where the tracks meet; scale : px per metre at the signal; side : metres of the signal to
    the right of the line to the vanishing point, or None where there is no signal.
    """

    horizon: float
    roll: float
    eye: float
    focal: float
    vanish: float
    scale: float
    side: float | None = None


@dataclass(frozen=True, slots=True)
class Sky:
    """Colours of the sky: overhead, at the horizon, of clouds; share of cloud."""

    high: Colour3
    low: Colour3
    cloud: Colour3
    share: float


def draw_sun(rng: np.random.Generator, light: Light) -> Sun:
    """The lighting of a scene: where the sun stands and what share is the sky's."""
    if light == "day":
        az, el, direct = rng.uniform(-2.6, 2.6), rng.uniform(0.35, 1.1), rng.uniform(0.6, 0.85)
    elif light == "low sun":
        az, el, direct = rng.uniform(-2.9, 2.9), rng.uniform(0.05, 0.3), rng.uniform(0.6, 0.9)
    else:
        az, el, direct = 0.0, 1.2, 0.0
    direct = float(direct)
    tint = (0.8, 0.95, 1.2) if direct > 0 else (1.0, 1.0, 1.0)
    return Sun(
        float(math.sin(az) * math.cos(el)), float(math.sin(el)), float(math.cos(az) * math.cos(el)),
        direct, float(rng.uniform(0.15, 0.4)) if direct > 0 else float(rng.uniform(0.7, 1.0)), tint,
    )  # fmt: skip


def draw_sky(rng: np.random.Generator, light: Light, weather: str) -> Sky:
    """A sky that goes with the light and the weather."""
    share = float(rng.choice([0.0, rng.uniform(0, 0.5), rng.uniform(0.3, 0.9)]))
    k = float(np.exp(rng.normal(0, 0.25)))
    if light == "overcast" or (weather in ("rain", "snow", "fog") and light in ("day", "low sun")):
        g = float(rng.uniform(0.55, 1.25))
        warm = float(rng.normal(0, 0.03))
        return Sky(
            (g * (1 + warm), g, g * (1.04 - warm)),
            (g * 1.15, g * 1.15, g * 1.15),
            (g * 0.7, g * 0.72, g * 0.76),
            0.7,
        )
    if light == "day":
        return Sky((0.1 * k, 0.24 * k, 0.62 * k), (0.45 * k, 0.6 * k, 0.85 * k), (0.95, 0.96, 0.98), share)
    if light == "low sun":
        return Sky((0.16 * k, 0.27 * k, 0.55 * k), (1.1 * k, 0.75 * k, 0.45 * k), (1.1, 0.75, 0.6), share)
    if light == "dusk":
        warm = float(rng.random())
        low = (0.35 + 1.2 * warm, 0.5 + 0.35 * warm, 0.85 - 0.35 * warm)
        return Sky(
            times((0.15, 0.27, 0.65), (k, k, k)), times(low, (k, k, k)), times(low, (0.5, 0.45, 0.5)), share
        )
    g = float(np.exp(rng.uniform(np.log(0.004), np.log(0.12))))
    glow = float(rng.uniform(0, 1))
    return Sky((g, g, g * 1.25), (g * (1 + 2 * glow), g * (1 + 1.1 * glow), g), (g * 1.5, g * 1.2, g), share)


def paint_open_sky(canvas: Canvas, rng: np.random.Generator, lie: Lie, sky: Sky) -> None:
    """Paint nothing but sky, for scenes that bring their own ground."""
    width, height = canvas.size
    x = np.arange(width, dtype=np.float32)[None, :]
    y = np.arange(height, dtype=np.float32)[:, None]
    level = max(lie.horizon, 0.5 * height)
    rise = np.float32(level) + np.float32(math.tan(lie.roll)) * (x - width / 2) - y
    _paint_sky(canvas, rng, rise, sky)


def paint_backdrop(
    canvas: Canvas, rng: np.random.Generator, lie: Lie, sky: Sky, light: Light, season: Season, blur: float
) -> None:
    """Paint everything behind the signal, then blur it by `blur` px (deviation)."""
    width, height = canvas.size
    x = np.arange(width, dtype=np.float32)[None, :]
    y = np.arange(height, dtype=np.float32)[:, None]
    rise = (
        np.float32(lie.horizon) + np.float32(math.tan(lie.roll)) * (x - width / 2) - y
    )  # px over the horizon
    _paint_sky(canvas, rng, rise, sky)
    top = float(rise.max())
    tall = lie.scale
    if top > 0:
        if rng.random() < 0.4:
            _ridge(
                canvas,
                rng,
                rise,
                height * float(rng.uniform(0.03, 0.35)),
                (0.08, 0.12, 0.14),
                0.55,
                sky,
                0.15,
            )
        for _ in range(int(rng.choice([0, 1, 2, 3], p=[0.2, 0.35, 0.3, 0.15]))):
            _trees(
                canvas, rng, lie, tall * float(rng.uniform(1.5, 14)), season, sky, float(rng.uniform(0, 0.4))
            )
        for _ in range(int(rng.choice([0, 1, 2, 4], p=[0.5, 0.25, 0.15, 0.1]))):
            _building(canvas, rng, lie, light)
        if rng.random() < 0.15:
            _overhead(canvas, rng, lie)
    if float(rise.min()) < 0:
        _ground(canvas, rng, rise, lie, season)
    if top > 0:
        if rng.random() < 0.25:
            _trees(canvas, rng, lie, tall * float(rng.uniform(0.3, 2.5)), season, sky, 0.0)
        if rng.random() < 0.12:
            _wall(canvas, rng, rise, tall * float(rng.uniform(0.8, 4)))
        if rng.random() < 0.16:
            _wagons(canvas, rng, lie, light)
        if rng.random() < 0.12:
            _overhead(canvas, rng, lie)
        if rng.random() < 0.3:
            _wires(canvas, rng, lie)
    if light == "night":  # lamplight falls in pools, not evenly
        pool = 0.35 + 0.65 * np.exp(0.8 * noise(rng, height, width, max(height, width) / 1.5))
        lit = np.where(rise < 0, pool, pool * 0.8)
        canvas.radiance *= np.clip(lit, 0.05, 2.5)[..., None]
    if blur > 0.25:
        cv2.GaussianBlur(canvas.radiance, (0, 0), blur, dst=canvas.radiance)


def _paint_sky(canvas: Canvas, rng: np.random.Generator, rise: Radiance, sky: Sky) -> None:
    width, height = canvas.size
    span = np.float32(1.1 * max(width, height) * float(rng.uniform(0.7, 2.5)))
    t = np.sqrt(np.clip(rise / span, 0, 1))
    weights = [1 - t, t]
    if sky.share > 0.02:
        n = noise(
            rng, height, width, max(width, height) * float(rng.uniform(0.3, 1.5)), float(rng.uniform(1, 3))
        )
        soft = np.float32(rng.uniform(0.3, 1.2))
        a = np.clip((n - np.float32(1.2 - 2.4 * sky.share)) / soft, 0, 1) * np.float32(rng.uniform(0.4, 0.95))
        belly = 1 - 0.25 * np.clip(noise(rng, height, width, max(width, height) / 4), -1, 2)
        weights = [w * (1 - a) for w in weights] + [a * belly]
    canvas.radiance[:] = _mix(weights, [sky.low, sky.high, sky.cloud][: len(weights)])


def _mix(weights: list[NDArray[Any]], colours: list[Colour3]) -> Radiance:
    """The sum of up to four colours, each (3,), by weights of one shape (h, w): float32 (h, w, 3)."""
    stacked = cv2.merge([np.ascontiguousarray(w, np.float32) for w in weights])
    by = np.asarray(colours, np.float32).T
    if len(weights) == 1:
        return np.asarray(stacked[..., None] * by[:, 0], np.float32)
    return np.asarray(cv2.transform(stacked, by), np.float32)


def _profile(rng: np.random.Generator, width: int, cell: float) -> Radiance:
    return noise(rng, 4, width, max(cell, 2.0))[1:2]


def _ridge(
    canvas: Canvas,
    rng: np.random.Generator,
    rise: Radiance,
    tall: float,
    colour: Colour3,
    haze: float,
    sky: Sky,
    rough: float,
) -> None:
    width, height = canvas.size
    edge = tall * (1 + 0.6 * _profile(rng, width, width / 2)) + tall * rough * _profile(rng, width, width / 8)
    mask = np.clip(edge - rise + 0.5, 0, 1)
    sun = canvas.sun.shade(0, 0.8, 0.4)
    land = np.asarray(times(colour, sun), np.float32)
    far = land * (1 - haze) + np.asarray(sky.low, np.float32) * haze
    grain = 1 + 0.15 * noise(rng, height, width, height / 6)
    canvas.stamp(mask.astype(np.float32), (0, 0), far * grain[..., None])


_LEAVES: dict[Season, tuple[Colour3, ...]] = {
    "summer": ((0.05, 0.1, 0.025), (0.08, 0.13, 0.03), (0.03, 0.06, 0.02), (0.1, 0.14, 0.05)),
    "autumn": ((0.2, 0.1, 0.03), (0.15, 0.11, 0.04), (0.09, 0.09, 0.03), (0.25, 0.14, 0.04)),
    "winter": ((0.1, 0.08, 0.06), (0.13, 0.1, 0.075), (0.03, 0.05, 0.025), (0.16, 0.13, 0.1)),
    "snow": ((0.12, 0.11, 0.1), (0.03, 0.045, 0.03), (0.16, 0.16, 0.17), (0.09, 0.08, 0.075)),
}


_WOODS: dict[Season, tuple[Wood, ...]] = {
    "summer": ("leafy", "leafy", "leafy", "conifer", "scrub"),
    "autumn": ("leafy", "leafy", "bare", "conifer", "scrub"),
    "winter": ("bare", "bare", "bare", "conifer", "scrub"),
    "snow": ("bare", "bare", "conifer", "conifer", "scrub"),
}


def _trees(
    canvas: Canvas, rng: np.random.Generator, lie: Lie, tall: float, season: Season, sky: Sky, haze: float
) -> None:
    width, height = canvas.size
    wood = _WOODS[season][int(rng.integers(5))]
    if wood == "scrub":
        tall *= 0.5
    tall = max(tall, 4.0)
    slope = math.tan(lie.roll)
    lean = abs(slope) * width / 2
    foot = lie.horizon + 0.04 * tall
    top = math.floor(foot - tall)
    piece = window(rng, wood, tall, width, (math.floor(-top - lean), math.ceil(height - top + lean)))
    if piece is None:
        return
    strip, (first, _) = piece
    origin = top + first
    if lean > 1:  # the whole line tilts with the camera
        move = np.array([[1, 0, 0], [slope, 1, -slope * width / 2]], np.float32)
        strip = np.asarray(cv2.warpAffine(strip, move, (width, strip.shape[0])), np.uint8)
    mask = strip[..., 0].astype(np.float32) * np.float32(1 / 255)
    light = strip[..., 1].astype(np.float32) * np.float32(1 / 130)
    tone = strip[..., 2].astype(np.float32) * np.float32(1 / 255)
    if tall > 300:  # close woods keep their grain
        light *= 1 + 0.25 * noise(rng, mask.shape[0], mask.shape[1], 14.0)
    tones = _LEAVES[season]
    lit = canvas.sun.shade(canvas.sun.x * 0.5, 0.6, 0.5)
    a = times(times(tones[int(rng.integers(len(tones)))], lit), (1, 1, 1), 1 - haze)
    b = times(tones[int(rng.integers(len(tones)))], lit, float(rng.uniform(0.5, 1.4)) * (1 - haze))
    veil = times(sky.low, (haze, haze, haze))
    colour = _mix([light * (1 - tone), light * tone, np.ones_like(light)], [a, b, veil])
    canvas.stamp(mask, (0, origin), colour)


_WALLS: tuple[Colour3, ...] = (
    srgb(150, 80, 60), srgb(190, 180, 165), srgb(120, 120, 125), srgb(200, 195, 190), srgb(95, 70, 60),
    srgb(170, 150, 110), srgb(70, 85, 100), srgb(215, 205, 180), srgb(140, 60, 50), srgb(85, 110, 85),
)  # fmt: skip


def _building(canvas: Canvas, rng: np.random.Generator, lie: Lie, light: Light) -> None:
    width, height = canvas.size
    s = lie.scale * float(rng.uniform(0.15, 0.9))
    w, h = s * float(rng.uniform(6, 30)), s * float(rng.uniform(4, 22))
    x = float(rng.uniform(-w, width))
    r = math.tan(lie.roll)
    base = lie.horizon + r * (x + w / 2 - width / 2) + s * lie.eye
    dim = float(rng.uniform(0.1, 1.0)) if light == "night" else 1.0
    face = canvas.sun.shade(float(rng.choice([-0.5, 0.5])), 0.1, 0.8)
    wall = times(_WALLS[int(rng.integers(len(_WALLS)))], face, dim * float(rng.uniform(0.6, 1.15)))

    def quad(x0: float, y0: float, x1: float, y1: float) -> Points:
        return np.array(
            [[x0 + r * (base - y0), y0 + r * (x0 - x)], [x1 + r * (base - y0), y0 + r * (x1 - x)],
             [x1 + r * (base - y1), y1 + r * (x1 - x)], [x0 + r * (base - y1), y1 + r * (x0 - x)]]
        )  # fmt: skip

    stain = 1 + np.float32(rng.uniform(0.03, 0.15)) * noise(rng, height, width, max(h / 2, 12))
    grain = stain + np.float32(rng.uniform(0, 0.12)) * noise(rng, height, width, 10.0)
    canvas.polygons([quad(x, base - h, x + w, base)], wall, texture=grain)
    course = s * float(rng.choice([0.1, 0.2, 0.45]))
    if course > 2.5 and rng.random() < 0.6:  # bricks, boards or cladding
        rows = [((x, float(y)), (x + w, float(y) + r * w)) for y in np.arange(base - h, base, course)[:400]]
        if rng.random() < 0.3:
            rows = [
                ((float(u), base - h), (float(u) + r * h, base))
                for u in np.arange(x, x + w, course * 2)[:400]
            ]
        canvas.lines(
            rows, max(0.12 * course, 0.2), times(wall, (0.5, 0.5, 0.5)), float(rng.uniform(0.2, 0.7))
        )
    if rng.random() < 0.4:
        peak = base - h - s * 3
        roof = np.array([[x - s, base - h], [x + w + s, base - h], [x + w * 0.8, peak], [x + w * 0.2, peak]])
        tile = times(_WALLS[int(rng.integers(len(_WALLS)))], canvas.sun.shade(0, 0.7, 0.7), 0.7 * dim)
        canvas.polygons([roof], tile, texture=grain)
    step, floor = s * float(rng.uniform(1.5, 3.5)), s * float(rng.uniform(2.6, 4))
    if step < 3 or rng.random() < 0.1:
        return
    lit_share = float(rng.uniform(0.1, 0.6)) if light in ("night", "dusk") else 0.0
    panes: list[list[Points]] = [[], [], []]
    frames: list[Points] = []
    pane, high = float(rng.uniform(0.3, 0.75)), float(rng.uniform(0.35, 0.65))
    edge = 0.05 * step
    for wx in np.arange(x + step * 0.3, x + w - step * pane, step)[:40]:
        for wy in np.arange(base - h + floor * 0.25, base - floor * 0.5, floor)[:14]:
            x0, y0, x1, y1 = float(wx), float(wy), float(wx) + step * pane, float(wy) + floor * high
            frames.append(quad(x0 - edge, y0 - edge, x1 + edge, y1 + 2 * edge))
            which = 2 if rng.random() < lit_share else int(rng.random() < 0.4)
            panes[which].append(quad(x0, y0, x1, y1))
            if which < 2 and step > 14 and rng.random() < 0.8:  # a blind half down, or a curtain
                panes[1 - which].append(quad(x0, y0, x1, y0 + (y1 - y0) * float(rng.uniform(0.1, 0.7))))
    if rng.random() < 0.7 and frames:
        trim = (0.6, 0.6, 0.58) if rng.random() < 0.6 else (0.1, 0.1, 0.1)
        canvas.polygons(frames, times(trim, face, dim))
    warm = float(rng.uniform(0.8, 6 if light == "night" else 2))
    tones = (
        times((0.03, 0.035, 0.045), face, dim),
        times((0.12, 0.14, 0.17), face, dim * float(rng.uniform(0.5, 2.5))),
        (warm, warm * float(rng.uniform(0.6, 0.95)), warm * float(rng.uniform(0.3, 0.9))),
    )
    for shapes, tone in zip(panes, tones, strict=True):
        if shapes:
            canvas.polygons(shapes, tone)


def _wagons(canvas: Canvas, rng: np.random.Generator, lie: Lie, light: Light) -> None:
    """A rake of wagons standing on a track behind."""
    width, height = canvas.size
    s = lie.scale * float(rng.uniform(0.2, 0.95))
    r = math.tan(lie.roll)
    length, tall = s * float(rng.uniform(10, 18)), s * float(rng.uniform(2.8, 4.2))
    x = float(rng.uniform(-length, width * 0.8))
    dim = float(rng.uniform(0.15, 0.8)) if light == "night" else 1.0
    face = canvas.sun.shade(0.0, 0.1, 0.9)
    dirt = 1 + 0.15 * noise(rng, height, width, max(tall / 1.5, 12))
    for _ in range(int(rng.integers(1, 5))):
        if x > width:
            return
        base = lie.horizon + r * (x - width / 2) + s * lie.eye
        paint = times(_CARS[int(rng.integers(len(_CARS)))], face, dim)
        y0, y1 = base - s * 1.0 - tall, base - s * 0.9
        body = np.array([[x, y0], [x + length, y0 + r * length], [x + length, y1 + r * length], [x, y1]])
        canvas.polygons([body], paint, texture=dirt)
        ribs = [((float(u), y0 + r * (float(u) - x)), (float(u), y1 + r * (float(u) - x)))
                for u in np.arange(x, x + length, s * float(rng.uniform(0.5, 1.6)))[:60]]  # fmt: skip
        canvas.lines(ribs, max(0.05 * s, 0.2), times(paint, (0.55, 0.55, 0.55)), 0.8)
        words = times((0.7, 0.7, 0.7), face, dim)
        for _ in range(int(rng.integers(0, 4))):
            u, v = x + length * float(rng.uniform(0.05, 0.7)), y0 + tall * float(rng.uniform(0.15, 0.7))
            long = length * float(rng.uniform(0.05, 0.25))
            canvas.lines([((u, v), (u + long, v + r * long))], s * float(rng.uniform(0.04, 0.2)), words, 0.8)
        dark = times((0.02, 0.02, 0.02), face, dim)
        t = np.linspace(0, 2 * np.pi, 20)
        wheels = [
            np.stack(
                [
                    x + length * u + 0.45 * s * np.cos(t),
                    base - 0.45 * s + r * length * u + 0.45 * s * np.sin(t),
                ],
                -1,
            )
            for u in (0.1, 0.22, 0.78, 0.9)
        ]
        frame = np.array(
            [
                [x + 0.3 * s, y1],
                [x + length - 0.3 * s, y1 + r * length],
                [x + length - 0.3 * s, y1 + r * length + 0.3 * s],
                [x + 0.3 * s, y1 + 0.3 * s],
            ]
        )
        canvas.polygons([*wheels, frame], dark)
        x += length + 0.9 * s


def _overhead(canvas: Canvas, rng: np.random.Generator, lie: Lie) -> None:
    """A road bridge, a catenary portal, or a fence."""
    width, height = canvas.size
    s = lie.scale * float(rng.uniform(0.15, 0.9))
    base = lie.horizon + s * lie.eye
    face = canvas.sun.shade(0.0, 0.0, 1.0)
    kind = int(rng.integers(3))
    if kind == 0:
        deck, thick = base - 6.2 * s, s * float(rng.uniform(1.0, 2.2))
        tone = times((0.35, 0.34, 0.32), face, float(rng.uniform(0.4, 1.1)))
        stain = 1 + 0.15 * noise(rng, height, width, max(thick, 10))
        canvas.polygons(
            [
                np.array(
                    [[-5.0, deck - thick], [width + 5.0, deck - thick], [width + 5.0, deck], [-5.0, deck]]
                )
            ],
            tone,
            texture=stain,
        )
        for x in rng.uniform(0, width, int(rng.integers(1, 4))):
            w = s * float(rng.uniform(0.6, 2.0))
            canvas.polygons(
                [np.array([[x, deck], [x + w, deck], [x + w, base], [x, base]])], times(tone, (0.8, 0.8, 0.8))
            )
        rails = [((-5.0, deck - thick - f * s), (width + 5.0, deck - thick - f * s)) for f in (0.5, 1.0)]
        canvas.lines(rails, max(0.03 * s, 0.25), times((0.2, 0.2, 0.2), face))
    elif kind == 1:
        metal = times((0.25, 0.27, 0.27), face)
        for _ in range(int(rng.integers(1, 4))):
            left = float(rng.uniform(-0.3, 0.6)) * width
            right = left + s * float(rng.uniform(9, 22))
            beam = base - 6.8 * s
            bars = [
                ((left, base), (left, beam - 0.8 * s)),
                ((right, base), (right, beam - 0.8 * s)),
                ((left, beam), (right, beam)),
                ((left, beam - 0.6 * s), (right, beam - 0.6 * s)),
            ]
            across = np.arange(left, right, 0.8 * s)[:40]
            bars += [((float(u), beam), (float(u) + 0.4 * s, beam - 0.6 * s)) for u in across]
            canvas.lines(bars, max(0.07 * s, 0.3), metal)
            for u in rng.uniform(left, right, 3):
                canvas.lines(
                    [
                        ((float(u), beam), (float(u), beam + 1.3 * s)),
                        ((float(u), beam + 1.2 * s), (lie.vanish, lie.horizon - 5)),
                    ],
                    max(0.02 * s, 0.2),
                    metal,
                    0.8,
                )
            s *= 0.55
            base = lie.horizon + s * lie.eye
    else:
        top = base - s * float(rng.uniform(1.0, 2.2))
        posts = [((float(u), base), (float(u), top)) for u in np.arange(-s, width + s, s * 2.5)[:80]]
        metal = times((0.25, 0.26, 0.25) if rng.random() < 0.7 else (0.5, 0.5, 0.48), face)
        canvas.lines(
            [
                *posts,
                ((0.0, top), (float(width), top)),
                ((0.0, base - 0.2 * s), (float(width), base - 0.2 * s)),
            ],
            max(0.04 * s, 0.25),
            metal,
        )
        if s > 8:
            mesh = [
                ((float(u), base), (float(u) + (base - top), top))
                for u in np.arange(-height, width, 0.12 * s + 2)[:300]
            ]
            canvas.lines(mesh, max(0.008 * s, 0.1), metal, 0.5)


def paint_room(canvas: Canvas, rng: np.random.Generator, blur: float) -> None:
    """Indoors, behind a model layout: walls, shelves, boxes, posters, none of them sharp."""
    width, height = canvas.size
    face = canvas.sun.shade(0, 0.2, 0.8)
    wall = np.asarray(
        times(_WALLS[int(rng.integers(len(_WALLS)))], face, float(rng.uniform(0.5, 1.3))), np.float32
    )
    fade = np.linspace(float(rng.uniform(0.6, 1.2)), float(rng.uniform(0.6, 1.2)), width, dtype=np.float32)[
        None, :, None
    ]
    canvas.radiance[:] = wall * fade * (1 + 0.05 * noise(rng, height, width, height / 2))[..., None]
    unit = min(width, height)
    for _ in range(int(rng.integers(3, 16))):
        w, h = unit * float(rng.uniform(0.05, 0.7)), unit * float(rng.uniform(0.04, 0.6))
        x, y = float(rng.uniform(-0.2, 1)) * width, float(rng.uniform(-0.2, 1)) * height
        tone = times(tuple(rng.uniform(0.02, 0.6, 3)), face, float(rng.uniform(0.4, 1.2)))
        lean = float(rng.normal(0, 0.04))
        canvas.polygons(
            [
                np.array(
                    [
                        [x, y],
                        [x + w, y + lean * w],
                        [x + w - lean * h, y + h + lean * w],
                        [x - lean * h, y + h],
                    ]
                )
            ],
            tone,
        )
        if rng.random() < 0.3:
            bars = [
                ((x + w * 0.1, y + h * f), (x + w * float(rng.uniform(0.4, 0.9)), y + h * f))
                for f in np.linspace(0.15, 0.85, 5)
            ]
            canvas.lines(
                bars,
                max(h * 0.03, 0.3),
                times((0.05, 0.05, 0.05) if rng.random() < 0.6 else (0.8, 0.8, 0.8), face),
                0.8,
            )
    table = height * float(rng.uniform(0.55, 1.1))
    if table < height:
        tone = times(
            _GROUND["summer"][int(rng.integers(3))] if rng.random() < 0.5 else (0.3, 0.22, 0.15), face
        )
        grain = 1 + 0.3 * noise(rng, height, width, float(rng.uniform(12, 60)), 1.5)
        canvas.polygons(
            [np.array([[0.0, table], [width, table + rng.normal(0, 10)], [width, height], [0.0, height]])],
            tone,
            texture=grain,
        )
    if blur > 0.25:
        cv2.GaussianBlur(canvas.radiance, (0, 0), blur, dst=canvas.radiance)


_CARS: tuple[Colour3, ...] = (
    srgb(120, 40, 30),
    srgb(60, 60, 60),
    srgb(200, 150, 40),
    srgb(40, 80, 50),
    srgb(170, 170, 165),
    srgb(40, 60, 110),
    srgb(190, 80, 30),
    srgb(90, 70, 55),
    srgb(200, 30, 35),
    srgb(20, 20, 22),
)


def _wall(canvas: Canvas, rng: np.random.Generator, rise: Radiance, tall: float) -> None:
    width, height = canvas.size
    mask = np.clip(tall - rise + 0.5, 0, 1) * np.clip(rise + tall * 0.5, 0, 1)
    colour = np.asarray(
        times(_WALLS[int(rng.integers(len(_WALLS)))], canvas.sun.shade(0, 0.1, 0.9)), np.float32
    )
    grain = 1 + 0.2 * noise(rng, height, width, height / 3)
    course = tall / float(rng.uniform(4, 14))
    if course > 3:
        grain = grain * (1 - 0.35 * (np.mod(rise, course) < max(course * 0.12, 1)))
    canvas.stamp(mask.astype(np.float32), (0, 0), colour * grain[..., None])


def _wires(canvas: Canvas, rng: np.random.Generator, lie: Lie) -> None:
    width, height = canvas.size
    colour = times((0.03, 0.03, 0.03), canvas.sun.shade(0, 0, 1))
    segments = []
    if rng.random() < 0.5:  # strung across
        for _ in range(int(rng.integers(1, 6))):
            a, b = float(rng.uniform(-0.2, 0.9)) * height, float(rng.uniform(-0.2, 0.9)) * height
            segments.append(((0.0, a), (float(width), b)))
    else:  # running to the vanishing point
        for _ in range(int(rng.integers(1, 5))):
            segments.append(
                (
                    (lie.vanish, lie.horizon - 2),
                    (float(rng.uniform(-0.5, 1.5)) * width, float(rng.uniform(-0.4, 0.2)) * height),
                )
            )
    canvas.lines(segments, float(rng.uniform(0.2, 1.1)), colour, float(rng.uniform(0.5, 1)))
    if rng.random() < 0.5:
        x = float(rng.uniform(0, width))
        thick = max(0.1 * lie.scale * float(rng.uniform(0.3, 1.2)), 0.4)
        top = float(rng.uniform(-0.3, 0.6)) * height
        canvas.pipe((x, float(height)), (x, top), thick, (0.2, 0.2, 0.2))
        if rng.random() < 0.6:
            arm = float(rng.choice([-1, 1])) * lie.scale * 2.5
            canvas.lines(
                [((x, top + 5), (x + arm, top + 2)), ((x, top + lie.scale), (x + arm, top + 4))],
                thick * 0.5,
                colour,
            )


_GROUND: dict[Season, tuple[Colour3, ...]] = {
    "summer": ((0.09, 0.13, 0.04), (0.14, 0.14, 0.06), (0.2, 0.16, 0.1)),
    "autumn": ((0.18, 0.14, 0.07), (0.12, 0.11, 0.05), (0.2, 0.15, 0.09)),
    "winter": ((0.17, 0.14, 0.1), (0.1, 0.1, 0.06), (0.22, 0.2, 0.16)),
    "snow": ((0.8, 0.83, 0.88), (0.75, 0.77, 0.8), (0.6, 0.62, 0.65)),
}
_BALLAST: tuple[Colour3, ...] = (
    (0.2, 0.19, 0.18),
    (0.14, 0.11, 0.09),
    (0.26, 0.23, 0.2),
    (0.09, 0.085, 0.08),
)


def _ground(canvas: Canvas, rng: np.random.Generator, rise: Radiance, lie: Lie, season: Season) -> None:
    width = canvas.size[0]
    rows = np.nonzero(rise.min(1) < 1)[0]
    first = int(rows[0])
    drop = np.maximum(-rise[first:], 0.75)
    h = drop.shape[0]
    x = np.arange(width, dtype=np.float32)[None, :]
    side = (
        (x - np.float32(lie.vanish)) * np.float32(lie.eye) / drop
    )  # metres to the right of the vanishing line
    ahead = np.float32(lie.focal * lie.eye) / drop  # metres away
    near = np.clip(drop / np.float32(0.02 * lie.focal + 4), 0, 1)  # grain fades out far away
    tile = _grain(int(rng.integers(4)))
    shift = rng.uniform(0, 512, 2).astype(np.float32)
    zoom = np.float32(np.clip(lie.scale * rng.uniform(0.3, 1.2), 10, 220))  # tile px per metre
    grain = cv2.remap(
        tile,
        np.mod(side * zoom + shift[0], 511),
        np.mod(ahead * zoom * np.float32(0.6) + shift[1], 511),
        cv2.INTER_LINEAR,
    )
    broad = noise(rng, h, width, max(width / 3, 8), 2.0)
    tones = _GROUND[season]
    base, other = (tones[int(rng.integers(len(tones)))] for _ in range(2))
    patchy = np.clip(0.5 + 0.5 * broad, 0, 1)
    rough = np.float32(rng.uniform(0.15, 0.5) if season != "snow" else rng.uniform(0.03, 0.12))
    texture = np.clip(1 + rough * grain * near + 0.12 * broad, 0.15, 3)
    snowed = season == "snow"
    stone = _BALLAST[int(rng.integers(len(_BALLAST)))]
    if snowed:
        stone = (0.3 * stone[0] + 0.5, 0.3 * stone[1] + 0.5, 0.3 * stone[2] + 0.5)
    shine = float(rng.uniform(0.15, 1.3))
    bed, wood, rust, steel = (np.zeros_like(side) for _ in range(4))
    tie = np.float32(0.75 if snowed else rng.choice([0.35, 0.6, 1.4]))
    worn = np.float32(rng.uniform(0.4, 0.9))
    period = np.float32(0.62)
    fade = np.clip(period * drop * drop / np.float32(lie.focal * lie.eye) / 2.5 - 0.4, 0, 1)
    per_px = np.float32(lie.eye) / drop
    ties = (np.mod(ahead, period) < 0.25) * fade + (1 - fade) * np.float32(0.4)
    for offset in _tracks(rng, lie.side):
        off = side - np.float32(offset)
        wide = np.abs(off)
        bed = np.maximum(bed, np.clip((2.1 + 0.25 * broad - wide) * 2.5, 0, 1))
        wood = np.maximum(wood, (wide < 1.3) * ties)
        gap = np.abs(wide - np.float32(0.7525))
        rust = np.maximum(rust, np.clip((0.07 - gap) / per_px + 0.5, 0, 1) * np.clip(0.14 / per_px, 0, 1))
        steel = np.maximum(steel, np.clip((0.035 - gap) / per_px + 0.5, 0, 1) * np.clip(0.07 / per_px, 0, 1))
    light = canvas.sun.shade(0, 0.9, 0.3)
    land = texture * (1 - bed)
    stones = texture * bed * (1 + (tie - 1) * worn * wood)
    open_ground = 1 - np.maximum(rust, steel)
    colour = _mix(
        [land * (1 - patchy) * open_ground, land * patchy * open_ground, stones * open_ground],
        [times(base, light), times(other, light), times(stone, light)],
    )
    colour += _mix(
        [rust * (1 - steel), steel],
        [times((0.07, 0.045, 0.03), light), times((0.6, 0.6, 0.62), light, shine)],
    )
    mask = np.clip(-rise[first:] + 0.5, 0, 1)
    canvas.stamp(mask, (0, first), colour)


def _tracks(rng: np.random.Generator, side: float | None) -> list[float]:
    """Centre lines, metres; a signal stands beside a track, never on it."""
    n = int(rng.choice([0, 1, 2, 3], p=[0.15, 0.4, 0.3, 0.15]))
    if side is None:
        first = float(rng.uniform(-8, 5))
        return [first + 4.0 * i for i in range(n)]
    way = float(rng.choice([-1, -1, 1]))  # most signals stand to the right of their track
    first = side + way * float(rng.uniform(2.0, 4.0))
    return [first + way * 4.0 * i for i in range(n)]


@functools.lru_cache(maxsize=4)
def _grain(which: int) -> Radiance:
    rng = np.random.default_rng((417, which))
    grain = rng.standard_normal((512, 512)).astype(np.float32)
    coarse = cv2.resize(
        rng.standard_normal((128, 128)).astype(np.float32), (512, 512), interpolation=cv2.INTER_CUBIC
    )
    return np.asarray(0.6 * cv2.GaussianBlur(grain, (0, 0), 0.7) * 1.8 + 0.6 * coarse, np.float32)


@functools.lru_cache(maxsize=160)
def _photo(path: str) -> NDArray[np.uint8] | Radiance | None:
    """A picture as uint8 R G B, or in linear light scaled to its own white; None if it cannot be read."""
    if path.endswith(".npy"):
        out = np.asarray(np.load(path), np.float32)
        return out / max(float(np.quantile(out, 0.98)), 1e-4)
    if not Path(path).is_file():
        return None
    read = cv2.imread(path, cv2.IMREAD_COLOR)
    return None if read is None else np.ascontiguousarray(read[..., ::-1], np.uint8)


def paint_photo(canvas: Canvas, rng: np.random.Generator, path: str, level: float, blur: float) -> bool:
    """Fill the picture with a random crop of a photograph; False if it cannot be read."""
    picture = _photo(path)
    if picture is None:
        return False
    width, height = canvas.size
    ph, pw = picture.shape[:2]
    zoom = float(
        np.exp(
            rng.uniform(np.log(max(width / pw, height / ph)), np.log(max(width / pw, height / ph, 1.2) * 1.5))
        )
    )
    w, h = min(int(width / zoom), pw), min(int(height / zoom), ph)
    x, y = int(rng.integers(pw - w + 1)), int(rng.integers(ph - h + 1))
    cut = picture[y : y + h, x : x + w]
    if rng.random() < 0.5:
        cut = cut[:, ::-1]
    if cut.dtype == np.uint8:
        cut = np.asarray(linear(np.ascontiguousarray(cut, np.uint8)), np.float32)
    way = cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC
    laid = cv2.resize(np.ascontiguousarray(cut), (width, height), interpolation=way)
    gain = level * float(np.exp(rng.normal(0, 0.3)))
    tint = np.exp(rng.normal(0, 0.06, 3)).astype(np.float32)
    canvas.radiance[:] = np.maximum(laid, 0) * tint * np.float32(gain)
    if blur > 0.25:
        cv2.GaussianBlur(canvas.radiance, (0, 0), blur, dst=canvas.radiance)
    return True
