"""A scene that moves before the camera: what a flat scene and a line seen from the cab have in common."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from litlamp.box import Box
from litlamp.scene.cutout import Affine, moved_box, moved_point
from litlamp.scene.film import Film
from litlamp.scene.lamps_over_time import LampKey
from litlamp.scene.light import LitScene, Radiance, Source
from litlamp.scene.truth import SignalTruth

Rows = NDArray[np.float64]
LampRows = Callable[[LampKey, Rows], Rows]  # light, 0 to 1, of a lamp at rows of the picture


@dataclass(frozen=True, slots=True)
class Spot:
    """A thing's own truth, px of its own picture, and where it is now."""

    signal: int
    affine: Affine
    hidden: tuple[Box, ...] = ()  # what stands before it, px of the clip


class Moving(Protocol):
    """A scene over time, in linear light."""

    size: tuple[int, int]
    signals: tuple[SignalTruth, ...]  # each in px of its own picture, all heads lit
    setting: LitScene  # its light; the radiance is not used
    factors: tuple[tuple[str, str], ...]

    def sources(self, signal: int) -> tuple[Source, ...]:
        """What makes the light of each head of a signal."""

    def where(self, seconds: float) -> tuple[Spot, ...]:
        """The signals before the camera, perhaps outside the picture."""

    def others(self, seconds: float) -> tuple[tuple[str, Box], ...]:
        """Things that are no signal but could be taken for one, px of the clip."""

    def paint(self, seconds: float, film: Film, lamps: LampRows) -> Radiance:
        """The picture (H, W, 3), linear, lamps included; a new array."""

    def sweep(self, seconds: float, open_s: float) -> tuple[float, float]:
        """Px that the whole picture moves within a shutter time."""


def shown_at(
    signal: SignalTruth, spot: Spot, size: tuple[int, int], covers: tuple[Box, ...] = ()
) -> SignalTruth:
    """A signal's truth as it stands in the clip's picture; shares in view count `covers` as hiding."""
    scale = float(np.sqrt(abs(np.linalg.det(spot.affine[:, :2]))))
    hiding = (*spot.hidden, *covers)
    heads = tuple(
        replace(
            h,
            box=(box := moved_box(h.box, spot.affine)),
            centre=moved_point(h.centre, spot.affine),
            diameter=h.diameter * scale,
            visible=h.visible * _in_view(box, size, hiding),
        )
        for h in signal.heads
    )
    plates = []
    for plate in signal.plates:
        box = moved_box(plate.box, spot.affine)
        seen = plate.visible * _in_view(box, size, hiding)
        letter = plate.letter_px * scale
        legible = plate.legible and seen > 0.7 and letter >= 5
        plates.append(replace(plate, box=box, letter_px=letter, visible=seen, legible=legible))
    whole = all(h.box.clamp(*size).area >= 0.9 * h.box.area for h in heads)
    return replace(
        signal, box=moved_box(signal.box, spot.affine), heads=heads, plates=tuple(plates),
        whole_in_view=whole, foot=moved_point(signal.foot, spot.affine),
    )  # fmt: skip


def _in_view(box: Box, size: tuple[int, int], hiding: tuple[Box, ...]) -> float:
    if box.area <= 0:
        return 0.0
    share = box.clamp(*size).area / box.area
    for other in hiding:
        w = min(box.x1, other.x1) - max(box.x0, other.x0)
        h = min(box.y1, other.y1) - max(box.y0, other.y0)
        if w > 0 and h > 0:
            share *= 1 - w * h / box.area
    return float(share)
