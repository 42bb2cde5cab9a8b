"""A rulebook drawn in text: everything is there, nothing too wide, doubts marked."""

from __future__ import annotations

import pytest

from litlamp.aspects.cautions import LONG
from litlamp.aspects.rulebook import Rulebook, StandardAspect, book_names, heads_of, load_book
from litlamp.report.book import draw_aspect, draw_book

BOOKS = [(name, edition) for name in book_names() for edition in load_book(name).editions]


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize(("name", "edition"), BOOKS)
def test_every_rule_speed_plate_source_and_the_caution_are_printed(name: str, edition: str) -> None:
    book = load_book(name, edition)
    text = draw_book(book)
    words = flat(text)
    assert flat(LONG) in words
    assert flat(book.principle) in words
    for rule in book.rules:
        assert any(line.split()[:1] == [rule.number] and rule.name in line for line in text.splitlines())
        assert flat(rule.permits) in words
    for speed in book.speeds:
        assert flat(speed.means) in words
    for plate in book.plates:
        assert flat(plate.effect) in words
    for source in {rule.source for rule in book.rules}:
        assert flat(source) in words
    assert text.isascii()
    assert max(len(line) for line in text.splitlines()) <= 79
    assert text == "\n".join(line.rstrip() for line in text.splitlines())


@pytest.mark.parametrize(("name", "edition"), BOOKS)
def test_as_many_aspects_are_drawn_and_marked_as_the_book_holds(name: str, edition: str) -> None:
    book: Rulebook = load_book(name, edition)
    rows = [row for _, row in book.rows()]
    text = draw_book(book)
    assert text.count("_|_") + text.count("[_]") == len(rows)
    assert text.count("FROM MEMORY") == sum(row.certainty == "from memory" for row in rows)
    assert text.count("PLATE FROM") == sum(row.certainty.endswith("plate from memory") for row in rows)
    lamps = [lamp for row in rows for lamp in row.heads]
    drawing = text.split("Plates")[-1]
    flashing = sum(drawing.count(f"*{letter}*") for letter in "RYGL")
    assert flashing == sum(lamp.flashing for lamp in lamps)


def aspect(words: str, **kept: object) -> StandardAspect:
    plain = {
        "mount": "mast", "arrangement": "vertical", "plates": frozenset(), "absent": frozenset(),
        "number": None, "source": "s", "certainty": "read in source", "note": "",
    }  # fmt: skip
    return StandardAspect(heads=heads_of(words), **{**plain, **kept})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("drawn", "lines"),
    [
        (aspect("flashing yellow over red"), ["  *Y*", "  (R)", "   |", "  _|_"]),
        (aspect("green over flashing red", arrangement="staggered"), ["(G)|", "   |*R*", "   |", "  _|_"]),
        (aspect("lunar over dark", mount="dwarf"), ["  (L)", "  ( )", "  [_]"]),
        (aspect("red", plates=frozenset({"R"})), ["  (R)", "  [R]", "   |", "  _|_"]),
        (aspect("red", number=True), ["  (R)", "  [#]", "   |", "  _|_"]),
    ],
)
def test_an_aspect_is_drawn_as_it_stands(drawn: StandardAspect, lines: list[str]) -> None:
    assert draw_aspect(drawn) == lines
