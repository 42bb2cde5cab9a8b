from __future__ import annotations

import pytest

from litlamp.aspects.rulebook import load_book
from litlamp.aspects.words import describe, parse_aspect
from litlamp.page.practise import Level, pool
from litlamp.page.whatif import rule_of, side_of, slips

BOOK = load_book()
ALL = Level("near", True, True, True, True)


@pytest.mark.parametrize(
    ("words", "what", "rule", "side"),
    [
        # CROR 2025, Rules 437, 439, 436: what an A plate and an R plate do to a single red.
        ("single red, A plate", "The A plate is not noticed", "437", "wrong"),
        ("single red", "An A plate is imagined", "439", "right"),
        ("single red", "An R plate is imagined", "436", "wrong"),
        # Red over red in line is Stop (439), staggered Stop and Proceed (437).
        ("red over red", "The heads are taken to be staggered", "437", "wrong"),
        ("flashing yellow over red", "The flash of the upper head is missed", "411", "right"),
        ("yellow over red", "The mast is taken for a dwarf", "427", "right"),
    ],
)
def test_known_slips(words: str, what: str, rule: str, side: str) -> None:
    (slip,) = [s for s in slips(parse_aspect(words), BOOK) if s.what == what]
    assert slip.rule is not None and slip.rule.number == rule
    assert slip.side == side


def test_every_slip_of_every_aspect_changes_the_rule_and_knows_its_side() -> None:
    for aspect in pool(BOOK, ALL):
        truth = rule_of(aspect, BOOK)
        assert truth is not None, describe(aspect)
        for slip in slips(aspect, BOOK):
            assert slip.rule != truth
            assert slip.rule == rule_of(slip.aspect, BOOK)
            assert slip.side == side_of(slip.rule, truth, BOOK)


def test_the_levels_hold_what_they_say() -> None:
    easy = pool(BOOK, Level())
    assert easy and not any(a.plates or a.mount == "dwarf" or any(h.flashing for h in a.heads) for a in easy)
    every = pool(BOOK, ALL)
    assert set(easy) < set(every)
    assert {rule_of(a, BOOK) for a in every} >= {r for r in BOOK.rules if r.aspects and not r.qualifier}
