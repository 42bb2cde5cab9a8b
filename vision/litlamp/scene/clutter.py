"""What is not the signal: lights and shapes that could be taken for one, and what stands before it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from litlamp.box import Box
from litlamp.scene.backdrop import Lie
from litlamp.scene.canvas import Canvas, Colour3, Points, bar, cover, hull, moved, noise, srgb, times
from litlamp.scene.heads import ellipse, rounded
from litlamp.scene.light import Glow, GlowColour, Light
from litlamp.scene.road import street
from litlamp.scene.spots import Found, Here, box_of, pick, spot
from litlamp.scene.street import bollard, counter, road_light, tail_cluster, walker_light
from litlamp.scene.town import TOWN

KINDS = (
    "road light",
    "train",
    "street lamp",
    "crossing lamps",
    "sign",
    "car lights",
    "points of light",
    "round thing",
    "switch lamp",
    "glint",
    "sun or moon",
    "lit sign",
    "row of lights",
    "walker light",
    "counter",
    "tail cluster",
    "bollard",
)
# Drawn for training alone, and asked for by name: scenes by KINDS keep the chances they have always had.
TOWN_KINDS = tuple(TOWN)


def paint_distractor(
    canvas: Canvas,
    rng: np.random.Generator,
    kind: str,
    lie: Lie,
    light: Light,
    luminance: float,
    at: tuple[float, float] | None = None,
    size: float | None = None,
) -> list[Found]:
    """Paint one thing that must not be read as a signal; `size` px is its characteristic width."""
    width, height = canvas.size
    if at is None:
        at = float(rng.uniform(0, width)), float(rng.uniform(0, height))
    if size is None:
        size = float(np.exp(rng.uniform(math.log(5), math.log(70)))) * min(width, height) / 256
    return _PAINT[kind](canvas, rng, Here(at, size, lie, light, luminance))


def _train(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    at, size, light, lum = here.at, here.size, here.light, here.lum
    w = max(size * 1.6, 12.0)
    h = w * float(rng.uniform(1.0, 1.5))
    x, y = at
    hue = [
        srgb(200, 30, 30),
        srgb(240, 190, 30),
        srgb(40, 60, 120),
        srgb(60, 60, 65),
        srgb(30, 100, 60),
        srgb(200, 200, 205),
    ]
    paint = times(hue[int(rng.integers(len(hue)))], canvas.sun.shade(0, 0.1, 1.0))
    front = np.array([[-0.5, 0.5], [-0.5, -0.4], [-0.38, -0.5], [0.38, -0.5], [0.5, -0.4], [0.5, 0.5]]) * [
        w,
        h,
    ] + [x, y]
    side = float(rng.choice([-1, 1])) * w * float(rng.uniform(0.5, 4))
    tail = np.array([[x + np.sign(side) * w / 2, y - h / 2], [x + np.sign(side) * w / 2, y + h / 2],
                     [x + side, y + h / 8], [x + side, y - h / 4]])  # fmt: skip
    canvas.polygons([tail], times(paint, (0.6, 0.6, 0.6)))
    canvas.polygons([front], paint)
    panes: list[Points] = []
    x0, x1 = x + math.copysign(w / 2, side), x + side
    for f in np.arange(0.06, 0.95, max(0.12, 0.22 * w / abs(side))):
        a, b = (x0 + (x1 - x0) * (f + d) for d in (0.0, 0.05))
        high = [(-0.26 * (1 - u) - 0.13 * u, -0.02 * (1 - u) - 0.02 * u) for u in (f, f + 0.05)]
        panes.append(
            np.array(
                [
                    [a, y + high[0][0] * h],
                    [b, y + high[1][0] * h],
                    [b, y + high[1][1] * h],
                    [a, y + high[0][1] * h],
                ]
            )
        )
    lit = light in ("night", "dusk") and rng.random() < 0.7
    inside = (3.0, 2.4, 1.5) if lit else times((0.05, 0.06, 0.07), canvas.sun.shade(0, 0.3, 1))
    canvas.polygons(panes, inside)
    band = np.array([[-0.5, 0.12], [0.5, 0.12], [0.5, 0.24], [-0.5, 0.24]]) * [w, h] + [x, y]
    canvas.polygons([band], times(hue[int(rng.integers(len(hue)))], canvas.sun.shade(0, 0.1, 1.0)))
    glass = np.array([[-0.42, -0.3], [0.42, -0.3], [0.42, -0.02], [-0.42, -0.02]]) * [w, h] + [x, y]
    canvas.polygons([glass], times((0.05, 0.06, 0.07), canvas.sun.shade(0, 0.3, 1), 1.5))
    out: list[Found] = [("train", box_of([front]))]
    bright = lum * float(rng.uniform(1, 12))
    tail_lamps = rng.random() < 0.4
    colour: GlowColour = "red" if tail_lamps else "white"
    r = w * float(rng.uniform(0.025, 0.07))
    level = y + h * float(rng.uniform(0.2, 0.4))
    for dx in (-0.33, 0.33):
        out.append(
            (
                "tail lamp" if tail_lamps else "head lamp",
                spot(
                    canvas,
                    (x + dx * w, level),
                    r,
                    colour,
                    "led" if rng.random() < 0.4 else "incandescent",
                    bright,
                ),
            )
        )
    if not tail_lamps and rng.random() < 0.6:
        out.append(
            ("head lamp", spot(canvas, (x, y - h * 0.38), r * 1.2, "white", "incandescent", bright * 2))
        )
    return out


def _street_lamp(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    at, size, light, lum = here.at, here.size, here.light, here.lum
    x, y = at
    arm = float(rng.choice([-1, 1])) * size
    pole = times((0.2, 0.2, 0.2), canvas.sun.shade(0, 0, 1))
    r = max(size * float(rng.uniform(0.06, 0.16)), 0.8)
    canvas.pipe((x + arm, y + size * 8), (x + arm, y), max(size * 0.05, 0.4), pole)
    canvas.pipe((x + arm, y), (x, y - size * 0.1), max(size * 0.03, 0.4), pole)
    on = light in ("night", "dusk") or rng.random() < 0.2
    if on:
        b = spot(
            canvas,
            (x, y),
            r,
            pick(rng, ("white", "white", "amber")),
            "led",
            lum * float(rng.uniform(1, 15)),
            0.6,
        )
        return [("street lamp", b)]
    t = ellipse(2 * r, r, x, y, 16)
    canvas.polygons([t], times((0.5, 0.5, 0.5), canvas.sun.shade(0, 0, 1)))
    return [("street lamp", box_of([t]))]


def _crossing(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    at, size, lum = here.at, here.size, here.lum
    x, y = at
    pole = times((0.45, 0.45, 0.45), canvas.sun.shade(0, 0, 1))
    canvas.pipe((x, y + size * 5), (x, y - size * 2), size * 0.12, pole)
    canvas.lines([((x - size, y), (x + size, y))], size * 0.06, pole)
    out: list[Found] = []
    phase = int(rng.integers(3))
    for i, side in enumerate((-1, 1)):
        cx = x + side * size * 0.85
        disc = ellipse(size, size, cx, y, 30)
        canvas.polygons([disc], times((0.025, 0.025, 0.025), canvas.sun.shade(0, 0, 1)))
        lens = ellipse(size * 0.45, size * 0.45, cx, y, 24)
        canvas.polygons([lens], times((0.08, 0.01, 0.01), canvas.sun.shade(0, 0, 1)))
        if phase == 2 or phase == i:
            spot(canvas, (cx, y), size * 0.22, "red", "led" if rng.random() < 0.5 else "incandescent", lum)
        out.append(("crossing lamps", box_of([disc])))
    if rng.random() < 0.7:
        d = size * 1.1
        cy = y - size * 1.7
        canvas.lines(
            [((x - d, cy - d * 0.7), (x + d, cy + d * 0.7)), ((x - d, cy + d * 0.7), (x + d, cy - d * 0.7))],
            size * 0.14,
            times((0.8, 0.8, 0.8), canvas.sun.shade(0, 0, 1)),
        )
    return out


def _sign(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    at, size = here.at, here.size
    x, y = at
    hue = [
        srgb(200, 20, 30),
        srgb(250, 200, 20),
        srgb(20, 110, 60),
        srgb(240, 240, 240),
        srgb(20, 70, 160),
        srgb(245, 130, 20),
    ]
    shade = canvas.sun.shade(0, 0, 1)
    if rng.random() < 0.6:
        canvas.pipe((x, y), (x, y + size * 4), max(size * 0.06, 0.4), times((0.35, 0.35, 0.35), shade))
    w, h = size, size * float(rng.uniform(0.6, 1.5))
    shapes = [ellipse(w, w, x, y), moved(rounded(w, h, w * 0.05), x, y),
              np.array([[x - w / 2, y + w / 2], [x + w / 2, y + w / 2], [x, y - w / 2]]),
              np.array([[x - w / 2, y], [x, y - w / 2], [x + w / 2, y], [x, y + w / 2]])]  # fmt: skip
    shape = shapes[int(rng.integers(len(shapes)))]
    rim, face = hue[int(rng.integers(len(hue)))], hue[int(rng.integers(len(hue)))]
    canvas.polygons([shape], times(rim, shade))
    centre = shape.mean(0)
    canvas.polygons([centre + (shape - centre) * float(rng.uniform(0.65, 0.95))], times(face, shade))
    if rng.random() < 0.7 and size > 6:
        ink = times((0.02, 0.02, 0.02) if rng.random() < 0.6 else (0.85, 0.85, 0.85), shade)
        n = int(rng.integers(1, 4))
        bars = []
        for i in range(n):
            ly = y + (i - (n - 1) / 2) * size * 0.22
            reach = size * float(rng.uniform(0.1, 0.3))
            bars.append(((x - reach, ly), (x + reach, ly)))
        canvas.lines(bars, size * float(rng.uniform(0.03, 0.08)), ink)
    return [("sign", box_of([shape]))]


def _car(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    at, size, lum = here.at, here.size, here.lum
    x, y = at
    hue = [(0.02, 0.02, 0.02), (0.6, 0.6, 0.6), (0.3, 0.02, 0.02), (0.05, 0.08, 0.2), (0.25, 0.25, 0.27)]
    body = times(hue[int(rng.integers(len(hue)))], canvas.sun.shade(0, 0.3, 0.9))
    canvas.polygons([moved(rounded(size, size * 0.5, size * 0.1), x, y)], body)
    canvas.polygons(
        [moved(rounded(size * 0.8, size * 0.35, size * 0.1), x, y - size * 0.35)],
        times(body, (0.4, 0.4, 0.45)),
    )
    rear = rng.random() < 0.55
    out: list[Found] = []
    for side in (-0.4, 0.4):
        out.append(
            (
                "car lights",
                spot(
                    canvas,
                    (x + side * size, y - size * 0.05),
                    max(size * float(rng.uniform(0.04, 0.09)), 0.6),
                    "red" if rear else "white",
                    "led",
                    lum * float(rng.uniform(0.3, 4)),
                    0.7,
                ),
            )
        )
    if rear and rng.random() < 0.3:
        out.append(
            ("car lights", spot(canvas, (x, y - size * 0.48), max(size * 0.04, 0.5), "red", "led", lum, 0.4))
        )
    if rng.random() < 0.2:
        spot(canvas, (x - 0.4 * size, y + size * 0.05), max(size * 0.04, 0.5), "amber", "incandescent", lum)
    return out


def _points(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    at, size, lum = here.at, here.size, here.lum
    out: list[Found] = []
    colours = ("white", "white", "amber", "amber", "red", "green", "blue", "yellow")
    for _ in range(int(rng.integers(1, 9))):
        x, y = at[0] + float(rng.normal(0, 3)) * size, at[1] + float(rng.normal(0, 1)) * size
        r = float(np.exp(rng.uniform(math.log(0.5), math.log(4))))
        out.append(
            (
                "point of light",
                spot(
                    canvas,
                    (x, y),
                    r,
                    pick(rng, colours),
                    "led" if rng.random() < 0.6 else "incandescent",
                    lum * float(np.exp(rng.normal(0, 0.8))),
                ),
            )
        )
    return out


def _round(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    at, size = here.at, here.size
    out: list[Found] = []
    hue = [
        srgb(220, 20, 30),
        srgb(250, 210, 30),
        srgb(40, 160, 60),
        srgb(240, 120, 20),
        srgb(240, 240, 240),
        srgb(200, 40, 120),
    ]
    colour = hue[int(rng.integers(len(hue)))]
    for _ in range(int(rng.choice([1, 2, 6]))):
        x, y = at[0] + float(rng.normal(0, 1)) * size, at[1] + float(rng.normal(0, 1)) * size
        w = size * float(rng.uniform(0.1, 0.6))
        shape = ellipse(w, w * float(rng.uniform(0.7, 1.4)), x, y, 24)
        canvas.polygons([shape], times(colour, canvas.sun.shade(0, 0.4, 0.9)))
        if rng.random() < 0.5:
            canvas.polygons(
                [ellipse(w * 0.3, w * 0.3, x - w * 0.15, y - w * 0.2, 12)],
                times((1, 1, 1), canvas.sun.shade(0, 0.4, 0.9)),
                0.5,
            )
        out.append(("round thing", box_of([shape])))
    return out


def _switch_lamp(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    at, size, lum = here.at, here.size, here.lum
    x, y = at
    size *= 0.6
    shade = canvas.sun.shade(0, 0, 1)
    canvas.pipe((x, y + size * 2.2), (x, y), size * 0.1, (0.05, 0.05, 0.05))
    case = moved(rounded(size * 0.8, size, size * 0.15), x, y)
    canvas.polygons([case], times((0.04, 0.04, 0.04), shade))
    if rng.random() < 0.5:
        wing = np.array([[x - size, y - size * 1.4], [x + size, y - size * 1.4], [x, y - size * 0.6]])
        canvas.polygons([wing], times(srgb(210, 30, 30) if rng.random() < 0.5 else srgb(245, 200, 40), shade))
    spot(
        canvas,
        (x, y),
        size * 0.25,
        pick(rng, ("red", "green", "yellow", "lunar")),
        "incandescent",
        lum * float(rng.uniform(0.1, 1)),
    )
    return [("switch lamp", box_of([case]))]


def _glint(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """The sun on metal or glass: white, not lit."""
    at, size = here.at, here.size
    x, y = at
    a = float(rng.uniform(0, np.pi))
    r = size * float(rng.uniform(0.05, 0.4))
    b = float(rng.uniform(1.5, 10))
    canvas.lines([((x - r * math.cos(a), y - r * math.sin(a)), (x + r * math.cos(a), y + r * math.sin(a)))],
                 float(rng.uniform(0.3, 1.6)), (b, b * 0.96, b * 0.88))  # fmt: skip
    return [("glint", Box(x - r - 1, y - r - 1, x + r + 1, y + r + 1))]


def _disc(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """The sun low in the sky, or the moon."""
    at, size, lie, light, lum = here.at, here.size, here.lie, here.light, here.lum
    x, y = at[0], min(at[1], lie.horizon - size * 0.2)
    r = size * float(rng.uniform(0.08, 0.4))
    if light == "night":
        return [
            ("moon", spot(canvas, (x, y), r, "lunar", "incandescent", lum * float(rng.uniform(0.02, 0.2))))
        ]
    colour = pick(rng, ("white", "white", "amber"))
    return [("sun", spot(canvas, (x, y), r, colour, "incandescent", float(rng.uniform(3, 60))))]


def _lit_sign(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Lit letters or bars of one colour: a shop, a display, a platform sign."""
    at, size, lum = here.at, here.size, here.lum
    x, y = at
    w, h = size, size * float(rng.uniform(0.2, 0.6))
    canvas.polygons(
        [moved(rounded(w * 1.1, h * 1.2, 0.02 * w), x, y)],
        times((0.03, 0.03, 0.03), canvas.sun.shade(0, 0, 1)),
    )
    shapes: list[Points] = []
    n = int(rng.integers(2, 9))
    cell = w / n
    for i in range(n):
        cx = x - w / 2 + cell * (i + 0.5)
        for _ in range(int(rng.integers(1, 4))):
            a, b = rng.uniform(-0.35, 0.35, 2), rng.uniform(-0.4, 0.4, 2)
            p, q = (
                (cx + float(a[0]) * cell, y + float(b[0]) * h),
                (cx + float(a[1]) * cell, y + float(b[1]) * h),
            )
            shapes.append(bar(p, q, max(0.06 * h, 0.3)))
    found = cover(shapes, canvas.size)
    if found is not None:
        colour = pick(rng, ("red", "green", "amber", "white", "blue", "yellow"))
        canvas.glows.append(Glow(x, y, found[0], found[1], colour, "led", lum * float(rng.uniform(0.1, 1))))
    return [("lit sign", Box(x - w / 2, y - h / 2, x + w / 2, y + h / 2))]


def _row(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Equal lamps in a row running away: a platform, a tunnel, a street."""
    at, size, lie, lum = here.at, here.size, here.lie, here.lum
    colour = pick(rng, ("white", "white", "amber", "amber", "red", "green"))
    r = max(size * float(rng.uniform(0.02, 0.08)), 0.5)
    out: list[Found] = []
    for i in range(int(rng.integers(3, 9))):
        f = 1 / (1 + 0.35 * i)
        x, y = lie.vanish + (at[0] - lie.vanish) * f, lie.horizon + (at[1] - lie.horizon) * f
        out.append(
            (
                "row of lights",
                spot(canvas, (x, y), max(r * f, 0.35), colour, "led", lum * float(rng.uniform(0.5, 1.5))),
            )
        )
    return out


_PAINTERS = (
    road_light,
    _train,
    _street_lamp,
    _crossing,
    _sign,
    _car,
    _points,
    _round,
    _switch_lamp,
    _glint,
    _disc,
    _lit_sign,
    _row,
    walker_light,
    counter,
    tail_cluster,
    bollard,
)
_PAINT = {**dict(zip(KINDS, _PAINTERS, strict=True)), **TOWN, "street": street}


@dataclass(frozen=True, slots=True)
class Before:
    """What may stand between camera and signal, each a count or a strength; 0 is none."""

    wires: int = 0
    branches: float = 0.0
    pole: bool = False
    pane: bool = False  # seen through a cab window or windscreen


def paint_before(canvas: Canvas, rng: np.random.Generator, before: Before) -> None:
    """Wires, twigs, a pole or a window in front of everything painted so far."""
    width, height = canvas.size
    unit = min(width, height) / 256
    if before.wires:
        segments = []
        for _ in range(before.wires):
            if rng.random() < 0.7:
                segments.append(
                    (
                        (0.0, float(rng.uniform(-0.1, 1.1)) * height),
                        (float(width), float(rng.uniform(-0.1, 1.1)) * height),
                    )
                )
            else:
                segments.append(
                    (
                        (float(rng.uniform(0, 1)) * width, 0.0),
                        (float(rng.uniform(0, 1)) * width, float(height)),
                    )
                )
        tone = (
            (0.03, 0.03, 0.03)
            if rng.random() < 0.8
            else times((0.4, 0.4, 0.4), canvas.sun.shade(0, 0.5, 0.5))
        )
        canvas.lines(segments, float(rng.uniform(0.3, 1.6)) * unit, tone)
    if before.branches > 0:
        x, y = float(rng.choice([0, width])), float(rng.uniform(0, 1)) * height
        bars: list[tuple[tuple[float, float], tuple[float, float]]] = []
        way = (0.0 if x == 0 else math.pi) + float(rng.normal(0, 0.4))
        _twig(rng, bars, x, y, way, width * float(rng.uniform(0.2, 0.7)), 4)
        colour: Colour3 = times((0.07, 0.05, 0.035), canvas.sun.shade(0, 0.3, 0.7))
        canvas.lines(bars, float(rng.uniform(0.4, 1.3)) * unit * before.branches, colour)
    if before.pole:
        x = float(rng.uniform(0, width))
        canvas.pipe(
            (x, -5.0),
            (x + float(rng.normal(0, 0.03)) * height, height + 5.0),
            float(rng.uniform(0.7, 5)) * unit,
            (0.25, 0.25, 0.25),
        )
    if before.pane:
        _pane(canvas, rng)


def _pane(canvas: Canvas, rng: np.random.Generator) -> None:
    """Dark window frame, wiper, a faint mirror image of the cab and dirt on the glass."""
    width, height = canvas.size
    mirror = np.clip(noise(rng, height, width, max(width, height) / 2), 0, 2) * np.float32(
        rng.uniform(0.0, 0.06)
    )
    canvas.radiance += mirror[..., None] * np.float32(canvas.radiance.mean() + 0.1)
    black = (0.012, 0.012, 0.014)
    if rng.random() < 0.7:
        edge = float(rng.uniform(0.02, 0.2)) * height
        dash = np.array([[-5.0, height - edge], [width + 5.0, height - edge * float(rng.uniform(0.5, 1.3))],
                         [width + 5.0, height + 5.0], [-5.0, height + 5.0]])  # fmt: skip
        canvas.polygons([dash], black)
    if rng.random() < 0.6:
        x, lean = float(rng.choice([0.0, width])), float(rng.uniform(-0.15, 0.15)) * width
        canvas.lines([((x, -5.0), (x + lean, height + 5.0))], float(rng.uniform(0.02, 0.1)) * width, black)
    if rng.random() < 0.5:
        foot, way = float(rng.uniform(0.1, 0.9)) * width, float(rng.uniform(-1.2, 1.2))
        tip = (foot + math.sin(way) * height, height - math.cos(way) * height * float(rng.uniform(0.5, 1)))
        canvas.lines(
            [((foot, height + 5.0), tip)], float(rng.uniform(0.5, 2.0)) * min(width, height) / 256, black
        )


def _twig(
    rng: np.random.Generator,
    bars: list[tuple[tuple[float, float], tuple[float, float]]],
    x: float,
    y: float,
    way: float,
    length: float,
    depth: int,
) -> None:
    x1, y1 = x + length * math.cos(way), y + length * math.sin(way)
    bars.append(((x, y), (x1, y1)))
    if depth == 0:
        return
    for _ in range(3 if depth > 2 else 2):
        f = float(rng.uniform(0.3, 1.0))
        _twig(
            rng,
            bars,
            x + f * (x1 - x),
            y + f * (y1 - y),
            way + float(rng.normal(0, 0.6)),
            length * float(rng.uniform(0.3, 0.6)),
            depth - 1,
        )


def paint_weather(canvas: Canvas, rng: np.random.Generator, weather: str) -> None:
    """Rain streaks or snowflakes in the air before the camera, near ones large and faint, far ones small."""
    width, height = canvas.size
    if weather not in ("rain", "snow"):
        return
    unit = min(width, height) / 256
    amount = float(rng.uniform(0.3, 1.5))
    slant, fall = float(rng.normal(0, 0.25)), float(rng.uniform(0.6, 2.0))
    for near, count in ((0.35, 130), (0.8, 45), (2.2, 7)):
        n = max(int(amount * count * width * height / 65536 / unit**2 * (2 if unit > 2 else 1)), 1)
        xs, ys = rng.uniform(0, width, n), rng.uniform(0, height, n)
        long = rng.uniform(0.6, 1.4, n) * near * fall * unit * (11 if weather == "rain" else 1.4)
        segments = [
            ((float(x), float(y)), (float(x + slant * d), float(y + d)))
            for x, y, d in zip(xs, ys, long, strict=True)
        ]
        if weather == "rain":
            tone = times((0.7, 0.72, 0.75), canvas.sun.shade(0, 0.5, 0.5))
            canvas.lines(segments, 0.28 * near * unit, tone, float(rng.uniform(0.08, 0.3)))
        else:
            tone = times((0.85, 0.87, 0.9), canvas.sun.shade(0, 0.6, 0.5))
            r = max(0.75 * near * unit, 0.3)
            flakes = [
                hull(ellipse(2 * r, 2 * r, *a, n=8), ellipse(2 * r, 2 * r, *b, n=8)) for a, b in segments
            ]
            canvas.polygons(flakes, tone, float(rng.uniform(0.4, 0.9)) / max(near, 0.8))
