"""A flash's rhythm against all else, on brightness made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from litlamp.sight.rhythm import BEAT_PRIOR, FASTEST, SLOWEST, SURE, weighed

TIMES = np.arange(0, 6, 1 / 30)


def _grained(x: np.ndarray) -> np.ndarray:
    return np.asarray(x + np.random.default_rng(7).normal(0, 0.03, x.size))


@pytest.mark.parametrize("rate", [0.6, 0.93, 1.37])
def test_the_rate_and_share_of_a_flash_are_told_with_their_error(rate: float) -> None:
    found = weighed(TIMES, _grained((TIMES * rate % 1.0 < 0.45) * 1.0), prior=0.0005)
    assert found.flashing is not None and found.flashing >= SURE
    assert found.per_minute is not None and found.per_minute_error is not None
    assert abs(found.per_minute - 60 * rate) < 3 * found.per_minute_error < 4
    assert found.lit_share == pytest.approx(0.45, abs=0.04)


@pytest.mark.parametrize("rate", [0.2, 2.6, 4.1])
def test_a_rhythm_that_no_signal_has_is_no_flash(rate: float) -> None:
    assert not SLOWEST < rate < FASTEST
    found = weighed(TIMES, _grained((TIMES * rate % 1.0 < 0.5) * 1.0), BEAT_PRIOR)
    assert found.flashing is None or found.flashing <= 1 - SURE


def test_dark_at_random_is_no_flash() -> None:
    dice = np.random.default_rng(11)
    found = weighed(TIMES, _grained((dice.random(TIMES.size) > 0.3) * 1.0), BEAT_PRIOR)
    assert found.flashing is not None and found.flashing <= 1 - SURE
