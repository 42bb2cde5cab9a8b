from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.rulebook import Rulebook, book_names, load_book
from litlamp.aspects.succession import Told, announced, follow, holds

BOOKS = {name: load_book(name) for name in book_names()}


def number(book: Rulebook, name: str) -> str:
    return next(rule.number for rule in book.rules if rule.name == name)


def step(before: str, after: str, *others: str, book: Rulebook | None = None):
    """By the book's own names; `others` are what the later signal may be besides."""
    book = book or BOOKS["CROR"]
    may_be = tuple(number(book, name) for name in (after, *others))
    return follow(Told(number(book, before), ()), Told(may_be[0], may_be), book)


@pytest.mark.parametrize(
    ("before", "after"),
    # By the announcements of the Canadian Rail Operating Rules, edition of 28 January 2025.
    [
        ("Advance Clear to Stop", "Clear to Stop"),
        ("Clear to Stop", "Stop"),
        ("Clear to Stop", "Stop and Proceed"),
        ("Clear to Medium", "Medium to Clear"),
        ("Clear to Restricting", "Restricting"),
        ("Clear", "Clear"),
    ],
)
def test_what_was_announced_holds(before: str, after: str) -> None:
    assert step(before, after).verdict == "holds"


def test_less_restrictive_than_announced_is_said_so() -> None:
    told = step("Clear to Stop", "Clear")
    assert told.verdict == "broken"
    assert told.laxer is True
    assert "less restrictive" in told.words and "misread" in told.words


def test_more_restrictive_than_announced_is_said_so() -> None:
    told = step("Clear", "Stop")
    assert (told.verdict, told.laxer) == ("broken", False)
    assert "more restrictive" in told.words


def test_a_signal_missed_in_between_is_named() -> None:
    told = step("Advance Clear to Stop", "Stop")
    assert told.verdict == "broken"
    assert told.between == (number(BOOKS["CROR"], "Clear to Stop"),)
    assert "Clear to Stop" in told.words


def test_another_member_of_the_set_may_fit() -> None:
    book = BOOKS["CROR"]
    told = step("Clear to Stop", "Restricting", "Stop")
    assert told.verdict == "open"
    assert told.fits == ((number(book, "Clear to Stop"), number(book, "Stop")),)


def test_nothing_is_said_where_nothing_was_announced_or_read() -> None:
    book = BOOKS["CROR"]
    assert step("Restricting", "Clear").verdict == "not told"
    assert follow(Told(None), Told("405"), book).verdict == "not told"
    assert follow(Told("405"), Told(None, (None, "439")), book).verdict == "not told"


def test_every_announcement_of_cror_can_be_kept() -> None:
    """Else the check would flag what the book itself asks for."""
    book = BOOKS["CROR"]
    for rule in book.rules:
        if rule.announces is not None:
            assert any(holds(rule, other) for other in book.rules if other.aspects), rule.name
            assert announced(rule)


@pytest.mark.parametrize("name", [n for n in BOOKS if n != "CROR"])
def test_the_other_books_have_signals_that_lead_to_a_stop(name: str) -> None:
    book = BOOKS[name]
    assert step("Advance Approach", "Approach", book=book).verdict == "holds"
    stop = next(r for r in book.rules if "stop" in r.speed.lower())
    assert follow(Told(number(book, "Approach")), Told(stop.number), book).verdict == "holds"


def test_what_no_rule_of_the_book_shows_is_not_flagged() -> None:
    told = step("Approach Clear Fifty", "Clear", book=BOOKS["UP"])
    assert told.verdict == "not told"
    assert "UP" in told.words


@pytest.mark.parametrize("book", BOOKS.values(), ids=BOOKS)
def test_every_pair_has_one_answer_that_agrees_with_the_rules(book: Rulebook) -> None:
    for before, after in itertools.product(book.rules, repeat=2):
        if before.qualifier or after.qualifier:
            continue
        told = follow(Told(before.number), Told(after.number), book)
        if before.announces is None:
            assert told.verdict == "not told"
        else:
            kept = any(holds(before, other) for other in book.rules if other.aspects)
            unkept = "broken" if kept else "not told"
            assert told.verdict == ("holds" if holds(before, after) else unkept)
        for missed in told.between:
            assert holds(before, book.rule(missed)) and holds(book.rule(missed), after)


RULES = st.sampled_from([rule.number for rule in BOOKS["CROR"].rules if not rule.qualifier])


@given(RULES, RULES, st.lists(st.none() | RULES, max_size=4), st.lists(st.none() | RULES, max_size=4))
def test_doubt_never_turns_what_holds_into_a_fault(a: str, b: str, more_a: list, more_b: list) -> None:
    book = BOOKS["CROR"]
    sure = follow(Told(a, (a,)), Told(b, (b,)), book)
    unsure = follow(Told(a, (a, *more_a)), Told(b, (b, *more_b)), book)
    if sure.verdict == "broken":
        assert unsure.verdict in ("broken", "open")
        assert all(holds(book.rule(x), book.rule(y)) for x, y in unsure.fits)
    else:
        assert unsure.verdict == sure.verdict
