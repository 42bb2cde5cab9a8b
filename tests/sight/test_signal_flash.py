"""Which of a signal's lamps flash, on light made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from litlamp.sight.head_light import HeadLight
from litlamp.sight.lamp_series import Flash, LampSeries
from litlamp.sight.signal_flash import AGAINST, _flash, _near, _with_lately, flashes_alone, flashes_of


def swinging(low: float, seconds: float = 4.0) -> LampSeries:
    times = np.arange(round(30 * seconds)) / 30
    lit = (times * 55 / 60) % 1 < 0.5
    grain = np.random.default_rng(2).normal(0, 0.01, times.size)
    return LampSeries(times, np.where(lit, 0.9, low) + grain, np.ones(times.size, bool))


@pytest.mark.parametrize(("low", "told"), [(0.05, True), (0.15, True), (0.3, False), (0.5, False)])
def test_a_flash_is_seen_though_its_glass_gives_back_the_sky(low: float, told: bool) -> None:
    """Above bright glass a ripple looks so as well: it leans to a flash at most."""
    series, steady = swinging(low), swinging(0.9)
    lights = {i: HeadLight(s, np.zeros(120), np.full(120, 9.0)) for i, s in enumerate((series, steady))}
    upper, lower = flashes_of(lights, [0.98, 0.98])
    likely = upper.flashing if told else upper.leaning
    assert (upper.flashing is not None) is told
    assert likely is not None and likely > 0.94
    assert upper.per_minute == pytest.approx(55, abs=1.5)
    assert lower.flashing is not None and lower.flashing < 0.02


@pytest.mark.parametrize("rate", [0.6, 1.0, 1.4])
def test_a_lamp_that_only_swells_is_no_flash_though_its_light_never_goes(rate: float) -> None:
    times = np.arange(180) / 30
    swell = LampSeries(times, 0.7 + 0.2 * np.sin(2 * np.pi * rate * times), np.ones(180, bool))
    told = flashes_of({0: HeadLight(swell, np.zeros(180), np.full(180, 9.0))}, [0.98])
    assert told[0].flashing is None or told[0].flashing < 0.02


def test_a_rhythm_that_lasts_is_told_though_it_was_measured_well_for_a_moment_only() -> None:
    """The last seconds, of large lenses, are spoilt; those before, of small ones, were not."""
    times = np.arange(300) / 30
    lit = (times * 55 / 60) % 1 < 0.5
    spoilt = np.random.default_rng(4).uniform(0.1, 1, 300)
    late = times > 6
    light = np.where(late, spoilt, np.where(lit, 0.9, 0.0))
    lens = np.where(late, 8.0, 3.5)
    lights = {
        i: HeadLight(LampSeries(times, b, np.ones(300, bool)), np.zeros(300), lens)
        for i, b in enumerate((light, np.full(300, 0.8)))
    }
    alone = flashes_of({i: v.after(6.0) for i, v in lights.items()}, [0.98, 0.98])
    whole = flashes_of(lights, [0.98, 0.98])
    assert (alone[0].flashing or 0.0) < 0.98
    assert alone[1] == whole[1]


def test_a_lamp_leans_to_the_flash_of_its_last_seconds() -> None:
    """Before, when it was small, its light was measured badly."""
    times = np.arange(68) / 15
    flashing = (times * 57 / 60) % 1 < 0.45
    spoilt = np.random.default_rng(1).uniform(0.2, 0.7, 68)
    light = np.where(times < 1.6, spoilt, np.where(flashing, 0.8, 0.0))
    lights = {
        i: HeadLight(LampSeries(times, b, np.ones(68, bool)), np.zeros(68), np.full(68, 9.0))
        for i, b in enumerate((light, np.full(68, 0.8)))
    }
    whole = _flash(lights[0].series, 0.98, lights[0])
    assert whole.flashing is None
    assert (whole.leaning or 0.0) < 0.5
    upper, lower = flashes_of(lights, [0.98, 0.98])
    assert upper.flashing is None
    assert upper.leaning is not None and upper.leaning > 0.9
    assert lower.flashing is not None and lower.flashing < 0.02


def test_the_last_seconds_are_not_asked_where_all_before_speaks_against_a_flash() -> None:
    """A steady lamp that looks twice as bright all at once, as it comes out of a shadow, flashes no more."""
    times = np.arange(81) / 15
    dice = np.random.default_rng(3)
    light = np.where(times < 3.8, np.linspace(0.15, 0.6, 81), 0.7) * dice.uniform(0.8, 1.2, 81)
    seen = times < 4.6
    lights = {
        i: HeadLight(LampSeries(times, b, seen), np.zeros(81), np.full(81, 9.0))
        for i, b in enumerate((light, np.full(81, 0.8)))
    }
    whole = _flash(lights[0].series, 0.98, lights[0])
    assert whole.flashing is None
    assert whole.log_ratio < AGAINST
    lately = Flash(None, "too little was seen", leaning=0.95)
    assert _with_lately(whole, lately) == whole
    assert _with_lately(replace(whole, log_ratio=AGAINST + 1), lately).leaning == 0.95
    assert flashes_of(lights, [0.98, 0.98])[0].leaning is None


@pytest.mark.parametrize(
    ("lens", "from_px"),
    [
        (np.linspace(1.5, 12, 40), 3.0),  # it comes near: what was far off was not measured well
        (np.full(40, 2.2), 2.2),  # it never does: all there is
        (np.linspace(1.5, 4, 40), 1.5),
        (np.linspace(1.5, 12, 200), 4.0),  # for long enough to ask for more
    ],
)
def test_lamps_are_watched_from_when_they_are_measured_well(lens: np.ndarray, from_px: float) -> None:
    times = np.arange(len(lens)) / 12.5
    series = LampSeries(times, np.ones(len(lens)), np.ones(len(lens), bool))
    near = _near({0: HeadLight(series, np.full(len(lens), np.nan), lens)})[0]
    assert near.lens[0] == lens[lens >= from_px][0]
    assert len(near.series.times) == len(near.lens) == int((lens >= from_px).sum())


@pytest.mark.parametrize(("believed", "told"), [(0.3, None), (0.6, None), (0.95, 0.0)])
def test_a_lamp_is_told_to_be_steady_only_if_a_look_was_sure_that_it_is_lit(
    believed: float, told: float | None
) -> None:
    """A sunlit lens gives as even a light as a lamp."""
    times = np.arange(120) / 30
    even = LampSeries(times, np.full(120, 0.6), np.ones(120, bool))
    assert _flash(even, believed, HeadLight(even, np.zeros(120), np.full(120, 9.0))).flashing == told


@pytest.mark.parametrize(("doubtful", "told"), [(False, 0.0), (True, None)])
def test_of_a_doubtful_head_no_lamp_is_told_to_be_steady(doubtful: bool, told: float | None) -> None:
    even = LampSeries(np.arange(120) / 30, np.full(120, 0.5), np.ones(120, bool))
    light = HeadLight(even, np.zeros(120), np.full(120, 9.0), doubtful)
    assert flashes_of({0: light}, [0.99])[0].flashing == told


@pytest.mark.parametrize(("low", "flashes"), [(0.0, True), (0.3, True), (0.9, False)])
def test_a_head_may_tell_of_a_flash_alone(low: float, flashes: bool) -> None:
    assert flashes_alone(HeadLight(swinging(low), np.zeros(120), np.full(120, 9.0))) == flashes
