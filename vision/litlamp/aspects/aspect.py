"""What a signal displays, as a person would state it: heads, mount, arrangement, plates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

Colour = Literal["red", "yellow", "green", "lunar", "dark"]
Mount = Literal["mast", "dwarf"]
Arrangement = Literal["vertical", "staggered"]
Plate = Literal["A", "R", "L", "DV"]

COLOURS: tuple[Colour, ...] = get_args(Colour)
MOUNTS: tuple[Mount, ...] = get_args(Mount)
ARRANGEMENTS: tuple[Arrangement, ...] = get_args(Arrangement)
PLATES: tuple[Plate, ...] = get_args(Plate)
MOST_HEADS = 3


@dataclass(frozen=True, slots=True)
class Lamp:
    """One head's light: its colour ("dark" for an unlit head) and whether it flashes."""

    colour: Colour
    flashing: bool = False

    def words(self) -> str:
        """As it is said: "flashing yellow"."""
        return f"flashing {self.colour}" if self.flashing else self.colour


@dataclass(frozen=True, slots=True)
class Aspect:
    """A full display. Heads run top to bottom; None means the speaker did not say."""

    heads: tuple[Lamp, ...]
    mount: Mount | None = None
    arrangement: Arrangement | None = None
    plates: frozenset[Plate] = frozenset()
    number: str | None = None
