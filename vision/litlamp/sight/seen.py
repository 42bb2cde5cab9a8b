"""What sight hands on: heads, plates and signals with their beliefs. Boxes are px in the upright picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from litlamp.aspects.aspect import COLOURS, Arrangement, Colour, Mount, Plate
from litlamp.aspects.belief import HeadBelief, PlateBelief, SignalBelief
from litlamp.box import Box

DARK = COLOURS.index("dark")
"""Where beliefs over the colours, as arrays, have that of no light."""


@dataclass(frozen=True, slots=True)
class LampSeen:
    """A lit lamp: centre and lit diameter in px."""

    x: float
    y: float
    diameter: float


@dataclass(frozen=True, slots=True)
class Shade:
    """How a lit lamp looks to its camera.

    Attributes
    ----------
    redness : half the log2 of its red over its green, linear, where its light fades and nothing is clipped.
    clipped : share of its core, 0 to 1, in which the channel that is clipped most is.
    """

    redness: float
    clipped: float


@dataclass(frozen=True, slots=True)
class HeadSeen:
    """One head: its box, its lit lamp if any, and beliefs.

    `colour` sums to 1 over the five colours. `flashing` is None where a still cannot tell.
    `flash_per_min` and its standard error are None unless a clip measured them. `present` is the belief that
    it is a head at all. `red_rim`, 0 to 1, says how plainly a lamp not taken for red has a rim too red for
    anything else; `unlit` is the belief that went to dark because a lens taken to be lit is so dim.
    `leaning` is how likely a flash is by what was seen where it cannot be told; None if nothing was.
    `shade` is how its lamp looks, where that could be measured.
    """

    box: Box
    lamp: LampSeen | None
    colour: Mapping[Colour, float]
    flashing: float | None = None
    flash_per_min: float | None = None
    present: float = 1.0
    dark_throughout: bool = False
    flash_per_min_error: float | None = None
    red_rim: float = 0.0
    unlit: float = 0.0
    leaning: float | None = None
    shade: Shade | None = None


@dataclass(frozen=True, slots=True)
class PlateSeen:
    """A plate found in the picture: where, and belief over its letters ("number" and "other" included)."""

    box: Box
    letters: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class SignalSeen:
    """One signal, heads top to bottom.

    Attributes
    ----------
    whole : probability that every head is among `heads` (not cut off, hidden or unseen).
    resolution : px per head (median head box width); the measure of what could be made out.
    axis : the fitted mast axis as two points (x0, y0, x1, y1), or None.
    plates_seen : plates located in the picture; `plates` is the belief per kind.
    strange : 0 for a picture like those the eyes were trained on, towards 1 for one unlike any of them.
    """

    box: Box
    heads: tuple[HeadSeen, ...]
    mount: Mapping[Mount, float]
    arrangement: Mapping[Arrangement, float]
    plates: Mapping[Plate, PlateBelief]
    plates_seen: tuple[PlateSeen, ...]
    number: str | None
    whole: float
    resolution: float
    axis: tuple[float, float, float, float] | None = None
    strange: float = 0.0

    def belief(self) -> SignalBelief:
        """The same without pixels, for the interpretation core."""
        heads = tuple(
            HeadBelief(h.colour, h.flashing, h.present, h.dark_throughout, h.leaning) for h in self.heads
        )
        return SignalBelief(
            heads, self.mount, self.arrangement, self.plates, whole=self.whole, number=self.number
        )
