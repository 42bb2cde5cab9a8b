"""Lamps of a clip held against each other by how they look."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import COLOURS
from litlamp.box import Box
from litlamp.sight.one_camera import log_odds_red
from litlamp.sight.seen import HeadSeen, LampSeen, Shade, SignalSeen
from litlamp.sight.shades import CLIPPED, FURTHEST, MIDWAY, SURE, WEIGHT, Known, known, side_by_side

YELLOW, RED = Known(False, Shade(0.7, 0.5)), Known(True, Shade(1.7, 0.5))
MOST = 2 * WEIGHT * FURTHEST
SHADES = st.builds(Shade, st.floats(-3, 4), st.floats(0, 1))
KNOWN = st.lists(st.builds(Known, st.booleans(), SHADES), max_size=5)
BELIEFS = st.lists(st.floats(0.0001, 1), min_size=5, max_size=5).map(
    lambda parts: {name: part / sum(parts) for name, part in zip(COLOURS, parts, strict=True)}
)


def amber(odds: float, shade: Shade | None = None, rest: float = 0.02) -> HeadSeen:
    """A lamp that is red or yellow, with these log-odds for red."""
    red = (1 - rest) / (1 + math.exp(-odds))
    colour = {"red": red, "yellow": 1 - rest - red, **dict.fromkeys(("green", "lunar", "dark"), rest / 3)}
    return HeadSeen(Box(0, 0, 20, 20), LampSeen(10, 10, 8), colour, shade=shade)


def signal(*heads: HeadSeen) -> SignalSeen:
    return SignalSeen(
        box=Box(0, 0, 20, 40 * len(heads)), heads=heads, mount={"mast": 1.0, "dwarf": 0.0},
        arrangement={"vertical": 1.0, "staggered": 0.0}, plates={}, plates_seen=(), number=None, whole=1.0,
        resolution=20.0,
    )  # fmt: skip


def odds(seen: SignalSeen, head: int = 0) -> float:
    return log_odds_red(seen.heads[head].colour)


def test_an_over_exposed_red_lamp_is_told_by_the_yellow_ones():
    """It is clipped and looks no redder than they do, which are not: they would look less so if they were."""
    seen = side_by_side(signal(amber(-0.5, Shade(0.8, 1.0))), [YELLOW])
    assert odds(seen) > 0
    assert seen.heads[0].colour["yellow"] > 0.1


@pytest.mark.parametrize("others", [[YELLOW], [YELLOW, RED], [YELLOW, YELLOW, RED]])
def test_an_orange_lamp_that_looks_like_the_yellow_ones_stays_as_it_was(others):
    seen = signal(amber(-0.5, Shade(0.75, 0.5)))
    assert side_by_side(seen, others) == seen


def test_one_that_looks_like_a_red_one_is_likelier_red():
    seen = signal(amber(-0.5, Shade(1.6, 0.5)))
    assert odds(seen) < odds(side_by_side(seen, [RED])) < odds(side_by_side(seen, [RED, YELLOW]))


def test_a_deep_yellow_that_is_not_over_exposed_stays_as_it_was():
    seen = signal(amber(-0.5, Shade(2.4, 0.0)))
    assert side_by_side(seen, [YELLOW, RED]) == seen


def test_lamps_of_its_own_signal_count_too():
    seen = signal(amber(-0.5, Shade(1.6, 0.5)), amber(4.0, Shade(1.7, 0.5)), amber(-4.0, Shade(0.7, 0.5)))
    after = side_by_side(seen, ())
    assert odds(after) > 0
    assert after.heads[1:] == seen.heads[1:]


def test_alone_or_not_measured_it_stays_as_it_was():
    for seen in (signal(amber(-0.5, Shade(1.6, 0.5))), signal(amber(-0.5), amber(0.5, Shade(1.0, 0.5)))):
        assert side_by_side(seen, ()) == seen
    assert side_by_side(signal(amber(-0.5)), [YELLOW, RED]) == signal(amber(-0.5))


def test_only_sure_lamps_that_were_measured_are_known():
    green = {**dict.fromkeys(COLOURS, 0.1), "green": 0.6}
    heads = [
        amber(SURE + 0.5, Shade(1.5, 0.1)), amber(-SURE - 0.5, Shade(0.5, 0.2)),
        amber(SURE - 0.5, Shade(1, 0)), amber(5.0),
        HeadSeen(Box(0, 0, 20, 20), None, green, shade=Shade(-1, 0)),
    ]  # fmt: skip
    assert known(heads) == (Known(True, Shade(1.5, 0.1)), Known(False, Shade(0.5, 0.2)))


@given(colours=st.lists(st.tuples(BELIEFS, SHADES), min_size=1, max_size=3), elsewhere=KNOWN)
def test_belief_moves_from_yellow_to_red_alone_and_never_all_of_it(colours, elsewhere):
    heads = [HeadSeen(Box(0, 0, 20, 20), LampSeen(10, 10, 8), c, shade=s) for c, s in colours]
    seen = signal(*heads)
    for before, after in zip(seen.heads, side_by_side(seen, elsewhere).heads, strict=True):
        assert sum(after.colour.values()) == pytest.approx(1)
        assert after.colour["red"] >= before.colour["red"] - 1e-12
        assert all(after.colour[name] == before.colour[name] for name in ("green", "lunar", "dark"))
        if after != before:
            assert log_odds_red(after.colour) <= MOST + 1e-9


@given(own=st.floats(-5, 5), shade=SHADES, more=st.floats(0, 2), others=KNOWN)
def test_the_redder_it_looks_the_redder_it_is(own, shade, more, others):
    near = odds(side_by_side(signal(amber(own, shade)), others))
    far = odds(side_by_side(signal(amber(own, Shade(shade.redness + more, shade.clipped))), others))
    assert far >= near - 1e-9


@given(shade=SHADES, other=SHADES)
def test_exposure_alone_makes_no_lamp_redder(shade, other):
    """A lamp as red as a yellow one would be, exposed as it is, is no likelier red."""
    like = Shade(other.redness + CLIPPED * (other.clipped - shade.clipped) + 0.9 * MIDWAY, shade.clipped)
    seen = signal(amber(-1, like))
    assert side_by_side(seen, [Known(False, other)]) == seen
