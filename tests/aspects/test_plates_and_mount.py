"""A plate that the book draws on dwarfs alone puts a mast in doubt: common practice, no source."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import PLATES, Plate
from litlamp.aspects.belief import NO_PLATE, HeadBelief, PlateBelief, SignalBelief
from litlamp.aspects.hypotheses import STRAY_PLATE, weigh
from litlamp.aspects.interpret import interpret
from litlamp.aspects.rulebook import load_book

BOOK = load_book()


def green(mast: float, plate: Plate | None = None, seen: float = 1.0, heads: int = 1) -> SignalBelief:
    plates = dict.fromkeys(PLATES, NO_PLATE)
    if plate is not None:
        plates[plate] = PlateBelief(seen, 1 - seen, 0.0)
    lamps = (HeadBelief({"green": 1.0}, 0.0, 1.0), HeadBelief({"red": 1.0}, 0.0, 1.0))[:heads]
    return SignalBelief(lamps, {"mast": mast, "dwarf": 1 - mast}, {"vertical": 1.0}, plates, number="")


def rules(belief: SignalBelief) -> dict[str | None, float]:
    return {c.rule: c.probability for c in interpret(belief, BOOK, 1.0).chances}


def test_a_dv_plate_with_one_head_leaves_a_dwarf_possible():
    assert BOOK.borne_by(1, "dwarf") - BOOK.borne_by(1, "mast") == {"DV"}
    read = interpret(green(0.9996, "DV"), BOOK, 0.99)
    assert read.reading is not None and read.reading.rule == "405"
    assert read.guarded is not None and read.guarded.rule == "428"
    assert rules(green(0.9996, "DV"))["428"] == pytest.approx(STRAY_PLATE, abs=0.002)


def test_a_mount_that_is_known_stays():
    assert rules(green(1.0, "DV")) == rules(green(1.0))


def test_without_such_a_plate_nothing_changes():
    assert rules(green(0.9996))["405"] == pytest.approx(0.9996, abs=1e-4)
    assert rules(green(0.9996, "R"))["405"] == pytest.approx(0.9996, abs=1e-4)
    assert rules(green(0.9996, "DV", seen=0.0))["405"] == pytest.approx(0.9996, abs=1e-4)


def test_two_heads_on_a_mast_may_bear_it():
    assert "DV" in BOOK.borne_by(2, "mast")
    assert rules(green(0.9996, "DV", heads=2)) == pytest.approx(rules(green(0.9996, heads=2)), abs=1e-9)


@given(st.floats(0.001, 0.999), st.sampled_from(PLATES), st.floats(0, 1), st.integers(1, 2))
def test_nothing_is_lost_or_gained(mast, plate, seen, heads):
    belief = green(mast, plate, seen, heads)
    assert sum(weigh(belief, BOOK).weight.values()) <= 1 + 1e-9
    assert sum(rules(belief).values()) == pytest.approx(1)
