"""The range of numbers that options take."""

from __future__ import annotations

import click
import pytest

from litlamp.cli.finite import Finite


@pytest.mark.parametrize("words", ["nan", "-nan", "inf", "-inf", "1e999", "high", "", "0", "1001"])
def test_what_is_no_number_of_the_range_is_refused(words: str) -> None:
    with pytest.raises(click.BadParameter):
        Finite(0, 1000, min_open=True).convert(words, None, None)


@pytest.mark.parametrize("bounds", [{}, {"min": 0}])
def test_without_an_end_infinity_is_refused_all_the_same(bounds: dict[str, float]) -> None:
    with pytest.raises(click.BadParameter, match="no finite number"):
        Finite(**bounds).convert("inf", None, None)


@pytest.mark.parametrize(("words", "number"), [("1e-3", 0.001), ("29.97", 29.97), ("1000", 1000.0)])
def test_numbers_are_taken_as_they_are(words: str, number: float) -> None:
    assert Finite(0, 1000, min_open=True).convert(words, None, None) == number
