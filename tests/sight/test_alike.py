"""Two lamps of a picture that look alike are of one colour: discs of a few codes on a dark ground."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.aspects.aspect import COLOURS
from litlamp.box import Box
from litlamp.sight.alike import held_together
from litlamp.sight.seen import HeadSeen, LampSeen, SignalSeen

MOST = 2.0
# sRGB codes, from memory: a deep orange as over-exposed reds come out, a yellow, a plain red.
ORANGE, YELLOW, RED = (225, 105, 45), (250, 215, 60), (225, 30, 25)


def belief(odds: float, rest: float = 0.02) -> dict:
    """A lamp that is red or yellow, with these log-odds for red."""
    red = (1 - rest) / (1 + math.exp(-odds))
    return {
        "red": red,
        "yellow": 1 - rest - red,
        **dict.fromkeys(("green", "lunar", "dark"), rest / 3),
    }


def odds(head: HeadSeen) -> float:
    return math.log(head.colour["red"] / head.colour["yellow"])


def scene(*lamps: tuple[tuple[int, int, int], float]) -> tuple[np.ndarray, SignalSeen]:
    """Discs 16 px wide one above the other on a dark ground, and what is believed of them."""
    rgb = np.full((60 * len(lamps), 60, 3), 22, np.uint8)
    yy, xx = np.mgrid[0 : len(rgb), 0:60] + 0.5
    heads = []
    for at, (colour, believed) in enumerate(lamps):
        y = 60 * at + 30
        rgb[np.hypot(xx - 30, yy - y) < 8] = colour
        heads.append(HeadSeen(Box(15, y - 15, 45, y + 15), LampSeen(30, y, 16), belief(believed)))
    seen = SignalSeen(
        box=Box(15, 15, 45, len(rgb) - 15), heads=tuple(heads), mount={"mast": 1.0, "dwarf": 0.0},
        arrangement={"vertical": 1.0, "staggered": 0.0}, plates={}, plates_seen=(), number=None, whole=1.0,
        resolution=30.0,
    )  # fmt: skip
    return rgb, seen


def test_a_lamp_like_one_plainly_red_is_taken_for_red_and_may_still_be_yellow():
    rgb, seen = scene((ORANGE, 4.0), (ORANGE, -1.5))
    (held,) = held_together(rgb, [seen], MOST)
    assert held.heads[0] == seen.heads[0]
    assert odds(held.heads[1]) == pytest.approx(0.5)
    assert sum(held.heads[1].colour.values()) == pytest.approx(1)


@pytest.mark.parametrize(
    ("other", "own"),
    [
        ((RED, 4.0), (YELLOW, -1.5)),  # a yellow below a red
        ((ORANGE, 0.5), (ORANGE, -1.5)),  # a lamp that is not plainly red itself
        ((YELLOW, -6.0), (YELLOW, -1.5)),  # two yellows
    ],
)
def test_else_all_stays_as_it_was(other, own):
    rgb, seen = scene(other, own)
    assert held_together(rgb, [seen], MOST) == [seen]


def test_a_red_of_another_signal_of_the_picture_tells_as_well():
    rgb, seen = scene((ORANGE, 4.0), (ORANGE, -1.5))
    upper, lower = (replace(seen, heads=(head,)) for head in seen.heads)
    held = held_together(rgb, [upper, lower], MOST)
    assert held[0] == upper and odds(held[1].heads[0]) == pytest.approx(0.5)
    assert held_together(rgb, [lower], MOST) == [lower]


def test_a_lamp_that_is_not_lit_or_out_of_the_picture_is_held_against_nothing():
    rgb, seen = scene((ORANGE, 4.0), (ORANGE, -1.5))
    red, doubtful = seen.heads
    unlit = replace(seen, heads=(red, replace(doubtful, lamp=None)))
    assert held_together(rgb, [unlit], MOST) == [unlit]
    outside = replace(seen, heads=(red, replace(doubtful, lamp=LampSeen(400, 400, 16))))
    assert held_together(rgb, [outside], MOST) == [outside]


COLOUR = st.tuples(*[st.integers(0, 255)] * 3)
BELIEFS = st.lists(st.floats(0.0001, 1), min_size=5, max_size=5).map(
    lambda parts: {name: part / sum(parts) for name, part in zip(COLOURS, parts, strict=True)}
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(COLOUR, BELIEFS), min_size=1, max_size=3), st.floats(0, 4))
def test_belief_only_moves_from_yellow_to_red_and_never_all_of_it(lamps, most):
    rgb, seen = scene(*((colour, 0.0) for colour, _ in lamps))
    heads = tuple(replace(h, colour=b) for h, (_, b) in zip(seen.heads, lamps, strict=True))
    seen = replace(seen, heads=heads)
    (held,) = held_together(rgb, [seen], most)
    for before, after in zip(seen.heads, held.heads, strict=True):
        for name in ("green", "lunar", "dark"):
            assert after.colour[name] == before.colour[name]
        assert after.colour["red"] >= before.colour["red"] - 1e-12
        assert odds(after) <= max(odds(before), most) + 1e-9
        assert after.colour["yellow"] > 0
