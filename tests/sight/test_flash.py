"""Flashing told from steady: guards, errors on series of the bench's own making, properties, real clips."""

from __future__ import annotations

import csv
import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.media.clip import open_clip
from litlamp.sight.flash import IN_STEP, SHORTEST, SWINGS, UNSETTLED, flash, lit_for_long
from litlamp.sight.lamp_series import LEANS, LampSeries

FIRST_SEED = 500_000  # neither those that flash.py was chosen on nor those of the bench's figures


@pytest.fixture(scope="module")
def bench(root: Path) -> ModuleType:
    """The bench that makes the series."""
    where = importlib.util.spec_from_file_location("flash_series", root / "tests/bench/flash_series.py")
    assert where is not None
    assert where.loader is not None
    module = importlib.util.module_from_spec(where)
    where.loader.exec_module(module)
    return module


def square(rate: float, share: float, seconds: float, fps: float = 30.0, phase: float = 0.1) -> LampSeries:
    times = np.arange(round(seconds * fps) + 1) / fps
    light = ((times * rate + phase) % 1 < share).astype(float)
    light += 0.02 * np.sin(7919.0 * np.arange(times.size))  # grain, always the same
    return LampSeries(times, light, np.ones(times.size, bool))


def but(series: LampSeries, **other: object) -> LampSeries:
    kept = {name: getattr(series, name) for name in ("times", "brightness", "seen", "common", "times_fault")}
    return LampSeries(**{**kept, **other})


@pytest.mark.parametrize("rate", [0.6, 0.8, 1.0, 1.25, 1.5])
@pytest.mark.parametrize("share", [0.3, 0.5, 0.7])
@pytest.mark.parametrize("fps", [15.0, 25.0, 59.94])
def test_a_clean_flash_and_its_rate(rate: float, share: float, fps: float) -> None:
    found = flash(square(rate, share, 4.0, fps))
    assert found.flashing is not None
    assert found.flashing > 0.98
    assert found.per_minute is not None
    assert found.per_minute_error is not None
    assert found.lit_share is not None
    assert abs(found.per_minute - 60 * rate) <= max(3 * found.per_minute_error, 0.5)
    assert found.per_minute_error < 3
    assert found.lit_share == pytest.approx(share, abs=0.08)


@pytest.mark.parametrize("rate", [0.0, 2.2, 3.0, 5.0])
def test_steady_and_rhythms_of_no_signal(rate: float) -> None:
    found = flash(square(rate, 0.6, 4.0))
    assert found.flashing is not None
    assert found.flashing < 0.02
    assert found.per_minute is None


def test_under_a_second_and_a_half_nothing_is_told(bench: ModuleType) -> None:
    for kind in bench.KINDS:
        for index in range(6):
            made, _ = bench.series(kind, SHORTEST - 0.02, FIRST_SEED + index)
            found = flash(made)
            assert found.flashing is None
            assert found.reason is not None
            assert found.reason.endswith(("a flash takes 1.5 s to tell", "too few frames"))


def test_time_unseen_is_no_time() -> None:
    made = square(1.0, 0.5, 4.0)
    hidden = np.ones(made.times.size, bool)
    hidden[20:100] = False
    found = flash(but(made, seen=hidden))
    assert found.flashing is None
    assert found.reason == "the lamp was seen for 1.3 s; a flash takes 1.5 s to tell"


def test_times_that_do_not_increase_are_refused() -> None:
    made = square(1.0, 0.5, 4.0)
    times = made.times.copy()
    times[50] = times[49]
    assert flash(but(made, times=times)).reason == "the times do not increase"
    times[50] = np.nan
    assert flash(but(made, times=times)).reason == "the times do not increase"
    said = "frames of this clip carry no times"
    assert flash(but(made, times_fault=said)).reason == said


def test_too_few_frames() -> None:
    assert flash(square(1.0, 0.5, 6.0, fps=5.0)).reason == "the lamp was seen in too few frames"
    nothing = np.empty(0)
    assert (
        flash(LampSeries(nothing, nothing, np.empty(0, bool))).reason == "the lamp was seen in too few frames"
    )


def test_lengths_must_agree() -> None:
    with pytest.raises(ValueError, match="one length"):
        flash(LampSeries(np.arange(3.0), np.arange(4.0), np.ones(3, bool)))


def test_a_dark_head_does_not_flash() -> None:
    times = np.arange(120) / 30
    for light in (np.zeros(120), -0.1 - 0.01 * np.sin(times)):
        assert flash(LampSeries(times, light, np.ones(120, bool))).flashing == 0.0


def test_a_lamp_that_begins_to_flash_in_mid_clip_flashes_now() -> None:
    times = np.arange(330) / 30
    lit = (times < 5) | ((times * 55 / 60) % 1 < 0.5)
    grain = np.random.default_rng(6).normal(0, 0.02, times.size)
    told = flash(LampSeries(times, lit + grain, np.ones(times.size, bool)))
    assert told.flashing is not None and told.flashing > 0.98
    ended = flash(LampSeries(times, lit[::-1] + grain, np.ones(times.size, bool)))
    assert ended.flashing is None  # what it shows now may be either


def test_a_change_in_mid_clip_is_no_flash() -> None:
    for seconds in (3.0, 5.0, 8.0):
        made = square(1.0, 0.5, seconds)
        light = np.where(made.times < 0.4 * seconds, 1.0, 0.02)
        found = flash(but(made, brightness=light))
        assert found.flashing is not None
        assert found.flashing < 0.02


@pytest.mark.parametrize("off", [0.0, 0.3, 0.45, 0.6])
@pytest.mark.parametrize("share", [0.3, 0.7])
def test_a_lamp_that_is_never_dark_for_long_enough_to_see_is_not_called_steady(
    off: float, share: float
) -> None:
    """A dark lens may give back half of what a faint lamp gives by day."""
    for seconds in (2.0, 3.0, 5.0):
        made = square(0.9, share, seconds)
        found = flash(but(made, brightness=np.maximum(made.brightness, 0) * (1 - off) + off))
        assert found.flashing is None or found.flashing > 0.98
        assert not lit_for_long(but(made, brightness=made.brightness * (1 - off) + off))


def test_steady_is_what_was_seen_lit_for_longer_than_a_flash() -> None:
    made = square(0.0, 1.0, 2.4)
    assert flash(made).flashing == 0.0
    assert lit_for_long(made)
    # One dark spell leaves less than that on either side.
    broken = np.where(np.abs(made.times - 1.2) < 0.25, 0.02, made.brightness)
    assert flash(but(made, brightness=broken)).flashing is None
    # So does one in which it was not seen.
    hidden = but(made, seen=np.abs(made.times - 1.2) > 0.25)
    assert flash(hidden).flashing is None
    assert not lit_for_long(hidden)


def test_a_lens_that_daylight_lights_is_not_called_steady_while_its_lamp_goes_on_and_off() -> None:
    times = np.arange(90) / 30
    light = np.where(times * 0.8 % 1 < 0.5, 1.0, 0.7) * np.random.default_rng(5).normal(1, 0.01, 90)
    found = flash(LampSeries(times, light, np.ones(90, bool)))
    assert (found.flashing, found.reason) == (None, SWINGS)
    drifts = np.linspace(1.0, 0.7, 90)
    assert flash(LampSeries(times, drifts, np.ones(90, bool))).flashing == 0.0


def test_what_was_measured_beside_a_lamp_is_not_called_steady() -> None:
    """As two series of lamps that flash came out, which had been followed badly."""
    times = np.arange(59) / 15
    light = np.full(times.size, 0.86)
    light[23:34], light[34:37] = 0.58, 0.0
    found = flash(LampSeries(times, light, np.ones(59, bool)))
    assert (found.flashing, found.reason) == (None, UNSETTLED)
    light[23:37] = 0.86
    assert flash(LampSeries(times, light, np.ones(59, bool))).flashing == 0.0


@pytest.mark.parametrize("low", [0.55, 0.62])
def test_a_lamp_whose_light_falls_and_stays_there_is_not_called_steady(low: float) -> None:
    """Bright glass: the dark half of its flash was long, or what was followed since is not the lamp."""
    times = np.arange(61) / 25
    light = np.interp(times, [0.65, 1.0], [1.0, low]) * np.random.default_rng(6).normal(1, 0.01, 61)
    found = flash(LampSeries(times, light, np.ones(61, bool)))
    assert (found.flashing, found.reason) == (None, UNSETTLED)
    # One that falls as slowly as a cloud's shadow does not.
    slowly = np.interp(times, [0.0, 2.4], [1.0, low])
    assert flash(LampSeries(times, slowly, np.ones(61, bool))).flashing == 0.0


def test_a_dark_lens_that_shows_its_lamp_in_a_few_frames_is_not_called_steady() -> None:
    light = np.full(47, 0.03)
    light[[18, 19, 25, 26]] = 0.85
    found = flash(LampSeries(np.arange(47) / 30, light, np.ones(47, bool)))
    assert (found.flashing, found.reason) == (None, UNSETTLED)


def test_what_cannot_be_told_yet_leans_as_far_as_it_was_seen() -> None:
    times = np.arange(54) / 30
    on = np.where(times * 0.6 % 1 < 0.4, 1.0, 0.0)
    found = flash(LampSeries(times, on, np.ones(54, bool)))
    assert found.flashing is None
    assert found.leaning is not None
    assert 1 - LEANS <= found.leaning <= LEANS


def test_an_led_caught_dark_in_single_frames_is_steady() -> None:
    made = square(0.0, 1.0, 3.0)
    light = np.where(np.arange(made.times.size) % 7 < 1, 0.02, made.brightness)
    found = flash(but(made, brightness=light))
    assert found.flashing is not None
    assert found.flashing < 0.02


def test_the_beat_of_the_mains_is_not_called_a_flash() -> None:
    """A 120 Hz ripple filmed at 29.8 frames a second beats at 48 a minute: 120 - 4 x 29.8 = 0.8 Hz."""
    for share in (0.3, 0.5, 0.7):
        times = np.arange(240) / 29.8
        # A shutter so short that the beat's edges are as sharp as an LED's.
        light = (times * 120.0 % 1 < share).astype(float)
        found = flash(LampSeries(times, light, np.ones(240, bool)))
        assert found.flashing is None
        assert (
            found.reason
            == "a lamp fed by the mains would seem to flash so: 120 Hz against this clip's frames"
        )
        # The same rhythm at a frame rate that no mains beats with is a flash.
        assert flash(square(0.8, share, 8.0, fps=27.3)).flashing is not None


def test_pumping_is_undone_where_it_is_known() -> None:
    made = square(1.0, 0.5, 4.0)
    pump = np.exp(0.8 * np.sin(2 * np.pi * 0.9 * made.times))
    steady = flash(but(made, brightness=pump, common=pump))
    assert steady.flashing is not None
    assert steady.flashing < 0.02
    flashing = flash(but(made, brightness=made.brightness * pump, common=pump))
    assert flashing.flashing is not None
    assert flashing.flashing > 0.98


def test_errors_on_series_not_tuned_on(bench: ModuleType) -> None:
    count = 10
    flashed = wrong = 0
    for seconds in (2.0, 4.0):
        for kind in bench.KINDS:
            for index in range(count):
                made, _ = bench.series(kind, seconds, FIRST_SEED + 1000 + index)
                word = bench.verdict(flash(made))
                flashed += word == "flashing" and kind in bench.FLASHING
                wrong += word == ("not" if kind in bench.FLASHING else "flashing") and kind != bench.BEATS[1]
    assert wrong == 0
    assert flashed > 0.75 * 2 * 2 * count


@settings(max_examples=40, deadline=None)
@given(
    scale=st.floats(1e-3, 1e3),
    shift=st.floats(-1e4, 1e4),
    rate=st.sampled_from([0.0, 0.7, 1.1, 3.0]),
    share=st.sampled_from([0.3, 0.5, 0.7]),
)
def test_units_and_the_clock_do_not_matter(scale: float, shift: float, rate: float, share: float) -> None:
    made = square(rate, share, 3.0)
    one = flash(made)
    other = flash(but(made, times=made.times + shift, brightness=made.brightness * scale))
    assert (one.flashing is None) == (other.flashing is None)
    if one.flashing is not None and other.flashing is not None:
        assert one.flashing == pytest.approx(other.flashing, abs=1e-3)


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_series_gets_an_answer(data: st.DataObject) -> None:
    count = data.draw(st.integers(0, 90))
    steps = data.draw(st.lists(st.floats(1e-4, 0.3), min_size=count, max_size=count))
    level = st.one_of(st.floats(-10, 1e6), st.sampled_from([0.0, 1.0, float("nan"), float("inf")]))
    light = data.draw(st.lists(level, min_size=count, max_size=count))
    seen = data.draw(st.lists(st.booleans(), min_size=count, max_size=count))
    found = flash(LampSeries(np.cumsum(np.array(steps)), np.array(light), np.array(seen, bool)))
    if found.flashing is None:
        assert found.reason
    else:
        assert 0.0 <= found.flashing <= 1.0
        assert found.reason is None
    assert (found.per_minute is None) == (found.per_minute_error is None) == (found.lit_share is None)


# -- real clips --------------------------------------------------------------------------------------------


def linear(code: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1, inverted."""
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


@pytest.mark.real
@pytest.mark.parametrize("lamp", ["farL", "farR", "nearL", "nearR"])
def test_model_crossing_lamps(real: Path, lamp: str) -> None:
    """Lamps of a model crossing; the brightness of each in every frame was measured by others."""
    clips = real / "clips"
    with open_clip(clips / "GC1_Test.mp4") as clip:
        times = np.array([frame.time.seconds for frame in clip])
        assert clip.times_fault is None
    with (clips / "GC1_Test_lamps.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == times.size
    red = linear(np.array([float(row[f"{lamp}_R"]) for row in rows]) / 255)
    on = np.array([row[f"{lamp}_on"] == "1" for row in rows])
    light = red - np.median(red[:40])  # unlit in the first frames: what the surroundings add
    # As the file's own on-marks show, the rhythm slips once at about 5.4 s, after which it keeps its step to
    # the end of the ringing: there the rate is told. With the slip it must not be called steady.
    awake = np.flatnonzero(on)
    ringing = (np.arange(times.size) >= awake[0]) & (np.arange(times.size) <= awake[-1])
    found = flash(LampSeries(times, light, ringing & (times > 5.5)))
    assert found.flashing is not None
    assert found.flashing > 0.98
    assert found.per_minute == pytest.approx(60 / 1.59, abs=0.5)  # "period 1.59 s a lamp"
    with_slip = flash(LampSeries(times, light, ringing & (times > 2.5) & (times < 8.0)))
    assert with_slip.flashing is None or with_slip.flashing > 0.98
    # While a lamp waits in the dark before the crossing wakes it, it does not flash.
    waiting = flash(LampSeries(times[: awake[0]], light[: awake[0]], np.ones(awake[0], bool)))
    assert waiting.flashing is None or waiting.flashing < 0.02


@pytest.mark.parametrize(("period", "in_step"), [(1.0, True), (1.9, True), (0.45, False), (2.6, False)])
def test_a_filament_off_for_moments_in_step_is_not_said_to_be_steady(period: float, in_step: bool) -> None:
    """It never goes dark, and is dim for no longer than a wire takes to pass; but that in step."""
    times = np.arange(0, 8, 1 / 30)
    since = (times + 0.3) % period
    light = 1 - 0.7 * np.clip(1 - np.abs(since - 0.1) / 0.075, 0, 1)
    found = flash(LampSeries(times, light, np.ones(times.size, bool)))
    assert (found.flashing is None) == in_step
    assert (found.reason == IN_STEP) == in_step


def test_a_lamp_now_and_then_behind_something_is_steady_all_the_same() -> None:
    times = np.arange(0, 8, 1 / 30)
    light = np.ones(times.size)
    for at in (1.0, 1.9, 4.2, 6.8):
        light[(times > at) & (times < at + 0.1)] = 0.3
    found = flash(LampSeries(times, light, np.ones(times.size, bool)))
    assert found.flashing is not None and found.flashing < 0.02
