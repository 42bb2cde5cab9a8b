"""The shipped books: every row says its own rule, no state says two, and nothing was lost from the sources.

Sources of the rows, named in the books themselves: Transport Canada TC O-0-93, Canadian Rail Operating
Rules, edition of 2008, Rules 405-439, and the edition of 28 January 2025; NORAC operating rules 281-292,
11th edition (2018), with Norfolk Southern operating rules of 1 May 2008; Union Pacific system special
instructions 9.2 (2012).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import chain, combinations, product
from pathlib import Path
from typing import Any

import pytest

from litlamp.aspects.aspect import ARRANGEMENTS, MOUNTS, PLATES, Aspect, Lamp, Plate
from litlamp.aspects.interpret import certain, interpret
from litlamp.aspects.rulebook import (
    Rule,
    Rulebook,
    RulebookError,
    StandardAspect,
    book_names,
    load_book,
    load_book_file,
)

RULES = Path(__file__).parents[3] / "shared" / "rules"
EVERY = [(name, edition) for name in book_names() for edition in load_book(name).editions]


def states(aspect: StandardAspect) -> Iterator[Aspect]:
    """Every display that an aspect row draws: either mount, either line, any plates that do not matter."""
    mounts = MOUNTS if aspect.mount is None else (aspect.mount,)
    lines = ARRANGEMENTS if aspect.arrangement is None else (aspect.arrangement,)
    idle = [kind for kind in PLATES if kind not in aspect.plates | aspect.absent]
    extras = chain.from_iterable(combinations(idle, size) for size in range(len(idle) + 1))
    numbers = {True: ["12"], False: [""], None: ["", "12"]}[aspect.number]
    for mount, line, extra, number in product(mounts, lines, extras, numbers):
        yield Aspect(aspect.heads, mount, line, aspect.plates | frozenset(extra), number)


def rules_of(book: Rulebook, shown: Aspect) -> set[str]:
    """Every rule whose aspects include this display, told without the book's own `find`."""
    assert shown.mount is not None
    single = len(shown.heads) == 1
    return {
        rule.number
        for rule, row in book.rows()
        if row.heads == shown.heads
        and row.mount in (None, shown.mount)
        and (single or row.arrangement in (None, shown.arrangement))
        and row.plates <= shown.plates
        and not row.absent & shown.plates
        and row.number in (None, bool(shown.number))
    }


@pytest.mark.parametrize(("name", "edition"), EVERY)
def test_every_state_of_every_row_says_its_rule_and_no_other(name: str, edition: str) -> None:
    book = load_book(name, edition)
    for rule, row in book.rows():
        for shown in states(row):
            assert rules_of(book, shown) == {rule.number}, shown


@pytest.mark.parametrize(("name", "edition"), EVERY)
def test_every_row_is_read_as_its_rule(name: str, edition: str) -> None:
    book = load_book(name, edition)
    for rule, row in book.rows():
        reading = interpret(certain(row.aspect()), book)
        assert reading.reading is not None and reading.guarded is not None
        assert (reading.reading.rule, reading.reading.probability) == (rule.number, 1.0), row
        assert reading.guarded.rule == rule.number


@pytest.mark.parametrize(("name", "edition"), EVERY)
def test_the_order_is_total_and_starts_with_the_most_restrictive(name: str, edition: str) -> None:
    book = load_book(name, edition)
    ranked = [number for group in book.ranks for number in group]
    assert sorted(ranked) == sorted(rule.number for rule in book.rules if not rule.qualifier)
    assert book.most_restrictive in book.ranks[0]


@pytest.mark.parametrize(("name", "edition"), EVERY)
def test_every_rule_and_row_says_where_it_was_read_and_how_surely(name: str, edition: str) -> None:
    book = load_book(name, edition)
    for entry in (*book.rules, *(row for _, row in book.rows())):
        assert entry.source
        assert entry.certainty in ("read in source", "from memory", "read in source; plate from memory")
    speeds = {speed.name for speed in book.speeds}
    for rule in book.rules:
        assert rule.qualifier or rule.speed in speeds


def test_editions_of_cror_differ_as_the_published_rule_lists_do() -> None:
    # CROR edition of 28 January 2025, rule list; TC O-0-93 (2008).
    old = {rule.number for rule in load_book("CROR", "2008").rules}
    new = {rule.number for rule in load_book("CROR", "2025").rules}
    assert new - old == {"414A", "419A", "425A", "432A", "433A", "434A", "440"}
    assert old - new == {"438"}
    assert load_book("CROR").edition == "2025"


@pytest.mark.parametrize(
    ("words", "old", "new"),
    [
        ("flashing yellow over yellow", "414", "414A"),
        ("red over flashing green over flashing yellow", "419", "419A"),
        ("red over green over flashing yellow", "425", "425A"),
        ("red over flashing yellow over flashing green", "432", "432A"),
        ("red over flashing yellow over green", "433", "433A"),
        ("red over flashing yellow over flashing yellow", "434", "434A"),
    ],
)
def test_dv_plates_say_the_plain_rule_in_2008_and_their_own_in_2025(words: str, old: str, new: str) -> None:
    from litlamp.aspects.rulebook import heads_of

    plates: frozenset[Plate] = frozenset({"DV"})
    for edition, number in (("2008", old), ("2025", new)):
        found = load_book("CROR", edition).find(heads_of(words), "mast", "vertical", plates)
        assert found is not None and found[0].number == number


def test_named_speeds_are_those_of_the_rulebook(cror: Rulebook) -> None:
    # CROR edition of 28 January 2025, definitions: limited 45, medium 30, diverging 25, slow 15 mph.
    mph = {speed.name: speed.mph for speed in cror.speeds}
    assert (mph["limited"], mph["medium"], mph["diverging"], mph["slow"]) == (45, 30, 25, 15)


def test_speed_falls_along_the_order(cror: Rulebook) -> None:
    """The order's own principle: the speed now comes first."""
    place = {speed.name: at for at, speed in enumerate(cror.speeds)}
    speeds = [place[cror.rule(number).speed] for group in cror.ranks for number in group]
    named = [s for s in speeds if cror.speeds[s].name in ("slow", "diverging", "medium", "limited", "track")]
    assert named == sorted(named)


# Against the tables the books were written from, where they lie beside the checkout.


def table(name: str) -> list[dict[str, Any]]:
    path = RULES / name
    if not path.exists():
        pytest.skip(f"{name} is not beside the checkout")
    rules: list[dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))
    return rules


def lamps(row: dict[str, Any]) -> tuple[Lamp, ...]:
    return tuple(Lamp(head["colour"], head["flash"]) for head in row["heads"])


def kept(rule: Rule, row: dict[str, Any]) -> StandardAspect:
    """The row of the book that holds this row of the table."""
    wanted = set(row.get("plates_absent", [])) - {"number"}
    found = [
        aspect
        for aspect in rule.aspects
        if aspect.heads == lamps(row)
        and (aspect.mount or "any") == row["mount"]
        and (aspect.arrangement or "any") == row["arrangement"]
        and aspect.plates == set(row["plates"]) - {"number"}
        and aspect.absent >= wanted
    ]
    assert len(found) == 1, (rule.number, row)
    return found[0]


def test_all_of_the_cror_table_is_kept() -> None:
    rules = table("cror.json")
    rows = 0
    for entry in rules:
        for edition in entry["editions"]:
            book = load_book("CROR", edition)
            rule = book.rule(entry["rule"])
            assert (rule.name, rule.permits) == (entry["name"], entry["permits"])
            assert (rule.source, rule.certainty) == (
                entry["indication_source"],
                entry["indication_certainty"],
            )
            if not rule.qualifier:
                assert rule.speed == entry["speed_now"]
            ahead = entry["next_code"]
            announced = rule.announces
            if ahead["speed"] == "none":
                assert announced is None
            else:
                assert announced is not None
                assert (announced.signal, announced.speed) == (ahead["which"], ahead["speed"])
            for row in entry["aspects"]:
                rows += edition == entry["editions"][-1]
                # In 2008 the plain rule of these six was drawn on DV masts too (the table's notes).
                aspect = kept(rule, row)
                assert (aspect.source, aspect.certainty) == (row["source"], row["certainty"])
                assert interpret(certain(aspect.aspect()), book).reading.rule == entry["rule"]  # type: ignore[union-attr]
    assert (len(rules), rows) == (42, 134)


def test_the_order_of_the_table_is_kept() -> None:
    path = RULES / "order.json"
    if not path.exists():
        pytest.skip("order.json is not beside the checkout")
    ranks = [tuple(group) for group in json.loads(path.read_text(encoding="utf-8"))["ranks"]]
    for edition in ("2008", "2025"):
        book = load_book("CROR", edition)
        known = {rule.number for rule in book.rules}
        assert book.ranks == tuple(
            group for rank in ranks if (group := tuple(number for number in rank if number in known))
        )


def test_all_of_the_second_table_is_kept() -> None:
    rules = table("second.json")
    rows = 0
    for entry in rules:
        book = load_book("NORAC" if entry["rulebook"] == "NORAC" else "UP")
        rule = book.rule(entry["rule"])
        assert (rule.name, rule.speed) == (entry["name"], entry["speed_now"])
        assert rule.certainty == entry["indication_certainty"]
        for row in entry["aspects"]:
            rows += 1
            aspect = kept(rule, row)
            assert aspect.source == row["source"]
            assert aspect.certainty.startswith(row["certainty"])
            assert aspect.certainty.endswith("memory") == (
                "from memory" in (row["certainty"], row.get("plates_certainty"))
            )
            number = "number" in row["plates"]
            assert aspect.number == (
                True if number else False if "number" in row.get("plates_absent", []) else None
            )
            found = book.find(
                aspect.heads, row["mount"] if row["mount"] != "any" else "mast", "vertical", numbered=number
            )
            assert found is not None and found[0].number == entry["rule"]
    assert (len(rules), rows) == (32, 101)


def test_a_book_or_edition_that_is_not_there_is_refused_by_name() -> None:
    with pytest.raises(RulebookError, match="CROR, NORAC, UP"):
        load_book("XYZ")
    with pytest.raises(RulebookError, match="2008, 2025"):
        load_book("CROR", "1990")
    assert load_book("norac").name == "NORAC"


def test_a_book_file_with_faults_is_refused_with_every_line(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("[book]\nname = 'X'\nname = 'Y'\n", encoding="utf-8")
    with pytest.raises(RulebookError, match=r"mine\.toml:3"):
        load_book_file(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RulebookError, match="not UTF-8"):
        load_book_file(path)
