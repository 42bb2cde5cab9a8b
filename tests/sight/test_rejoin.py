"""Groups of heads that are one signal all the same: a reader that is made up says so, or not."""

from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import COLOURS
from litlamp.box import Box
from litlamp.sight.asked import Answered
from litlamp.sight.eyes import Calibration
from litlamp.sight.find import HeadFound
from litlamp.sight.group import may_be_one
from litlamp.sight.rejoin import rejoined

TUNED = Calibration("nothing", count=1.0)
WIDTH = 20.0


def head(x: float, y: float, score: float, width: float = WIDTH) -> HeadFound:
    box = Box(x - width / 2, y - width / 2, x + width / 2, y + width / 2)
    return HeadFound(x, y, box, width / 3, np.zeros(len(COLOURS), np.float32), (x, y), score, 1.0, True)


def said(heads: tuple[HeadFound, ...], *count: float) -> Answered:
    answer = np.zeros(27, np.float32)
    answer[:4] = np.log(np.maximum(count, 1e-6))
    return Answered(heads, heads, answer, 0.0)


@dataclass
class Reader:
    """Says of heads shown together what it was told to."""

    count: tuple[float, float, float, float]
    shown: list[tuple[HeadFound, ...]] = field(default_factory=list)

    def __call__(self, heads: tuple[HeadFound, ...]) -> Answered:
        self.shown.append(heads)
        return said(heads, *self.count)


UPPER, ON_AN_ARM = head(100, 100, 0.8), head(160, 160, 0.7)
FAINT = head(100, 160, 0.3)
TWO = (0.03, 0.05, 0.9, 0.02)


def test_plain_heads_on_arms_are_one_signal_where_the_reader_says_two():
    lone = [said((UPPER,), 0.5, 0.3, 0.2, 0.0), said((ON_AN_ARM,), 0.8, 0.2, 0.0, 0.0)]
    reader = Reader(TWO)
    (one,) = rejoined(lone, reader, TUNED)
    assert one.found == (UPPER, ON_AN_ARM)
    assert reader.shown == [(UPPER, ON_AN_ARM)]


@pytest.mark.parametrize("count", [(0.0, 0.3, 0.7, 0.0), (0.6, 0.0, 0.4, 0.0), (0.0, 0.0, 0.1, 0.9)])
def test_they_stay_apart_where_it_is_less_sure_or_sees_another_number(count):
    lone = [said((UPPER,), 0.5, 0.3, 0.2, 0.0), said((ON_AN_ARM,), 0.8, 0.2, 0.0, 0.0)]
    assert rejoined(lone, Reader(count), TUNED) == lone


@pytest.mark.parametrize(
    ("alone", "joined"),
    [
        ((0.1, 0.1, 0.7, 0.1), True),
        ((0.1, 0.7, 0.2, 0.0), False),  # a head that needs no other
        ((0.5, 0.0, 0.5, 0.0), False),  # most likely no head at all
    ],
)
def test_a_faint_head_joins_where_it_looks_like_a_part_of_more(alone, joined):
    lone = [said((UPPER,), 0.0, 0.9, 0.1, 0.0), said((FAINT,), *alone)]
    reader = Reader(TWO)
    assert len(rejoined(lone, reader, TUNED)) == (1 if joined else 2)
    assert len(reader.shown) == joined  # and is not asked about for nothing


def test_no_head_is_taken_twice_and_none_is_lost():
    heads = [head(100, 100, 0.9), head(100, 150, 0.8), head(100, 200, 0.7)]
    alone = [said((h,), 0.1, 0.2, 0.5, 0.2) for h in heads]
    left = rejoined(alone, Reader(TWO), TUNED)
    assert sorted(h.y for one in left for h in one.found) == [100, 150, 200]


@given(st.floats(-12, 12), st.floats(0, 12), st.floats(0.5, 2))
def test_may_be_one_looks_both_ways(aside, down, large):
    a, b = head(200, 200, 0.9), head(200 + aside * WIDTH, 200 + down * WIDTH, 0.9, WIDTH * large)
    assert may_be_one((a,), (b,)) == may_be_one((b,), (a,))
    if abs(aside) > 9 or down < 0.5 or large > 1.8:
        assert not may_be_one((a,), (b,))


def test_more_heads_than_a_signal_has_are_never_one():
    three = tuple(head(100, 100 + 40 * i, 0.9) for i in range(3))
    assert not may_be_one(three, (head(100, 240, 0.9),))
