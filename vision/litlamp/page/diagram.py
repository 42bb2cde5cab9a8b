"""A signal as a plain line drawing: where its parts go, for the template that writes the SVG.

Units are those of the drawing: 120 wide; the height follows the number of heads. Each lamp bears the letter
of its colour, so that colour is never the only sign.
"""

from __future__ import annotations

from dataclasses import dataclass

from litlamp.aspects.aspect import PLATES, Aspect
from litlamp.aspects.words import describe
from litlamp.page.whatif import full
from litlamp.report.book import LETTERS

WIDTH = 120.0
_MIDDLE = WIDTH / 2
_HEAD = 44.0
_ASIDE = 17.0


@dataclass(frozen=True, slots=True)
class DrawnHead:
    """One head: centre of its lamp, colour, letter and whether it flashes."""

    x: float
    y: float
    colour: str
    letter: str
    flashing: bool


@dataclass(frozen=True, slots=True)
class DrawnPlate:
    """One plate: centre, kind and the letters on it."""

    x: float
    y: float
    kind: str


@dataclass(frozen=True, slots=True)
class Diagram:
    """A drawing `height` high; the mast goes from `top` to `ground`."""

    height: float
    top: float
    ground: float
    heads: tuple[DrawnHead, ...]
    plates: tuple[DrawnPlate, ...]
    dwarf: bool
    words: str


def diagram(aspect: Aspect) -> Diagram:
    """The drawing of an aspect; what was not said is drawn as the plainest."""
    plain = full(aspect)
    staggered = plain.arrangement == "staggered" and len(plain.heads) > 1
    y = 30.0
    heads = []
    for at, lamp in enumerate(plain.heads):
        x = _MIDDLE + ((_ASIDE if at % 2 else -_ASIDE) if staggered else 0.0)
        letter = LETTERS[lamp.colour].strip() or "–"
        heads.append(DrawnHead(x, y, lamp.colour, letter, lamp.flashing))
        y += _HEAD
    y -= _HEAD / 2
    plates = []
    for kind in PLATES:
        if kind in plain.plates:
            plates.append(DrawnPlate(_MIDDLE, y + 14, kind))
            y += 28
    dwarf = plain.mount == "dwarf"
    ground = y + (10 if dwarf else 46)
    return Diagram(ground + 8, 12.0, ground, tuple(heads), tuple(plates), dwarf, describe(plain))
