"""The light of a head from its lamps' traces, made by hand."""

from __future__ import annotations

from array import array

import numpy as np
import pytest

from litlamp.aspects.aspect import COLOURS, PLATES, Colour
from litlamp.aspects.belief import UNKNOWN_PLATE
from litlamp.box import Box
from litlamp.sight.glance import Glance
from litlamp.sight.head_light import HeadLight, head_light, shares_lit
from litlamp.sight.lamp_series import LampSeries
from litlamp.sight.seen import HeadSeen, LampSeen, SignalSeen
from litlamp.sight.traces import LampTrace, Look
from litlamp.sight.tracks import Track

N, FPS = 120, 30
TIMES = np.arange(N) / FPS
ON = TIMES % 1 < 0.5
STILL = np.ones(N)


def glance_at(colour: Colour) -> Glance:
    belief: dict[Colour, float] = {c: 0.96 if c == colour else 0.01 for c in COLOURS}
    heads = (HeadSeen(Box(90, 90, 110, 110), LampSeen(100, 100, 8), belief),)
    seen = SignalSeen(heads[0].box, heads, {"mast": 1.0}, {"vertical": 1.0},
                      dict.fromkeys(PLATES, UNKNOWN_PLATE), (), None, 1.0, 20.0)  # fmt: skip
    return Glance(seen, 4.0, 0.5, ((100.0, 100.0, 8.0),), (0.9,))


def lamp(v: float, light: np.ndarray, red: float) -> LampTrace:
    """A lamp of which so large a share of the light is red and the rest green."""
    made = LampTrace(0.0, v, 0.4, 0)
    made.light, made.red, made.green = (array("f", part) for part in (light, red * light, (1 - red) * light))
    return made


def track_of(lamps: list[LampTrace], lit: Colour, otherwise: Colour) -> Track:
    """A track of one head; looks see one colour in the lit half of each second, and another in the other."""
    track = Track(0, 0.0, glance_at(lit), (640, 480))
    track.times, track.seen = array("d", TIMES), array("b", [1] * N)
    track.common, track.widths = array("f", [1.0] * N), array("f", [20.0] * N)
    track.heads[0].lamps[:] = lamps
    track.looks[:] = [
        Look(at, glance_at(lit if at % 1 < 0.5 else otherwise), (0,), track.pose, (640, 480))
        for at in np.arange(0.2, 3.9, 0.45)
    ]
    track.last_seen = float(TIMES[-1])
    return track


GREEN, DULL = lamp(-0.3, 0.4 * ON, 0.1), lamp(0.3, 0.35 * STILL, 0.6)


def test_a_lens_that_shines_dully_beside_a_flashing_lamp_is_none() -> None:
    light = head_light(track_of([GREEN, DULL], "green", "yellow"), 0)
    assert light.series.brightness == pytest.approx(0.4 * ON, abs=1e-6)
    assert np.isfinite(light.hue).tolist() == ON.tolist()


@pytest.mark.parametrize(
    ("lamps", "lit", "otherwise"),
    [
        ([GREEN, DULL], "yellow", "yellow"),  # looks see the steady one all the while
        ([GREEN, lamp(0.3, 0.35 * ~ON, 0.6)], "green", "yellow"),  # they light in turn
        (
            [lamp(-0.3, 0.1 * ON, 0.1), lamp(0.3, 0.9 * STILL, 0.6)],
            "green",
            "yellow",
        ),  # it outshines the other
        ([GREEN, lamp(0.3, 0.35 * STILL, 0.1)], "green", "yellow"),  # both are of one colour
        ([lamp(-0.3, 0.4 * (TIMES < 2), 0.1), DULL], "green", "yellow"),  # that goes out once
    ],
)
def test_any_other_lamp_is_one(lamps: list[LampTrace], lit: Colour, otherwise: Colour) -> None:
    light = head_light(track_of(lamps, lit, otherwise), 0)
    most = np.maximum(*(np.array(one.light) for one in lamps))
    assert light.series.brightness == pytest.approx(most, abs=1e-6)


HALF_TIME = TIMES < 2


@pytest.mark.parametrize(
    ("upper", "lower", "doubtful"),
    [
        (0.6 * STILL, 0.5 * HALF_TIME, True),  # both shine, and then one alone
        (0.6 * STILL, 0.5 * ON, True),
        (0.6 * STILL, 0.5 * (TIMES < 0.25), False),  # too short a time together: one takes over
        (0.6 * STILL, 0.5 * ((TIMES < 2) | (TIMES > 2.1)), False),  # a wire before one of them
        (0.6 * ~HALF_TIME, 0.5 * HALF_TIME, False),  # the aspect changes
        (0.6 * STILL, 0.2 * HALF_TIME, False),  # the halo of another
        (0.6 * STILL, 0.5 * STILL, False),
    ],
)
def test_a_head_of_which_two_lenses_shone_and_one_went_dark_is_doubtful(
    upper: np.ndarray, lower: np.ndarray, doubtful: bool
) -> None:
    lamps = [lamp(-0.3, upper, 0.6), lamp(0.3, lower, 0.6)]
    assert head_light(track_of(lamps, "yellow", "yellow"), 0).doubtful is doubtful
    lamps.reverse()
    light = head_light(track_of(lamps, "yellow", "yellow"), 0)
    assert light.doubtful is light.after(3.0).doubtful is doubtful


def test_a_moment_is_as_well_lit_as_its_lamps_are() -> None:
    def light(brightness: np.ndarray) -> HeadLight:
        return HeadLight(LampSeries(TIMES, brightness, np.ones(N, bool)), np.zeros(N), np.full(N, 9.0))

    heads = [light(0.6 * ON), light(0.2 * STILL), light(0.0 * STILL)]
    assert shares_lit(heads, [0.2, 0.7]) == pytest.approx([1.0, 0.25])
    assert shares_lit([heads[0]], [0.7]) == pytest.approx([0.05])  # never nothing: it may be all there is
    assert shares_lit([heads[2]], [0.2, 0.7]).tolist() == [1.0, 1.0]


def test_out_of_the_picture_nothing_is_seen_of_it() -> None:
    gone = lamp(0.0, np.where(TIMES < 3, 1.0, np.nan), 0.9)
    series = head_light(track_of([gone], "red", "red"), 0).series
    assert series.seen.tolist() == (TIMES < 3).tolist()


def test_after_the_last_look_that_saw_a_lost_signal_nothing_counts() -> None:
    track = track_of([lamp(0.0, STILL, 0.9)], "red", "red")
    track.last_seen, track.misses = 2.0, 2
    assert head_light(track, 0).series.seen.tolist() == (TIMES <= 2.0).tolist()
    track.misses = 1
    assert head_light(track, 0).series.seen.all()


def test_after_a_moment_the_frames_before_it_are_left_out() -> None:
    light = head_light(track_of([lamp(0.0, STILL, 0.9)], "red", "red"), 0)
    late = light.after(1.0)
    assert late.series.times.tolist() == TIMES[TIMES > 1.0].tolist()
    assert late.lens.size == late.hue.size == late.series.times.size
