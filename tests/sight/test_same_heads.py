"""Heads that a look saw, known again by where they stand; looks and traces made by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import COLOURS, PLATES, Colour
from litlamp.aspects.belief import UNKNOWN_PLATE
from litlamp.box import Box
from litlamp.sight.glance import Glance
from litlamp.sight.same_heads import SAME_HEAD, alike, another, heads_matched, laid, lit_colour, settled
from litlamp.sight.seen import HeadSeen, LampSeen, SignalSeen
from litlamp.sight.traces import HeadTrace, LampTrace, Pose

WIDTH = 20.0
POSE = Pose(300.0, 200.0, WIDTH)


def glance(*heads: tuple[float, float, Colour], width: float = WIDTH) -> Glance:
    """A look that saw heads with their middles at (x, y), px, each with its lamp in the middle."""
    seen = []
    for x, y, colour in heads:
        lamp = None if colour == "dark" else LampSeen(x, y, width / 3)
        box = Box(x - width / 2, y - width / 2, x + width / 2, y + width / 2)
        seen.append(HeadSeen(box, lamp, {c: 0.96 if c == colour else 0.01 for c in COLOURS}))
    whole = SignalSeen(seen[0].box, tuple(seen), {"mast": 1.0}, {"vertical": 1.0},
                       dict.fromkeys(PLATES, UNKNOWN_PLATE), (), None, 1.0, width)  # fmt: skip
    return Glance(whole, 4.0, 0.5, tuple((x, y, width / 3) for x, y, _ in heads), (0.9,) * len(seen))


def trace(v: float, colour: Colour | None = None) -> HeadTrace:
    """A head so many head widths below the signal's middle, whose lamp a look saw lit if it has a colour."""
    lamp = LampTrace(0.0, v, 0.33, 0, usual=1.0 if colour else 0.0, colour=colour)
    return HeadTrace((-0.5, v - 0.5, 0.5, v + 0.5), [lamp], found=2)


def test_each_head_is_the_one_that_stands_there() -> None:
    heads = [trace(-2, "yellow"), trace(0, "red"), trace(2, "red")]
    seen = glance((301, 241, "red"), (299, 161, "yellow"))
    assert heads_matched(heads, POSE, seen) == {0: 2, 1: 0}


def test_what_is_followed_no_longer_is_none_of_them() -> None:
    heads = [trace(0, "red"), trace(0, "red")]
    heads[0].gone = True
    assert heads_matched(heads, POSE, glance((300, 200, "red"))) == {0: 1}


def test_heads_left_over_are_laid_on_anew_by_how_far_they_stand_apart() -> None:
    heads = [trace(-2, "yellow"), trace(2, "red")]
    # It came near so fast that it is 1.4 times as large, and lower by the height of a head.
    seen = glance((300, 170, "yellow"), (300, 282, "red"), width=22)
    assert len(laid(heads, seen, (POSE.x, POSE.y), WIDTH)) < 2
    assert heads_matched(heads, POSE, seen) == {0: 0, 1: 1}


def test_heads_are_not_laid_anew_on_others_of_another_colour() -> None:
    heads = [trace(-2, "yellow"), trace(2, "red")]
    assert heads_matched(heads, POSE, glance((300, 170, "red"), (300, 282, "yellow"), width=22)) != {
        0: 0,
        1: 1,
    }


@given(
    st.lists(st.tuples(st.floats(250, 350), st.floats(100, 300)), min_size=1, max_size=4),
    st.lists(st.floats(-5, 5), min_size=1, max_size=5),
)
def test_no_head_is_taken_for_two_and_none_from_afar(
    seen: list[tuple[float, float]], own: list[float]
) -> None:
    heads = [trace(v) for v in own]
    look = glance(*((x, y, "red") for x, y in seen))
    matched = laid(heads, look, (POSE.x, POSE.y), WIDTH)
    assert len(set(matched.values())) == len(matched)
    for i, slot in matched.items():
        assert math.dist(seen[i], POSE.place(*heads[slot].middle)) < SAME_HEAD * WIDTH
    # None is left over beside one that is as near as that.
    for i in set(range(len(seen))) - set(matched):
        for slot in set(range(len(own))) - set(matched.values()):
            assert math.dist(seen[i], POSE.place(*heads[slot].middle)) >= SAME_HEAD * WIDTH


def test_a_dark_head_contradicts_no_colour() -> None:
    heads = [trace(0, "red")]
    assert alike(heads, glance((300, 200, "dark")), {0: 0})
    assert alike(heads, glance((300, 200, "red")), {0: 0})
    assert not alike(heads, glance((300, 200, "green")), {0: 0})
    assert alike([trace(0)], glance((300, 200, "green")), {0: 0})


@pytest.mark.parametrize("size", [0.9, 1.0, 1.15])
def test_the_pose_goes_where_the_heads_are(size: float) -> None:
    heads = [trace(-2, "yellow"), trace(2, "red")]
    now = Pose(POSE.x + 4, POSE.y - 3, size * WIDTH)
    seen = glance(
        *((*now.place(*h.middle), c) for h, c in zip(heads, ("yellow", "red"), strict=True)), width=WIDTH
    )
    found = settled(heads, POSE, seen, {0: 0, 1: 1}, sure=False)
    assert (found.x, found.y, found.width) == pytest.approx((now.x, now.y, now.width), abs=0.01)
    assert settled(heads, POSE, seen, {}, sure=False) == POSE


def test_only_of_large_lamps_another_colour_is_another_lamp() -> None:
    lamp = trace(0, "red").lamps[0]
    assert another(lamp, WIDTH, "green")
    assert not another(lamp, WIDTH, "red") and not another(lamp, WIDTH, None)
    assert not another(lamp, 0.5 * WIDTH, "green")


def test_a_lit_head_has_the_colour_most_believed() -> None:
    assert lit_colour(glance((300, 200, "green")).seen.heads[0]) == "green"
    assert lit_colour(glance((300, 200, "dark")).seen.heads[0]) is None
