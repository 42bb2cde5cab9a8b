"""Signal heads traced beforehand: layers of light kept in files, laid into a picture like painted heads.

An asset holds one head seen from one side: under a sky, under a sun, each lens burning alone, and what it
covers. `models/training/trace.py` makes them. Light adds, so any daylight and any lamp is a sum of layers.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import cast
from zipfile import BadZipFile

import cv2
import msgspec
import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import Colour, Lamp
from litlamp.box import Box
from litlamp.scene.canvas import Canvas, Colour3, Points, times
from litlamp.scene.heads import GLASS, Aperture, Head, Kind
from litlamp.scene.light import Glow, GlowColour, Radiance, Source
from litlamp.scene.phantom import Phantom
from litlamp.scene.truth import HeadTruth
from litlamp.scene.view import View

Bytes8 = NDArray[np.uint8]
Spot = tuple[float, float]

WIDEST = 110.0
"""Px: a head wider than this in the picture shows the px of its asset."""
_STEP = math.sqrt(2)
_LEAST_BARE = 0.15
_ROOT = (np.arange(256, dtype=np.float32) / np.float32(255)) ** 2
# What a front that is upright sees of the sky in `Sun.shade`; in an asset that share is 1.
_FRONT = 0.65


class About(msgspec.Struct, frozen=True):
    """What an asset's file says of it in JSON; metres and px as in `Traced`."""

    kind: Kind
    outline: list[Spot]
    apertures: list[tuple[float, float, str]]
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
    dwarf: bool
    scale: float
    centre: Spot
    lenses: list[Spot]
    hull: list[Spot]
    yaw: float
    pitch: float
    sun: tuple[float, float, float]
    gains: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Traced:
    """One traced head.

    Attributes
    ----------
    head : its measures; `dwarf` says that it stands on the ground.
    scale : px per metre of the largest layers; `centre` px of the head's centre.
    lenses : px of each lens, in the order of the head's apertures; `bare` what share of it no hood hides.
    hull : (n, 2) px, corners of outline and hoods.
    yaw, pitch : radians, as `View.yaw`; a negative pitch sees it from below.
    sun : unit vector to the sun, x right, y up, z along the head's own axis.
    gains : what full bytes of the sky's and the sun's layer stand for, as radiance; 1 is white facing it.
    sizes : layers uint8 (h, w, 7 + lenses), ever smaller: sky R G B, sun R G B, coverage, each lens's light;
        bytes are square roots of light, but of coverage itself. Colours reach beyond what is covered.
    """

    head: Head
    dwarf: bool
    scale: float
    centre: Spot
    lenses: tuple[Spot, ...]
    bare: tuple[float, ...]
    hull: Points
    yaw: float
    pitch: float
    sun: tuple[float, float, float]
    gains: tuple[float, float]
    sizes: tuple[Bytes8, ...]

    def shows(self, colour: Colour) -> bool:
        """Whether a lamp of that colour can burn in it and be seen from here."""
        return colour == "dark" or any(
            a.glass in (colour, "clear") and bare > _LEAST_BARE
            for a, bare in zip(self.head.apertures, self.bare, strict=True)
        )


def save_traced(
    path: Path, about: About, sky: Radiance, sun: Radiance, cover: Radiance, lamps: list[Radiance]
) -> None:
    """Write an asset: `sky` and `sun` float32 (h, w, 3) over `about.gains`; the rest (h, w), 0 to 1."""
    parts = {"about": np.frombuffer(msgspec.json.encode(about), np.uint8)}
    for name, layer in (("sky", sky), ("sun", sun)):
        good = cv2.imencode(".webp", _bytes(layer)[..., ::-1], [cv2.IMWRITE_WEBP_QUALITY, 93])[1]
        parts[name] = np.asarray(good, np.uint8)
    parts["cover"] = np.asarray(cv2.imencode(".png", _whole(cover))[1], np.uint8)
    for i, lamp in enumerate(lamps):
        parts[f"lamp{i}"] = np.asarray(cv2.imencode(".png", _bytes(lamp))[1], np.uint8)
    board = io.BytesIO()
    np.savez(board, **parts)  # type: ignore[arg-type]
    part = path.with_suffix(".part")
    part.write_bytes(board.getvalue())
    part.replace(path)


def read_traced(path: Path) -> Traced:
    """One asset. Raises ValueError, one sentence, for a file that is none."""
    try:
        with np.load(path) as stored:
            about = msgspec.json.decode(stored["about"].tobytes(), type=About)
            layers = [_picture(stored["sky"])[..., ::-1], _picture(stored["sun"])[..., ::-1]]
            layers += [_picture(stored[name])[..., None] for name in ("cover", *_lamp_names(about))]
        whole = np.concatenate(layers, -1)
    except (OSError, KeyError, ValueError, EOFError, BadZipFile, msgspec.MsgspecError, cv2.error) as error:
        raise ValueError(f"{path.name} is no traced head: {error}") from error
    head = Head(
        about.kind, np.array(about.outline, np.float64), tuple(Aperture(*a) for a in about.apertures),
        about.lens, about.hood, about.reach, about.flare, about.body, about.paint, about.inside, about.wear,
        about.sky_in_glass, about.texture, about.source,
    )  # fmt: skip
    round_ = math.pi / 4 * (about.lens * about.scale) ** 2
    bare = tuple(float((_ROOT[lamp] > 0.15).sum() / round_) for lamp in np.moveaxis(whole[..., 7:], -1, 0))
    return Traced(
        head, about.dwarf, about.scale, about.centre, tuple(about.lenses), bare,
        np.array(about.hull, np.float64), about.yaw, about.pitch, about.sun, about.gains, _smaller(whole),
    )  # fmt: skip


@cache
def load_traced(folder: Path) -> tuple[Traced, ...]:
    """Every asset of a folder, by name. Raises ValueError, one sentence, where there is none."""
    found = tuple(read_traced(path) for path in sorted(folder.glob("*.npz")))
    if not found:
        raise ValueError(f"no traced heads (*.npz) in {folder}")
    return found


def cast_heads(
    rng: np.random.Generator, traced: tuple[Traced, ...], colours: tuple[Colour, ...], dwarf: bool
) -> tuple[Traced | None, ...]:
    """An asset for each head of a signal, mostly one for all; None where none can show the colour."""
    fits = [t for t in traced if t.dwarf == dwarf and all(t.shows(c) for c in colours)]
    if len(colours) > 1 and not dwarf:  # heads one above the other are seldom drawn out long
        short = [t for t in fits if t.head.height < 1.25]
        fits = short if short and rng.random() < 0.85 else fits
    if not fits:
        return (None,) * len(colours)
    first = fits[int(rng.integers(len(fits)))]
    out: list[Traced | None] = [first]
    for _ in colours[1:]:
        near = [t for t in fits if t.head.kind == first.head.kind and abs(t.yaw - first.yaw) < 0.25]
        out.append(first if rng.random() < 0.85 else near[int(rng.integers(len(near)))])
    return tuple(out)


def paint_traced(
    canvas: Canvas,
    view: View,
    asset: Traced,
    at: Spot,
    lamp: Lamp,
    lit: bool,
    luminance: float,
    sky: Colour3,
    rng: np.random.Generator,
    snow: float = 0.0,
    sent: Phantom | None = None,
) -> HeadTruth:
    """Lay a traced head with its centre at `at` metres; arguments and truth are those of `paint_head`."""
    head, scale = asset.head, view.size_at(at[1]) / asset.scale
    burns = next((i for i, a in enumerate(head.apertures) if a.glass in (lamp.colour, "clear")), 0)
    if lamp.colour == "dark":
        burns = len(head.apertures) - 1
    flip = -1.0 if _mirrored(canvas, view, asset) else 1.0
    c, s = scale * math.cos(view.roll), scale * math.sin(view.roll)
    turn = np.array([[c * flip, -s], [s * flip, c]])
    shift = np.array(view.point(*at)) - turn @ np.array(asset.centre)
    # Everything by chance is drawn here, so that lit and unlit heads use the same.
    tone = float(np.exp(rng.normal(0, 0.3)))
    tint = tuple(float(t) for t in np.exp(rng.normal(0, 0.04, 3)))
    mirror = float(rng.uniform(0, 0.12)) if rng.random() < 0.3 else 0.0
    phantom = float(rng.uniform(1, 6)) if canvas.sun.z > 0.4 and rng.random() < 0.15 else 0.0
    spill, hot, ox, oy = (float(v) for v in (*rng.uniform((0.5, 0.0), (3.0, 0.6)), *rng.normal(0, 0.12, 2)))
    lit = lit and lamp.colour != "dark"
    centre = turn @ np.array(asset.lenses[burns]) + shift
    level = int(np.clip(math.floor(-2 * math.log2(max(scale, 1e-6)) + 0.25), 0, len(asset.sizes) - 1))
    laid = _laid(asset, level, turn, shift, canvas.size)
    if laid is not None:
        layers = asset.sizes[level]
        glass = _ROOT[layers[..., 7:]]
        day = _daylight(canvas, asset, layers, (tone * tint[0], tone * tint[1], tone * tint[2]))
        if mirror > 0 or phantom > 0:
            for i, aperture in enumerate(head.apertures):
                gain = times(GLASS[aperture.glass], canvas.sun.shade(0, 0, 1), phantom)
                add = (gain[0] + mirror * sky[0], gain[1] + mirror * sky[1], gain[2] + mirror * sky[2])
                day += np.minimum(glass[..., i, None] * 1.5, 1) * np.asarray(add, np.float32)
        if sent is not None:
            rows = np.linspace(-1, 1, glass.shape[0], dtype=np.float32)[:, None, None]
            fade = 1 - np.float32(sent.slope) * np.clip(
                0.5 - np.float32(0.5 * math.sin(sent.lean)) * rows, 0, 1
            )
            for i, aperture in enumerate(head.apertures):
                if sent.falls_on(i, len(head.apertures)):
                    share = np.minimum(glass[..., i, None] * 1.5, 1) * fade
                    day += share * np.asarray(sent.colour(aperture.glass), np.float32)
        cover = layers[..., 6:7] * np.float32(1 / 255)
        way, size, origin = laid
        part = _warp(np.concatenate([day, cover], -1), way, size)
        mask = np.ascontiguousarray(part[..., 3])
        canvas.stamp(mask, origin, part[..., :3])
        if snow > 0.1:
            _snow(canvas, mask, origin, snow, 0.07 * snow * view.size_at(at[1]))
        if lit:
            light = _warp(glass[..., burns], way, size)
            span = head.lens * view.size_at(at[1]) / 2
            y, x = np.ogrid[0 : size[1], 0 : size[0]]
            u = (x + np.float32(0.5 + origin[0] - centre[0])) / np.float32(span)
            v = (y + np.float32(0.5 + origin[1] - centre[1])) / np.float32(span)
            near = (u - np.float32(ox)) ** 2 + (v - np.float32(oy)) ** 2
            worn = 1 - np.float32(hot) + np.float32(hot) * np.exp(-2 * near)
            beside = u * u + v * v > np.float32((1.1 + 0.75 / span) ** 2)  # the hood's glow, not the lens
            light *= np.where(beside, np.float32(spill), worn)
            canvas.glows.append(
                Glow(
                    float(centre[0]), float(centre[1]), light.astype(np.float32), origin,
                    cast(GlowColour, lamp.colour), head.source, luminance * canvas.clear,
                )
            )  # fmt: skip
    corners = asset.hull @ turn.T + shift
    (x0, y0), (x1, y1) = corners.min(0), corners.max(0)
    return HeadTruth(
        Box(float(x0), float(y0), float(x1), float(y1)), lamp, (float(centre[0]), float(centre[1])),
        head.lens * view.size_at(at[1]), lit, head.kind,
    )  # fmt: skip


def _mirrored(canvas: Canvas, view: View, asset: Traced) -> bool:
    """Left and right exchanged where the view, or else the sun, is from the other side."""
    if abs(asset.yaw) > 0.2 and abs(view.yaw) > 0.1:
        return asset.yaw * view.yaw < 0
    return asset.sun[0] * canvas.sun.x < 0


def _daylight(canvas: Canvas, asset: Traced, layers: Bytes8, paint: Colour3) -> Radiance:
    """Radiance (h, w, 3) under the canvas's sky and sun; one that stands behind gives no more than edges."""
    sun = canvas.sun
    front = float(np.clip((sun.z + 0.35) / 0.6, 0, 1))
    of_sky = np.asarray(times(sun.sky_tint, paint, _FRONT * sun.sky * asset.gains[0]), np.float32)
    of_sun = np.asarray(times(paint, (1, 1, 1), sun.direct * front * asset.gains[1]), np.float32)
    return np.asarray(_ROOT[layers[..., :3]] * of_sky + _ROOT[layers[..., 3:6]] * of_sun, np.float32)


def _laid(
    asset: Traced, level: int, turn: Points, shift: Points, size: tuple[int, int]
) -> tuple[Points, tuple[int, int], tuple[int, int]] | None:
    """The way of a level's px to those of a part of the picture, that part's size and its origin."""
    (height, width), (h, w) = asset.sizes[0].shape[:2], asset.sizes[level].shape[:2]
    corners = np.array([[0, 0], [width, 0], [0, height], [width, height]]) @ turn.T + shift
    (x0, y0), (x1, y1) = corners.min(0) - 1, corners.max(0) + 2
    left, top = math.floor(max(x0, 0)), math.floor(max(y0, 0))
    right, low = math.ceil(min(x1, size[0])), math.ceil(min(y1, size[1]))
    if left >= right or top >= low:
        return None
    way = turn @ np.diag([width / w, height / h])
    moved = way @ np.array([0.5, 0.5]) + shift - 0.5 - [left, top]
    return np.column_stack([way, moved]), (right - left, low - top), (left, top)


def _warp(source: Radiance, way: Points, size: tuple[int, int]) -> Radiance:
    return np.asarray(
        cv2.warpAffine(source, way, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT), np.float32
    )


def _snow(canvas: Canvas, mask: Radiance, origin: tuple[int, int], snow: float, deep: float) -> None:
    """White on whatever the head's outline turns to the sky."""
    rows = max(round(deep), 1)
    below = np.zeros_like(mask)
    below[rows:] = mask[:-rows]
    cap = np.clip(mask - below, 0, 1) * np.float32(min(deep, 1.0) * min(2 * snow, 0.95))
    canvas.stamp(np.asarray(cap, np.float32), origin, canvas.sun.shade(0, 0.7, 0.7))


def _lamp_names(about: About) -> tuple[str, ...]:
    return tuple(f"lamp{i}" for i in range(len(about.apertures)))


def _bytes(light: Radiance) -> Bytes8:
    return np.asarray(np.round(np.sqrt(np.clip(light, 0, 1)) * 255), np.uint8)


def _whole(share: Radiance) -> Bytes8:
    return np.asarray(np.round(np.clip(share, 0, 1) * 255), np.uint8)


def _picture(stored: Bytes8) -> Bytes8:
    picture = cv2.imdecode(stored, cv2.IMREAD_UNCHANGED)
    if picture is None:
        raise ValueError("a layer cannot be decoded")
    return np.asarray(picture, np.uint8)


def _smaller(whole: Bytes8) -> tuple[Bytes8, ...]:
    """The layers and copies of them, each 0.7 of the one before, averaged as light."""
    light = _ROOT[whole]
    light[..., 6] = whole[..., 6] * np.float32(1 / 255)
    height, width = whole.shape[:2]
    out, lights, scale = [whole], [light], 1.0
    while min(width, height) * scale / _STEP >= 3:
        scale /= _STEP
        to = max(round(width * scale), 1), max(round(height * scale), 1)
        source = lights[max(len(lights) - 2, 0)]
        # Resizing knows four channels at most.
        less = [cv2.resize(source[..., i : i + 4], to, interpolation=cv2.INTER_AREA).reshape(to[1], to[0], -1)
                for i in range(0, source.shape[-1], 4)]  # fmt: skip
        lights.append(np.concatenate(less, -1))
        small = _bytes(lights[-1])
        small[..., 6] = _whole(lights[-1][..., 6])
        out.append(small)
    return tuple(out)
