"""What a sample that people checked says of the whole collection: shares with intervals, strata weighted.

The sampled unit is a source. A share is a ratio of weighted sums over the sources that were checked, since a
source has any number of signals; each source of a stratum stands for as many as the stratum has for each that
was checked.

References
----------
Ratio estimator and its linearised variance in stratified sampling: W. G. Cochran, "Sampling Techniques",
3rd edition (1977). Intervals of small shares: E. L. Korn and B. I. Graubard, "Confidence intervals for
proportions with small expected number of positive counts estimated from survey data", Survey Methodology 24
(1998): the exact interval at the effective sample size. Where no case or every case is a hit, the variance
estimated is 0, and the effective size is that of L. Kish, "Survey Sampling" (1965). From memory.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from litlamp.aspects.cautions import SHORT
from litlamp.aspects.rulebook import Rulebook
from litlamp.collection.interval import SURENESS
from litlamp.collection.judge import Judged, judge
from litlamp.collection.readings_file import pair_sources
from litlamp.collection.strata import Member
from litlamp.collection.truth_file import LinesError, TruePicture
from litlamp.report.record import Record


@dataclass(frozen=True, slots=True)
class Estimate:
    """One share of the whole collection: from `cases` that were checked, as good as so many drawn singly."""

    name: str
    cases: int
    effective: float
    value: float | None
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Whole:
    """The estimates, and what they rest on: sources checked of those drawn, and of those in the collection.

    `unchecked` are strata of which no source was checked: nothing is said of their `missing` sources.
    """

    estimates: tuple[Estimate, ...]
    checked: int
    drawn: int
    sources: int
    unchecked: tuple[str, ...]
    missing: int


@dataclass(frozen=True, slots=True)
class Checked:
    """One source that was checked: its stratum, hits and cases."""

    stratum: str
    hits: float
    cases: float


_Flags = Callable[[Judged], Sequence[bool]]

FIGURES: tuple[tuple[str, _Flags], ...] = (
    ("guarded reading wrong-side", lambda j: [r.guard_side == "wrong" for r in _rules(j)]),
    ("reading wrong-side", lambda j: [r.side == "wrong" for r in _rules(j)]),
    ("reading exact", lambda j: [r.exact for r in _rules(j)]),
    (
        "set covers the truth, of those answered",
        lambda j: [bool(r.covered) for r in _rules(j) if r.read is not None],
    ),
    ("signals found", lambda j: [s.found for s in j.signals]),
    (
        "sources with a signal read where none is",
        lambda j: [] if j.picture.false is None else [j.picture.false > 0],
    ),
)


def _rules(of: Judged) -> list[Any]:
    return [s.rule for s in of.signals if s.rule is not None]


def whole(
    truths: Sequence[TruePicture], readings: Sequence[Record], members: Sequence[Member], book: Rulebook
) -> Whole:
    """Estimate the collection that the sample is of. Raises LinesError where nothing of it was checked."""
    of = {member.source: member for member in members}
    judged = [
        (of[reading.source], judge(truth, reading, book))
        for truth, reading in pair_sources(truths, readings)
        if reading.source in of
    ]
    if not judged:
        raise LinesError("no source of the truth is in the sample that these weights are of")
    sizes = {member.stratum: member.stratum_size for member in members}
    held = {member.stratum for member, _ in judged}
    unchecked = tuple(sorted(set(sizes) - held))
    estimates = []
    for name, flags in FIGURES:
        checked = [
            Checked(member.stratum, sum(found), len(found))
            for member, one in judged
            for found in [flags(one)]
        ]
        estimates.append(estimate(name, checked, sizes))
    return Whole(
        tuple(estimates),
        len(judged),
        len(members),
        sum(sizes.values()),
        unchecked,
        sum(sizes[stratum] for stratum in unchecked),
    )


def estimate(name: str, checked: Sequence[Checked], sizes: Mapping[str, int]) -> Estimate:
    """The share of hits among the cases of all sources.

    Parameters
    ----------
    checked : every source that was checked, those without a case too.
    sizes : of each stratum, sources in the collection.
    """
    counts = Counter(one.stratum for one in checked)
    weight = {stratum: sizes[stratum] / n for stratum, n in counts.items()}
    cases = sum(one.cases for one in checked)
    total = sum(weight[one.stratum] * one.cases for one in checked)
    if total == 0:
        return Estimate(name, 0, 0.0, None, 0.0, 1.0)
    share = sum(weight[one.stratum] * one.hits for one in checked) / total
    share = min(max(share, 0.0), 1.0)
    kish = total**2 / sum(weight[one.stratum] ** 2 * one.cases for one in checked)
    variance, freedom = _variance(checked, sizes, weight, share, total)
    if 0 < share < 1 and variance > 0:
        effective = share * (1 - share) / variance
        effective *= (_t(max(cases - 1, 1)) / _t(freedom)) ** 2
    else:
        effective = kish
    effective = min(max(effective, 1.0), float(cases))
    return Estimate(name, int(cases), effective, share, *_exact(share * effective, effective))


def _variance(
    checked: Sequence[Checked],
    sizes: Mapping[str, int],
    weight: Mapping[str, float],
    share: float,
    total: float,
) -> tuple[float, int]:
    """Of the ratio, and its degrees of freedom. Strata with a single source checked are taken as one."""
    counts = Counter(one.stratum for one in checked)
    groups: defaultdict[str, list[float]] = defaultdict(list)
    left = {stratum: 1 - n / sizes[stratum] for stratum, n in counts.items()}
    for one in checked:
        group = one.stratum if counts[one.stratum] > 1 else ""
        groups[group].append(weight[one.stratum] * (one.hits - share * one.cases))
    variance, freedom = 0.0, 0
    for group, values in groups.items():
        n = len(values)
        if n < 2:
            continue
        mean = sum(values) / n
        spread = n / (n - 1) * sum((value - mean) ** 2 for value in values)
        variance += spread * (left[group] if group else 1.0)
        freedom += n - 1
    return variance / total**2, max(freedom, 1)


def _t(freedom: float) -> float:
    from scipy.special import stdtrit  # type: ignore[import-untyped]

    return float(stdtrit(freedom, (1 + SURENESS) / 2))


def _exact(hits: float, n: float) -> tuple[float, float]:
    """The interval of Clopper and Pearson for numbers that need not be whole."""
    from scipy.special import betaincinv

    tail = (1 - SURENESS) / 2
    low = 0.0 if hits <= 0 else float(betaincinv(hits, n - hits + 1, tail))
    high = 1.0 if hits >= n else float(betaincinv(hits + 1, n - hits, 1 - tail))
    return (0.0 if math.isnan(low) else low), (1.0 if math.isnan(high) else high)


def whole_text(of: Whole) -> str:
    """For a person: each share with its interval, and what it rests on."""
    from litlamp.collection.score_text import interval, percent

    lines = [
        f"The whole collection of {of.sources:,} sources, estimated from {of.checked:,} of the {of.drawn:,} "
        "that were drawn",
    ]
    for one in of.estimates:
        if one.value is not None:
            ends = interval(one.low, one.high)
            lines.append(f"  {one.name:<50}{percent(one.value):>7}  {one.cases:>5} cases   {ends}")
    if of.unchecked:
        lines.append(
            f"Nothing is said of {of.missing:,} sources of strata of which none was checked: "
            f"{'; '.join(of.unchecked)}."
        )
    if of.checked < of.drawn:
        lines.append(
            "Those not checked are taken to be like those checked of their stratum: check all if you can."
        )
    return "\n".join([*lines, SHORT])
