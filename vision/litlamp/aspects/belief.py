"""What was seen of one signal, as probabilities: the only thing the interpretation core is given."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from litlamp.aspects.aspect import Arrangement, Colour, Mount, Plate


@dataclass(frozen=True, slots=True)
class HeadBelief:
    """One head.

    Attributes
    ----------
    colour : probabilities over the five colours, summing to 1.
    flashing : probability that the lamp flashes, or None where it cannot be told (a still).
    present : probability that this is a head of this signal at all.
    dark_throughout : True only where a clip of sufficient length shows the head dark in every frame.
    leaning : where a clip cannot tell, how likely a flash is by what it shows; None where it shows nothing.
    """

    colour: Mapping[Colour, float]
    flashing: float | None = None
    present: float = 1.0
    dark_throughout: bool = False
    leaning: float | None = None


@dataclass(frozen=True, slots=True)
class PlateBelief:
    """One kind of plate: present, absent, or not to be told (too small, blurred, covered, out of view).

    The three sum to 1; `unknown` is the share of belief in "it could not have been seen".
    """

    present: float = 0.0
    absent: float = 0.0
    unknown: float = 1.0


UNKNOWN_PLATE = PlateBelief()
NO_PLATE = PlateBelief(0.0, 1.0, 0.0)
SEEN_PLATE = PlateBelief(1.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class SignalBelief:
    """One signal: heads top to bottom (at most three count), and all that stands around them.

    Attributes
    ----------
    mount, arrangement : probabilities, each summing to 1.
    plates : a kind that is missing here is unknown.
    whole : probability that no head of this signal is outside the heads listed (cut by the picture's edge,
        hidden, or too dark to be seen).
    number : digits of the number plate if read; "?" if one is seen and its digits are not read; "" if there
        is none; None if it cannot be told.
    """

    heads: tuple[HeadBelief, ...]
    mount: Mapping[Mount, float]
    arrangement: Mapping[Arrangement, float]
    plates: Mapping[Plate, PlateBelief] = field(default_factory=dict)
    whole: float = 1.0
    number: str | None = None
