"""A street seen along its middle: carriageway, houses, lamps in rows, cars, lights on poles and gantries."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from litlamp.box import Box
from litlamp.scene.canvas import Canvas, Colour3, Points, bar, moved, noise, srgb, times
from litlamp.scene.heads import ellipse, rounded
from litlamp.scene.spots import Found, Here, box_of, pick, shine, spot
from litlamp.scene.street import bollard, counter, road_light, walker_light
from litlamp.scene.town import TOWN

_BODY = (srgb(30, 30, 32), srgb(215, 216, 218), srgb(150, 25, 28), srgb(40, 70, 130), srgb(140, 142, 146),
         srgb(235, 235, 232), srgb(60, 64, 60), srgb(190, 150, 60))  # fmt: skip
_WALL = (srgb(130, 75, 60), srgb(170, 160, 145), srgb(205, 200, 190), srgb(95, 95, 100), srgb(150, 120, 90),
         srgb(70, 60, 58))  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Way:
    """The street's own perspective: metres aside, up and ahead to px."""

    x: float
    y: float
    focal: float
    eye: float

    def at(self, aside: float, up: float, ahead: float) -> tuple[float, float]:
        k = self.focal / ahead
        return self.x + aside * k, self.y + (self.eye - up) * k

    def quad(self, a: tuple[float, float], b: tuple[float, float], near: float, far: float) -> Points:
        """Two (aside, up) drawn from near to far."""
        return np.array([self.at(*a, near), self.at(*b, near), self.at(*b, far), self.at(*a, far)])


def street(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Everything of a street over the whole picture; `here.at` gives only where it vanishes, roughly."""
    width, height = canvas.size
    way = _Way(
        width * float(rng.uniform(0.15, 0.85)),
        height * float(rng.uniform(0.3, 0.68)),
        width * float(np.exp(rng.uniform(math.log(0.6), math.log(3.5)))),
        float(rng.choice([1.4, rng.uniform(1.2, 2.5), rng.uniform(3, 8)], p=[0.5, 0.25, 0.25])),
    )
    after_dark = here.light in ("night", "dusk")
    lanes = int(rng.integers(1, 4))
    half = lanes * 3.3
    _ground(canvas, rng, way, half)
    out: list[Found] = []
    for side in (-1, 1):
        if rng.random() < 0.8:
            _houses(canvas, rng, way, side, half + float(rng.uniform(2, 9)), after_dark)
    if rng.random() < (0.85 if after_dark else 0.5):
        out += _lamps(canvas, rng, way, half + 1, here, after_dark)
    out += _kerb(canvas, rng, way, half, here)
    out += _traffic(canvas, rng, way, lanes, here, after_dark)
    out += _lights(canvas, rng, way, half, here)
    return out


def _ground(canvas: Canvas, rng: np.random.Generator, way: _Way, half: float) -> None:
    width, height = canvas.size
    shade = canvas.sun.shade(0, 0.9, 0.2)
    grain = 1 + np.float32(rng.uniform(0.03, 0.2)) * noise(rng, height, width, width / 3, 3.0)
    floor = np.array([[-1.0, way.y], [width + 1.0, way.y], [width + 1.0, height + 1.0], [-1.0, height + 1.0]])
    verge = (srgb(120, 118, 112), srgb(75, 95, 50), srgb(150, 145, 135))[int(rng.integers(3))]
    canvas.polygons([floor], times(verge, shade), texture=grain)
    near = way.eye * way.focal / max(height - way.y, 1.0) * 0.9
    tar = (float(rng.uniform(0.04, 0.22)),) * 3
    canvas.polygons([way.quad((-half, 0), (half, 0), near, 400)], times(tar, shade), texture=grain)
    marks: list[Points] = []
    for line in np.arange(-half + 3.3, half - 1, 3.3):
        start = near
        while start < 90:
            marks.append(way.quad((line - 0.08, 0), (line + 0.08, 0), start, start + 3))
            start += 3 + max(6.0, 0.25 * start)
    if rng.random() < 0.7:
        marks += [way.quad((s * half - 0.1, 0), (s * half + 0.1, 0), near, 300) for s in (-0.96, 0.96)]
    if rng.random() < 0.25:
        z = max(near, 5.0) * float(rng.uniform(1.1, 3))
        marks += [way.quad((x, 0), (x + 0.45, 0), z, z + 3) for x in np.arange(-half, half, 0.9)]
    if marks:
        paint = (0.75, 0.75, 0.75) if rng.random() < 0.8 else (0.7, 0.5, 0.08)
        canvas.polygons(marks, times(paint, shade), float(rng.uniform(0.4, 1)))


def _houses(
    canvas: Canvas, rng: np.random.Generator, way: _Way, side: int, aside: float, after_dark: bool
) -> None:
    """A row of fronts or of trees along one side."""
    trees = rng.random() < 0.3
    z = float(rng.uniform(5, 15))
    far: list[tuple[float, float, float]] = []
    while z < 160 and len(far) < 5:
        long = float(rng.uniform(10, 30)) * (1 + z / 60)
        far.append((z, z + long, float(rng.uniform(5, 18))))
        z += long + (float(rng.uniform(3, 12)) if rng.random() < 0.3 else 0.0)
    width, height = canvas.size
    grain = 1 + np.float32(0.25 if trees else 0.07) * noise(rng, height, width, width / (16 if trees else 4))
    face = canvas.sun.shade(-0.8 * side, 0.1, 0.4)
    for z0, z1, tall in reversed(far):
        tone = srgb(50, 75, 35) if trees else _WALL[int(rng.integers(len(_WALL)))]
        front = way.quad((side * aside, 0), (side * aside, tall), z0, z1)
        if trees:
            n = 9
            zs = np.linspace(z0, z1, n)
            tops = [way.at(side * aside, tall * float(rng.uniform(0.6, 1.0)), float(q)) for q in zs]
            front = np.array([way.at(side * aside, 0, z0), *tops, way.at(side * aside, 0, z1)])
        else:
            end = way.at(side * (aside + 30), 0, z0), way.at(side * (aside + 30), tall, z0)
            flank = np.array([front[0], front[1], end[1], end[0]])
            canvas.polygons([flank], times(tone, canvas.sun.shade(0, 0.1, 1)), texture=grain)
        canvas.polygons([front], times(tone, face), texture=grain)
        if trees:
            continue
        if z0 > 70:
            continue
        panes = [
            way.quad((side * aside, up), (side * aside, up + 1.5), a, a + 1.2)
            for up in np.arange(1.0, tall - 2, 3.1)
            for a in np.arange(z0 + 1, z1 - 1.5, 3.4 * (1 + z0 / 30))
        ]
        lit = [p for p in panes if after_dark and rng.random() < 0.3]
        canvas.polygons(panes or [front[:1]], times((0.06, 0.07, 0.09), face, float(rng.uniform(0.5, 3))))
        if lit:
            canvas.polygons(
                lit,
                ((1.6, 1.1, 0.5), (1.3, 1.3, 1.2), (0.5, 0.7, 1.2))[int(rng.choice(3, p=[0.7, 0.2, 0.1]))],
            )
        if rng.random() < 0.25:  # a shop's board, lit letters or a plain painted one
            a, b, c, d = way.quad((side * aside, 2.6), (side * aside, 3.5), z0 + 1, min(z0 + 8, z1))
            canvas.polygons([np.array([a, b, c, d])], times(_BODY[int(rng.integers(8))], face))
            if after_dark or rng.random() < 0.3:
                steps = np.linspace(0.06, 0.9, int(rng.integers(3, 9)))
                letters = [
                    np.array([a + (d - a) * f + (b - a) * 0.2, a + (d - a) * (f + 0.05) + (b - a) * 0.2,
                              b + (c - b) * (f + 0.05) - (b - a) * 0.2, b + (c - b) * f - (b - a) * 0.2])
                    for f in steps
                ]  # fmt: skip
                colour = pick(rng, ("red", "red", "green", "white", "amber", "blue"))
                shine(canvas, letters, colour, "led", float(np.exp(rng.uniform(math.log(0.3), math.log(5)))))


def _lamps(
    canvas: Canvas, rng: np.random.Generator, way: _Way, aside: float, here: Here, after_dark: bool
) -> list[Found]:
    """Street lamps in two rows or one."""
    colour = pick(rng, ("amber", "amber", "white", "white", "yellow"))
    tall, step = float(rng.uniform(6, 11)), float(rng.uniform(18, 40))
    lum = here.lum * float(rng.uniform(1, 12))
    out: list[Found] = []
    poles: list[Points] = []
    for side in (-1, 1)[: 1 if rng.random() < 0.4 else 2]:
        z = 9 * step if step < 25 else 6 * step
        while z > 6:
            foot, top = way.at(side * aside, 0, z), way.at(side * aside, tall, z)
            head = way.at(side * (aside - 1.6), tall + 0.1, z)
            k = way.focal / z
            thick = max(0.07 * k, 0.25)
            poles += [bar(foot, top, thick), bar(top, head, thick)]
            if after_dark:
                out.append(("street lamp", spot(canvas, head, max(0.22 * k, 0.45), colour, "led", lum, 0.6)))
            else:
                poles.append(ellipse(0.8 * k, 0.25 * k, *head, n=12))
                out.append(("street lamp", box_of(poles[-1:])))
            z -= step
    canvas.polygons(poles, times((0.25, 0.25, 0.26), canvas.sun.shade(0, 0, 1)))
    return out


_CLOTH = (srgb(190, 220, 40), srgb(30, 32, 40), srgb(60, 80, 120), srgb(170, 40, 40), srgb(200, 195, 185),
          srgb(235, 110, 30))  # fmt: skip


def _kerb(canvas: Canvas, rng: np.random.Generator, way: _Way, half: float, here: Here) -> list[Found]:
    """People, posts and marks along the kerbs."""
    shade = canvas.sun.shade(0, 0.1, 1)
    out: list[Found] = []
    depth = sorted(
        float(np.exp(rng.uniform(math.log(5), math.log(50)))) for _ in range(int(rng.integers(0, 6)))
    )
    for z in reversed(depth):
        k = way.focal / z
        x, y = way.at(float(rng.choice([-1, 1])) * (half + float(rng.uniform(0.4, 2.5))), 0, z)
        what = rng.random()
        if what < 0.4:
            coat, legs = (times(_CLOTH[int(rng.integers(len(_CLOTH)))], shade) for _ in range(2))
            canvas.polygons(
                [moved(rounded(0.3 * k, 0.9 * k, 0.1 * k), x, y - 0.45 * k)], times(legs, (0.5, 0.5, 0.5))
            )
            canvas.polygons([moved(rounded(0.46 * k, 0.7 * k, 0.15 * k), x, y - 1.15 * k)], coat)
            canvas.polygons(
                [ellipse(0.2 * k, 0.26 * k, x, y - 1.65 * k, 12)], times(srgb(190, 140, 115), shade)
            )
        elif what < 0.6:
            out += bollard(canvas, rng, replace(here, at=(x, y - 0.5 * k), size=0.55 * k))
        else:
            out += TOWN["stacked marks"](
                canvas, rng, replace(here, at=(x, y - float(rng.uniform(0.5, 2)) * k), size=0.3 * k)
            )
    return out


def _traffic(
    canvas: Canvas, rng: np.random.Generator, way: _Way, lanes: int, here: Here, after_dark: bool
) -> list[Found]:
    """Cars, vans and buses ahead, from far to near."""
    n = int(rng.choice([0, 2, 5, 9], p=[0.15, 0.4, 0.32, 0.13]))
    depth = sorted((float(np.exp(rng.uniform(math.log(7), math.log(110)))) for _ in range(n)), reverse=True)
    out: list[Found] = []
    lit = after_dark or rng.random() < 0.45
    braking = rng.random() < 0.5
    for z in depth:
        k = way.focal / z
        lane = int(rng.integers(-lanes, lanes))
        x, ground = way.at((lane + 0.5) * 3.3 + float(rng.normal(0, 0.25)), 0, z)
        out += _car(canvas, rng, (x, ground), k, lane >= 0, lit, braking, here)
    return out


def _car(
    canvas: Canvas, rng: np.random.Generator, foot: tuple[float, float], k: float, rear: bool, lit: bool,
    braking: bool, here: Here,
) -> list[Found]:  # fmt: skip
    """One vehicle: shadow, wheels, body, window, lamps; `k` px per metre."""
    x, y = foot
    tall = float(rng.choice([1.45, 1.9, 3.0], p=[0.7, 0.2, 0.1]))
    wide = 1.75 if tall < 2.5 else 2.4
    shade = canvas.sun.shade(0, 0.2, 0.95)
    paint = times(_BODY[int(rng.integers(len(_BODY)))], shade)
    body = moved(rounded(wide * k, 0.42 * tall * k, 0.12 * k), x, y - 0.39 * tall * k)
    if wide * k < 4:
        canvas.polygons([moved(rounded(wide * k, tall * k, 0), x, y - tall * k / 2)], paint)
    else:
        under = [moved(rounded(wide * k * 1.05, 0.35 * k, 0.1 * k), x, y - 0.12 * k)]
        under += [moved(rounded(0.24 * k, 0.6 * k, 0.08 * k), x + s * 0.7 * k, y - 0.28 * k) for s in (-1, 1)]
        canvas.polygons(under, times((0.012, 0.012, 0.013), shade))
        cabin = np.array([[-0.46, -0.5], [-0.36, -0.97], [0.36, -0.97], [0.46, -0.5]])
        if tall > 1.7:
            cabin = np.array([[-0.5, -0.45], [-0.48, -1], [0.48, -1], [0.5, -0.45]])
        canvas.polygons([cabin * [wide * k, tall * k] + [x, y], body], paint)
        pane = cabin * [0.86 * wide * k, 0.9 * tall * k] + [x, y - 0.08 * tall * k]
        pane[:, 1] = np.minimum(pane[:, 1], y - 0.58 * tall * k)
        canvas.polygons([pane], times((0.04, 0.05, 0.06), shade, float(rng.uniform(0.4, 2.5))))
        if wide * k > 15:
            plate = moved(rounded(0.5 * k, 0.12 * k, 0), x, y - 0.3 * tall * k)
            canvas.polygons([plate], times((0.6, 0.6, 0.55), shade))
    level = y - (0.47 if tall < 2.5 else 0.3) * tall * k
    shape = int(rng.integers(4))
    high = float(rng.uniform(0.12, 0.2)) * k
    out: list[Found] = []
    glass = times(srgb(150, 15, 18) if rear else srgb(200, 205, 210), shade)
    lum = here.lum * float(np.exp(rng.uniform(math.log(0.15), math.log(1.5 if rear else 8))))
    parts: list[Points] = []
    for side in (-1, 1):
        cx = x + side * (wide / 2 - 0.2) * k
        part = ellipse(high * 1.2, high * 1.2, cx, level, 16)
        if shape == 1:
            part = moved(rounded(0.34 * k, high, 0.03 * k), cx, level)
        elif shape == 2:
            part = moved(rounded(0.18 * k, 2.2 * high, 0.03 * k), cx, level - 0.5 * high)
        elif shape == 3:  # two round lamps, one over the other
            parts.append(ellipse(high, high, cx, level - 1.1 * high, 16))
        parts.append(part if np.ptp(part[:, 0]) > 0.9 else ellipse(0.9, 0.9, cx, level, 8))
        out.append(("car lights", box_of([part])))
    canvas.polygons(parts, glass)
    if lit and (not rear or braking or here.light in ("night", "dusk")):
        shine(canvas, parts, "red" if rear else "white", "led", lum)
    if rear and lit and braking and rng.random() < 0.5:
        shine(
            canvas,
            [moved(rounded(max(0.3 * k, 0.8), max(0.05 * k, 0.5), 0), x, y - 0.9 * tall * k)],
            "red",
            "led",
            lum,
        )
    if rng.random() < 0.08:
        part = ellipse(0.16 * k, 0.12 * k, x + 0.78 * k, level, 10)
        shine(canvas, [part], "amber", "incandescent", lum)
    return out


def _lights(canvas: Canvas, rng: np.random.Generator, way: _Way, half: float, here: Here) -> list[Found]:
    """Road lights over the lanes and at the kerb, with counters and signs at their side."""
    out: list[Found] = []
    z = float(np.exp(rng.uniform(math.log(7), math.log(60))))
    k = way.focal / z
    if rng.random() < 0.6:  # an arm or a beam across, with one or some lights and boards
        tall, side = float(rng.uniform(5.2, 6.5)), float(rng.choice([-1, 1]))
        reach = -side * half if rng.random() < 0.4 else side * float(rng.uniform(0, half * 0.6))
        metal: Colour3 = ((0.45, 0.46, 0.47), (0.06, 0.1, 0.25), (0.2, 0.2, 0.2))[int(rng.integers(3))]
        canvas.pipe(
            way.at(side * (half + 1), 0, z), way.at(side * (half + 1), tall + 0.3, z), 0.16 * k, metal
        )
        canvas.pipe(way.at(side * (half + 1), tall, z), way.at(reach, tall, z), 0.1 * k, metal)
        if rng.random() < 0.4:
            board = way.at(side * half * float(rng.uniform(0.2, 0.8)), tall, z)
            w, h = float(rng.uniform(1.5, 4)) * k, float(rng.uniform(0.8, 1.6)) * k
            tone = times(
                (srgb(20, 100, 60), srgb(25, 70, 150), srgb(235, 235, 235))[int(rng.integers(3))],
                canvas.sun.shade(0, 0, 1),
            )
            canvas.polygons([moved(rounded(w, h, 0.1 * k), *board)], tone)
            out.append(("sign", Box(board[0] - w / 2, board[1] - h / 2, board[0] + w / 2, board[1] + h / 2)))
        for _ in range(int(rng.choice([1, 2, 3], p=[0.55, 0.3, 0.15]))):
            aside = reach + (side * half - reach) * float(rng.uniform(0, 0.8))
            spot_at = way.at(aside, tall - float(rng.choice([0.0, 0.55])), z)
            size = max(float(rng.uniform(0.36, 0.5)) * k, 2.5)
            out += _one_light(canvas, rng, replace(here, at=spot_at, size=size))
            if rng.random() < 0.35:
                beside = (
                    spot_at[0] + float(rng.choice([-1, 1])) * size * float(rng.uniform(1.6, 3.2)),
                    spot_at[1],
                )
                out += counter(
                    canvas, rng, replace(here, at=beside, size=size * float(rng.uniform(0.9, 1.6)))
                )
    for side in (-1, 1):
        if rng.random() < 0.45:
            zz = float(np.exp(rng.uniform(math.log(5), math.log(50))))
            kk = way.focal / zz
            place = replace(
                here, at=way.at(side * (half + float(rng.uniform(0.5, 2))), float(rng.uniform(2.2, 3.4)), zz),
                size=max(0.42 * kk, 2.5),
            )  # fmt: skip
            out += walker_light(canvas, rng, place) if rng.random() < 0.3 else _one_light(canvas, rng, place)
    return out


def _one_light(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    if rng.random() < 0.25:
        return TOWN["arrow light"](canvas, rng, replace(here, size=here.size * 0.7))
    return road_light(canvas, rng, here)


__all__ = ["street"]
