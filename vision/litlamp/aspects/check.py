"""Checks a rulebook that a user wrote: every fault at once, each with its line."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

from litlamp.aspects.aspect import ARRANGEMENTS, COLOURS, MOST_HEADS, MOUNTS, PLATES
from litlamp.aspects.lines import Path, line_of, lines_of
from litlamp.aspects.rulebook import StandardAspect, aspect_of, lamp_of

CERTAINTIES = ("read in source", "from memory", "read in source; plate from memory")

Kind = type | tuple[type, ...]
TEXT, LIST, TABLE, NUMBER, YESNO = str, list, dict, int, bool

_TOP: dict[str, Kind] = {
    "book": TABLE, "sources": TABLE, "speeds": TABLE, "plates": TABLE, "imperfect": TABLE,
    "partly_dark": TABLE, "order": TABLE, "rule": LIST,
}  # fmt: skip
_BOOK: dict[str, Kind] = {
    "name": TEXT, "title": TEXT, "editions": LIST, "default_edition": TEXT, "most_restrictive": TEXT,
    "note": TEXT,
}  # fmt: skip
_SOURCE: dict[str, Kind] = {"text": TEXT, "certainty": TEXT}
_SPEED: dict[str, Kind] = {"mph": NUMBER, "means": TEXT}
_PLATE: dict[str, Kind] = {"looks": TEXT, "effect": TEXT}
_READ: dict[str, Kind] = {"source": TEXT, "drawn": TEXT, "certainty": TEXT, "note": TEXT, "editions": LIST}
_IMPERFECT: dict[str, Kind] = {"rule": TEXT, "permits": TEXT, **_READ}
_PARTLY_DARK: dict[str, Kind] = {
    "rule": TEXT, "name": TEXT, "permits": TEXT, "lit": LIST, "ranks_with": TEXT, "bottom_yellow": TEXT,
    **_READ,
}  # fmt: skip
_ORDER: dict[str, Kind] = {"principle": TEXT, "ranks": LIST}
_RULE: dict[str, Kind] = {
    "number": TEXT, "name": TEXT, "permits": TEXT, "speed": TEXT, "next": TEXT, "announces": TABLE,
    "qualifier": YESNO, "aspects": LIST, **_READ,
}  # fmt: skip
_ANNOUNCES: dict[str, Kind] = {"next": TEXT, "second": TEXT}
_ASPECT: dict[str, Kind] = {
    "heads": TEXT, "mount": TEXT, "arrangement": TEXT, "plates": LIST, "absent": LIST, "number": TEXT,
    **_READ,
}  # fmt: skip
_NAMES: Mapping[Kind, str] = {
    TEXT: "text",
    LIST: "a list",
    TABLE: "a table",
    NUMBER: "a number",
    YESNO: "true or false",
}


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a book, and on which line, from 1."""

    line: int
    message: str


def check_book(text: str, filename: str = "") -> tuple[Fault, ...]:
    """Every fault of a rulebook's TOML text, in the order of its lines; empty if the book is sound.

    `filename` is not read; it only lets a message name the book it speaks of.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"\(at line (\d+), column \d+\)", str(error))
        last = text.count("\n") + 1
        what = re.sub(r" \(at .*\)$", "", str(error))
        where = f"{filename} is" if filename else "this is"
        return (Fault(int(at[1]) if at else last, f"{where} not TOML: {what}"),)
    except RecursionError:
        return (Fault(1, "brackets stand in brackets too deep for a rulebook"),)
    if not text.strip():
        return (Fault(1, f"{filename or 'this'} is empty"),)
    check = _Check(data, lines_of(text))
    check.all()
    return tuple(sorted(set(check.faults), key=lambda fault: (fault.line, fault.message)))


@dataclass(frozen=True, slots=True)
class _Drawn:
    """An aspect row without faults: its rule, its place, and the editions it holds in."""

    number: str
    path: Path
    row: StandardAspect
    editions: set[str]


@dataclass(slots=True)
class _Check:
    data: dict[str, Any]
    lines: dict[Path, int]
    faults: list[Fault] = field(default_factory=list)
    drawn: list[_Drawn] = field(default_factory=list)

    def fault(self, path: Path, message: str) -> None:
        self.faults.append(Fault(line_of(self.lines, path), message))

    def all(self) -> None:
        self.table(
            (), self.data, _TOP, ("book", "sources", "speeds", "imperfect", "order", "rule"), "the book"
        )
        self.book()
        self.sources()
        for name, entry in self.members("speeds"):
            self.table(("speeds", name), entry, _SPEED, ("means",), f"speed {name!r}")
        for kind, entry in self.members("plates"):
            self.table(("plates", kind), entry, _PLATE, ("looks", "effect"), f"plate {kind!r}")
            self.word(("plates", kind), kind, (*PLATES, "number"), "plate")
        self.rules()
        self.order()
        self.exceptions()
        self.states()

    # What is there, and of the right kind

    def table(
        self, path: Path, entry: Any, known: Mapping[str, Kind], needed: Collection[str], what: str
    ) -> bool:
        """Whether an entry is a table; notes unknown keys, wrong kinds, and what is missing."""
        if not isinstance(entry, dict):
            self.fault(path, f"{what} must be a table")
            return False
        for key, value in entry.items():
            if key not in known:
                self.fault((*path, key), f"unknown key {key!r} in {what}; there are {', '.join(known)}")
            elif not _is(value, known[key]):
                self.fault((*path, key), f"{key!r} of {what} must be {_NAMES[known[key]]}")
        for key in needed:
            if key not in entry:
                self.fault(path, f"{what} has no {key}")
            elif entry[key] in ("", [], {}):
                self.fault((*path, key), f"{key!r} of {what} is empty")
        return True

    def members(self, name: str) -> list[tuple[str, Any]]:
        table = self.data.get(name)
        return list(table.items()) if isinstance(table, dict) else []

    def word(self, path: Path, value: Any, known: Collection[str], what: str) -> bool:
        """Whether a word is one of those known; notes it if not."""
        if value in known:
            return True
        self.fault(path, f"unknown {what} {value!r}; there are {', '.join(known)}")
        return False

    def text(self, *path: str | int) -> str | None:
        """The text at a place, or None where there is none."""
        value: Any = self.data
        for step in path:
            if isinstance(value, dict) and step in value:
                value = value[step]
            else:
                return None
        return value if isinstance(value, str) else None

    # The parts of a book

    def editions(self) -> list[str]:
        book = self.data.get("book")
        editions = book.get("editions") if isinstance(book, dict) else None
        return [e for e in editions if isinstance(e, str)] if isinstance(editions, list) else []

    def book(self) -> None:
        needed = ("name", "title", "editions", "default_edition", "most_restrictive")
        if "book" not in self.data or not self.table(("book",), self.data["book"], _BOOK, needed, "[book]"):
            return
        for at, edition in enumerate(self.data["book"].get("editions") or ()):
            if not isinstance(edition, str):
                self.fault(("book", "editions", at), "an edition must be text")
        default = self.text("book", "default_edition")
        if default is not None:
            self.word(("book", "default_edition"), default, self.editions(), "edition")

    def sources(self) -> None:
        for name, entry in self.members("sources"):
            path = ("sources", name)
            if self.table(path, entry, _SOURCE, ("text", "certainty"), f"source {name!r}"):
                self.certainty(path, entry)

    def certainty(self, path: Path, entry: Mapping[str, Any]) -> None:
        if isinstance(entry.get("certainty"), str):
            self.word((*path, "certainty"), entry["certainty"], CERTAINTIES, "certainty")

    def read(self, path: Path, entry: Mapping[str, Any], what: str) -> None:
        """Where a rule or aspect was read, how surely, and in which editions it holds."""
        source = entry.get("source")
        if source is None:
            self.fault(path, f"{what} has no source")
        elif isinstance(source, str):
            self.word((*path, "source"), source, [name for name, _ in self.members("sources")], "source")
        self.certainty(path, entry)
        if isinstance(entry.get("editions"), list):
            for at, edition in enumerate(entry["editions"]):
                self.word((*path, "editions", at), edition, self.editions(), "edition")

    def rule_entries(self) -> list[tuple[int, dict[str, Any]]]:
        rules = self.data.get("rule")
        return (
            [(at, r) for at, r in enumerate(rules) if isinstance(r, dict)] if isinstance(rules, list) else []
        )

    def numbers(self) -> list[str]:
        return [str(rule["number"]) for _, rule in self.rule_entries() if isinstance(rule.get("number"), str)]

    def rules(self) -> None:
        seen: dict[str, int] = {}
        for at, rule in self.rule_entries():
            path: Path = ("rule", at)
            number = rule.get("number")
            what = f"rule {number}" if number else f"rule {at + 1} of the file"
            qualifier = rule.get("qualifier") is True
            needed = ("number", "name", "permits") if qualifier else ("number", "name", "permits", "speed")
            self.table(path, rule, _RULE, needed, what)
            self.read(path, rule, what)
            if isinstance(number, str):
                if number in seen:
                    self.fault((*path, "number"), f"rule {number} stands already on line {seen[number]}")
                seen.setdefault(number, line_of(self.lines, (*path, "number")))
            self.speeds_of(path, rule, what)
            if isinstance(rule.get("aspects"), list):
                if qualifier and rule["aspects"]:
                    self.fault(
                        (*path, "aspects"), f"{what} qualifies another, so it has no aspects of its own"
                    )
                for place, aspect in enumerate(rule["aspects"]):
                    row_path, before = (*path, "aspects", place), len(self.faults)
                    self.aspect(row_path, aspect, f"an aspect of {what}")
                    if len(self.faults) == before and isinstance(number, str):
                        editions = self.in_force(rule) & self.in_force(aspect)
                        self.drawn.append(_Drawn(number, row_path, aspect_of(aspect), editions))

    def speeds_of(self, path: Path, rule: Mapping[str, Any], what: str) -> None:
        speeds = [name for name, _ in self.members("speeds")]
        if isinstance(rule.get("speed"), str):
            self.word((*path, "speed"), rule["speed"], speeds, "speed")
        announces = rule.get("announces")
        if isinstance(announces, dict):
            self.table((*path, "announces"), announces, _ANNOUNCES, (), f"what {what} announces")
            if len(announces) > 1:
                self.fault(
                    (*path, "announces"), f"{what} announces both signals ahead; say the one that counts"
                )
            for signal, speed in announces.items():
                if isinstance(speed, str):
                    self.word((*path, "announces", signal), speed, speeds, "speed")

    def aspect(self, path: Path, aspect: Any, what: str) -> None:
        if not self.table(path, aspect, _ASPECT, ("heads", "mount"), what):
            return
        self.read(path, aspect, what)
        if isinstance(aspect.get("heads"), str) and aspect["heads"]:
            self.heads((*path, "heads"), aspect["heads"])
        if isinstance(aspect.get("mount"), str):
            self.word((*path, "mount"), aspect["mount"], (*MOUNTS, "any"), "mount")
        if isinstance(aspect.get("arrangement"), str):
            self.word((*path, "arrangement"), aspect["arrangement"], (*ARRANGEMENTS, "any"), "arrangement")
        if isinstance(aspect.get("number"), str):
            self.word((*path, "number"), aspect["number"], ("present", "absent"), "number plate word")
        named = {}
        for key in ("plates", "absent"):
            kinds = aspect.get(key)
            named[key] = kinds if isinstance(kinds, list) else []
            for at, kind in enumerate(named[key]):
                self.word((*path, key, at), kind, PLATES, "plate")
        for kind in named["plates"]:
            if kind in named["absent"]:
                self.fault(path, f"{what} both requires and rules out the {kind} plate")

    def heads(self, path: Path, words: str) -> None:
        parts = words.split(" over ")
        for part in parts:
            try:
                lamp_of(part)
            except ValueError:
                self.fault(
                    path, f"unknown lamp {part!r}; say [flashing] {', '.join(COLOURS)} (dark never flashes)"
                )
        if len(parts) > MOST_HEADS:
            self.fault(path, f"{len(parts)} heads, where a signal has at most {MOST_HEADS}")
        if all(part == "dark" for part in parts):
            self.fault(path, "every head is dark: that is no aspect")

    def order(self) -> None:
        if "order" not in self.data:
            return
        path: Path = ("order",)
        if not self.table(path, self.data["order"], _ORDER, ("principle", "ranks"), "[order]"):
            return
        ranks = self.data["order"].get("ranks")
        if not isinstance(ranks, list):
            return
        ranked: list[tuple[Path, Any]] = []
        for at, group in enumerate(ranks):
            place = ("order", "ranks", at)
            if isinstance(group, list):
                ranked += [((*place, inner), number) for inner, number in enumerate(group)]
            else:
                ranked.append((place, group))
        qualifiers = {r.get("number") for _, r in self.rule_entries() if r.get("qualifier") is True}
        numbers = self.numbers()
        times: Counter[str] = Counter()
        for where, number in ranked:
            if not isinstance(number, str):
                self.fault(where, f"the order names rules by text, not {number!r}")
                continue
            times[number] += 1
            if number in qualifiers:
                self.fault(where, f"rule {number} qualifies another, so it has no place in the order")
            elif number not in numbers:
                self.fault(where, f"the order names rule {number}, which the book does not have")
            elif times[number] == 2:
                self.fault(where, f"rule {number} stands twice in the order")
        for at, rule in self.rule_entries():
            number = rule.get("number")
            if isinstance(number, str) and number not in qualifiers and not times[number]:
                self.fault(("rule", at, "number"), f"rule {number} is missing from the order")
        self.most_restrictive(ranks)

    def most_restrictive(self, ranks: Sequence[Any]) -> None:
        most = self.text("book", "most_restrictive")
        if most is None or not self.word(("book", "most_restrictive"), most, self.numbers(), "rule"):
            return
        first = ranks[0] if ranks and isinstance(ranks[0], list) else list(ranks[:1])
        if most not in first:
            self.fault(("book", "most_restrictive"), f"rule {most} does not stand first in the order")
        for at, rule in self.rule_entries():
            if rule.get("number") == most and set(self.editions()) - self.in_force(rule):
                self.fault(("rule", at, "editions"), f"rule {most} must stand in every edition")

    def exceptions(self) -> None:
        if "imperfect" in self.data:
            path: Path = ("imperfect",)
            if self.table(path, self.data["imperfect"], _IMPERFECT, ("permits",), "[imperfect]"):
                self.read(path, self.data["imperfect"], "[imperfect]")
        if "partly_dark" not in self.data:
            return
        path, entry = ("partly_dark",), self.data["partly_dark"]
        needed = ("rule", "name", "permits", "lit", "ranks_with")
        if not self.table(path, entry, _PARTLY_DARK, needed, "[partly_dark]"):
            return
        self.read(path, entry, "[partly_dark]")
        for at, colour in enumerate(entry["lit"] if isinstance(entry.get("lit"), list) else ()):
            self.word((*path, "lit", at), colour, [c for c in COLOURS if c != "dark"], "colour")
        for key in ("ranks_with", "bottom_yellow"):
            if isinstance(entry.get(key), str):
                self.word((*path, key), entry[key], self.numbers(), "rule")
        if entry.get("rule") in self.numbers():
            self.fault((*path, "rule"), f"rule {entry['rule']} is already a rule of the book")

    def in_force(self, entry: Mapping[str, Any]) -> set[str]:
        """The editions in which a rule or an aspect holds."""
        editions = entry.get("editions")
        if not isinstance(editions, list):
            return set(self.editions())
        return {edition for edition in editions if isinstance(edition, str)}

    def states(self) -> None:
        """No state of a signal may carry two rules, in any edition."""
        for one, other in combinations(self.drawn, 2):
            if one.number == other.number or not overlap(one.row, other.row):
                continue
            if both := sorted(one.editions & other.editions):
                self.fault(
                    other.path,
                    f"{state(one.row, other.row)} is both rule {one.number} "
                    f"(line {line_of(self.lines, one.path)}) and rule {other.number} "
                    f"in edition {', '.join(both)}",
                )


def overlap(one: StandardAspect, other: StandardAspect) -> bool:
    """Whether some signal could be both of these aspects."""
    return (
        one.heads == other.heads
        and _meet(one.mount, other.mount)
        and (len(one.heads) == 1 or _meet(one.arrangement, other.arrangement))
        and _meet(one.number, other.number)
        and not (one.plates & other.absent or other.plates & one.absent)
    )


def _meet(one: object, other: object) -> bool:
    return one is None or other is None or one == other


def state(one: StandardAspect, other: StandardAspect) -> str:
    """A state that both aspects draw, in words."""
    plates = sorted(one.plates | other.plates)
    parts = [
        " over ".join(lamp.words() for lamp in one.heads),
        one.arrangement or other.arrangement or "",
        one.mount or other.mount or "",
        *(f"{kind} plate" for kind in plates),
    ]
    return ", ".join(part for part in parts if part)


def _is(value: Any, kind: Kind) -> bool:
    return isinstance(value, kind) and not (kind is int and isinstance(value, bool))
