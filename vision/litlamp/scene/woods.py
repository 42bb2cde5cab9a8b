"""Tree lines: strips of trees grown once from fixed seeds, of which pictures show pieces."""

from __future__ import annotations

import functools
import math
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

Wood = Literal["leafy", "conifer", "bare", "scrub"]
Strip = NDArray[np.uint8]

TALL, LONG = 384, 1536


@functools.lru_cache(maxsize=64)
def strip(wood: Wood, which: int, level: int = 0) -> Strip:
    """A tree line, uint8 (384, 1536, 3) halved `level` times: cover, light, tone. It wraps round."""
    if level > 0:
        bigger = strip(wood, which, level - 1)
        half = (bigger.shape[1] // 2, bigger.shape[0] // 2)
        return np.asarray(cv2.resize(bigger, half, interpolation=cv2.INTER_AREA), np.uint8)
    rng = np.random.default_rng((233, sum(map(ord, wood)), which))
    board = np.zeros((TALL, LONG, 3), np.uint8)
    grow = {"leafy": _leafy, "conifer": _conifer, "bare": _bare, "scrub": _scrub}[wood]
    for row in (0.55, 0.8, 1.0):  # the far row first, darker and lower under the near one
        n = int(rng.integers(14, 24)) if wood != "scrub" else int(rng.integers(40, 70))
        for x in rng.uniform(0, LONG, n):
            grow(board, rng, float(x), row)
    if wood != "bare":
        board = _ragged(board, rng, 5.0 if wood == "leafy" else 3.0)
    under = np.clip((np.arange(TALL) - TALL * 0.93) / (TALL * 0.05), 0, 1)[:, None]
    board[..., 0] = np.maximum(
        board[..., 0], (255 * under * (0.75 + 0.25 * rng.random((1, LONG)))).astype(np.uint8)
    )
    return board


def _ragged(board: Strip, rng: np.random.Generator, reach: float) -> Strip:
    """Leaves instead of smooth edges: every px is fetched from a little beside it; light gets grain."""
    y, x = np.mgrid[0:TALL, 0:LONG].astype(np.float32)
    dx = cv2.GaussianBlur(rng.standard_normal((TALL, LONG)).astype(np.float32), (0, 0), 1.2) * 2.6 * reach
    dy = cv2.GaussianBlur(rng.standard_normal((TALL, LONG)).astype(np.float32), (0, 0), 1.2) * 2.6 * reach
    out = np.asarray(
        cv2.remap(board, x + dx, y + dy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT), np.uint8
    )
    grain = cv2.GaussianBlur(rng.standard_normal((TALL, LONG)).astype(np.float32), (0, 0), 0.8) * 45
    out[..., 1] = np.clip(out[..., 1] + grain, 0, 255).astype(np.uint8)
    return out


def _dot(board: Strip, x: float, y: float, r: float, light: float, tone: float) -> None:
    ink = (255, int(np.clip(light, 0, 255)), int(np.clip(tone, 0, 255)))
    for at in (x, x - LONG, x + LONG):
        if -r <= at <= LONG + r:
            cv2.circle(board, (int(at * 8), int(y * 8)), max(int(r * 8), 8), ink, -1, cv2.LINE_AA, 3)


def _leafy(board: Strip, rng: np.random.Generator, x: float, row: float) -> None:
    tall = TALL * float(rng.uniform(0.5, 0.98)) * (1.15 - 0.3 * row)
    wide = tall * float(rng.uniform(0.28, 0.5))
    cy, ry = TALL - tall * 0.6, tall * 0.4
    tone = float(rng.uniform(0, 255))
    cv2.line(board, (int(x), TALL), (int(x), int(cy)), (255, 40, 255), max(int(tall * 0.03), 2), cv2.LINE_AA)
    clumps = []
    for _ in range(int(rng.integers(30, 60))):
        a, d = rng.uniform(0, 2 * np.pi), math.sqrt(rng.uniform(0, 1))
        clumps.append((math.cos(a) * d, math.sin(a) * d, float(rng.uniform(0.09, 0.2))))
    for u, v, r in sorted(clumps, key=lambda c: -c[1]):  # low clumps first, lit ones over them
        light = 95 + 70 * (-v) + 25 * u + float(rng.normal(0, 18))
        _dot(board, x + u * wide, cy + v * ry, r * tall * 0.45, light * row, tone + float(rng.normal(0, 30)))


def _conifer(board: Strip, rng: np.random.Generator, x: float, row: float) -> None:
    tall = TALL * float(rng.uniform(0.5, 0.98)) * (1.15 - 0.3 * row)
    wide = tall * float(rng.uniform(0.14, 0.24))
    tone = float(rng.uniform(0, 255))
    tiers = int(rng.integers(9, 16))
    for i in range(tiers, 0, -1):
        f = i / tiers
        y = TALL - tall * (1 - f * 0.92)
        w = wide * f * float(rng.uniform(0.75, 1.15))
        drop = tall / tiers * 1.9
        for at in (x, x - LONG, x + LONG):
            shape = np.array(
                [
                    [at, y - drop],
                    [at + w, y + drop * 0.25],
                    [at + w * 0.3, y],
                    [at - w * 0.3, y],
                    [at - w, y + drop * 0.25],
                ]
            )
            light = (70 + 50 * float(rng.uniform(0.3, 1))) * row
            cv2.fillPoly(
                board,
                [(shape * 8).astype(np.int32)],
                (255, int(light), int(np.clip(tone, 0, 255))),
                cv2.LINE_AA,
                3,
            )


def _bare(board: Strip, rng: np.random.Generator, x: float, row: float) -> None:
    tall = TALL * float(rng.uniform(0.4, 0.7)) * (1.15 - 0.3 * row)
    tone = float(rng.uniform(0, 255))
    light = float(rng.uniform(80, 140)) * row

    def branch(x0: float, y0: float, way: float, length: float, thick: float, depth: int) -> None:
        x1, y1 = x0 + length * math.cos(way), y0 - length * math.sin(way)
        shade = int(np.clip(light + rng.normal(0, 25), 0, 255))
        for across in (0, -LONG, LONG):
            cv2.line(
                board, (int((x0 + across) * 8), int(y0 * 8)), (int((x1 + across) * 8), int(y1 * 8)),
                (255 if thick > 1.2 else 170, shade, int(np.clip(tone + rng.normal(0, 40), 0, 255))),
                max(round(thick), 1), cv2.LINE_AA, 3,
            )  # fmt: skip
        if depth == 0:
            return
        for _ in range(3 if depth < 4 else 2):
            turn = float(rng.normal(0, 0.5))
            at = float(rng.uniform(0.55, 1.0))
            branch(
                x0 + at * (x1 - x0),
                y0 + at * (y1 - y0),
                way + turn,
                length * float(rng.uniform(0.6, 0.85)),
                thick * 0.62,
                depth - 1,
            )

    branch(x, float(TALL), math.pi / 2 + float(rng.normal(0, 0.06)), tall * 0.36, tall * 0.025, 5)


def _scrub(board: Strip, rng: np.random.Generator, x: float, row: float) -> None:
    size = TALL * float(rng.uniform(0.15, 0.5))
    tone = float(rng.uniform(0, 255))
    for _ in range(int(rng.integers(6, 14))):
        u, v = float(rng.normal(0, 0.5)), float(rng.uniform(0, 1))
        _dot(board, x + u * size, TALL - v * size * 0.8, size * float(rng.uniform(0.1, 0.28)),
             (70 + 90 * v + float(rng.normal(0, 18))) * row, tone + float(rng.normal(0, 40)))  # fmt: skip


def window(
    rng: np.random.Generator, wood: Wood, tall: float, width: int, rows: tuple[int, int]
) -> tuple[Strip, tuple[int, int]] | None:
    """A piece of a tree line `tall` px high: (uint8 (h, w, 3), first and last row shown).

    `rows` says which rows of the line's own height (0 at the top, `tall` at the foot) are wanted.
    """
    first, last = max(rows[0], 0), min(rows[1], math.ceil(tall))
    if first >= last:
        return None
    level = int(np.clip(math.floor(math.log2(TALL / max(tall, 1.0))), 0, 4))
    source = strip(wood, int(rng.integers(2)), level)
    h, w = source.shape[:2]
    zoom = tall / h  # picture px per strip px
    need = max(int(width / zoom), 2)
    start = int(rng.integers(w))
    columns = np.arange(start, start + need) % w
    top, bottom = int(first / zoom), max(min(math.ceil(last / zoom), h), int(first / zoom) + 1)
    cut = np.take(source[top:bottom], columns, axis=1)
    if rng.random() < 0.5:
        cut = cut[:, ::-1]
    way = cv2.INTER_AREA if zoom < 1 else cv2.INTER_LINEAR
    out = cv2.resize(np.ascontiguousarray(cut), (width, last - first), interpolation=way)
    return np.asarray(out, np.uint8), (first, last)
