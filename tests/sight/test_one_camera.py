"""What a camera made of one lamp, taken into account for the others of the same picture or clip."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import COLOURS
from litlamp.box import Box
from litlamp.sight.eyes import Calibration
from litlamp.sight.one_camera import of_others, under_one_camera, yellows
from litlamp.sight.seen import HeadSeen, LampSeen, SignalSeen

TUNED = Calibration("nothing")
HOW = TUNED.camera_red
MOST, ALIKE, APART = HOW


def amber(odds: float, rest: float = 0.02) -> dict:
    """A lamp that is red or yellow, with these log-odds for red."""
    red = (1 - rest) / (1 + math.exp(-odds))
    return {
        "red": red,
        "yellow": 1 - rest - red,
        **dict.fromkeys(("green", "lunar", "dark"), rest / 3),
    }


def signal(*colours: dict) -> SignalSeen:
    heads = tuple(
        HeadSeen(Box(0, 40 * i, 20, 40 * i + 20), LampSeen(10, 40 * i + 10, 8), colour)
        for i, colour in enumerate(colours)
    )
    return SignalSeen(
        box=Box(0, 0, 20, 40 * len(colours)), heads=heads, mount={"mast": 1.0, "dwarf": 0.0},
        arrangement={"vertical": 1.0, "staggered": 0.0}, plates={}, plates_seen=(), number=None, whole=1.0,
        resolution=20.0,
    )  # fmt: skip


def odds(head: HeadSeen) -> float:
    return math.log(head.colour["red"] / head.colour["yellow"])


ODDS = st.floats(-9, 9)
BELIEFS = st.lists(st.floats(0.0001, 1), min_size=5, max_size=5).map(
    lambda parts: {name: part / sum(parts) for name, part in zip(COLOURS, parts, strict=True)}
)


def test_an_orange_lamp_beside_a_plainly_yellow_one_is_taken_for_red():
    seen = under_one_camera(signal(amber(-5), amber(-1)), (), HOW)
    assert odds(seen.heads[0]) == pytest.approx(-5)
    assert seen.heads[1].colour["red"] > seen.heads[1].colour["yellow"]
    assert seen.heads[1].colour["yellow"] > 0.1


def test_orange_lamps_that_look_alike_stay_as_they_were():
    seen = signal(amber(-1), amber(-1.4), amber(-0.9))
    assert under_one_camera(seen, (), HOW) == seen


def test_a_lamp_alone_stays_as_it_was():
    assert under_one_camera(signal(amber(-1)), (), HOW) == signal(amber(-1))


def test_other_signals_of_the_same_camera_count():
    assert odds(under_one_camera(signal(amber(-1)), (-5.0,), HOW).heads[0]) > 0


@given(colours=st.lists(BELIEFS, min_size=1, max_size=3), elsewhere=st.lists(ODDS, max_size=3))
def test_belief_moves_from_yellow_to_red_alone(colours, elsewhere):
    seen = signal(*colours)
    for before, after in zip(seen.heads, under_one_camera(seen, elsewhere, HOW).heads, strict=True):
        assert sum(after.colour.values()) == pytest.approx(1)
        assert after.colour["red"] >= before.colour["red"] - 1e-12
        assert all(after.colour[name] == before.colour[name] for name in ("green", "lunar", "dark"))
        if odds(before) > MOST:
            assert after == before


@given(colours=st.lists(BELIEFS, min_size=1, max_size=3), elsewhere=st.lists(ODDS, max_size=3))
def test_yellow_is_never_left_out(colours, elsewhere):
    """What moves leaves yellow at least what a lamp at evens would keep."""
    seen = signal(*colours)
    for before, after in zip(seen.heads, under_one_camera(seen, elsewhere, HOW).heads, strict=True):
        if after != before:
            assert odds(after) <= MOST + 1e-9


@given(own=ODDS, yellowest=st.floats(-9, -0.01), less=st.floats(0, 3))
def test_the_yellower_the_other_the_redder_this_one(own, yellowest, less):
    near = under_one_camera(signal(amber(own)), (yellowest,), HOW).heads[0]
    far = under_one_camera(signal(amber(own)), (yellowest - less,), HOW).heads[0]
    assert odds(far) >= odds(near) - 1e-9


@given(a=ODDS, b=ODDS, other=st.floats(-9, -0.01))
def test_a_redder_lamp_stays_the_redder(a, b, other):
    low, high = (
        odds(under_one_camera(signal(amber(o)), (other,), HOW).heads[0]) for o in sorted((a, b))
    )  # fmt: skip
    assert low <= high + 1e-9


@pytest.mark.parametrize("lead", ["green", "lunar", "dark"])
def test_lamps_of_other_colours_stay_as_they_were(lead):
    colour = {**dict.fromkeys(COLOURS, 0.1), lead: 0.6}
    assert under_one_camera(signal(colour), (-6.0,), HOW) == signal(colour)


def test_only_lamps_read_as_yellow_tell_of_the_camera():
    heads = [amber(-4), amber(3), {**dict.fromkeys(COLOURS, 0.1), "green": 0.6}]
    assert yellows(heads) == pytest.approx((-4.0,))


def test_by_no_more_than_is_said():
    seen = signal(amber(-6), amber(-1))
    assert under_one_camera(seen, (-APART - 6,), (0.0, ALIKE, APART)) == seen
    less, more = (odds(under_one_camera(seen, (), (most, ALIKE, APART)).heads[1]) for most in (0.5, 1.5))
    assert less == pytest.approx(-0.5)
    assert more == pytest.approx(0.5)


def test_each_signal_is_told_of_all_others():
    assert of_others([(-4.0,), (), (-2.0, -1.0)]) == [[-2.0, -1.0], [-4.0, -2.0, -1.0], [-4.0]]
