"""Counting: from judged cases to figures, over all of them and in bins."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from litlamp.aspects.aspect import COLOURS
from litlamp.collection.interval import (
    CalibrationError,
    Mean,
    Rate,
    Share,
    calibration_error,
    mean,
    rate,
    share,
)
from litlamp.collection.judge import (
    DIAMETERS,
    TARGETS,
    VIEWS,
    Judged,
    LampCase,
    PartsCase,
    PictureCase,
    RuleCase,
    SignalCase,
)
from litlamp.collection.truth_file import LIGHTS

FAMILIES = ("diameter", "target", "light", "weather", "colour", "head kind", "view", "folder", "rule")
_ORDERS = {
    "diameter": DIAMETERS,
    "target": TARGETS,
    "light": (*LIGHTS, "not known"),
    "weather": ("clear", "haze", "rain", "snow", "fog"),
    "colour": COLOURS,
    "view": VIEWS,
}


@dataclass(frozen=True, slots=True)
class Figures:
    """Everything that is counted over a number of cases. Each share names its n.

    Attributes
    ----------
    lamps_found : of the lit lamps that are to be seen. lamps_right : colour, of those found.
    red_as_other : of the red lamps found, those read as yellow, green or lunar.
    lamp_brier : sum over the five colours of (belief - truth) squared, of the lamps found; 0 to 2.
    lamp_error : calibration of the most probable colour.
    signals_found : of the signals. dark_read : signals of which no lamp burns that were given a reading
        all the same, of all such signals. head_count, aspect : of those found and in view from top to bottom.
    arrangement : of those found with two heads or more. mount : of those found.
    plates_found : of the plates a person could read. plates_denied : plates on the signal that were believed
        absent. plates_invented : of the kinds that do not stand on it.
    answered : of the signals whose rule is known, those with a reading.
    exact : the true rule, of the steady aspects whose rule is known (a still cannot settle flash).
    wrong_side, right_side, guarded_wrong_side, guarded_right_side : of the signals whose rule is known.
    covered : of those answered, the set holds the truth. set_size : of those answered.
    rule_brier : (probability of the reading - whether it is right) squared, of the steady ones answered.
    rule_error : calibration of that probability.
    false_signals, false_readings : a picture whose truth is complete. negatives : false signals a picture
        without a signal. marred : of those pictures, the ones with any false signal.
    """

    pictures: int
    lamps_found: Share
    lamps_right: Share
    red_as_other: Share
    lamp_brier: Mean
    lamp_error: CalibrationError
    signals_found: Share
    dark_read: Share
    head_count: Share
    arrangement: Share
    mount: Share
    plates_found: Share
    plates_denied: Share
    plates_invented: Share
    aspect: Share
    answered: Share
    exact: Share
    wrong_side: Share
    right_side: Share
    guarded_wrong_side: Share
    guarded_right_side: Share
    covered: Share
    set_size: Mean
    rule_brier: Mean
    rule_error: CalibrationError
    false_signals: Rate
    false_readings: Rate
    negatives: Rate
    marred: Share

    @property
    def of_rules(self) -> bool:
        """Whether the rule is known of most signals, so that bins are best told by it; else by lamps."""
        return 2 * self.answered.n >= max(self.signals_found.n, 1)


@dataclass(frozen=True, slots=True)
class Bin:
    """One bin of a family and the figures of its cases."""

    name: str
    figures: Figures


@dataclass(frozen=True, slots=True)
class Family:
    """One way to divide the cases."""

    name: str
    bins: tuple[Bin, ...]


@dataclass(frozen=True, slots=True)
class RiskPoint:
    """What is risked if only readings of at least this probability are given.

    `coverage` is the share of all signals of known rule that are then answered; `wrong_side` the share of
    those answered whose reading is wrong-side; `error` the share of the steady ones answered that are not
    exact (None where there is none).
    """

    probability: float
    coverage: float
    wrong_side: float
    error: float | None


def figures(
    lamps: Sequence[LampCase], signals: Sequence[SignalCase], pictures: Sequence[PictureCase]
) -> Figures:
    """Count these cases."""
    found = [c for c in lamps if c.read is not None]
    parts = [s.parts for s in signals if s.parts is not None]
    rules = [s.rule for s in signals if s.rule is not None]
    answered = [r for r in rules if r.read is not None]
    steady = [r for r in answered if r.settled]
    believed = [(r.probability or 0.0, r.exact) for r in steady]
    negatives = [p for p in pictures if p.negative]
    counted = [p for p in pictures if p.false is not None]
    return Figures(
        pictures=len(pictures),
        lamps_found=share(c.read is not None for c in lamps),
        lamps_right=share(c.read == c.true for c in found),
        red_as_other=share(c.read != "red" for c in found if c.true == "red"),
        lamp_brier=mean(map(_brier, found)),
        lamp_error=calibration_error([(max(c.belief or (0.0,)), c.read == c.true) for c in found]),
        signals_found=share(s.found for s in signals),
        dark_read=share(s.answered for s in signals if s.lit is False),
        head_count=_of(p.head_count for p in parts),
        arrangement=_of(p.arrangement for p in parts),
        mount=_of(p.mount for p in parts),
        plates_found=_each(parts, "plates_found"),
        plates_denied=_each(parts, "plates_denied"),
        plates_invented=_each(parts, "plates_invented"),
        aspect=_of(p.aspect for p in parts),
        answered=share(r.read is not None for r in rules),
        exact=share(r.exact for r in rules if r.settled),
        wrong_side=share(r.side == "wrong" for r in rules),
        right_side=share(r.side == "right" for r in rules),
        guarded_wrong_side=share(r.guard_side == "wrong" for r in rules),
        guarded_right_side=share(r.guard_side == "right" for r in rules),
        covered=_of(r.covered for r in answered),
        set_size=mean(float(r.set_size or 0) for r in answered),
        rule_brier=mean((p - right) ** 2 for p, right in believed),
        rule_error=calibration_error(believed),
        false_signals=rate(sum(p.false or 0 for p in counted), len(counted)),
        false_readings=rate(sum(p.false_readings or 0 for p in counted), len(counted)),
        negatives=rate(sum(p.false or 0 for p in negatives), len(negatives)),
        marred=share(bool(p.false) for p in negatives),
    )


def families(judged: Sequence[Judged], rule_order: Sequence[str]) -> tuple[Family, ...]:
    """The figures in every bin of every family that divides these cases into anything.

    `rule_order` gives the order of the rules' bins.
    """
    lamps = [c for j in judged for c in j.lamps]
    signals = [s for j in judged for s in j.signals]
    pictures = [j.picture for j in judged]
    out = []
    for name in FAMILIES:
        order = _ORDERS.get(name, tuple(rule_order) if name == "rule" else ())
        names = {c.bins[name] for cases in (lamps, signals, pictures) for c in cases if name in c.bins}
        ranked = sorted(names, key=lambda n: (order.index(n) if n in order else len(order), n))
        bins = tuple(
            Bin(
                each,
                figures(
                    [c for c in lamps if c.bins.get(name) == each],
                    [s for s in signals if s.bins.get(name) == each],
                    [p for p in pictures if p.bins.get(name) == each],
                ),
            )
            for each in ranked
        )
        if bins and not (len(bins) == 1 and bins[0].name == "not known"):
            out.append(Family(name, bins))
    return tuple(out)


def risk_coverage(rules: Sequence[RuleCase]) -> tuple[RiskPoint, ...]:
    """The risk at every coverage, from the surest readings alone to all that were given.

    References
    ----------
    Y. Geifman and R. El-Yaniv, "Selective classification for deep neural networks", NeurIPS 2017.
    """
    surest = sorted(
        (r for r in rules if r.probability is not None), key=lambda r: r.probability or 0.0, reverse=True
    )
    points: list[RiskPoint] = []
    wrong = errors = steady = 0
    for count, rule in enumerate(surest, 1):
        wrong += rule.side == "wrong"
        steady += rule.settled
        errors += rule.settled and not rule.exact
        if count < len(surest) and surest[count].probability == rule.probability:
            continue  # equally sure ones are given together or not at all
        points.append(
            RiskPoint(
                rule.probability or 0.0,
                count / len(rules),
                wrong / count,
                errors / steady if steady else None,
            )
        )
    return tuple(points)


def taken_for(pictures: Iterable[PictureCase]) -> tuple[tuple[str, int], ...]:
    """What the false signals lie on, the commonest first."""
    return tuple(Counter(thing for p in pictures for thing in p.taken_for).most_common())


def _of(flags: Iterable[bool | None]) -> Share:
    return share(flag for flag in flags if flag is not None)


def _each(parts: Iterable[PartsCase], name: str) -> Share:
    return share(flag for p in parts for flag in getattr(p, name))


def _brier(case: LampCase) -> float:
    believed = zip(COLOURS, case.belief or (), strict=True)
    return sum((p - (colour == case.true)) ** 2 for colour, p in believed)
