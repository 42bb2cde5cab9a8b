"""Plates on signals: A, R, L, DV and number plates; clean, dirty, faded, under snow.

Shapes and letters: A is a white circle, R and DV are yellow rectangles, L a yellow triangle (CROR 405-440
drawings); sizes of 0.25 to 0.5 m are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.box import Box
from litlamp.scene.canvas import Canvas, Colour3, Points, noise, srgb, times
from litlamp.scene.light import Radiance
from litlamp.scene.truth import PlateTruth
from litlamp.scene.view import View


@dataclass(frozen=True, slots=True)
class PlateBoard:
    """One plate as made: kind "A", "R", "L", "DV" or "number"; sizes in metres; colours as albedo."""

    kind: str
    text: str
    width: float
    height: float
    outline: Points  # (n, 2), unit square -0.5 to 0.5, y up
    face: Colour3
    ink: Colour3
    letter: float  # letter height as a share of the plate's height
    lower: float  # letters set lower than the middle, share of height (triangles)
    font: int  # -1 own strokes, else an OpenCV face
    weight: float
    upright: bool  # digits stacked one below the other
    border: bool
    snow: float  # share covered
    dirt: float


_CIRCLE = np.stack(
    [0.5 * np.cos(np.linspace(0, 2 * np.pi, 36)[:-1]), 0.5 * np.sin(np.linspace(0, 2 * np.pi, 36)[:-1])], -1
)
_RECTANGLE = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
_TRIANGLE = np.array([[-0.5, -0.5], [0.5, -0.5], [0.0, 0.5]])
_TRIANGLE_DOWN = np.array([[-0.5, 0.5], [0.0, -0.5], [0.5, 0.5]])
_FACES = (
    cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_COMPLEX, cv2.FONT_HERSHEY_TRIPLEX,
)  # fmt: skip


def draw_plate(rng: np.random.Generator, kind: str, text: str | None = None, snow: float = 0.0) -> PlateBoard:
    """A plate of that kind; `snow` is the share of its face that is covered."""
    size = float(rng.uniform(0.26, 0.5))
    yellow = times(
        srgb(250, int(rng.integers(185, 222)), int(rng.integers(0, 50))),
        (1, 1, 1),
        float(rng.uniform(0.5, 1)),
    )
    white, black = (0.8, 0.8, 0.78), (0.025, 0.025, 0.025)
    outline, face, ink, width, height, letter, lower = _RECTANGLE, yellow, black, size, size, 0.62, 0.0
    if kind == "A":
        outline, face, letter = _CIRCLE, white, float(rng.uniform(0.5, 0.68))
    elif kind == "L":
        outline, width, height = _TRIANGLE, size * 1.15, size * float(rng.uniform(0.95, 1.1))
        letter, lower = float(rng.uniform(0.38, 0.48)), 0.17
        if rng.random() < 0.15:
            outline, lower = _TRIANGLE_DOWN, -0.15
    elif kind in ("R", "DV"):
        width = size * float(rng.uniform(0.75, 1.1) if kind == "R" else rng.uniform(1.0, 1.5))
        letter = float(rng.uniform(0.5, 0.75)) * (1 if kind == "R" else 0.9)
    upright = False
    if kind == "number":
        if text is None:
            text = number_text(rng)
        upright = len(text) <= 4 and bool(rng.random() < 0.3)
        face, ink = [(white, black), (black, white), (yellow, black)][int(rng.choice(3, p=[0.55, 0.3, 0.15]))]
        height = float(rng.uniform(0.18, 0.32))
        width = height * (0.3 + 0.62 * len(text))
        letter = float(rng.uniform(0.55, 0.75))
        if upright:
            width, height = height * 0.95, height * (0.2 + 0.85 * len(text))
    return PlateBoard(
        kind,
        text if text is not None else kind,
        width,
        height,
        outline,
        face,
        ink,
        letter,
        lower,
        -1 if rng.random() < 0.65 else int(_FACES[int(rng.integers(len(_FACES)))]),
        float(rng.uniform(0.11, 0.22)),
        upright,
        bool(rng.random() < 0.3),
        snow,
        float(rng.random() ** 2),
    )


def number_text(rng: np.random.Generator) -> str:
    """Digits as number plates carry them."""
    text = str(int(rng.integers(1, 10 ** int(rng.integers(2, 6)))))
    return text + str(rng.choice(["", "", "", "L", "R", "A"])) if len(text) < 5 else text


def paint_plate(
    canvas: Canvas, view: View, plate: PlateBoard, at: tuple[float, float], rng: np.random.Generator
) -> PlateTruth:
    """Paint a plate with its centre at `at` metres; its visible share is settled by the composer."""
    px = view.size_at(at[1])
    tall = int(np.clip(plate.height * px * 2.5, 20, 360))
    face, alpha = _face(plate, tall, rng)
    h, w = alpha.shape
    corners = np.array([[-0.5, 0.5], [0.5, 0.5], [-0.5, -0.5]])
    to = view.points(at[0] + corners[:, 0] * plate.width, at[1] + corners[:, 1] * plate.height)
    far = to[1] + to[2] - to[0]
    every = np.stack([*to, far])
    (bx0, by0), (bx1, by1) = every.min(0), every.max(0)
    x0, y0 = int(np.floor(bx0)) - 1, int(np.floor(by0)) - 1
    size = (int(np.ceil(bx1)) + 2 - x0, int(np.ceil(by1)) + 2 - y0)
    fine = 4 if max(size) < 60 else 2 if max(size) < 200 else 1
    origin = np.array([x0, y0], np.float64)
    source = np.array([[0, 0], [w, 0], [0, h]], np.float32) - 0.5
    move = cv2.getAffineTransform(source, ((to - origin) * fine - 0.5).astype(np.float32))
    big = (size[0] * fine, size[1] * fine)
    stacked = np.dstack([face * alpha[..., None], alpha])
    laid = cv2.resize(cv2.warpAffine(stacked, move, big), size, interpolation=cv2.INTER_AREA)
    mask = np.clip(laid[..., 3], 0, 1)
    paint = laid[..., :3] / np.maximum(mask, 1e-3)[..., None]
    light = np.asarray(canvas.sun.shade(0.0, 0.05, 1.0), np.float32)
    canvas.stamp(mask.astype(np.float32), (x0, y0), (paint * light).astype(np.float32))
    letter_px = plate.letter * plate.height * px
    if plate.upright:
        letter_px = letter_px / max(len(plate.text), 1)
    return PlateTruth(
        plate.kind,
        Box(float(bx0), float(by0), float(bx1), float(by1)),
        plate.text if plate.kind == "number" else "",
        letter_px,
        1.0 - plate.snow,
        plate.snow < 0.35 and letter_px >= 5.0,
    )


def _face(plate: PlateBoard, tall: int, rng: np.random.Generator) -> tuple[Radiance, Radiance]:
    """The plate's albedo (h, w, 3) and coverage (h, w) as a flat drawing `tall` px high."""
    w, h = max(round(tall * plate.width / plate.height), 4), tall
    board = np.zeros((h, w), np.uint8)
    at = (plate.outline * [w, -h] + [w / 2, h / 2]) * 16
    cv2.fillPoly(board, [at.astype(np.int32)], 255, cv2.LINE_AA, 4)
    alpha = np.asarray(board.astype(np.float32) / 255, np.float32)
    ink = np.zeros((h, w), np.uint8)
    if plate.upright:
        n = len(plate.text)
        cell = h * 0.9 / n
        for i, letter in enumerate(plate.text):
            _write(ink, letter, w / 2, h * 0.05 + cell * (i + 0.5), cell * 0.8, w * 0.8, plate)
    else:
        _write(ink, plate.text, w / 2, h * (0.5 + plate.lower), h * plate.letter, w * 0.86, plate)
    if plate.border:
        cv2.polylines(
            ink,
            [(at * 0.9 + np.array([w / 2, h / 2]) * 1.6).astype(np.int32)],
            True,
            255,
            max(1, h // 28),
            cv2.LINE_AA,
            4,
        )
    cover = ink.astype(np.float32)[..., None] / 255 * (1 - 0.25 * plate.dirt)
    face = np.asarray(plate.face, np.float32) * (1 - cover) + np.asarray(plate.ink, np.float32) * cover
    grain = noise(rng, h, w, h / 2)
    dirt = np.clip(plate.dirt * (0.35 + 0.35 * grain), 0, 0.85)[..., None]
    face = face * (1 - dirt) + np.float32(0.09) * dirt
    if plate.snow > 0:
        rise = (
            np.linspace(-1, 1, h, dtype=np.float32)[:, None] * np.float32(rng.choice([-1.0, 1.0]))
            + 0.45 * grain
        )
        edge = np.quantile(rise, plate.snow)
        lies = np.clip((edge - rise) * 12 + 0.5, 0, 1)[..., None]
        face = face * (1 - lies) + np.float32(0.85) * lies
    return face.astype(np.float32), alpha


def _write(
    ink: NDArray[np.uint8], text: str, x: float, y: float, height: float, room: float, plate: PlateBoard
) -> None:
    """Letters centred on (x, y), `height` px tall, squeezed into `room` px."""
    if plate.font >= 0 and height >= 8:
        thick = max(1, round(height * plate.weight * 0.7))
        (tw, th), _ = cv2.getTextSize(text, plate.font, 1.0, thick)
        scale = min(height / max(th, 1), room / max(tw, 1))
        (tw, th), _ = cv2.getTextSize(text, plate.font, scale, thick)
        cv2.putText(
            ink, text, (round(x - tw / 2), round(y + th / 2)), plate.font, scale, (255,), thick, cv2.LINE_AA
        )
        return
    gap = 0.22
    widths = [_width(c) for c in text]
    total = (sum(widths) + gap * (len(text) - 1)) * height
    squeeze = min(1.0, room / total)
    thick = max(1, round(height * plate.weight * squeeze))
    left = x - total * squeeze / 2
    for letter, width in zip(text, widths, strict=True):
        inset = thick / 2
        for stroke in _strokes(letter):
            at = np.array(stroke, np.float64)
            px = left + inset + at[:, 0] * max(width * height * squeeze - thick, 1)
            py = y + height / 2 - inset - at[:, 1] * max(height - thick, 1)
            cv2.polylines(
                ink, [(np.stack([px, py], -1) * 16).astype(np.int32)], False, 255, thick, cv2.LINE_AA, 4
            )
        left += (width + gap) * height * squeeze


def _width(letter: str) -> float:
    return {"1": 0.3, "L": 0.52, "A": 0.78, "V": 0.75, "D": 0.65, "R": 0.64, ".": 0.2}.get(letter, 0.58)


def _arc(cx: float, cy: float, rx: float, ry: float, start: float, end: float) -> list[tuple[float, float]]:
    """Degrees, counter-clockwise from the right."""
    return [
        (cx + rx * math.cos(math.radians(a)), cy + ry * math.sin(math.radians(a)))
        for a in np.linspace(start, end, 14)
    ]


def _strokes(letter: str) -> list[list[tuple[float, float]]]:
    """Pen strokes of one letter in a unit box, y up."""
    table: dict[str, list[list[tuple[float, float]]]] = {
        "A": [[(0, 0), (0.5, 1), (1, 0)], [(0.2, 0.36), (0.8, 0.36)]],
        "R": [
            [(0, 0), (0, 1), (0.55, 1), *_arc(0.55, 0.74, 0.42, 0.26, 90, -90), (0, 0.48)],
            [(0.5, 0.48), (1, 0)],
        ],
        "L": [[(0, 1), (0, 0), (1, 0)]],
        "D": [[(0, 0), (0, 1), (0.4, 1), *_arc(0.4, 0.5, 0.6, 0.5, 90, -90), (0, 0)]],
        "V": [[(0, 1), (0.5, 0), (1, 1)]],
        "0": [_arc(0.5, 0.5, 0.5, 0.5, 0, 360)],
        "1": [[(0.1, 0.75), (0.6, 1), (0.6, 0)]],
        "2": [[*_arc(0.5, 0.72, 0.46, 0.28, 170, -40), (0.02, 0), (1, 0)]],
        "3": [[*_arc(0.45, 0.74, 0.42, 0.26, 150, -90), *_arc(0.45, 0.25, 0.5, 0.25, 90, -150)]],
        "4": [[(0.75, 0), (0.75, 1), (0, 0.3), (1, 0.3)]],
        "5": [[(0.9, 1), (0.12, 1), (0.08, 0.55), *_arc(0.48, 0.3, 0.5, 0.3, 110, -150)]],
        "6": [[(0.85, 0.95), *_arc(0.6, 0.5, 0.58, 0.45, 100, 180), *_arc(0.5, 0.28, 0.48, 0.28, 180, 540)]],
        "7": [[(0, 1), (1, 1), (0.35, 0)]],
        "8": [_arc(0.5, 0.75, 0.4, 0.25, 0, 360), _arc(0.5, 0.26, 0.48, 0.26, 0, 360)],
        "9": [[*_arc(0.5, 0.72, 0.48, 0.28, 0, 360), *_arc(0.4, 0.5, 0.58, 0.48, 0, -80)]],
    }
    return table.get(letter, [])
