"""From a picture to the signals seen: the pools of belief, and the whole way with stand-ins."""

from __future__ import annotations

import math

import cv2
import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.aspects.aspect import COLOURS
from litlamp.box import Box
from litlamp.media.frame import Frame
from litlamp.sight.axis import STRAY, MastLine, mast_axis
from litlamp.sight.count import AT_EDGE
from litlamp.sight.eyes import Calibration, load_eyes, log_odds
from litlamp.sight.look import (
    CAUTION,
    FLOORS,
    USUAL_SCORE,
    look,
    pool_arrangement,
    pool_colour,
    signal_read,
)

TUNED = Calibration("nothing")
CANNOT_TELL = np.full(5, 0.2)
RED, YELLOW, GREEN, LUNAR, DARK = range(5)
NC = len(COLOURS)


@st.composite
def beliefs(draw, least: float = 1e-6):
    shares = np.array(draw(st.lists(st.floats(0, 1), min_size=NC, max_size=NC))) ** draw(st.integers(1, 6))
    shares = shares + least
    return shares / shares.sum()


def sure(colour: int, p: float = 0.99) -> np.ndarray:
    belief = np.full(NC, (1 - p) / (NC - 1))
    belief[colour] = p
    return belief


TUNINGS = st.builds(
    lambda a, b, c, d, e, f: Calibration(
        "any", finder_colour=a, reader_colour=b, disagree=c, witness_colour=d, witness_restrictive=e,
        witness_other=f,
    ),
    st.floats(0.1, 2), st.floats(0.1, 2), st.floats(0, 2), st.floats(0, 1), st.floats(0.3, 1),
    st.floats(0.3, 1),
)  # fmt: skip
AGREES = st.floats(0, 1)


@given(f=beliefs(), r=beliefs(), w=beliefs(), agrees=AGREES, tuned=TUNINGS)
def test_pooled_belief_sums_to_one_and_rules_nothing_out(f, r, w, agrees, tuned):
    belief, apart = pool_colour(f, r, w, agrees, tuned)
    assert belief.sum() == pytest.approx(1.0)
    assert belief.min() >= tuned.floor / (1 + NC * tuned.floor) * 0.999
    assert 0 <= apart <= 1 + 1e-9


@given(f=beliefs(), r=beliefs(), w=beliefs(), agrees=AGREES, tuned=TUNINGS)
def test_a_witness_never_raises_the_leading_colour_nor_lowers_any_other(f, r, w, agrees, tuned):
    without, _ = pool_colour(f, r, CANNOT_TELL, agrees, tuned)
    belief, _ = pool_colour(f, r, w, agrees, tuned)
    lead = int(without.argmax())
    assert belief[lead] <= without[lead] + 1e-12
    others = np.arange(NC) != lead
    assert (belief[others] >= without[others] - 1e-12).all()


@given(f=beliefs(), r=beliefs(), w=beliefs(), agrees=AGREES, tuned=TUNINGS)
def test_a_colour_that_the_witness_and_a_network_agree_on_is_never_dropped(f, r, w, agrees, tuned):
    without, _ = pool_colour(f, r, CANNOT_TELL, agrees, tuned)
    belief, _ = pool_colour(f, r, w, agrees, tuned)
    best = int(w.argmax())
    if best in (int(f.argmax()), int(r.argmax())):
        assert belief[best] >= without[best] - 1e-12


@given(p=beliefs(), w=beliefs(), agrees=st.floats(0.5, 1))
def test_networks_of_one_mind_keep_their_leading_colour_at_least_as_likely(p, w, agrees):
    """Two answers alike are no less sure together than one alone, but for the floor and the witness."""
    belief, apart = pool_colour(p, p, CANNOT_TELL, agrees, TUNED)
    lead = int(p.argmax())
    assert apart == pytest.approx(0.0)
    assert belief[lead] >= p[lead] - NC * TUNED.floor - 1e-5
    assert pool_colour(p, p, w, agrees, TUNED)[0][lead] >= (1 - TUNED.witness_colour) * belief[lead] - 1e-9


@given(f=beliefs(), r=beliefs(), agrees=AGREES, tuned=TUNINGS, flat=st.floats(0, 0.3))
def test_a_witness_that_cannot_tell_changes_nothing(f, r, agrees, tuned, flat):
    cannot = np.array([*[(1 - flat) / 4] * 4, flat]) if flat < 0.2 else CANNOT_TELL
    deaf = msgspec.structs.replace(tuned, witness_colour=0.0)
    held, _ = pool_colour(f, r, cannot, agrees, deaf)
    assert pool_colour(f, r, cannot, agrees, tuned)[0] == pytest.approx(held)


@pytest.mark.parametrize(("told", "truth"), [(YELLOW, RED), (LUNAR, RED), (GREEN, RED), (GREEN, YELLOW),
                                             (LUNAR, YELLOW), (GREEN, LUNAR)])  # fmt: skip
def test_sure_networks_yield_to_a_more_restrictive_ring(told, truth):
    belief, apart = pool_colour(sure(told, 0.9999), sure(told, 0.9999), sure(truth, 0.95), 1.0, TUNED)
    assert belief[truth] > 0.2  # far more than the 0.01 that a guard at 0.99 leaves out
    assert belief[told] > 0.3  # and it does not silence them
    assert apart > 0.5


@pytest.mark.parametrize("told", [YELLOW, GREEN, LUNAR])
def test_red_put_at_evens_for_caution_alone_does_not_dilute(told):
    """lamp_colour lifts red up to evens where it does not lead: "cannot tell", and no contradiction."""
    even = np.full(NC, 0.01)
    even[RED], even[told] = 0.5, 0.47
    belief, _ = pool_colour(sure(told, 0.9999), sure(told, 0.9999), even, 1.0, TUNED)
    assert belief[told] > 0.99


@given(p=st.floats(0.3, 0.99), lead=st.sampled_from([GREEN, LUNAR, YELLOW]))
def test_a_surer_contradiction_spreads_more(p, lead):
    less, _ = pool_colour(sure(lead), sure(lead), sure(RED, p), 1.0, TUNED)
    more, _ = pool_colour(sure(lead), sure(lead), sure(RED, p + 0.01), 1.0, TUNED)
    assert more[RED] >= less[RED] - 1e-12
    assert more[lead] <= less[lead] + 1e-12


@given(p=st.floats(0.3, 1), a=st.integers(0, 3), b=st.integers(0, 3))
def test_a_more_restrictive_colour_is_heard_at_least_as_soon(p, a, b):
    if a == b:
        return
    loose, strict = sorted((a, b), key=lambda c: -CAUTION.index(COLOURS[c]))
    upward, _ = pool_colour(sure(loose), sure(loose), sure(strict, p), 1.0, TUNED)
    downward, _ = pool_colour(sure(strict), sure(strict), sure(loose, p), 1.0, TUNED)
    assert upward[strict] >= downward[loose] - 1e-9


def test_a_less_restrictive_colour_needs_a_surer_witness():
    between = (TUNED.witness_restrictive + TUNED.witness_other) / 2
    assert pool_colour(sure(GREEN), sure(GREEN), sure(RED, between), 1.0, TUNED)[0][RED] > 0.05
    assert pool_colour(sure(RED), sure(RED), sure(GREEN, between), 1.0, TUNED)[0][GREEN] < 0.01


@given(w=beliefs())
def test_the_witness_has_no_say_in_dark(w):
    belief, _ = pool_colour(sure(DARK), sure(DARK), w, 1.0, TUNED)
    assert belief[DARK] > 0.98


def test_networks_apart_hold_both_opinions():
    belief, apart = pool_colour(sure(RED), sure(GREEN), CANNOT_TELL, 1.0, TUNED)
    assert belief[RED] > 0.2
    assert belief[GREEN] > 0.2
    assert apart > 0.9


def test_a_reader_that_counts_other_heads_has_no_say():
    alone, _ = pool_colour(sure(RED), sure(GREEN), CANNOT_TELL, 0.0, TUNED)
    assert alone[RED] > 0.98


CHANCE = st.floats(0, 1)


@given(reader=CHANCE, boxes=CHANCE, weight=st.floats(0, 2))
def test_arrangement_is_a_probability_that_rises_with_either(reader, boxes, weight):
    tuned = Calibration("any", geometry_weight=weight)
    p = pool_arrangement(reader, boxes, tuned)
    assert 0 < p < 1
    assert pool_arrangement(min(reader + 0.01, 1), boxes, tuned) >= p - 1e-12
    assert pool_arrangement(reader, min(boxes + 0.01, 1), tuned) >= p - 1e-12
    assert pool_arrangement(1 - reader, 1 - boxes, tuned) == pytest.approx(1 - p, abs=1e-9)


@pytest.mark.parametrize(("reader", "boxes"), [(1.0, STRAY), (0.9999999, 0.0), (0.0, 1 - STRAY)])
def test_sure_and_opposite_answers_leave_both_arrangements_open(reader, boxes):
    assert pool_arrangement(reader, boxes, TUNED) == pytest.approx(0.5, abs=0.01)


@given(reader=CHANCE)
def test_boxes_that_cannot_tell_leave_the_reader_its_answer(reader):
    held = min(max(reader, STRAY), 1 - STRAY)
    assert pool_arrangement(reader, 0.5, TUNED) == pytest.approx(held)


@given(reader=st.floats(0.9, 1), boxes=st.floats(0.02, 0.1))
def test_a_clear_disagreement_keeps_both_in_the_set(reader, boxes):
    """At the usual level of 0.99 nothing below 0.01 is sure to be in it."""
    assert 0.01 < pool_arrangement(reader, boxes, TUNED) < 0.99
    assert 0.01 < pool_arrangement(1 - reader, 1 - boxes, TUNED) < 0.99


@given(
    lean=st.floats(-0.1, 0.1), aside=st.floats(0.8, 1.6), n=st.integers(2, 3), gap=st.floats(2, 4),
    x=st.floats(0, 900), y=st.floats(0, 900), width=st.floats(5, 80),
)  # fmt: skip
def test_the_mast_runs_between_staggered_heads(lean, aside, n, gap, x, y, width):
    """Along it all heads stand off by half their stagger, in turn to right and left."""
    along, across = (math.sin(lean), math.cos(lean)), (math.cos(lean), -math.sin(lean))
    heads = []
    for i in range(n):
        off, down = aside * width / 2 * (-1) ** i, gap * width * i
        heads.append((x + down * along[0] + off * across[0], y + down * along[1] + off * across[1], width))
    axis = mast_axis(heads, True, MastLine(lean, 0.9))
    offsets = [axis.offset(hx, hy) for hx, hy, _ in heads]
    assert offsets == pytest.approx([aside * width / 2 * (-1) ** i for i in range(n)], abs=1e-6)
    assert axis.offset(*axis.foot(*heads[-1][:2])) == pytest.approx(0, abs=1e-6)
    assert math.dist(axis.foot(*heads[0][:2]), heads[0][:2]) == pytest.approx(aside * width / 2)


def test_the_mast_runs_through_heads_in_line():
    heads = [(10, 10, 8), (12, 40, 8), (14, 70, 8)]
    axis = mast_axis(heads, False, MastLine(0.0, 0.9))
    assert [axis.offset(x, y) for x, y, _ in heads] == pytest.approx([0, 0, 0], abs=1e-9)


@given(answer=st.lists(st.floats(-60, 60, width=32), min_size=27, max_size=27))
def test_any_answer_of_the_reader_is_probabilities(answer):
    read = signal_read(np.array(answer, np.float32), TUNED)
    assert read.count.sum() == pytest.approx(1)
    assert read.colours.shape == (3, NC)
    assert read.colours.sum(axis=1) == pytest.approx([1, 1, 1])
    chances = (read.staggered, read.dwarf, read.whole, *read.plates.values())
    assert all(0 <= p <= 1 for p in chances)


# The whole way.


def frame(rgb: np.ndarray) -> Frame:
    return Frame(rgb)


def best(head) -> str:
    return max(head.colour, key=lambda c: head.colour[c])


def column(lamp, x: float, y: float, d: float, colours, aside: float = 0.0):
    """Lamps 7 diameters apart, staggered by `aside` head widths of 2.5 diameters."""
    return [lamp(x + aside * 2.5 * d / 2 * (-1) ** i, y + 7 * d * i, d, c) for i, c in enumerate(colours)]


@settings(max_examples=15, deadline=None)
@given(
    colours=st.lists(st.sampled_from(["red", "yellow", "green"]), min_size=1, max_size=3),
    x=st.floats(250, 950), y=st.floats(180, 300), d=st.floats(7, 18),
)  # fmt: skip
def test_a_signal_is_seen_as_it_stands(colours, x, y, d, lamp, paint, eyes_for):
    lamps = column(lamp, x, y, d, colours)
    (signal,) = look(frame(paint((1200, 900), lamps)), eyes_for())
    assert [best(h) for h in signal.heads] == colours
    for head, one in zip(signal.heads, lamps, strict=True):
        assert sum(head.colour.values()) == pytest.approx(1)
        assert head.lamp is not None
        assert math.dist((head.lamp.x, head.lamp.y), (one.x, one.y)) < 1.0
        assert head.present > 0.9
        assert head.flashing is None
    assert signal.arrangement["staggered"] < 0.05
    assert signal.mount["mast"] > 0.9
    assert signal.whole > 0.9
    assert signal.resolution == pytest.approx(2.5 * d, rel=0.25)
    assert (signal.axis is None) == (len(colours) == 1)
    if signal.axis:
        ends = (lamps[0].x, lamps[0].y, lamps[-1].x, lamps[-1].y)
        assert signal.axis == pytest.approx(ends, abs=1.5)
    for one in lamps:
        assert signal.box.x0 < one.x < signal.box.x1
        assert signal.box.y0 < one.y < signal.box.y1


@pytest.mark.parametrize(("aside", "reader"), [(0.0, 8.0), (1.2, -8.0)])
def test_boxes_and_reader_at_odds_leave_both_arrangements_open(aside, reader, lamp, paint, eyes_for):
    rgb = paint((1200, 900), column(lamp, 600, 300, 12, ["red", "red"], aside))
    (signal,) = look(frame(rgb), eyes_for(staggered=reader))
    assert 0.1 < signal.arrangement["staggered"] < 0.9
    assert sum(signal.arrangement.values()) == pytest.approx(1)


def test_staggered_heads_have_their_mast_between_them(lamp, paint, eyes_for):
    rgb = paint((1200, 900), column(lamp, 600, 300, 12, ["red", "red"], 1.2))
    (signal,) = look(frame(rgb), eyes_for(staggered=8.0))
    assert signal.arrangement["staggered"] > 0.99
    assert signal.axis is not None
    assert signal.axis[0] == pytest.approx(600, abs=3)
    assert signal.axis[2] == pytest.approx(600, abs=3)


def ringed(paint, lamp, core: str) -> np.ndarray:
    """A red lamp so over-exposed that its core shows another colour."""
    red = cv2.GaussianBlur(paint((600, 500), [lamp(300, 200, 21, "red")]), (0, 0), 0.8)
    return np.maximum(red, cv2.GaussianBlur(paint((600, 500), [lamp(300, 200, 11, core)]), (0, 0), 0.8))


def test_a_red_ring_round_a_yellow_core_opens_a_yellow_reading_to_red(paint, lamp, eyes_for):
    rgb = ringed(paint, lamp, "yellow")
    blind = eyes_for(
        finder_says("yellow"), colours=("yellow",), calibration=Calibration("", witness_colour=0, rim_red=0)
    )
    (unasked,) = look(frame(rgb), blind)
    assert unasked.heads[0].colour["red"] < 0.01
    (asked,) = look(frame(rgb), eyes_for(finder_says("yellow"), colours=("yellow",)))
    assert asked.heads[0].colour["red"] > 0.02
    assert asked.strange > 0.5


def finder_says(colour: str):
    """A finder with one head, and ever the same colour: that of a painted lamp is not looked at."""
    from litlamp.sight import find

    class Says:
        def run(self, _: object, given: dict[str, np.ndarray]) -> list[np.ndarray]:
            n, h, w, _c = given["pixels"].shape
            maps = np.zeros((n, 20, h // 4, w // 4), np.float32)
            for i, pixels in enumerate(given["pixels"]):
                ys, xs = np.nonzero(pixels[..., 0] > 200)
                if len(xs) == 0:
                    continue
                x, y, d = xs.mean() + 0.5, ys.mean() + 0.5, 2 * math.sqrt(len(xs) / math.pi)
                at = maps[i, :, int(y / 4), int(x / 4)]
                at[[find.HEAD, find.DX, find.DY]] = 0.9, x / 4 % 1, y / 4 % 1
                at[find.LEFT : find.BOTTOM + 1] = math.log(1.25 * d / 8)
                at[find.LENS] = math.log(d / 4)
                at[find.COLOUR] = 9.0 * (np.array(COLOURS) == colour)
            return [maps]

    return Says()


def test_masts_are_given_left_to_right(lamp, paint, eyes_for):
    lamps = [lamp(900, 300, 10, "green"), lamp(200, 350, 12, "red"), lamp(550, 280, 9, "yellow")]
    signals = look(frame(paint((1200, 900), lamps)), eyes_for())
    assert [best(s.heads[0]) for s in signals] == ["red", "yellow", "green"]


def test_what_the_reader_takes_for_no_signal_is_not_reported(lamp, paint, eyes_for):
    rgb = paint((1200, 900), [lamp(600, 300, 12, "red")])
    assert look(frame(rgb), eyes_for(count=0)) == ()


def test_faint_finds_are_not_reported(lamp, paint, eyes_for, finder):
    finder.score = 0.35
    rgb = paint((1200, 900), [lamp(600, 300, 12, "red")])
    asks = Calibration("", signal_bias=-8.0)
    assert look(frame(rgb), eyes_for(finder, calibration=asks)) == ()
    lenient = msgspec.structs.replace(asks, signal_least=0.0)
    assert len(look(frame(rgb), eyes_for(finder, calibration=lenient))) == 1


def test_an_unlit_head_has_no_lamp(lamp, paint, eyes_for, finder):
    rgb = paint((640, 480), [lamp(320, 200, 16, "dark")])
    (signal,) = look(frame(rgb), eyes_for(finder))
    assert signal.heads[0].lamp is None
    assert best(signal.heads[0]) == "dark"


def test_a_reader_that_counts_fewer_heads_casts_doubt_on_the_faintest(lamp, paint, eyes_for):
    rgb = paint((1200, 900), column(lamp, 600, 300, 12, ["green", "red"]))
    (agreed,) = look(frame(rgb), eyes_for())
    (doubted,) = look(frame(rgb), eyes_for(count=1))
    assert min(h.present for h in doubted.heads) < min(h.present for h in agreed.heads) - 0.05


def test_a_reader_that_counts_more_heads_makes_the_signal_less_whole(lamp, paint, eyes_for):
    rgb = paint((1200, 900), [lamp(600, 300, 12, "green")])
    (agreed,) = look(frame(rgb), eyes_for())
    (more,) = look(frame(rgb), eyes_for(count=3))
    assert agreed.whole > 0.9
    assert more.whole < 0.2


@pytest.mark.parametrize("y", [20, 30, 850, 880])
def test_a_head_near_the_pictures_edge_may_have_lost_its_neighbour(y, lamp, paint, eyes_for):
    def seen(y, tuned):
        rgb = paint((1200, 900), [lamp(600, y, 12, "green")])
        (signal,) = look(frame(rgb), eyes_for(calibration=tuned))
        return signal

    for tuned in (Calibration(""), load_eyes().calibration):
        assert seen(y, tuned).whole < seen(450, tuned).whole
    deaf = Calibration("", whole_weights=(0.0, 1.0, 0.0, 0.0, 0.0, 1.0, *[0.0] * 12))
    assert seen(450, deaf).whole > seen(y, deaf).whole == AT_EDGE  # whatever the reader says
    assert 0 <= seen(y, deaf).box.y0 < seen(y, deaf).box.y1 <= 900


def test_a_plate_on_the_post_is_read_and_one_elsewhere_is_not(lamp, paint, eyes_for):
    rgb = paint((640, 480), [lamp(300, 100, 14, "red")], [(300, 200, 20), (520, 200, 20)])
    (signal,) = look(frame(rgb), eyes_for(letters="A", plates=(1.0, -6.0, -6.0, -6.0)))
    (plate,) = signal.plates_seen
    assert plate.box.iou(Box(290, 190, 310, 210)) > 0.7
    assert signal.plates["A"].present > 0.8
    assert signal.box.y1 >= 205


def test_a_plate_that_could_not_be_seen_is_unknown(lamp, paint, eyes_for):
    rgb = paint((640, 480), [lamp(300, 100, 14, "red")])
    usual = Calibration("", plate_reader=1.0, plate_letters=0.0, plate_usual=(0.2,) * 4)
    asked = eyes_for(plates=(log_odds(0.2),) * 4, calibration=usual)
    (signal,) = look(frame(rgb), asked)
    assert all(p.absent < 1e-6 for p in signal.plates.values())
    assert signal.number is None


@pytest.mark.parametrize("shape", [(1, 1), (1, 3000), (3000, 1), (2, 2), (480, 640)])
def test_pictures_with_nothing_in_them_give_no_signal(shape, eyes_for):
    assert look(frame(np.zeros((*shape, 3), np.uint8)), eyes_for()) == ()


def test_a_huge_picture_is_read_and_not_written_to(lamp, paint, eyes_for):
    rgb = paint((6000, 4000), column(lamp, 4321, 1234, 8, ["green", "red"]))
    assert not rgb.flags.writeable
    (signal,) = look(frame(rgb), eyes_for())
    assert [best(h) for h in signal.heads] == ["green", "red"]
    assert signal.heads[0].lamp is not None
    assert signal.heads[0].lamp.x == pytest.approx(4321, abs=1)


@pytest.mark.parametrize(("usual", "least", "left"), [(-50, -60, 1.0), (50, -50, None), (60, 50, 0.9)])
def test_of_a_strange_signal_heads_may_have_been_missed(usual, least, left, lamp, paint, eyes_for):
    rgb = paint((640, 480), [lamp(300, 100, 16, "red")])
    known = Calibration("")
    of = Calibration("", strange_widths=(0.0, 9.0), strange_usual=(usual,) * 2, strange_least=(least,) * 2)
    (usually,), (seen,) = (look(frame(rgb), eyes_for(calibration=tuned)) for tuned in (known, of))
    if left is None:  # half strange: colours widen, no more
        assert usually.whole * 0.9 < seen.whole <= usually.whole
    else:
        assert seen.whole == pytest.approx(left * usually.whole)


@given(score=st.floats(0.05, 0.999), lead=st.sampled_from([RED, YELLOW, GREEN]))
def test_of_a_faint_head_every_colour_stays_possible(score, lead):
    tuned = Calibration("", floor=0.001, floor_score=1.5)
    belief, _ = pool_colour(sure(lead), sure(lead), CANNOT_TELL, 1.0, tuned, 8.0, score)
    usual, _ = pool_colour(sure(lead), sure(lead), CANNOT_TELL, 1.0, tuned)
    assert FLOORS[0] / 1.2 < belief.min() < FLOORS[1]
    assert (belief.min() >= usual.min()) == (score <= USUAL_SCORE)
