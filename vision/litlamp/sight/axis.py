"""The line of the mast, and whether the heads stand in line on it or staggered to its two sides.

Angles are radians; a line of angle a runs down the picture along (sin a, cos a): positive leans right going
down.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from litlamp.aspects.aspect import Arrangement
from litlamp.box import Box

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float64]

ROLL = math.radians(3.0)
"""Spread of a hand-held camera's roll where no mast line is known: nine pictures in ten lie within 5
degrees."""
SURE_LINE, FAINT_LINE = math.radians(0.6), math.radians(3.0)
"""Spread of the roll where a mast line is known, at strength 1 and as strength falls to 0."""
OFFSET, OFFSET_SPREAD = 1.25, 0.3
"""Side to side distance of staggered heads and its spread, head widths. Common practice, no source."""
STRAY = 0.004
"""Belief always left to the other arrangement: brackets and odd heads that neither account describes."""
SEARCH = np.radians(np.arange(-12.0, 12.01, 0.5))
"""Leans tried for the mast line."""
LEAST_STRENGTH = 0.35
"""A fainter line is no line."""
TALLEST = 128
"""A crop is reduced to so many rows at most before its line is looked for."""


@dataclass(frozen=True, slots=True)
class Axis:
    """A fitted line: a point on it, its angle, and which of the points lie on it."""

    x: float
    y: float
    angle: float
    inliers: tuple[bool, ...]

    def offset(self, x: float, y: float) -> float:
        """Signed distance of a point from the line, px; positive to the right for one who looks at the
        mast."""
        return (x - self.x) * math.cos(self.angle) - (y - self.y) * math.sin(self.angle)

    def foot(self, x: float, y: float) -> tuple[float, float]:
        """The line's nearest point to that point."""
        along = (x - self.x) * math.sin(self.angle) + (y - self.y) * math.cos(self.angle)
        return self.x + along * math.sin(self.angle), self.y + along * math.cos(self.angle)


@dataclass(frozen=True, slots=True)
class MastLine:
    """The lean of the upright edges in a crop, and how far they stand out from edges of other leans, 0 to
    1."""

    angle: float
    strength: float


def fit_axis(points: ArrayLike, sizes: ArrayLike) -> Axis:
    """The mast's line through points of it (head centres, plates, foot), robust against strays.

    Parameters
    ----------
    points : shape (N, 2), x and y px, N >= 1; one point gives an upright line.
    sizes : shape (N,), how wide each thing is, px: a point within a quarter of its size lies on the line.

    Raises
    ------
    ValueError : shapes that do not match, or no point.
    """
    p, s = np.asarray(points, float), np.asarray(sizes, float)
    if p.ndim != 2 or p.shape[1] != 2 or s.shape != p.shape[:1] or len(p) == 0:
        raise ValueError(f"points (N, 2) and sizes (N,) are needed, not {p.shape} and {s.shape}")
    if len(p) == 1 or float(np.ptp(p, axis=0).max()) < 1e-9:
        return Axis(float(p[0, 0]), float(p[0, 1]), 0.0, (True,) * len(p))
    # Each point in units of its own size would bend the line, so the median size serves all.
    kept = _consensus(p, 0.25 * float(np.median(s))) if len(p) > 2 else np.ones(len(p), bool)
    origin, direction = _line(p[kept])
    angle = math.atan2(float(direction[0]), float(direction[1]))
    return Axis(float(origin[0]), float(origin[1]), angle, tuple(bool(k) for k in kept))


def _consensus(p: Floats, near: float) -> NDArray[np.bool_]:
    """Which points lie near the line through two of them that most do, and among those the closest.

    All pairs are tried: signals have few points, and this costs less than the import of a sampling fit.
    """
    best, kept = (0.0, 0.0), np.ones(len(p), bool)
    for i in range(len(p)):
        for j in range(i + 1, len(p)):
            along = p[j] - p[i]
            length = float(np.hypot(*along))
            if length < 1e-9:
                continue
            apart = np.abs((p[:, 0] - p[i, 0]) * along[1] - (p[:, 1] - p[i, 1]) * along[0]) / length
            on = apart <= near
            rank = (float(on.sum()), -float(apart[on].sum()))
            if rank > best:
                best, kept = rank, on
    return kept


def _line(p: Floats) -> tuple[Floats, Floats]:
    origin = p.mean(axis=0)
    direction = np.linalg.svd(p - origin)[2][0]
    return origin, direction if direction[1] >= 0 else -direction


def stagger(
    heads: Sequence[tuple[float, float, float]],
    mast_line: MastLine | None = None,
    width_jitter: float = 0.15,
) -> Mapping[Arrangement, float]:
    """Belief that the heads stand in line or staggered.

    Parameters
    ----------
    heads : (x, y, width) px of each head, top to bottom.
    mast_line : the mast's lean seen in the picture. Without it upright is the picture's own, give or take
        ROLL: a line through two heads cannot tell a rolled camera from a stagger.
    width_jitter : how far a centre may be out sideways, head widths.

    Notes
    -----
    Likelihoods of the sideways steps between successive heads, summed over the roll that all steps share:
    in line every step is nothing; staggered they go right and left in turn, or one of them is nothing.
    """
    if len(heads) < 2:
        return {"vertical": 1.0, "staggered": 0.0}
    at = np.array(heads, float)
    width = np.maximum((at[1:, 2] + at[:-1, 2]) / 2, 1e-6)
    dx, dy = (np.diff(at[:, :2], axis=0) / width[:, None]).T
    if mast_line is None:
        middle, spread = 0.0, ROLL
    else:
        middle = mast_line.angle
        spread = SURE_LINE + (FAINT_LINE - SURE_LINE) * (1 - min(max(mast_line.strength, 0.0), 1.0))
    reach = np.linspace(-3.2, 3.2, 129)
    roll = middle + spread * reach
    prior = np.exp(-0.5 * reach**2)
    step = dx[:, None] * np.cos(roll) - dy[:, None] * np.sin(roll)
    jitter = width_jitter * math.sqrt(2)
    turn = np.where(np.arange(len(dx)) % 2, -1.0, 1.0)
    patterns = [(side * turn, 0.45 if len(dx) > 1 else 0.5) for side in (1, -1)]
    if len(dx) > 1:
        for skip in range(len(dx)):
            for side in (1, -1):
                one = np.where(np.arange(len(dx)) == skip, 0.0, side)
                patterns.append((one, 0.1 / (2 * len(dx))))
    in_line = _density(step, np.zeros(len(dx)), jitter)
    apart = sum(share * _density(step, p, jitter) for p, share in patterns)
    likely = np.array([float(prior @ in_line), float(prior @ np.asarray(apart))]) + 1e-12
    staggered = float(likely[1] / likely.sum())
    staggered = STRAY + (1 - 2 * STRAY) * staggered
    return {"vertical": 1 - staggered, "staggered": staggered}


def mast_axis(
    heads: Sequence[tuple[float, float, float]], staggered: bool, mast_line: MastLine | None = None
) -> Axis:
    """The mast's line by its heads: through them where they stand in line, between them where staggered.

    Parameters
    ----------
    heads : (x, y, width) px of each head, top to bottom, at least one.
    mast_line : gives the lean of a staggered mast, whose heads cannot tell it; upright without it.

    Raises
    ------
    ValueError : no head.
    """
    at = np.array(heads, float).reshape(-1, 3)
    line = fit_axis(at[:, :2], at[:, 2])
    if not staggered or len(at) < 2:
        return line
    angle = 0.0 if mast_line is None else mast_line.angle
    through = Axis(line.x, line.y, angle, (False,) * len(at))
    aside = [through.offset(float(x), float(y)) for x, y, _ in at]
    middle = (min(aside) + max(aside)) / 2
    x, y = line.x + middle * math.cos(angle), line.y - middle * math.sin(angle)
    near = [abs(a - middle) <= w / 4 for a, w in zip(aside, at[:, 2], strict=True)]
    return Axis(x, y, angle, tuple(bool(n) for n in near))


def _density(step: Floats, pattern: Floats, jitter: float) -> Floats:
    """Density of the steps (n, rolls) under a pattern of -1, 0 and 1 for each, multiplied over steps."""
    spread = np.where(pattern == 0, jitter, math.hypot(OFFSET_SPREAD, jitter))[:, None]
    z = (step - OFFSET * pattern[:, None]) / spread
    return np.asarray(np.prod(np.exp(-0.5 * z * z) / spread, axis=0))


def mast_direction(rgb: Pixels, box: Box) -> MastLine | None:
    """The lean of mast, ladder and heads in a box round a signal, by the sharpest sum of edges along slant
    lines.

    Parameters
    ----------
    rgb : uint8, shape (H, W, 3), colour order R G B; not written to.
    box : the signal; half its width more is looked at on both sides.

    Returns
    -------
    None where the crop is too small or no lean stands out.
    """
    h, w = rgb.shape[:2]
    wide = Box(box.x0 - box.width / 2, box.y0, box.x1 + box.width / 2, box.y1).clamp(w, h)
    crop = rgb[int(wide.y0) : math.ceil(wide.y1), int(wide.x0) : math.ceil(wide.x1)]
    if min(crop.shape[:2]) < 8:
        return None
    grey = cv2.cvtColor(crop, cv2.COLOR_RGB2GRAY)
    scale = min(1.0, TALLEST / grey.shape[0])
    if scale < 1:
        grey = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    edges = cv2.Sobel(grey, cv2.CV_32F, 1, 0)
    # A lamp's edge must not outweigh the mast's.
    limit = 3 * float(np.abs(edges).mean()) + 1e-6
    even = np.asarray(np.clip(edges, -limit, limit), np.float32)
    sharp = np.full(len(SEARCH), np.nan)
    for i in range(0, len(SEARCH), 2):
        sharp[i] = _sharpness(even, float(SEARCH[i]))
    # Every other lean tells where the best one is, and how far it stands out.
    usual, best = float(np.nanmedian(sharp)), int(np.nanargmax(sharp))
    for i in (best - 1, best + 1):
        if 0 <= i < len(SEARCH):
            sharp[i] = _sharpness(even, float(SEARCH[i]))
    best = int(np.nanargmax(sharp))
    strength = 1 - usual / max(float(sharp[best]), 1e-9)
    if strength < LEAST_STRENGTH or best in (0, len(SEARCH) - 1):
        return None
    return MastLine(float(SEARCH[best]) + _between(sharp, best), strength)


def _sharpness(edges: NDArray[np.float32], lean: float) -> float:
    """How sharp the sum of edges along lines of that lean is."""
    rows, columns = edges.shape
    pad = math.ceil(rows / 2 * math.tan(float(SEARCH[-1]))) + 1
    straight = cv2.warpAffine(edges, _upright(math.tan(lean), pad, rows), (columns + 2 * pad, rows))
    sums = np.ones(rows, np.float32) @ straight
    return float(sums @ sums)


def _upright(t: float, pad: int, rows: int) -> Floats:
    """The shear that stands a line of slope t (x a row) upright, about the middle row, moved in by `pad`."""
    return np.array([[1.0, -t, pad + t * (rows - 1) / 2], [0.0, 1.0, 0.0]])


def _between(sharp: Floats, best: int) -> float:
    """Where a parabola through the best and its neighbours peaks, as a shift from the best, radians."""
    left, top, right = sharp[best - 1 : best + 2]
    bend = left - 2 * top + right
    return 0.0 if bend >= 0 else float(0.5 * (left - right) / bend * (SEARCH[1] - SEARCH[0]))
