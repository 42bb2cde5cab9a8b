"""Which heads make one signal."""

from __future__ import annotations

import math
import time

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import MOST_HEADS
from litlamp.box import Box
from litlamp.sight.find import HeadFound
from litlamp.sight.group import ALIKE, APART, ASIDE, EARNED, FAINT, LEAN, NEAR, OUTER, ROUGH, VOTES, group


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


def _neighbours(a: HeadFound, b: HeadFound) -> bool:
    """Above one another rather than abreast, of like size, with votes that can meet."""
    width = (a.box.width + b.box.width) / 2
    dx, dy = abs(a.x - b.x), abs(a.y - b.y)
    trusted = min(VOTES, EARNED * (min(a.score, b.score) - FAINT))
    return (
        NEAR * width <= dy <= APART * width
        and dx <= ASIDE * width + LEAN * dy
        and _alike(a, b)
        and trusted >= 0
        and math.dist(a.vote, b.vote) <= ROUGH * width + trusted * math.hypot(dx, dy) + 1e-9
    )


def _alike(a: HeadFound, b: HeadFound) -> bool:
    wide = max(a.box.width, b.box.width) <= ALIKE * min(a.box.width, b.box.width)
    return wide or max(a.lens, b.lens) <= ALIKE * min(a.lens, b.lens)


@given(heads=ANY)
def test_heads_of_one_signal_are_neighbours_or_stand_between_neighbours(heads):
    for signal in group(heads):
        if len(signal) == 2:
            assert _neighbours(*signal)
        if len(signal) == 3:
            a, middle, b = signal
            width = (a.box.width + b.box.width) / 2
            between = _neighbours(a, b) and _alike(a, middle) and _alike(middle, b)
            assert between or (_neighbours(a, middle) and _neighbours(middle, b))
            if not between:
                assert abs(a.x - b.x) <= OUTER * width + LEAN * (b.y - a.y) + 1e-9


@given(heads=ANY, dx=st.integers(-500, 500), dy=st.integers(-500, 500), seed=st.integers(0, 99))
def test_neither_order_nor_place_in_the_picture_matters(heads, dx, dy, seed):
    def at(x: float) -> float:
        return round(x * 8) / 8  # Sums of eighths are exact: no limit is crossed by rounding.

    def placed(dx: int, dy: int) -> list[HeadFound]:
        out = []
        for i, h in enumerate(heads):
            # Different scores name the heads, and leave no two ways to share them out equally likely.
            x, y, wide = at(h.x), at(h.y), 2 * max(at(h.box.width / 2), 1.0)
            box = Box(x + dx - wide / 2, y + dy - wide, x + dx + wide / 2, y + dy + wide)
            vote = (at(h.vote[0]) + dx, at(h.vote[1]) + dy)
            none = np.zeros(5, np.float32)
            out.append(HeadFound(x + dx, y + dy, box, 0.4 * wide, none, vote, 0.31 + 0.0371 * i, 1.0))
        return out

    def names(signals):
        return sorted(sorted(h.score for h in s) for s in signals)

    shuffled = placed(0, 0)
    np.random.default_rng(seed).shuffle(shuffled)  # type: ignore[arg-type]
    assert names(group(shuffled)) == names(group(placed(dx, dy)))


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


def test_three_heads_far_apart_are_one_signal_where_each_is_near_the_next():
    """The outer two stand further apart than two heads of one signal may."""
    for gap, sizes in ((APART - 0.5, [3]), (APART + 0.5, [1, 1, 1])):
        heads = [head(100, 100 + 20 * gap * i, vote=(100, 100 + 20 * gap)) for i in range(3)]
        assert sorted(len(s) for s in group(heads)) == sizes


def test_four_in_a_column_are_shared_out_where_the_gap_is():
    """A greedy choice from the surest pair might take three and leave one."""
    heads = [head(100, y, score=s) for y, s in ((100, 0.8), (140, 0.95), (250, 0.95), (290, 0.8))]
    votes = ((100, 120), (100, 120), (100, 270), (100, 270))
    heads = [head(h.x, h.y, vote=v, score=h.score) for h, v in zip(heads, votes, strict=True)]
    assert [[h.y for h in s] for s in group(heads)] == [[100, 140], [250, 290]]


def test_a_faint_head_joins_only_where_its_votes_meet_those_of_the_signal():
    strong = mast(100, 100, 2)
    for vote, sizes in (((100, 125), [3]), ((100, 200), [1, 2])):
        assert sorted(len(s) for s in group([*strong, head(100, 205, vote=vote, score=0.4)])) == sizes
    assert sorted(len(s) for s in group([*strong, head(100, 205, vote=(100, 200), score=0.8)])) == [3]


def test_a_faint_head_between_does_not_break_a_signal_of_strong_ones():
    strong = mast(100, 100, 3, gap=3)
    for y in (115, 130, 145):
        signals = group([*strong, head(102, y, vote=(102, 160), score=0.35)])
        assert sorted(signals[0], key=lambda h: h.y) == strong


def test_a_third_head_aside_of_two_in_line_stays_alone():
    heads = [*mast(100, 100, 2, gap=2.5), head(130, 200, vote=(100, 125))]
    assert sorted(len(s) for s in group(heads)) == [1, 2]


def test_a_long_street_of_lights_is_shared_out_quickly():
    rng = np.random.default_rng(5)
    heads = [head(float(x), float(y), 12) for x, y in rng.uniform(0, 400, (80, 2))]
    start = time.process_time()
    assert sum(len(s) for s in group(heads)) == 80
    assert time.process_time() - start < 2.0


def test_nothing_gives_nothing():
    assert group([]) == []


def test_a_faint_head_between_two_belongs_to_them_however_it_votes():
    top, low = head(100, 100, vote=(100, 160)), head(101, 220, vote=(100, 160))
    faint = head(100.5, 160, vote=(300, 400), score=0.31)
    (signal,) = group([low, faint, top])
    assert [h.y for h in signal] == [100, 160, 220]
    aside = head(140, 160, vote=(300, 400), score=0.31)
    assert sorted(len(s) for s in group([low, aside, top])) == [1, 2]
