"""What carries the heads: masts with ladder, base and brackets, dwarfs; where heads and plates stand on them.

Spacing, offsets and eye lines of 12 to 15 ft and up are common practice, no source.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from litlamp.aspects.aspect import PLATES, Aspect
from litlamp.box import Box, union_of
from litlamp.scene.canvas import Canvas, Colour3, times
from litlamp.scene.heads import Head, Kind, draw_head, paint_back, paint_head
from litlamp.scene.phantom import Phantom
from litlamp.scene.plates import PlateBoard, draw_plate, paint_plate
from litlamp.scene.traced import WIDEST, Traced, cast_heads, paint_traced
from litlamp.scene.truth import HeadTruth, PlateTruth, SignalTruth
from litlamp.scene.view import View

Spot = tuple[float, float]
MastKind = Literal["pipe", "lattice", "stub", "base", "gantry"]
Footing = Literal["block", "bare", "planks", "pedestal"]
"""What a dwarf stands on: a low block of concrete, the ground, a sleeper, a block as high as its heads."""


@dataclass(frozen=True, slots=True)
class Post:
    """One signal as built, metres about its foot: heads and plates with their centres, what bears them."""

    aspect: Aspect
    heads: tuple[tuple[Head, Spot], ...]
    plates: tuple[tuple[PlateBoard, Spot], ...]
    mast: MastKind
    top: float
    bottom: float  # where the mast begins: 0, or the deck of a bridge
    radius: float
    paint: Colour3
    ladder: float  # side and offset of the ladder, 0 for none
    platform: bool
    relay_case: float  # offset of a cabinet beside the foot, 0 for none
    back: bool  # seen from behind
    beam: tuple[float, float] | None = None  # a bridge or cantilever: where its beam begins and ends, metres
    traced: tuple[Traced | None, ...] = ()  # of each head, where heads are laid in from assets
    footing: Footing = "block"  # of a dwarf

    @property
    def low(self) -> float:
        """Height of the lowest part of heads and plates."""
        return min(
            [y - h.height / 2 for h, (_, y) in self.heads] + [y - p.height / 2 for p, (_, y) in self.plates]
        )

    @property
    def high(self) -> float:
        """Height of the highest part."""
        return max([y + h.height / 2 for h, (_, y) in self.heads])


METALS: tuple[Colour3, ...] = (
    (0.38, 0.38, 0.39),
    (0.5, 0.5, 0.5),
    (0.2, 0.2, 0.2),
    (0.06, 0.06, 0.06),
    (0.16, 0.09, 0.06),
    (0.26, 0.27, 0.28),
)


TRACED_SHARE = 0.35


def draw_post(
    rng: np.random.Generator,
    aspect: Aspect,
    *,
    snow_on_plate: bool | None = None,
    back: bool = False,
    kind: Kind | None = None,
    traced: tuple[Traced, ...] = (),
) -> Post:
    """Build a signal that can show the aspect; what the aspect leaves unsaid is drawn.

    Where there are `traced` heads, some signals have theirs.
    """
    dwarf = aspect.mount == "dwarf"
    heads: list[Head] = []
    first: Head | None = None
    assets: tuple[Traced | None, ...] = ()
    if traced and kind is None and rng.random() < TRACED_SHARE:
        assets = cast_heads(rng, traced, tuple(h.colour for h in aspect.heads), dwarf)
    for lamp, asset in zip(aspect.heads, assets or (None,) * len(aspect.heads), strict=True):
        if asset is not None:
            first = asset.head
            heads.append(asset.head)
            continue
        if first is not None and rng.random() < 0.88:
            fits = (
                len(first.apertures) == 1
                or lamp.colour in {a.glass for a in first.apertures}
                or lamp.colour == "dark"
            )
            heads.append(first if fits else draw_head(rng, (lamp.colour,), dwarf, first.kind, False))
        else:
            shown = tuple({h.colour: None for h in aspect.heads if h.colour != "dark"})
            first = draw_head(rng, shown, dwarf, kind, len(aspect.heads) == 1)
            heads.append(first)
    spots = _dwarf_spots(rng, heads) if dwarf else _mast_spots(rng, heads, aspect)
    if aspect.arrangement == "staggered" and len(heads) > 1:
        spots = _stagger(rng, heads, spots)
    boards = [
        draw_plate(rng, kind, aspect.number if kind == "number" else None, snow=_snow(rng, snow_on_plate))
        for kind in [*(p for p in PLATES if p in aspect.plates), *(["number"] if aspect.number else [])]
    ]
    low = min(y - h.height / 2 for h, (_, y) in zip(heads, spots, strict=True))
    plates = _plate_spots(rng, boards, heads, spots, low, dwarf)
    metal = METALS[int(rng.integers(len(METALS)))]
    if dwarf:
        mast: MastKind = "stub" if low > 0.12 else "base"
        top, radius = spots[0][1], float(rng.uniform(0.04, 0.08))
    else:
        mast = "lattice" if rng.random() < 0.12 else "pipe"
        top = spots[0][1] + float(rng.choice([-0.1, 0.0, heads[0].height / 2 + rng.uniform(0.05, 0.5)]))
        radius = float(rng.uniform(0.05, 0.11)) if mast == "pipe" else float(rng.uniform(0.14, 0.24))
    if not dwarf and rng.random() < 0.07:
        return replace(_on_bridge(rng, aspect, heads, spots, plates, metal, radius, back), traced=assets)
    return Post(
        aspect,
        tuple(zip(heads, spots, strict=True)),
        tuple(plates),
        mast,
        top,
        0.0,
        radius,
        metal,
        0.0 if dwarf or rng.random() < 0.35 else float(rng.choice([-1, 1]) * rng.uniform(0.3, 0.55)),
        bool(rng.random() < 0.5),
        0.0 if rng.random() < 0.6 else float(rng.choice([-1, 1]) * rng.uniform(0.9, 2.2)),
        back,
        traced=assets,
    )


def _on_bridge(
    rng: np.random.Generator,
    aspect: Aspect,
    heads: list[Head],
    spots: list[Spot],
    plates: list[tuple[PlateBoard, Spot]],
    metal: Colour3,
    radius: float,
    back: bool,
) -> Post:
    """The same signal lifted on to a bridge over the tracks, or a cantilever from one side."""
    deck = float(rng.uniform(6.2, 7.4))
    low = min(
        [y - h.height / 2 for h, (_, y) in zip(heads, spots, strict=True)]
        + [y - p.height / 2 for p, (_, y) in plates]
    )
    lift = deck + float(rng.uniform(0.1, 0.6)) - low
    left, right = -float(rng.uniform(1, 12)), float(rng.uniform(1, 12))
    return Post(
        aspect,
        tuple((h, (x, y + lift)) for h, (x, y) in zip(heads, spots, strict=True)),
        tuple((p, (x, y + lift)) for p, (x, y) in plates),
        "pipe",
        spots[0][1] + lift,
        deck,
        radius,
        metal,
        0.0,
        False,
        0.0,
        back,
        (left, right),
    )


def _snow(rng: np.random.Generator, wanted: bool | None) -> float:
    if wanted:
        return float(rng.uniform(0.55, 0.95))
    if wanted is None and rng.random() < 0.08:
        return float(rng.uniform(0.1, 0.95))
    return 0.0


def _dwarf_spots(rng: np.random.Generator, heads: list[Head]) -> list[Spot]:
    y = float(rng.uniform(0.02, 0.15) if rng.random() < 0.6 else rng.uniform(0.15, 0.6))
    gap = float(rng.uniform(0.01, 0.16))
    spots: list[Spot] = []
    for head in reversed(heads):
        y += head.height / 2
        spots.append((float(rng.normal(0, 0.01)), y))
        y += head.height / 2 + gap
    return spots[::-1]


def _mast_spots(rng: np.random.Generator, heads: list[Head], aspect: Aspect) -> list[Spot]:
    lowest = float(rng.uniform(3.2, 5.2))
    spacing = float(rng.uniform(1.2, 2.6)) if rng.random() < 0.6 else float(rng.uniform(0.7, 1.4))
    offset = 0.0
    if rng.random() < 0.35:  # in line, yet all beside the mast on brackets
        offset = float(rng.choice([-1, 1])) * (heads[0].width / 2 + float(rng.uniform(-0.1, 0.15)))
    # A long background stands higher, so that plates still hang between it and the ground.
    y, spots = max(lowest, heads[-1].height / 2 + 2.9), []
    for i, head in enumerate(reversed(heads)):
        if i:
            below = heads[len(heads) - i]
            step = spacing * float(np.exp(rng.normal(0, 0.1)))
            y += max(step, (head.height + below.height) / 2 + float(rng.uniform(0.05, 0.2)))
        spots.append((offset + float(rng.normal(0, 0.012)), y))
    return spots[::-1]


def _stagger(rng: np.random.Generator, heads: list[Head], spots: list[Spot]) -> list[Spot]:
    side = float(rng.choice([-1, 1]))
    out = []
    for i, (head, (_, y)) in enumerate(zip(heads, spots, strict=True)):
        reach = float(np.clip(head.width * rng.uniform(0.52, 0.85), 0.12 if head.width < 0.4 else 0.25, 0.62))
        out.append((side * (1 if i % 2 == 0 else -1) * max(reach, head.width * 0.5), y))
    return out


def _plate_spots(
    rng: np.random.Generator,
    boards: list[PlateBoard],
    heads: list[Head],
    spots: list[Spot],
    low: float,
    dwarf: bool,
) -> list[tuple[PlateBoard, Spot]]:
    out: list[tuple[PlateBoard, Spot]] = []
    wide = max(h.width for h in heads)
    if dwarf:
        side = float(rng.choice([-1, 1]))
        y = spots[-1][1] if rng.random() < 0.6 else spots[0][1] + float(rng.uniform(-0.1, 0.1))
        x = side * (wide / 2 + float(rng.uniform(0.02, 0.1)))
        for board in boards:
            size = float(rng.uniform(0.55, 0.85))
            board = replace(board, width=board.width * size, height=board.height * size)
            out.append((board, (x + side * board.width / 2, max(y, board.height / 2 + 0.02))))
            x += side * (board.width + 0.03)
        return out
    y = low - float(rng.uniform(0.06, 0.9))
    for board in boards:
        x = float(rng.normal(0, 0.03))
        if rng.random() < 0.15:
            x = float(rng.choice([-1, 1])) * board.width * 0.6
        y -= board.height / 2
        out.append((board, (x, y)))
        y -= board.height / 2 + float(rng.uniform(0.02, 0.25))
    return out


def paint_post(
    canvas: Canvas,
    view: View,
    post: Post,
    lit: tuple[bool, ...],
    luminances: tuple[float, ...],
    sky: Colour3,
    rng: np.random.Generator,
    snow: float = 0.0,
    phantoms: tuple[Phantom | None, ...] = (),
) -> SignalTruth:
    """Paint mast, heads and plates; `phantoms` is what each head's unlit glass sends back.

    Shares in view are settled by the composer when all is painted.
    """
    if post.mast in ("pipe", "lattice", "gantry"):
        _mast(canvas, view, post, rng)
    else:
        _dwarf_base(canvas, view, post, rng, snow)
    _brackets(canvas, view, post)
    heads: list[HeadTruth] = []
    assets = post.traced or (None,) * len(post.heads)
    sent = phantoms or (None,) * len(post.heads)
    for (head, at), asset, lamp, on, luminance, back in zip(
        post.heads, assets, post.aspect.heads, lit, luminances, sent, strict=True
    ):
        if post.back:
            heads.append(paint_back(canvas, view, head, at, lamp, rng))
        elif asset is not None and head.width * view.size_at(at[1]) < WIDEST:
            heads.append(paint_traced(canvas, view, asset, at, lamp, on, luminance, sky, rng, snow, back))
        else:
            heads.append(paint_head(canvas, view, head, at, lamp, on, luminance, sky, rng, snow, back))
    plates: list[PlateTruth] = []
    if not post.back:
        plates = [paint_plate(canvas, view, board, at, rng) for board, at in post.plates]
    if post.back and post.mast != "base":  # from behind the mast stands before the heads
        _mast(canvas, view, replace(post, ladder=0.0, relay_case=0.0), rng)
    box = union_of([*(h.box for h in heads), *(p.box for p in plates)])
    foot = view.point(0.0, 0.0)
    if post.aspect.mount == "dwarf":
        box = box.union(Box(box.x0, min(foot[1], box.y1), box.x1, max(foot[1], box.y1)))
    return SignalTruth(
        box,
        tuple(heads),
        post.aspect.mount or "mast",
        post.aspect.arrangement or "vertical",
        tuple(plates),
        True,
        foot,
        not post.back,
    )


def _mast(canvas: Canvas, view: View, post: Post, rng: np.random.Generator) -> None:
    foot, top = view.point(0, post.bottom), view.point(0, post.top)
    if post.beam is not None:
        _bridge(canvas, view, post, post.beam)
    low_px, high_px = view.size_at(post.bottom), view.size_at(post.top)
    front = canvas.sun.shade(0, 0.2, 0.9)
    if post.ladder:
        x = post.ladder
        reach = post.heads[0][1][1] + 0.2
        bars = [(view.point(x + d, 0.3 + post.bottom), view.point(x + d, reach)) for d in (-0.19, 0.19)]
        rungs = np.arange(post.bottom + 0.5, reach, 0.32)
        bars += [(view.point(x - 0.19, float(y)), view.point(x + 0.19, float(y))) for y in rungs]
        for y in np.arange(post.bottom + 1.5, reach, 1.8):
            bars.append((view.point(x, float(y)), view.point(0, float(y))))
        if post.platform:
            for _, (_, y) in post.heads:
                lx = x + math.copysign(0.3, x)
                bars += [
                    (view.point(-lx * 0.2, y - 0.55), view.point(lx * 1.3, y - 0.55)),
                    (view.point(lx * 1.3, y - 0.55), view.point(lx * 1.3, y + 0.4)),
                    (view.point(x, y + 0.4), view.point(lx * 1.3, y + 0.4)),
                ]
        canvas.lines(bars, 0.018 * low_px, times(post.paint, front))
    if post.mast == "lattice":
        r = post.radius
        legs = [(view.point(d, post.bottom), view.point(d * 0.6, post.top)) for d in (-r, r)]
        steps = np.linspace(post.bottom, post.top, max(int((post.top - post.bottom) / 0.45), 2))
        for i, (a, b) in enumerate(itertools.pairwise(steps)):
            d = r if i % 2 else -r
            legs.append((view.point(d * 0.95, float(a)), view.point(-d * 0.9, float(b))))
        canvas.lines(legs, 0.03 * low_px, times(post.paint, front))
    else:
        canvas.pipe(foot, top, post.radius * low_px, post.paint, post.radius * 0.85 * high_px, gloss=0.5)
    if post.bottom == 0:
        base = float(rng.uniform(0.25, 0.5))
        tall = float(rng.uniform(0.15, 0.6))
        corners = np.array([[-base, -0.1], [base, -0.1], [base * 0.9, tall], [-base * 0.9, tall]])
        canvas.polygons([view.points(corners[:, 0], corners[:, 1])], times((0.42, 0.4, 0.37), front))
        if post.relay_case:
            x, w, h = post.relay_case, float(rng.uniform(0.35, 0.8)), float(rng.uniform(1.1, 2.0))
            box = np.array([[x - w, 0.0], [x + w, 0.0], [x + w, h], [x - w, h]])
            canvas.polygons([view.points(box[:, 0], box[:, 1])], times((0.5, 0.51, 0.5), front))
            canvas.lines(
                [(view.point(x, 0.1), view.point(x, h - 0.1))], 0.012 * low_px, times((0.2, 0.2, 0.2), front)
            )


def _bridge(canvas: Canvas, view: View, post: Post, beam: tuple[float, float]) -> None:
    tone = times(post.paint, canvas.sun.shade(0, 0.1, 0.95))
    deck, deep = post.bottom, 0.9
    left, right = beam
    bars = [(view.point(left, y), view.point(right, y)) for y in (deck, deck - deep)]
    for i, x in enumerate(np.arange(left, right - 0.45, 0.9)):
        a, b = (deck, deck - deep) if i % 2 else (deck - deep, deck)
        bars.append((view.point(float(x), a), view.point(float(x) + 0.9, b)))
    walk = [
        (view.point(float(x), deck), view.point(float(x), deck + 1.0)) for x in np.arange(left, right, 1.8)
    ]
    walk.append((view.point(left, deck + 1.0), view.point(right, deck + 1.0)))
    px = view.size_at(deck)
    canvas.lines(walk, 0.02 * px, tone)
    canvas.lines(bars, 0.06 * px, tone)
    legs = [x for x in (left, right) if abs(x) > 3] or [left]
    for x in legs:
        for dx in (-0.25, 0.25):
            canvas.pipe(view.point(x + dx, 0), view.point(x + dx, deck), 0.1 * view.scale, post.paint)


def _dwarf_base(canvas: Canvas, view: View, post: Post, rng: np.random.Generator, snow: float) -> None:
    front = canvas.sun.shade(0, 0.2, 0.9)
    px = view.size_at(0)
    if post.mast == "stub":
        canvas.pipe(view.point(0, 0), view.point(0, post.top), post.radius * px, post.paint)
    low = min(y - h.height / 2 for h, (_, y) in post.heads)
    if post.footing == "planks":
        _planks(canvas, view, post, rng, snow)
    elif post.footing != "bare":
        _block(canvas, view, post, rng, snow)
    if post.mast == "base" and low > 0.02:
        neck = np.array([[-0.06, 0.0], [0.06, 0.0], [0.06, low + 0.05], [-0.06, low + 0.05]])
        canvas.polygons([view.points(neck[:, 0], neck[:, 1])], times(post.paint, front))


def _block(canvas: Canvas, view: View, post: Post, rng: np.random.Generator, snow: float) -> None:
    front = canvas.sun.shade(0, 0.2, 0.9)
    wide = max(h.width for h, _ in post.heads) * float(rng.uniform(0.5, 0.9))
    tall = float(rng.uniform(0.05, 0.14))
    if post.footing == "pedestal":
        tall = max(post.low - float(rng.uniform(0.0, 0.1)), tall)
    corners = np.array([[-wide, -0.08], [wide, -0.08], [wide * 0.93, tall], [-wide * 0.93, tall]])
    canvas.polygons([view.points(corners[:, 0], corners[:, 1])], times((0.4, 0.39, 0.36), front))
    lid = np.array(
        [[-wide * 0.93, tall], [wide * 0.93, tall], [wide * 0.85, tall + 0.05], [-wide * 0.85, tall + 0.05]]
    )
    shine = canvas.sun.shade(0, 1, 0.1)
    canvas.polygons(
        [view.points(lid[:, 0], lid[:, 1])],
        times((0.5, 0.49, 0.46) if snow < 0.3 else (0.85, 0.87, 0.9), shine),
    )


def _planks(canvas: Canvas, view: View, post: Post, rng: np.random.Generator, snow: float) -> None:
    """A sleeper across, seen from the front."""
    wide, thick = float(rng.uniform(0.5, 1.3)), float(rng.uniform(0.1, 0.2))
    tone = times((0.07, 0.055, 0.045), canvas.sun.shade(0, 0.2, 0.9), float(np.exp(rng.normal(0, 0.4))))
    corners = np.array([[-wide, -0.06], [wide, -0.06], [wide, thick], [-wide, thick]])
    canvas.polygons([view.points(corners[:, 0], corners[:, 1])], tone)
    top = np.array([[-wide, thick], [wide, thick], [wide, thick + 0.04], [-wide, thick + 0.04]])
    shine = times((0.12, 0.1, 0.08) if snow < 0.3 else (0.85, 0.87, 0.9), canvas.sun.shade(0, 1, 0.1))
    canvas.polygons([view.points(top[:, 0], top[:, 1])], shine)


def _brackets(canvas: Canvas, view: View, post: Post) -> None:
    front = canvas.sun.shade(0, 0.2, 0.9)
    for head, (x, y) in post.heads:
        px = view.size_at(y)
        if abs(x) > post.radius:
            for dy in (-0.16, 0.1):
                canvas.pipe(
                    view.point(0, y + dy * head.height),
                    view.point(x, y + dy * head.height),
                    0.03 * px,
                    post.paint,
                )
        elif post.mast in ("pipe", "stub") and head.height < 0.9:
            grip = np.array([[-1.4, -0.09], [1.4, -0.09], [1.4, 0.03], [-1.4, 0.03]]) * [post.radius, 1.0]
            at = view.points(grip[:, 0], y - head.height / 2 + grip[:, 1])
            canvas.polygons([at], times(post.paint, front, 0.8))
