"""What stands beside a line: signals, woods, poles and masts of wires, each an upright piece."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from litlamp.aspects.aspect import Aspect
from litlamp.box import Box
from litlamp.scene.backdrop import Lie, Season
from litlamp.scene.canvas import Canvas, Colour3, Sun, noise, times
from litlamp.scene.clutter import paint_distractor
from litlamp.scene.compose import BRIGHT
from litlamp.scene.cutout import Light, Sizes, cut_out, light_of
from litlamp.scene.heads import Kind
from litlamp.scene.lamps_over_time import LampKey
from litlamp.scene.land import tree_line
from litlamp.scene.light import GlowColour, Radiance, Source
from litlamp.scene.light import Light as LightName
from litlamp.scene.posts import draw_post, paint_post
from litlamp.scene.truth import SignalTruth
from litlamp.scene.view import View
from litlamp.scene.woods import Wood


@dataclass(frozen=True, slots=True)
class StandingLamp:
    """A lamp on an upright piece; `high` is how far it is over the rails, metres.

    `key` is None for a lamp of no signal, which is lit throughout.
    """

    key: LampKey | None
    colour: GlowColour
    source: Source
    light: Light
    high: float


@dataclass(frozen=True, slots=True)
class Standing:
    """An upright piece beside the line.

    Attributes
    ----------
    s, u : where it stands, metres along the line and to the right of our track.
    piece : colour times cover and cover; `scale` its px per metre; `foot` the px of it that stands at (s, u).
    lamps : its lamps.
    signal : the number of the signal that it is, or None.
    pole : half the width, metres, of a pole that may hide what is behind it; 0 for none.
    others : what of it could be taken for a signal: its kind, and its box in px of the piece.
    """

    s: float
    u: float
    piece: Sizes
    scale: float
    foot: tuple[float, float]
    lamps: tuple[StandingLamp, ...] = ()
    signal: int | None = None
    pole: float = 0.0
    others: tuple[tuple[str, Box], ...] = ()


def signal_beside(
    number: int,
    aspects: tuple[Aspect, ...],
    *,
    seed: int,
    s: float,
    u: float,
    scale: float,
    sun: Sun,
    light: LightName,
    eye: float,
    kind: Kind | None = None,
    back: bool = False,
) -> tuple[Standing, SignalTruth]:
    """A signal that can show each of the aspects, which differ in lamps alone; its truth in its own px."""
    if len(aspects) > 1 and kind not in ("searchlight", "led"):
        kind = "searchlight"
    first = aspects[0]
    post = next(
        made
        for i in itertools.count()
        if (made := draw_post(np.random.default_rng((seed, 61, number, i)), first, kind=kind, back=back,
                              snow_on_plate=False)).beam is None
    )  # fmt: skip
    # A cabinet stands on the far side of the signal, never on the track.
    post = replace(post, relay_case=math.copysign(post.relay_case, u) if post.relay_case else 0.0)
    dwarf = first.mount == "dwarf"
    half, top = (1.6, post.high + 0.6) if dwarf else (3.2, post.high + 1.2)
    size = math.ceil(2 * half * scale), math.ceil((top + 0.15) * scale)
    foot = (half * scale, top * scale)
    rng = np.random.default_rng((seed, 62, number))
    yaw = float(np.clip(rng.normal(-0.12 * np.sign(u), 0.06), -0.3, 0.3))
    view = View(scale, foot, 0.0, yaw, eye, 25.0, 0.0)
    median, _ = BRIGHT[light]
    shared = median * float(np.exp(rng.normal(0, 0.35)))
    strengths = tuple(shared * float(np.exp(rng.normal(0, 0.2))) for _ in first.heads)
    lamps: dict[LampKey, StandingLamp] = {}
    told: list[SignalTruth] = []
    pieces = []
    for aspect in aspects:

        def paint(canvas: Canvas, own: np.random.Generator, shown: Aspect = aspect) -> SignalTruth:
            lit = tuple(h.colour != "dark" for h in shown.heads)
            built = replace(post, aspect=shown)
            return paint_post(canvas, view, built, lit, strengths, sun.shade(0, 0.5, 0.5), own)

        cut, glows, truth = cut_out(paint, size, sun, (seed, 63, number))
        pieces.append(cut)
        told.append(truth)
        burning = [i for i, h in enumerate(aspect.heads) if h.colour != "dark"] if not back else []
        for i, glow in zip(burning, glows, strict=True):
            key = LampKey(number, i, aspect.heads[i].colour)
            high = post.heads[i][1][1]
            lamps.setdefault(key, StandingLamp(key, glow.colour, glow.source, light_of(glow), high))
    truth = replace(told[0], plates=tuple(replace(p, visible=1.0) for p in told[0].plates))
    return Standing(s, u, Sizes(pieces[0]), scale, foot, tuple(lamps.values()), number), truth


def thing_beside(
    kind: str, *, seed: int, s: float, u: float, scale: float, sun: Sun, light: LightName, eye: float
) -> Standing:
    """A thing that is no signal, of `litlamp.scene.clutter.KINDS`, set on the ground."""
    size = math.ceil(12 * scale), math.ceil(12 * scale)
    middle = size[0] / 2

    def paint(canvas: Canvas, rng: np.random.Generator) -> list[tuple[str, Box]]:
        lie = Lie(size[1] * 0.5, 0.0, eye, 50 * scale, middle, scale)
        lum = BRIGHT[light][0] * float(np.exp(rng.normal(0, 0.6)))
        wide = float(rng.uniform(0.3, 0.5)) * scale
        return paint_distractor(canvas, rng, kind, lie, light, lum, (middle, size[1] * 0.45), wide)

    cut, glows, boxes = cut_out(paint, size, sun, (seed, 64))
    rows = np.flatnonzero(cut[..., 3].max(axis=1) > 0.3)
    ground = float(rows[-1] + 1) if rows.size else max((b.y1 for _, b in boxes), default=size[1] * 0.5)
    lamps = tuple(StandingLamp(None, g.colour, g.source, light_of(g), (ground - g.y) / scale) for g in glows)
    return Standing(s, u, Sizes(cut), scale, (middle, ground), lamps, others=tuple(boxes))


_WOODS: dict[Season, tuple[Wood, ...]] = {
    "summer": ("leafy", "leafy", "conifer", "scrub"),
    "autumn": ("leafy", "bare", "conifer", "scrub"),
    "winter": ("bare", "bare", "conifer", "scrub"),
    "snow": ("bare", "conifer", "conifer", "scrub"),
}


def woods_beside(
    rng: np.random.Generator, length: float, season: Season, sun: Sun, scale: float
) -> list[Standing]:
    """Woods, hedges and open land along the whole line, to both sides."""
    lit = sun.shade(sun.x * 0.5, 0.6, 0.5)
    kept: dict[Wood, list[tuple[Sizes, float, float]]] = {}
    for wood in dict.fromkeys(_WOODS[season]):
        kept[wood] = []
        for _ in range(4):
            tall = float(rng.uniform(2.0, 4.0) if wood == "scrub" else rng.uniform(7, 13))
            wide = float(rng.uniform(18, 34))
            fine = min(scale, 340 / tall)  # finer than the trees were ever grown shows nothing more
            piece = tree_line(rng, wood, tall * fine, round(wide * fine), season, lit)
            _round_ends(rng, piece, tall * fine)
            kept[wood].append((Sizes(piece), fine, float(piece.shape[0])))
    out: list[Standing] = []
    for side in (-1, 1):
        s = 0.0
        while s < length:
            until = s + float(rng.uniform(80, 350))
            near = float(rng.choice([7.5, 11.0, 18.0, 40.0], p=[0.3, 0.3, 0.2, 0.2]))
            step = float(rng.uniform(12, 24)) * (1 if near < 30 else 2.5)
            wood = _WOODS[season][int(rng.integers(4))]
            while s < until:
                sizes, fine, high = kept[wood][int(rng.integers(4))]
                u = side * (near + float(rng.exponential(2.5)))
                foot = (0.0 if side > 0 else float(sizes.size[0]), high * 0.97)
                out.append(Standing(s, u, sizes, fine, foot))
                s += step * float(rng.uniform(0.6, 1.4))
    return out


def _round_ends(rng: np.random.Generator, piece: Radiance, tall: float) -> None:
    """Let a row of trees end in branches and not in a straight cut, in place."""
    h, w = piece.shape[:2]
    up = 1 - np.arange(h, dtype=np.float32) / h
    x = np.arange(w, dtype=np.float32)[None, :] + np.float32(0.5)
    for way in (x, w - x):
        ragged = 0.07 * noise(rng, h, 4, max(tall / 3, 3.0))[:, 1]
        edge = tall * np.clip(0.06 + 0.3 * up**2 + ragged, 0, 0.6).astype(np.float32)
        piece *= np.clip((way - edge[:, None]) / (0.02 * tall), 0, 1)[..., None]


def poles_beside(
    rng: np.random.Generator, length: float, sun: Sun, scale: float, u: float, wired: bool
) -> list[Standing]:
    """A row of poles with cross-arms, or masts of overhead wires with their brackets over our track."""
    high = 7.2 if wired else 6.5
    half = 4.2 if wired else 1.2
    size = math.ceil(2 * half * scale), math.ceil((high + 0.3) * scale)
    foot = (half * scale, (high + 0.1) * scale)
    metal: Colour3 = (0.27, 0.29, 0.28) if wired else (0.13, 0.1, 0.07)
    tone = times(metal, sun.shade(0, 0.1, 0.95))
    wide = 0.12 if wired else 0.09

    def paint(canvas: Canvas, own: np.random.Generator) -> None:
        def at(x: float, y: float) -> tuple[float, float]:
            return foot[0] + x * scale, foot[1] - y * scale

        canvas.pipe(at(0, 0), at(0, high), wide * scale, metal, 0.8 * wide * scale)
        if wired:
            reach = -math.copysign(min(abs(u), half - 0.2), u)
            bars = (
                (0.0, 6.6, reach, 6.2),
                (0.0, 5.5, reach, 5.6),
                (0.0, 7.1, reach, 6.3),
                (reach, 6.3, reach, 5.5),
            )
            canvas.lines([(at(a, b), at(c, d)) for a, b, c, d in bars], 0.035 * scale, tone)
        else:
            arms = [(at(-0.9, y), at(0.9, y)) for y in (high - 0.3, high - 0.8)]
            canvas.lines(arms, 0.05 * scale, tone)

    cut, _, _ = cut_out(paint, size, sun, (int(rng.integers(1 << 30)),))
    piece = Sizes(cut)
    spacing = float(rng.uniform(45, 60))
    first = float(rng.uniform(0, spacing))
    return [Standing(float(s), u, piece, scale, foot, pole=wide) for s in np.arange(first, length, spacing)]


__all__ = ["Standing", "StandingLamp", "poles_beside", "signal_beside", "thing_beside", "woods_beside"]
