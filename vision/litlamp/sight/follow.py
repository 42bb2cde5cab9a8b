"""Where a small part of the picture went from one frame to the next, by points in its luma."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.box import Box

Plane = NDArray[np.uint8]
Points = NDArray[np.float32]

SIDE = 112
"""The part's long side, px, in which points are followed."""
POINTS = 14
COMPARED = 13
"""Px about a point that are compared, each way together."""
LEVELS = 2
ASTRAY = 1.5
"""A point may end so far from where the common motion takes it, px of the part, and still agree."""
FEWEST = 4
"""Points that must agree."""
ENOUGH = 8
"""New points are sought where fewer are left."""
MOST_GROWTH = 1.15
"""From one frame to the next."""
MARGIN = 3
"""Points nearer to the part's edge are let go, px of the part."""


@dataclass(frozen=True, slots=True)
class Motion:
    """The part's middle moves by (dx, dy) px of the frame and the part grows by `growth`.

    `sure` is False where too few points agreed; the motion is then that which was expected.
    """

    dx: float
    dy: float
    growth: float
    sure: bool


class Follower:
    """Follows one part of the picture: `motion` on each frame, then `keep` with where it is taken to be."""

    def __init__(self) -> None:
        self._last: Plane | None = None
        self._box = Box(0, 0, 1, 1)
        self._points: Points = np.empty((0, 2), np.float32)

    def forget(self) -> None:
        """Nothing is followed until the next `keep`."""
        self._last = None
        self._points = np.empty((0, 2), np.float32)

    def motion(self, luma: Plane, expected: tuple[float, float] = (0.0, 0.0)) -> Motion:
        """How the part kept last has moved in this frame.

        Parameters
        ----------
        luma : uint8 (H, W), the frame's plane.
        expected : about how far it should have moved, px of the frame.
        """
        guess = Motion(*expected, 1.0, False)
        if self._last is None or len(self._points) < FEWEST:
            return guess
        step = _step(self._box)
        there = self._box.shift(*expected)
        now = _sampled(luma, there)
        before = (self._points - (self._box.x0, self._box.y0)).astype(np.float32) / np.float32(step)
        # Points are kept in px of the frame, where the first px spans 0 to 1; the tracker counts middles.
        found, state, _ = cv2.calcOpticalFlowPyrLK(
            self._last, now, before - np.float32(0.5), before - np.float32(0.5),
            winSize=(COMPARED, COMPARED), maxLevel=LEVELS,
            criteria=(cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 12, 0.03),
        )  # fmt: skip
        here = state[:, 0] > 0
        fit = _common(before[here], found[here] + np.float32(0.5))
        if fit is None:
            self._points = np.empty((0, 2), np.float32)
            return guess
        shift, growth, agree = fit
        corner = np.array([there.x0, there.y0], np.float32)
        self._points = (found[here][agree] + np.float32(0.5)) * np.float32(step) + corner
        # The fit moves the points' middle; the box's own moves by that and by what growth adds.
        middle = np.array([there.width, there.height]) / (2 * step)
        about = before[here][agree].mean(axis=0)
        dx, dy = (shift + (growth - 1) * (middle - about)) * step
        return Motion(expected[0] + float(dx), expected[1] + float(dy), growth, True)

    def keep(self, luma: Plane, box: Box) -> None:
        """Make this part of this frame the one to be followed; px of the frame."""
        self._box = box
        self._last = _sampled(luma, box)
        step = _step(box)
        low = np.array([box.x0, box.y0]) + MARGIN * step
        top = np.array([box.x1, box.y1]) - MARGIN * step
        inside = ((self._points > low) & (self._points < top)).all(axis=1)
        self._points = self._points[inside]
        if len(self._points) < ENOUGH:
            points = cv2.goodFeaturesToTrack(self._last, POINTS, 0.02, 6)
            if points is not None:
                new = (points[:, 0] + 0.5) * step + np.array([box.x0, box.y0])
                self._points = new.astype(np.float32)


def _step(box: Box) -> float:
    """Px of the frame for one of the part as it is sampled; small parts are not enlarged beyond twice."""
    return max(max(box.width, box.height) / SIDE, 0.5)


def _sampled(luma: Plane, box: Box) -> Plane:
    step = _step(box)
    wide, high = max(round(box.width / step), 8), max(round(box.height / step), 8)
    skip = max(int(step), 1)
    x0 = min(max(int(box.x0) - 2, 0), luma.shape[1] - 1)
    y0 = min(max(int(box.y0) - 2, 0), luma.shape[0] - 1)
    x1, y1 = max(int(box.x1) + 3, x0 + 1), max(int(box.y1) + 3, y0 + 1)
    # Every so-manieth px only: a near signal fills much of the frame, and its points stand out all the same.
    cut = np.ascontiguousarray(luma[y0:y1:skip, x0:x1:skip])
    s = step / skip
    back = np.array(
        [
            [s, 0, (box.x0 - x0 + step / 2 - 0.5) / skip],
            [0, s, (box.y0 - y0 + step / 2 - 0.5) / skip],
        ]
    )
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    out = cv2.warpAffine(cut, back, (wide, high), flags=how, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(out, np.uint8)


def _common(before: Points, after: Points) -> tuple[Points, float, NDArray[np.bool_]] | None:
    """The shift of the points' middle and their growth on which most agree, and which do."""
    if len(before) < FEWEST:
        return None
    moved = after - before
    middle = np.median(moved, axis=0)
    agree = np.abs(moved - middle).max(axis=1) < 3 * ASTRAY
    growth = 1.0
    for _ in range(2):
        if int(agree.sum()) < FEWEST:
            return None
        a, b = before[agree], after[agree]
        ca, cb = a.mean(axis=0), b.mean(axis=0)
        spread = float(((a - ca) ** 2).sum())
        growth = float(((a - ca) * (b - cb)).sum()) / spread if spread > 200 else 1.0
        growth = min(max(growth, 1 / MOST_GROWTH), MOST_GROWTH)
        off = after - (cb + growth * (before - ca))
        agree = np.abs(off).max(axis=1) < ASTRAY
    if int(agree.sum()) < max(FEWEST, len(before) // 3):
        return None
    shift = (after[agree] - before[agree]).mean(axis=0)
    return shift.astype(np.float32), growth, agree
