"""The rulebook checker finds each planted fault, on its line, and all of them at once."""

from __future__ import annotations

import re

import pytest

from litlamp.aspects.check import check_book
from litlamp.aspects.rulebook import book_names, book_text

SOUND = """\
[book]
name = "Alder Vale"
title = "Alder Vale Railway, practice book"
editions = ["1"]
default_edition = "1"
most_restrictive = "S"

[sources]
own = { text = "invented", certainty = "from memory" }

[speeds]
"stop" = { mph = 0, means = "stop" }
"line" = { means = "line speed" }

[imperfect]
permits = "counts as the most restrictive"
source = "own"

[order]
principle = "speed now"
ranks = ["S", "C"]

[[rule]]
number = "S"
name = "Stop"
permits = "Stop."
speed = "stop"
source = "own"
aspects = [
    { heads = "red", mount = "mast", source = "own" },
    { heads = "red over red", mount = "any", source = "own" },
]

[[rule]]
number = "C"
name = "Clear"
permits = "Go."
speed = "line"
source = "own"
aspects = [
    { heads = "green", mount = "mast", plates = ["A"], source = "own" },
    { heads = "flashing green over red", mount = "mast", arrangement = "vertical", source = "own" },
]
"""


def line(fragment: str, text: str = SOUND) -> int:
    """The line on which the fragment stands."""
    return text[: text.index(fragment)].count("\n") + 1


def test_a_sound_book_and_the_shipped_ones_have_no_fault() -> None:
    assert check_book(SOUND) == ()
    for name in book_names():
        assert check_book(book_text(name), name) == ()


@pytest.mark.parametrize(
    ("was", "becomes", "says"),
    [
        ('heads = "green"', 'heads = "purple"', "unknown lamp 'purple'"),
        ('heads = "green"', 'heads = "green over"', "unknown lamp"),
        ('heads = "green"', 'heads = "flashing dark over green"', "unknown lamp 'flashing dark'"),
        ('heads = "red over red"', 'heads = "red over red over red over red"', "4 heads"),
        ('heads = "red over red"', 'heads = "dark over dark"', "every head is dark"),
        ('mount = "any"', 'mount = "gantry"', "unknown mount 'gantry'"),
        ('arrangement = "vertical"', 'arrangement = "offset"', "unknown arrangement 'offset'"),
        ('plates = ["A"]', 'plates = ["Q"]', "unknown plate 'Q'"),
        ('plates = ["A"]', 'plates = ["A"], absent = ["A"]', "both requires and rules out the A plate"),
        ('plates = ["A"]', 'plate = ["A"]', "unknown key 'plate'"),
        ('plates = ["A"]', 'plates = "A"', "'plates' of an aspect of rule C must be a list"),
        ('plates = ["A"]', 'number = "some"', "unknown number plate word 'some'"),
        ('speed = "line"', 'speed = "fast"', "unknown speed 'fast'"),
        ('name = "Clear"\n', "", "rule C has no name"),
        ('permits = "Go."', 'permits = ""', "'permits' of rule C is empty"),
        ('plates = ["A"], source = "own"', 'plates = ["A"]', "an aspect of rule C has no source"),
        ('speed = "line"\nsource = "own"', 'speed = "line"', "rule C has no source"),
        ('plates = ["A"], source = "own"', 'source = "hearsay"', "unknown source 'hearsay'"),
        ('certainty = "from memory"', 'certainty = "sure"', "unknown certainty 'sure'"),
        (', certainty = "from memory" }', "}", "source 'own' has no certainty"),
        ('ranks = ["S", "C"]', 'ranks = ["S"]', "rule C is missing from the order"),
        ('ranks = ["S", "C"]', 'ranks = ["S", "C", "S"]', "rule S stands twice in the order"),
        ('ranks = ["S", "C"]', 'ranks = ["S", "C", "X"]', "names rule X, which the book does not have"),
        ('ranks = ["S", "C"]', 'ranks = ["C", "S"]', "rule S does not stand first in the order"),
        ('most_restrictive = "S"', 'most_restrictive = "Z"', "unknown rule 'Z'"),
        ('default_edition = "1"', 'default_edition = "2"', "unknown edition '2'"),
        ('name = "Alder Vale"\n', "", "[book] has no name"),
        ('number = "C"', 'number = "S"', "rule S stands already on line"),
        ('speed = "line"', 'speed = "line"\nannounces = { third = "stop" }', "unknown key 'third'"),
        ('speed = "line"', 'speed = "line"\nqualifier = true', "so it has no aspects of its own"),
        (
            'heads = "green", mount = "mast", plates = ["A"]',
            'heads = "red", mount = "mast"',
            "is both rule S",
        ),
        ('heads = "flashing green over red"', 'heads = "red over red"', "is both rule S"),
        ("[imperfect]", "[imperfekt]", "unknown key 'imperfekt'"),
        ("[imperfect]", "[imperfekt]", "the book has no imperfect"),
    ],
)
def test_each_fault_is_found(was: str, becomes: str, says: str) -> None:
    assert SOUND.count(was) >= 1
    head, tail = SOUND.rsplit(was, 1)
    text = head + becomes + tail
    found = [fault for fault in check_book(text) if says in fault.message]
    assert found, check_book(text)


@pytest.mark.parametrize(
    ("was", "becomes", "at"),
    [
        ('"green"', '"purple"', '"green"'),
        ('mount = "any"', 'mount = "gantry"', 'mount = "any"'),
        ('speed = "line"', 'speed = "fast"', 'speed = "line"'),
        (
            'ranks = ["S", "C"]',
            'ranks = ["S",\n"C",\n"X"]',
            "[[rule]]",
        ),  # X: two lines on, where [[rule]] was
        ('name = "Clear"\n', "", '[[rule]]\nnumber = "C"'),
        ('most_restrictive = "S"', 'most_restrictive = "Z"', "most_restrictive"),
    ],
)
def test_each_fault_has_its_line(was: str, becomes: str, at: str) -> None:
    expected = line(at)
    faults = check_book(SOUND.replace(was, becomes))
    assert [fault.line for fault in faults] == [expected]


def test_two_rules_for_one_state_names_both_lines_whatever_is_left_open() -> None:
    # "any" mount against a dwarf; a required plate against one that is not named.
    text = SOUND.replace(
        'heads = "green", mount = "mast", plates = ["A"]',
        'heads = "red over red", mount = "dwarf", plates = ["R"]',
    )
    (fault,) = check_book(text)
    assert fault.line == line('mount = "dwarf"', text)
    assert f"(line {line('red over red', text)})" in fault.message
    assert "R plate" in fault.message
    # Kept apart by a plate, there is none.
    apart = text.replace(
        'heads = "red over red", mount = "any"', 'heads = "red over red", mount = "any", absent = ["R"]'
    )
    assert check_book(apart) == ()


def test_every_fault_is_told_at_once_and_in_order() -> None:
    text = (
        SOUND.replace('heads = "green"', 'heads = "purple"')
        .replace('mount = "any"', 'mount = "gantry"')
        .replace('speed = "stop"', 'speed = "halt"')
        .replace('name = "Clear"\n', "")
    )
    faults = check_book(text)
    assert len(faults) == 4
    assert [fault.line for fault in faults] == sorted(fault.line for fault in faults)


@pytest.mark.parametrize("text", ["a = ", "[book\n", 'x = "\n"', "x = 1\nx = 2\n", "\x00", "x = [1, 2"])
def test_text_that_is_not_toml_is_one_fault_with_a_line(text: str) -> None:
    (fault,) = check_book(text, "mine.toml")
    assert "mine.toml is not TOML" in fault.message
    assert 1 <= fault.line <= text.count("\n") + 1


@pytest.mark.parametrize(
    "text", ["", "rule = 1", "[rule]", "rule = [1]", "book = []", "[order]\nranks = 3", "[[rule]]"]
)
def test_a_book_of_the_wrong_shape_is_told_and_never_breaks_the_checker(text: str) -> None:
    assert check_book(text)


def test_any_line_left_out_of_a_shipped_book_never_breaks_the_checker() -> None:
    rows = book_text("NORAC").splitlines()
    for at in range(0, len(rows), 3):
        for fault in check_book("\n".join(rows[:at] + rows[at + 1 :])):
            assert 1 <= fault.line <= len(rows)
            assert re.search(r"\w", fault.message)
