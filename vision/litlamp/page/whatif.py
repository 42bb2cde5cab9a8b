"""What if: the aspects one slip of the eye away from one aspect, and which of those slips is dangerous.

A slip is dangerous where it makes the learner read something less restrictive than what is shown: wrong-side.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from litlamp.aspects.aspect import MOST_HEADS, PLATES, Arrangement, Aspect, Colour, Lamp, Mount
from litlamp.aspects.rulebook import Rule, Rulebook
from litlamp.aspects.why import LINES, places
from litlamp.aspects.words import describe

Side = Literal["wrong", "right", "same"]
Step = Literal["head count", "colour", "flash", "stagger", "mount", "plate", "rule"]
"""The steps of reading a signal, in the order in which they are taken; any of them may go wrong."""

SIDE_WORDS: dict[Side, str] = {
    "wrong": "Dangerous: less restrictive than what is shown",
    "right": "On the safe side: more restrictive",
    "same": "No harm: the same speed and warning",
}
# Mistakes that eyes and cameras make: an over-exposed red or yellow, a washed-out green.
_MISTAKEN: dict[Colour, tuple[Colour, ...]] = {
    "red": ("yellow",),
    "yellow": ("red", "green"),
    "green": ("yellow", "lunar"),
    "lunar": ("green",),
    "dark": ("red",),
}


@dataclass(frozen=True, slots=True)
class Slip:
    """One slip: at which step, what happens, the aspect then seen, what that says, and on which side it lies.

    `rule` is None where what is then seen is no standard aspect, which counts as most restrictive.
    """

    step: Step
    what: str
    aspect: Aspect
    rule: Rule | None
    side: Side

    @property
    def words(self) -> str:
        """The aspect then seen, in words."""
        return describe(self.aspect)


def full(aspect: Aspect) -> Aspect:
    """The aspect with what was not said taken as the plainest."""
    return replace(aspect, mount=aspect.mount or "mast", arrangement=aspect.arrangement or "vertical")


def rule_of(aspect: Aspect, book: Rulebook) -> Rule | None:
    """The rule that an aspect shows, None where it is not standard; what was not said is the plainest."""
    plain = full(aspect)
    found = book.find(
        plain.heads,
        plain.mount or "mast",
        plain.arrangement if len(plain.heads) > 1 else None,
        plain.plates,
        bool(plain.number),
    )
    return None if found is None else found[0]


def side_of(said: Rule | None, truth: Rule | None, book: Rulebook) -> Side:
    """On which side of the truth a reading lies, by the book's order; no rule counts as most restrictive."""
    a = book.rank(None if said is None else said.number)
    b = book.rank(None if truth is None else truth.number)
    return "same" if a == b else "wrong" if a > b else "right"


def slips(aspect: Aspect, book: Rulebook) -> tuple[Slip, ...]:
    """Every slip that changes what is read, the dangerous first; the aspect itself may be any."""
    truth = rule_of(aspect, book)
    found: list[Slip] = []
    for step, what, seen in _neighbours(full(aspect)):
        rule = rule_of(seen, book)
        if rule != truth:
            found.append(Slip(step, what, seen, rule, side_of(rule, truth, book)))
    order: dict[Side, int] = {"wrong": 0, "right": 1, "same": 2}
    return tuple(sorted(found, key=lambda slip: order[slip.side]))


def _neighbours(aspect: Aspect) -> Iterator[tuple[Step, str, Aspect]]:
    yield from _plate_slips(aspect)
    yield from _lamp_slips(aspect)
    heads = aspect.heads
    if len(heads) > 1:
        yield "head count", "The top head is cut off or hidden", _cut(aspect, heads[1:])
        yield "head count", "The lowest head is cut off or hidden", _cut(aspect, heads[:-1])
        other: Arrangement = "staggered" if aspect.arrangement == "vertical" else "vertical"
        yield "stagger", f"The heads are taken to be {LINES[other]}", replace(aspect, arrangement=other)
    if len(heads) < MOST_HEADS:
        more = (*heads, Lamp("red"))
        yield "head count", "A red light behind is taken for a lower head", _cut(aspect, more)
    mount: Mount = "dwarf" if aspect.mount == "mast" else "mast"
    what = "The mast is taken for a dwarf" if mount == "dwarf" else "The dwarf is taken for a mast"
    yield "mount", what, replace(aspect, mount=mount)


def _plate_slips(aspect: Aspect) -> Iterator[tuple[Step, str, Aspect]]:
    for kind in PLATES:
        if kind in aspect.plates:
            without = aspect.plates - {kind}
            yield "plate", f"The {kind} plate is not noticed", replace(aspect, plates=without)
        else:
            article = "A" if kind == "DV" else "An"
            having = aspect.plates | {kind}
            yield "plate", f"{article} {kind} plate is imagined", replace(aspect, plates=having)


def _lamp_slips(aspect: Aspect) -> Iterator[tuple[Step, str, Aspect]]:
    for at, (name, lamp) in enumerate(zip(places(len(aspect.heads)), aspect.heads, strict=True)):
        if lamp.flashing:
            yield "flash", f"The flash of the {name} is missed", _with(aspect, at, Lamp(lamp.colour))
            dark = _with(aspect, at, Lamp("dark"))
            yield "flash", f"The {name} is caught dark between two flashes", dark
        elif lamp.colour != "dark":
            yield "flash", f"The {name} is thought to flash", _with(aspect, at, Lamp(lamp.colour, True))
        for colour in _MISTAKEN[lamp.colour]:
            taken = _with(aspect, at, Lamp(colour, lamp.flashing))
            yield "colour", f"The {name} is taken for {colour}", taken


def _with(aspect: Aspect, at: int, lamp: Lamp) -> Aspect:
    return replace(aspect, heads=(*aspect.heads[:at], lamp, *aspect.heads[at + 1 :]))


def _cut(aspect: Aspect, heads: tuple[Lamp, ...]) -> Aspect:
    arrangement = aspect.arrangement if len(heads) > 1 and len(aspect.heads) > 1 else "vertical"
    return replace(aspect, heads=heads, arrangement=arrangement)
