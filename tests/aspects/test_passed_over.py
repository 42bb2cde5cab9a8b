"""The unlikeliest hypotheses are not looked up: what that may change is bounded, and on the safe side."""

from __future__ import annotations

import math

from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.aspects import hypotheses
from litlamp.aspects.aspect import COLOURS, PLATES
from litlamp.aspects.belief import HeadBelief, PlateBelief, SignalBelief
from litlamp.aspects.hypotheses import NOT_STANDARD, PASSED_OVER, Tally, weigh
from litlamp.aspects.rulebook import load_book

BOOK = load_book()


def shares(count: int) -> st.SearchStrategy[list[float]]:
    """Beliefs over so many names, most of them on one, as sight gives them."""
    odds = st.lists(st.floats(-9, 0), min_size=count, max_size=count)
    return odds.map(lambda o: [math.exp(v - max(o)) for v in o]).map(lambda w: [v / sum(w) for v in w])


@st.composite
def beliefs(draw: st.DrawFn) -> SignalBelief:
    heads = []
    for _ in range(draw(st.integers(1, 3))):
        colour = dict(zip(COLOURS, draw(shares(5)), strict=True))
        heads.append(HeadBelief(colour, draw(st.sampled_from((None, 0.02, 0.9))), draw(st.floats(0.9, 1.0))))
    mast, vertical = draw(shares(2)), draw(shares(2))
    plates = {kind: PlateBelief(*draw(shares(3))) for kind in PLATES}
    whole = draw(st.floats(0.5, 1.0))
    return SignalBelief(
        tuple(heads),
        dict(zip(("mast", "dwarf"), mast, strict=True)),
        dict(zip(("vertical", "staggered"), vertical, strict=True)),
        plates,
        whole,
    )


def normalised(tally: Tally) -> dict[hypotheses.Key, float]:
    total = sum(tally.weight.values())
    return {key: weight / total for key, weight in tally.weight.items()}


@settings(max_examples=60, deadline=None)
@given(beliefs())
def test_what_is_passed_over_goes_to_the_most_restrictive_outcome_alone(belief):
    quick = weigh(belief, BOOK)
    whole, hypotheses.PASSED_OVER = hypotheses.PASSED_OVER, 0.0
    try:
        full = weigh(belief, BOOK)
    finally:
        hypotheses.PASSED_OVER = whole
    ours, theirs = normalised(quick), normalised(full)
    for key in ours.keys() | theirs.keys():
        change = ours.get(key, 0.0) - theirs.get(key, 0.0)
        # Adding to one outcome takes a little from each of the others; nothing else may grow.
        assert change <= (2 * PASSED_OVER if key == NOT_STANDARD else 1e-9)
        assert change >= -2 * PASSED_OVER


def test_a_usual_belief_is_read_with_far_fewer_looked_up(monkeypatch):
    asked = []
    looked_up = hypotheses._weigh_stack
    monkeypatch.setattr(hypotheses, "_weigh_stack", lambda *given: asked.append(1) or looked_up(*given))
    head = HeadBelief({"red": 0.02, "yellow": 0.95, "green": 0.01, "lunar": 0.01, "dark": 0.01}, None, 0.99)
    belief = SignalBelief(
        (head, head), {"mast": 0.999, "dwarf": 0.001}, {"vertical": 0.99, "staggered": 0.01}, {}, 0.97
    )
    weigh(belief, BOOK)
    few = len(asked)
    monkeypatch.setattr(hypotheses, "PASSED_OVER", 0.0)
    weigh(belief, BOOK)
    assert 2 * few < len(asked) - few
