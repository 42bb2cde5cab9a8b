"""Why a reading is what it is: the steps in the trade's words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from litlamp.aspects.aspect import PLATES, Arrangement, Lamp, Mount, Plate
from litlamp.aspects.belief import UNKNOWN_PLATE, SignalBelief
from litlamp.aspects.hypotheses import Display, Key
from litlamp.aspects.reading import RuleChance
from litlamp.aspects.rulebook import Heads, Rule, Rulebook

PLACES: Mapping[int, tuple[str, ...]] = {1: ("head",), 2: ("upper head", "lower head")}
PLACES_OF_THREE = ("top head", "middle head", "bottom head")
SURE = 0.995
"""A belief above this is told without its percentage."""
MOST_DOUBTS = 6
"""So many other readings are spelled out; any more are counted."""

LINES: Mapping[Arrangement, str] = {"vertical": "in line", "staggered": "staggered"}
POSTS: Mapping[Mount, str] = {"mast": "on a mast", "dwarf": "on a dwarf"}


@dataclass(frozen=True, slots=True)
class Case:
    """All that a reading came from.

    Attributes
    ----------
    displays : the likeliest display for each outcome.
    as_likely : outcomes as likely as the reading, which is the most restrictive of them.
    """

    book: Rulebook
    belief: SignalBelief
    displays: Mapping[Key, Display]
    chances: tuple[RuleChance, ...]
    chosen: tuple[RuleChance, ...]
    reading: RuleChance | None
    guarded: RuleChance | None
    level: float
    as_likely: tuple[RuleChance, ...] = ()

    @property
    def display(self) -> Display:
        """The likeliest display of the likeliest outcome."""
        return self.displays[self.chances[0].outcome, self.chances[0].rule]

    @property
    def rule(self) -> Rule | None:
        """The rule read, where a rule is."""
        return self.book.rule(self.reading.rule) if self.reading and self.reading.rule else None


def why(case: Case) -> tuple[str, ...]:
    """The steps, in order; each is a sentence or a few."""
    steps = [_seen(case)]
    if case.reading is None:
        steps += _not_lit(case)
        return tuple(steps)
    steps += _says(case)
    steps += _as_likely(case)
    steps += _dark(case)
    steps += _placeholders(case)
    steps += _would_be(case)
    steps += _plates(case)
    steps += _flash(case)
    steps += _not_told(case)
    steps += _guard(case)
    steps += _source(case)
    return tuple(steps)


def told(rule: Rule) -> str:
    """ "Clear to Stop (411)"."""
    return f"{rule.name} ({rule.number})"


def lamps(heads: Heads) -> str:
    """ "yellow over flashing green", "single red"."""
    words = " over ".join(lamp.words() for lamp in heads)
    return f"single {words}" if len(heads) == 1 else words


def stands(display: Display) -> str:
    """ "yellow over red in line on a mast"."""
    line = f" {LINES[display.arrangement]}" if display.arrangement else ""
    return f"{lamps(display.heads)}{line} {POSTS[display.mount]}"


def places(count: int) -> tuple[str, ...]:
    """What each of so many heads is called, top to bottom."""
    return PLACES.get(count) or (
        PLACES_OF_THREE if count == 3 else tuple(f"head {at} from the top" for at in range(1, count + 1))
    )


def percent(chance: float) -> str:
    """A chance as a person says it: "4 %", "under 1 %"."""
    if chance < 0.01:
        return "under 1 %"
    return "over 99 %" if 0.99 < chance < 1.0 else f"{chance:.0%}".replace("%", " %")


def _found(
    case: Case,
    heads: Heads | None = None,
    mount: Mount | None = None,
    arrangement: Arrangement | None = None,
    plates: frozenset[Plate] | None = None,
) -> Rule | None:
    """The rule of the display read, changed in these ways; None: not a standard aspect."""
    shown = case.display
    heads = shown.heads if heads is None else heads
    line = (arrangement or shown.arrangement or "vertical") if len(heads) > 1 else None
    found = case.book.find(
        heads,
        mount or shown.mount,
        line,
        shown.plates if plates is None else plates,
        bool(shown.numbered),
    )
    return found[0] if found else None


def _seen(case: Case) -> str:
    shown, belief = case.display, case.belief
    count = {1: "One head", 2: "Two heads", 3: "Three heads"}.get(
        len(shown.heads), f"{len(shown.heads)} heads"
    )
    seen = ", ".join(
        lamp.words() + (_supposed(shown, at) if at in shown.unseen else "")
        for at, lamp in enumerate(shown.heads)
    )
    order = " from the top" if len(shown.heads) > 1 else ""
    words = [f"{count}{order}: {seen}"]
    if shown.arrangement:
        words.append(LINES[shown.arrangement] + _doubt(belief.arrangement.get(shown.arrangement, 0.0)))
    words.append(POSTS[shown.mount] + _doubt(belief.mount.get(shown.mount, 0.0)))
    return ", ".join(words) + "."


def _doubt(chance: float) -> str:
    return "" if chance >= SURE else f" ({percent(chance)} sure)"


def _imperfect(case: Case) -> str:
    imperfect = case.book.imperfect
    rule = f"Rule {imperfect.rule}" if imperfect.rule else f"The rule of {case.book.name}"
    memory = "" if imperfect.certainty == "read in source" else f" ({imperfect.certainty})"
    return f"{rule}: {imperfect.permits}{memory}"


def _not_lit(case: Case) -> Iterator[str]:
    most = case.book.rule(case.book.most_restrictive)
    yield (
        "No head is lit: there is no aspect to read. The lamps may be approach-lit with no train near, "
        "failed, or caught between two flashes."
    )
    yield f"{_imperfect(case)}; here {told(most)}."
    for chance in case.chosen[1:]:
        yield f"If a head is lit after all ({percent(chance.probability)}), it is {_outcome(case, chance)}."


def _says(case: Case) -> Iterator[str]:
    rule, shown = case.rule, case.display
    words = stands(shown)
    if rule is None:
        most = case.book.rule(case.book.most_restrictive)
        former = _local_rule(case)
        yield (
            f"{_cap(words)} is not a standard aspect of {case.book.label}; special "
            f"instructions may draw aspects of their own.{former}"
        )
        yield f"{_imperfect(case)}; here {told(most)}."
    elif case.book.partly_dark and rule == case.book.partly_dark.rule:
        yield f"Rule {rule.number}, {rule.name}: {rule.permits} It stands in for the lamp that is out."
    else:
        yield f"{_cap(words)} is {told(rule)}. {rule.permits}"


def _local_rule(case: Case) -> str:
    """Where another edition of a shipped book draws this display, that it does."""
    from litlamp.aspects.rulebook import RulebookError, load_book

    shown = case.display
    for edition in case.book.editions:
        if edition == case.book.edition:
            continue
        try:
            other = load_book(case.book.name, edition)
        except RulebookError:  # a user's own book
            return ""
        found = other.find(shown.heads, shown.mount, shown.arrangement, shown.plates, bool(shown.numbered))
        if found:
            return f" In the edition of {edition} it was {told(found[0])}."
    return ""


def _dark(case: Case) -> Iterator[str]:
    shown, book = case.display, case.book
    dark = [at for at, lamp in enumerate(shown.heads) if lamp.colour == "dark"]
    if not dark or case.reading is None:
        return
    names = " and the ".join(places(len(shown.heads))[at] for at in dark)
    if case.rule is not None and shown.row is not None:
        yield f"The {names} is dark, and this book draws it so."
        return
    exception = book.partly_dark
    if case.rule is not None and exception is not None:
        yield f"The {names} was dark throughout."
        if exception.bottom_yellow and case.rule.number == exception.bottom_yellow:
            yield (
                f"Rule {exception.rule.number}: {exception.rule.note}. For any other movement: "
                f"{exception.rule.permits} How the movement was running is not to be seen, so the more "
                "restrictive is taken."
            )
        return
    yield (
        f"The {names} is dark: it may be the off phase of a flash, a failed lamp, or approach-lit with no "
        "train near, and this does not settle which."
    )
    if exception is not None:
        lit = any(lamp.colour in exception.lit for lamp in shown.heads)
        needs = "" if lit else f", and only with a {' or '.join(sorted(exception.lit))} still lit"
        yield (
            f"Rule {exception.rule.number} ({exception.rule.name}) would need the head seen dark "
            f"throughout{needs}."
        )


def _placeholders(case: Case) -> Iterator[str]:
    """Which lower reds add nothing, and where imagining them would mislead."""
    rule, heads = case.rule, case.display.heads
    if rule is None or case.display.row is None or all(lamp == Lamp("red") for lamp in heads):
        return
    kept = len(heads)
    while kept > 1 and heads[kept - 1] == Lamp("red"):
        kept -= 1
    reds = len(heads) - kept
    if reds:
        without = _found(case, heads[:kept])
        those = "lower red is a placeholder" if reds == 1 else "lower reds are placeholders"
        if without == rule:
            yield f"The {those}: {lamps(heads[:kept])} alone says the same."
        else:
            yield (
                f"The lower red counts: it is no placeholder here. {_cap(lamps(heads[:kept]))} "
                f"{POSTS[case.display.mount]} would be {_named_rule(without)}."
            )
    elif len(heads) < 3 and heads[0].colour == "red":
        imagined = _found(case, (*heads, Lamp("red")))
        if imagined != rule:
            yield (
                f"No red is to be imagined below: led by red, a signal of {len(heads)} heads is read as it "
                f"stands; {lamps((*heads, Lamp('red')))} would be {_named_rule(imagined)}."
            )


def _named_rule(rule: Rule | None) -> str:
    return told(rule) if rule else "no standard aspect"


def _cap(words: str) -> str:
    return words[:1].upper() + words[1:]


def _named(case: Case) -> set[str]:
    """Rules that the doubts will speak of."""
    return {chance.rule for chance in case.chosen if chance.rule is not None}


def _would_be(case: Case) -> Iterator[str]:
    """What the mount and the stagger settle: the reading without them."""
    rule, shown = case.rule, case.display
    if shown.row is None and rule is not None:
        return  # the rule of a partly dark signal
    mount: Mount = "dwarf" if shown.mount == "mast" else "mast"
    other = _found(case, mount=mount)
    if other is not None and other != rule and other.number not in _named(case):
        yield f"The mount matters: {POSTS[mount]} the same lamps are {told(other)}."
    if shown.arrangement:
        line: Arrangement = "staggered" if shown.arrangement == "vertical" else "vertical"
        other = _found(case, arrangement=line)
        if other is not None and other != rule and other.number not in _named(case):
            yield f"The stagger matters: {LINES[line]} the same lamps are {told(other)}."


def _plates(case: Case) -> Iterator[str]:
    """What each plate does or would do."""
    rule, shown = case.rule, case.display
    if rule is None or shown.row is None:
        return
    for kind in PLATES:
        belief = case.belief.plates.get(kind, UNKNOWN_PLATE)
        if kind in shown.plates:
            without = _found(case, plates=shown.plates - {kind})
            if without != rule:
                yield f"The {kind} plate makes it so: without it, {_named_rule(without)}."
            else:
                yield f"The {kind} plate changes nothing here."
        elif kind in shown.matter:
            having = _found(case, plates=shown.plates | {kind})
            if having is not None and having != rule:
                unsure = belief.unknown > 1.0 - SURE
                if unsure and having.number in _named(case):
                    yield f"Whether {_an(kind)} {kind} plate is on this {shown.mount} could not be told."
                elif unsure:
                    yield (
                        f"Whether {_an(kind)} {kind} plate is on this {shown.mount} could not be told. "
                        f"If one is, it is {told(having)}."
                    )
                elif having.number not in _named(case):
                    yield f"No {kind} plate: with one it would be {told(having)}."
        elif belief.present > 0.5:
            yield f"The {kind} plate changes nothing here."
    if shown.numbered is not None:
        found = case.book.find(shown.heads, shown.mount, shown.arrangement, shown.plates, not shown.numbered)
        if found and found[0] != rule:
            has, other = ("A", "without one") if shown.numbered else ("No", "with one")
            if case.belief.number is None:
                yield f"Whether it bears a number plate could not be told: {other}, it is {told(found[0])}."
            else:
                yield f"{has} number plate: {other} it would be {told(found[0])}."


def _an(kind: str) -> str:
    return "a" if kind == "DV" else "an"


def _flash(case: Case) -> Iterator[str]:
    rule, shown, belief = case.rule, case.display, case.belief
    heads = shown.heads
    if any(head.flashing is None for head in belief.heads):
        flashes = any(
            row.heads != heads
            and row.fits(shown.mount, shown.arrangement, shown.plates, bool(shown.numbered))
            for _, row in case.book.drawn_with(tuple(lamp.colour for lamp in heads))
        )
        known = "" if flashes or rule is None else "; the book has no flashing aspect of these lamps so shown"
        yield f"A still cannot tell whether a lamp flashes{known}."
    if any(lamp.flashing for lamp in heads) and (rule is None or shown.row is not None):
        steady = tuple(Lamp(lamp.colour) for lamp in heads)
        other = _found(case, steady)
        if other != rule and (other is None or other.number not in _named(case)):
            yield f"The flash matters: steady, the same lamps are {_named_rule(other)}."


def _outcome(case: Case, chance: RuleChance) -> str:
    return told(case.book.rule(chance.rule)) if chance.rule else chance.name


def _not_told(case: Case) -> Iterator[str]:
    """Every other outcome in the set, and what would make it so."""
    others = [chance for chance in case.chosen if chance is not case.reading]
    for chance in others[:MOST_DOUBTS]:
        other = case.displays[chance.outcome, chance.rule]
        difference = _cap(_difference(case.display, other))
        yield f"{difference} ({percent(chance.probability)}): {_outcome(case, chance)}."
    if len(others) > MOST_DOUBTS:
        yield f"{len(others) - MOST_DOUBTS} further readings are not ruled out."


def _difference(shown: Display, other: Display) -> str:
    """How another display differs from the one read: "if the lower head flashes and it is a dwarf"."""
    parts: list[str] = []
    if other.unseen != shown.unseen or len(other.heads) != len(shown.heads):
        missed = " and ".join(_missed(other, at) for at in other.unseen)
        parts.append(
            f"{missed}, so that it shows {lamps(other.heads)}"
            if missed
            else f"the heads are {lamps(other.heads)}"
        )
    else:
        for at, (a, b) in enumerate(zip(shown.heads, other.heads, strict=True)):
            place = places(len(shown.heads))[at]
            if at in other.off_phase:
                parts.append(f"the {place} is a flashing {b.colour} caught dark")
            elif a.colour != b.colour:
                parts.append(f"the {place} is {b.words()}, not {a.words()}")
            elif a.flashing != b.flashing:
                parts.append(f"the {place} {'flashes' if b.flashing else 'is steady'}")
    if shown.mount != other.mount:
        parts.append("it is a dwarf" if other.mount == "dwarf" else "it is on a mast")
    if shown.arrangement and other.arrangement and shown.arrangement != other.arrangement:
        parts.append(f"the heads are {LINES[other.arrangement]}")
    for kind in PLATES:
        if (kind in shown.plates) != (kind in other.plates):
            plate = f"{_an(kind) if kind in other.plates else 'no'} {kind} plate"
            parts.append(f"{plate} is on this {other.mount}")
    if bool(shown.numbered) != bool(other.numbered):
        parts.append(f"it bears {'a' if other.numbered else 'no'} number plate")
    return "if " + " and ".join(parts)


def _between(display: Display, at: int) -> bool:
    """Whether a head that was not seen stands between two that were."""
    seen = [i for i in range(len(display.heads)) if i not in display.unseen]
    return bool(seen) and seen[0] < at < seen[-1]


def _supposed(display: Display, at: int) -> str:
    return " (supposed, missed between the others)" if _between(display, at) else " (supposed, out of view)"


def _missed(display: Display, at: int) -> str:
    lamp = display.heads[at]
    if not _between(display, at):
        return f"out of view there is {lamp.words()}"
    if at in display.off_phase:
        return f"between them a flashing {lamp.colour} was caught dark and missed"
    return f"between them a head was missed that is {lamp.words()}"


def _as_likely(case: Case) -> Iterator[str]:
    if case.as_likely:
        others = [c.name if c.rule is None else f"{c.name} ({c.rule})" for c in case.as_likely]
        yield f"About as likely: {', '.join(others)}. Of readings as likely the most restrictive is given."


def _guard(case: Case) -> Iterator[str]:
    reading, guarded = case.reading, case.guarded
    if reading is None or guarded is None or reading.rule == guarded.rule:
        return
    if guarded.rule not in _named(case):
        if len(case.chosen) > 1:
            yield (
                f"Guarded: a display that is not standard counts as {guarded.name} ({guarded.rule}), the "
                f"most restrictive reading left at {case.level:.4g}."
            )
        return
    yield (
        f"Guarded: {guarded.name} ({guarded.rule}) is the most restrictive of the readings that together "
        f"reach {case.level:.4g}."
    )


def _source(case: Case) -> Iterator[str]:
    rule, row, book = case.rule, case.display.row, case.book
    if rule is None:
        return
    yield f"Rule {rule.number}, {rule.name}, {book.label}: {rule.source}; {rule.certainty}."
    if row is not None:
        memory = "; check it before use" if "memory" in row.certainty else ""
        note = f" ({row.note})" if row.note and memory else ""
        yield f"The aspect as drawn: {row.source}; {row.certainty}{note}{memory}."
