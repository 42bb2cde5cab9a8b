"""The finder's answers undone into the picture, once each, at every size."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.aspects.aspect import COLOURS
from litlamp.box import Box
from litlamp.media.frame import Frame
from litlamp.sight import find as f
from litlamp.sight.crop import STRIDE, Window
from litlamp.sight.scan import Spot, halved

LEAST = 0.25
N = 20


def answered(window: Window, x: float, y: float, box: Box, lens: float, colour: str, vote, cells: int = 40):
    """The finder's maps for one head of the picture, as its training targets have them, or None off the
    grid."""
    maps = np.zeros((N, cells, cells), np.float32)
    u, v = (x - window.x0) * window.scale, (y - window.y0) * window.scale
    ix, iy = int(u // STRIDE), int(v // STRIDE)
    if not (0 <= ix < cells and 0 <= iy < cells):
        return None
    at = maps[:, iy, ix]
    at[f.HEAD], at[f.DX], at[f.DY] = 0.8, u / STRIDE - ix, v / STRIDE - iy
    sides = (x - box.x0, y - box.y0, box.x1 - x, box.y1 - y)
    at[f.LEFT : f.BOTTOM + 1] = np.log(np.array(sides) * window.scale / 8)
    at[f.LENS] = np.log(lens * window.scale / 4)
    at[f.COLOUR] = np.array(COLOURS) == colour
    width = box.width
    at[f.VOTE_X], at[f.VOTE_Y] = (vote[0] - x) / width / 4, (vote[1] - y) / width / 4
    return maps


@settings(max_examples=200, deadline=None)
@given(
    x0=st.floats(-300, 3000), y0=st.floats(-300, 3000),
    scale=st.sampled_from([1 / 32, 1 / 8, 0.21, 1 / 2, 1.0]),
    u=st.floats(1, 159), v=st.floats(1, 159),
    sides=st.tuples(*[st.floats(2, 60)] * 4), lens=st.floats(2, 40),
    colour=st.sampled_from(COLOURS), vote=st.tuples(st.floats(-80, 80), st.floats(-80, 80)),
)  # fmt: skip
def test_a_head_comes_back_from_any_window(x0, y0, scale, u, v, sides, lens, colour, vote):
    window = Window(np.zeros((160, 160, 3), np.uint8), x0, y0, scale)
    x, y = window.to_picture(u, v)
    left, top, right, bottom = (s / scale for s in sides)
    box = Box(x - left, y - top, x + right, y + bottom)
    goal = (x + vote[0] / scale, y + vote[1] / scale)
    maps = answered(window, x, y, box, lens / scale, colour, goal)
    (head,) = f.read_heads(maps, window, LEAST)
    near = 0.02 / scale
    assert (head.x, head.y) == pytest.approx((x, y), abs=near)
    assert head.box.as_list() == pytest.approx(box.as_list(), abs=5 * near + 0.1)
    assert head.lens == pytest.approx(lens / scale, rel=1e-3)
    assert head.vote == pytest.approx(goal, abs=5 * near)
    assert COLOURS[int(head.colours.argmax())] == colour
    assert head.score == pytest.approx(0.8)
    assert head.scale == scale


@settings(max_examples=60, deadline=None)
@given(
    x0=st.floats(-300, 3000), scale=st.sampled_from([1 / 8, 0.21, 1.0]), u=st.floats(1, 159),
    v=st.floats(1, 159), w=st.floats(3, 80), h=st.floats(3, 80),
)  # fmt: skip
def test_a_plate_comes_back_from_any_window(x0, scale, u, v, w, h):
    window = Window(np.zeros((160, 160, 3), np.uint8), x0, -7.0, scale)
    maps = np.zeros((N, 40, 40), np.float32)
    at = maps[:, int(v // STRIDE), int(u // STRIDE)]
    at[f.PLATE], at[f.PLATE_DX], at[f.PLATE_DY] = 0.7, u / STRIDE % 1, v / STRIDE % 1
    at[f.PLATE_W], at[f.PLATE_H] = np.log(w / 8), np.log(h / 8)
    (plate,) = f.read_plates(maps, window, LEAST)
    assert plate.box.centre == pytest.approx(window.to_picture(u, v), abs=0.02 / scale)
    assert (plate.box.width, plate.box.height) == pytest.approx((w / scale, h / scale), rel=1e-3)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), spread=st.floats(0, 1e6))
def test_any_answer_at_all_gives_finite_boxes_in_order(seed, spread):
    maps = np.random.default_rng(seed).normal(0, spread, (N, 12, 12)).astype(np.float32)
    window = Window(np.zeros((48, 48, 3), np.uint8), 5.0, -5.0, 0.125)
    for found in (*f.read_heads(maps, window, LEAST), *f.read_plates(maps, window, LEAST)):
        assert np.isfinite(found.box.as_list()).all()
        assert found.box.width > 0
        assert found.box.height > 0


def test_only_peaks_that_are_bright_enough_are_heads():
    maps = np.zeros((N, 12, 12), np.float32)
    maps[f.HEAD, 5, 5:8] = 0.5, 0.9, 0.5
    maps[f.HEAD, 2, 2] = LEAST - 0.01
    window = Window(np.zeros((48, 48, 3), np.uint8), 0.0, 0.0, 1.0)
    assert [h.score for h in f.read_heads(maps, window, LEAST)] == [pytest.approx(0.9)]


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_lamps_of_a_picture_are_found_where_they_are_and_once(data, lamp, paint, eyes_for):
    """Whole picture and windows both show them: the same lamp seen twice is still one head."""
    wide, high = data.draw(st.sampled_from([(900, 640), (640, 480), (2000, 1500), (410, 890)]))
    places = data.draw(st.lists(st.tuples(st.floats(0.1, 0.9), st.floats(0.1, 0.9)), min_size=1, max_size=4))
    lamps = []
    for px, py in places:
        d = data.draw(st.floats(9, 40))
        one = lamp(px * wide, py * high, d, data.draw(st.sampled_from(["red", "yellow", "green"])))
        if all(np.hypot(one.x - o.x, one.y - o.y) > 4 * (one.d + o.d) for o in lamps):
            lamps.append(one)
    found = f.find(Frame(paint((wide, high), lamps)), eyes_for())
    assert len(found.heads) == len(lamps)
    for one in lamps:
        head = min(found.heads, key=lambda h: np.hypot(h.x - one.x, h.y - one.y))
        assert np.hypot(head.x - one.x, head.y - one.y) < 1.0
        assert head.lens == pytest.approx(one.d, rel=0.25)
        assert COLOURS[int(head.colours.argmax())] == one.colour
        assert head.box.iou(Box(one.x - 1.25 * one.d, one.y - 1.5 * one.d,
                                one.x + 1.25 * one.d, one.y + 1.5 * one.d)) > 0.55  # fmt: skip


def test_far_lamps_are_seen_only_through_windows(lamp, paint, eyes_for, finder):
    far = [lamp(1203.5, 803.25, 5, "red"), lamp(3100, 2050, 6, "green")]
    found = f.find(Frame(paint((4000, 3000), far)), eyes_for(finder))
    assert finder.asked[0] == (1, 384, 512, 3)
    assert finder.asked[1][1:] == (f.WINDOW, f.WINDOW, 3)
    assert all(h.scale >= 0.5 for h in found.heads)
    assert sorted(h.x for h in found.heads) == pytest.approx([1203.5, 3100], abs=0.6)


@pytest.mark.parametrize("beside", [1, 2])
@pytest.mark.parametrize("size", [(4001, 3000), (3264, 2448)])
def test_what_was_begun_with_the_reduced_whole_is_found_as_if_it_had_not_been(
    lamp, paint, eyes_for, finder, beside, size
):
    rgb = paint(size, [lamp(1203.5, 803.25, 5, "red"), lamp(2100, 1850, 60, "green")])
    eyes = replace(eyes_for(finder), beside=beside)
    reduced = halved(halved(rgb))
    with f.Beginning(eyes) as beginning:
        assert beginning.of(Frame(rgb)) is None
        beginning.take(reduced, size)
        assert beginning.of(Frame(rgb[:-1])) is None
        begun = f.find(Frame(rgb), eyes, beginning)
    asked, finder.asked[:] = list(finder.asked), []
    alone = f.find(Frame(rgb), eyes_for(finder))
    assert len(begun.heads) == len(alone.heads) >= 2
    for one, other in zip(begun.heads, alone.heads, strict=True):
        assert (one.x, one.y, one.score) == pytest.approx((other.x, other.y, other.score), abs=0.5)
    assert begun.spots == alone.spots
    assert sorted(asked) == sorted(finder.asked)


@settings(max_examples=60, deadline=None)
@given(wide=st.integers(2001, 12000), high=st.integers(2001, 12000), by=st.sampled_from([1, 2, 4, 8]))
def test_a_decoders_reduction_is_shown_as_the_whole_is(wide, high, by):
    """Of whatever size it comes, the window shows the whole picture at the whole's own scale."""
    if max(wide, high) < by * f.LEAST_WHOLE_SIDE:
        return
    reduced = np.full((-(-high // by), -(-wide // by), 3), 200, np.uint8)
    window = f.reduced_whole(reduced, (wide, high))
    assert window.scale == f.whole_scale((wide, high)) <= 1.01 / by or by < 8
    shown = np.argwhere(window.pixels[:, :, 0] == 200).max(axis=0) + 1
    assert shown == pytest.approx((high * window.scale, wide * window.scale), abs=0.51)
    assert f.LEAST_WHOLE_SIDE <= round(max(wide, high) * window.scale) <= f.LARGE_WHOLE_SIDE


def test_plates_are_found_once_and_are_no_heads(lamp, paint, eyes_for):
    rgb = paint((640, 480), [lamp(300, 100, 16)], [(300, 200, 24)])
    found = f.find(Frame(rgb), eyes_for())
    (plate,) = found.plates
    assert plate.box.iou(Box(288, 188, 312, 212)) > 0.8
    assert len(found.heads) == 1


def test_boxes_that_overlap_are_one_head_though_their_points_lie_apart():
    """A dark head's point and that of its lit lamp: the same housing."""

    def head(y: float, score: float) -> f.HeadFound:
        return f.HeadFound(50.0, y, Box(40, 60, 60, 120), 8.0, np.zeros(5, np.float32), (50.0, y), score, 1.0)

    assert [h.y for h in f.distinct_heads([head(70, 0.6), head(110, 0.9)])] == [110]


@pytest.mark.parametrize(
    ("score", "width", "kept"), [(0.7, 40, True), (0.7, 10, True), (0.7, 24, False), (0.5, 40, False)]
)
def test_another_size_for_a_head_is_kept_beside_it_if_about_as_sure(score, width, kept):
    def head(score: float, width: float) -> f.HeadFound:
        box = Box(100 - width / 2, 60, 100 + width / 2, 140)
        return f.HeadFound(100.0, 100.0, box, 8.0, np.zeros(5, np.float32), (100.0, 100.0), score, 1.0)

    (one,) = f.distinct_heads([head(score, width), head(0.9, 20), head(0.35, 40)])
    assert one.score == 0.9
    assert (one.otherwise is not None and one.otherwise.box.width == width) == kept


def test_better_seen_of_two_answers_is_kept_and_neighbours_stay():
    def head(x, score, width=20.0):
        box = Box(x - width / 2, 90, x + width / 2, 110)
        return f.HeadFound(x, 100.0, box, 8.0, np.zeros(5, np.float32), (x, 100.0), score, 1.0)

    kept = f.distinct_heads([head(100, 0.5), head(104, 0.9), head(130, 0.3), head(98, 0.4, 60.0)])
    assert [(h.x, h.score) for h in kept] == [(104, 0.9), (130, 0.3)]


def test_of_two_answers_about_as_sure_the_finer_places_the_head_and_the_wider_votes():
    def head(x: float, score: float, scale: float, framed: bool = True) -> f.HeadFound:
        box = Box(x - 10, 90, x + 10, 110)
        return f.HeadFound(x, 100.0, box, 8.0, np.zeros(5, np.float32), (x, 100.0), score, scale, framed)

    for fine, x in ((0.82, 103.0), (0.78, 100.0), (0.95, 103.0)):
        (kept,) = f.distinct_heads([head(100, 0.9, 0.25), head(103, fine, 1.0)])
        assert kept.x == x
        assert kept.score == max(0.9, fine)
    (kept,) = f.distinct_heads([head(100, 0.9, 0.25), head(103, 0.9, 1.0)])
    assert (kept.x, kept.vote[0]) == (103, 100)
    (kept,) = f.distinct_heads([head(100, 0.9, 0.25), head(103, 0.9, 1.0, framed=False)])
    assert kept.x == 100


def test_a_head_at_the_edge_of_its_window_is_not_framed():
    window = Window(np.zeros((160, 160, 3), np.uint8), 1000.0, 500.0, 0.5)
    for u, v, framed in ((80, 80, True), (13, 80, False), (80, 150, False), (15, 145, True)):
        x, y = window.to_picture(u, v)
        maps = answered(window, x, y, Box(x - 20, y - 20, x + 20, y + 20), 12.0, "red", (x, y))
        (head,) = f.read_heads(maps, window, LEAST)
        assert head.framed == framed


@settings(max_examples=100, deadline=None)
@given(
    many=st.lists(
        st.tuples(st.floats(0, 90), st.floats(5, 30), st.floats(0.25, 1), st.sampled_from([0.2, 0.5, 1.0])),
        max_size=14,
    )
)
def test_no_two_kept_are_one_head_and_none_is_lost(many):
    heads = [
        f.HeadFound(x, 50.0, Box(x - w / 2, 50 - w, x + w / 2, 50 + w), w / 3, np.zeros(5, np.float32),
                    (x, 50.0), score, scale)
        for x, w, score, scale in many
    ]  # fmt: skip
    kept = f.distinct_heads(heads)
    assert not any(f._same(a, b) for i, a in enumerate(kept) for b in kept[:i])
    assert [h.score for h in kept] == sorted((h.score for h in kept), reverse=True)
    assert bool(kept) == bool(heads)
    # The surest answer of all is always among those kept, in itself or by a finer one.
    if heads:
        best = max(heads, key=lambda h: h.score)
        assert any(f._same(best, h) for h in kept)


def test_places_and_sizes_are_plain_numbers():
    window = Window(np.zeros((48, 48, 3), np.uint8), 0.0, 0.0, 1.0)
    maps = np.random.default_rng(3).normal(0, 1, (N, 12, 12)).astype(np.float32)
    heads, plates = f.read_heads(maps, window, LEAST), f.read_plates(maps, window, LEAST)
    assert heads
    assert plates
    for found in (*heads, *plates):
        assert {type(v) for v in found.box.as_list()} == {float}
        assert type(found.score) is float
    assert {type(v) for h in heads for v in (h.x, h.y, h.lens, *h.vote)} == {float}


@pytest.mark.parametrize("shape", [(1, 1), (1, 7000), (7000, 1), (3, 3), (480, 640), (33, 1000)])
@pytest.mark.parametrize("value", [0, 110])
def test_pictures_with_nothing_in_them_give_nothing(shape, value, eyes_for):
    found = f.find(Frame(np.full((*shape, 3), value, np.uint8)), eyes_for())
    assert found.heads == ()
    assert found.plates == ()


def test_a_huge_picture_is_looked_at_through_few_small_windows(lamp, paint, eyes_for, finder):
    rng = np.random.default_rng(2)
    lamps = [lamp(*rng.uniform((50, 50), (7950, 5950)), 6) for _ in range(60)]
    f.find(Frame(paint((8000, 6000), lamps)), eyes_for(finder))
    assert finder.asked[0] == (1, 384, 512, 3)
    assert sum(s[0] for s in finder.asked[1:]) <= f.MOST_WINDOWS
    assert {s[1:] for s in finder.asked[1:]} == {(f.WINDOW, f.WINDOW, 3)}
    assert max(s[0] for s in finder.asked) <= 8


def spot(x: float, y: float, diameter: float) -> Spot:
    return Spot(x, y, diameter, 1.0, 1.0)


@settings(max_examples=60, deadline=None)
@given(
    spots=st.lists(
        st.builds(spot, st.floats(0, 3000), st.floats(0, 2000), st.floats(0.5, 300)), max_size=40
    ),
    whole=st.floats(0.05, 1.0),
)  # fmt: skip
def test_each_spot_is_well_inside_a_window_of_a_fit_scale_or_in_the_whole(spots, whole):
    rgb = np.zeros((2000, 3000, 3), np.uint8)
    windows = [f.spot_window(rgb, *place) for place in f.spot_places(spots, whole)]
    assert len(windows) <= f.MOST_WINDOWS
    for window in windows:
        assert window.scale > whole
        assert window.pixels.shape == (f.WINDOW, f.WINDOW, 3)
    if len(windows) == f.MOST_WINDOWS:
        return
    for s in spots:
        wanted = np.clip(f.WANTED_LENS / max(s.diameter, 1.0), 1 / 32, 1.0)
        if wanted / 2**0.5 <= whole * 1.0001:
            continue
        held = [
            w for w in windows
            if abs(np.log2(w.scale / wanted)) <= 0.501
            and max(abs((s.x - w.x0) * w.scale - 80), abs((s.y - w.y0) * w.scale - 80)) <= 0.3 * 160 + 1
        ]  # fmt: skip
        assert held


def seen(x: float, y: float, wide: float, score: float) -> f.HeadFound:
    box = Box(x - wide / 2, y - wide, x + wide / 2, y + wide)
    return f.HeadFound(x, y, box, 0.4 * wide, np.zeros(5, np.float32), (x, y), score, 0.125)


def test_a_window_little_finer_than_the_whole_is_asked_only_about_what_that_shows():
    whole = 0.125
    faint = seen(1000, 1000, 60, f.FAINTEST)
    assert f.shows_more((1200, 900, 0.25), [faint], whole)
    assert not f.shows_more((1400, 900, 0.25), [faint], whole)
    assert not f.shows_more((1200, 900, 0.25), [], whole)
    assert f.shows_more((1400, 900, 0.5), [], whole)


@pytest.mark.parametrize(
    ("place", "score", "wanted"),
    [
        ((1005, 1010, 1.0), 0.9, False),  # a glint on a head that is plain, its lamp 28 px wide
        ((1005, 1010, 0.5), 0.9, True),  # no more than twice as fine as its lamp's own window
        ((1005, 1010, 1.0), 0.4, True),  # what the whole is not sure of may be something else
        ((1060, 1010, 1.0), 0.9, True),  # beside it
    ],
)
def test_a_small_part_of_a_plain_head_is_not_looked_at_alone(place, score, wanted):
    assert f.shows_more(place, [seen(1000, 1000, 70, score)], 0.125) is wanted


@pytest.mark.parametrize(
    ("size", "side"),
    [
        ((2400, 1600), f.WHOLE_SIDE),
        ((2500, 1601), f.LARGE_WHOLE_SIDE),
        ((300, 200), 300),
        ((4000, 3000), 500),
        ((3024, 4032), 504),
        ((3840, 2160), f.LARGE_WHOLE_SIDE),
    ],
)
def test_a_large_picture_is_reduced_further(size, side):
    assert round(f.whole_scale(size) * max(size)) == side
