"""Lights of the street: what a signal with a housing is most easily taken for."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import cast

import numpy as np

from litlamp.aspects.aspect import Colour, Lamp
from litlamp.scene.canvas import Canvas, Colour3, Points, bar, moved, srgb, times
from litlamp.scene.heads import Aperture, Head, ellipse, paint_head, rounded
from litlamp.scene.light import GlowColour, Source
from litlamp.scene.spots import Found, Here, Spot, box_of, pick, shine
from litlamp.scene.view import View


def road_light(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Three lenses in a housing, upright or lying, or one or two of them; on a pole or hung from an arm."""
    at, size, lie, lum = here.at, here.size, here.lie, here.lum
    lens = 0.3 if rng.random() < 0.5 else 0.2
    pitch = lens * float(rng.uniform(1.12, 1.3))
    border = lens * float(rng.uniform(0.12, 0.3))
    n = int(rng.choice([1, 2, 3], p=[0.1, 0.1, 0.8]))
    short, long = lens + 2 * border, (n - 1) * pitch + lens + 2 * border
    lying = rng.random() < 0.3
    wide, tall = (long, short) if lying else (short, long)
    housing = rounded(wide, tall, short * float(rng.choice([0.08, 0.2, 0.5])))
    shell = [
        (0.03, 0.03, 0.03),
        times(srgb(240, 180, 30), (0.8, 0.8, 0.8)),
        (0.05, 0.07, 0.05),
        (0.2, 0.2, 0.2),
    ]
    glasses: tuple[str, ...] = ("red", "yellow", "green")
    if n < 3:
        glasses = tuple(str(g) for g in rng.choice(glasses, n, replace=False))
    steps = [((n - 1) / 2 - i) * pitch for i in range(n)]
    apertures = tuple(
        Aperture(-d if lying else 0.0, 0.0 if lying else d, g) for d, g in zip(steps, glasses, strict=True)
    )
    source: Source = "led" if rng.random() < 0.7 else "incandescent"
    head = Head(
        "vertical",
        housing,
        apertures,
        lens,
        lens * float(rng.uniform(0.6, 1.1)),
        float(rng.uniform(3.0, 4.6)),
        1.08,
        0.2,
        shell[int(rng.choice(4, p=[0.5, 0.25, 0.15, 0.1]))],
        0.03,
        float(rng.random()) * 0.6,
        0.1,
        "dots" if source == "led" and rng.random() < 0.5 else "even",
        source,
    )
    scale = size / short
    y = float(rng.uniform(2.4, 3.2)) if rng.random() < 0.6 else float(rng.uniform(5.0, 5.8))
    view = View(
        scale,
        (at[0], at[1] + scale * y),
        lie.roll,
        float(rng.uniform(-0.5, 0.5)),
        1.5,
        float(rng.uniform(12, 80)),
    )
    pole = times((0.25, 0.25, 0.25), canvas.sun.shade(0, 0, 1)) if rng.random() < 0.7 else (0.05, 0.05, 0.05)
    if rng.random() < 0.55:
        side = float(rng.choice([-1, 1])) * float(rng.uniform(0.0, 0.3))
        canvas.pipe(
            view.point(side, 0), view.point(side, y + float(rng.uniform(-0.4, 0.8))), 0.06 * scale, pole
        )
    else:  # hung from an arm
        reach = float(rng.choice([-1, 1])) * float(rng.uniform(2, 6))
        canvas.pipe(view.point(reach, y + 0.1), view.point(0, y + 0.25), 0.05 * scale, pole)
        canvas.pipe(view.point(reach, 0), view.point(reach, y + 0.3), 0.09 * scale, pole)
    if rng.random() < 0.45:
        out = float(rng.uniform(1.15, 1.6))
        plate = rounded(wide * out, tall * (1 + 0.4 * (out - 1)), 0.1)
        shade = canvas.sun.shade(0, 0, 1)
        edge = [(0.75, 0.75, 0.75), (0.7, 0.6, 0.05), (0.4, 0.4, 0.4)][
            int(rng.choice(3, p=[0.5, 0.25, 0.25]))
        ]
        canvas.polygons([view.points(plate[:, 0] * 1.06, y + plate[:, 1] * 1.04)], times(edge, shade))
        canvas.polygons(
            [view.points(plate[:, 0], y + plate[:, 1])], times((0.03, 0.03, 0.03), canvas.sun.shade(0, 0, 1))
        )
    weight = np.array([{"red": 0.45, "yellow": 0.15, "green": 0.4}[g] for g in glasses])
    colour = glasses[int(rng.choice(n, p=weight / weight.sum()))]
    truth = paint_head(
        canvas,
        view,
        head,
        (0.0, y),
        Lamp(cast(Colour, colour)),
        bool(rng.random() < 0.92),
        lum,
        (0.4, 0.5, 0.6),
        rng,
    )
    if not lying and rng.random() < 0.25:  # a sign or a small second light at its side
        side = float(rng.choice([-1, 1])) * (wide / 2 + short * 0.35)
        sign = moved(rounded(short * 0.7, tall * float(rng.uniform(0.3, 0.9)), 0.03), side, y - tall * 0.15)
        canvas.polygons(
            [view.points(sign[:, 0], sign[:, 1])], times((0.03, 0.03, 0.03), canvas.sun.shade(0, 0, 1))
        )
        for k in range(int(rng.integers(0, 3))):
            mark = ellipse(short * 0.4, short * 0.4, side, y - tall * 0.3 + k * short * 0.5)
            tone = ((0.7, 0.7, 0.7), (0.4, 0.03, 0.03), (0.02, 0.1, 0.3))[int(rng.integers(3))]
            canvas.polygons([view.points(mark[:, 0], mark[:, 1])], times(tone, canvas.sun.shade(0, 0, 1)))
    return [("road light", truth.box)]


def walker_light(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """A lit walking or standing figure, hand or arrow in a square case, alone or above another."""
    at, size, lum = here.at, here.size, here.lum
    x, y = at
    shade = canvas.sun.shade(0, 0, 1)
    n = int(rng.choice([1, 2]))
    case = moved(rounded(size * 1.15, size * 1.15 * n, size * 0.1), x, y)
    if rng.random() < 0.8:
        side = float(rng.choice([0.0, -0.75, 0.75])) * size
        _striped_pole(canvas, rng, (x + side, y + size * 8), (x + side, y - size), size * 0.16)
    canvas.polygons([case], times((0.03, 0.03, 0.03), shade))
    lit = int(rng.integers(n))
    for i in range(n):
        cy = y + (i - (n - 1) / 2) * size * 1.1
        canvas.polygons([moved(rounded(size, size, size * 0.06), x, cy)], times((0.012, 0.012, 0.014), shade))
        if i == lit:
            colour = pick(rng, ("red", "green", "green", "white", "amber"))
            shine(canvas, _figure(rng, x, cy, size * 0.85), colour, "led", lum)
    return [("walker light", box_of([case]))]


def _figure(rng: np.random.Generator, x: float, y: float, size: float) -> list[Points]:
    """A person, an arrow, a hand or a cross, about `size` px high."""
    what = int(rng.integers(4))
    s = size / 2
    if what == 0:
        stride = float(rng.uniform(0.05, 0.5)) * s
        hip, neck = (x, y + 0.15 * s), (x + 0.05 * s, y - 0.45 * s)
        limbs = [bar(hip, (x + stride, y + s), 0.12 * s), bar(hip, (x - stride, y + s), 0.12 * s),
                 bar(neck, hip, 0.2 * s), bar(neck, (x + stride + 0.2 * s, y), 0.09 * s),
                 bar(neck, (x - stride - 0.2 * s, y + 0.05 * s), 0.09 * s)]  # fmt: skip
        return [*limbs, ellipse(0.36 * s, 0.36 * s, x, y - 0.75 * s, 14)]
    if what == 1:
        turn = float(rng.choice([0, 1, 2, 3])) * math.pi / 2
        c, d = math.cos(turn), math.sin(turn)
        shaft = np.array([[-0.15, 1], [0.15, 1], [0.15, -0.1], [-0.15, -0.1]])
        point = np.array([[-0.6, 0.0], [0.6, 0.0], [0.0, -1.0]])
        rotate = np.array([[c, d], [-d, c]])
        return [moved(part @ rotate * s, x, y) for part in (shaft, point)]
    if what == 2:
        fingers = [
            bar((x + f * 0.2 * s, y + 0.2 * s), (x + f * 0.26 * s, y - 0.9 * s), 0.08 * s)
            for f in (-1, 0, 1, 2)
        ]
        return [*fingers, ellipse(0.8 * s, 0.9 * s, x, y + 0.4 * s, 16)]
    return [bar((x - 0.7 * s, y - 0.7 * s), (x + 0.7 * s, y + 0.7 * s), 0.12 * s),
            bar((x - 0.7 * s, y + 0.7 * s), (x + 0.7 * s, y - 0.7 * s), 0.12 * s)]  # fmt: skip


def _striped_pole(canvas: Canvas, rng: np.random.Generator, foot: Spot, top: Spot, width: float) -> None:
    shade = canvas.sun.shade(0, 0, 1)
    canvas.pipe(foot, top, width, times((0.2, 0.2, 0.2), shade))
    if rng.random() < 0.5:
        bands = int(rng.integers(2, 7))
        y = np.linspace(foot[1], top[1], 2 * bands + 1)
        tone = times((0.75, 0.75, 0.75), shade) if rng.random() < 0.7 else times(srgb(230, 190, 30), shade)
        for i in range(bands):
            canvas.pipe((foot[0], float(y[2 * i])), (foot[0], float(y[2 * i + 1])), width * 1.05, tone)


def bollard(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """A post with pale bands, and whatever stands behind it."""
    at, size = here.at, here.size
    x, y = at
    width = size * float(rng.uniform(0.12, 0.4))
    _striped_pole(canvas, rng, (x, y + size), (x, y - size), width)
    return [("bollard", box_of([moved(rounded(width, 2 * size, width * 0.1), x, y)]))]


_SEGMENTS = ("abcdef", "bc", "abged", "abgcd", "fgbc", "afgcd", "afgedc", "abc", "abcdefg", "abcdfg")
"""Which of the seven bars each digit lights, a at the top and on clockwise, g in the middle."""


def counter(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Seconds counted down in lit digits, mostly beside a road light of the same colour."""
    at, size, lum = here.at, here.size, here.lum
    x, y = at
    n = int(rng.choice([1, 2, 2, 3]))
    colour = pick(rng, ("red", "red", "green", "amber"))
    half_w, half_h = size * 0.2, size * 0.4
    case = moved(rounded(size * (0.55 * n + 0.2), size * 1.1, size * 0.08), x, y)
    canvas.polygons([case], times((0.025, 0.025, 0.025), canvas.sun.shade(0, 0, 1)))
    bars: list[Points] = []
    for i in range(n):
        cx = x + (i - (n - 1) / 2) * size * 0.55
        ends = {
            "a": ((-1, -1), (1, -1)), "b": ((1, -1), (1, 0)), "c": ((1, 0), (1, 1)), "d": ((-1, 1), (1, 1)),
            "e": ((-1, 0), (-1, 1)), "f": ((-1, -1), (-1, 0)), "g": ((-1, 0), (1, 0)),
        }  # fmt: skip
        for name in _SEGMENTS[int(rng.integers(10))]:
            (ax, ay), (bx, by) = ends[name]
            bars.append(
                bar((cx + ax * half_w, y + ay * half_h), (cx + bx * half_w, y + by * half_h), size * 0.055)
            )
    shine(canvas, bars, colour, "led", lum * float(rng.uniform(0.3, 1.5)))
    out: list[Found] = [("counter", box_of([case]))]
    if rng.random() < 0.5:
        above = x, y + size * float(rng.uniform(1.5, 4))
        out += road_light(canvas, rng, replace(here, at=above))
    return out


def tail_cluster(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """The back of a car seen near: lamp glasses of several colours, lit or only painted by the day."""
    at, size, lum = here.at, here.size, here.lum
    x, y = at
    shade = canvas.sun.shade(0, 0.1, 1)
    body = [(0.02, 0.02, 0.02), (0.7, 0.7, 0.7), (0.3, 0.02, 0.02), (0.05, 0.08, 0.2), (0.35, 0.35, 0.37)]
    paint = times(body[int(rng.integers(len(body)))], shade)
    wide = size * float(rng.uniform(2.5, 4))
    canvas.polygons([moved(rounded(wide, wide * 0.7, wide * 0.08), x, y)], paint)
    glass: dict[GlowColour, Colour3] = {
        "red": srgb(170, 15, 20),
        "amber": srgb(220, 120, 20),
        "white": srgb(220, 220, 220),
    }
    out: list[Found] = []
    lit = rng.random() < 0.6
    for side in (-1, 1):
        cx, cy = x + side * (wide / 2 - size * 0.3), y - wide * 0.05
        for row, name in enumerate(rng.permutation(np.array(["red", "red", "amber", "white"]))[:3]):
            colour = cast(GlowColour, str(name))
            part = moved(rounded(size * 0.45, size * 0.3, size * 0.06), cx, cy + (row - 1) * size * 0.34)
            canvas.polygons([part], times(glass[colour], shade))
            if lit and colour == "red":
                shine(canvas, [part], "red", "led", lum * float(rng.uniform(0.05, 1.0)))
            out.append(("car lights", box_of([part])))
    return out
