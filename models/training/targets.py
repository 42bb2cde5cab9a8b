"""From a rendered picture's truth to what the networks should answer.

The finder answers on a grid of one cell per `STRIDE` px; `FINDER_MAPS` names its channels in order. The
reader answers for one signal, from an upright window about the heads found (`litlamp.sight.crop`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import COLOURS
from litlamp.scene.truth import HeadTruth, PlateTruth, SceneTruth, SignalTruth
from litlamp.sight.crop import LETTERS, STRIDE

Array = NDArray[np.float32]

FINDER_MAPS = (
    "head",  # heat at the lit lamp's centre, or at the head's centre where it is dark
    "dx", "dy",  # that point's place within its cell, in cells
    "left", "top", "right", "bottom",  # log of (distance from the point to the head's edge / 8 px)
    "lens",  # log(lens diameter / 4 px)
    *(f"colour_{c}" for c in COLOURS),
    "vote_x", "vote_y",  # from the point to the mean of the signal's points, in head widths / 4
    "plate",  # heat at a plate's centre
    "plate_dx", "plate_dy",
    "plate_w", "plate_h",  # log(size / 8 px)
)  # fmt: skip
N_MAPS = len(FINDER_MAPS)

READER_NAMES = (
    *(f"count_{n}" for n in range(4)), *(f"slot{s}_{c}" for s in range(3) for c in COLOURS),
    "staggered", "dwarf", "whole", "plate_A", "plate_R", "plate_L", "plate_DV", "could_see_plates",
)  # fmt: skip
READER_OUT = len(READER_NAMES)
PLATE_KINDS = LETTERS


def head_point(head: HeadTruth) -> tuple[float, float]:
    """Where the finder should point for this head."""
    return head.centre if head.lit else head.box.centre


def _splat(heat: Array, x: float, y: float, sigma: float) -> None:
    h, w = heat.shape
    r = max(1, int(np.ceil(3 * sigma)))
    cx, cy = int(x), int(y)
    x0, x1, y0, y1 = max(cx - r, 0), min(cx + r + 1, w), max(cy - r, 0), min(cy + r + 1, h)
    if x0 >= x1 or y0 >= y1:
        return
    gx = np.arange(x0, x1, dtype=np.float32) - cx
    gy = np.arange(y0, y1, dtype=np.float32)[:, None] - cy
    g = np.exp(-(gx * gx + gy * gy) / (2 * sigma * sigma))
    np.maximum(heat[y0:y1, x0:x1], g, out=heat[y0:y1, x0:x1])


@dataclass(frozen=True, slots=True)
class FinderTarget:
    """maps (N_MAPS, h, w); weights of head and plate heat, and of their regressions, (2, h, w) each."""

    maps: Array
    heat_weight: Array
    at: Array


def finder_target(truth: SceneTruth) -> FinderTarget:
    """The grid answers of one picture."""
    w, h = truth.size
    gw, gh = w // STRIDE, h // STRIDE
    maps = np.zeros((N_MAPS, gh, gw), np.float32)
    heat_weight = np.ones((2, gh, gw), np.float32)
    at = np.zeros((2, gh, gw), np.float32)
    k = {name: i for i, name in enumerate(FINDER_MAPS)}
    for signal in truth.signals:
        if not signal.facing:
            for head in signal.heads:
                _mask(heat_weight[0], head.box.x0, head.box.y0, head.box.x1, head.box.y1, 0.3)
            continue
        points = [head_point(head) for head in signal.heads]
        mx, my = (float(np.mean(v)) for v in zip(*points, strict=True))
        for head, (px, py) in zip(signal.heads, points, strict=True):
            if not (0 <= px < w and 0 <= py < h):
                continue
            b = head.box
            if head.visible < 0.35 or head.diameter < 2.0:
                _mask(heat_weight[0], b.x0, b.y0, b.x1, b.y1, 0.0)
                continue
            cx, cy = px / STRIDE, py / STRIDE
            _splat(maps[k["head"]], cx, cy, float(np.clip(b.width / STRIDE / 6, 0.6, 2.5)))
            values = {
                "left": np.log(max(px - b.x0, 1) / 8), "right": np.log(max(b.x1 - px, 1) / 8),
                "top": np.log(max(py - b.y0, 1) / 8), "bottom": np.log(max(b.y1 - py, 1) / 8),
                "lens": np.log(max(head.diameter, 1) / 4),
                "vote_x": (mx - px) / max(b.width, 4) / 4, "vote_y": (my - py) / max(b.width, 4) / 4,
                f"colour_{head.lamp.colour if head.lit else 'dark'}": 1.0,
            }  # fmt: skip
            for iy in range(max(int(cy) - 1, 0), min(int(cy) + 2, gh)):
                for ix in range(max(int(cx) - 1, 0), min(int(cx) + 2, gw)):
                    weight = 1.0 if (ix, iy) == (int(cx), int(cy)) else 0.3
                    if at[0, iy, ix] >= weight:
                        continue
                    at[0, iy, ix] = weight
                    maps[k["colour_red"] : k["colour_dark"] + 1, iy, ix] = 0
                    for name, value in values.items():
                        maps[k[name], iy, ix] = value
                    maps[k["dx"], iy, ix], maps[k["dy"], iy, ix] = cx - ix, cy - iy
        for plate in signal.plates:
            _plate(plate, maps, heat_weight[1], at[1], k)
    return FinderTarget(maps, heat_weight, at)


def _plate(plate: PlateTruth, maps: Array, weight: Array, at: Array, k: dict[str, int]) -> None:
    gh, gw = weight.shape
    b = plate.box
    cx, cy = (v / STRIDE for v in b.centre)
    if not (0 <= cx < gw and 0 <= cy < gh):
        return
    if plate.visible < 0.5 or b.width < 5:
        _mask(weight, b.x0, b.y0, b.x1, b.y1, 0.0)
        return
    _splat(maps[k["plate"]], cx, cy, float(np.clip(b.width / STRIDE / 6, 0.6, 2.0)))
    ix, iy = int(cx), int(cy)
    at[iy, ix] = 1.0
    maps[k["plate_dx"], iy, ix], maps[k["plate_dy"], iy, ix] = cx - ix, cy - iy
    maps[k["plate_w"], iy, ix] = np.log(max(b.width, 1) / 8)
    maps[k["plate_h"], iy, ix] = np.log(max(b.height, 1) / 8)


def _mask(weight: Array, x0: float, y0: float, x1: float, y1: float, value: float) -> None:
    gh, gw = weight.shape
    xs = slice(max(int(x0 / STRIDE), 0), min(int(x1 / STRIDE) + 1, gw))
    ys = slice(max(int(y0 / STRIDE), 0), min(int(y1 / STRIDE) + 1, gh))
    weight[ys, xs] = np.minimum(weight[ys, xs], value)


def reader_target(signal: SignalTruth, in_view: tuple[int, int]) -> tuple[Array, Array]:
    """(answers, weights), both of READER_OUT, for one readable signal of a picture of that size.

    Count is one-hot over {no signal, 1, 2, 3} heads in view. Plates are what truly stands on the
    signal, seen or not: where nothing can be made out the best answer is then the prior.
    """
    out = np.zeros(READER_OUT, np.float32)
    weight = np.ones(READER_OUT, np.float32)
    w, h = in_view
    heads = [
        hd
        for hd in signal.heads
        if hd.visible > 0.35 and 0 <= head_point(hd)[0] < w and 0 <= head_point(hd)[1] < h
    ]
    out[min(len(heads), 3)] = 1.0
    nc = len(COLOURS)
    for slot in range(3):
        at = 4 + slot * nc
        if slot < len(heads):
            head = heads[slot]
            out[at + COLOURS.index(head.lamp.colour if head.lit else "dark")] = 1.0
        else:
            weight[at : at + nc] = 0.0
    at = 4 + 3 * nc
    out[at] = signal.arrangement == "staggered"
    weight[at] = len(heads) > 1
    out[at + 1] = signal.mount == "dwarf"
    out[at + 2] = signal.whole_in_view
    kinds = {p.kind for p in signal.plates}
    for i, kind in enumerate(("A", "R", "L", "DV")):
        out[at + 3 + i] = kind in kinds
    out[at + 7] = could_see_plates(signal, in_view)
    return out, weight


def could_see_plates(signal: SignalTruth, in_view: tuple[int, int]) -> bool:
    """Whether a plate on this signal would be readable: big enough, uncovered, its place in view."""
    real = [p for p in signal.plates if p.kind != "number"]
    if real:
        return all(p.legible for p in real)
    width = float(np.median([hd.box.width for hd in signal.heads]))
    low = max(hd.box.y1 for hd in signal.heads)
    return width >= 20 and signal.whole_in_view and low + 2.0 * width < in_view[1]
