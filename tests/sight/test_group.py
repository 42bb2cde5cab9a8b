"""Which heads make one signal."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import MOST_HEADS
from litlamp.box import Box
from litlamp.sight.find import HeadFound
from litlamp.sight.group import ALIKE, APART, ASIDE, LEAN, VOTES, group


def head(x: float, y: float, width: float = 20.0, vote=None, score: float = 0.9, lens=None) -> HeadFound:
    box = Box(x - width / 2, y - width * 0.7, x + width / 2, y + width * 0.7)
    return HeadFound(
        x, y, box, 0.4 * width if lens is None else lens, np.zeros(5, np.float32), vote or (x, y), score, 1.0
    )


def mast(x: float, y: float, n: int, width: float = 20.0, gap: float = 2.5, aside: float = 0.0):
    """Heads of one signal, each voting for its middle; `aside` staggers them, head widths."""
    middle = (x, y + gap * width * (n - 1) / 2)
    return [
        head(x + aside * width * (-1) ** i / 2, y + i * gap * width, width, middle, 0.9 - 0.05 * i)
        for i in range(n)
    ]


ANY = st.lists(
    st.builds(
        lambda x, y, w, vx, vy, s: head(x, y, w, (x + vx, y + vy), s),
        st.floats(0, 300), st.floats(0, 300), st.floats(3, 60), st.floats(-60, 60), st.floats(-60, 60),
        st.floats(0.25, 1),
    ),
    max_size=12,
)  # fmt: skip


@given(heads=ANY)
def test_each_head_in_exactly_one_signal_top_to_bottom_at_most_three(heads):
    signals = group(heads)
    assert sorted(id(h) for s in signals for h in s) == sorted(id(h) for h in heads)
    for signal in signals:
        assert 1 <= len(signal) <= MOST_HEADS
        assert [h.y for h in signal] == sorted(h.y for h in signal)


@given(heads=ANY)
def test_heads_of_one_signal_are_as_near_and_as_alike_as_is_claimed(heads):
    """Within APART widths down, above one another rather than abreast, of like size, votes that can meet."""
    for signal in group(heads):
        for i, a in enumerate(signal):
            for b in signal[i + 1 :]:
                width = (a.box.width + b.box.width) / 2
                dx, dy = abs(a.x - b.x), abs(a.y - b.y)
                assert 0.6 * width <= dy <= APART * width
                assert dx <= ASIDE * width + LEAN * dy
                wide = max(a.box.width, b.box.width) <= ALIKE * min(a.box.width, b.box.width)
                assert wide or max(a.lens, b.lens) <= ALIKE * min(a.lens, b.lens)
                apart = math.dist(a.vote, b.vote)
                assert apart <= 0.8 * width + VOTES * math.hypot(dx, dy)


@given(heads=ANY, dx=st.integers(-500, 500), dy=st.integers(-500, 500), seed=st.integers(0, 99))
def test_neither_order_nor_place_in_the_picture_matters(heads, dx, dy, seed):
    # Equal scores are taken in the order given; so that order can't matter they are made to differ.
    scored = [head(h.x, h.y, h.box.width, h.vote, 0.3 + 0.01 * i) for i, h in enumerate(heads)]
    moved = [head(h.x + dx, h.y + dy, h.box.width, (h.vote[0] + dx, h.vote[1] + dy), h.score) for h in scored]
    np.random.default_rng(seed).shuffle(scored)  # type: ignore[arg-type]

    def names(signals):
        return sorted(sorted(round(h.score, 3) for h in s) for s in signals)

    # A sum may round to the other side of a limit only where a head stands exactly on it.
    here, there = names(group(scored)), names(group(moved))
    assert here == there or any(_on_a_limit(a, b) for a in scored for b in scored if a is not b)


def _on_a_limit(a: HeadFound, b: HeadFound) -> bool:
    width = (a.box.width + b.box.width) / 2
    dx, dy = abs(a.x - b.x), abs(a.y - b.y)
    apart = math.dist(a.vote, b.vote) - 0.8 * width - VOTES * math.hypot(dx, dy)
    ratio = max(a.box.width, b.box.width) - ALIKE * min(a.box.width, b.box.width)
    near = (dy - 0.6 * width, dy - APART * width, dx - ASIDE * width - LEAN * dy, apart, ratio)
    return any(abs(v) < 1e-6 for v in near)


@given(
    n=st.integers(1, 3), width=st.floats(4, 80), gap=st.floats(1.4, 3.9), aside=st.floats(0, 1.4),
)  # fmt: skip
def test_the_heads_of_one_mast_are_one_signal(n, width, gap, aside):
    heads = mast(500, 300, n, width, gap, aside)
    assert [len(s) for s in group(heads[::-1])] == [n]


@given(n=st.integers(1, 3), m=st.integers(1, 3), apart=st.floats(3.5, 20))
def test_masts_side_by_side_stay_apart(n, m, apart):
    signals = group(mast(100, 100, n) + mast(100 + apart * 20, 100, m))
    assert sorted(len(s) for s in signals) == sorted((n, m))


def test_heads_too_far_down_stay_apart_though_their_votes_meet():
    for gap, sizes in ((APART - 0.1, [2]), (APART + 0.1, [1, 1])):
        assert sorted(len(s) for s in group(mast(100, 100, 2, gap=gap))) == sizes


def test_a_far_mast_behind_a_near_one_is_another_signal():
    signals = group([*mast(100, 100, 2, 40), head(102, 260, 15, (102, 260))])
    assert sorted(len(s) for s in signals) == [1, 2]


def test_four_in_a_column_are_three_and_one():
    heads = [head(100, 100 + 50 * i, vote=(100, 175), score=0.9 - 0.1 * i) for i in range(4)]
    signals = group(heads)
    assert sorted(len(s) for s in signals) == [1, 3]
    assert min(h.score for h in max(signals, key=len)) > 0.65


def test_nothing_gives_nothing():
    assert group([]) == []
