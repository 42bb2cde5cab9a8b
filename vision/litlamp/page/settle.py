"""What photograph would settle a reading that is not settled: each doubt is taken away in turn, and what then
becomes clear tells what to photograph next.

Nothing here makes a reading: the core reads beliefs in which one doubt is supposed away, and only the advice
comes of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from litlamp.aspects.belief import NO_PLATE, UNKNOWN_PLATE, HeadBelief, SignalBelief
from litlamp.aspects.interpret import interpret
from litlamp.aspects.reading import Reading
from litlamp.aspects.rulebook import Rulebook
from litlamp.aspects.why import places

T = TypeVar("T")

_SURE = 0.99
_GAIN = 0.01
"""Share of probability that a doubt must hold to be worth another photograph."""


@dataclass(frozen=True, slots=True)
class Advice:
    """What to photograph, and what that would tell."""

    take: str
    tells: str


NOTHING_FOUND = (
    Advice("Come closer or zoom in, from a public place", "a lamp needs to be a few pixels wide to be found"),
    Advice("Have the whole mast in the picture, top to bottom", "a signal cut by the edge is easily missed"),
    Advice(
        "Photograph it from the front, lamps towards you", "a lamp seen from the side or behind shows nothing"
    ),
    Advice("Record three seconds of clip", "a flashing lamp may have been dark in that moment"),
)


def advice(
    belief: SignalBelief, reading: Reading, book: Rulebook, *, clip: bool = False
) -> tuple[Advice, ...]:
    """What would settle it, the most telling first; empty where the reading is settled.

    `clip`: it was a clip that was read, so that another is advised only as a steadier one.
    """
    if reading.reading is None or reading.guarded is None:
        return (
            Advice("Record three seconds of clip", "a flashing lamp may have been dark in that moment"),
            *NOTHING_FOUND[:1],
            NOTHING_FOUND[2],
        )
    if len(reading.set) == 1 and reading.reading.rule is not None:
        return ()
    now = _clear(reading)
    gains = []
    for supposed, told in _doubts(belief, clip=clip):
        gain = _clear(interpret(supposed, book, reading.level)) - now
        if gain > _GAIN:
            gains.append((gain, told))
    gains.sort(key=lambda pair: -pair[0])
    found = tuple(dict.fromkeys(told for _, told in gains))[:3]
    return found or (
        Advice("Come closer or zoom in, from a public place", "more pixels tell more of lamps and plates"),
        Advice(
            "Have the whole signal in the picture, foot and all", "heads, mount and plates count together"
        ),
        Advice("Record three seconds of clip", "a still cannot tell whether a lamp flashes"),
    )


def _clear(reading: Reading) -> float:
    """How clear a reading is: the probability of its likeliest outcome, and whether the guard agrees."""
    if reading.reading is None or reading.guarded is None:
        return 0.0
    return reading.reading.probability + (0.5 if reading.reading.rule == reading.guarded.rule else 0.0)


def _doubts(belief: SignalBelief, *, clip: bool) -> Iterator[tuple[SignalBelief, Advice]]:
    """The belief with each doubt taken away by itself, and the photograph that would take it away."""
    names = places(len(belief.heads))
    if any(head.flashing is None for head in belief.heads):
        steady = tuple(replace(h, flashing=0.0 if h.flashing is None else h.flashing) for h in belief.heads)
        how = "Record a clip of three seconds or more, held still" if clip else "Record three seconds of clip"
        yield replace(belief, heads=steady), Advice(how, "whether a lamp flashes")
    unknown = [kind for kind, plate in belief.plates.items() if plate.unknown > 1 - _SURE]
    if unknown:
        plates = dict(belief.plates)
        for kind in unknown:
            plate = plates.get(kind, UNKNOWN_PLATE)
            plates[kind] = (
                NO_PLATE if plate.present < 0.5 else replace(plate, present=1.0, absent=0.0, unknown=0.0)
            )
        yield (
            replace(belief, plates=plates),
            Advice(
                "Photograph the mast below the heads, close enough that a plate's letters are sharp",
                f"whether {_listed(unknown)} is there",
            ),
        )
    if belief.whole < _SURE:
        yield (
            replace(belief, whole=1.0),
            Advice("Have the whole mast in the picture, top to bottom", "whether there is another head"),
        )
    if max(belief.mount.values(), default=1.0) < _SURE:
        yield (
            replace(belief, mount=_settled(belief.mount)),
            Advice("Have the foot of the signal in the picture", "whether it is on a mast or a dwarf"),
        )
    if max(belief.arrangement.values(), default=1.0) < _SURE and len(belief.heads) > 1:
        yield (
            replace(belief, arrangement=_settled(belief.arrangement)),
            Advice("Photograph it straight from the front", "whether the heads are staggered"),
        )
    for at, head in enumerate(belief.heads):
        if head.present < _SURE:
            heads = list(belief.heads)
            heads[at] = replace(head, present=1.0)
            yield (
                replace(belief, heads=tuple(heads)),
                Advice(
                    "Come closer, with no other light behind it", f"whether the {names[at]} is a head of it"
                ),
            )
        if max(head.colour.values(), default=1.0) < _SURE:
            heads = list(belief.heads)
            heads[at] = HeadBelief(_settled(head.colour), head.flashing, head.present, head.dark_throughout)
            yield (
                replace(belief, heads=tuple(heads)),
                Advice(
                    "Come closer or zoom in, and tap the lamp so that it is not washed out",
                    f"the colour of the {names[at]}",
                ),
            )


def _settled(belief: Mapping[T, float]) -> dict[T, float]:
    best = max(belief, key=lambda key: belief[key])
    return {key: float(key == best) for key in belief}


def _listed(kinds: Sequence[str]) -> str:
    named = [f"{'a' if kind == 'DV' else 'an'} {kind} plate" for kind in kinds]
    return named[0] if len(named) == 1 else f"{', '.join(named[:-1])} or {named[-1]}"
