"""A dark head that was missed between two lit ones: in view, and for that very reason not seen."""

import pytest

from litlamp.aspects.aspect import COLOURS, PLATES
from litlamp.aspects.belief import HeadBelief, PlateBelief, SignalBelief
from litlamp.aspects.interpret import interpret
from litlamp.aspects.rulebook import load_book

BOOK = load_book()


def lit(colour):
    return HeadBelief({c: 0.996 if c == colour else 0.001 for c in COLOURS}, flashing=0.0)


def red_over_green(whole):
    plates = {kind: PlateBelief(0.002, 0.998, 0.0) for kind in PLATES}
    heads = (lit("red"), lit("green"))
    return SignalBelief(heads, {"mast": 1.0}, {"vertical": 1.0}, plates, whole, "")


@pytest.mark.parametrize("whole", [0.9, 0.95])
def test_where_a_head_may_have_been_missed_the_guard_allows_for_a_dark_one_between(whole):
    """Red over flashing yellow over green, caught dark, is more restrictive than red over green."""
    reading = interpret(red_over_green(whole), BOOK, 0.99)
    assert reading.reading.rule == "431"
    assert BOOK.rank(reading.guarded.rule) <= BOOK.rank("433")
    assert any("between them" in line for line in reading.why)


def test_where_every_head_is_surely_seen_nothing_is_supposed():
    reading = interpret(red_over_green(1.0), BOOK, 0.99)
    assert reading.guarded.rule == reading.reading.rule == "431"
    assert not any("between them" in line for line in reading.why)


def test_the_chances_still_sum_to_one():
    for whole in (0.0, 0.5, 0.99):
        reading = interpret(red_over_green(whole), BOOK, 1.0)
        assert sum(c.probability for c in reading.set) == pytest.approx(1.0)
