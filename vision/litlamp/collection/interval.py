"""Shares, means and rates with the number they rest on and their intervals.

References
----------
Shares: C. J. Clopper and E. S. Pearson, "The use of confidence or fiducial limits illustrated in the case of
the binomial", Biometrika 26 (1934). Rates: F. Garwood, "Fiducial limits for the Poisson distribution",
Biometrika 28 (1936). Means: percentile bootstrap, B. Efron, Annals of Statistics 7 (1979).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

SURENESS = 0.95


@dataclass(frozen=True, slots=True)
class Share:
    """`hits` of `n`, with the exact interval from `low` to `high`; `value` is None where n is 0."""

    hits: int
    n: int
    value: float | None
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Rate:
    """`count` events in `n` pictures: events a picture, exact interval; `value` is None where n is 0."""

    count: int
    n: int
    value: float | None
    low: float
    high: float | None


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean of n values with a bootstrap interval (None below two values)."""

    n: int
    value: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class CalibrationError:
    """Expected calibration error over n answers: see `calibration_error`."""

    n: int
    value: float | None


def clopper_pearson(hits: int, n: int, sureness: float = SURENESS) -> tuple[float, float]:
    """The exact two-sided interval of a share; (0, 1) where n is 0.

    Raises
    ------
    ValueError : not 0 <= hits <= n, or a sureness outside (0, 1).
    """
    from scipy.special import betaincinv  # type: ignore[import-untyped]

    if not 0 <= hits <= n:
        raise ValueError(f"{hits} of {n} is no share")
    if not 0 < sureness < 1:
        raise ValueError(f"the sureness must lie between 0 and 1, not {sureness}")
    tail = (1 - sureness) / 2
    low = 0.0 if hits == 0 else float(betaincinv(hits, n - hits + 1, tail))
    high = 1.0 if hits == n else float(betaincinv(hits + 1, n - hits, 1 - tail))
    return low, high


def garwood(count: int, sureness: float = SURENESS) -> tuple[float, float]:
    """The exact two-sided interval of a Poisson mean of which `count` events were seen."""
    from scipy.special import gammaincinv

    if count < 0:
        raise ValueError(f"{count} is no count")
    tail = (1 - sureness) / 2
    low = 0.0 if count == 0 else float(gammaincinv(count, tail))
    return low, float(gammaincinv(count + 1, 1 - tail))


def share(flags: Iterable[bool]) -> Share:
    """How many of the flags are true."""
    known = list(flags)
    hits, n = sum(known), len(known)
    low, high = clopper_pearson(hits, n)
    return Share(hits, n, hits / n if n else None, low, high)


def rate(count: int, n: int) -> Rate:
    """So many events in so many pictures."""
    low, high = garwood(count)
    if n == 0:
        return Rate(count, 0, None, 0.0, None)
    return Rate(count, n, count / n, low / n, high / n)


def mean(values: Iterable[float], resamples: int = 1000) -> Mean:
    """The mean, with the percentile interval of so many seeded resamples."""
    import numpy as np

    known = np.fromiter(values, np.float64)
    n = len(known)
    if n < 2:
        return Mean(n, float(known[0]) if n else None, None, None)
    rng = np.random.default_rng(0)
    step = max(1, 1_000_000 // n)  # resamples at a time, to keep the memory small
    counts = [min(step, resamples - at) for at in range(0, resamples, step)]
    means = np.concatenate([known[rng.integers(0, n, (count, n))].mean(axis=1) for count in counts])
    tail = 50 * (1 - SURENESS)
    low, high = np.percentile(means, [tail, 100 - tail])
    return Mean(n, float(known.mean()), float(low), float(high))


def calibration_error(answers: Sequence[tuple[float, bool]], bins: int = 15) -> CalibrationError:
    """Expected calibration error of (probability, was it right): bins of equal width, weighted by count.

    It is above zero for a perfectly calibrated reader too where the answers are few.

    References
    ----------
    M. P. Naeini, G. F. Cooper and M. Hauskrecht, "Obtaining well calibrated probabilities using Bayesian
    binning", AAAI 2015; the 15 bins are those of C. Guo et al., "On calibration of modern neural networks",
    ICML 2017.
    """
    sums = [[0.0, 0.0] for _ in range(bins)]
    for probability, right in answers:
        at = min(int(probability * bins), bins - 1)
        sums[at][0] += probability
        sums[at][1] += right
    if not answers:
        return CalibrationError(0, None)
    return CalibrationError(len(answers), sum(abs(p - r) for p, r in sums) / len(answers))
