"""Heads and plates in a picture: the finder network on the reduced whole and round bright spots."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import COLOURS
from litlamp.box import Box
from litlamp.media.frame import LARGE, Frame
from litlamp.sight.beside import workers
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
WINDOW = 160
"""Side of a window round a spot, px."""
MOST_WINDOWS = 12
TOGETHER = 2
"""Windows that the finder looks at in one run."""
WANTED_LENS = 6.0
"""Windows are scaled, by halves, so that a spot's diameter comes nearest to this, px."""
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
    return float(np.median([h.box.width for h in heads]))


class Beginning:
    """What is looked at in the half of a large picture while the rest of it is still being decoded.

    A context: at its end nothing of it runs any more.
    """

    def __init__(self, eyes: Eyes) -> None:
        self._eyes = eyes
        self._own = ThreadPoolExecutor(1, thread_name_prefix="sight")
        self._begun: tuple[Pixels, Future[tuple[Spot, ...]], Future[Asked]] | None = None

    def __enter__(self) -> Beginning:
        return self

    def __exit__(self, *_: object) -> None:
        self._own.shutdown(cancel_futures=True)

    def take(self, half: Pixels) -> None:
        """Begin with this half of a picture, uint8 (H // 2, W // 2, 3), R G B; returns at once."""
        whole = _whole_of(half)
        spots = self._own.submit(scan, whole, half=half)
        asked = self._own.submit(lambda: ask([reduced_whole(whole, half)], self._eyes))
        self._begun = half, spots, asked

    def of(self, half: Pixels | None) -> tuple[Future[tuple[Spot, ...]], Future[Asked]] | None:
        """The spots, and what the finder says of the reduced whole, if it was begun with this half."""
        if self._begun is None or self._begun[0] is not half:
            return None
        return self._begun[1:]


def _whole_of(half: Pixels) -> Pixels:
    """What stands for a picture of which only the half is looked at: its shape, no pixels of its own."""
    return np.broadcast_to(np.uint8(0), (2 * half.shape[0], 2 * half.shape[1], 3))


def find(frame: Frame, eyes: Eyes, beginning: Beginning | None = None) -> Found:
    """Heads and plates of a picture, best first, faint heads among them.

    The reduced whole is looked at while the picture is scanned for spots; both may have been begun.
    """
    rgb, half = frame.rgb, frame.half
    if half is None and rgb.shape[0] * rgb.shape[1] > LARGE:
        half = halved(rgb)
    whole = rgb if half is None else _whole_of(half)
    begun = beginning.of(half) if beginning else None
    with workers(eyes.beside) as others:
        if begun is None:
            asked = [others.submit(lambda: ask([reduced_whole(whole, half)], eyes))]
            spots = scan(whole, half=half)
        else:
            spots, asked = begun[0].result(), [begun[1]]
        places = spot_places(spots, whole_scale(whole))
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


def whole_scale(rgb: Pixels) -> float:
    """Px of the reduced whole for a px of the picture."""
    h, w = rgb.shape[:2]
    long: int = max(h, w)
    return min(1.0, (LARGE_WHOLE_SIDE if h * w > LARGE else WHOLE_SIDE) / long)


def reduced_whole(rgb: Pixels, half: Pixels | None = None) -> Window:
    """The whole picture, reduced as `whole_scale` says, on a canvas of whole cells.

    `half` is the same at half its size, where the caller has it already; then only the shape of `rgb` counts.
    """
    h, w = rgb.shape[:2]
    scale = whole_scale(rgb)
    th, tw = max(round(h * scale), 1), max(round(w * scale), 1)
    small = rgb if half is None else half
    while min(small.shape[:2]) > 4 * min(tw, th):
        # Halving is many times faster than an odd ratio, so large pictures are halved first.
        small = halved(small)
    if scale != 1.0:
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
        scale = float(np.clip(2.0 ** round(np.log2(WANTED_LENS / max(spot.diameter, 1.0))), 1 / 32, 1.0))
        if scale <= whole_scale:
            continue  # The reduced whole already shows it at this size or larger.
        reach = WINDOW / scale * 0.3
        if any(s == scale and abs(spot.x - x) < reach and abs(spot.y - y) < reach for x, y, s in chosen):
            continue
        chosen.append((spot.x, spot.y, scale))
        if len(chosen) == MOST_WINDOWS:
            break
    return chosen


def spot_window(rgb: Pixels, x: float, y: float, scale: float) -> Window:
    """A window of WINDOW px a side about that point of the picture."""
    return cut(rgb, x - WINDOW / 2 / scale, y - WINDOW / 2 / scale, scale, WINDOW, WINDOW)


def _peaks(heat: NDArray[np.float32], least: float) -> Iterable[tuple[int, int, float]]:
    top = cv2.dilate(heat, np.ones((3, 3), np.uint8))
    ys, xs = np.nonzero((heat >= top) & (heat >= least))
    return ((int(x), int(y), float(heat[y, x])) for y, x in zip(ys, xs, strict=True))


def read_heads(maps: Maps, window: Window, least: float) -> list[HeadFound]:
    """Heads in the finder's answer for one window, in the picture's px."""
    heads = []
    for ix, iy, score in _peaks(maps[HEAD], least):
        v = maps[:, iy, ix]
        u = (ix + float(np.clip(v[DX], -0.5, 1.5))) * STRIDE
        w = (iy + float(np.clip(v[DY], -0.5, 1.5))) * STRIDE
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
        u, w = (
            (ix + float(np.clip(v[PLATE_DX], -0.5, 1.5))) * STRIDE,
            (iy + float(np.clip(v[PLATE_DY], -0.5, 1.5))) * STRIDE,
        )
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
    near = np.hypot(a.x - b.x, a.y - b.y) < 0.5 * max(a.box.width, b.box.width)
    return bool(near or a.box.iou(b.box) > 0.35)


def distinct_plates(plates: list[PlateFound]) -> list[PlateFound]:
    """Each plate once, best first."""
    kept: list[PlateFound] = []
    for plate in sorted(plates, key=lambda p: -p.score):
        if all(p.box.iou(plate.box) < 0.3 for p in kept):
            kept.append(plate)
    return kept
