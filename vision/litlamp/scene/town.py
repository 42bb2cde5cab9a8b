"""Lights and round things of towns, stations and wheels, near and far, that are no signals."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.box import Box
from litlamp.scene.canvas import Canvas, Colour3, Points, bar, cover, moved, srgb, times
from litlamp.scene.heads import ellipse, rounded
from litlamp.scene.light import Glow, GlowColour, Source
from litlamp.scene.spots import Found, Here, box_of, pick, shine, spot

_BLACK = (0.02, 0.02, 0.022)
_GLASS: dict[str, Colour3] = {
    "red": srgb(165, 18, 22),
    "amber": srgb(220, 120, 25),
    "white": srgb(215, 218, 220),
    "green": srgb(20, 120, 90),
}


def _mast_lights(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Red lights that warn aircraft, one over another on a mast, a chimney or a crane."""
    (x, y), size = here.at, here.size
    tone = times((0.3, 0.3, 0.3), canvas.sun.shade(0, 0, 1))
    tall = size * float(rng.uniform(3, 8))
    wide = max(size * float(rng.uniform(0.03, 0.12)), 0.4)
    if rng.random() < 0.5:
        canvas.pipe((x, y + tall), (x, y - 0.1 * size), wide, (0.3, 0.3, 0.3), wide * 0.6)
    else:
        legs = [((x - 3 * wide, y + tall), (x - wide, y)), ((x + 3 * wide, y + tall), (x + wide, y))]
        steps = np.linspace(0, 1, 12)
        for i, f in enumerate(steps[1:]):
            a, b = (wide * (1 + 2 * t) * (1 if i % 2 else -1) for t in (steps[i], f))
            legs.append(((x + a, y + tall * float(steps[i])), (x - b, y + tall * float(f))))
        canvas.lines(legs, max(0.25 * wide, 0.25), tone)
    out: list[Found] = []
    n = int(rng.integers(1, 5))
    r = float(np.exp(rng.uniform(math.log(0.6), math.log(3.2))))
    gap = float(rng.uniform(0.12, 0.4)) * tall
    for i in range(n):
        for side in (0.0,) if rng.random() < 0.7 else (-1.0, 1.0):
            at = x + side * wide * (1 + 2 * i * gap / tall), y + i * gap
            lum = here.lum * float(rng.uniform(0.2, 1.5))
            out.append(("mast light", spot(canvas, at, r, "red", _source(rng), lum)))
    return out


def _bokeh(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Lights far out of focus: discs, often overlapping, some with a bright rim or the shape of a blade."""
    (x, y), size = here.at, here.size
    unit = min(canvas.size) / 256
    r = float(np.exp(rng.uniform(math.log(2), math.log(15)))) * unit
    corners = int(rng.choice([6, 8, 28], p=[0.15, 0.15, 0.7]))
    turn, rim = float(rng.uniform(0, 1)), float(rng.uniform(0, 0.7))
    colours: tuple[str, ...] = ("white", "amber", "amber", "red", "red", "green", "yellow", "blue", "lunar")
    if rng.random() < 0.3:
        colours = (str(rng.choice(colours)),)
    t = turn + np.linspace(0, 2 * np.pi, corners, endpoint=False)
    outline = np.stack([np.cos(t), np.sin(t)], -1)
    out: list[Found] = []
    for _ in range(int(rng.integers(2, 14))):
        cx, cy = x + float(rng.normal(0, 1.6)) * (size + r), y + float(rng.normal(0, 0.5)) * (size + r)
        own = r * float(rng.uniform(0.85, 1.15))
        disc = outline * own + [cx, cy]
        found = cover([disc], canvas.size)
        if found is None:
            continue
        mask, origin = found
        if own > 3 and rim > 0.1:
            yy, xx = np.ogrid[0 : mask.shape[0], 0 : mask.shape[1]]
            d = np.hypot(xx + (0.5 + origin[0] - cx), yy + (0.5 + origin[1] - cy)) / own
            mask = mask * (1 - np.float32(rim) * np.clip(1.05 - d, 0, 1)).astype(np.float32)
        lum = here.lum * float(np.exp(rng.uniform(math.log(0.02), math.log(0.8))))
        canvas.glows.append(Glow(cx, cy, mask, origin, pick(rng, colours), _source(rng), lum))
        out.append(("disc of light", box_of([disc])))
    return out


def _string(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """A string of small lamps hung between two points, of one colour or of many."""
    (x, y), size = here.at, here.size
    reach, sag = size * float(rng.uniform(2, 9)), size * float(rng.uniform(0.1, 1.5))
    lean = float(rng.normal(0, 0.3)) * reach
    n = int(rng.integers(6, 26))
    r = float(rng.uniform(0.5, 2.4))
    every = ("white", "amber", "red", "green", "yellow", "blue")
    colours = every if rng.random() < 0.6 else (str(rng.choice(every)),)
    f = np.linspace(0, 1, n)
    xs, ys = x + (f - 0.5) * reach, y + (f - 0.5) * lean + sag * (1 - 4 * (f - 0.5) ** 2)
    pts = list(zip(xs.tolist(), ys.tolist(), strict=True))
    canvas.lines(list(itertools.pairwise(pts)), 0.3, _BLACK)
    by_colour: dict[GlowColour, list[Points]] = {}
    for at in pts:
        by_colour.setdefault(pick(rng, colours), []).append(ellipse(2 * r, 2 * r, *at, n=10))
    for colour, shapes in by_colour.items():
        shine(canvas, shapes, colour, "led", here.lum * float(rng.uniform(0.1, 1.5)))
    return [("point of light", box_of([ellipse(2 * r, 2 * r, *at, n=10)])) for at in pts[:: max(n // 4, 1)]]


def _neon(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Tubes of one colour, or two: rings, bars and letters, on a dark board or on nothing."""
    (x, y), size = here.at, here.size
    wide = size * float(rng.uniform(0.8, 3))
    tube = max(size * float(rng.uniform(0.02, 0.06)), 0.35)
    if rng.random() < 0.5:
        board = moved(rounded(wide * 1.15, size * 1.25, size * 0.1), x, y)
        canvas.polygons([board], times(_BLACK, canvas.sun.shade(0, 0, 1)))
    groups: list[list[Points]] = [[], []]
    n = max(int(wide / size * float(rng.uniform(1, 4))), 1)
    cell = wide / n
    for i in range(n):
        cx = x - wide / 2 + cell * (i + 0.5)
        to = groups[int(rng.random() < 0.2)]
        w, h = cell * 0.36, size * 0.42
        if rng.random() < 0.3:
            turn = np.linspace(0, 2 * np.pi, 17)
            ring = list(zip((cx + w * np.cos(turn)).tolist(), (y + h * np.sin(turn)).tolist(), strict=True))
            to += [bar(a, b, tube) for a, b in itertools.pairwise(ring)]
            continue
        knots = [(cx + a * w, y + b * h) for a in (-1, 0, 1) for b in (-1, 0, 1)]
        path = [knots[int(k)] for k in rng.permutation(9)[: int(rng.integers(2, 5))]]
        to += [bar(a, b, tube) for a, b in itertools.pairwise(path)]
    lum = here.lum * float(np.exp(rng.uniform(math.log(0.1), math.log(2))))
    for shapes in groups:
        if shapes:
            shine(canvas, shapes, pick(rng, ("red", "red", "green", "blue", "amber", "white")), "led", lum)
    return [("lit sign", Box(x - wide / 2, y - size / 2, x + wide / 2, y + size / 2))]


def _train_front(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """A train, tram or bus seen from near: round lamps in dark recesses, two or three, lit or not."""
    (x, y), w = here.at, max(here.size * float(rng.uniform(1.5, 4)), 24.0)
    h = w * float(rng.uniform(0.9, 1.3))
    shade = canvas.sun.shade(0, 0.1, 1)
    hue = (srgb(235, 236, 238), srgb(240, 190, 40), srgb(200, 40, 30), srgb(30, 60, 130), srgb(25, 110, 70),
           srgb(70, 72, 78), srgb(225, 100, 30))  # fmt: skip
    paint, band = (times(hue[int(rng.integers(len(hue)))], shade) for _ in range(2))
    round_ = w * float(rng.uniform(0.05, 0.4))
    canvas.polygons([moved(rounded(w * 0.9, h * 0.3, 0), x, y + h * 0.55)], times(_BLACK, shade))
    canvas.polygons([moved(rounded(w, h, round_), x, y)], paint)
    canvas.polygons([moved(rounded(w, h * 0.14, 0), x, y + h * float(rng.uniform(0.05, 0.3)))], band)
    dark = times(srgb(38, 44, 52), shade, float(rng.uniform(0.4, 1.6)))
    split = rng.random() < 0.5
    panes = [moved(rounded(w * 0.82, h * 0.32, w * 0.05), x, y - h * 0.18)]
    if split:
        panes = [
            moved(rounded(w * 0.37, h * 0.32, w * 0.03), x + s * w * 0.21, y - h * 0.18) for s in (-1, 1)
        ]
    canvas.polygons(panes, dark)
    out: list[Found] = [("train", Box(x - w / 2, y - h / 2, x + w / 2, y + h / 2))]
    if rng.random() < 0.5:
        board = moved(rounded(w * 0.3, h * 0.08, 0), x, y - h * 0.42)
        canvas.polygons([board], times(_BLACK, shade))
        digits = [bar((x + d * w, y - h * 0.44), (x + d * w, y - h * 0.4), 0.012 * w) for d in
                  np.linspace(-0.11, 0.11, 6)]  # fmt: skip
        shine(canvas, digits, pick(rng, ("amber", "white", "red")), "led", here.lum * 0.3)
    r = w * float(rng.uniform(0.03, 0.065))
    level, apart = y + h * float(rng.uniform(0.12, 0.34)), w * float(rng.uniform(0.24, 0.4))
    spots = [(x - apart, level), (x + apart, level)]
    if rng.random() < 0.4:
        spots.append((x, y - h * 0.4) if rng.random() < 0.7 else (x, level))
    if rng.random() < 0.4:  # two a side, one beside or below the other
        step = (2.3 * r, 0.0) if rng.random() < 0.5 else (0.0, 2.3 * r)
        spots += [(px + math.copysign(step[0], x - px), py + step[1]) for px, py in spots[:2]]
    lit = rng.random() < (0.9 if here.light in ("night", "dusk") else 0.6)
    colour = pick(rng, ("white", "white", "white", "amber", "red"))
    for i, at in enumerate(spots):
        canvas.polygons(
            [ellipse(2.9 * r, 2.9 * r, *at, n=24)], times(_BLACK, shade, float(rng.uniform(1, 8)))
        )
        own: GlowColour = "red" if i > 2 and rng.random() < 0.6 else colour
        canvas.polygons(
            [ellipse(2 * r, 2 * r, *at, n=24)], times(_GLASS[own], shade, float(rng.uniform(0.2, 1)))
        )
        if lit and (own == colour or rng.random() < 0.3):
            lum = here.lum * float(np.exp(rng.uniform(math.log(0.3), math.log(10))))
            spot(canvas, at, r * float(rng.uniform(0.6, 1)), own, _source(rng), lum)
        out.append(("head lamp", box_of([ellipse(2.9 * r, 2.9 * r, *at)])))
    return out


def _clock(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """A round clock or dial, pale on dark or dark on pale, on a pole, a wall or by itself."""
    (x, y), size = here.at, here.size
    shade = canvas.sun.shade(0, 0, 1)
    pale, dark = times((0.75, 0.74, 0.7), shade), times(_BLACK, shade)
    face, ink = (pale, dark) if rng.random() < 0.75 else (dark, pale)
    if rng.random() < 0.5:
        canvas.pipe((x, y + size * 5), (x, y), size * 0.08, (0.1, 0.1, 0.1))
    canvas.polygons([ellipse(size * 1.14, size * 1.14, x, y)], dark)
    canvas.polygons([ellipse(size, size, x, y)], face)
    if here.light in ("night", "dusk") and rng.random() < 0.7:
        shine(canvas, [ellipse(size, size, x, y)], pick(rng, ("white", "lunar", "yellow")), "led",
              here.lum * float(rng.uniform(0.02, 0.2)))  # fmt: skip
    marks = []
    for k in range(12):
        c, s = math.cos(k * math.pi / 6) * size / 2, math.sin(k * math.pi / 6) * size / 2
        marks.append(((x + 0.82 * c, y + 0.82 * s), (x + 0.94 * c, y + 0.94 * s)))
    for reach in (0.3, 0.42):
        a = float(rng.uniform(0, 2 * np.pi))
        marks.append(((x, y), (x + reach * size * math.cos(a), y + reach * size * math.sin(a))))
    canvas.lines(marks, max(0.025 * size, 0.25), ink)
    return [("clock", box_of([ellipse(size * 1.14, size * 1.14, x, y)]))]


def _reflectors(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Reflectors of posts, barriers and bicycles that send light back: coloured, bright, and no lamps."""
    (x, y), size = here.at, here.size
    shade = canvas.sun.shade(0, 0, 1)
    out: list[Found] = []
    for _ in range(int(rng.integers(1, 7))):
        at = x + float(rng.normal(0, 1)) * size, y + float(rng.normal(0, 0.6)) * size
        w = size * float(rng.uniform(0.06, 0.35))
        name = str(rng.choice(["red", "amber", "white", "green"], p=[0.45, 0.3, 0.2, 0.05]))
        shape = ellipse(w, w, *at, n=20) if rng.random() < 0.6 else moved(rounded(w, w * 0.6, w * 0.1), *at)
        if rng.random() < 0.5:
            back = moved(rounded(w * 1.5, w * float(rng.uniform(1.5, 3)), w * 0.2), *at)
            canvas.polygons([back], times(_BLACK, shade))
        gain = math.exp(rng.uniform(math.log(0.5), math.log(8)))
        canvas.polygons([shape], times(_GLASS[name], shade, gain))
        out.append(("reflector", box_of([shape])))
    return out


def _flare(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Ghosts of a strong light in the lens: pale coloured discs on a line through the picture's middle."""
    (x, y), size = here.at, here.size
    width, height = canvas.size
    out: list[Found] = []
    if rng.random() < 0.6:
        lum = here.lum * float(rng.uniform(2, 20))
        out.append(("point of light", spot(canvas, (x, y), float(rng.uniform(1, 6)), "white", "led", lum)))
    for _ in range(int(rng.integers(2, 7))):
        f = float(rng.uniform(0.2, 2.2))
        at = x + f * (width / 2 - x), y + f * (height / 2 - y)
        r = size * float(np.exp(rng.uniform(math.log(0.05), math.log(0.5))))
        colour = pick(rng, ("green", "green", "blue", "red", "amber", "lunar"))
        lum = float(np.exp(rng.uniform(math.log(0.02), math.log(0.5))))
        out.append(("flare", spot(canvas, at, r, colour, "led", lum)))
    return out


def _lamp_column(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Round lamps one above or beside another on the back of a bus, a lorry or a trailer."""
    (x, y), size = here.at, here.size
    shade = canvas.sun.shade(0, 0.1, 1)
    body = (srgb(220, 222, 225), srgb(170, 30, 30), srgb(30, 70, 150), srgb(60, 62, 66), srgb(230, 180, 40))
    wide = size * float(rng.uniform(3, 7))
    paint = times(body[int(rng.integers(len(body)))], shade)
    canvas.polygons(
        [moved(rounded(wide, wide * float(rng.uniform(0.7, 1.3)), size * 0.2), x, y - wide * 0.2)], paint
    )
    n, lying = int(rng.choice([1, 2, 3, 4], p=[0.1, 0.35, 0.4, 0.15])), rng.random() < 0.35
    d = size * float(rng.uniform(0.25, 0.5))
    names = [str(rng.choice(["red", "red", "amber", "white"])) for _ in range(n)]
    on = [rng.random() < (0.75 if s == "red" else 0.2) for s in names]
    lit = rng.random() < (0.9 if here.light in ("night", "dusk") else 0.5)
    round_ = rng.random() < 0.75
    out: list[Found] = []
    for side in (-1, 1):
        cx, cy = x + side * (wide / 2 - 0.6 * size), y
        span = d * (1.15 * n + 0.15)
        back = rounded(span if lying else d * 1.3, d * 1.3 if lying else span, d * 0.2)
        canvas.polygons([moved(back, cx, cy)], times(_BLACK, shade))
        for i, (name, burns) in enumerate(zip(names, on, strict=True)):
            off = (i - (n - 1) / 2) * 1.15 * d
            at = (cx + side * off, cy) if lying else (cx, cy + off)
            glass = ellipse(d, d, *at, n=24) if round_ else moved(rounded(d, d, d * 0.1), *at)
            canvas.polygons([glass], times(_GLASS[name], shade, 0.7))
            if lit and burns:
                lum = here.lum * float(np.exp(rng.uniform(math.log(0.1), math.log(2))))
                shine(canvas, [glass], cast(GlowColour, name), _source(rng), lum)
        out.append(("car lights", box_of([moved(back, cx, cy)])))
    return out


def _arrows(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """A road light whose lamps show arrows, upright or lying, on a black board with a pale edge or none."""
    (x, y), size = here.at, here.size
    shade = canvas.sun.shade(0, 0, 1)
    n, lying = int(rng.choice([1, 2, 3, 4], p=[0.1, 0.15, 0.6, 0.15])), rng.random() < 0.45
    pitch, margin = size * 1.15, size * float(rng.uniform(1.2, 1.7))
    wide, tall = (n * pitch + margin - size, margin) if lying else (margin, n * pitch + margin - size)
    if rng.random() < 0.6:
        foot = y + size * float(rng.uniform(4, 10))
        canvas.pipe((x, foot), (x, y), size * 0.12, (0.3, 0.3, 0.3))
    else:
        reach = float(rng.choice([-1, 1])) * size * float(rng.uniform(4, 14))
        canvas.pipe((x, y - tall * 0.3), (x + reach, y - tall * 0.35), size * 0.13, (0.35, 0.36, 0.36))
    board = rounded(wide, tall, size * float(rng.choice([0.1, 0.5])))
    if rng.random() < 0.5:
        rim = rounded(wide + size * 0.22, tall + size * 0.22, size * 0.3)
        canvas.polygons(
            [moved(rim, x, y)], times((0.8, 0.8, 0.8) if rng.random() < 0.7 else (0.7, 0.55, 0.05), shade)
        )
    canvas.polygons([moved(board, x, y)], times(_BLACK, shade))
    turn = float(rng.choice([0, 1, 2, 3])) * math.pi / 2
    c, s = math.cos(turn), math.sin(turn)
    sign = np.array(
        [[-0.12, 0.8], [0.12, 0.8], [0.12, -0.1], [0.5, -0.1], [0, -0.85], [-0.5, -0.1], [-0.12, -0.1]]
    )
    sign = sign @ np.array([[c, d] for c, d in ((c, s), (-s, c))]) * size * 0.45
    on = int(rng.integers(n))
    for i in range(n):
        off = (i - (n - 1) / 2) * pitch
        at = (x + off, y) if lying else (x, y + off)
        canvas.polygons([ellipse(size, size, *at, n=28)], times((0.012, 0.012, 0.014), shade))
        if i == on and rng.random() < 0.92:
            colour = pick(rng, ("red", "green", "amber"))
            shape = moved(sign, *at) if rng.random() < 0.7 else ellipse(size * 0.9, size * 0.9, *at)
            shine(canvas, [shape], colour, "led", here.lum)
    return [("road light", box_of([moved(board, x, y)]))]


def _headlamps(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Headlamps or brake lights that come through haze, rain or dirt: bright cores in wide halos, no body."""
    (x, y), size = here.at, here.size
    out: list[Found] = []
    for _ in range(int(rng.choice([1, 2, 4, 6], p=[0.2, 0.35, 0.25, 0.2]))):
        cx, cy = x + float(rng.normal(0, 1.5)) * size, y + float(rng.normal(0, 0.25)) * size
        apart = size * float(rng.uniform(0.3, 1))
        r = max(apart * float(rng.uniform(0.06, 0.14)), 0.7)
        colour = pick(rng, ("white", "white", "red", "red", "amber"))
        lum = here.lum * float(np.exp(rng.uniform(math.log(0.4), math.log(10))))
        halo = float(rng.uniform(0.005, 0.04)) if rng.random() < 0.7 else 0.0
        for at in ((cx - apart / 2, cy), (cx + apart / 2, cy))[: 1 if rng.random() < 0.15 else 2]:
            out.append(("car lights", spot(canvas, at, r, colour, "led", lum, 0.8)))
            if halo > 0:
                reach = r * float(rng.uniform(3, 6))
                for f in (1.0, 0.7, 0.45):
                    spot(canvas, at, reach * f, colour, "led", lum * halo)
    return out


_INK: tuple[Colour3, ...] = (
    srgb(200, 35, 30),
    srgb(230, 90, 50),
    srgb(90, 190, 180),
    srgb(40, 150, 70),
    srgb(235, 200, 50),
    srgb(235, 235, 230),
    srgb(60, 110, 190),
)


def _marks(canvas: Canvas, rng: np.random.Generator, here: Here) -> list[Found]:
    """Small coloured or pale marks one over another that give no light: stickers, badges, paint, fittings.

    They sit on a post, a door, a flank of a vehicle, or on nothing in particular, with letters beside them.
    """
    (x, y), size = here.at, here.size
    shade = canvas.sun.shade(0, 0.1, 1)
    d = float(np.exp(rng.uniform(math.log(2.0), math.log(14)))) * min(canvas.size) / 256
    n = int(rng.choice([1, 2, 3, 4], p=[0.15, 0.45, 0.3, 0.1]))
    step = d * float(rng.uniform(1.0, 2.4))
    ground = rng.random()
    if ground < 0.35:
        tone = float(rng.uniform(0.01, 0.12))
        canvas.pipe(
            (x, y + size * 6), (x, y - step * n), d * float(rng.uniform(0.5, 1.1)), (tone, tone, tone * 1.1)
        )
    elif ground < 0.75:
        wide, tall = size * float(rng.uniform(1, 5)) + 3 * d, size * float(rng.uniform(1, 3)) + step * (n + 1)
        board = ((0.02, 0.025, 0.03), (0.03, 0.04, 0.1), (0.3, 0.3, 0.31), (0.2, 0.05, 0.03))[
            int(rng.integers(4))
        ]
        off = float(rng.uniform(-0.4, 0.4)) * wide
        canvas.polygons([moved(rounded(wide, tall, 0.5 * d), x + off, y)], times(board, shade))
    if rng.random() < 0.3:
        pale = times((0.6, 0.6, 0.6), shade)
        strokes = [
            ((x + d * (1.3 + 0.8 * i), y - 0.4 * d), (x + d * (1.3 + 0.8 * i), y + 0.4 * d)) for i in range(5)
        ]
        canvas.lines(strokes, max(0.18 * d, 0.25), pale)
    gain = math.exp(rng.uniform(math.log(0.5), math.log(2.0)))
    same = int(rng.integers(len(_INK))) if rng.random() < 0.3 else None
    out: list[Found] = []
    for i in range(n):
        at = x + float(rng.normal(0, 0.1)) * d, y + (i - (n - 1) / 2) * step
        w, h = d * float(rng.uniform(0.7, 1.2)), d * float(rng.uniform(0.7, 1.5))
        shape = ellipse(w, h, *at, n=16) if rng.random() < 0.6 else moved(rounded(w, h, 0.2 * d), *at)
        ink = _INK[int(rng.integers(len(_INK))) if same is None else same]
        canvas.polygons([shape], times(ink, shade, gain))
        out.append(("marks", box_of([shape])))
    return out


def _source(rng: np.random.Generator) -> Source:
    return "led" if rng.random() < 0.55 else "incandescent"


TOWN: dict[str, Callable[[Canvas, np.random.Generator, Here], list[Found]]] = {
    "mast lights": _mast_lights,
    "discs of light": _bokeh,
    "string of lights": _string,
    "neon": _neon,
    "train front": _train_front,
    "clock": _clock,
    "reflectors": _reflectors,
    "flare": _flare,
    "lamp column": _lamp_column,
    "arrow light": _arrows,
    "headlamps": _headlamps,
    "stacked marks": _marks,
}


def stamp_caption(rgb: NDArray[np.uint8], rng: np.random.Generator) -> None:
    """Write a time or a number into an edge of the finished picture, as recorders do, in place."""
    height, width = rgb.shape[:2]
    size = float(rng.uniform(0.25, 0.9)) * min(width, height) / 256
    text = f"{rng.integers(24):02d}:{rng.integers(60):02d}:{rng.integers(60):02d}"
    if rng.random() < 0.4:
        text = f"20{rng.integers(10, 27):02d}-{rng.integers(1, 13):02d}-{rng.integers(1, 29):02d} {text}"
    at = int(rng.uniform(-0.1, 0.6) * width), int(30 * size if rng.random() < 0.6 else height - 6 * size)
    ink = ((255, 255, 255), (0, 0, 0), (250, 210, 40), (240, 90, 30))[
        int(rng.choice(4, p=[0.6, 0.15, 0.15, 0.1]))
    ]
    if rng.random() < 0.5:
        back = (0, 0, 0) if sum(ink) > 300 else (255, 255, 255)
        cv2.putText(rgb, text, at, cv2.FONT_HERSHEY_SIMPLEX, size, back, max(round(5 * size), 2), cv2.LINE_AA)
    cv2.putText(rgb, text, at, cv2.FONT_HERSHEY_SIMPLEX, size, ink, max(round(2 * size), 1), cv2.LINE_AA)


__all__ = ["TOWN", "stamp_caption"]
