"""Curves of a lamp's light over one period, laid over a series: a flash, or a ripple against the shutter."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from litlamp.sight.likelihood import BAD, mean_of_logs, normal, spread_of
from litlamp.sight.lit_level import MOST

Floats = NDArray[np.float64]

_POINTS = 240  # of the curve of a period

# Light of a filament as it warms and cools: 1 - exp(-t / rise), exp(-t / fall), in s; from memory.
_RISES = (0.03, 0.06, 0.1, 0.15)
_FALLS = (0.03, 0.05, 0.08, 0.13)


class Shapes(NamedTuple):
    """Log-likelihood of the best curve of each kind.

    `blurred` is a ripple whose edges the frames can show to be drawn out, `ripple` any at all.
    """

    led: float
    filament: float
    blurred: float
    ripple: float


def by_shape(times: Floats, x: Floats, measured: tuple[float, float], share: float, step: float) -> Shapes:
    """Every kind of curve laid over the series, near a measured rate.

    Parameters
    ----------
    times, x : shape (N,), seconds, and brightness in terms of the lit lamp.
    measured : the rate and its error, Hz.
    share : of the period that it is lit; `step` is the seconds between two frames.
    """
    rate, error = measured
    tried = [_at_rate(times, x, rate + off * error, share, step) for off in (-1.5, -0.75, 0.0, 0.75, 1.5)]
    return Shapes(*(max(values) for values in zip(*tried, strict=True)))


def _at_rate(times: Floats, x: Floats, rate: float, share: float, step: float) -> Shapes:
    period = 1 / rate
    grid = (np.arange(_POINTS) + 0.5) / _POINTS
    shares = np.clip(share + np.array([-0.06, -0.03, 0.0, 0.03, 0.06]), 0.05, 0.95)
    finer = np.clip(share + np.linspace(-0.06, 0.06, 13), 0.05, 0.95)
    leds = _boxes(grid, finer, (0.0, 0.5 * step / period, step / period))
    filaments = _filaments(grid, shares, period)
    blurs, ripples = _ripples()
    # A switched ripple's edges rise and fall in a straight line, cut off at the top or not.
    drawn_out = (0.03, 0.06, 0.1, 0.17, 0.28)
    blurs = np.concatenate([blurs, np.tile(drawn_out, finer.size)])
    ripples = np.concatenate([ripples, _boxes(grid, finer, drawn_out)])
    each = _of_curves(times, x, rate, np.concatenate([leds, filaments, ripples]), _curve_spread(x))
    of_led, of_filament, of_ripple = np.split(each, [len(leds), len(leds) + len(filaments)])
    # Sharper than the frames can show: no shape tells it from an LED that flashes.
    shown = blurs * period >= 1.6 * step
    return Shapes(
        mean_of_logs(of_led),
        mean_of_logs(of_filament),
        mean_of_logs(of_ripple[shown]),
        mean_of_logs(of_ripple),
    )


def _curve_spread(x: Floats) -> float:
    return max(spread_of(x[x > 0.6], 0.03, 0.2), 0.04)


@lru_cache(maxsize=1)
def _ripples() -> tuple[Floats, Floats]:
    """Periods of a filmed ripple: how far each is blurred (shutter time in its periods), and the curves."""
    grid = (np.arange(_POINTS) + 0.5) / _POINTS
    blurs, curves = [], []
    for blur in (0.02, 0.06, 0.1, 0.17, 0.28, 0.45, 0.7, 1.0):
        sources = [(grid < s).astype(float) for s in (0.2, 0.35, 0.5, 0.65, 0.8, 0.9)]  # switched
        sources += [np.maximum(np.abs(np.sin(np.pi * grid)) - low, 0) for low in (0.0, 0.25)]  # rectified
        sources += [np.maximum(np.sin(2 * np.pi * grid), 0.0)]
        for index, source in enumerate(sources):
            curve = _smeared(source, blur)
            for gain in (1.0, 1.6, 2.8):  # over-exposed, the lamp's swelling is cut off at the top
                # Sines are drawn out by themselves, but for what the cut leaves of them.
                blurs.append(max(blur, 0.3) / gain if index >= 6 else blur / gain)
                curves.append(np.minimum(gain * curve / curve.max(), 1.0))
    return np.array(blurs), np.array(curves)


def _of_curves(times: Floats, x: Floats, rate: float, curves: Floats, spread: float) -> Floats:
    """Log-likelihood at its best phase of each of the curves (n, points of a period), shape (n,)."""
    points = curves.shape[1]
    curves = curves / curves.max(axis=1, keepdims=True)
    at = ((times - times[0]) * rate % 1.0 * points).astype(int) % points
    # By correlation first: the phases worth the full sum are few.
    laid = np.bincount(at, x - x.mean(), points)
    fits = np.fft.irfft(np.conj(np.fft.rfft(curves, axis=1)) * np.fft.rfft(laid), points, axis=1)
    best = np.argmax(fits, axis=1)
    shifts = np.arange(-8, 9, 2)
    index = (at[None, None, :] - best[:, None, None] - shifts[None, :, None]) % points
    model = np.take_along_axis(curves[:, None, :], index, axis=2)
    each = np.log((1 - BAD) * normal(x, model, spread) + BAD / MOST).sum(axis=2)
    return np.asarray(each.max(axis=1))


def _smeared(curves: Floats, width: float) -> Floats:
    """Curves of a period, along the last axis, averaged over a part of it, as an open shutter does."""
    points = curves.shape[-1]
    kernel = np.zeros(points)
    count = max(round(width * points), 1)
    kernel[:count] = 1 / count
    return np.fft.irfft(np.fft.rfft(curves) * np.fft.rfft(kernel), points)


def _boxes(grid: Floats, shares: Floats, blurs: Sequence[float]) -> Floats:
    """Switched light, lit for each share of the period with each blur, shape (shares * blurs, points)."""
    sharp = (grid < shares[:, None]).astype(float)
    smeared = np.stack([_smeared(sharp, blur) for blur in blurs], axis=1)
    return smeared.reshape(-1, grid.size)


def _filaments(grid: Floats, shares: Floats, period: float) -> Floats:
    """Current for each share of the period; the light follows, twice round so that it has settled.

    Shape (shares * rises * falls, points).
    """
    share, rise, fall = (
        v.reshape(-1, 1) for v in np.meshgrid(shares, np.array(_RISES), np.array(_FALLS), indexing="ij")
    )
    warm, cool = np.exp(-grid * period / rise), np.exp(-(grid - share) * period / fall)
    peak = np.ones_like(share)
    for _ in range(3):
        low = peak * np.exp(-(1 - share) * period / fall)
        peak = 1 - (1 - low) * np.exp(-share * period / rise)
    return np.asarray(np.where(grid < share, 1 - (1 - low) * warm, peak * cool))
