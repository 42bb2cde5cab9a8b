"""Lamps of one signal were taken by one camera: if one red turned orange, so may have the others."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import PLATES, Colour
from litlamp.aspects.belief import NO_PLATE, HeadBelief, SignalBelief
from litlamp.aspects.hypotheses import CAST, PASSED_OVER, weigh
from litlamp.aspects.interpret import interpret
from litlamp.aspects.rulebook import load_book

BOOK = load_book()


def signal(*red: float, lead: Colour = "yellow") -> SignalBelief:
    heads = tuple(HeadBelief({"red": p, lead: 1 - p}, 0.0, 1.0) for p in red)
    plates = dict.fromkeys(PLATES, NO_PLATE)
    return SignalBelief(heads, {"mast": 1.0}, {"staggered": 1.0}, plates, number="")


def chance_of(belief: SignalBelief, rule: str) -> float:
    return sum(c.probability for c in interpret(belief, BOOK, 1.0).chances if c.rule == rule)


def test_two_lamps_that_may_be_red_may_both_be():
    # Red over red in line on a mast is Stop (CROR 439); by chance alone 0.04 x 0.04 would be both red.
    both = signal(0.04, 0.04)
    alone = chance_of(signal(0.04, 0.0), "439") + chance_of(signal(0.0, 0.04), "439")
    assert alone == pytest.approx(0, abs=1e-9)
    read = interpret(both, BOOK, 0.99)
    joint = sum(c.probability for c in read.chances if c.rule in {"437", "439"})
    assert joint > 0.5 * CAST * 0.04
    assert read.guarded is not None and read.guarded.rule in {"437", "439"}


@given(st.lists(st.floats(0, 0.45), min_size=1, max_size=3))
def test_nothing_is_lost_or_gained(red):
    assert sum(weigh(signal(*red), BOOK).weight.values()) <= 1 + 1e-9
    assert sum(c.probability for c in interpret(signal(*red), BOOK, 1.0).chances) == pytest.approx(1)


@given(st.floats(0, 0.45))
def test_one_lamp_alone_and_other_colours_are_as_they_were(p):
    stops = [("rule", "437"), ("rule", "439")]
    for belief, chance in ((signal(p), p), (signal(p, p, lead="green"), p * p)):
        weight = weigh(belief, BOOK).weight
        assert sum(weight.get(key, 0.0) for key in stops) == pytest.approx(chance, abs=PASSED_OVER)
