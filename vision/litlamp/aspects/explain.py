"""An aspect in words becomes a reading: no pixels, nothing to see, only what the book says."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from litlamp.aspects.aspect import Arrangement, Aspect, Mount, Plate
from litlamp.aspects.interpret import certain, interpret
from litlamp.aspects.reading import Reading
from litlamp.aspects.rulebook import Rulebook
from litlamp.aspects.why import LINES, POSTS
from litlamp.aspects.words import agree, parse_aspect


def explain(
    text: str,
    book: Rulebook,
    mount: Mount | None = None,
    arrangement: Arrangement | None = None,
    plates: Collection[Plate] = (),
    level: float = 0.99,
) -> Reading:
    """Read an aspect told in words, with whatever was said beside them.

    What was not said is taken as the plainest (on a mast, in line, no plates); `why` says so, and what the
    mount, the stagger or a plate would make of the same lamps.

    Raises
    ------
    AspectWordsError
        The words are no aspect, or disagree with what was said beside them.
    """
    aspect = agree(parse_aspect(text), mount, arrangement, frozenset(plates))
    reading = interpret(certain(aspect), book, level)
    return replace(reading, why=(*_taken(aspect), *reading.why))


def _taken(aspect: Aspect) -> tuple[str, ...]:
    """What was not said and so was taken; the steps that follow tell what it would be otherwise."""
    taken = []
    if aspect.mount is None:
        taken.append(POSTS["mast"])
    if aspect.arrangement is None and len(aspect.heads) > 1:
        taken.append(LINES["vertical"])
    if not aspect.plates:
        taken.append("no plates")
    return (f"Not said, so taken as the plainest: {', '.join(taken)}.",) if taken else ()
