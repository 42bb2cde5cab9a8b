"""A rulebook: what each standard aspect says, as data read from TOML.

The shipped books lie in `rulebooks/`; a user's own is read by `load_book_file`, which refuses a book with
faults and lists them all (see `check`).
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

from litlamp.aspects.aspect import MOUNTS, Arrangement, Aspect, Colour, Lamp, Mount, Plate

SHIPPED = {"CROR": "cror.toml", "NORAC": "norac.toml", "UP": "up.toml"}

Heads = tuple[Lamp, ...]
Colours = tuple[Colour, ...]


class RulebookError(ValueError):
    """A rulebook that cannot be used; the message says why, one fault a line."""


@dataclass(frozen=True, slots=True)
class Speed:
    """A named speed: its ceiling in miles per hour, where it has one, and what it means."""

    name: str
    mph: int | None
    means: str


@dataclass(frozen=True, slots=True)
class PlateKind:
    """A plate ("A", "R", "L", "DV" or "number"): its look and what it does to a reading in this book."""

    kind: str
    looks: str
    effect: str


@dataclass(frozen=True, slots=True)
class Announcement:
    """What a rule says of a signal ahead: the next or the second, and the speed to have there."""

    signal: Literal["next", "second"]
    speed: str


@dataclass(frozen=True, slots=True)
class StandardAspect:
    """One aspect as the book draws it. None for mount or arrangement: either will do.

    `plates` must be there and `absent` must not; any other plate qualifies nothing here. `number` is True
    where a number plate is required, False where there must be none, None where it does not matter.
    `source` and `certainty` say where this row was read and how surely ("from memory" is kept).
    """

    heads: Heads
    mount: Mount | None
    arrangement: Arrangement | None
    plates: frozenset[Plate]
    absent: frozenset[Plate]
    number: bool | None
    source: str
    certainty: str
    note: str

    def fits(
        self, mount: Mount, arrangement: Arrangement | None, plates: frozenset[Plate], numbered: bool
    ) -> bool:
        """Whether a signal with these lamps, so mounted and plated, is this aspect.

        `arrangement` None is right for a single head, which has none.
        """
        return (
            self.mount in (None, mount)
            and (arrangement is None or self.arrangement in (None, arrangement))
            and self.plates <= plates
            and not (self.absent & plates)
            and self.number in (None, numbered)
        )

    def aspect(self) -> Aspect:
        """The plainest display of this aspect."""
        number = {True: "?", False: "", None: None}[self.number]
        return Aspect(self.heads, self.mount, self.arrangement, self.plates, number)


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: what it permits in our own words, the speed now, what it announces, how it is shown.

    `qualifier` marks a rule that adds to another and is shown by no heads of its own (CROR 440).
    """

    number: str
    name: str
    permits: str
    speed: str
    next: str
    announces: Announcement | None
    source: str
    certainty: str
    note: str
    qualifier: bool
    aspects: tuple[StandardAspect, ...]


@dataclass(frozen=True, slots=True)
class Imperfect:
    """What the book says of a signal imperfectly displayed (CROR 27(a))."""

    rule: str
    permits: str
    source: str
    certainty: str


@dataclass(frozen=True, slots=True)
class PartlyDark:
    """The exception for a head out throughout while another shows one of the `lit` colours (CROR 27(b)).

    `bottom_yellow` is the rule a solid yellow in the bottom position counts as. `rule.number` ranks with
    `ranks_with` in the order.
    """

    rule: Rule
    lit: frozenset[Colour]
    ranks_with: str
    bottom_yellow: str | None


@dataclass(frozen=True, slots=True)
class Rulebook:
    """One edition of a rulebook.

    Attributes
    ----------
    ranks : rule numbers from the most to the least restrictive; numbers in one group rank alike.
    most_restrictive : number of the rule that is the book's most restrictive indication.
    """

    name: str
    title: str
    edition: str
    editions: tuple[str, ...]
    note: str
    speeds: tuple[Speed, ...]
    plates: tuple[PlateKind, ...]
    rules: tuple[Rule, ...]
    ranks: tuple[tuple[str, ...], ...]
    principle: str
    most_restrictive: str
    imperfect: Imperfect
    partly_dark: PartlyDark | None
    _by_number: dict[str, Rule] = field(init=False, repr=False, compare=False)
    _by_colours: dict[Colours, tuple[tuple[Rule, StandardAspect], ...]] = field(
        init=False, repr=False, compare=False
    )
    _borne: dict[tuple[int, Mount], frozenset[Plate]] = field(init=False, repr=False, compare=False)
    _rank: dict[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        by_number = {rule.number: rule for rule in self.rules}
        rank = {number: at for at, group in enumerate(self.ranks) for number in group}
        if self.partly_dark is not None:
            by_number[self.partly_dark.rule.number] = self.partly_dark.rule
            rank[self.partly_dark.rule.number] = rank[self.partly_dark.ranks_with]
        by_colours: dict[Colours, list[tuple[Rule, StandardAspect]]] = {}
        for rule in self.rules:
            for aspect in rule.aspects:
                by_colours.setdefault(tuple(h.colour for h in aspect.heads), []).append((rule, aspect))
        object.__setattr__(self, "_by_number", by_number)
        object.__setattr__(self, "_rank", rank)
        object.__setattr__(self, "_by_colours", {k: tuple(v) for k, v in by_colours.items()})
        borne: dict[tuple[int, Mount], frozenset[Plate]] = {}
        for rule in self.rules:
            for row in rule.aspects:
                for mount in MOUNTS if row.mount is None else (row.mount,):
                    at = len(row.heads), mount
                    borne[at] = borne.get(at, frozenset()) | row.plates
        object.__setattr__(self, "_borne", borne)

    @property
    def label(self) -> str:
        """Name and edition: "CROR 2025"."""
        return f"{self.name} {self.edition}"

    def rule(self, number: str) -> Rule:
        """The rule of that number; KeyError if the book has none."""
        return self._by_number[number]

    def rank(self, number: str | None) -> int:
        """Place in the order, 0 the most restrictive. None (not a standard aspect, not lit) ranks 0."""
        return 0 if number is None else self._rank[number]

    def drawn_with(self, colours: Colours) -> tuple[tuple[Rule, StandardAspect], ...]:
        """Every standard aspect with heads of these colours, flashing or not, with its rule."""
        return self._by_colours.get(colours, ())

    def borne_by(self, heads: int, mount: Mount) -> frozenset[Plate]:
        """The plates of all standard aspects of so many heads on that mount."""
        return self._borne.get((heads, mount), frozenset())

    def find(
        self,
        heads: Heads,
        mount: Mount,
        arrangement: Arrangement | None = None,
        plates: frozenset[Plate] = frozenset(),
        numbered: bool = False,
    ) -> tuple[Rule, StandardAspect] | None:
        """The rule such a display shows and the aspect as drawn, or None: not a standard aspect."""
        for rule, aspect in self.drawn_with(tuple(h.colour for h in heads)):
            if aspect.heads == heads and aspect.fits(mount, arrangement, plates, numbered):
                return rule, aspect
        return None

    def rows(self) -> Iterator[tuple[Rule, StandardAspect]]:
        """Every standard aspect with its rule, in the book's order."""
        return ((rule, aspect) for rule in self.rules for aspect in rule.aspects)


def book_names() -> tuple[str, ...]:
    """Names of the books that come with litlamp."""
    return tuple(SHIPPED)


def book_text(name: str) -> str:
    """The TOML text of a shipped book; RulebookError if there is none of that name (any case)."""
    file = SHIPPED.get(name.upper())
    if file is None:
        raise RulebookError(f"no rulebook named {name!r}; there are {', '.join(SHIPPED)}")
    return files("litlamp.aspects").joinpath("rulebooks", file).read_text(encoding="utf-8")


@lru_cache(maxsize=16)
def load_book(name: str = "CROR", edition: str | None = None) -> Rulebook:
    """A shipped book in one edition (its default edition if None); RulebookError if there is none."""
    return build_book(tomllib.loads(book_text(name)), edition)


def load_book_file(path: str | Path, edition: str | None = None) -> Rulebook:
    """A user's own book. RulebookError lists every fault with its line; OSError if it cannot be read."""
    from litlamp.aspects.check import check_book  # the checker is for users' books: load it only for them

    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise RulebookError(f"{path}: not UTF-8 text, so not a rulebook") from error
    faults = check_book(text, str(path))
    if faults:
        raise RulebookError("\n".join(f"{path}:{fault.line}: {fault.message}" for fault in faults))
    return build_book(tomllib.loads(text), edition)


def lamp_of(words: str) -> Lamp:
    """A lamp as a book spells it, "yellow" or "flashing yellow"; ValueError otherwise."""
    match words.split():
        case ["flashing", ("red" | "yellow" | "green" | "lunar") as colour]:
            return Lamp(colour, True)
        case [("red" | "yellow" | "green" | "lunar" | "dark") as colour]:
            return Lamp(colour)
    raise ValueError(words)


def heads_of(words: str) -> Heads:
    """Heads as a book spells them, "yellow over flashing green", top to bottom; ValueError otherwise."""
    return tuple(lamp_of(part) for part in words.split(" over "))


def aspect_of(entry: Mapping[str, Any], source: str = "", certainty: str = "") -> StandardAspect:
    """One aspect row of a book that has no faults."""
    return StandardAspect(
        heads=heads_of(entry["heads"]),
        mount=None if entry["mount"] == "any" else entry["mount"],
        arrangement=None if entry.get("arrangement", "any") == "any" else entry["arrangement"],
        plates=frozenset(entry.get("plates", ())),
        absent=frozenset(entry.get("absent", ())),
        number={"present": True, "absent": False}.get(entry.get("number", "")),
        source=source,
        certainty=certainty,
        note=entry.get("note", ""),
    )


def build_book(data: Mapping[str, Any], edition: str | None = None) -> Rulebook:
    """The book of one edition from parsed TOML that has no faults (see `check`); RulebookError otherwise."""
    head = data["book"]
    editions = tuple(head["editions"])
    edition = head["default_edition"] if edition is None else edition
    if edition not in editions:
        raise RulebookError(f"{head['name']} has no edition {edition!r}; there are {', '.join(editions)}")
    sources: Mapping[str, Mapping[str, str]] = data["sources"]

    def in_force(entry: Mapping[str, Any]) -> bool:
        return edition in entry.get("editions", editions)

    def certainty(entry: Mapping[str, Any]) -> str:
        return str(entry.get("certainty", sources[entry["source"]]["certainty"]))

    def source(entry: Mapping[str, Any]) -> str:
        text = sources[entry["source"]]["text"]
        return f"{text} ({entry['drawn']})" if "drawn" in entry else text

    def rule_of(entry: Mapping[str, Any]) -> Rule:
        announced = [
            Announcement(signal, entry["announces"][signal])
            for signal in ("next", "second")
            if signal in entry.get("announces", {})
        ]
        return Rule(
            number=entry["number"],
            name=entry["name"],
            permits=entry["permits"],
            speed=entry.get("speed", ""),
            next=entry.get("next", ""),
            announces=announced[0] if announced else None,
            source=source(entry),
            certainty=certainty(entry),
            note=entry.get("note", ""),
            qualifier=entry.get("qualifier", False),
            aspects=tuple(
                aspect_of(row, source(row), certainty(row))
                for row in entry.get("aspects", ())
                if in_force(row)
            ),
        )

    rules = tuple(rule_of(entry) for entry in data["rule"] if in_force(entry))
    known = {rule.number for rule in rules}
    groups = ([group] if isinstance(group, str) else group for group in data["order"]["ranks"])
    ranks = (tuple(number for number in group if number in known) for group in groups)
    dark = data.get("partly_dark")
    imperfect = data["imperfect"]
    return Rulebook(
        name=head["name"],
        title=head["title"],
        edition=edition,
        editions=editions,
        note=head.get("note", ""),
        speeds=tuple(Speed(name, entry.get("mph"), entry["means"]) for name, entry in data["speeds"].items()),
        plates=tuple(
            PlateKind(kind, entry["looks"], entry["effect"]) for kind, entry in data.get("plates", {}).items()
        ),
        rules=rules,
        ranks=tuple(group for group in ranks if group),
        principle=data["order"]["principle"],
        most_restrictive=head["most_restrictive"],
        imperfect=Imperfect(
            imperfect.get("rule", ""), imperfect["permits"], source(imperfect), certainty(imperfect)
        ),
        partly_dark=_partly_dark(dark, rule_of(_as_rule(dark))) if dark and in_force(dark) else None,
    )


def _as_rule(dark: Mapping[str, Any]) -> dict[str, Any]:
    return {"number": dark["rule"], **{k: v for k, v in dark.items() if k != "rule"}}


def _partly_dark(dark: Mapping[str, Any], rule: Rule) -> PartlyDark:
    lit: Sequence[Colour] = dark["lit"]
    return PartlyDark(rule, frozenset(lit), dark["ranks_with"], dark.get("bottom_yellow"))
