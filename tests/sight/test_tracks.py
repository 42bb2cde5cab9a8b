"""What a track learns of its signal look by look, from looks made by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import cv2
import numpy as np
import pytest

from litlamp.aspects.aspect import COLOURS, PLATES, Colour
from litlamp.aspects.belief import UNKNOWN_PLATE
from litlamp.box import Box
from litlamp.media.clip_frame import ClipFrame
from litlamp.media.frame import Time
from litlamp.media.planes import Packed
from litlamp.sight.glance import Glance
from litlamp.sight.seen import HeadSeen, LampSeen, SignalSeen
from litlamp.sight.traces import Pose
from litlamp.sight.tracks import ASTRAY, FASTEST_GROWTH, FORGOTTEN, MOST_HEADS, Track

SIZE = (640, 480)
Seen = tuple[float, float, Colour]


def glance_at(*heads: Seen, width: float = 20.0) -> Glance:
    """A look that saw heads with their middles at (x, y), each with its lamp in the middle."""
    seen = []
    for x, y, colour in heads:
        belief: dict[Colour, float] = {c: 0.96 if c == colour else 0.01 for c in COLOURS}
        lamp = None if colour == "dark" else LampSeen(x, y, width / 3)
        box = Box(x - width / 2, y - width / 2, x + width / 2, y + width / 2)
        seen.append(HeadSeen(box, lamp, belief))
    whole = SignalSeen(seen[0].box, tuple(seen), {"mast": 1.0}, {"vertical": 1.0},
                       dict.fromkeys(PLATES, UNKNOWN_PLATE), (), None, 1.0, width)  # fmt: skip
    lenses = tuple((x, y, width / 3) for x, y, _ in heads)
    return Glance(whole, 4.0, 0.5, lenses, (0.9,) * len(seen))


def followed(track: Track) -> list[tuple[float, float]]:
    """The middles of the heads that are followed, px."""
    return sorted(track.pose.place(*h.middle) for h in track.heads if not h.gone)


def test_heads_that_were_none_give_way_to_those_seen_nearer() -> None:
    first: list[Seen] = [(300, 200, "red"), *((300 + 60 * i, 100, "red") for i in range(1, MOST_HEADS))]
    track = Track(0, 0.0, glance_at(*first), SIZE)
    true: list[Seen] = [(300, 200, "red"), (300, 240, "yellow"), (300, 280, "green")]
    for i in range(1, 5):
        track.learn(0.3 * i, glance_at(*true), SIZE)
    slots = track.looks[-1].heads
    assert min(slots) >= 0
    assert [track.pose.place(*track.heads[s].middle) for s in slots] == [
        pytest.approx((x, y), abs=1) for x, y, _ in true
    ]
    assert sum(not h.gone for h in track.heads) <= MOST_HEADS


def test_no_head_is_followed_over_another() -> None:
    track = Track(0, 0.0, glance_at((300, 200, "red"), (300, 240, "yellow")), SIZE)
    track.learn(0.3, glance_at((300, 200, "red"), (300, 234, "yellow"), (300, 240, "yellow")), SIZE)
    assert track.looks[-1].heads == (0, -1, 1)


def test_heads_told_apart_by_one_look_are_both_followed_though_their_boxes_touch() -> None:
    track = Track(0, 0.0, glance_at((300, 200, "yellow")), SIZE)
    track.learn(0.3, glance_at((300, 189, "yellow"), (300, 200, "yellow")), SIZE)
    assert track.looks[-1].heads == (1, 0)


def test_a_look_that_sees_nothing_plainly_lit_does_not_move_what_is_followed() -> None:
    track = Track(0, 0.0, glance_at((300, 200, "green"), (300, 260, "green")), SIZE)
    track._lit = True
    before = followed(track)
    unsure = glance_at((300, 225, "red"))
    vague = dict.fromkeys(COLOURS, 0.2)
    head = replace(unsure.seen.heads[0], colour=vague)
    track.learn(0.3, replace(unsure, seen=replace(unsure.seen, heads=(head,))), SIZE)
    assert followed(track) == before


def test_heads_that_stand_further_apart_than_expected_are_known_again() -> None:
    """A signal that came near fast: its heads are hardly wider yet, but a third further apart."""
    track = Track(0, 0.0, glance_at((300, 200, "yellow"), (300, 300, "red")), SIZE)
    track.learn(0.3, glance_at((320, 180, "yellow"), (320, 310, "red"), width=22), SIZE)
    assert track.looks[-1].heads == (0, 1)


def test_a_lamp_between_two_flashes_moves_with_its_head() -> None:
    track = Track(0, 0.0, glance_at((300, 200, "red"), (300, 260, "green")), SIZE)
    lamp = track.heads[1].lamps[0]
    for i in range(1, 8):
        track.learn(0.3 * i, glance_at((300, 200, "red"), (300, 266, "dark")), SIZE)
    _, y = track.pose.place(lamp.u, lamp.v)
    assert y == pytest.approx(266, abs=1.5)


def test_the_width_of_heads_is_put_right_and_no_place_with_it() -> None:
    track = Track(0, 0.0, glance_at((300, 200, "red"), (300, 260, "green"), width=40), SIZE)
    for i in range(1, 12):
        track.times.append(0.1 * i)
        track.widths.append(track.pose.width)
        track.learn(0.3 * i, glance_at((300, 200, "red"), (300, 260, "green"), width=20), SIZE)
    assert track.pose.width == pytest.approx(20, rel=0.11)
    assert followed(track) == [pytest.approx((300, 200), abs=0.5), pytest.approx((300, 260), abs=0.5)]
    assert track.looks[0].pose.box(track.heads[0].sides).centre == pytest.approx((300, 200), abs=0.5)
    assert track.lens() == pytest.approx(20 / 3, rel=0.11)
    assert np.allclose(track.widths, track.pose.width, rtol=0.11)


def test_lamps_that_stand_further_apart_than_was_taken_tell_the_size() -> None:
    track = Track(0, 0.0, glance_at((300, 200, "red"), (300, 260, "green")), SIZE)
    true = 1.2
    for _ in range(40):
        places = np.array([track.pose.place(*h.middle) for h in track.heads])
        off = np.array([(300, 230 + (y - 230) * true) for y in (200, 260)]) - places
        track._resize(places, off)
    assert track.pose.width == pytest.approx(20 * true, rel=0.01)
    assert followed(track) == [pytest.approx((300, 194), abs=0.5), pytest.approx((300, 266), abs=0.5)]


def test_lamps_too_near_each_other_tell_no_size() -> None:
    track = Track(0, 0.0, glance_at((300, 200, "red")), SIZE)
    track._resize(np.array([(300.0, 200.0), (304.0, 200.0)]), np.array([(-2.0, 0.0), (2.0, 0.0)]))
    assert track.pose == Pose(300, 200, 20)


def shown(at: float, colour: Colour) -> Glance:
    """One head whose lamp stands so far below its middle, head widths."""
    glance = glance_at((300, 200, colour))
    return Glance(glance.seen, glance.odds, glance.least, ((300, 200 + 20 * at, 20 / 3),), glance.scores)


def test_a_lamp_of_one_colour_seen_elsewhere_in_its_head_is_the_same() -> None:
    track = Track(0, 0.0, shown(-0.3, "green"), SIZE)
    track.learn(0.3, shown(0.1, "green"), SIZE)
    (lamp,) = track.heads[0].lamps
    assert lamp.v == pytest.approx(0.1)


def test_a_lamp_of_another_colour_just_below_is_another() -> None:
    track = Track(0, 0.0, shown(-0.1, "green"), SIZE)
    track.learn(0.3, shown(0.05, "yellow"), SIZE)
    assert [lamp.colour for lamp in track.heads[0].lamps] == ["green", "yellow"]


def test_a_lamp_that_is_seen_no_more_while_another_is_lit_is_followed_no_longer() -> None:
    track = Track(0, 0.0, shown(-0.3, "green"), SIZE)
    for i in range(ASTRAY):
        track.learn(0.3 * (i + 1), shown(0.3, "red"), SIZE)
        assert track.heads[0].lamps[0].gone == (i == ASTRAY - 1)
    assert not track.heads[0].lamps[1].gone


@pytest.mark.parametrize("off", [-30, 30])
def test_a_signal_that_went_on_by_a_head_keeps_its_heads_apart(off: int) -> None:
    track = Track(0, 0.0, glance_at((300, 200, "yellow"), (320, 230, "green")), SIZE)
    track.learn(
        0.5,
        glance_at((300 + off * 2 / 3, 200 + off, "yellow"), (320 + off * 2 / 3, 230 + off, "green")),
        SIZE,
    )
    assert track.looks[-1].heads == (0, 1)
    assert [lamp.colour for head in track.heads for lamp in head.lamps] == ["yellow", "green"]


def test_where_colours_speak_against_it_heads_are_not_laid_on_others() -> None:
    track = Track(0, 0.0, glance_at((300, 200, "yellow"), (300, 240, "green")), SIZE)
    # All is where it was but for a third head: what showed yellow has changed.
    track.learn(0.5, glance_at((300, 200, "red"), (300, 240, "yellow"), (300, 280, "green")), SIZE)
    assert track.looks[-1].heads == (0, 1, 2)


def test_nothing_is_laid_on_a_head_that_looks_see_no_more() -> None:
    track = Track(0, 0.0, glance_at((300, 170, "dark"), (300, 200, "red")), SIZE)
    for i in range(1, 4):
        track.learn(0.3 * i, glance_at((300, 200, "red")), SIZE)
    # Another that is none stands as far below the true one as that stood below the first.
    track.learn(1.2, glance_at((300, 200, "red"), (300, 230, "dark")), SIZE)
    assert track.looks[-1].heads[0] == 1


def test_of_a_signal_seen_again_close_by_the_highest_head_may_be_out_of_the_picture() -> None:
    track = Track(0, 0.0, glance_at((300, 60, "yellow"), (300, 120, "green")), SIZE)
    track.resume(0.5, glance_at((360, 40, "green"), width=30), SIZE)
    assert track.looks[-1].heads == (1,)
    track.resume(1.0, glance_at((200, 100, "yellow"), width=30), SIZE)
    assert track.looks[-1].heads == (0,)


def test_where_nothing_can_be_followed_it_grows_and_goes_on_as_looks_found_it_to() -> None:
    track = Track(0, 0.0, glance_at((300, 180, "red"), (300, 240, "green")), SIZE)
    black = np.zeros((SIZE[1], SIZE[0]), np.uint8)
    for i in range(1, 8):
        for j in range(4):
            track._gone_to = (4 * i + j) / 30
            assert not track._follow(black, 1 / 30)
            track.times.append(track._gone_to)
        by = 1.12**i
        track.learn(
            i / 7.5,
            glance_at((300, 210 - 30 * by, "red"), (300, 210 + 30 * by, "green"), width=20 * by),
            SIZE,
        )
    known = track.pose.width
    for _ in range(4):
        track._follow(black, 1 / 30)
    assert track.pose.width == pytest.approx(known * 1.12, rel=0.04)
    assert track.pose.x == pytest.approx(300, abs=2)


def test_motion_is_by_the_second_not_by_the_frame() -> None:
    """Frames were lost: three steps come at once."""
    black = np.zeros((SIZE[1], SIZE[0]), np.uint8)
    track = Track(0, 0.0, glance_at((300, 180, "red"), (300, 240, "green")), SIZE)
    track._velocity = (60.0, -30.0)
    before = track.pose
    track._follow(black, 0.1)
    assert (track.pose.x - before.x, track.pose.y - before.y) == pytest.approx((6, -3))
    track.coast(0.1)
    assert (track.pose.x - before.x, track.pose.y - before.y) == pytest.approx((12, -6))
    track._growth = 0.9
    track._follow(black, 0.1)
    assert track.pose.width == pytest.approx(before.width * np.exp(0.09))


def painted(*lamps: tuple[float, float, tuple[int, int, int]]) -> ClipFrame:
    """A night scene of heads, a little lighter than what is round them, with these lamps."""
    rgb = np.random.default_rng(5).integers(8, 22, (SIZE[1], SIZE[0], 3), np.uint8)
    for x, y, colour in lamps:
        cv2.rectangle(rgb, (round(x) - 11, round(y) - 11), (round(x) + 11, round(y) + 11), (44, 40, 40), 2)
        cv2.circle(rgb, (round(x), round(y)), 3, colour, -1)
    return ClipFrame(Packed(rgb), Time(0, Fraction(1, 30)))


RED, GREEN, OFF = (255, 40, 24), (40, 255, 130), (12, 12, 12)


def followed_through(*frames: ClipFrame) -> Track:
    track = Track(0, 0.0, glance_at((300, 180, "red"), (300, 240, "green")), SIZE)
    for i, frame in enumerate(frames):
        luma = np.ascontiguousarray(frame.luma)
        if i:
            track.step(frame, luma, i / 30, 1.0)
        else:
            track.gauge(frame)
        track.anchor(luma)
    return track


def test_a_signal_that_was_lost_by_a_bound_is_found_by_its_lamps() -> None:
    still = painted((300, 180, RED), (300, 240, GREEN))
    bound = painted((311, 186, RED), (311, 246, GREEN))
    track = followed_through(still, still, still, bound, bound, bound)
    assert followed(track) == [pytest.approx((311, 186), abs=2), pytest.approx((311, 246), abs=2)]
    assert track._lit


def test_a_signal_whose_lamps_go_dark_stays_where_it_is() -> None:
    """Though something as bright, and of like hue, stands beside it."""

    def shown(red: tuple[int, int, int], green: tuple[int, int, int]) -> ClipFrame:
        frame = painted((300, 180, red), (300, 240, green))
        assert isinstance(frame.picture, Packed)
        cv2.circle(frame.picture.pixels, (312, 246), 3, GREEN, -1)
        return frame

    lit, dark = shown(RED, GREEN), shown(OFF, OFF)
    track = followed_through(lit, lit, lit, dark, dark, dark)
    assert followed(track) == [pytest.approx((300, 180), abs=1.5), pytest.approx((300, 240), abs=1.5)]


def test_the_light_of_a_lamp_is_gauged_where_a_look_saw_it() -> None:
    track = Track(0, 0.0, glance_at((300, 180, "red"), (300, 240, "green")), SIZE)
    track.gauge(painted((300, 180, RED), (300, 240, GREEN)))
    red, green = (head.lamps[0] for head in track.heads)
    assert red.usual > 0.5 and red.hue > 1
    assert green.usual > 0.5 and green.hue < -1


def test_a_head_that_is_followed_belongs_to_no_other_signal() -> None:
    track = Track(0, 0.0, glance_at((300, 180, "red"), (300, 240, "green")), SIZE)
    assert track.follows_head_of(glance_at((300, 241, "dark"), (310, 330, "yellow")))
    assert track.follows_head_of(glance_at((303, 244, "green"), width=50))  # of another size, its lamp there
    assert not track.follows_head_of(glance_at((360, 180, "red"), (360, 240, "green")))
    track.miss(0.1, SIZE)
    assert not track.follows_head_of(glance_at((300, 240, "green")))


def test_no_look_makes_it_expected_to_grow_wildly() -> None:
    track = Track(0, 0.0, glance_at((300, 180, "red"), (300, 240, "green")), SIZE)
    track._gone_to = 0.1
    track.learn(0.1, glance_at((300, 150, "red"), (300, 270, "green"), width=40), SIZE)
    assert 0 < track._growth <= FASTEST_GROWTH


def test_heads_that_looks_have_long_not_seen_take_no_room() -> None:
    track = Track(0, 0.0, glance_at((300, 200, "red"), (300, 300, "red")), SIZE)
    for i in range(1, FORGOTTEN + 1):
        assert track.heads_box().height > 90
        track.learn(0.3 * i, glance_at((300, 200, "red")), SIZE)
    assert track.heads_box().height < 40


def test_a_signal_has_left_when_all_of_its_heads_have() -> None:
    track = Track(0, 0.0, glance_at((300, 180, "red"), (300, 240, "green")), SIZE)
    track.shift(0, -220)
    assert not track.in_view(SIZE)
    assert not track.left_view(SIZE)
    track.shift(0, -40)
    assert track.left_view(SIZE)
