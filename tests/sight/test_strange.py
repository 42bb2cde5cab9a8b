"""How unlike the known a signal is, and how its beliefs widen."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.sight.eyes import Calibration, load_eyes
from litlamp.sight.strange import unlike

TUNED = Calibration("", strange_widths=(3.0, 5.0), strange_usual=(2.0, 6.0), strange_least=(-2.0, 1.0))
odds = st.floats(-20, 20)
widths = st.floats(0.5, 2000)


def test_what_is_usual_is_not_strange_and_what_is_hardly_met_wholly_is():
    assert unlike(2.0, 8.0, TUNED) == 0
    assert unlike(-2.0, 8.0, TUNED) == 1
    assert unlike(0.0, 8.0, TUNED) == pytest.approx(0.5)
    # Of a large signal more is asked: odds usual at 8 px are strange at 32.
    assert unlike(2.0, 32.0, TUNED) == pytest.approx(0.8)
    assert unlike(2.0, 16.0, TUNED) == pytest.approx((4.0 - 2.0) / 4.5)


@given(odds, odds, widths)
def test_less_like_a_signal_is_never_less_strange(a, b, width):
    low, high = sorted((a, b))
    assert 0 <= unlike(high, width, TUNED) <= unlike(low, width, TUNED) <= 1


@given(odds, widths)
def test_without_figures_nothing_is_strange(value, width):
    assert unlike(value, width, Calibration("")) == 0


def test_the_installed_figures_ask_more_the_larger_a_signal_is_up_to_where_it_fills_the_window():
    tuned = load_eyes(threads=1).calibration
    assert len(tuned.strange_widths) == len(tuned.strange_usual) == len(tuned.strange_least) >= 5
    assert list(tuned.strange_widths) == sorted(tuned.strange_widths)
    assert all(low < usual for low, usual in zip(tuned.strange_least, tuned.strange_usual, strict=True))
    assert tuned.strange_usual[0] < tuned.strange_usual[-2]
