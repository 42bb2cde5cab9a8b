"""The curves of a flash and of a ripple, each found best on light of its own kind."""

from __future__ import annotations

import numpy as np
import pytest

from litlamp.sight.lamp_curves import by_shape
from litlamp.sight.rhythm import CLEARLY

STEP = 1 / 30
TIMES = np.arange(0, 6, STEP)


def _found(light: np.ndarray) -> tuple[float, float, float, float]:
    dice = np.random.default_rng(2)
    x = light / light.max() + dice.normal(0, 0.03, light.size)
    return tuple(by_shape(TIMES, x, (1.0, 0.01), 0.5, STEP))


def test_a_switched_lamp_is_no_filament_and_no_blurred_ripple() -> None:
    led, filament, blurred, _ = _found((TIMES % 1.0 < 0.5) * 1.0)
    assert led > filament + CLEARLY and led > blurred + CLEARLY


def test_a_slow_filament_is_no_switched_lamp_and_no_ripple() -> None:
    at = TIMES % 1.0
    warm = 1 - np.exp(-at / 0.12)
    cool = (1 - np.exp(-0.5 / 0.12)) * np.exp(-(at - 0.5) / 0.1)
    led, filament, _, ripple = _found(np.where(at < 0.5, warm, cool))
    assert filament > led + CLEARLY and filament > ripple + CLEARLY


@pytest.mark.parametrize("low", [0.0, 0.25])
def test_a_rectified_ripple_is_neither_lamp(low: float) -> None:
    led, filament, blurred, ripple = _found(np.maximum(np.abs(np.sin(np.pi * TIMES)) - low, 0))
    assert min(ripple, blurred) > max(led, filament) + CLEARLY
