from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from litlamp.sight.flash import flash
from litlamp.sight.flash_together import ALL_STEADY, ALONE, EDGES, MAY_BE_GLASS, together
from litlamp.sight.lamp_series import LEANS, Flash, LampSeries
from litlamp.sight.rhythm import SWELLS

TIMES = np.arange(120) / 30
FLASHES = Flash(0.999, None, 60.0, 0.5, 0.5, 40.0, 12.0)
OPEN = Flash(None, "the lamp comes and goes, but keeps no rhythm of a flash", log_ratio=-9.0)
STEADY = Flash(0.0, None, log_ratio=-80.0)


def lamp(light: np.ndarray) -> LampSeries:
    grain = 0.02 * np.sin(7919.0 * np.arange(TIMES.size))
    return LampSeries(TIMES, np.maximum(light + grain, 0), np.ones(TIMES.size, bool))


ON = (TIMES % 1 < 0.5).astype(float)


def test_one_lamp_alone_is_as_it_was_told() -> None:
    for told in (OPEN, STEADY):
        assert together([lamp(ON)], [told]) == (told,)
    assert together([], []) == ()


def test_a_lamp_that_is_dark_whenever_a_flashing_one_is_flashes_with_it() -> None:
    uneven = ON * (0.4 + 0.6 * np.abs(np.sin(TIMES)))  # a camera whose exposure wanders
    out = together([lamp(ON), lamp(uneven)], [FLASHES, OPEN])
    assert [found.flashing for found in out] == [None, None]
    assert out[1].per_minute == 60.0


@pytest.mark.parametrize(
    "light",
    [
        np.ones(TIMES.size),
        (TIMES % 1.3 < 0.6).astype(float),
        ((TIMES + 0.25) % 1 < 0.5).astype(float),
        0.75 + 0.25 * ON,  # steady, while the exposure goes with the other lamp
    ],
)
def test_one_that_is_not_stays_open(light: np.ndarray) -> None:
    assert together([lamp(ON), lamp(light)], [FLASHES, OPEN])[1] == OPEN


def test_a_steady_lamp_beside_a_flashing_one_stays_steady() -> None:
    assert together([lamp(ON), lamp(np.ones(TIMES.size))], [FLASHES, STEADY]) == (FLASHES, STEADY)


def test_a_flash_without_a_steady_lamp_beside_it_leaves_a_ripple_possible() -> None:
    """111.9 Hz against 22.1 frames a second and a shutter of 1/1320 s has the edges of a flashing LED."""
    (alone,) = together([lamp(ON)], [FLASHES])
    assert (alone.flashing, alone.reason, alone.leaning) == (None, ALONE, LEANS)
    beside = together([lamp(ON), lamp(np.ones(TIMES.size))], [FLASHES, STEADY])
    assert beside[0].flashing == 0.999


@pytest.mark.parametrize("edges", [6.5, 7.9])
def test_edges_that_would_not_do_alone_do_beside_a_steady_lamp(edges: float) -> None:
    doubted = replace(FLASHES, edges_ratio=edges)
    steady = lamp(np.ones(TIMES.size))
    out = together([lamp(ON), steady], [doubted, STEADY])
    assert out[0].flashing is not None
    assert out[0].flashing > 0.98
    assert out[1] == STEADY
    assert together([lamp(ON)], [doubted])[0].reason == SWELLS
    both = together([lamp(ON), lamp(ON), steady], [doubted, doubted, STEADY])
    assert [found.flashing is not None for found in both] == [True] * 3


def test_a_lamp_whose_light_wavers_is_no_witness_that_nothing_ripples() -> None:
    wavers = 0.5 + 0.45 * np.abs(np.sin(5 * TIMES))
    flashing, steady = together([lamp(ON), lamp(wavers)], [FLASHES, STEADY])
    assert (flashing.flashing, flashing.reason) == (None, ALONE)
    assert steady == STEADY


@pytest.mark.parametrize(("light", "told"), [(0.1, None), (0.4, 0.0)])
def test_a_lamp_far_dimmer_than_another_is_not_said_to_be_steady(light: float, told: float | None) -> None:
    bright, dim = together([lamp(np.ones(TIMES.size)), lamp(np.full(TIMES.size, light))], [STEADY, STEADY])
    assert bright == STEADY
    assert dim.flashing == told
    assert dim.reason == (MAY_BE_GLASS if told is None else None)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_that_none_of_them_flashes_stays_possible(count: int) -> None:
    out = together([lamp(ON)] * count, [FLASHES] * count)
    assert all(found.leaning is not None and found.leaning > 0.5 for found in out)
    assert np.prod([1 - (found.leaning or 0.0) for found in out]) >= ALL_STEADY - 1e-9


def test_a_steady_lamp_that_grows_is_steady_all_the_same() -> None:
    grows = lamp(np.exp(0.3 * TIMES))
    assert together([lamp(ON), grows], [FLASHES, STEADY])[0].flashing == 0.999


def test_lamps_that_beat_do_so_together() -> None:
    beats = Flash(None, SWELLS, log_ratio=30.0, edges_ratio=-2.0)
    for told in (replace(FLASHES, edges_ratio=EDGES - 1), FLASHES):
        out = together([lamp(ON), lamp(ON)], [told, replace(beats, edges_ratio=-20.0)])
        assert [found.flashing for found in out] == [None, None]
        assert out[0].reason == SWELLS
        assert out[0].leaning == pytest.approx(1 - LEANS)
    weak = together([lamp(ON)], [replace(FLASHES, edges_ratio=EDGES - 1)])
    assert weak[0].flashing is None


def test_a_steady_lamp_beside_one_that_fades_slowly_tells_that_it_is_no_ripple() -> None:
    times = np.arange(240) / 60
    on = times * 1.2 % 1 < 0.6
    light, warm = np.zeros(240), 0.0
    for i in range(240):  # a filament that takes long to warm and to cool
        warm += (float(on[i]) - warm) / 60 / (0.15 if on[i] else 0.1)
        light[i] = warm * (1 + 0.3 * np.sin(times[i]))
    seen = np.ones(240, bool)
    slow, steady = LampSeries(times, light, seen), LampSeries(times, np.ones(240), seen)
    alone = flash(slow)
    assert alone.flashing is None
    beside = together([slow, steady], [alone, flash(steady)])
    assert beside[0].flashing is not None
    assert beside[0].flashing > 0.98
    assert beside[0].per_minute == pytest.approx(72, abs=1)
    assert beside[1].flashing == 0.0
    # One that ripples itself tells nothing.
    rippling = LampSeries(times, (np.arange(240) % 3 > 0).astype(float), seen)
    assert together([slow, rippling], [alone, flash(rippling)])[0] == alone


def test_one_that_only_dims_beside_a_steady_lamp_is_not_called_flashing() -> None:
    """A lamp that is followed badly loses half of its light now and then."""
    dips = np.where(np.isin(np.arange(TIMES.size) // 5, [2, 6, 11, 15, 20]), 0.45, 1.0)
    series = [lamp(dips), lamp(np.ones(TIMES.size))]
    out = together(series, [flash(s) for s in series])
    assert out[0].flashing is None or out[0].flashing < 0.02


def test_a_lamp_not_seen_at_the_same_times_says_nothing_of_another() -> None:
    later = LampSeries(TIMES + 1, ON, np.ones(TIMES.size, bool))
    unseen = replace_seen(lamp(ON))
    assert together([lamp(ON), later], [FLASHES, OPEN])[1] == OPEN
    assert together([lamp(ON), unseen], [FLASHES, OPEN])[1] == OPEN


def replace_seen(series: LampSeries) -> LampSeries:
    return LampSeries(series.times, series.brightness, np.zeros(series.times.size, bool))


@pytest.mark.parametrize("dull", [0.0, 0.4])
def test_a_lamp_that_comes_and_goes_with_one_that_leans_to_flashing_leans_as_much(dull: float) -> None:
    leans, hardly = (Flash(None, SWELLS, log_ratio=9.0, leaning=p) for p in (0.8, 0.05))
    out = together([lamp(ON), lamp(dull + (1 - dull) * ON)], [leans, hardly])
    assert [found.leaning for found in out] == [0.8, 0.8]
    other = together([lamp(ON), lamp((TIMES % 1.3 < 0.6).astype(float))], [leans, hardly])
    assert [found.leaning for found in other] == [0.8, 0.05]
