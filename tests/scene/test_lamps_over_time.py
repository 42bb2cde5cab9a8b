import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.lamps_over_time import (
    Filament,
    Flashing,
    LampLight,
    Ripple,
    Shown,
    lamp_light,
    set_flash,
)

ALWAYS = [(-math.inf, math.inf)]
FLASHES = Aspect((Lamp("yellow", True), Lamp("red")))
STEADY = Aspect((Lamp("green"), Lamp("red")))


def light(shown, head, colour, source="led", flashing=None, ripple=None):
    return lamp_light(
        shown, head, colour, source, flashing or Flashing(), ripple or Ripple(), Filament(0.05, 0.05)
    )


def test_a_steady_lamp_is_lit_before_in_and_after_the_clip():
    for source in ("led", "incandescent"):
        lamp = light([Shown(0, 5, STEADY)], 0, "green", source)
        assert lamp.mean(np.array([-3.0, 0.0, 2.5, 30.0]), 0.004) == pytest.approx(1.0)


def test_a_lamp_that_is_never_lit_stays_dark():
    assert light([Shown(0, 5, STEADY)], 0, "red").mean(np.array([1.0]), 0.01) == 0
    dark = Aspect((Lamp("dark"),))
    assert light([Shown(0, 5, dark)], 0, "dark").mean(np.array([1.0]), 0.01) == 0


@given(
    rate=st.floats(20, 120),
    share=st.floats(0.2, 0.8),
    phase=st.floats(0, 1, exclude_max=True),
    source=st.sampled_from(["led", "incandescent"]),
)
def test_a_flash_keeps_its_rate_and_share_of_light(rate, share, phase, source):
    lamp = light([Shown(0, 60, FLASHES)], 0, "yellow", source, Flashing(rate, share, phase))
    period = 60 / rate
    # What is gathered in whole periods: a filament gives later what it takes in later, so the share is kept
    # only where rise and fall are equal, as here.
    whole = lamp.mean(np.array([3.0]), 10 * period)[0]
    assert whole == pytest.approx(share, abs=0.01)
    moments = np.linspace(5, 5 + period, 50, endpoint=False)
    assert lamp.mean(moments, 0.002) == pytest.approx(lamp.mean(moments + 3 * period, 0.002), abs=0.03)


def test_an_led_has_square_edges_and_a_filament_drawn_out_ones():
    flash = Flashing(60, 0.5, 0.0)  # lit from 0.0 to 0.5, 1.0 to 1.5 ..
    led = light([Shown(0, 9, FLASHES)], 0, "yellow", "led", flash)
    assert led.mean(np.array([2.01, 2.48, 2.51, 2.98]), 0.005) == pytest.approx([1, 1, 0, 0])
    assert led.mean(np.array([2.49]), 0.02) == pytest.approx([0.5])
    bulb = light([Shown(0, 9, FLASHES)], 0, "yellow", "incandescent", flash)
    early, late, falling, dark = bulb.mean(np.array([2.01, 2.48, 2.51, 2.98]), 0.005)
    assert 0.1 < early < 0.4 < 0.99 < late
    assert 0.6 < falling < 0.95
    assert dark < 0.01
    # 1/e after one time constant, by the definition of Filament.
    assert bulb.mean(np.array([2.0499]), 0.0002)[0] == pytest.approx(1 - math.exp(-1), abs=0.02)


def test_a_change_of_aspect_ends_one_colour_and_begins_another():
    shown = [Shown(0, 2, FLASHES), Shown(2, 6, STEADY)]
    yellow, green = (light(shown, 0, c, flashing=Flashing(60, 0.5, 0.0)) for c in ("yellow", "green"))
    red = light(shown, 1, "red")
    assert yellow.mean(np.array([1.1, 1.6, 2.1, 3.1]), 0.01) == pytest.approx([1, 0, 0, 0])
    assert green.mean(np.array([1.1, 1.9, 2.1, 50.0]), 0.01) == pytest.approx([0, 0, 1, 1])
    assert red.mean(np.array([0.0, 1.9, 2.0, 5.9]), 0.01) == pytest.approx(1)
    assert red.spans == ((-math.inf, math.inf),)  # one that is shown before and after never goes out


@given(
    hertz=st.floats(40, 400),
    share=st.floats(0.05, 0.95),
    shape=st.sampled_from(["switched", "rectified"]),
    start=st.floats(0, 10),
)
def test_a_ripple_means_full_light_over_its_periods(hertz, share, shape, start):
    lamp = LampLight(ALWAYS, "led", Ripple(hertz, share, 0.3, shape))
    assert lamp.mean(np.array([start]), 7 / hertz)[0] == pytest.approx(1.0, abs=1e-6)


def test_a_short_shutter_catches_a_rippling_led_dark_and_a_long_one_does_not():
    starts = np.arange(600) / 29.8
    lamp = LampLight(ALWAYS, "led", Ripple(120, 0.3))
    short, long = lamp.mean(starts, 1 / 2000), lamp.mean(starts, 1 / 30)
    assert (short == 0).mean() > 0.5
    assert long.min() > 0.85
    # 120 Hz filmed at 29.8 frames a second beats at 48 a minute: 120 - 4 * 29.8 = 0.8 Hz.
    spectrum = np.abs(np.fft.rfft(short - short.mean()))
    hertz = np.fft.rfftfreq(len(short), 1 / 29.8)
    assert hertz[np.argmax(spectrum)] == pytest.approx(0.8, abs=0.05)


def test_a_filament_shows_no_ripple():
    lamp = LampLight(ALWAYS, "incandescent", Ripple(100, 0.2))
    assert np.ptp(lamp.mean(np.arange(40) / 30, 0.001)) < 1e-6


@pytest.mark.parametrize(
    "make",
    [
        lambda: Flashing(0.5),
        lambda: Flashing(55, 0.0),
        lambda: set_flash(0.0, None),
        lambda: set_flash(None, 1.0),
        lambda: Ripple(5),
        lambda: Ripple(100, 0),
    ],
)
def test_values_out_of_bounds_are_refused(make):
    with pytest.raises(ValueError, match="must be"):
        make()
