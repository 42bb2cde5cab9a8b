"""An aspect and drawn scenery to a linear picture with its exact truth; random pictures for training."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any, Literal, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import PLATES, Aspect, Colour, Lamp, Plate
from litlamp.box import Box, union_of
from litlamp.scene.backdrop import (
    Lie,
    Season,
    draw_sky,
    draw_sun,
    paint_backdrop,
    paint_open_sky,
    paint_photo,
    paint_room,
)
from litlamp.scene.camera import draw_camera, expose
from litlamp.scene.canvas import Canvas, Colour3, times
from litlamp.scene.clutter import KINDS, TOWN_KINDS, Before, paint_before, paint_distractor, paint_weather
from litlamp.scene.heads import Kind, paint_rim
from litlamp.scene.light import LIGHTS, Light, LitScene, Weather
from litlamp.scene.plates import number_text
from litlamp.scene.posts import Post, draw_post, paint_post
from litlamp.scene.stands import other_stand
from litlamp.scene.town import stamp_caption
from litlamp.scene.traced import Traced
from litlamp.scene.trials import Trial, draw_trial
from litlamp.scene.truth import HeadTruth, PlateTruth, SceneTruth, SignalTruth
from litlamp.scene.view import View

Cut = Literal["top", "bottom"]

KELVIN: dict[Light, tuple[float, float]] = {
    "day": (5000, 6000),
    "overcast": (6000, 7500),
    "low sun": (2900, 4500),
    "dusk": (5500, 11000),
    "night": (2000, 4500),
}
# Luminance of a lit lens over that of white paint under the same key light: median, and its spread (log).
# Estimates, no source: lamps are seen off the axis of their beam more often than on it, and a picture taken
# because of a lamp is exposed with regard to it.
BRIGHT: dict[Light, tuple[float, float]] = {
    "day": (0.9, 1.3),
    "overcast": (1.8, 1.2),
    "low sun": (1.2, 1.2),
    "dusk": (5.0, 1.1),
    "night": (18.0, 1.3),
}


EASY = Trial()


@dataclass(frozen=True, slots=True)
class Extra:
    """A thing to paint that is no signal: its kind, its place in shares of the picture, its width in px."""

    kind: str
    at: tuple[float, float] | None = None
    width: float | None = None


@dataclass(frozen=True, slots=True)
class Scenery:
    """Every factor of a scene that is drawn before the details.

    Attributes
    ----------
    size : (width, height) px.
    lens : wanted diameter of a lens of the first signal, px; `fit` makes it smaller where the signal would
        not fit the picture.
    place : where the middle of the first signal's heads goes, shares of width and height.
    distance, eye : of the camera, metres; `roll`, `yaw` radians; `converge` see View.
    blur : of the backdrop, px; `haze` share of light lost on the way to the signal.
    luminance : of a lit lens (see BRIGHT).
    snow : 0 to 1, on heads and hoods; `snow_on_plate` None leaves it to chance.
    wet : how strongly wet ground mirrors lamps in the rain, 0 for not at all.
    cut : which end of the first signal is cut by the picture's edge.
    extras : things that are no signal, painted behind it; `before` what stands in front.
    photo : path of a background photograph, or None for a painted backdrop; `room` paints an indoor one.
    back : the first signal is seen from behind.
    kind : of all heads, or None for any.
    lit : which heads of the first signal burn at this moment (flashing lamps), or None for chance.
    """

    size: tuple[int, int]
    light: Light
    weather: Weather
    season: Season
    lens: float
    fit: bool
    place: tuple[float, float]
    distance: float
    eye: float
    roll: float
    yaw: float
    converge: float
    blur: float
    haze: float
    luminance: float
    snow: float
    snow_on_plate: bool | None
    wet: float
    cut: Cut | None
    extras: tuple[Extra, ...]
    before: Before
    photo: str | None
    room: bool
    back: bool
    kind: Kind | None
    lit: tuple[bool, ...] | None

    def factors(self) -> tuple[tuple[str, str], ...]:
        """Name and value of each factor, in words."""
        out = []
        for f in fields(self):
            value = getattr(self, f.name)
            if f.name == "extras":
                value = ", ".join(e.kind for e in value) or "none"
            elif isinstance(value, float):
                value = f"{value:.3g}"
            elif f.name == "place":
                value = f"{value[0]:.2f} {value[1]:.2f}"
            out.append((f.name, "photo" if f.name == "photo" and value else str(value)))
        return tuple(out)


def draw_scenery(
    rng: np.random.Generator, size: tuple[int, int] = (256, 256), photos: tuple[str, ...] = (), **fixed: Any
) -> Scenery:
    """Draw every factor; keyword arguments named like Scenery's fields fix theirs."""
    light = cast(Light, fixed.get("light") or str(rng.choice(LIGHTS, p=[0.34, 0.24, 0.14, 0.13, 0.15])))
    weather = cast(
        Weather,
        fixed.get("weather")
        or str(rng.choice(["clear", "haze", "rain", "snow", "fog"], p=[0.7, 0.1, 0.07, 0.08, 0.05])),
    )
    winter = weather == "snow" or rng.random() < 0.08
    season = cast(Season, "snow" if winter else str(rng.choice(["summer", "autumn", "winter"])))
    lens = _lens_px(rng)
    haze = {
        "clear": 0.0,
        "haze": rng.uniform(0.05, 0.35),
        "rain": rng.uniform(0, 0.25),
        "snow": rng.uniform(0, 0.4),
        "fog": rng.uniform(0.2, 0.65),
    }[weather]
    median, spread = BRIGHT[light]
    n = int(rng.choice([0, 1, 2, 3], p=[0.5, 0.28, 0.14, 0.08]))
    place = (float(rng.uniform(0.15, 0.85)), float(rng.uniform(0.15, 0.85)))
    extras = [Extra(str(k)) for k in rng.choice(KINDS, n)]
    if rng.random() < 0.06:  # a light right behind heads or mast
        at = place[0] + float(rng.normal(0, 0.015)), place[1] + float(rng.uniform(-0.2, 0.4))
        extras.append(Extra("points of light", at, float(rng.uniform(1, 6))))
    drawn: dict[str, Any] = {
        "size": size,
        "light": light,
        "weather": weather,
        "season": season,
        "lens": lens,
        "fit": bool(rng.random() < 0.85),
        "place": place,
        "distance": float(np.exp(rng.normal(math.log(45), 0.8))),
        "eye": float(rng.choice([1.6, 1.6, 2.6, rng.uniform(0.8, 5)])),
        "roll": float(np.clip(rng.normal(0, 0.035), -0.11, 0.11)),
        "yaw": float(np.clip(rng.normal(0, 0.45 if rng.random() < 0.2 else 0.22), -0.8, 0.8)),
        "converge": float(abs(rng.normal(0, 0.006))),
        "blur": float(rng.choice([0.0, rng.uniform(0, 1.5), rng.uniform(1, 5)], p=[0.4, 0.35, 0.25])),
        "haze": float(haze),
        "luminance": float(median * np.exp(rng.normal(0, spread))),
        "snow": float(rng.uniform(0.2, 1)) if season == "snow" and rng.random() < 0.6 else 0.0,
        "snow_on_plate": None,
        "wet": float(rng.uniform(0.005, 0.08)) if rng.random() < 0.6 else 0.0,
        "cut": str(rng.choice(["top", "bottom"])) if rng.random() < 0.1 else None,
        "extras": tuple(extras),
        "before": Before(
            int(rng.integers(1, 4)) if rng.random() < 0.12 else 0,
            float(rng.uniform(0.3, 1)) if rng.random() < 0.06 else 0.0,
            bool(rng.random() < 0.03),
            bool(rng.random() < 0.05),
        ),
        "photo": str(rng.choice(photos)) if photos and rng.random() < 0.4 else None,
        "room": bool(light in ("day", "overcast") and weather == "clear" and rng.random() < 0.1),
        "back": bool(rng.random() < 0.04),
        "kind": None,
        "lit": None,
    }
    drawn.update({k: v for k, v in fixed.items() if not (v is None and k in ("light", "weather"))})
    return Scenery(**drawn)


def _lens_px(rng: np.random.Generator) -> float:
    """2.5 to 80 px, most of it between 3 and 16."""
    if rng.random() < 0.72:
        return float(np.exp(rng.uniform(math.log(2.8), math.log(16))))
    return float(np.exp(rng.uniform(math.log(2.5), math.log(80))))


# What a head is most easily taken for.
_STREET = ("road light", "road light", "road light", "walker light", "counter")
_SHOWN: tuple[Colour, ...] = ("red", "yellow", "green", "lunar", "dark")


def random_aspect(
    rng: np.random.Generator, book: Callable[[np.random.Generator], Aspect] | None = None
) -> Aspect:
    """A display, standard or not: what signals show, with many red placeholders, and what they never do.

    `book` may give aspects of a rulebook, used for half of the calls.
    """
    if book is not None and rng.random() < 0.5:
        return book(rng)
    dwarf = rng.random() < 0.25
    n = int(rng.choice([1, 2, 3], p=[0.55, 0.36, 0.09] if dwarf else [0.33, 0.38, 0.29]))
    wild = rng.random() < 0.3
    lamps: list[Lamp] = []
    for i in range(n):
        p = [0.3, 0.28, 0.28, 0.08, 0.06] if wild or i == 0 else [0.56, 0.18, 0.18, 0.04, 0.04]
        colour = _SHOWN[int(rng.choice(5, p=p))]
        lamps.append(
            Lamp(colour, bool(colour != "dark" and rng.random() < (0.18 if colour != "red" else 0.08)))
        )
    plates: set[Plate] = set()
    chance = {"A": 0.28 if n == 1 else 0.08, "R": 0.2, "L": 0.1, "DV": 0.12}
    if rng.random() < 0.55:
        plates = {p for p in PLATES if rng.random() < chance[p]}
    number = number_text(rng) if rng.random() < (0.3 if not dwarf else 0.1) else None
    staggered = n > 1 and rng.random() < (0.05 if dwarf else 0.5)
    return Aspect(
        tuple(lamps),
        "dwarf" if dwarf else "mast",
        "staggered" if staggered else "vertical",
        frozenset(plates),
        number,
    )


def compose(
    aspects: tuple[Aspect, ...],
    scenery: Scenery,
    rng: np.random.Generator,
    traced: tuple[Traced, ...] = (),
    trial: Trial = EASY,
    stands: np.random.Generator | None = None,
) -> tuple[LitScene, SceneTruth]:
    """Build the signals, paint the scene, and say exactly where everything lies.

    Given `traced` heads, some of the signals have theirs; `trial` makes them harder to read; with `stands`
    they stand as few do.
    """
    width, height = scenery.size
    sun = trial.turned(draw_sun(rng, scenery.light))
    sky = draw_sky(rng, scenery.light, scenery.weather)
    canvas = Canvas(np.zeros((height, width, 3), np.float32), sun, air=_air(sky.low, scenery.light))
    posts = [
        draw_post(
            rng,
            a,
            snow_on_plate=scenery.snow_on_plate,
            back=scenery.back and i == 0,
            kind=scenery.kind,
            traced=traced,
        )
        for i, a in enumerate(aspects)
    ]
    if stands is not None:
        posts = [other_stand(stands, post) for post in posts]
    views = _place(posts, scenery, rng)
    lie = _lie(views, scenery, rng)
    level = 0.85 if scenery.light != "night" else 0.3
    if scenery.room:
        paint_room(canvas, rng, scenery.blur + float(rng.uniform(0, 3)))
    elif any(e.kind == "street" for e in scenery.extras):
        paint_open_sky(canvas, rng, lie, sky)
    elif scenery.photo is None or not paint_photo(canvas, rng, scenery.photo, level, scenery.blur):
        paint_backdrop(canvas, rng, lie, sky, scenery.light, scenery.season, scenery.blur)
    if scenery.haze > 0:
        canvas.radiance += np.float32(min(scenery.haze * 1.25, 0.93)) * (
            np.asarray(canvas.air, np.float32) - canvas.radiance
        )
        canvas.clear = 1 - scenery.haze
    distractors: list[tuple[str, Box]] = []
    for extra in scenery.extras:
        lum = scenery.luminance * float(np.exp(rng.normal(0, 0.6)))
        at = None if extra.at is None else (extra.at[0] * width, extra.at[1] * height)
        distractors += paint_distractor(canvas, rng, extra.kind, lie, scenery.light, lum, at, extra.width)
    mirror = sky.high if rng.random() < 0.5 else sky.low
    if trial is not EASY:
        mirror = times(mirror, (1, 1, 1), trial.gloom)
        if views:
            middle = _heads_box(posts[0], views[0])
            trial.darken(canvas, middle.centre, middle.height + 0.2 * height, sky.low)
        canvas.sun = trial.dimmed(sun)
    signals: list[SignalTruth] = []
    for n, (post, view) in enumerate(zip(posts, views, strict=True)):
        phase = rng.random(len(post.aspect.heads)) > 0.45
        if scenery.lit is not None and not signals:
            phase = np.array(scenery.lit)
        lit = tuple(
            h.colour != "dark" and (bool(on) or not h.flashing)
            for h, on in zip(post.aspect.heads, phase, strict=True)
        )
        shared = scenery.luminance * float(np.exp(rng.normal(0, 0.15)))
        lums = tuple(shared * _lamp_strength(rng) for _ in post.aspect.heads)
        sent = trial.of(n, len(post.heads))
        signals.append(paint_post(canvas, view, post, lit, lums, mirror, rng, scenery.snow, sent))
        if trial.rim > 0:
            tint = times(canvas.sun.sky_tint, (1, 1, 1), trial.rim)
            for head, at in post.heads:
                paint_rim(canvas, view, head, at, trial.rim_way, tint)
    canvas.sun = sun
    if scenery.weather == "rain" and scenery.wet > 0:
        distractors += _mirrored(canvas, lie, scenery.wet)
    canvas.watch_veil()
    paint_before(canvas, rng, scenery.before)
    paint_weather(canvas, rng, scenery.weather)
    signals = [_in_view(s, canvas) for s in signals]
    low, high = KELVIN[scenery.light]
    scene = LitScene(
        canvas.radiance, tuple(canvas.glows), scenery.light, float(rng.uniform(low, high)), scenery.weather
    )
    kept = tuple((k, b) for k, b in distractors if b.clamp(width, height).area > 0)
    return scene, SceneTruth(scenery.size, tuple(signals), kept, scenery.factors())


def _lamp_strength(rng: np.random.Generator) -> float:
    """One lamp against its neighbours: age, aim, and now and then the dim second filament."""
    return float(np.exp(rng.normal(0, 0.3)) * (rng.uniform(0.08, 0.4) if rng.random() < 0.06 else 1.0))


def _mirrored(canvas: Canvas, lie: Lie, share: float) -> list[tuple[str, Box]]:
    """Lamps in wet ground: each drawn out downwards, as far below the ground it stands on as it is above."""
    height = canvas.size[1]
    ground = lie.horizon + lie.eye * lie.scale
    out: list[tuple[str, Box]] = []
    for glow in list(canvas.glows):
        y = 2 * ground - glow.y
        if glow.y >= ground or y > height or glow.mask.size == 0:
            continue
        h, w = glow.mask.shape
        long = min(5 * h, 4 * height)
        drawn = cv2.resize(glow.mask[::-1], (w, long), interpolation=cv2.INTER_LINEAR)
        mask = np.asarray(drawn * np.hanning(long + 2)[1:-1, None], np.float32)
        x0, y0 = glow.origin[0], int(y - long / 2)
        canvas.glows.append(replace(glow, y=y, mask=mask, origin=(x0, y0), luminance=glow.luminance * share))
        out.append(("mirrored lamp", Box(x0, y0, x0 + w, y0 + long)))
    return out


def _air(low: Colour3, light: Light) -> Colour3:
    grey = sum(low) / 3
    if light == "night":
        return grey, grey, grey
    return tuple(0.5 * c + 0.5 * grey for c in low)  # type: ignore[return-value]


def _place(posts: list[Post], scenery: Scenery, rng: np.random.Generator) -> list[View]:
    width, height = scenery.size
    views: list[View] = []
    scale = 1.0
    for i, post in enumerate(posts):
        tall, wide = _extent(post)
        if i == 0:
            scale = scenery.lens / post.heads[0][0].lens
            if scenery.fit and scenery.cut is None:
                scale = min(scale, 0.92 * height / tall, 0.92 * width / wide)
            cx, cy = width * scenery.place[0], height * scenery.place[1]
            at = scale
        else:
            at = scale * float(np.exp(rng.normal(0, 0.15)))
            step = (wide / 2 + float(rng.uniform(0.8, 4))) * at * float(rng.choice([-1, 1]))
            cx, cy = views[0].foot[0] + step, height * scenery.place[1]
        view = View(
            at,
            (0.0, 0.0),
            scenery.roll,
            scenery.yaw,
            scenery.eye,
            max(scenery.distance, 6.0),
            scenery.converge,
        )
        box = _heads_box(post, view)
        dx, dy = cx - box.centre[0], cy - box.centre[1]
        if i == 0 and scenery.cut is not None:
            share = float(rng.uniform(0.4, 0.95))
            edge = post.heads[0] if scenery.cut == "top" else post.heads[-1]
            part = _part_box(edge[0].width, edge[0].height, edge[1], view)
            if scenery.cut == "top":
                dy = -(part.y0 + share * part.height)
            else:
                dy = height - (part.y1 - share * part.height)
        elif i == 0 and (scenery.fit or rng.random() < 0.5):
            dx, dy = _inside(box.shift(dx, dy), width, height, dx, dy)
        views.append(replace(view, foot=(dx, dy)))
    return views


def _inside(box: Box, width: int, height: int, dx: float, dy: float) -> tuple[float, float]:
    """Nudge a placing so that the box lies in the picture, where it fits at all."""
    if box.width < 0.98 * width:
        dx += max(1.0 - box.x0, 0) + min(width - 1.0 - box.x1, 0)
    if box.height < 0.98 * height:
        dy += max(1.0 - box.y0, 0) + min(height - 1.0 - box.y1, 0)
    return dx, dy


def _extent(post: Post) -> tuple[float, float]:
    left = min([x - h.width / 2 for h, (x, _) in post.heads] + [x - p.width / 2 for p, (x, _) in post.plates])
    right = max(
        [x + h.width / 2 for h, (x, _) in post.heads] + [x + p.width / 2 for p, (x, _) in post.plates]
    )
    return post.high - post.low + 0.3, right - left


def _part_box(width: float, height: float, at: tuple[float, float], view: View) -> Box:
    x = at[0] + np.array([-1, 1, 1, -1]) * width / 2
    y = at[1] + np.array([-1, -1, 1, 1]) * height / 2
    p = view.points(x, y)
    (x0, y0), (x1, y1) = p.min(0), p.max(0)
    return Box(float(x0), float(y0), float(x1), float(y1))


def _heads_box(post: Post, view: View) -> Box:
    boxes = [_part_box(h.width, h.height, at, view) for h, at in post.heads]
    boxes += [_part_box(p.width, p.height, at, view) for p, at in post.plates]
    return union_of(boxes)


def _lie(views: list[View], scenery: Scenery, rng: np.random.Generator) -> Lie:
    width, height = scenery.size
    if not views:
        scale = float(np.exp(rng.uniform(math.log(8), math.log(120))))
        horizon = height * float(rng.uniform(-0.2, 1.4))
        foot_x = width / 2.0
    else:
        scale, foot_x = views[0].scale, views[0].foot[0]
        horizon = views[0].horizon + math.tan(scenery.roll) * (width / 2 - foot_x)
    vanish = foot_x + width * float(rng.normal(0, 0.5))
    side = (foot_x - vanish) / scale if views else None
    return Lie(horizon, scenery.roll, scenery.eye, scale * max(scenery.distance, 6.0), vanish, scale, side)


def _share(box: Box, canvas: Canvas) -> float:
    """Share of a box inside the picture and not painted over."""
    width, height = canvas.size
    inside = box.clamp(width, height)
    if box.area <= 0 or inside.area <= 0 or canvas.veil is None:
        return 0.0
    x0, y0 = int(inside.x0), int(inside.y0)
    veil = canvas.veil[y0 : max(math.ceil(inside.y1), y0 + 1), x0 : max(math.ceil(inside.x1), x0 + 1)]
    return float(inside.area / box.area * (1 - veil.mean()))


def _in_view(signal: SignalTruth, canvas: Canvas) -> SignalTruth:
    width, height = canvas.size
    heads = tuple(replace(h, visible=_share(h.box, canvas)) for h in signal.heads)
    plates = tuple(_plate_in_view(p, canvas) for p in signal.plates)
    whole = all(h.box.clamp(width, height).area >= 0.9 * h.box.area for h in heads)
    return replace(signal, heads=heads, plates=plates, whole_in_view=whole)


def _plate_in_view(plate: PlateTruth, canvas: Canvas) -> PlateTruth:
    share = _share(plate.box, canvas)
    return replace(plate, visible=plate.visible * share, legible=plate.legible and share > 0.7)


def training_sample(
    seed: int,
    size: tuple[int, int] = (256, 256),
    photos: tuple[str, ...] = (),
    traced: tuple[Traced, ...] = (),
    *,
    trials: bool = True,
    stands: float = 0.0,
) -> tuple[NDArray[np.uint8], SceneTruth]:
    """One random picture and its truth: rgb uint8 (H, W, 3). The same arguments: the same bytes.

    Without `trials` nothing in it is made hard on purpose; `stands` is the share of pictures whose signals
    stand as few do.
    """
    rng = np.random.default_rng((seed, 20))
    trial = EASY
    if rng.random() < NO_SIGNAL:
        scenery, aspects = _without_signal(rng, size, photos)
    else:
        scenery, aspects = _with_signal(rng, size, photos)
        if trials:
            trial, aspects = draw_trial(rng, aspects, scenery.light, scenery.luminance)
    scene, truth = compose(aspects, scenery, rng, traced, trial, other_stands(seed, stands))
    rgb = expose(scene, draw_camera(rng, scene.light), rng, model=scenery.room)
    if not aspects and rng.random() < 0.06:
        stamp_caption(rgb, rng)
    return rgb, truth


def other_stands(seed: int, share: float) -> np.random.Generator | None:
    """What gives the signals of that picture of `training_sample` other stands; None: they have the usual."""
    dice = np.random.default_rng((seed, 21))
    return dice if dice.random() < share else None


NO_SIGNAL = 0.3  # share of the pictures of training in which no signal can be read
_STREETS = 0.36  # share of those that are pictures of a street


def _without_signal(
    rng: np.random.Generator, size: tuple[int, int], photos: tuple[str, ...]
) -> tuple[Scenery, tuple[Aspect, ...]]:
    """A picture of everything but a signal: a street, a photograph, things put together, a signal's back."""
    if rng.random() < _STREETS:
        extras = [Extra("street")]
        extras += [
            Extra(str(k))
            for k in rng.choice(TOWN_KINDS, int(rng.choice([0, 1, 2, 3], p=[0.4, 0.3, 0.2, 0.1])))
        ]
        scenery = draw_scenery(rng, size, (), extras=tuple(extras), back=False, room=False)
        return scenery, ()
    n = int(rng.integers(0, 5))
    street = rng.choice(_STREET, int(rng.choice([0, 1, 2], p=[0.5, 0.35, 0.15])))
    town = rng.choice(TOWN_KINDS, int(rng.choice([0, 1, 2, 3], p=[0.4, 0.3, 0.2, 0.1])))
    kinds = [*rng.choice(KINDS, n), *street, *town]
    scenery = draw_scenery(rng, size, photos, extras=tuple(Extra(str(k)) for k in kinds), back=False)
    if photos and rng.random() < 0.5:
        # Half of these photographs as they are: what they hold is no signal, whatever it looks like.
        kept = scenery.extras if rng.random() < 0.5 else ()
        scenery = replace(scenery, photo=str(rng.choice(photos)), room=False, extras=kept)
    if rng.random() < 0.2:
        return replace(scenery, back=True), (random_aspect(rng),)
    return scenery, ()


def _with_signal(
    rng: np.random.Generator, size: tuple[int, int], photos: tuple[str, ...]
) -> tuple[Scenery, tuple[Aspect, ...]]:
    """A picture with one signal or a few; one in ten so large that the place of the lamp in it tells."""
    if rng.random() < 0.1:
        lens = math.exp(rng.uniform(math.log(13), math.log(60))) * min(size) / 256
        kind = cast(
            Kind | None, rng.choice(np.array(["vertical", "triangular", None], object), p=[0.4, 0.2, 0.4])
        )
        cut = str(rng.choice(["top", "bottom"])) if rng.random() < 0.2 else None
        scenery = draw_scenery(
            rng, size, photos, lens=lens, kind=kind, cut=cut, fit=bool(rng.random() < 0.3), back=False
        )
    else:
        scenery = draw_scenery(rng, size, photos)
    more = list(rng.choice(_STREET, 1)) if rng.random() < 0.1 else []
    if rng.random() < 0.14:
        more += list(rng.choice(TOWN_KINDS, int(rng.integers(1, 4))))
    scenery = replace(scenery, extras=(*scenery.extras, *(Extra(str(k)) for k in more)))
    return scenery, tuple(random_aspect(rng) for _ in range(int(rng.choice([1, 2, 3], p=[0.85, 0.12, 0.03]))))


__all__ = ["Cut", "HeadTruth", "Scenery", "compose", "draw_scenery", "random_aspect", "training_sample"]
