"""Where things of the world fall in the picture: metres about a signal's foot to px."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class View:
    """A camera far enough away that each head has one scale, near enough to look up and aside.

    Metres: x to the right, y up from the foot, z towards the viewer along the head's own axis.

    Attributes
    ----------
    scale : px per metre at the foot.
    foot : px of the foot (x = y = z = 0).
    roll, yaw : radians; a positive yaw shows the head's far flank on the right.
    eye : height of the camera over the foot, metres.
    distance : metres to the camera.
    converge : how fast masts narrow with height when looking up, per metre.
    """

    scale: float
    foot: tuple[float, float]
    roll: float = 0.0
    yaw: float = 0.0
    eye: float = 1.6
    distance: float = 60.0
    converge: float = 0.0

    def points(self, x: Points, y: Points, z: float = 0.0) -> Points:
        """Px (n, 2) of points at depth z."""
        f = 1.0 / (1.0 + self.converge * np.maximum(y, 0.0))
        px = x * math.cos(self.yaw) * f + z * math.sin(self.yaw)
        py = y * f + z * (y - self.eye) / self.distance
        c, s = self.scale * math.cos(self.roll), self.scale * math.sin(self.roll)
        out = np.empty((len(px), 2))
        out[:, 0] = self.foot[0] + c * px + s * py
        out[:, 1] = self.foot[1] - c * py + s * px
        return out

    def point(self, x: float, y: float, z: float = 0.0) -> tuple[float, float]:
        """Px of one point."""
        at = self.points(np.array([x]), np.array([y]), z)[0]
        return float(at[0]), float(at[1])

    def size_at(self, y: float) -> float:
        """Px per metre at height y."""
        return self.scale / (1.0 + self.converge * max(y, 0.0))

    @property
    def horizon(self) -> float:
        """Row of the horizon at the foot's column, px; perhaps outside the picture."""
        return self.foot[1] - self.scale * self.eye
