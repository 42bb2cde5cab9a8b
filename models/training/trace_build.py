"""Signal heads as solids to be path-traced: drawn at random, broader in form than `scene.heads` draws them.

Metres about the head's centre: x right, y up, z towards the viewer; the background's front lies at z = 0.
Forms and measures are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from litlamp.scene.heads import LONG_RANGE, PAINTS, SHORT_RANGE, Aperture, Head, draw_head, ellipse, rounded

Points = NDArray[np.float64]
Material = Literal["paint", "hood", "inside", "metal", "ring", "slot"]
HoodKind = Literal["tunnel", "cutaway", "snoot", "none"]
GLASSES = (("green", "yellow", "red"), ("yellow", "red"), ("green", "red"), ("green", "yellow"),
           ("green", "yellow", "lunar", "red"), ("lunar", "red"), ("lunar", "yellow", "red"),
           ("green", "lunar", "red"))  # fmt: skip
USUAL = (0.5, 0.08, 0.08, 0.04, 0.1, 0.08, 0.06, 0.06)


@dataclass
class Mesh:
    """Triangles growing: vertices (n, 3) metres, faces (m, 3), texture places (n, 2)."""

    vertices: list[Points] = field(default_factory=list)
    faces: list[NDArray[np.int64]] = field(default_factory=list)
    places: list[Points] = field(default_factory=list)
    n: int = 0

    def add(self, vertices: Points, faces: NDArray[np.int64], places: Points | None = None) -> None:
        self.vertices.append(vertices)
        self.faces.append(faces + self.n)
        # Paint is blotched by height and width; what looks sideways takes its depth along.
        self.places.append(vertices[:, :2] + 0.7 * vertices[:, 2:] if places is None else places)
        self.n += len(vertices)

    def skin(self, rows: list[Points], close: bool = False, inward: bool = False) -> None:
        """Quads between rows of points (k, 3), as two triangles each."""
        k = len(rows[0])
        grid = np.arange(len(rows) * k).reshape(len(rows), k)
        right = np.roll(grid, -1, 1) if close else grid
        a, b = (grid, right) if close else (grid[:, :-1], grid[:, 1:])
        quads = np.stack([a[:-1], b[:-1], b[1:], a[1:]], -1).reshape(-1, 4)
        faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
        self.add(np.concatenate(rows), faces[:, ::-1] if inward else faces)

    def cap(self, row: Points) -> None:
        """A fan over a row of points that is convex."""
        k = len(row)
        i = np.arange(k)
        self.add(np.concatenate([row, row.mean(0)[None]]), np.stack([i, np.roll(i, -1), np.full(k, k)], -1))

    def slab(self, outline: Points, front: float, back: float, bevel: float = 0.0) -> None:
        """An outline (n, 2) drawn out from z = back to z = front, its front edge bevelled."""
        inner = 1 - bevel / max(float(np.abs(outline).max()), 1e-6)
        rows = [at(outline, back), at(outline, front - bevel), at(outline * inner, front)]
        self.skin(rows, close=True)
        self.cap(rows[-1])
        self.cap(rows[0][::-1])

    def tube(self, a: Points, b: Points, radius: float) -> None:
        """A round bar between two points (3,)."""
        along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
        side = np.cross(along, [0.3, 0.9, 0.2] if abs(along[0]) > 0.5 else [1.0, 0.1, 0.2])
        side /= np.linalg.norm(side)
        up = np.cross(along, side)
        t = np.linspace(0, 2 * np.pi, 14, endpoint=False)[:, None]
        round_ = radius * (np.cos(t) * side + np.sin(t) * up)
        self.skin([a + round_, b + round_], close=True)
        self.cap(a + round_)
        self.cap(b + round_)


@dataclass(frozen=True)
class Lens:
    """The glass of one aperture: bulged towards the viewer; texture places are 0 to 1 across it."""

    mesh: Mesh
    glass: str
    centre: tuple[float, float, float]


@dataclass(frozen=True)
class Solid:
    """A head as it is traced; `outer` (n, 3) are the corners of outline and hoods, metres."""

    head: Head
    dwarf: bool
    parts: dict[Material, Mesh]
    lenses: tuple[Lens, ...]
    outer: Points
    gloss: float


def at(flat: Points, z: float) -> Points:
    """Points (n, 2) at depth z."""
    return np.column_stack([flat, np.full(len(flat), z)])


def draw_solid(rng: np.random.Generator) -> Solid:
    """One head of any form."""
    form = str(rng.choice(["usual", "pill", "searchlight", "cluster", "led", "box"],
                          p=[0.22, 0.27, 0.16, 0.1, 0.09, 0.16]))  # fmt: skip
    glasses = GLASSES[int(rng.choice(len(GLASSES), p=USUAL))]
    if rng.random() < 0.15:
        glasses = tuple(str(g) for g in rng.permutation(glasses))
    dwarf = form == "box" or (form == "usual" and rng.random() < 0.2)
    kind = {"searchlight": "searchlight", "cluster": "triangular", "led": "led"}.get(form)
    head = draw_head(rng, glasses[:3], dwarf, kind, bool(rng.random() < 0.5))  # type: ignore[arg-type]
    head = replace(head, paint=_paint(rng))
    if form == "pill":
        head = _pill(rng, head, glasses)
    elif form == "searchlight":
        wide = float(rng.uniform(0.5, 0.8))
        tall = wide * float(rng.choice([1.0, 1.0, rng.uniform(1.1, 1.7)]))
        head = replace(head, outline=ellipse(wide, tall, n=56))
    elif form == "box":
        head = _box(rng, head, glasses)
    if not dwarf and rng.random() < 0.2:  # hoods of every length
        head = replace(head, hood=float(rng.uniform(0.05, 0.55)))
    return build(rng, head, dwarf, empty=form == "pill")


def _paint(rng: np.random.Generator) -> tuple[float, float, float]:
    p = PAINTS[int(rng.choice(len(PAINTS), p=[p for p, _ in PAINTS]))][1]
    k = float(np.exp(rng.normal(0.1, 0.35)))
    return p[0] * k, p[1] * k, p[2] * k


def _pill(rng: np.random.Generator, head: Head, glasses: tuple[str, ...]) -> Head:
    """A long background, small lenses in its upper half."""
    n = len(glasses)
    lens = float(rng.uniform(0.09, 0.18))
    pitch = lens * float(rng.uniform(1.35, 2.1))
    wide = max(lens * float(rng.uniform(2.6, 5.0)), 0.34)
    above = wide * float(rng.uniform(0.35, 0.6))
    tall = above + (n - 1) * pitch + lens * 0.5 + wide * float(rng.uniform(0.4, 2.6))
    top = tall / 2 - above
    apertures = tuple(Aperture(0.0, top - i * pitch, g) for i, g in enumerate(glasses))
    return replace(
        head, kind="vertical", lens=lens, apertures=apertures, hood=lens * float(rng.uniform(0.7, 2.2)),
        outline=rounded(wide, tall, wide * float(rng.choice([0.5, 0.5, 0.5, 0.3, 0.15]))),
    )  # fmt: skip


def _box(rng: np.random.Generator, head: Head, glasses: tuple[str, ...]) -> Head:
    """A dwarf's housing: lenses close together in one box, side by side, stacked or in a triangle."""
    lens = SHORT_RANGE if rng.random() < 0.8 else LONG_RANGE
    if rng.random() < 0.25:
        lens = float(rng.uniform(0.1, 0.15))
    some = glasses[-int(rng.integers(2, 4)) :]
    pitch = lens * float(rng.uniform(1.12, 1.4))
    n = len(some)
    way = str(rng.choice(["stacked", "triangle", "beside", "single"], p=[0.55, 0.15, 0.1, 0.2]))
    if way == "single":
        some, spots = ("clear",), [(0.0, 0.0)]
    elif way == "triangle" and n == 3:
        spots = [(-0.5 * pitch, 0.4 * pitch), (0.5 * pitch, 0.4 * pitch), (0.0, -0.47 * pitch)]
    elif way == "beside" and n == 2:
        spots = [(-0.5 * pitch, 0.0), (0.5 * pitch, 0.0)]
    else:
        spots = [(0.0, ((n - 1) / 2 - i) * pitch) for i in range(n)]
    edge = lens * float(rng.uniform(1.15, 1.7))
    wide = max(abs(x) for x, _ in spots) * 2 + edge
    tall = max(y for _, y in spots) - min(y for _, y in spots) + edge
    kind = "searchlight" if n == 1 or way == "single" else "triangular" if way == "triangle" else "vertical"
    apertures = tuple(Aperture(x, y, g) for (x, y), g in zip(spots, some, strict=True))
    return replace(
        head, kind=kind, lens=lens, apertures=apertures,
        outline=rounded(wide, tall, wide * float(rng.choice([0.03, 0.1, 0.5]))),
        hood=float(rng.uniform(0.06, 0.2)), body=float(rng.uniform(0.15, 0.4)),
    )  # fmt: skip


def build(rng: np.random.Generator, head: Head, dwarf: bool, empty: bool) -> Solid:
    """Meshes of a head: background, rim, housing, bolts, hoods, lenses; `empty` may have a screen below."""
    parts: dict[Material, Mesh] = {m: Mesh() for m in ("paint", "hood", "inside", "metal", "ring", "slot")}  # type: ignore[assignment]
    thick = float(rng.uniform(0.008, 0.05))
    paint = parts["paint"]
    outline = head.outline
    paint.slab(outline, 0.0, -thick, float(rng.uniform(0.002, 0.012)))
    if rng.random() < 0.35:  # a rolled or folded rim
        lip, band = float(rng.uniform(0.008, 0.035)), float(rng.uniform(0.01, 0.03))
        inner = outline * (1 - band / (head.width / 2), 1 - band / (head.height / 2))
        paint.skin([at(outline, -thick), at(outline, lip), at(inner, lip), at(inner, -0.001)], close=True)
    _housing(rng, head, dwarf, parts)
    _fittings(rng, head, parts)
    if empty and rng.random() < 0.6:
        _screen(rng, head, parts)
    hood_kind: HoodKind = "none"
    if head.hood > 0.02:
        hood_kind = str(rng.choice(["tunnel", "cutaway", "snoot"], p=[0.3, 0.5, 0.2]))  # type: ignore[assignment]
    if hood_kind == "cutaway":
        head = replace(head, reach=float(rng.uniform(2.9, 4.4)))
    elif hood_kind == "tunnel":
        head = replace(head, reach=float(rng.choice([2 * math.pi, rng.uniform(4.6, 5.9)])))
    elif hood_kind == "snoot":
        head = replace(head, reach=2 * math.pi, hood=head.hood * 1.3)
    else:
        head = replace(head, hood=0.0)
    outer = [at(outline, 0.0)]
    lenses = []
    proud = float(rng.uniform(0.0, 0.04))
    bulge = float(rng.uniform(0.05, 0.28)) * (0.6 if head.kind == "led" else 1.0)
    slope = float(rng.uniform(0.05, 0.6))
    droop = float(rng.uniform(-0.02, 0.12))
    taper = float(rng.uniform(-0.08, 0.06)) if hood_kind != "snoot" else float(rng.uniform(-0.3, -0.1))
    ridges = float(rng.uniform(0.0, 0.012)) if rng.random() < 0.5 else 0.0
    nearest = min(
        (math.hypot(a.x - b.x, a.y - b.y) for a in head.apertures for b in head.apertures if a is not b),
        default=9.0,
    )
    radius = min(head.lens / 2 * head.flare, max(nearest / 2 - 0.004, head.lens / 2 * 1.02))
    head = replace(head, flare=radius / (head.lens / 2))
    for a in head.apertures:
        centre = np.array([a.x, a.y, proud])
        r = head.lens / 2
        steps = ((0.0, radius), (proud + 0.012, radius), (proud + 0.012, 0.97 * r), (proud - 0.01, 0.96 * r))
        parts["ring"].skin([_circle(np.array([a.x, a.y, z]), k) for z, k in steps], close=True)
        lenses.append(
            Lens(
                _lens(centre, head.lens / 2, bulge, ridges),
                a.glass,
                (a.x, a.y, proud + 0.5 * bulge * head.lens / 2),
            )
        )
        outer.append(_circle(centre, radius))
        if hood_kind != "none":
            outer.append(_hood(head, hood_kind, centre, radius, slope, droop, taper, parts))
    return Solid(head, dwarf, parts, tuple(lenses), np.concatenate(outer), float(rng.uniform(0.15, 0.6)))


def _circle(centre: Points, radius: float, n: int = 40) -> Points:
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return np.asarray(centre + np.stack([radius * np.cos(t), radius * np.sin(t), 0 * t], -1), np.float64)


def _lens(centre: Points, radius: float, bulge: float, ridges: float) -> Mesh:
    """A dome of glass; `ridges` are its rings, as shares of its radius."""
    mesh = Mesh()
    share = np.linspace(1, 0.02, 15)
    t = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    rows, places = [], []
    for i, s in enumerate(share):
        z = radius * (bulge * (1 - s * s) + (ridges if i % 2 else 0.0))
        rows.append(centre + np.stack([radius * s * np.cos(t), radius * s * np.sin(t), np.full(32, z)], -1))
        places.append(np.stack([0.5 + 0.5 * s * np.cos(t), 0.5 + 0.5 * s * np.sin(t)], -1))
    mesh.skin(rows, close=True)
    mesh.cap(rows[-1])
    mesh.places = [np.concatenate(places), np.concatenate([places[-1], [[0.5, 0.5]]])]
    return mesh


def _hood(
    head: Head, kind: HoodKind, centre: Points, radius: float, slope: float, droop: float, taper: float,
    parts: dict[Material, Mesh],
) -> Points:  # fmt: skip
    """A thin shell about the lens, cut back towards its lower ends; its outer points (n, 3)."""
    whole = head.reach > 2 * math.pi - 0.05
    arc = math.pi / 2 + np.linspace(-head.reach / 2, head.reach / 2, 45)
    high = np.cos(arc - math.pi / 2) * 0.5 + 0.5  # 1 at the crown
    if kind == "cutaway":
        low = np.cos(head.reach / 2) * 0.5 + 0.5
        high = np.clip((high - low) / max(1 - low, 1e-6), 0, 1)
        long = head.hood * (0.04 + 0.96 * high ** (0.35 + slope))
    else:
        least = 1 - slope if kind == "tunnel" else 0.55 - 0.6 * slope
        long = head.hood * (least + (1 - least) * high)
    skin = min(0.004, 0.05 * radius)

    def shell(r: float, f: float) -> Points:
        z = long * f
        k = r * (1 + taper * z / max(head.hood, 1e-6))
        y = k * np.sin(arc) - droop * z
        return np.asarray(centre + np.stack([k * np.cos(arc), y, z - (0.012 if f == 0 else 0)], -1))

    steps = np.linspace(0, 1, 6)
    out = [shell(radius, float(f)) for f in steps]
    inn = [shell(radius - skin, float(f)) for f in steps]
    parts["hood"].skin(out, inward=True)
    parts["inside"].skin(inn)
    parts["hood"].skin([out[-1], inn[-1]])
    if not whole:
        for end in (0, -1):
            parts["hood"].skin([np.stack([r[end] for r in out]), np.stack([r[end] for r in inn])])
    return np.concatenate([out[0], out[-1]])


def _housing(rng: np.random.Generator, head: Head, dwarf: bool, parts: dict[Material, Mesh]) -> None:
    deep = head.body
    if dwarf:
        parts["paint"].slab(head.outline * float(rng.uniform(0.9, 0.995)), -0.004, -deep, 0.0)
        return
    if head.kind in ("searchlight", "led") and rng.random() < 0.6:  # a drum
        r = head.lens / 2 * float(rng.uniform(1.1, 1.7))
        c = np.array([head.apertures[0].x, head.apertures[0].y, 0.0])
        steps = ((0.0, 1.0), (0.6, 1.0), (0.9, 0.75), (1.0, 0.3))
        rows = [_circle(np.array([c[0], c[1], -z * deep]), r * k) for z, k in steps]
        parts["paint"].skin(rows, close=True, inward=True)
        parts["paint"].cap(rows[-1])
    else:
        xs, ys = [a.x for a in head.apertures], [a.y for a in head.apertures]
        wide = max(xs) - min(xs) + head.lens * float(rng.uniform(1.1, 1.6))
        tall = max(ys) - min(ys) + head.lens * float(rng.uniform(1.1, 1.7))
        box = rounded(wide, tall, 0.02) + np.array([max(xs) + min(xs), max(ys) + min(ys)]) / 2
        parts["paint"].slab(box, -0.002, -deep, 0.0)
        if rng.random() < 0.5:  # hinges of its door
            for y in (-0.3, 0.3):
                x = box[:, 0].min() if rng.random() < 0.5 else box[:, 0].max()
                yy = float(box[:, 1].mean()) + y * tall
                parts["metal"].tube(
                    np.array([x, yy - 0.03, -0.6 * deep]), np.array([x, yy + 0.03, -0.6 * deep]), 0.014
                )
    if rng.random() < 0.7:  # what holds it to the mast
        for y in rng.uniform(-0.3, 0.3, int(rng.integers(1, 3))):
            z = -deep * float(rng.uniform(0.3, 0.8))
            parts["metal"].tube(
                np.array([0, y * head.height, z]), np.array([0, y * head.height, z - 0.3]), 0.025
            )


def _fittings(rng: np.random.Generator, head: Head, parts: dict[Material, Mesh]) -> None:
    """Bolts on the background, a flange, a cable from below."""
    if rng.random() < 0.55:
        some = parts["metal"] if rng.random() < 0.5 else parts["paint"]
        r = float(rng.uniform(0.006, 0.014))
        inset = float(rng.uniform(0.8, 0.93))
        for i in np.linspace(0, len(head.outline), int(rng.choice([4, 6, 8])), endpoint=False).astype(int):
            x, y = head.outline[(i + 4) % len(head.outline)] * inset
            some.tube(np.array([x, y, -0.002]), np.array([x, y, 0.01]), r)
    if rng.random() < 0.3:
        x = float(rng.uniform(-0.3, 0.3)) * head.width
        low = float(head.outline[:, 1].min())
        bend = np.array([x, low * 0.5, -0.1]), np.array([x, low - 0.04, -0.12])
        parts["slot"].tube(bend[0], bend[1], float(rng.uniform(0.008, 0.016)))


def _screen(rng: np.random.Generator, head: Head, parts: dict[Material, Mesh]) -> None:
    """Louvres, rows of holes or of slots, a seam, in the empty lower part of a background."""
    low = min(a.y for a in head.apertures) - head.lens * 1.1
    bottom = float(head.outline[:, 1].min()) + 0.2 * head.width
    if low - bottom < 0.06:
        return
    wide = head.width * float(rng.uniform(0.5, 0.75))
    step, proud = float(rng.uniform(0.025, 0.06)), rng.random() < 0.5
    if rng.random() < 0.5:  # two sheets, one lapped over the other
        y = low - float(rng.uniform(0.0, 0.1))
        edge = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [0.47 * head.width, 0.008] + [0, y]
        parts["metal" if rng.random() < 0.3 else "slot"].slab(edge, 0.004, -0.002)
    kind = str(rng.choice(["slots", "holes", "box", "seam"], p=[0.35, 0.4, 0.1, 0.15]))
    if kind == "seam":
        return
    if kind == "box":  # what switches or heats the lamps, or a second, unused face
        tall = (low - bottom) * float(rng.uniform(0.4, 0.8))
        face = rounded(wide * 1.2, tall, 0.03) + np.array([0.0, (low + bottom) / 2])
        parts["paint"].slab(face, float(rng.uniform(0.03, 0.15)), -0.002, 0.004)
        return
    if kind == "holes":
        r = step * float(rng.uniform(0.15, 0.3))
        high = bottom + (low - bottom) * float(rng.uniform(0.4, 1.0))
        for i, y in enumerate(np.arange(bottom, high, step)):
            for x in np.arange(-wide / 2 + (i % 2) * step / 2, wide / 2, step):
                parts["slot"].slab(ellipse(2 * r, 2 * r, float(x), float(y), 8), 0.002, -0.002)
        return
    for y in np.arange(bottom, low, step):
        bar = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [wide / 2, step * 0.16] + [0, y]
        parts["slot"].slab(bar, 0.003, -0.002)
        if proud:
            row = np.array([[-wide / 2, y + step * 0.2], [wide / 2, y + step * 0.2]])
            out = np.array([[-wide / 2, y - step * 0.15], [wide / 2, y - step * 0.15]])
            parts["paint"].skin([at(row, 0.0), at(out, 0.014)])
