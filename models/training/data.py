"""One rendered lesson: a picture gives finder maps, reader windows and plate windows. `stream` makes many."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from litlamp.box import Box
from litlamp.scene.compose import other_stands, training_sample
from litlamp.scene.lineside import Lineside
from litlamp.scene.traced import Traced
from litlamp.scene.truth import SceneTruth
from litlamp.sight.crop import READER_HEIGHT, READER_WIDTH, plate_window, reader_window
from litlamp.sight.scan import scan
from targets import PLATE_KINDS, READER_OUT, finder_target, head_point, reader_target

SIDE = 256
READERS = 2
PLATES = 2
LINE = 16
"""Lessons in a row, the first of them a multiple of it, whose pictures may be of one line."""


def lesson(
    seed: int,
    photos: tuple[str, ...] = (),
    side: int = SIDE,
    traced: tuple[Traced, ...] = (),
    stands: float = 0.0,
    lines: float = 0.0,
) -> tuple[NDArray[np.generic], ...]:
    """(rgb, maps, heat weight, at, reader windows, answers, weights, plate windows, kinds, rare).

    `lines` is the share of lessons seen from a cab, `stands` of the others that whose signals stand as few
    do; `rare` is 1 for those and 0 for all else.
    """
    from_cab = bool(np.random.default_rng((seed // LINE, 22)).random() < lines)
    if from_cab:
        rgb, truth = _line(seed // LINE).picture(seed, side)
    else:
        rgb, truth = training_sample(seed, (side, side), photos, traced, stands=stands)
    rng = np.random.default_rng((seed, 77))
    target = finder_target(truth)
    windows = np.zeros((READERS, READER_HEIGHT, READER_WIDTH, 4), np.uint8)
    answers = np.zeros((READERS, READER_OUT), np.float32)
    weights = np.zeros((READERS, READER_OUT), np.float32)
    _reader_lessons(rgb, truth, rng, windows, answers, weights)
    plates = np.zeros((PLATES, 40, 40, 3), np.uint8)
    kinds = np.full(PLATES, -1, np.int64)
    _plate_lessons(rgb, truth, rng, plates, kinds)
    rare = not from_cab and bool(truth.signals) and other_stands(seed, stands) is not None
    return (
        rgb, target.maps.astype(np.float16), target.heat_weight.astype(np.float16),
        target.at.astype(np.float16), windows, answers, weights, plates, kinds,
        np.asarray(rare, np.float32),
    )  # fmt: skip


@lru_cache(1)
def _line(number: int) -> Lineside:
    return Lineside(number)


def _reader_lessons(
    rgb: NDArray[np.uint8], truth: SceneTruth, rng: np.random.Generator,
    windows: NDArray[np.uint8], answers: NDArray[np.float32], weights: NDArray[np.float32],
) -> None:  # fmt: skip
    h, w = rgb.shape[:2]
    slot = 0
    order = rng.permutation(len(truth.signals))
    for i in order:
        if slot >= READERS:
            return
        signal = truth.signals[i]
        seen = [
            hd for hd in signal.heads
            if hd.visible > 0.35 and 0 <= head_point(hd)[0] < w and 0 <= head_point(hd)[1] < h
        ]  # fmt: skip
        if not seen:
            continue
        width = float(np.median([hd.box.width for hd in seen])) * float(np.exp(rng.normal(0, 0.12)))
        kept = [hd for hd in seen if len(seen) == 1 or rng.random() > 0.1] or seen[:1]
        points = [
            (x + rng.normal(0, 0.06) * width, y + rng.normal(0, 0.06) * width)
            for x, y in (head_point(hd) for hd in kept)
        ]
        if rng.random() < 0.05:
            x, y = points[0]
            points.append((x + rng.normal(0, 1.5) * width, y + rng.normal(0, 4) * width))
        windows[slot] = reader_window(rgb, points, width).pixels
        if signal.facing:
            answers[slot], weights[slot] = reader_target(signal, (w, h))
        else:
            answers[slot, 0], weights[slot, :4] = 1.0, 1.0
        slot += 1
    spots: list[tuple[float, float, float]] = []
    for _, box in truth.distractors:
        x, y = box.centre
        spots.append((x, y, float(np.clip(min(box.width, box.height), 4, 60) * rng.uniform(0.6, 2.5))))
    if rng.random() < 0.5:  # whatever else draws the eye, and is looked at when a picture is read
        spots += [(s.x, s.y, float(np.clip(s.diameter, 3, 40) * rng.uniform(1.2, 4))) for s in scan(rgb)[:8]]
    facing = [hd for s in truth.signals if s.facing for hd in s.heads]
    spots = [
        (x, y, width) for x, y, width in spots
        if all(np.hypot(x - head_point(hd)[0], y - head_point(hd)[1]) > 2 * hd.box.width for hd in facing)
    ]  # fmt: skip
    while spots and slot < READERS and rng.random() < 0.6:
        x, y, width = spots[rng.integers(len(spots))]
        points = [(x, y)]
        if rng.random() < 0.3:
            points.append((x + rng.normal(0, 0.3) * width, y + rng.uniform(1.2, 4) * width))
        windows[slot] = reader_window(rgb, points, width).pixels
        answers[slot, 0], weights[slot, :4] = 1.0, 1.0
        slot += 1


def _plate_lessons(
    rgb: NDArray[np.uint8], truth: SceneTruth, rng: np.random.Generator,
    windows: NDArray[np.uint8], kinds: NDArray[np.int64],
) -> None:  # fmt: skip
    h, w = rgb.shape[:2]
    slot = 0
    for signal in truth.signals:
        for plate in signal.plates:
            x, y = plate.box.centre
            if slot >= PLATES or not (0 <= x < w and 0 <= y < h) or plate.box.width < 4:
                continue
            b = plate.box
            jitter = rng.normal(0, 0.07, 4) * max(b.width, b.height)
            x0, x1 = sorted((b.x0 + jitter[0], b.x1 + jitter[1]))
            y0, y1 = sorted((b.y0 + jitter[2], b.y1 + jitter[3]))
            windows[slot] = plate_window(rgb, Box(x0, y0, x1, y1)).pixels
            readable = plate.legible and plate.visible > 0.6
            kinds[slot] = PLATE_KINDS.index(plate.kind if readable else "other")
            slot += 1
    while slot < PLATES and rng.random() < 0.25:
        side = float(np.exp(rng.uniform(np.log(6), np.log(60))))
        x, y = rng.uniform(0, w), rng.uniform(0, h)
        for hd in (hd for s in truth.signals for hd in s.heads):
            if rng.random() < 0.4:
                (x, y), side = hd.box.centre, hd.box.width * float(rng.uniform(0.4, 1.2))
        if any(p.box.grow(p.box.width / 2).x0 < x < p.box.grow(p.box.width / 2).x1
               and p.box.grow(p.box.height / 2).y0 < y < p.box.grow(p.box.height / 2).y1
               for s in truth.signals for p in s.plates):  # fmt: skip
            continue
        windows[slot] = plate_window(rgb, Box(x - side / 2, y - side / 2, x + side / 2, y + side / 2)).pixels
        kinds[slot] = PLATE_KINDS.index("other")
        slot += 1
