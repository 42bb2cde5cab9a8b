"""The exact truth of a rendered picture, and the truth line it is written as."""

from __future__ import annotations

from dataclasses import dataclass

from litlamp.aspects.aspect import PLATES, Arrangement, Aspect, Lamp, Mount, Plate
from litlamp.box import Box


@dataclass(frozen=True, slots=True)
class HeadTruth:
    """One head as rendered: px in the finished picture.

    `box` bounds the housing and background as seen. `centre` is the centre of the lit (or, for a dark
    head, the would-be lit) aperture. `diameter` is the lens diameter in px. `lit` is False for a dark
    head and for a flashing head caught in its off phase.
    """

    box: Box
    lamp: Lamp
    centre: tuple[float, float]
    diameter: float
    lit: bool
    kind: str  # "searchlight", "vertical", "triangular", "led"
    visible: float = 1.0  # share of the head's box inside the picture and not hidden


@dataclass(frozen=True, slots=True)
class PlateTruth:
    """One plate: kind "A", "R", "L", "DV" or "number"; `text` for a number plate.

    `legible` is False where snow, size (letter under about 5 px), blur or the picture's edge makes it
    unreadable even for a person; `visible` is the share of its box in view and not covered.
    """

    kind: str
    box: Box
    text: str
    letter_px: float
    visible: float
    legible: bool


@dataclass(frozen=True, slots=True)
class SignalTruth:
    """One signal, heads top to bottom; `foot` is where mast or post meets ground, px, perhaps outside."""

    box: Box
    heads: tuple[HeadTruth, ...]
    mount: Mount
    arrangement: Arrangement
    plates: tuple[PlateTruth, ...]
    whole_in_view: bool
    foot: tuple[float, float]
    facing: bool = True  # False: seen from behind, nothing to read

    @property
    def aspect(self) -> Aspect:
        """The displayed aspect, flash included even where a still cannot show it."""
        shown = {p.kind for p in self.plates}
        kinds: frozenset[Plate] = frozenset(kind for kind in PLATES if kind in shown)
        number = next((p.text for p in self.plates if p.kind == "number"), None)
        return Aspect(tuple(h.lamp for h in self.heads), self.mount, self.arrangement, kinds, number)


@dataclass(frozen=True, slots=True)
class SceneTruth:
    """All of one picture: readable signals, and boxes of things that must not be read as signals."""

    size: tuple[int, int]
    signals: tuple[SignalTruth, ...]
    distractors: tuple[tuple[str, Box], ...] = ()  # ("road light", box), ("head lamp", box) …
    factors: tuple[tuple[str, str], ...] = ()  # every drawn factor: ("light", "dusk"), ("weather", "snow") …
