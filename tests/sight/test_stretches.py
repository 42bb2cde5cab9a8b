"""Where a signal changed, from tracks made by hand."""

from __future__ import annotations

from array import array
from dataclasses import replace

import numpy as np
import pytest

from litlamp.aspects.aspect import COLOURS, PLATES, Colour
from litlamp.aspects.belief import UNKNOWN_PLATE
from litlamp.box import Box
from litlamp.sight.glance import Glance
from litlamp.sight.head_light import brightness_at, dark_throughout, head_light
from litlamp.sight.seen import HeadSeen, LampSeen, SignalSeen
from litlamp.sight.stretches import changes, spans
from litlamp.sight.traces import LampTrace, Look
from litlamp.sight.tracks import Track

RGB = {
    "red": (1.0, 0.15), "yellow": (1.0, 0.55), "green": (0.1, 1.0), "lunar": (0.25, 0.2), "dark": (0.0, 0.0),
}  # fmt: skip
FPS = 30


def glance_at(colour: Colour) -> Glance:
    belief: dict[Colour, float] = {c: 0.96 if c == colour else 0.01 for c in COLOURS}
    lamp = None if colour == "dark" else LampSeen(100, 100, 8)
    heads = (HeadSeen(Box(90, 90, 110, 110), lamp, belief),)
    seen = SignalSeen(heads[0].box, heads, {"mast": 1.0}, {"vertical": 1.0},
                      dict.fromkeys(PLATES, UNKNOWN_PLATE), (), None, 1.0, 20.0)  # fmt: skip
    return Glance(seen, 4.0, 0.5, ((100.0, 100.0, 8.0),), (0.9,))


def track_of(shown: list[Colour], every: float = 0.5, noise: float = 0.02) -> Track:
    """A track of one head that shows so in each frame, looked at now and then."""
    dice = np.random.default_rng(3)
    n = len(shown)
    track = Track(0, 0.0, glance_at(shown[0]), (640, 480))
    track.looks.clear()
    track.times = array("d", [i / FPS for i in range(n)])
    track.seen = array("b", [1] * n)
    track.common = array("f", [1.0] * n)
    track.widths = array("f", [20.0] * n)
    red, green = (np.array([RGB[c][k] for c in shown]) for k in (0, 1))
    red, green = (np.maximum(v + dice.normal(0, noise, n), 0) for v in (red, green))
    lamp = LampTrace(0.0, 0.0, 0.4, 0)
    lamp.light, lamp.red, lamp.green = (array("f", v) for v in (red + green, red, green))
    track.heads[0].lamps[:] = [lamp]
    at = 0.0
    while at < (n - 1) / FPS:
        track.looks.append(Look(at, glance_at(shown[round(at * FPS)]), (0,), track.pose, (640, 480)))
        at += every
    return track


def test_one_aspect_is_one_stretch() -> None:
    track = track_of(["red"] * 150)
    assert changes(track) == ()
    assert spans(track) == [(0.0, pytest.approx(149 / FPS))]


def test_glass_that_the_sky_colours_between_flashes_is_no_other_aspect() -> None:
    flashing: list[Colour] = ["green" if (i / FPS) % 1 < 0.5 else "lunar" for i in range(240)]
    track = track_of(flashing, every=100)
    track.looks[:] = [
        Look(at, glance_at(flashing[round(at * FPS)]), (0,), track.pose, (640, 480))
        for at in (0.2, 1.2, 2.2, 3.2, 4.7, 5.7, 6.7, 7.6)  # lit in all the first, dark in all the last
    ]
    assert changes(track) == ()
    dimmer: list[Colour] = ["green"] * 120 + ["lunar"] * 120
    (moment,) = changes(track_of(dimmer))
    assert moment == pytest.approx(4.0, abs=0.05)


@pytest.mark.parametrize(("a", "b"), [("green", "red"), ("red", "yellow"), ("yellow", "green")])
def test_a_change_of_colour_is_found_to_the_frame(a: Colour, b: Colour) -> None:
    track = track_of([a] * 80 + [b] * 80)
    (moment,) = changes(track)
    assert moment == pytest.approx(80 / FPS, abs=1.1 / FPS)
    (first, second) = spans(track)
    assert first[1] == second[0] == moment


def test_colours_that_looks_name_otherwise_without_a_jump_of_hue_are_no_change() -> None:
    track = track_of(["yellow"] * 160)
    for i, look in enumerate(track.looks):
        if i >= 5:
            track.looks[i] = Look(look.at, glance_at("red"), (0,), look.pose, look.size)
    assert changes(track) == ()


def test_a_red_lamp_that_is_over_exposed_by_and_by_has_not_changed() -> None:
    track = track_of(["red"] * 80 + ["yellow"] * 80)
    lamp = track.heads[0].lamps[0]
    share = np.linspace(0, 1, 160)
    lamp.green = array("f", RGB["red"][1] + share * (RGB["yellow"][1] - RGB["red"][1]))
    lamp.red = array("f", np.ones(160))
    assert changes(track) == ()


def test_looks_that_come_to_doubt_red_see_no_other_aspect() -> None:
    track = track_of(["red"] * 80 + ["yellow"] * 80)
    for i, look in enumerate(track.looks):
        red = 0.62 if i < 5 else 0.4
        heads = (replace(look.glance.seen.heads[0], colour={"red": red, "yellow": 1 - red}),)
        heads = (replace(heads[0], colour={**dict.fromkeys(COLOURS, 0.0), **heads[0].colour}),)
        seen = replace(look.glance.seen, heads=heads)
        track.looks[i] = replace(look, glance=replace(look.glance, seen=seen))
    assert changes(track) == ()


@pytest.mark.parametrize("per_minute", [30, 55, 90])
@pytest.mark.parametrize("share", [0.3, 0.5, 0.7])
def test_a_flash_is_no_change(per_minute: float, share: float) -> None:
    shown: list[Colour] = [
        "yellow" if (i / FPS * per_minute / 60) % 1 < share else "dark" for i in range(240)
    ]
    assert changes(track_of(shown, 0.37)) == ()


def test_a_lamp_that_goes_out_for_good_has_changed() -> None:
    (moment,) = changes(track_of(["green"] * 90 + ["dark"] * 90))
    assert moment == pytest.approx(3.0, abs=0.05)


def test_a_lamp_that_lights_up_after_long_has_changed() -> None:
    (moment,) = changes(track_of(["dark"] * 90 + ["green"] * 90))
    assert moment == pytest.approx(3.0, abs=0.05)


def test_dark_at_the_end_for_less_than_a_flash_may_be_is_no_change() -> None:
    assert changes(track_of(["green"] * 90 + ["dark"] * 40)) == ()


def test_two_changes_are_three_stretches() -> None:
    track = track_of(["green"] * 90 + ["yellow"] * 90 + ["red"] * 90)
    assert [round(m, 1) for m in changes(track)] == [3.0, 6.0]
    assert len(spans(track)) == 3


def test_brightness_at_moments() -> None:
    track = track_of(["yellow"] * 30 + ["dark"] * 30, noise=0.0)
    at = brightness_at(head_light(track, 0), [0.5, 1.5, 50.0])
    assert at == pytest.approx([1.0, 0.0, 1.0], abs=0.02)


def test_dark_throughout_needs_time_and_a_lit_neighbour() -> None:
    dark, lit = (head_light(track_of([c] * 150), 0) for c in ("dark", "green"))
    assert dark_throughout(dark, [lit])
    assert not dark_throughout(dark, [])
    assert not dark_throughout(dark, [dark])
    assert not dark_throughout(lit, [lit])
    assert not dark_throughout(head_light(track_of(["dark"] * 80), 0), [lit])
    blinks = track_of(["dark"] * 140 + ["green"] * 10)
    assert not dark_throughout(head_light(blinks, 0), [lit])


def test_a_lamp_black_in_every_frame_has_light_and_no_change() -> None:
    track = track_of(["dark"] * 60, noise=0.0)
    assert head_light(track, 0).series.brightness.max() == 0
    assert changes(track) == ()


def test_looks_at_a_flash_in_its_dark_half_name_no_new_colour() -> None:
    """They see a lens beside it that only shines dully."""
    dice = np.random.default_rng(11)
    on = np.arange(200) % 40 < 20
    shown: list[Colour] = ["green" if lit else "dark" for lit in on.tolist()]
    track = track_of(shown)
    red = np.where(on, dice.uniform(0.0, 0.06, 200), 0.0)  # so little of it that the hue is far from steady
    track.heads[0].lamps[0].red = array("f", red)
    for i, look in enumerate(track.looks):
        seen: Colour = "green" if on[round(look.at * FPS)] else "yellow"
        track.looks[i] = Look(look.at, glance_at(seen), (0,), look.pose, look.size)
    assert {max(c, key=lambda k: c[k]) for c in _colours(track)} == {"green", "yellow"}
    assert changes(track) == ()


def _colours(track: Track) -> list[dict[Colour, float]]:
    return [dict(look.glance.seen.heads[0].colour) for look in track.looks if look.glance is not None]
