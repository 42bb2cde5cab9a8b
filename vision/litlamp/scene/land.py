"""The land that a line runs through, seen from the cab: sky and hills far off, the ground with its track."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.scene.backdrop import Season, Sky
from litlamp.scene.canvas import Colour3, Sun, noise, times
from litlamp.scene.cutout import lay_part
from litlamp.scene.light import Radiance
from litlamp.scene.track import Cab, View
from litlamp.scene.woods import Wood, window

Metres = NDArray[np.float64]

_LAND: dict[Season, tuple[Colour3, Colour3]] = {
    "summer": ((0.085, 0.12, 0.04), (0.15, 0.14, 0.07)),
    "autumn": ((0.16, 0.12, 0.06), (0.11, 0.1, 0.05)),
    "winter": ((0.15, 0.125, 0.09), (0.1, 0.1, 0.06)),
    "snow": ((0.8, 0.83, 0.88), (0.72, 0.75, 0.8)),
}
_STONE: tuple[Colour3, ...] = ((0.2, 0.19, 0.18), (0.15, 0.12, 0.1), (0.26, 0.24, 0.22))
LEAVES: dict[Season, tuple[Colour3, Colour3]] = {
    "summer": ((0.05, 0.1, 0.025), (0.08, 0.13, 0.035)),
    "autumn": ((0.2, 0.1, 0.03), (0.12, 0.1, 0.04)),
    "winter": ((0.11, 0.09, 0.07), (0.04, 0.055, 0.03)),
    "snow": ((0.15, 0.14, 0.14), (0.05, 0.06, 0.05)),
}

_LONG = 64.0  # m after which the ground repeats
_STRIP, _FIELD = 16.0, 64.0  # m across of the strip with the tracks, and of the land before it repeats
_ACROSS, _ALONG = 0.016, 0.064  # m per px of the strip's texture
_FIRST = 12.0 / 768  # ahead per focal length, m/px, at which that texture is just fine enough
_LEVELS = 6
_END = 700.0  # m


@dataclass(frozen=True, slots=True)
class Air:
    """What distance does: of light 1/e is left after `reach` metres; the air's `colour` takes its place."""

    reach: float
    colour: Colour3

    def clear(self, metres: float) -> float:
        """Share of light that comes through."""
        return math.exp(-metres / self.reach)


@dataclass(frozen=True, slots=True)
class Lit:
    """How bright things are: some light everywhere, and by night the train's own head lamp."""

    everywhere: float = 1.0
    lamp: float = 0.0

    def at(self, metres: float) -> float:
        """A factor for what is that far ahead."""
        return self.everywhere + self.lamp / (1 + (metres / 28.0) ** 2)


class _Carpet:
    """A texture on the ground, `wide` metres across, that repeats along the line; ever coarser copies."""

    def __init__(self, texture: Radiance, wide: float, repeats: bool) -> None:
        self._wide, self._repeats = wide, repeats
        self._levels: list[Radiance] = []
        for _ in range(_LEVELS + 1):
            h, w = texture.shape[:2]
            if h < 4:
                texture = np.repeat(texture.mean(axis=0, keepdims=True), 4, axis=0)
            # A row more at each end, so that it goes on along the line whatever it does across.
            self._levels.append(np.concatenate([texture[-1:], texture, texture[:1]]))
            to = max(w // 2, 2), max(h // 4, 1)
            texture = np.asarray(cv2.resize(texture, to, interpolation=cv2.INTER_AREA), np.float32)

    def look(self, level: int, mix: Radiance, u: Radiance, along: Metres) -> Radiance:
        """Its colour at metres across `u` (h, w) and along (h,), `mix` (h, 1, 1) of the way to coarser."""
        fine = self._look(level, u, along)
        fine += mix * (self._look(level + 1, u, along) - fine)
        return fine

    def _look(self, level: int, u: Radiance, along: Metres) -> Radiance:
        texture = self._levels[level]
        h, w = texture.shape[0] - 2, texture.shape[1]
        rows = np.mod(along, _LONG) / _LONG * h + 0.5  # the row more counts
        across = u * np.float32(w / self._wide) + np.float32(w / 2 - 0.5)
        y = np.ascontiguousarray(np.broadcast_to(rows.astype(np.float32)[:, None], u.shape))
        mode = cv2.BORDER_WRAP if self._repeats else cv2.BORDER_CONSTANT
        return np.asarray(cv2.remap(texture, across, y, cv2.INTER_LINEAR, borderMode=mode), np.float32)


class Ground:
    """The ground with the track, as seen at any moment."""

    def __init__(
        self,
        rng: np.random.Generator,
        cab: Cab,
        sun: Sun,
        season: Season,
        air: Air,
        lit: Lit,
        tracks: tuple[float, ...],
    ) -> None:
        """Draw the textures; `tracks` are the middles of the tracks, metres right of our own."""
        self._cab, self._air, self._lit = cab, air, lit
        shine = sun.shade(0, 0.9, 0.3)
        self._track = _Carpet(_tracks(rng, shine, season, tracks), _STRIP, False)
        self._land = _Carpet(_grass(rng, shine, season), _FIELD, True)

    def paint(self, picture: Radiance, view: View) -> None:
        """Paint all below the horizon, in place."""
        cab = self._cab
        width, height = cab.size
        top = max(math.ceil(view.horizon), 0)
        if top >= height:
            return
        drop = np.maximum(np.arange(top, height) + 0.5 - view.horizon, 0.4)
        ahead = cab.focal * cab.eye / drop
        middle, along = _line(view, ahead)
        octave = np.clip(np.log2(ahead / cab.focal / _FIRST), 0, _LEVELS - 0.001)
        u = (np.arange(width) + 0.5 - width / 2)[None, :] * (ahead / cab.focal)[:, None] - middle[:, None]
        u = u.astype(np.float32)
        out = picture[top:height]
        for level in range(_LEVELS):
            here = np.flatnonzero(np.floor(octave) == level)
            if here.size:
                a, b = int(here[0]), int(here[-1]) + 1
                mix = (octave[a:b] - level).astype(np.float32)[:, None, None]
                out[a:b] = self._land.look(level, mix, u[a:b], along[a:b])
                near = np.flatnonzero((np.abs(u[a:b]) < _STRIP / 2).any(axis=0))
                if near.size:
                    c, d = int(near[0]), int(near[-1]) + 1
                    lay_part(out[a:b, c:d], self._track.look(level, mix, u[a:b, c:d], along[a:b]))
        # No farther than the line of trees that ends the view, or a pale strip would show under it.
        clear = np.exp(-np.minimum(ahead, _END) / self._air.reach).astype(np.float32)[:, None, None]
        glow = np.array([self._lit.at(float(d)) for d in ahead], np.float32)[:, None, None]
        out *= clear * glow
        out += (1 - clear) * np.asarray(self._air.colour, np.float32)


def _line(view: View, ahead: Metres) -> tuple[Metres, Metres]:
    """Where the track's middle is (metres right of the picture's middle) and `s`, at distances ahead."""
    s = view.s - 3 + np.concatenate([np.arange(0, 120, 2.0), np.geomspace(120, 4000, 90)])
    right, far = view.plan(s, np.zeros_like(s))
    far = np.maximum.accumulate(far) + np.arange(len(far)) * 1e-6
    return np.interp(ahead, far, right), np.interp(ahead, far, s)


def _grass(rng: np.random.Generator, shine: Colour3, season: Season) -> Radiance:
    size = 512  # px to both sides; along the line it is squeezed
    dark, pale = (np.asarray(times(c, shine), np.float32) for c in _LAND[season])
    broad = _wrapped(noise(rng, size, size, 130.0))
    share = np.clip(0.5 + 0.4 * broad, 0, 1)[..., None]
    rough = 0.06 if season == "snow" else 0.25
    grain = 1 + np.float32(rough) * rng.standard_normal((size, size)).astype(np.float32)
    return np.asarray((dark + share * (pale - dark)) * np.clip(grain, 0.3, 2)[..., None], np.float32)


def _wrapped(field: Radiance) -> Radiance:
    """A field that goes on from edge to edge: each half fades into the other's mirror."""
    fade = np.abs(np.linspace(-1, 1, field.shape[0], dtype=np.float32))
    for axis in (0, 1):
        share = fade[:, None] if axis == 0 else fade[None, :]
        field = field * (1 - share) + np.roll(field, field.shape[axis] // 2, axis) * share
    return np.asarray(field * np.float32(1.4), np.float32)


def _tracks(rng: np.random.Generator, shine: Colour3, season: Season, tracks: tuple[float, ...]) -> Radiance:
    """Ballast, sleepers and rails: colour times cover and cover, float32 (h, w, 4)."""
    fine = 4  # rows per row: sleepers are narrower than a row
    w, h = round(_STRIP / _ACROSS), round(_LONG / _ALONG)
    u = (np.arange(w, dtype=np.float32) + 0.5) * np.float32(_ACROSS) - np.float32(_STRIP / 2)
    v = (np.arange(h * fine, dtype=np.float32) + 0.5) * np.float32(_ALONG / fine)
    pitch = _LONG / round(_LONG / 0.62)
    sleeper = (np.mod(v, pitch) < 0.25).astype(np.float32).reshape(h, fine).mean(axis=1)[:, None]
    grain = rng.standard_normal((h, w)).astype(np.float32)
    broad = _wrapped(noise(rng, 512, 512, 100.0))
    broad = np.asarray(cv2.resize(broad, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)
    stone = np.asarray(times(_STONE[int(rng.integers(len(_STONE)))], shine), np.float32)
    if season == "snow":
        stone = 0.4 * stone + 0.5 * np.asarray(shine, np.float32)
    wood = np.asarray(times((0.1, 0.085, 0.07), shine, float(rng.uniform(0.6, 1.8))), np.float32)
    rust = np.asarray(times((0.075, 0.045, 0.03), shine), np.float32)
    steel = np.asarray(times((0.6, 0.6, 0.62), shine, float(rng.uniform(0.5, 1.3))), np.float32)
    bed, ties, foot, head = (np.zeros((h, w), np.float32) for _ in range(4))
    for middle in tracks:
        off = np.abs(u - np.float32(middle))[None, :]
        bed = np.maximum(bed, np.clip((2.0 + 0.25 * broad - off) * 2.5, 0, 1))
        ties = np.maximum(ties, np.where(off < 1.3, sleeper * 0.85, 0))
        gap = np.abs(off - np.float32(0.7525))
        foot = np.maximum(foot, np.clip((0.07 - gap) / _ACROSS + 0.5, 0, 1))
        head = np.maximum(head, np.clip((0.036 - gap) / _ACROSS + 0.5, 0, 1))
    shade = np.clip(1 + 0.3 * grain + 0.15 * broad, 0.2, 2.5)[..., None]
    colour = stone * shade
    for share, paint in ((ties[..., None], wood * np.clip(1 + 0.15 * grain, 0.5, 2)[..., None]),
                         (foot[..., None], rust), (head[..., None], steel)):  # fmt: skip
        colour = colour + share * (paint - colour)
    return np.dstack([colour * bed[..., None], bed]).astype(np.float32)


class Far:
    """What is so far off that only the train's turning moves it: sky, clouds, hills, a line of trees."""

    def __init__(
        self, rng: np.random.Generator, cab: Cab, sun: Sun, sky: Sky, season: Season, air: Air, lit: Lit
    ) -> None:
        """Paint it once, as wide as the line ever turns."""
        self._cab = cab
        turn = cab.focal
        headings = cab.bends.heading * turn
        slack = 0.1 * turn + 8
        self._left = float(headings.min()) - slack
        width = math.ceil(cab.size[0] + float(np.ptp(headings)) + 2 * slack)
        height = math.ceil(cab.horizon + 0.08 * cab.size[1] + 4)
        self._base = height - 2  # the horizon's row
        self._picture = _far(rng, (width, height), self._base, cab, sun, sky, season, air, lit)

    def paint(self, picture: Radiance, view: View) -> None:
        """Paint all above the horizon, in place."""
        width, height = self._cab.size
        rows = min(max(math.ceil(view.horizon) + 1, 0), height)
        x = view.heading * self._cab.focal - self._left
        y = self._base - view.horizon
        move = np.array([[1, 0, -x], [0, 1, -y]])
        part = cv2.warpAffine(self._picture, move, (width, max(rows, 1)), borderMode=cv2.BORDER_REPLICATE)
        picture[:rows] = part[:rows]


def _far(
    rng: np.random.Generator,
    size: tuple[int, int],
    base: float,
    cab: Cab,
    sun: Sun,
    sky: Sky,
    season: Season,
    air: Air,
    lit: Lit,
) -> Radiance:
    width, height = size
    rise = (base - np.arange(height, dtype=np.float32))[:, None] - np.float32(0.5)
    t = np.sqrt(np.clip(rise / (cab.focal * np.float32(0.6)), 0, 1))[..., None]
    low, high, cloud = (np.asarray(c, np.float32) for c in (sky.low, sky.high, sky.cloud))
    picture = np.broadcast_to(low + t * (high - low), (height, width, 3)).astype(np.float32)
    if sky.share > 0.02:
        field = noise(rng, height, width, cab.focal * 0.5, 2.0)
        cover = np.clip((field - np.float32(1.2 - 2.4 * sky.share)) / 0.8, 0, 1) * np.float32(0.8)
        picture += cover[..., None] * (cloud - picture)
    day = times(sun.shade(0, 0.7, 0.5), (1, 1, 1), lit.everywhere)
    veil = np.asarray(air.colour, np.float32)
    # A thick air hides the sky's lower part too.
    thick = np.exp(-rise / (cab.focal * np.float32(0.15)))[..., None] * np.float32(1 - air.clear(900))
    picture += thick * (veil - picture)
    for tall, tone, metres in ((0.07, (0.1, 0.13, 0.14), 4500.0), (0.035, LEAVES[season][0], 2000.0)):
        if rng.random() < 0.75:
            edge = cab.focal * tall * (0.5 + 0.45 * noise(rng, 4, width, cab.focal)[1:2])
            edge = edge + cab.focal * tall * 0.08 * noise(rng, 4, width, cab.focal * 0.06)[1:2]
            mask = np.clip(edge - rise + 0.5, 0, 1)[..., None]
            clear = np.float32(air.clear(metres))
            picture += mask * (
                np.asarray(times(tone, day), np.float32) * clear + veil * (1 - clear) - picture
            )
    tall = max(cab.focal * 0.022, 5.0)
    wood: Wood = "conifer" if season == "snow" else "leafy" if season == "summer" else "bare"
    piece = tree_line(rng, wood, tall, width, season, day)
    h = piece.shape[0]
    top = round(base - h + 0.15 * tall)
    part = picture[top : top + h]
    piece = piece[: part.shape[0]]
    piece[..., :3] += np.float32(1 - air.clear(_END)) * (piece[..., 3:] * veil - piece[..., :3])
    lay_part(part, piece)
    return picture


def tree_line(
    rng: np.random.Generator, wood: Wood, tall: float, width: int, season: Season, lit: Colour3
) -> Radiance:
    """Trees in a row `tall` px high: colour times cover and cover, float32 (h, width, 4)."""
    found = window(rng, wood, tall, width, (0, math.ceil(tall)))
    assert found is not None
    strip = found[0].astype(np.float32)
    cover, light, tone = strip[..., 0] / 255, strip[..., 1] / 130, strip[..., 2:] / 255
    a, b = (np.asarray(times(c, lit), np.float32) for c in LEAVES[season])
    colour = light[..., None] * (a + tone * (b * np.float32(rng.uniform(0.6, 1.2)) - a))
    return np.dstack([colour * cover[..., None], cover]).astype(np.float32)
