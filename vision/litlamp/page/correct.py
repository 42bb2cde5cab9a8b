"""A correction made by hand: what a learner states in place of what was seen, and what that does.

Only the interpretation core runs again, on the belief so corrected; the picture is not looked at again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import cast, get_args

from litlamp.aspects.aspect import (
    ARRANGEMENTS,
    COLOURS,
    MOST_HEADS,
    MOUNTS,
    PLATES,
    Arrangement,
    Colour,
    Mount,
    Plate,
)
from litlamp.aspects.belief import NO_PLATE, SEEN_PLATE, UNKNOWN_PLATE, HeadBelief, SignalBelief
from litlamp.aspects.interpret import interpret
from litlamp.aspects.reading import Reading
from litlamp.aspects.rulebook import Rulebook
from litlamp.aspects.why import LINES, places
from litlamp.report.text import headed, percent, titled

NO_HEAD = "none"
"""What is chosen for a head that is no head of this signal."""
_CERTAIN_DARK = 0.5


@dataclass(frozen=True, slots=True)
class HeadSaid:
    """What was stated of one head; None leaves what was seen."""

    colour: Colour | None = None
    flashing: bool | None = None
    no_head: bool = False


@dataclass(frozen=True, slots=True)
class Correction:
    """What was stated of one signal; None leaves what was seen.

    `above` and `below` are heads that the picture does not show. `whole` True: all its heads are listed.
    """

    heads: tuple[HeadSaid, ...] = ()
    above: Colour | None = None
    below: Colour | None = None
    mount: Mount | None = None
    arrangement: Arrangement | None = None
    plates: Mapping[Plate, bool] = field(default_factory=dict)
    whole: bool | None = None

    def __bool__(self) -> bool:
        return self != Correction(heads=(HeadSaid(),) * len(self.heads))


def correction_of(said: Mapping[str, str], heads: int) -> Correction:
    """The correction in a form's fields; whatever is not one of the choices is left as it was seen."""

    def colour(name: str) -> Colour | None:
        value = said.get(name, "")
        return value if value in COLOURS else None

    flashes = {"yes": True, "no": False}
    return Correction(
        heads=tuple(
            HeadSaid(
                colour(f"colour{at}"),
                flashes.get(said.get(f"flash{at}", "")),
                said.get(f"colour{at}") == NO_HEAD,
            )
            for at in range(heads)
        ),
        above=colour("above"),
        below=colour("below"),
        mount=cast(Mount, said["mount"]) if said.get("mount") in get_args(Mount) else None,
        arrangement=cast(Arrangement, said["arrangement"])
        if said.get("arrangement") in get_args(Arrangement)
        else None,
        plates={
            kind: flashes[said[f"plate{kind}"]] for kind in PLATES if said.get(f"plate{kind}") in flashes
        },
        whole=True if said.get("whole") == "yes" else None,
    )


def corrected(belief: SignalBelief, correction: Correction) -> SignalBelief:
    """The belief with what was stated taken as certain."""
    heads: list[HeadBelief] = []
    for at, head in enumerate(belief.heads):
        said = correction.heads[at] if at < len(correction.heads) else HeadSaid()
        if said.no_head:
            continue
        if said.colour is not None:
            dark = said.colour == "dark"
            head = HeadBelief({said.colour: 1.0}, head.flashing, 1.0, head.dark_throughout and dark)
        if said.flashing is not None:
            head = replace(head, flashing=float(said.flashing))
        heads.append(head)
    for extra, at in ((correction.above, 0), (correction.below, len(heads))):
        if extra is not None:
            heads.insert(at if at == 0 else len(heads), HeadBelief({extra: 1.0}))
    plates = dict(belief.plates)
    for kind, there in correction.plates.items():
        plates[kind] = SEEN_PLATE if there else NO_PLATE
    return replace(
        belief,
        heads=tuple(heads),
        mount={m: float(m == correction.mount) for m in MOUNTS} if correction.mount else belief.mount,
        arrangement=(
            {a: float(a == correction.arrangement) for a in ARRANGEMENTS}
            if correction.arrangement
            else belief.arrangement
        ),
        plates=plates,
        whole=1.0 if correction.whole or len(heads) >= MOST_HEADS else belief.whole,
    )


@dataclass(frozen=True, slots=True)
class Change:
    """One thing stated: in words, what the picture made of it, and what it does by itself."""

    stated: str
    before: str
    effect: str


@dataclass(frozen=True, slots=True)
class Corrected:
    """The reading after a correction, and why it is another (or the same)."""

    reading: Reading
    summary: str
    changes: tuple[Change, ...]


def read_corrected(
    belief: SignalBelief, before: Reading, correction: Correction, book: Rulebook
) -> Corrected:
    """Read the corrected belief, and say of each statement what it alone does."""
    belief_now = corrected(belief, correction)
    now = interpret(belief_now, book, before.level)
    changes = []
    for part, stated, was in _parts(belief, correction):
        alone = interpret(corrected(belief, part), book, before.level)
        changes.append(Change(stated, was, _effect(before, alone)))
    return Corrected(now, _summary(before, now), tuple(changes))


def outcome(reading: Reading) -> str:
    """The guarded reading in words."""
    return "No reading" if reading.guarded is None else headed(reading.guarded)


def _summary(before: Reading, now: Reading) -> str:
    was, is_now = outcome(before), outcome(now)
    if was == is_now and _likeliest(before) == _likeliest(now):
        return f"The reading stays: {is_now}."
    if was == is_now:
        likeliest = f"the likeliest is now {_likeliest(now)}, not {_likeliest(before)}"
        return f"The guarded reading stays {is_now}; {likeliest}."
    return f"The reading was {was}; with what you state it is {is_now}."


def _likeliest(reading: Reading) -> str:
    return "none" if reading.reading is None else titled(reading.reading)


def _effect(before: Reading, alone: Reading) -> str:
    if outcome(before) != outcome(alone):
        return f"By itself it makes the guarded reading {outcome(alone)}."
    if _likeliest(before) != _likeliest(alone):
        return f"By itself it makes {_likeliest(alone)} the likeliest."
    if alone.reading is not None and before.reading is not None:
        a, b = percent(before.reading.probability), percent(alone.reading.probability)
        if a != b:
            return f"By itself it takes the likeliest reading from {a} to {b}."
    return "By itself it changes nothing."


def _parts(belief: SignalBelief, correction: Correction) -> list[tuple[Correction, str, str]]:
    """Every statement as a correction of its own, in words, and what the picture made of it."""
    parts: list[tuple[Correction, str, str]] = []
    count = len(belief.heads)
    names = places(count)
    for at, said in enumerate(correction.heads[:count]):
        head = belief.heads[at]

        def alone(one: HeadSaid, at: int = at) -> Correction:
            return Correction(heads=tuple(one if i == at else HeadSaid() for i in range(count)))

        if said.no_head:
            parts.append((alone(HeadSaid(no_head=True)), f"The {names[at]} is no head of this signal", ""))
            continue
        if said.colour is not None:
            share = head.colour.get(said.colour, 0.0)
            was = f"the picture made it {said.colour} at {percent(share)}"
            parts.append((alone(HeadSaid(said.colour)), f"The {names[at]} is {said.colour}", was))
        if said.flashing is not None:
            was = (
                "the picture could not tell"
                if head.flashing is None
                else f"the clip made it flashing at {percent(head.flashing)}"
            )
            words = f"The {names[at]} {'flashes' if said.flashing else 'is steady'}"
            parts.append((alone(HeadSaid(flashing=said.flashing)), words, was))
    if correction.above:
        parts.append(
            (Correction(above=correction.above), f"Above them is one more head, {correction.above}", "")
        )
    if correction.below:
        parts.append(
            (Correction(below=correction.below), f"Below them is one more head, {correction.below}", "")
        )
    if correction.mount:
        was = f"the picture made it so at {percent(belief.mount.get(correction.mount, 0.0))}"
        words = "It is on a mast" if correction.mount == "mast" else "It is a dwarf"
        parts.append((Correction(mount=correction.mount), words, was))
    if correction.arrangement:
        was = f"the picture made it so at {percent(belief.arrangement.get(correction.arrangement, 0.0))}"
        parts.append(
            (
                Correction(arrangement=correction.arrangement),
                f"The heads are {LINES[correction.arrangement]}",
                was,
            )
        )
    for kind, there in correction.plates.items():
        plate = belief.plates.get(kind, UNKNOWN_PLATE)
        was = (
            f"the picture made it present at {percent(plate.present)}, "
            f"not to be told at {percent(plate.unknown)}"
        )
        article = "a" if kind == "DV" else "an"
        words = f"There is {article if there else 'no'} {kind} plate"
        parts.append((Correction(plates={kind: there}), words, was))
    if correction.whole:
        was = f"the picture made it so at {percent(belief.whole)}"
        parts.append((Correction(whole=True), "All its heads are in view", was))
    return parts
