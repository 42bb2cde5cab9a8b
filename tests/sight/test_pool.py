from __future__ import annotations

from array import array
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from litlamp.aspects.aspect import COLOURS, PLATES, Colour
from litlamp.aspects.belief import PlateBelief
from litlamp.box import Box
from litlamp.sight.eyes import Calibration
from litlamp.sight.glance import Glance
from litlamp.sight.pool import asked, averaged, believed, pool
from litlamp.sight.seen import HeadSeen, LampSeen, Shade, SignalSeen
from litlamp.sight.tracks import Track

SIZE = (640, 480)
TUNED = Calibration("by hand")

beliefs = arrays(float, st.tuples(st.integers(1, 12), st.just(4)), elements=st.floats(1e-3, 1)).map(
    lambda b: b / b.sum(axis=1, keepdims=True)
)


@given(beliefs, st.data())
def test_an_average_is_a_belief_whatever_the_order(of: np.ndarray, data: st.DataObject) -> None:
    weights = np.array(data.draw(st.lists(st.floats(1e-3, 1), min_size=len(of), max_size=len(of))))
    pooled = averaged(of, weights, 1.0)
    assert pooled.sum() == pytest.approx(1)
    assert (pooled >= 0).all()
    order = np.array(data.draw(st.permutations(range(len(of)))))
    assert averaged(of[order], weights[order], 1.0) == pytest.approx(pooled, abs=1e-9)


@given(st.floats(0.3, 0.9), st.integers(1, 500))
def test_many_frames_that_agree_are_not_so_many_witnesses(p: float, n: int) -> None:
    of = np.tile([p, 1 - p], (n, 1))
    assert averaged(of, np.ones(n), 1.0) == pytest.approx([p, 1 - p], abs=1e-3)


def test_those_who_differ_leave_both_open() -> None:
    of = np.array([[0.98, 0.02]] * 6 + [[0.02, 0.98]] * 2)
    pooled = averaged(of, np.ones(8), 1.0)
    assert 0.02 < pooled[1] < 0.5


def head(colour: Colour, y: float, width: float, sure: float = 0.97) -> HeadSeen:
    belief: dict[Colour, float] = {c: sure if c == colour else (1 - sure) / 4 for c in COLOURS}
    lamp = None if colour == "dark" else LampSeen(320, y, width / 3)
    return HeadSeen(Box(320 - width / 2, y - width / 2, 320 + width / 2, y + width / 2), lamp, belief)


def glance_at(
    *colours: Colour,
    width: float = 30.0,
    odds: float = 4.0,
    dwarf: float = 0.02,
    whole: float = 0.97,
    plate: PlateBelief | None = None,
    score: float = 0.9,
) -> Glance:
    heads = tuple(head(c, 200 + 2 * width * i, width) for i, c in enumerate(colours))
    box = heads[0].box
    for h in heads[1:]:
        box = box.union(h.box)
    kinds = {k: PlateBelief(0.0, 0.9, 0.1) for k in PLATES}
    if plate is not None:
        kinds["R"] = plate
    seen = SignalSeen(box, heads, {"mast": 1 - dwarf, "dwarf": dwarf}, {"vertical": 0.97, "staggered": 0.03},
                      kinds, (), None, whole, width)  # fmt: skip
    lenses = tuple((h.box.centre[0], h.box.centre[1], width / 3) for h in heads)
    return Glance(seen, odds, 0.5, lenses, (score,) * len(heads))


def track_of(*glances: Glance | None, apart: float = 0.3) -> Track:
    first = next(g for g in glances if g is not None)
    track = Track(0, 0.0, first, SIZE)
    for i, g in enumerate(glances[1:], 1):
        if g is None:
            track.miss(apart * i, SIZE)
        else:
            track.pose = type(track.pose)(track.pose.x, track.pose.y, g.seen.resolution)
            track.learn(apart * i, g, SIZE)
    return track


def pooled(track: Track) -> SignalSeen:
    out = pool(track, track.looks, (0.0, 99.0), TUNED)
    assert out is not None
    return out.seen


def likeliest(of: HeadSeen) -> Colour:
    return max(of.colour, key=lambda c: of.colour[c])


def test_a_lamp_caught_dark_now_and_then_is_lit() -> None:
    looks = [glance_at("green", "yellow"), *[glance_at("green", "dark")] * 4, glance_at("green", "yellow")]
    seen = pooled(track_of(*looks))
    assert [likeliest(h) for h in seen.heads] == ["green", "yellow"]
    assert not seen.heads[1].dark_throughout


def test_one_glint_in_many_looks_is_no_lit_lamp() -> None:
    looks = [glance_at("green", "dark")] * 7 + [glance_at("green", "yellow")]
    assert likeliest(pooled(track_of(*looks)).heads[1]) == "dark"


def test_dark_is_not_dark_throughout_unless_its_light_was_watched() -> None:
    seen = pooled(track_of(*[glance_at("green", "dark")] * 8))
    assert likeliest(seen.heads[1]) == "dark"
    assert not seen.heads[1].dark_throughout
    assert seen.heads[1].flashing is None


def test_a_head_seen_in_few_looks_of_many_is_none() -> None:
    looks = [glance_at("red")] * 7 + [glance_at("red", "yellow", score=0.4)]
    assert len(pooled(track_of(*looks)).heads) == 1


def test_a_head_missed_in_half_of_the_looks_is_one() -> None:
    looks = [glance_at("red", "yellow"), glance_at("red")] * 4
    assert [likeliest(h) for h in pooled(track_of(*looks)).heads] == ["red", "yellow"]


def test_large_looks_outweigh_small_ones() -> None:
    small = [glance_at("yellow", width=7.0, dwarf=0.9)] * 6
    large = [glance_at("red", width=30.0, dwarf=0.01)] * 3
    seen = pooled(track_of(*small, *large))
    assert likeliest(seen.heads[0]) == "red"
    assert seen.mount["dwarf"] < 0.2


def test_a_colour_that_plain_looks_were_sure_of_stays_possible() -> None:
    """An over-exposed red looks yellow, the more so the nearer it comes."""
    far = [glance_at("red", width=10.0)] * 2
    near = [glance_at("yellow", width=40.0)] * 30
    seen = pooled(track_of(*far, *near))
    assert likeliest(seen.heads[0]) == "yellow"
    assert seen.heads[0].colour["red"] > 0.02
    assert sum(seen.heads[0].colour.values()) == pytest.approx(1)
    # One such look may be a slip, and small ones tell nothing.
    for few in ([glance_at("red", width=10.0)], [glance_at("red", width=6.0)] * 2):
        assert pooled(track_of(*few, *near)).heads[0].colour["red"] < 0.02


def test_a_lamp_looks_as_it_does_in_most_looks() -> None:
    def shaded(width: float, shade: Shade | None) -> Glance:
        glance = glance_at("red", width=width)
        own = tuple(replace(h, shade=shade) for h in glance.seen.heads)
        return replace(glance, seen=replace(glance.seen, heads=own))

    usual, glare = Shade(1.5, 0.1), Shade(0.2, 1.0)
    many = [shaded(30, usual)] * 3 + [shaded(30, glare), shaded(30, None), *[shaded(4, glare)] * 5]
    assert pooled(track_of(*many)).heads[0].shade == usual
    assert pooled(track_of(*[shaded(30, None)] * 3)).heads[0].shade is None


def test_a_plate_is_as_the_looks_that_could_see_it_say() -> None:
    unseen = glance_at("red", plate=PlateBelief(0.0, 0.05, 0.95))
    shown = glance_at("red", plate=PlateBelief(0.93, 0.05, 0.02))
    assert pooled(track_of(*[unseen] * 6, shown, shown)).plates["R"].present > 0.5
    belief = pooled(track_of(*[unseen] * 6)).plates["R"]
    assert belief.unknown > 0.9


def test_a_signal_is_whole_if_the_looks_with_most_room_say_so() -> None:
    looks = [glance_at("red", whole=0.3)] * 4 + [glance_at("red", whole=0.98)] * 3
    assert pooled(track_of(*looks)).whole > 0.9
    assert pooled(track_of(*[glance_at("red", whole=0.3)] * 7)).whole == pytest.approx(0.3)


def test_misses_count_against_a_signal_but_less_than_sights_for_it() -> None:
    seen = track_of(*[glance_at("red", odds=3.0)] * 3)
    missed = track_of(*[glance_at("red", odds=3.0)] * 3, None, None, None)
    never = track_of(glance_at("red", odds=0.2), None, None, None, None)
    assert believed(seen.looks) == pytest.approx(3.0)
    assert 0 < believed(missed.looks) < 3.0
    assert believed(never.looks) < 0
    assert asked(seen.looks) == 0.5


def test_what_is_looked_for_behind_the_train_does_not_count() -> None:
    near = [glance_at("red", width=w, odds=3.0) for w in (12.0, 14.0, 17.0, 22.0, 30.0)]
    gone = track_of(*near, *[None] * 8)
    assert believed(gone.looks) == pytest.approx(believed(gone.looks[:5]))
    still = track_of(*[glance_at("red", odds=3.0)] * 5, *[None] * 8)
    assert believed(still.looks) < believed(still.looks[:5])


def test_looks_from_nearby_may_say_alone_that_it_is_a_signal() -> None:
    far = [glance_at("yellow", width=6.0, odds=-1.5)] * 30
    near = [glance_at("yellow", "green", width=w, odds=5.0) for w in (16.0, 20.0, 24.0, 30.0)]
    assert believed(track_of(*far, *near).looks) == pytest.approx(5.0)
    # Too few of them do not, nor do they speak against what was seen from afar.
    assert believed(track_of(*far, *near[2:]).looks) < 2
    doubtful = [glance_at("yellow", width=w, odds=-1.0) for w in (16.0, 20.0, 24.0, 30.0)]
    sure = track_of(*[glance_at("yellow", width=6.0, odds=4.0)] * 30, *doubtful)
    assert believed(sure.looks) > 1


def test_a_signal_is_shown_where_a_look_saw_its_heads() -> None:
    """A look, however near, that laid what it saw on other heads does not tell where they are."""
    small, large = [glance_at("red", width=15.0)] * 4, glance_at("red", width=30.0)
    track = track_of(*small, large)
    assert track.looks[-1].heads == (0,)
    shown = pool(track, track.looks, (0.0, 99.0), TUNED)
    assert shown is not None
    assert shown.at == track.looks[-1].at
    track.looks[-1] = replace(track.looks[-1], heads=(-1,))
    shown = pool(track, track.looks, (0.0, 99.0), TUNED)
    assert shown is not None
    assert shown.at < track.looks[-1].at


def lit_by(track: Track, *lights: np.ndarray) -> Track:
    """The track, each head's lamp having given so much light in each of the frames of its looks."""
    times = np.linspace(0, track.looks[-1].at, len(lights[0]))
    track.times = array("d", times)
    track.seen = array("b", [1] * len(times))
    track.common = array("f", [1.0] * len(times))
    track.widths = array("f", [30.0] * len(times))
    for one, light in zip(track.heads, lights, strict=True):
        one.lamps[0].light = array("f", light)
        one.lamps[0].red = one.lamps[0].green = array("f", light / 3)
    return track


@pytest.mark.parametrize("flashes", [True, False])
def test_a_head_that_few_looks_saw_is_one_if_its_lamp_flashes(flashes: bool) -> None:
    seen_both = glance_at("green", "green", width=12.0)
    near = [glance_at("green", width=w) for w in (14.0, 16.0, 18.0, 20.0, 22.0, 24.0, 26.0, 28.0, 30.0, 30.0)]
    track = track_of(seen_both, seen_both, *near, apart=0.4)
    times = np.linspace(0, track.looks[-1].at, 130)
    blinks = np.where(times * 0.9 % 1 < 0.5, 1.0, 0.0)
    lit_by(track, np.full(130, 1.0), blinks if flashes else np.full(130, 0.0))
    assert len(pooled(track).heads) == (2 if flashes else 1)


def test_a_ghost_over_a_lamp_that_flashes_is_no_head_beside_it() -> None:
    """What it is taken to give is that lamp's own light."""
    both = glance_at("green", "green", width=12.0)
    near = [glance_at("green", width=w) for w in (14.0, 16.0, 18.0, 20.0, 22.0, 24.0, 26.0, 28.0, 30.0, 30.0)]
    track = track_of(both, both, *near, apart=0.4)
    times = np.linspace(0, track.looks[-1].at, 130)
    blinks = np.where(times * 0.9 % 1 < 0.5, 1.0, 0.0)
    assert len(pooled(lit_by(track, blinks, blinks)).heads) == 1


def test_a_head_that_the_largest_looks_did_not_see_though_it_was_in_view_is_none() -> None:
    """A ghost seen in a few looks from far off."""
    far = [glance_at("red", "green", width=12.0)] * 2
    near = [glance_at("red", width=w) for w in (13.0, 14.0, 16.0, 18.0, 20.0, 22.0, 24.0, 26.0, 28.0, 30.0)]
    assert len(pooled(track_of(*far, *near)).heads) == 1


def test_a_head_that_only_the_first_small_looks_saw_is_none() -> None:
    """However many of those there were."""
    far = [glance_at("yellow", "yellow", "red", width=4.0)] * 6
    near = [glance_at("yellow", "yellow", width=w) for w in (6.0, 9.0, 14.0, 20.0, 28.0, 40.0)]
    assert len(pooled(track_of(*far, *near)).heads) == 2


def test_nothing_seen_is_nothing() -> None:
    track = track_of(glance_at("red"), None, None)
    assert pool(track, [look for look in track.looks if look.glance is None], (0, 9), TUNED) is None
    assert pool(track, [], (0, 9), TUNED) is None
