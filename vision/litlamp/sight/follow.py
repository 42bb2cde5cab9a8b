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
CALM, VERY_CALM, CALMED = 0.7, 0.4, 0.7
"""Where the part's edge comes to lie no further off than so many of its px from where it was expected, the
next frame, or the next two, are taken to go on so, and nothing is followed in them. How far off it was is
forgotten by so much with each frame that is followed."""
SLACK = 0.06
"""The part need not be cut anew where it would come to lie no further off than this share of itself."""

_HALF = np.float32(0.5)
_NONE: Points = np.empty((0, 2), np.float32)


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
        self._points = _NONE
        self._now: Plane | None = None
        self._there = self._box
        # Frames in which nothing is followed: how many come yet, whether this is one, and how far the part
        # was taken to go, and by how much to grow, since `_last`.
        self._rest, self._astray = 0, 2 * CALM
        self._resting = False
        self._kept = self._box
        self._gone, self._grown = (0.0, 0.0), 1.0

    def forget(self) -> None:
        """Nothing is followed until the next `keep`."""
        self._last = self._now = None
        self._points = _NONE
        self._rest, self._resting, self._astray = 0, False, 2 * CALM

    def motion(self, luma: Plane, expected: tuple[float, float] = (0.0, 0.0), *, rest: bool = True) -> Motion:
        """How the part kept last has moved in this frame.

        Parameters
        ----------
        luma : uint8 (H, W), the frame's plane.
        expected : about how far it should have moved, px of the frame.
        rest : nothing need be followed in this frame, if the part moves as expected.
        """
        guess = Motion(*expected, 1.0, False)
        self._now, self._resting = None, False
        if self._last is None or len(self._points) < FEWEST:
            return guess
        self._resting = rest and self._rest > 0
        if self._resting:
            self._rest -= 1
            return Motion(*expected, 1.0, True)
        step = _step(self._box)
        there = self._box.shift(self._gone[0] + expected[0], self._gone[1] + expected[1])
        now = sampled(luma, there, step)
        before = self._points
        middles = np.asarray(before - _HALF, np.float32)
        # Points are counted from the part's edge, the tracker from the middle of its first px.
        found, state, _ = cv2.calcOpticalFlowPyrLK(
            self._last, now, middles, middles.copy(), winSize=(COMPARED, COMPARED), maxLevel=LEVELS,
            criteria=(cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 12, 0.03),
        )  # fmt: skip
        here = state.ravel() > 0
        before, found = before[here], found[here] + _HALF
        fit = _common(before, found)
        if fit is None:
            self._points = _NONE
            return guess
        growth, about, to, agree = fit
        self._points, self._now, self._there = found[agree], now, there
        surely = len(self._points) >= ENOUGH
        # The fit is of the points' middle; the box's own moves by that and by what growth adds.
        dx = to[0] - about[0] + (growth - 1) * (there.width / (2 * step) - about[0])
        dy = to[1] - about[1] + (growth - 1) * (there.height / (2 * step) - about[1])
        growth /= self._grown
        astray = max(abs(dx), abs(dy)) + abs(growth - 1) * SIDE / 2
        self._astray = max(astray, CALMED * self._astray)
        self._rest = 0 if self._astray > CALM or not surely else 1 if self._astray > VERY_CALM else 2
        return Motion(expected[0] + dx * step, expected[1] + dy * step, growth, True)

    def pass_over(self, dx: float, dy: float) -> None:
        """A frame is not looked at, and the part is taken to have moved so in it; px of the frame."""
        self._gone = self._gone[0] + dx, self._gone[1] + dy
        self._kept = self._kept.shift(dx, dy)

    def keep(self, luma: Plane, box: Box) -> None:
        """Make this part of this frame the one to be followed; px of the frame."""
        before, self._kept = self._kept, box
        if self._resting:
            (x, y), (x0, y0) = box.centre, before.centre
            self._gone = self._gone[0] + x - x0, self._gone[1] + y - y0
            self._grown *= box.height / max(before.height, 1e-6)
            return
        self._gone, self._grown = (0.0, 0.0), 1.0
        there = self._there
        if self._now is not None and _all_but(there, box) and len(self._points) >= ENOUGH:
            self._last, self._box, self._now = self._now, there, None
            return
        step = _step(box)
        points = self._points
        if self._now is not None:
            old = _step(there)
            corner = np.array([there.x0 - box.x0, there.y0 - box.y0], np.float32)
            points = (points * np.float32(old) + corner) / np.float32(step)
        self._last, self._box, self._now = sampled(luma, box, step), box, None
        high, wide = self._last.shape
        low, top = MARGIN, np.array([wide - MARGIN, high - MARGIN], np.float32)
        self._points = points[((points > low) & (points < top)).all(axis=1)]
        if len(self._points) < ENOUGH:
            new = cv2.goodFeaturesToTrack(self._last, POINTS, 0.02, 6)
            if new is not None:
                self._points = new[:, 0] + _HALF


def _all_but(a: Box, b: Box) -> bool:
    """Whether two parts are so nearly the same that one may stand for the other."""
    near = SLACK * max(a.width, a.height)
    size = b.height / max(a.height, 1e-6)
    apart = max(abs(a.centre[0] - b.centre[0]), abs(a.centre[1] - b.centre[1]))
    return apart < near and abs(size - 1) < SLACK


def _step(box: Box) -> float:
    """Px of the frame for one of the part as it is sampled; small parts are not enlarged beyond twice."""
    return max(max(box.width, box.height) / SIDE, 0.5)


def sampled(luma: Plane, box: Box, step: float, shape: tuple[int, ...] | None = None) -> Plane:
    """A part of the plane, one px for every `step`; of that shape (high, wide) where given."""
    high, wide = shape or (max(round(box.height / step), 8), max(round(box.width / step), 8))
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


def _common(
    before: Points, after: Points
) -> tuple[float, tuple[float, float], tuple[float, float], NDArray[np.bool_]] | None:
    """The growth on which most points agree, where their middle was and is, and which agree."""
    n = len(before)
    if n < FEWEST:
        return None
    moved = after - before
    middle = np.sort(moved, axis=0)[n // 2]
    agree = np.abs(moved - middle).max(axis=1) < 3 * ASTRAY
    growth, ca, cb = 1.0, middle, middle
    for _ in range(2):
        count = int(np.count_nonzero(agree))
        if count < FEWEST:
            return None
        a, b = before[agree], after[agree]
        ca, cb = a.sum(axis=0) / count, b.sum(axis=0) / count
        a = a - ca
        spread = float(np.vdot(a, a))
        growth = float(np.vdot(a, b - cb)) / spread if spread > 200 else 1.0
        growth = min(max(growth, 1 / MOST_GROWTH), MOST_GROWTH)
        agree = np.abs(after - (cb + np.float32(growth) * (before - ca))).max(axis=1) < ASTRAY
    if int(np.count_nonzero(agree)) < max(FEWEST, n // 3):
        return None
    return growth, (float(ca[0]), float(ca[1])), (float(cb[0]), float(cb[1])), agree
