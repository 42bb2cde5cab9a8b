import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from litlamp.collection.interval import (
    calibration_error,
    clopper_pearson,
    garwood,
    mean,
    rate,
    share,
)

COUNTS = st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@given(COUNTS)
def test_shares_have_scipys_exact_interval(counts):
    hits, n = counts
    low, high = clopper_pearson(hits, n)
    theirs = stats.binomtest(hits, n).proportion_ci(0.95, "exact")
    assert (low, high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


# R. G. Newcombe, "Two-sided confidence intervals for the single proportion: comparison of seven methods",
# Statistics in Medicine 17 (1998) 857-872, table I, method 5 (exact); the last follows from the definition,
# 1 - 0.025^(1/10).
@pytest.mark.parametrize(
    ("hits", "n", "low", "high"),
    [
        (81, 263, 0.2527, 0.3676),
        (15, 148, 0.0578, 0.1617),
        (0, 20, 0.0, 0.1684),
        (1, 29, 0.0009, 0.1776),
        (0, 10, 0.0, 0.3085),
    ],
)
def test_shares_agree_with_published_tables(hits, n, low, high):
    assert clopper_pearson(hits, n) == pytest.approx((low, high), abs=5e-5)


@given(COUNTS)
def test_an_interval_holds_its_share_and_mirrors(counts):
    hits, n = counts
    low, high = clopper_pearson(hits, n)
    assert 0 <= low <= hits / n <= high <= 1
    assert clopper_pearson(n - hits, n) == pytest.approx((1 - high, 1 - low), abs=1e-9)


@given(st.integers(0, 200))
def test_rates_have_the_chi_square_interval(count):
    low, high = garwood(count)
    assert low == pytest.approx(stats.chi2.ppf(0.025, 2 * count) / 2 if count else 0, rel=1e-9)
    assert high == pytest.approx(stats.chi2.ppf(0.975, 2 * count + 2) / 2, rel=1e-9)


def test_a_rate_of_none_seen_is_the_rule_of_three_and_a_bit():
    assert rate(0, 100).high == pytest.approx(-math.log(0.025) / 100)


def test_nothing_counted_says_nothing():
    assert share([]).value is None
    assert (share([]).low, share([]).high) == (0, 1)
    assert rate(0, 0).value is None
    assert mean([]).value is None
    assert calibration_error([]).value is None


def test_a_share_that_is_none_is_refused():
    with pytest.raises(ValueError, match="no share"):
        clopper_pearson(3, 2)


def test_a_mean_is_within_its_interval_and_the_same_every_time():
    values = [0.0, 1.0, 1.0, 4.0, 2.0, 0.5]
    of = mean(values)
    assert of.value == pytest.approx(8.5 / 6)
    assert of.low < of.value < of.high
    assert mean(values) == of


def test_calibration_error_by_hand():
    # Two in one bin at 0.9, one right: off by 0.4. Two at 0.5, one right: off by nothing.
    answers = [(0.9, True), (0.9, False), (0.5, True), (0.5, False)]
    assert calibration_error(answers).value == pytest.approx(0.2)


@given(st.integers(1, 40))
def test_a_sure_and_right_reader_has_no_calibration_error(n):
    assert calibration_error([(1.0, True)] * n).value == 0
    assert calibration_error([(1.0, False)] * n).value == 1
