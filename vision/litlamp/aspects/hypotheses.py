"""Everything one signal may be displaying, each with its weight: the sum that the interpretation is made of.

A `Display` is one joint hypothesis: which heads there are, their colours and flash, the mount, the
arrangement and the plates. `weigh` runs through all of them that the belief allows, looks each up in the
book, and adds their weights by what they say. The numbers below are priors, not measurements: common
practice, no source. They only share out what the evidence leaves open; where the evidence is certain they
change nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import combinations, product
from operator import itemgetter
from typing import TypeVar

from litlamp.aspects.aspect import (
    ARRANGEMENTS,
    COLOURS,
    MOST_HEADS,
    MOUNTS,
    PLATES,
    Arrangement,
    Aspect,
    Colour,
    Lamp,
    Mount,
    Plate,
)
from litlamp.aspects.belief import UNKNOWN_PLATE, HeadBelief, SignalBelief
from litlamp.aspects.reading import Outcome
from litlamp.aspects.rulebook import Heads, Rule, Rulebook, StandardAspect

FLASH_PRIOR = 0.1
"""Share of belief that a lamp flashes where a still cannot tell and the book has both steady and flashing."""
FLASH_IF_STEADY_UNKNOWN = 0.9
"""The same where the book has a flashing aspect of these lamps but no steady one."""
OFF_PHASE = 0.3
"""Share of a partly dark display that is a flash caught in its off phase, where a still cannot tell."""
NOT_STANDARD_WEIGHT = 0.05
"""How much likelier a standard aspect is to be displayed than one that is not, as a ratio."""
PLATE_PRIOR: Mapping[Plate, float] = {"A": 0.3, "R": 0.1, "L": 0.1, "DV": 0.1}
"""Chance that a plate is there if it could not have been seen."""
NUMBER_PRIOR = 0.5
"""The same for a number plate: nothing is known."""
UNSEEN_COLOURS: Mapping[Colour, float] = dict.fromkeys(("red", "yellow", "green"), 1 / 3)
"""What a head above or below those seen may show that is cut off or hidden."""
BETWEEN_COLOURS: Mapping[Colour, float] = {"dark": 0.7, "red": 0.1, "yellow": 0.1, "green": 0.1}
"""What a head between two that are seen may show: it is in view, so that it was missed because it is dark, in
the off phase of a flash or failed."""
CAST = 0.5
"""Share of the least belief that a lamp read as yellow is red which holds for all such lamps of a signal at
once: one camera took them all, and what turns one red orange turns the next."""
STRAY_PLATE = 0.05
"""Share of the belief in a mount that goes to the other one where a plate is seen which the book draws with
so many heads on the other mount alone. Plates hang where they say something: common practice, no source."""
NEGLIGIBLE = 1e-8
"""Head hypotheses below this are not looked up; their whole belief goes to "not a standard aspect"."""
PASSED_OVER = 1e-4
"""This share of all weights at most is not looked up either, the unlikeliest of it, and goes there too: most
of the hypotheses hold no more than that together."""

T = TypeVar("T", bound=str)

Key = tuple[Outcome, str | None]
"""What a display says: the outcome, and the rule number where it is a rule."""

NOT_STANDARD: Key = ("not_standard", None)
NOT_LIT: Key = ("not_lit", None)


@dataclass(frozen=True, slots=True)
class Display:
    """One joint hypothesis, and what the book says of it.

    `plates` holds the plates supposed present among those that matter (`matter`) to these lamps so mounted;
    `numbered` is None where a number plate does not matter. `unseen` and `off_phase` are places in `heads`
    of heads out of view, and of lamps caught dark between two flashes.
    `row` is the aspect as the book draws it, or None.
    """

    heads: Heads
    mount: Mount
    arrangement: Arrangement | None
    plates: frozenset[Plate]
    numbered: bool | None
    unseen: tuple[int, ...]
    off_phase: tuple[int, ...]
    row: StandardAspect | None
    matter: frozenset[Plate] = frozenset()

    def aspect(self, belief: SignalBelief) -> Aspect:
        """As it would be said, with the plates seen that change nothing."""
        idle = {kind for kind, plate in belief.plates.items() if plate.present > 0.5} - self.matter
        number = belief.number or ("?" if self.numbered else None)
        return Aspect(self.heads, self.mount, self.arrangement, self.plates | idle, number)


@dataclass(slots=True)
class Tally:
    """Weights by what is said, and the weightiest display for each."""

    weight: dict[Key, float] = field(default_factory=dict)
    best: dict[Key, tuple[float, Display]] = field(default_factory=dict)
    total: float = 0.0

    def add(self, key: Key, weight: float, display: Callable[[], Display]) -> None:
        """Add one display's weight; the display is made only where it is the weightiest so far."""
        if weight <= 0.0:
            return
        self.total += weight
        self.weight[key] = self.weight.get(key, 0.0) + weight
        if key not in self.best or weight > self.best[key][0]:
            self.best[key] = (weight, display())


@dataclass(frozen=True, slots=True)
class _Stack:
    """Heads of one hypothesis: colours, and which believed head each is (None for one out of view)."""

    chance: float
    colours: tuple[Colour, ...]
    seen: tuple[HeadBelief | None, ...]


def weigh(belief: SignalBelief, book: Rulebook) -> Tally:
    """All that the signal may be displaying, by what the book says of it; weights are not normalised."""
    tally = Tally()
    mounts = _shares(belief.mount, MOUNTS)
    arrangements: dict[Arrangement | None, float] = dict(_shares(belief.arrangement, ARRANGEMENTS).items())
    alone: list[tuple[Arrangement | None, float]] = [(None, 1.0)]
    likely_mount = max(mounts, key=lambda mount: mounts[mount])
    likely_line = max(arrangements, key=lambda line: arrangements[line])
    supposed = ((share, stack) for share, heads in _under_one_cast(belief) for stack in _stacks(heads))
    by_heads = {n: _by_plates(mounts, belief, book, n).items() for n in range(1, MOST_HEADS + 1)}
    standing: list[tuple[float, _Stack, Mount, Arrangement | None]] = []
    for stack in (_thinned(stack, share) for share, stack in supposed):
        settled = _settled(book, stack)
        if settled is not None:  # whatever the mount and the plates
            key, weight = settled
            line = likely_line if len(stack.colours) > 1 else None
            tally.add(key, stack.chance * weight, partial(_blank, stack, likely_mount, line))
            continue
        arranged = [*arrangements.items()] if len(stack.colours) > 1 else alone
        standing += (
            (chance, stack, mount, arrangement)
            for (mount, mounted), (arrangement, share) in product(by_heads[len(stack.colours)], arranged)
            if (chance := stack.chance * mounted * share) > 0.0
        )
    standing.sort(key=itemgetter(0))
    left = math.fsum(chance for chance, *_ in standing)
    while standing:
        chance, stack, mount, arrangement = standing.pop()
        if chance < NEGLIGIBLE or left <= PASSED_OVER * tally.total:
            tally.add(NOT_STANDARD, left, partial(_blank, stack, mount, arrangement))
            break
        _weigh_stack(tally, book, belief, stack, mount, arrangement, chance)
        left -= chance
    return tally


def _by_plates(
    mounts: Mapping[Mount, float], belief: SignalBelief, book: Rulebook, heads: int
) -> Mapping[Mount, float]:
    """The belief in each mount, in doubt where a plate says nothing on one but would on the other.

    A mount that is known, not believed, stays.
    """
    if not belief.plates or 0.0 in mounts.values():
        return mounts
    mast, dwarf = (book.borne_by(heads, mount) for mount in ("mast", "dwarf"))
    to_dwarf = STRAY_PLATE * mounts["mast"] * _present(belief, dwarf - mast)
    to_mast = STRAY_PLATE * mounts["dwarf"] * _present(belief, mast - dwarf)
    moved = to_dwarf - to_mast
    return {"mast": mounts["mast"] - moved, "dwarf": mounts["dwarf"] + moved}


def _present(belief: SignalBelief, kinds: frozenset[Plate]) -> float:
    """How surely one of these plates was seen."""
    seen = [plate for kind, plate in belief.plates.items() if kind in kinds and plate.present > 0.0]
    return max((p.present / (p.present + p.absent + p.unknown) for p in seen), default=0.0)


def _shares(belief: Mapping[T, float], names: Sequence[T]) -> dict[T, float]:
    """The belief over these names, summing to 1; even where nothing is believed."""
    values = {name: float(belief.get(name, 0.0)) for name in names}
    if not all(math.isfinite(value) and value >= 0.0 for value in values.values()):
        raise ValueError(f"not probabilities: {dict(belief)}")
    total = sum(values.values())
    if total <= 0.0:
        return {name: 1.0 / len(names) for name in names}
    return {name: value / total for name, value in values.items()}


def _under_one_cast(belief: SignalBelief) -> Iterator[tuple[float, SignalBelief]]:
    """The belief as it is, and, where several lamps are read as yellow, the same with all of them red.

    Each comes with its share; they sum to 1.
    """
    colours = [_shares(head.colour, COLOURS) for head in belief.heads]
    yellow = [at for at, own in enumerate(colours) if max(own, key=lambda c: own[c]) == "yellow"]
    red = [colours[at]["red"] for at in yellow]
    together = CAST * (min(red) - math.prod(red)) if len(yellow) > 1 else 0.0
    yield 1.0 - together, belief
    if together > NEGLIGIBLE:
        heads = tuple(
            replace(head, colour={"red": 1.0}) if at in yellow else head
            for at, head in enumerate(belief.heads)
        )
        yield together, replace(belief, heads=heads)


def _stacks(belief: SignalBelief) -> Iterator[_Stack]:
    """Every choice of heads and colours, at least one head, with its chance; they sum to 1.

    That a thing seen is a signal at all is taken as given, so "no head present" is left out.
    """
    stacks = [_Stack(1.0, (), ())]
    for head in belief.heads:
        colours = {c: share for c, share in _shares(head.colour, COLOURS).items() if share > 0.0}
        present = min(max(head.present, 0.0), 1.0)
        longer = [
            _Stack(stack.chance * present * share, (*stack.colours, colour), (*stack.seen, head))
            for stack in stacks
            for colour, share in colours.items()
        ]
        stacks = longer if present == 1.0 else [*longer, *(_thinned(s, 1.0 - present) for s in stacks)]
        stacks = _too_many_as_one([stack for stack in stacks if stack.chance > 0.0])
    somebody = sum(stack.chance for stack in stacks if stack.colours)
    if somebody <= 0.0:
        return
    whole = min(max(belief.whole, 0.0), 1.0)
    for stack in stacks:
        if not stack.colours:
            continue
        # Divided, not multiplied by the inverse, which overflows where a head is all but ruled out.
        stack = _Stack(stack.chance / somebody, stack.colours, stack.seen)
        unseen = MOST_HEADS - len(stack.colours)
        if unseen < 1 or whole == 1.0:
            yield stack
            continue
        if whole > 0.0:
            yield _thinned(stack, whole)
        if stack.chance * (1.0 - whole) < NEGLIGIBLE:
            # One for all: below notice, so that nothing about it is looked up.
            rest = stack.chance * (1.0 - whole)
            yield _Stack(rest, ("red", *stack.colours), (None, *stack.seen))
            continue
        for count in range(1, unseen + 1):
            yield from _with_unseen(stack, count, stack.chance * (1.0 - whole) / unseen)


def _with_unseen(stack: _Stack, count: int, chance: float) -> Iterator[_Stack]:
    """The same with so many more heads, above, below and between those seen, each place as likely."""
    total = len(stack.colours) + count
    ways = [*combinations(range(total), count)]
    for places in ways:
        own = iter(range(len(stack.colours)))
        order = [None if at in places else next(own) for at in range(total)]
        seen_at = [at for at, which in enumerate(order) if which is not None]
        choices = [BETWEEN_COLOURS if seen_at[0] < at < seen_at[-1] else UNSEEN_COLOURS for at in places]
        for colours in product(*(choice.items() for choice in choices)):
            supposed = iter(colour for colour, _ in colours)
            share = math.prod(share for _, share in colours)
            yield _Stack(
                chance / len(ways) * share,
                tuple(next(supposed) if which is None else stack.colours[which] for which in order),
                tuple(None if which is None else stack.seen[which] for which in order),
            )


def _too_many_as_one(stacks: list[_Stack]) -> list[_Stack]:
    """The same with all stacks of more heads than a signal has put together: none is a standard aspect."""
    many = [stack for stack in stacks if len(stack.colours) > MOST_HEADS]
    if len(many) < 2:
        return stacks
    likeliest = max(many, key=lambda stack: stack.chance)
    together = _Stack(sum(stack.chance for stack in many), likeliest.colours, likeliest.seen)
    return [*(stack for stack in stacks if len(stack.colours) <= MOST_HEADS), together]


def _thinned(stack: _Stack, by: float) -> _Stack:
    return _Stack(stack.chance * by, stack.colours, stack.seen)


def _weigh_stack(
    tally: Tally,
    book: Rulebook,
    belief: SignalBelief,
    stack: _Stack,
    mount: Mount,
    arrangement: Arrangement | None,
    chance: float,
) -> None:
    """Add every display of one choice of heads, mount and arrangement: over plates, then over flash."""
    unseen = _unseen(stack)
    dark, open_dark = _dark(stack)
    missed_dark = any(at in unseen for at in dark)
    rows = [
        (rule, row)
        for rule, row in _candidates(book, stack.colours, open_dark)
        if row.mount in (None, mount) and (arrangement is None or row.arrangement in (None, arrangement))
    ]
    matter = frozenset(kind for _, row in rows for kind in row.plates | row.absent)
    counts = any(row.number is not None for _, row in rows)
    for plates, numbered, plated in _plate_choices(belief, matter, counts):
        fitting = {
            row.heads: (rule, row)
            for rule, row in rows
            if row.fits(mount, arrangement, plates, bool(numbered))
        }
        drawn_dark = any(all(heads[at].colour == "dark" for at in dark) for heads in fitting)
        for heads, share in _flash_choices(stack, fitting, dark, open_dark):
            off_phase = tuple(at for at in open_dark if heads[at].colour != "dark")
            found = fitting.get(heads)
            row = found[1] if found else None
            display = partial(
                Display, heads, mount, arrangement, plates, numbered, unseen, off_phase, row, matter
            )
            if found is not None:
                key: Key = ("rule", found[0].number)
                # An off phase keeps the weight of the dark head it was seen as.
                weight = NOT_STANDARD_WEIGHT if off_phase and not drawn_dark else 1.0
            else:
                key, weight = _not_drawn(book, heads, dark, open_dark), NOT_STANDARD_WEIGHT
            if missed_dark and off_phase:
                # That it was caught dark is why it was missed, however seldom that is.
                weight = 1.0
            tally.add(key, chance * plated * share * weight, display)


def _settled(book: Rulebook, stack: _Stack) -> tuple[Key, float] | None:
    """What is said by heads that no mount, plate or flash can make a standard aspect, and its weight."""
    dark, _ = _dark(stack)
    if len(dark) == len(stack.colours):
        return NOT_LIT, 1.0
    if len(stack.colours) > MOST_HEADS or stack.chance < NEGLIGIBLE:
        # Below notice: the most restrictive outcome takes the whole of it, so that nothing is lost.
        return NOT_STANDARD, 1.0
    if not dark and not book.drawn_with(stack.colours):
        return NOT_STANDARD, NOT_STANDARD_WEIGHT
    return None


def _blank(stack: _Stack, mount: Mount, arrangement: Arrangement | None) -> Display:
    heads = tuple(Lamp(colour) for colour in stack.colours)
    return Display(heads, mount, arrangement, frozenset(), None, _unseen(stack), (), None)


def _unseen(stack: _Stack) -> tuple[int, ...]:
    return tuple(at for at, head in enumerate(stack.seen) if head is None)


def _dark(stack: _Stack) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Places of the dark heads, and of those among them not known to be dark throughout."""
    dark = tuple(at for at, colour in enumerate(stack.colours) if colour == "dark")
    return dark, tuple(at for at in dark if not _throughout(stack.seen[at]))


def _throughout(head: HeadBelief | None) -> bool:
    return head is not None and head.dark_throughout


def _candidates(
    book: Rulebook, colours: tuple[Colour, ...], open_dark: tuple[int, ...]
) -> Sequence[tuple[Rule, StandardAspect]]:
    """Standard aspects these lamps may be: as shown, or with a dark head between two flashes."""
    if not open_dark:
        return book.drawn_with(colours)
    lit_again = product(*(COLOURS if at in open_dark else (colour,) for at, colour in enumerate(colours)))
    return [
        (rule, row)
        for shown in lit_again
        for rule, row in book.drawn_with(shown)
        if all(row.heads[at].flashing or row.heads[at].colour == "dark" for at in open_dark)
    ]


def _plate_choices(
    belief: SignalBelief, matter: frozenset[Plate], number_counts: bool
) -> Iterator[tuple[frozenset[Plate], bool | None, float]]:
    """Every choice of the plates that matter, with its chance; None for a number plate that does not."""
    kinds = [kind for kind in PLATES if kind in matter]
    there = {kind: _plate_chance(belief, kind) for kind in kinds}
    numbered: dict[bool | None, float] = {None: 1.0}
    if number_counts:
        chance = NUMBER_PRIOR if belief.number is None else float(belief.number != "")
        numbered = {True: chance, False: 1.0 - chance}
    for size in range(len(kinds) + 1):
        for plates in combinations(kinds, size):
            share = math.prod(there[kind] if kind in plates else 1.0 - there[kind] for kind in kinds)
            for number, chance in numbered.items():
                if share * chance > 0.0:
                    yield frozenset(plates), number, share * chance


def _plate_chance(belief: SignalBelief, kind: Plate) -> float:
    plate = belief.plates.get(kind, UNKNOWN_PLATE)
    total = plate.present + plate.absent + plate.unknown
    if total <= 0.0:
        return PLATE_PRIOR[kind]
    return (plate.present + plate.unknown * PLATE_PRIOR[kind]) / total


def _flash_choices(
    stack: _Stack,
    fitting: Mapping[Heads, tuple[Rule, StandardAspect]],
    dark: tuple[int, ...],
    open_dark: tuple[int, ...],
) -> Iterator[tuple[Heads, float]]:
    """Every choice of flash, with its share: settled heads by their belief, the others by the prior."""
    places = range(len(stack.colours))
    flashing = {at: _flashing(stack.seen[at]) for at in places}
    settled = {at: p for at, p in flashing.items() if p is not None and at not in dark}
    for choice in product((False, True), repeat=len(settled)):
        fixed = dict(zip(settled, choice, strict=True))
        chance = math.prod(settled[at] if flash else 1.0 - settled[at] for at, flash in fixed.items())
        if chance <= 0.0:
            continue
        steady = tuple(Lamp(stack.colours[at], fixed.get(at, False)) for at in places)
        others = [
            heads
            for heads in fitting
            if heads != steady and all(heads[at].flashing == flash for at, flash in fixed.items())
        ]
        to_others = _share_of_others(steady in fitting, [flashing[at] for at in open_dark]) if others else 0.0
        if to_others < 1.0:
            yield steady, chance * (1.0 - to_others)
        for heads in others:
            yield heads, chance * to_others / len(others)


def _flashing(head: HeadBelief | None) -> float | None:
    """What is known of its flashing, if it cannot be told then what is likely; None where nothing is."""
    if head is None:
        return None
    return head.leaning if head.flashing is None else head.flashing


def _share_of_others(steady_is_standard: bool, dark_flash: Sequence[float | None]) -> float:
    """Share of belief for the flashing aspects beside the one that is shown as if steady."""
    measured = [p for p in dark_flash if p is not None]
    if measured and len(measured) == len(dark_flash):
        return max(measured)
    if steady_is_standard:
        return FLASH_PRIOR
    return OFF_PHASE if dark_flash else FLASH_IF_STEADY_UNKNOWN


def _not_drawn(book: Rulebook, heads: Heads, dark: tuple[int, ...], open_dark: tuple[int, ...]) -> Key:
    """What is said by a display that the book does not draw: nothing standard, or the partly dark rule."""
    exception = book.partly_dark
    if exception is None or not dark or open_dark or not any(h.colour in exception.lit for h in heads):
        return NOT_STANDARD
    if exception.bottom_yellow is not None and heads[-1] == Lamp("yellow"):
        # How the movement was running is not to be seen: the more restrictive of the two is taken.
        return "rule", exception.bottom_yellow
    return "rule", exception.rule.number
