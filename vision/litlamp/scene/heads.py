"""Colour-light heads: searchlights, heads of several apertures, LED units; lit, dark, and from behind.

Dimensions follow the trade: lenses of 8-3/8 in (213 mm) on masts and 6-3/8 in (162 mm) on dwarfs (AREMA C&S
Manual Part 7.1); backgrounds of 0.5 to 0.75 m and hood lengths are common practice, no source.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import cache
from typing import Literal, cast

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import Lamp
from litlamp.box import Box
from litlamp.scene.canvas import Canvas, Colour3, Patch, Points, hull, noise, srgb, times
from litlamp.scene.light import Glow, GlowColour, Radiance, Source
from litlamp.scene.phantom import Phantom
from litlamp.scene.truth import HeadTruth
from litlamp.scene.view import View

Kind = Literal["searchlight", "vertical", "triangular", "led"]

LONG_RANGE = 0.213
SHORT_RANGE = 0.162


@dataclass(frozen=True, slots=True)
class Aperture:
    """One lens of a head: centre in metres from the head's centre; `glass` names its filter."""

    x: float
    y: float
    glass: str


@dataclass(frozen=True, slots=True)
class Head:
    """One head as built.

    Attributes
    ----------
    outline : (n, 2) metres from the head's centre: background plate or housing front.
    lens : lens diameter, metres.
    hood, reach, flare : hood length in metres, the angle it covers (radians, centred on the top), and its
        radius in lens radii; length 0 means none.
    body : depth of the housing behind, metres.
    paint, inside : albedo of plate and hood, and of the hood's inside.
    wear : 0 new to 1 blotched.
    sky_in_glass : share of the sky that an unlit lens sends back.
    texture : of the lit lens: "even", "hot", "rings", "dots".
    """

    kind: Kind
    outline: Points
    apertures: tuple[Aperture, ...]
    lens: float
    hood: float
    reach: float
    flare: float
    body: float
    paint: Colour3
    inside: float
    wear: float
    sky_in_glass: float
    texture: str
    source: Source

    @property
    def width(self) -> float:
        """Width of the outline, metres."""
        return float(np.ptp(self.outline[:, 0]))

    @property
    def height(self) -> float:
        """Height of the outline, metres."""
        return float(np.ptp(self.outline[:, 1]))


def ellipse(width: float, height: float, x: float = 0.0, y: float = 0.0, n: int = 40) -> Points:
    """An ellipse's outline, metres."""
    across, up = _turn(n)
    out = np.empty((n, 2))
    out[:, 0], out[:, 1] = x + width / 2 * across, y + height / 2 * up
    return out


@cache
def _turn(n: int) -> tuple[Points, Points]:
    """Cosine and sine of n equal steps round a circle."""
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return np.cos(t), np.sin(t)


@cache
def _corners() -> tuple[tuple[int, int, Points, Points], ...]:
    """Of each corner of a rectangle, which way it lies, and cosine and sine of its arc."""
    t = np.linspace(0, np.pi / 2, 8)
    ways = [(1, 1), (-1, 1), (-1, -1), (1, -1)]
    return tuple(
        (sx, sy, np.cos(t + k * np.pi / 2), np.sin(t + k * np.pi / 2)) for k, (sx, sy) in enumerate(ways)
    )


def rounded(width: float, height: float, radius: float) -> Points:
    """A rectangle with round corners, metres."""
    r = min(radius, width / 2, height / 2)
    out = np.empty((4, 8, 2))
    for k, (sx, sy, across, up) in enumerate(_corners()):
        out[k, :, 0], out[k, :, 1] = sx * (width / 2 - r) + r * across, sy * (height / 2 - r) + r * up
    return out.reshape(32, 2)


PAINTS: tuple[tuple[float, Colour3], ...] = (
    (0.54, (0.028, 0.028, 0.03)),
    (0.16, (0.07, 0.07, 0.073)),
    (0.09, (0.13, 0.105, 0.09)),
    (0.04, (0.13, 0.06, 0.035)),
    (0.06, (0.3, 0.3, 0.31)),
    (0.05, (0.24, 0.21, 0.19)),
    (0.06, (0.055, 0.05, 0.04)),
)


def draw_head(
    rng: np.random.Generator,
    colours: tuple[str, ...],
    dwarf: bool,
    kind: Kind | None = None,
    alone: bool = True,
) -> Head:
    """A head able to show each of `colours` (its own lamp's colour among them).

    Only one that stands `alone` on its mast may have small lenses on a broad background.
    """
    if kind is None:
        kind = cast(
            Kind, rng.choice(["searchlight", "vertical", "triangular", "led"], p=[0.39, 0.36, 0.1, 0.15])
        )
    lens = (SHORT_RANGE if rng.random() < 0.75 else LONG_RANGE) if dwarf else LONG_RANGE
    if not dwarf and rng.random() < 0.15:
        lens = SHORT_RANGE
    if kind == "led":
        lens = 0.2 if not dwarf else lens
    small = kind == "vertical" and alone and not dwarf and rng.random() < 0.5
    if small:
        lens *= float(rng.uniform(0.55, 0.8))
    paint = PAINTS[int(rng.choice(len(PAINTS), p=[p for p, _ in PAINTS]))][1]
    paint = times(paint, (1.0, 1.0, 1.0), float(np.exp(rng.normal(0, 0.25))))
    hood = float(rng.uniform(0.1, 0.22) if dwarf else rng.uniform(0.2, 0.42))
    if rng.random() < 0.12:
        hood *= float(rng.uniform(1.2, 1.7))
    if rng.random() < 0.06:
        hood = 0.0
    if small:
        hood *= float(rng.uniform(0.3, 0.8))
    apertures, outline = _face(rng, kind, lens, dwarf, colours, small, alone)
    source: Source = "led" if kind == "led" or rng.random() < 0.35 else "incandescent"
    texture = "dots" if source == "led" and rng.random() < 0.6 else str(rng.choice(["even", "hot", "rings"]))
    return Head(
        kind, outline, apertures, lens, hood, float(rng.uniform(3.3, 5.6)), float(rng.uniform(1.08, 1.3)),
        float(rng.uniform(0.15, 0.45)), paint, float(rng.uniform(0.02, 0.07)), float(rng.random()),
        float(rng.uniform(0.03, 0.3)), texture, source,
    )  # fmt: skip


def _face(
    rng: np.random.Generator,
    kind: Kind,
    lens: float,
    dwarf: bool,
    colours: tuple[str, ...],
    small: bool,
    alone: bool,
) -> tuple[tuple[Aperture, ...], Points]:
    if kind in ("searchlight", "led"):
        if dwarf and rng.random() < 0.5:
            side = lens * float(rng.uniform(1.35, 1.8))
            outline = rounded(side, side * float(rng.uniform(1.0, 1.3)), side * float(rng.uniform(0.1, 0.5)))
        elif rng.random() < 0.7:
            wide = lens * float(rng.uniform(1.5, 2.4)) if dwarf else float(rng.uniform(0.5, 0.76))
            outline = ellipse(wide, wide * float(rng.choice([1.0, 1.0, rng.uniform(1.15, 1.5)])))
        else:
            wide = lens * float(rng.uniform(1.4, 2.0)) if dwarf else float(rng.uniform(0.45, 0.65))
            outline = rounded(wide, wide * float(rng.uniform(1.0, 1.45)), wide * float(rng.uniform(0.1, 0.5)))
        return (Aperture(0.0, float(rng.uniform(-0.02, 0.04)), "clear"),), outline
    glasses = list(colours)
    for extra in rng.permutation(["green", "yellow", "red"]):
        if len(glasses) < 3 and extra not in glasses:
            glasses.append(str(extra))
    usual = ["green", "yellow", "lunar", "red"]
    glasses.sort(key=usual.index)
    if rng.random() < 0.25:
        glasses = [str(g) for g in rng.permutation(glasses)]
    if kind == "vertical" and len(glasses) == 3 and rng.random() < 0.25:
        spare = [g for g in glasses if g not in colours]
        if spare:
            glasses.remove(spare[0])
    pitch = lens * float(rng.uniform(1.25, 1.65))
    if kind == "triangular":
        spots = [(-0.5, 0.36), (0.5, 0.36), (0.0, -0.5), (0.0, 0.1)][: len(glasses)]
        if len(glasses) == 4:
            spots = [(-0.6, 0.0), (0.6, 0.0), (0.0, -0.6), (0.0, 0.6)]
        apertures = tuple(Aperture(x * pitch, y * pitch, g) for (x, y), g in zip(spots, glasses, strict=True))
        wide = pitch * float(rng.uniform(2.2, 2.8))
        outline = ellipse(wide, wide) if rng.random() < 0.75 else rounded(wide, wide, wide * 0.25)
        return apertures, outline
    n = len(glasses)
    if small:  # set far apart on a broad background
        pitch *= float(rng.uniform(0.9, 1.6))
    apertures = tuple(Aperture(0.0, ((n - 1) / 2 - i) * pitch, g) for i, g in enumerate(glasses))
    border = lens * float(rng.uniform(0.6, 1.3)) if not dwarf else lens * float(rng.uniform(0.25, 0.7))
    if small:
        border = lens * float(rng.uniform(1.0, 2.8))
    wide, tall = lens + 2 * border, (n - 1) * pitch + lens + 2 * border * float(rng.uniform(0.5, 1.1))
    corner = wide * float(rng.choice([0.5, 0.5, 0.12, 0.3]))
    if not dwarf and rng.random() < 0.35:  # a background drawn out below, or above, empty or with a screen
        skirt = tall * float(np.exp(rng.uniform(math.log(0.2), math.log(1.9 if alone else 1.0))))
        up = skirt / 2 if rng.random() < 0.85 else -skirt / 2
        apertures = tuple(Aperture(a.x, a.y + up, a.glass) for a in apertures)
        return apertures, rounded(wide, tall + skirt, corner)
    return apertures, rounded(wide, tall, corner)


GLASS: dict[str, Colour3] = {
    "red": (0.07, 0.006, 0.006), "yellow": (0.09, 0.05, 0.008), "green": (0.006, 0.05, 0.035),
    "lunar": (0.06, 0.07, 0.09), "clear": (0.05, 0.05, 0.05),
}  # fmt: skip


def paint_head(
    canvas: Canvas,
    view: View,
    head: Head,
    at: tuple[float, float],
    lamp: Lamp,
    lit: bool,
    luminance: float,
    sky: Colour3,
    rng: np.random.Generator,
    snow: float = 0.0,
    phantom: Phantom | None = None,
) -> HeadTruth:
    """Paint a head seen from the front with its centre at `at` metres; the lamp's glow joins the canvas.

    `sky` is what an unlit lens mirrors; `snow` 0 to 1 is how much lies on hoods and plate top; `phantom`
    is light that the glass sends back, beyond what it always does.
    """
    cx, cy = at
    shapes = _front(canvas, view, head, at, rng, snow)
    lit_at = next((a for a in head.apertures if a.glass == lamp.colour), head.apertures[0])
    if lamp.colour == "dark" and len(head.apertures) > 1:
        lit_at = head.apertures[-1]
    for i, aperture in enumerate(head.apertures):
        burning = lit and aperture is lit_at and lamp.colour != "dark"
        sent = phantom if phantom is not None and phantom.falls_on(i, len(head.apertures)) else None
        shapes += _aperture(canvas, view, head, at, aperture, lamp, burning, luminance, sky, rng, snow, sent)
    every = np.concatenate(shapes)
    (x0, y0), (x1, y1) = every.min(0), every.max(0)
    return HeadTruth(
        box=Box(float(x0), float(y0), float(x1), float(y1)),
        lamp=lamp,
        centre=view.point(cx + lit_at.x, cy + lit_at.y),
        diameter=head.lens * view.size_at(cy),
        lit=lit and lamp.colour != "dark",
        kind=head.kind,
    )


def paint_back(
    canvas: Canvas, view: View, head: Head, at: tuple[float, float], lamp: Lamp, rng: np.random.Generator
) -> HeadTruth:
    """Paint a head seen from behind: the plate's back, the housing, a cable; nothing shines."""
    plate = view.points(at[0] + head.outline[:, 0], at[1] + head.outline[:, 1])
    canvas.polygons([plate], times(head.paint, canvas.sun.shade(0, 0, 1)))
    shrink = float(rng.uniform(0.45, 0.8))
    box = rounded(head.width * shrink, head.height * min(shrink * 1.1, 0.95), 0.02)
    body = view.points(at[0] + box[:, 0], at[1] + box[:, 1], head.body)
    tone = times(
        PAINTS[int(rng.integers(len(PAINTS)))][1] if rng.random() < 0.6 else (0.5, 0.5, 0.5),
        canvas.sun.shade(0, 0.2, 0.95),
    )
    base = view.points(at[0] + box[:, 0], at[1] + box[:, 1])
    canvas.polygons([hull(base, body)], times(tone, (0.6, 0.6, 0.6)))
    canvas.polygons([body], tone)
    every = np.concatenate([plate, body])
    (x0, y0), (x1, y1) = every.min(0), every.max(0)
    return HeadTruth(
        Box(float(x0), float(y0), float(x1), float(y1)),
        lamp,
        view.point(*at),
        head.lens * view.size_at(at[1]),
        False,
        head.kind,
    )


def _front(
    canvas: Canvas, view: View, head: Head, at: tuple[float, float], rng: np.random.Generator, snow: float
) -> list[Points]:
    x, y = at[0] + head.outline[:, 0], at[1] + head.outline[:, 1]
    plate = view.points(x, y)
    px = view.size_at(at[1])
    tone = canvas.sun.shade(0.0, 0.05, 1.0)
    if head.body * px * abs(math.sin(view.yaw)) > 0.7:
        back = view.points(at[0] + head.outline[:, 0] * 0.6, at[1] + head.outline[:, 1] * 0.6, -head.body)
        side = canvas.sun.shade(math.copysign(1.0, -math.sin(view.yaw)), 0.1, 0.1)
        front = view.points(at[0] + head.outline[:, 0] * 0.6, at[1] + head.outline[:, 1] * 0.6)
        canvas.polygons([hull(back, front)], times(head.paint, side))
    colour = times(head.paint, tone)
    if head.width * px > 14:
        # A dark edge below and a pale one above stand for the plate's thickness and rolled rim.
        canvas.polygons([plate], times(colour, (1.6, 1.6, 1.6)) if canvas.sun.direct > 0.1 else colour)
        inner = view.points(at[0] + head.outline[:, 0] * 0.965, at[1] + head.outline[:, 1] * 0.965)
        patch = Patch([inner], head.width * px)
        mask = patch.down(patch.fill(inner))
        grain = noise(rng, mask.shape[0], mask.shape[1], head.width * px / 2)
        fade = np.linspace(1.12, 0.9, mask.shape[0], dtype=np.float32)[:, None]
        shade = np.maximum(fade * (1 + (0.08 + 0.25 * np.float32(head.wear)) * grain), 0.15)
        fill = np.asarray(colour, np.float32) * shade[..., None]
        if head.wear > 0.75:  # rust breaking through
            rust = np.clip(grain - 1.1, 0, 1)[..., None]
            fill = fill + rust * (np.asarray(times((0.16, 0.07, 0.035), tone), np.float32) - fill)
        canvas.stamp(mask, patch.origin, fill)
    else:
        canvas.polygons([plate], colour)
    if snow > 0.3:
        top = head.outline[:, 1].max()
        cap = np.concatenate([head.outline[head.outline[:, 1] > top - 0.09 * head.height]] * 2)
        half = len(cap) // 2
        cap[half:, 1] = cap[half:, 1] + 0.05 * snow
        canvas.polygons(
            [hull(view.points(at[0] + cap[:, 0], at[1] + cap[:, 1]))], canvas.sun.shade(0, 0.7, 0.7), 0.95
        )
    return [plate]


def _aperture(
    canvas: Canvas,
    view: View,
    head: Head,
    at: tuple[float, float],
    aperture: Aperture,
    lamp: Lamp,
    burning: bool,
    luminance: float,
    sky: Colour3,
    rng: np.random.Generator,
    snow: float,
    sent: Phantom | None = None,
) -> list[Points]:
    x, y = at[0] + aperture.x, at[1] + aperture.y
    px = view.size_at(y)
    span = head.lens * px
    r = head.lens / 2
    t = np.linspace(0, 2 * np.pi, 36, endpoint=False)
    lens = view.points(x + r * np.cos(t), y + r * np.sin(t))
    rim = view.points(x + 1.12 * r * np.cos(t), y + 1.12 * r * np.sin(t))
    arc = np.pi / 2 + np.linspace(-head.reach / 2, head.reach / 2, 28)
    rh = r * head.flare
    shapes = [rim]
    back = view.points(x + rh * np.cos(arc), y + rh * np.sin(arc))
    near = rh * 1.04
    # Hoods are cut back towards the bottom: the ends of the arc reach less far out than its crown.
    crown = view.points(x + near * np.cos(arc), y + near * np.sin(arc), head.hood)
    slope = 0.35 + 0.65 * np.clip(np.cos(arc - np.pi / 2) * 0.5 + 0.5, 0, 1)[:, None]
    front = back + (crown - back) * slope
    patch = Patch([rim, back, front, lens], span)
    lens_at = patch.fill(lens)
    hood_at = np.zeros_like(lens_at)
    mouth = np.zeros_like(lens_at)
    if head.hood > 0:
        # The hood's skin is the band swept from the back arc to the front arc; its mouth is the fan of the
        # front arc, through which lens and inside are seen.
        quads = [np.stack([back[i], back[i + 1], front[i + 1], front[i]]) for i in range(len(arc) - 1)]
        hood_at = patch.fill(*quads)
        mouth = patch.fill(front)
        if head.reach < 2 * np.pi - 1.2:
            below = np.concatenate([front, back[::-1]])
            hood_at |= patch.fill(hull(below)) & hood_at
        shapes += [front, back]
    seen_lens = lens_at & ~(hood_at & ~mouth)
    inside = mouth & hood_at & ~lens_at
    skin = hood_at & ~mouth
    ring = patch.fill(rim) & ~lens_at & ~hood_at
    shade_top = canvas.sun.shade(0.0, 0.7, 0.6)
    canvas.stamp(patch.down(ring), patch.origin, times(head.paint, canvas.sun.shade(0, 0, 1), 0.8))
    # The unlit face: filter glass in shadow, with a piece of sky in it.
    cxp, cyp = view.point(x, y)
    gx, gy = patch.grid()
    u = (gx - np.float32(cxp)) / np.float32(span / 2)
    v = (gy - np.float32(cyp)) / np.float32(span / 2)
    phantom = float(rng.uniform(2, 9)) if canvas.sun.z > 0.4 and rng.random() < 0.15 else 0.8
    glass = times(GLASS[aperture.glass], canvas.sun.shade(0, 0, 1), phantom)
    face = patch.down(seen_lens)
    mirror = np.clip(0.35 + 0.55 * patch.down(np.broadcast_to(v, lens_at.shape)), 0.05, 1.0)
    canvas.stamp(
        face,
        patch.origin,
        np.asarray(glass, np.float32)
        + mirror[..., None] * np.asarray(times(sky, (1, 1, 1), head.sky_in_glass * 0.3)),
    )
    if sent is not None:
        back_light = patch.down(np.where(seen_lens, sent.face(u, v), np.float32(0)))
        board = (back_light / np.maximum(face, 0.01))[..., None] * np.asarray(
            sent.colour(aperture.glass), np.float32
        )
        canvas.stamp(face, patch.origin, np.asarray(np.asarray(glass, np.float32) + board, np.float32))
    if canvas.sun.direct > 0.3 and rng.random() < 0.25 and span > 4:  # the sun or the sky's edge as a glint
        spot = ellipse(2 * r * 0.18, 2 * r * 0.12, x + float(rng.uniform(-0.5, 0.5)) * r, y - 0.5 * r, 12)
        canvas.polygons(
            [view.points(spot[:, 0], spot[:, 1])],
            times((1, 1, 1), canvas.sun.shade(0, 0, 1), float(rng.uniform(0.3, 2))),
        )
    canvas.stamp(
        patch.down(inside), patch.origin, times((1, 1, 1), canvas.sun.shade(0, -1, 0), head.inside * 0.5)
    )
    if skin.any():
        lit_side = np.clip(1.15 + 0.5 * np.float32(canvas.sun.x) * u - 0.35 * v, 0.35, 2.0)
        coat = patch.down(np.where(skin, np.broadcast_to(lit_side, skin.shape), 0))
        mask = patch.down(skin)
        tone = np.asarray(times(head.paint, shade_top), np.float32)
        canvas.stamp(
            mask, patch.origin, np.asarray(tone * (coat / np.maximum(mask, 0.01))[..., None], np.float32)
        )
        if canvas.sun.direct > 0.4 and span > 5 and rng.random() < 0.5:
            a = np.pi / 2 - canvas.sun.x * 0.7
            p, q = (
                view.point(x + near * math.cos(a), y + near * math.sin(a), head.hood * f) for f in (0.15, 0.9)
            )
            canvas.lines(
                [(p, q)], max(0.05 * span, 0.3), times(shade_top, (1, 1, 1), float(rng.uniform(0.15, 0.9)))
            )
    if snow > 0.1 and head.hood > 0:
        top = np.abs(arc - np.pi / 2) < 0.9
        below = front[top][:, 1].mean() < back[top][:, 1].mean()  # the hood's top cannot be seen from below
        edge = front[top] if below else back[top]
        cap = [np.concatenate([edge, (edge - np.array([0, 0.2 * snow * span]))[::-1]])]
        if not below:
            cap.append(np.concatenate([back[top], front[top][::-1]]))
        canvas.polygons(cap, canvas.sun.shade(0, 0.7, 0.7), 0.95)
    shine = np.random.default_rng(
        int(rng.integers(2**32))
    )  # drawn even if unlit: phases differ in light only
    if burning:
        mask = _emission(head, patch, seen_lens, inside, u, v, shine)
        canvas.glows.append(
            Glow(
                cxp,
                cyp,
                mask,
                patch.origin,
                cast(GlowColour, lamp.colour),
                head.source,
                luminance * canvas.clear,
            )
        )
    return shapes


def _emission(
    head: Head,
    patch: Patch,
    lens: NDArray[np.bool_],
    inside: NDArray[np.bool_],
    u: Radiance,
    v: Radiance,
    rng: np.random.Generator,
) -> Radiance:
    d2 = u * u + v * v
    ox, oy = (np.float32(a) for a in rng.normal(0, 0.12, 2))
    centre = (u - ox) ** 2 + (v - oy) ** 2
    if head.texture == "even":
        light = 0.75 + 0.25 * np.exp(-centre * 2)
    elif head.texture == "hot":
        light = 0.25 + 0.75 * np.exp(-centre * np.float32(rng.uniform(2, 7)))
    elif head.texture == "rings":
        light = (0.55 + 0.3 * np.cos(np.sqrt(d2) * np.float32(rng.uniform(14, 26)))) * (
            0.4 + 0.6 * np.exp(-centre * 2)
        )
        light = np.clip(light, 0.08, 1)
    else:
        k = np.float32(rng.uniform(3.5, 7.5) * math.pi)
        grid = np.cos(k * u) * np.cos(k * v)
        rate = float(rng.uniform(0.2, 0.9))
        light = np.clip(1 - rate + rate * (grid * 1.4), 0.05, 1)
    spill = np.float32(rng.uniform(0.01, 0.1)) * np.exp(-np.maximum(np.sqrt(d2) - 1, 0) * 1.6)
    board = np.where(lens, light, 0) + np.where(inside, spill, 0)
    return patch.down(board.astype(np.float32))


SNOW = srgb(240, 243, 250)


def paint_rim(
    canvas: Canvas, view: View, head: Head, at: tuple[float, float], way: float, radiance: Colour3
) -> None:
    """A little light along one side of a head's edge and on the brows of its hoods, all that a lamp far off
    shows of it in the dark; `way` is the direction it comes from, radians, 0 to the right and up from there.
    """
    px = head.width * view.size_at(at[1])
    plate = view.points(at[0] + head.outline[:, 0], at[1] + head.outline[:, 1])
    off = plate - plate.mean(0)
    toward = off @ np.array([math.cos(way), -math.sin(way)])
    near = toward > 0.55 * toward.max()
    segments = [
        ((float(p[0]), float(p[1])), (float(q[0]), float(q[1])))
        for p, q, a, b in zip(plate, np.roll(plate, -1, 0), near, np.roll(near, -1), strict=True)
        if a and b
    ]
    if head.hood > 0 and math.sin(way) > -0.3:
        r = head.lens / 2 * head.flare
        arc = np.clip(way, 0.0, np.pi) + np.linspace(-0.6, 0.6, 7)
        for a in head.apertures:
            brow = view.points(at[0] + a.x + r * np.cos(arc), at[1] + a.y + r * np.sin(arc), head.hood)
            segments += [
                ((float(p[0]), float(p[1])), (float(q[0]), float(q[1]))) for p, q in itertools.pairwise(brow)
            ]
    canvas.lines(segments, min(max(0.012 * px, 0.3), 1.2), radiance)
