"""Painted lamps, and stand-ins for the networks that see no more than those.

Each stand-in works from the pixels of the window it is given, as a trained network does: so whatever is read
has been through the cutting and undoing of windows. The finder's answers are laid out as in its training
targets: logs of sizes, cells of STRIDE px, places within the cell.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
import pytest

from litlamp.aspects.aspect import COLOURS
from litlamp.sight import find
from litlamp.sight.crop import LETTERS, READER_HEIGHT, READER_WIDTH, STRIDE
from litlamp.sight.eyes import Calibration, Eyes, Net

GROUND = 20
PAINT = {"red": (255, 40, 24), "yellow": (255, 190, 24), "green": (40, 255, 130), "lunar": (225, 235, 255),
         "dark": (30, 30, 200)}  # fmt: skip
BOARD = (250, 40, 250)
WIDE, TALL = 2.5, 3.0
"""A painted head's box, in lens diameters."""


@dataclass(frozen=True)
class Lamp:
    x: float
    y: float
    d: float
    colour: str = "green"


def _paint(
    size: tuple[int, int], lamps: Sequence[Lamp] = (), boards: Sequence[tuple[float, float, float]] = ()
) -> np.ndarray:
    """Discs and square boards (x, y, side) on near-black, uint8 (h, w, 3); places are edges' coordinates."""
    rgb = np.full((size[1], size[0], 3), GROUND, np.uint8)
    for lamp in lamps:
        # cv2 puts 0 at the middle of the first px.
        at = [round((v - 0.5) * 16) for v in (lamp.x, lamp.y)]
        cv2.circle(rgb, at, round(lamp.d * 8), PAINT[lamp.colour], -1, cv2.LINE_AA, 4)
    for x, y, side in boards:
        low = [round(v - side / 2) for v in (x, y)]
        rgb[low[1] : low[1] + round(side), low[0] : low[0] + round(side)] = BOARD
    rgb.flags.writeable = False
    return rgb


def _blobs(pixels: np.ndarray) -> list[tuple[float, float, float, str]]:
    """(x, y, diameter, colour or "board") of everything painted in a window; the grey beyond is not seen."""
    purity = np.ptp(pixels[..., :3].astype(int), axis=2)
    light = np.maximum(pixels[..., :3].max(axis=2).astype(float) - GROUND, 0) / (255 - GROUND)
    # Lunar paint is nearly grey, but brighter than the grey beyond the edge.
    shown = (light > 0.25) & ((purity > 40) | (light > 0.6))
    n, labels = cv2.connectedComponents(shown.astype(np.uint8))
    out = []
    for i in range(1, n):
        part = labels == i
        ys, xs = np.nonzero(part)
        weight = light[part]
        colour = np.average(pixels[part][:, :3], axis=0, weights=weight**4)
        names = {**PAINT, "board": BOARD}
        name = min(names, key=lambda k: float(np.abs(colour - names[k]).sum()))
        area = float(light[part].sum())
        d = 2 * np.sqrt(area / np.pi) if name != "board" else np.sqrt(area)
        if d < 2:
            continue  # The finder is taught no smaller lamps either.
        x, y = float(weight @ xs / weight.sum()) + 0.5, float(weight @ ys / weight.sum()) + 0.5
        out.append((x, y, float(d), name))
    return out


@dataclass
class PaintFinder:
    """Answers for painted lamps and boards; keeps the shapes it was asked about."""

    asked: list[tuple[int, ...]] = field(default_factory=list)
    score: float = 0.9

    def run(self, _: object, given: dict[str, np.ndarray]) -> list[np.ndarray]:
        pixels = given["pixels"]
        assert pixels.dtype == np.uint8
        assert pixels.ndim == 4
        assert pixels.shape[1] % 32 == 0
        assert pixels.shape[2] % 32 == 0
        self.asked.append(pixels.shape)
        return [np.stack([self._maps(p) for p in pixels])]

    def _maps(self, pixels: np.ndarray) -> np.ndarray:
        h, w = pixels.shape[:2]
        maps = np.zeros((20, h // STRIDE, w // STRIDE), np.float32)
        blobs = _blobs(pixels)
        lamps = [b for b in blobs if b[3] != "board"]
        for x, y, d, name in blobs:
            ix, iy = int(x / STRIDE), int(y / STRIDE)
            v = maps[:, iy, ix]
            if name == "board":
                v[find.PLATE], v[find.PLATE_DX], v[find.PLATE_DY] = (
                    self.score,
                    x / STRIDE - ix,
                    y / STRIDE - iy,
                )
                v[find.PLATE_W] = v[find.PLATE_H] = np.log(d / 8)
                continue
            width = WIDE * d
            column = [b for b in lamps if abs(b[0] - x) < 1.6 * width]
            v[find.HEAD], v[find.DX], v[find.DY] = self.score, x / STRIDE - ix, y / STRIDE - iy
            v[find.LEFT] = v[find.RIGHT] = np.log(width / 2 / 8)
            v[find.TOP] = v[find.BOTTOM] = np.log(TALL * d / 2 / 8)
            v[find.LENS] = np.log(d / 4)
            v[find.COLOUR] = 8.0 * (np.array(COLOURS) == name)
            v[find.VOTE_X] = (np.mean([b[0] for b in column]) - x) / width / 4
            v[find.VOTE_Y] = (np.mean([b[1] for b in column]) - y) / width / 4
        return maps


@dataclass
class PaintReader:
    """Counts the marks of its window and names the paint under each; the rest of its answers are given."""

    count: int | None = None
    colours: tuple[str, ...] | None = None
    staggered: float = -6.0
    dwarf: float = -6.0
    whole: float = 6.0
    plates: tuple[float, float, float, float] = (-6.0, -6.0, -6.0, -6.0)

    def run(self, _: object, given: dict[str, np.ndarray]) -> list[np.ndarray]:
        assert given["pixels"].shape[1:] == (READER_HEIGHT, READER_WIDTH, 4)
        return [np.stack([self._answer(p) for p in given["pixels"]])]

    def _answer(self, pixels: np.ndarray) -> np.ndarray:
        marks = cv2.connectedComponentsWithStats((pixels[..., 3] > 150).astype(np.uint8))[3][1:]
        marks = sorted(marks.tolist(), key=lambda m: m[1])[:3]
        count = len(marks) if self.count is None else self.count
        out = np.zeros(27, np.float32)
        out[count] = 8.0
        for slot, (x, y) in enumerate(marks):
            under = pixels[round(y), round(x), :3].astype(int)
            name = min(PAINT, key=lambda k: int(np.abs(under - PAINT[k]).sum()))
            name = self.colours[slot] if self.colours else name
            out[4 + 5 * slot + COLOURS.index(name)] = 8.0
        out[19:] = (self.staggered, self.dwarf, self.whole, *self.plates, 0.0)
        return out


@dataclass
class SetLetters:
    """The plate reader: always the same letters."""

    letters: str = "R"

    def run(self, _: object, given: dict[str, np.ndarray]) -> list[np.ndarray]:
        assert given["pixels"].shape[1:] == (40, 40, 3)
        one = 8.0 * (np.array(LETTERS) == self.letters)
        return [np.tile(one.astype(np.float32), (len(given["pixels"]), 1))]


@pytest.fixture(scope="session")
def lamp() -> type[Lamp]:
    return Lamp


@pytest.fixture(scope="session")
def paint() -> Callable[..., np.ndarray]:
    return _paint


@pytest.fixture(scope="session")
def eyes_for() -> Callable[..., Eyes]:
    """`eyes_for(finder, letters=, calibration=, **reader)`: eyes made of the stand-ins."""

    def make(
        finder: PaintFinder | None = None, letters: str = "R", calibration: Calibration | None = None,
        **reader: object,
    ) -> Eyes:  # fmt: skip
        return Eyes(
            Net("finder", finder or PaintFinder()),
            Net("reader", PaintReader(**reader)),  # type: ignore[arg-type]
            Net("plates", SetLetters(letters)),
            calibration or Calibration("stand-ins"),
            {},
        )

    return make


@pytest.fixture
def finder() -> PaintFinder:
    return PaintFinder()
