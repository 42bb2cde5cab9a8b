"""An answer against the truth: right or not, on which side, and which step went wrong.

Where the learner said what was seen, the first step that differs is the one. Where only the rule was said,
the slip of the eye that leads to just that rule tells the step; where no single slip does, it is the rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from litlamp.aspects.aspect import Aspect
from litlamp.aspects.rulebook import Rule, Rulebook
from litlamp.aspects.why import LINES, places
from litlamp.page.whatif import Side, Step, full, rule_of, side_of, slips

STEP_WORDS: Mapping[Step, str] = {
    "head count": "counting the heads",
    "colour": "the colours",
    "flash": "the flash",
    "stagger": "in line or staggered",
    "mount": "mast or dwarf",
    "plate": "the plates",
    "rule": "from what is seen to the rule",
}

_LIKELY: tuple[Step, ...] = ("plate", "flash", "stagger", "colour", "mount", "head count", "rule")
"""Which step a person is likelier to miss, where only the rule was said. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What an answer was worth.

    Attributes
    ----------
    right : the rule is right. Even then `step` may name a step that went wrong without harm.
    side : of the rule said.
    step : the step that went wrong; None where none did.
    told : what was wrong with it, in a sentence; "" where nothing was.
    surely : False where the step is only the likeliest, as the learner did not say what was seen.
    """

    right: bool
    side: Side
    step: Step | None
    told: str
    surely: bool
    said: Rule | None
    truth: Rule | None


def judge(seen: Aspect, rule: str | None, truth: Aspect, book: Rulebook) -> Verdict:
    """Judge an answer.

    Parameters
    ----------
    seen : what the learner says was seen; heads empty, mount and arrangement None, where it was not said.
        Plates count only where heads were said.
    rule : number of the rule said; None for "no standard aspect".
    """
    plain = full(truth)
    should = rule_of(plain, book)
    said = None if rule is None else book.rule(rule)
    right = said == should
    side = side_of(said, should, book)
    found = _first_wrong(seen, plain)
    if found is not None:
        return Verdict(right, side, found[0], found[1], True, said, should)
    if right:
        return Verdict(True, side, None, "", True, said, should)
    if seen.heads:
        told = f"What you saw is right; by it the rule is {_named(should)}."
        return Verdict(False, side, "rule", told, True, said, should)
    ways = [slip for slip in slips(plain, book) if said is not None and slip.rule == said]
    ways.sort(key=lambda slip: _LIKELY.index(slip.step))
    if ways:
        others = "".join(f" Or: {slip.what[:1].lower()}{slip.what[1:]}." for slip in ways[1:3])
        told = f"{ways[0].what}: that is one way to come to {_named(said)}.{others}"
        return Verdict(False, side, ways[0].step, told, False, said, should)
    told = "No single slip of the eye leads there: look the aspect up in Learn."
    return Verdict(False, side, "rule", told, False, said, should)


def _first_wrong(seen: Aspect, truth: Aspect) -> tuple[Step, str] | None:
    if seen.heads:
        if len(seen.heads) != len(truth.heads):
            return "head count", f"You counted {len(seen.heads)}; there are {len(truth.heads)}."
        names = places(len(truth.heads))
        for name, a, b in zip(names, seen.heads, truth.heads, strict=True):
            if a.colour != b.colour:
                return "colour", f"You saw the {name} {a.colour}; it is {b.colour}."
        for name, a, b in zip(names, seen.heads, truth.heads, strict=True):
            if a.flashing != b.flashing:
                return "flash", f"The {name} {'flashes' if b.flashing else 'is steady'}."
    if (
        seen.arrangement
        and truth.arrangement
        and len(truth.heads) > 1
        and seen.arrangement != truth.arrangement
    ):
        return "stagger", f"The heads are {LINES[truth.arrangement]}."
    if seen.mount and seen.mount != truth.mount:
        return "mount", "It is a dwarf." if truth.mount == "dwarf" else "It is on a mast."
    if seen.heads and seen.plates != truth.plates:
        missed, invented = sorted(truth.plates - seen.plates), sorted(seen.plates - truth.plates)
        parts = [f"the {kind} plate was missed" for kind in missed]
        parts += [f"there is no {kind} plate" for kind in invented]
        words = " and ".join(parts)
        return "plate", f"{words[:1].upper()}{words[1:]}."
    return None


def _named(rule: Rule | None) -> str:
    return "no standard aspect" if rule is None else f"{rule.name} ({rule.number})"
