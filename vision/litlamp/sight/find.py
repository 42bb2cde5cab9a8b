"""Heads and plates in a picture: the finder network on the reduced whole and round bright spots."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from statistics import median
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import COLOURS
from litlamp.box import Box
from litlamp.media.frame import LARGE, Frame
from litlamp.sight.beside import AtOnce, workers
from litlamp.sight.crop import GREY, STRIDE, Window, cut
from litlamp.sight.eyes import Eyes
from litlamp.sight.scan import Spot, halved, scan

Pixels = NDArray[np.uint8]
Maps = NDArray[np.float32]
Asked: TypeAlias = "tuple[list[HeadFound], list[PlateFound]]"

HEAD, DX, DY, LEFT, TOP, RIGHT, BOTTOM, LENS = range(8)
COLOUR = slice(8, 8 + len(COLOURS))
VOTE_X, VOTE_Y, PLATE, PLATE_DX, PLATE_DY, PLATE_W, PLATE_H = range(13, 20)

WHOLE_SIDE = 640
"""The reduced whole picture's long side, px."""
LARGE_WHOLE_SIDE = 512
"""The same of a large picture: what this no longer shows, the windows round bright spots do."""
LEAST_WHOLE_SIDE = 496
"""Or as little as this, where the picture is then an eighth, a quarter or half as large as it was: so far a
decoder reduces it, and for little."""
WINDOW = 160
"""Side of a window round a spot, px."""
MOST_WINDOWS = 12
TOGETHER = 2
"""Windows that the finder looks at in one run."""
WANTED_LENS = 6.0
"""Windows are scaled, by halves, so that a spot's diameter comes nearest to this, px."""
TWICE = 2.0
"""A window that shows a lamp no more than so many times as large as the reduced whole finds heads only about
where that shows something."""
PLAIN, PART = 0.6, 4.0
"""On a head that scores so much in the reduced whole, a spot whose window would have to be so many times as
fine as that of the head's lamp is left out. By both rules together none of 176 heads in 100 large drawn
pictures was lost that had no part in choosing them."""
PLATE_HEAD = 36.0
"""Width of a head in the window in which its plates are sought, px."""
MAST_BELOW = 7.0
"""How far below the lowest head plates are sought, head widths."""
FINE_WORTH = 24.0
"""Width of a head from which that window shows more than one round a lamp does, px."""
MAST_SIDE = 480
"""Longest side of that window, px."""

EDGE = 4
"""A box that ends nearer to the window's edge may have been cut off there, px."""
FAINTEST = 0.05
"""What the finder scores lower is not told at all. What scores under the calibration's `head_score` is no
head, but speaks for one having been missed there."""
OTHERWISE, LESS_SURE = 1.35, 0.3
"""Another answer for a head, so many times as wide or as narrow, is kept beside the best one, unless its
score falls short of it by more."""
AS_SURE = 0.1
"""Answers for one head whose scores differ by no more are as sure as each other."""


@dataclass(frozen=True, slots=True)
class HeadFound:
    """A head as the finder answers, px in the picture.

    (x, y) is the lit lamp's centre, or the head's centre where it is dark. `colours` are logits in the
    order of COLOURS. `vote` is where the finder places the middle of the head's whole signal. `scale` is
    the finder's px a picture px; `framed` says that the box lay wholly in the window; `otherwise` is another
    answer for the same head, about as sure, by which it is much wider or narrower.
    """

    x: float
    y: float
    box: Box
    lens: float
    colours: NDArray[np.float32]
    vote: tuple[float, float]
    score: float
    scale: float
    framed: bool = True
    otherwise: HeadFound | None = None


@dataclass(frozen=True, slots=True)
class PlateFound:
    """A plate as the finder answers, px in the picture."""

    box: Box
    score: float
    scale: float


@dataclass(frozen=True, slots=True)
class Found:
    """Everything the finder saw in one picture, and the spots it was shown."""

    heads: tuple[HeadFound, ...]
    plates: tuple[PlateFound, ...]
    spots: tuple[Spot, ...]


def usual_width(heads: Sequence[HeadFound]) -> float:
    """The median width of these heads, px."""
    return median(h.box.width for h in heads)


class Beginning:
    """What is looked at of a large picture while most of it is still being decoded.

    A context: at its end nothing of it runs any more. With one processor all is done in `take`.
    """

    def __init__(self, eyes: Eyes) -> None:
        self._eyes = eyes
        self._own: Executor = ThreadPoolExecutor(1, "sight") if eyes.beside > 1 else AtOnce()
        self._begun: tuple[tuple[int, int], Future[Asked]] | None = None

    def __enter__(self) -> Beginning:
        return self

    def __exit__(self, *_: object) -> None:
        self._own.shutdown(cancel_futures=True)

    def take(self, reduced: Pixels, size: tuple[int, int]) -> None:
        """Begin with this reduction of a picture of that width and height, px: uint8 (h, w, 3), R G B."""
        self._begun = size, self._own.submit(lambda: ask([reduced_whole(reduced, size)], self._eyes))

    def of(self, frame: Frame) -> Future[Asked] | None:
        """What the finder says of the reduced whole, if it was begun with this picture."""
        if self._begun is None or self._begun[0] != frame.size:
            return None
        return self._begun[1]


def find(frame: Frame, eyes: Eyes, beginning: Beginning | None = None) -> Found:
    """Heads and plates of a picture, best first, faint heads among them.

    The reduced whole is looked at while the picture is scanned for spots, or before, if it was begun.
    """
    rgb, scale = frame.rgb, whole_scale(frame.size)
    begun = beginning.of(frame) if beginning else None
    with workers(eyes.beside) as others:
        whole = begun or others.submit(lambda: ask([reduced_whole(rgb)], eyes))
        asked = [whole]
        spots = scan(rgb, others=others)
        places = spot_places(spots, scale)
        if rgb.shape[0] * rgb.shape[1] > LARGE:
            # The whole of a smaller picture takes longer than its scan: there it is not waited for.
            places = [place for place in places if shows_more(place, whole.result()[0], scale)]
        for at in range(0, len(places), TOGETHER):
            some = places[at : at + TOGETHER]
            asked.append(others.submit(ask_at, rgb, some, eyes))
        answers = [future.result() for future in asked]
    heads = [head for own, _ in answers for head in own]
    plates = [plate for _, own in answers for plate in own]
    return Found(tuple(distinct_heads(heads)), tuple(distinct_plates(plates)), spots)


def plates_below(rgb: Pixels, heads: Sequence[HeadFound], eyes: Eyes) -> list[PlateFound]:
    """Plates on the mast of these heads, sought once more in a window finer than that of the heads."""
    width = usual_width(heads)
    if width < FINE_WORTH:
        return []  # The window about the lamp was as fine already.
    window = _mast_window(rgb, heads, width)
    return read_plates(eyes.finder.run(window.pixels[None])[0], window, eyes.calibration.head_score)


def _mast_window(rgb: Pixels, heads: Sequence[HeadFound], width: float) -> Window:
    scale = min(PLATE_HEAD / width, 1.0)
    top, low = min(h.box.y0 for h in heads) - 0.5 * width, max(h.box.y1 for h in heads) + MAST_BELOW * width
    left, right = min(h.box.x0 for h in heads) - width, max(h.box.x1 for h in heads) + width
    wide, high = (min(-(-int(v * scale) // 32) * 32, MAST_SIDE) for v in (right - left, low - top))
    x = (left + right - wide / scale) / 2
    return cut(rgb, x, top, scale, wide, high)


def answers(windows: Sequence[Window], eyes: Eyes) -> Iterable[tuple[Window, Maps]]:
    """The finder's answer for each window; all are of one size."""
    maps: list[Maps] = []
    # A few at a time keep the intermediate maps inside the processor's cache.
    for at in range(0, len(windows), TOGETHER):
        maps.extend(eyes.finder.run(np.stack([w.pixels for w in windows[at : at + TOGETHER]])))
    return zip(windows, maps, strict=True)


def ask(windows: Sequence[Window], eyes: Eyes) -> Asked:
    """Heads, faint ones too, and plates that the finder sees in windows of one size, px of the picture; some
    twice."""
    least = eyes.calibration.head_score
    heads: list[HeadFound] = []
    plates: list[PlateFound] = []
    for window, maps in answers(windows, eyes):
        heads += read_heads(maps, window, FAINTEST)
        plates += read_plates(maps, window, least)
    return heads, plates


def ask_at(rgb: Pixels, places: Iterable[tuple[float, float, float]], eyes: Eyes) -> Asked:
    """The same in windows round places, each the middle (x, y) and the scale."""
    return ask([spot_window(rgb, *place) for place in places], eyes)


def whole_scale(size: tuple[int, int]) -> float:
    """Px of the reduced whole for a px of a picture of that width and height, px."""
    long = max(size)
    if size[0] * size[1] <= LARGE:
        return min(1.0, WHOLE_SIDE / long)
    as_decoded = [1 / by for by in (2, 4, 8) if LEAST_WHOLE_SIDE <= long / by <= LARGE_WHOLE_SIDE]
    return as_decoded[0] if as_decoded else min(1.0, LARGE_WHOLE_SIDE / long)


def reduced_whole(rgb: Pixels, size: tuple[int, int] | None = None) -> Window:
    """The whole picture, reduced as `whole_scale` says, on a canvas of whole cells.

    `size` is the picture's width and height, px, where `rgb` is not itself the picture but what the decoder
    reduced it to, larger than it is to be.
    """
    w, h = size or (rgb.shape[1], rgb.shape[0])
    scale = whole_scale((w, h))
    th, tw = max(round(h * scale), 1), max(round(w * scale), 1)
    small = rgb
    while min(small.shape[:2]) > 4 * min(tw, th):
        # Halving is many times faster than an odd ratio, so large pictures are halved first.
        small = halved(small)
    if small.shape[:2] != (th, tw):
        small = _resized(small, tw, th)
    ph, pw = -(-th // 32) * 32, -(-tw // 32) * 32
    canvas = np.full((ph, pw, 3), GREY, np.uint8)
    canvas[:th, :tw] = small
    return Window(canvas, 0.0, 0.0, scale)


def _resized(rgb: Pixels, width: int, height: int) -> Pixels:
    """Reduced to this size by area means, or by what is nearly the same and several times as quick."""
    twice = 2 * width, 2 * height
    if rgb.shape[1] >= twice[0] and rgb.shape[0] >= twice[1]:
        return halved(np.asarray(cv2.resize(rgb, twice, interpolation=cv2.INTER_LINEAR), np.uint8))
    return np.asarray(cv2.resize(rgb, (width, height), interpolation=cv2.INTER_AREA), np.uint8)


def spot_places(spots: Sequence[Spot], whole_scale: float) -> list[tuple[float, float, float]]:
    """Middle, px, and scale of a window fit for each spot; spots well inside an earlier one share it."""
    chosen: list[tuple[float, float, float]] = []
    for spot in spots:
        scale = _wanted_scale(spot.diameter)
        if scale <= whole_scale:
            continue  # The reduced whole already shows it at this size or larger.
        reach = WINDOW / scale * 0.3
        if any(s == scale and abs(spot.x - x) < reach and abs(spot.y - y) < reach for x, y, s in chosen):
            continue
        chosen.append((spot.x, spot.y, scale))
        if len(chosen) == MOST_WINDOWS:
            break
    return chosen


def _wanted_scale(diameter: float) -> float:
    return float(np.clip(2.0 ** round(math.log2(WANTED_LENS / max(diameter, 1.0))), 1 / 32, 1.0))


def shows_more(place: tuple[float, float, float], seen: Sequence[HeadFound], whole_scale: float) -> bool:
    """Whether the finder may well see a head in the window of this place that the reduced whole did not show.

    Parameters
    ----------
    place : middle, px, and scale of the window.
    seen : heads in the reduced whole, faint ones too.
    whole_scale : its px for a px of the picture.
    """
    x, y, scale = place
    if scale <= TWICE * whole_scale:
        # So large a lamp was there to be seen already, at least faintly.
        reach = WINDOW / 2 / scale
        return any(abs(h.x - x) < reach and abs(h.y - y) < reach for h in seen)
    # What is so much smaller than the lamp of the head on which it lies is a part of that.
    return not any(
        h.score >= PLAIN
        and h.box.x0 < x < h.box.x1
        and h.box.y0 < y < h.box.y1
        and scale >= PART * _wanted_scale(h.lens)
        for h in seen
    )


def spot_window(rgb: Pixels, x: float, y: float, scale: float) -> Window:
    """A window of WINDOW px a side about that point of the picture."""
    return cut(rgb, x - WINDOW / 2 / scale, y - WINDOW / 2 / scale, scale, WINDOW, WINDOW)


def _peaks(heat: NDArray[np.float32], least: float) -> Iterable[tuple[int, int, float]]:
    top = cv2.dilate(heat, np.ones((3, 3), np.uint8))
    ys, xs = np.nonzero((heat >= top) & (heat >= least))
    return ((int(x), int(y), float(heat[y, x])) for y, x in zip(ys, xs, strict=True))


def _point(cell: int, within: np.float32) -> float:
    """Where in the window, px, an answer in this cell points to."""
    return (cell + min(max(float(within), -0.5), 1.5)) * STRIDE


def read_heads(maps: Maps, window: Window, least: float) -> list[HeadFound]:
    """Heads in the finder's answer for one window, in the picture's px."""
    heads = []
    for ix, iy, score in _peaks(maps[HEAD], least):
        v = maps[:, iy, ix]
        u, w = _point(ix, v[DX]), _point(iy, v[DY])
        sides = 8 * np.exp(np.clip(v[LEFT : BOTTOM + 1], -3, 3)) / window.scale
        left, top, right, bottom = (float(side) for side in sides)
        x, y = window.to_picture(u, w)
        width = left + right
        vote = (x + 4 * width * float(v[VOTE_X]), y + 4 * width * float(v[VOTE_Y]))
        lens = 4 * float(np.exp(np.clip(v[LENS], -2, 3))) / window.scale
        box = Box(x - left, y - top, x + right, y + bottom)
        high, wide = maps.shape[1] * STRIDE, maps.shape[2] * STRIDE
        framed = (
            min(u - left * window.scale, w - top * window.scale) >= EDGE
            and u + right * window.scale <= wide - EDGE
            and w + bottom * window.scale <= high - EDGE
        )
        heads.append(HeadFound(x, y, box, lens, v[COLOUR].copy(), vote, score, window.scale, framed))
    return heads


def read_plates(maps: Maps, window: Window, least: float) -> list[PlateFound]:
    """Plates in the finder's answer for one window, in the picture's px."""
    plates = []
    for ix, iy, score in _peaks(maps[PLATE], least):
        v = maps[:, iy, ix]
        u, w = _point(ix, v[PLATE_DX]), _point(iy, v[PLATE_DY])
        x, y = window.to_picture(u, w)
        half = 4 * np.exp(np.clip(v[PLATE_W : PLATE_H + 1], -3, 3)) / window.scale
        half_w, half_h = float(half[0]), float(half[1])
        plates.append(PlateFound(Box(x - half_w, y - half_h, x + half_w, y + half_h), score, window.scale))
    return plates


def distinct_heads(heads: list[HeadFound]) -> list[HeadFound]:
    """Each head once, best first: of answers about as sure, the one from the finest scale that framed it."""
    ranked = sorted(heads, key=lambda h: -h.score)
    kept: list[HeadFound] = []
    heard: list[HeadFound] = []
    for at, best in enumerate(ranked):
        if any(_same(best, h) for h in heard):
            continue
        # Places and sizes are truer at a finer scale, votes where more of the signal is in the window. Belief
        # in the head stays the best that was had.
        others = [h for h in ranked[at:] if h.framed and h.score >= best.score - AS_SURE and _same(best, h)]
        finest = max(others, key=lambda h: h.scale, default=best)
        widest = min(others, key=lambda h: h.scale, default=best)
        if any(_same(finest, h) for h in heard):
            finest = best
        chosen = replace(finest, score=best.score, vote=widest.vote)
        kept.append(replace(chosen, otherwise=_otherwise(chosen, ranked[at:])))
        heard += [best, finest]
    return kept


def _otherwise(chosen: HeadFound, ranked: Sequence[HeadFound]) -> HeadFound | None:
    """The best of the other answers for this head by which it is much wider or narrower."""
    for other in ranked:
        if other.score < chosen.score - LESS_SURE:
            return None
        ratio = other.box.width / max(chosen.box.width, 1e-6)
        if max(ratio, 1 / max(ratio, 1e-6)) > OTHERWISE and _same(chosen, other):
            return other
    return None


def _same(a: HeadFound, b: HeadFound) -> bool:
    near = math.hypot(a.x - b.x, a.y - b.y) < 0.5 * max(a.box.width, b.box.width)
    return near or a.box.iou(b.box) > 0.35


def distinct_plates(plates: list[PlateFound]) -> list[PlateFound]:
    """Each plate once, best first."""
    kept: list[PlateFound] = []
    for plate in sorted(plates, key=lambda p: -p.score):
        if all(p.box.iou(plate.box) < 0.3 for p in kept):
            kept.append(plate)
    return kept
