"""A line of rails and how a train runs on it: its bends in plan, the camera in the cab, what stands beside.

Metres. Along the line `s` counts from its start; `u` is to the right of the track that the train runs on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from litlamp.scene.cutout import Affine
from litlamp.scene.motion import Wave

Floats = NDArray[np.float64]
NEAREST = 2.5  # m; nearer things are behind the cab's window


@dataclass(frozen=True, slots=True)
class Bends:
    """The line in plan, in steps of a metre: where it is and which way it heads (radians, to the right)."""

    x: Floats
    z: Floats
    heading: Floats

    @property
    def length(self) -> float:
        """Metres."""
        return float(len(self.x) - 1)

    def at(self, s: Floats) -> tuple[Floats, Floats, Floats]:
        """(x, z, heading) at distances along the line."""
        index = np.arange(len(self.x))
        return np.interp(s, index, self.x), np.interp(s, index, self.z), np.interp(s, index, self.heading)


def draw_bends(rng: np.random.Generator, length: float, tightest: float) -> Bends:
    """A line with straights and gentle bends of `tightest` metres radius and more; inf keeps it straight."""
    count = math.ceil(length) + 1
    curve = np.zeros(count)
    at = float(rng.uniform(0, 200))
    while at < length and math.isfinite(tightest):
        long = float(rng.uniform(150, 450))
        here = np.arange(count)
        # Eased in and out, as track is laid.
        rise = np.clip((here - at) / 60, 0, 1) * np.clip((at + long - here) / 60, 0, 1)
        curve += rise * float(rng.choice([-1, 1])) / float(rng.uniform(tightest, 3 * tightest))
        at += long + float(rng.uniform(100, 500))
    heading = np.concatenate([[0.0], np.cumsum(curve[:-1])])
    x = np.concatenate([[0.0], np.cumsum(np.sin(heading[:-1]))])
    z = np.concatenate([[0.0], np.cumsum(np.cos(heading[:-1]))])
    return Bends(x, z, heading)


@dataclass(frozen=True, slots=True)
class Run:
    """How the train runs: its pace, metres a second, at moments between which it changes evenly.

    `start` is where it is at the first moment, metres along the line; before and after it keeps its pace.
    """

    seconds: tuple[float, ...]
    paces: tuple[float, ...]
    start: float = 0.0

    def at(self, seconds: float) -> float:
        """Metres along the line."""
        metres, now, pace = self.start, self.seconds[0], self.paces[0]
        if seconds <= now:
            return metres + pace * (seconds - now)
        for then, next_pace in zip(self.seconds[1:], self.paces[1:], strict=True):
            part = min(seconds, then) - now
            metres += pace * part + (next_pace - pace) * part * part / (2 * (then - now))
            if seconds <= then:
                return metres
            now, pace = then, next_pace
        return metres + pace * (seconds - now)


@dataclass(frozen=True, slots=True)
class Cab:
    """The camera behind the cab's window.

    Attributes
    ----------
    size : (width, height) px; `focal` px.
    eye : metres over the rails; `aside` metres right of the track's middle.
    horizon : row of the horizon at rest, px.
    sway, nod : turns to the side and up, radians; `sidle` metres to the side.
    """

    size: tuple[int, int]
    focal: float
    bends: Bends
    run: Run
    eye: float = 2.6
    aside: float = 0.4
    horizon: float = 0.0
    sway: Wave = field(default_factory=lambda: Wave(()))
    nod: Wave = field(default_factory=lambda: Wave(()))
    sidle: Wave = field(default_factory=lambda: Wave(()))

    def eye_at(self, seconds: float) -> View:
        """The camera at a moment."""
        s = self.run.at(seconds)
        x, z, heading = (float(v[0]) for v in self.bends.at(np.array([s])))
        aside = self.aside + self.sidle.at(seconds)
        return View(
            self,
            s,
            (x + aside * math.cos(heading), z - aside * math.sin(heading)),
            heading + self.sway.at(seconds),
            self.horizon + self.focal * self.nod.at(seconds),
        )


@dataclass(frozen=True, slots=True)
class View:
    """What the camera sees at one moment: metres of the line to px."""

    cab: Cab
    s: float
    place: tuple[float, float]
    heading: float
    horizon: float

    def plan(self, s: Floats, u: Floats) -> tuple[Floats, Floats]:
        """(to the right, ahead) of the camera, metres, of points of the line."""
        x, z, way = self.cab.bends.at(s)
        dx, dz = x + u * np.cos(way) - self.place[0], z - u * np.sin(way) - self.place[1]
        c, d = math.cos(self.heading), math.sin(self.heading)
        return dx * c - dz * d, dx * d + dz * c

    def upright(self, right: float, ahead: float, scale: float, foot: tuple[float, float]) -> Affine:
        """Where an upright piece stands that faces the camera: px of the piece to px of the picture.

        `scale` is the piece's px per metre, `foot` the px of it that stands on the ground, metres `right`
        and `ahead` of the camera.
        """
        size = self.cab.focal / ahead / scale
        x = self.cab.size[0] / 2 + self.cab.focal * right / ahead
        y = self.horizon + self.cab.focal * self.cab.eye / ahead
        return np.array([[size, 0.0, x - size * foot[0]], [0.0, size, y - size * foot[1]]])
