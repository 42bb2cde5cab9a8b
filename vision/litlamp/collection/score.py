"""How good readings are: the truth and the readings of many pictures to one score."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from litlamp.aspects.rulebook import Rulebook
from litlamp.box import Box
from litlamp.collection.judge import Judged, Neighbour, judge
from litlamp.collection.readings_file import pair_sources
from litlamp.collection.tally import Family, Figures, RiskPoint, families, figures, risk_coverage, taken_for
from litlamp.collection.truth_file import LinesError, TruePicture
from litlamp.report.record import Record

SCHEMA = 1


@dataclass(frozen=True, slots=True)
class WrongSide:
    """One signal that was read as less restrictive than it is; `guard_wrong`: even the guarded reading."""

    source: str
    box: Box
    true: str
    read: str
    guarded: str
    probability: float
    guard_wrong: bool


@dataclass(frozen=True, slots=True)
class Score:
    """The score of one file of readings.

    Attributes
    ----------
    book, model : what the readings were made by.
    level : what the guarded set was to reach; None where the readings differ in it or none has a reading.
    pictures : how many were scored. without_reading, without_truth : left out, the other file lacks them.
    failed : sources that could not be read, with the reason; their signals count as not found.
    overall : figures over everything; `families` the same in bins; `curve` risk against coverage.
    wrong_sides : every one, those whose guarded reading is wrong too first.
    neighbours : readings less restrictive than a signal that they lie on or beside, without being matched
        with it: a signal read as several, or several as one. Not among `wrong_sides`.
    taken_for : what the false signals lie on, where the truth names it.
    """

    schema: int
    book: str
    edition: str
    model: dict[str, str]
    level: float | None
    pictures: int
    without_reading: int
    without_truth: int
    failed: tuple[tuple[str, str], ...]
    overall: Figures
    families: tuple[Family, ...]
    curve: tuple[RiskPoint, ...]
    wrong_sides: tuple[WrongSide, ...]
    neighbours: tuple[Neighbour, ...]
    taken_for: tuple[tuple[str, int], ...]


def score(truths: Sequence[TruePicture], readings: Sequence[Record], book: Rulebook) -> Score:
    """Score readings, all made by `book`, against the truth.

    Raises
    ------
    LinesError : no picture is in both, or a rule of the truth is not one of this book and edition.
    """
    pairs = pair_sources(truths, readings)
    if not pairs:
        raise LinesError("no source of the truth is among the sources of the readings")
    for truth, _ in pairs:
        _check_rules(truth, book)
    judged = [judge(truth, reading, book) for truth, reading in pairs]
    signals = [s for j in judged for s in j.signals]
    pictures = [j.picture for j in judged]
    levels = {s.guarded.level for _, r in pairs for s in r.signals if s.guarded is not None}
    models = [reading.model for _, reading in pairs]
    return Score(
        SCHEMA,
        book.name,
        book.edition,
        {part: " and ".join(dict.fromkeys(m[part] for m in models if part in m)) for part in models[0]},
        levels.pop() if len(levels) == 1 else None,
        len(pairs),
        len(truths) - len(pairs),
        len(readings) - len(pairs),
        tuple((p.source, p.failure) for p in pictures if p.failure is not None),
        figures([c for j in judged for c in j.lamps], signals, pictures),
        families(judged, [rule.number for rule in book.rules]),
        risk_coverage([s.rule for s in signals if s.rule is not None]),
        _wrong_sides(judged),
        tuple(n for p in pictures for n in p.neighbours),
        taken_for(pictures),
    )


def _check_rules(truth: TruePicture, book: Rulebook) -> None:
    for signal in truth.signals:
        if signal.rule is None:
            continue
        if signal.edition not in (None, book.edition):
            raise LinesError(
                f"{truth.source!r}: its rule is of the edition of {signal.edition}, but the readings follow "
                f"{book.label}"
            )
        try:
            book.rank(signal.rule)
        except KeyError:
            raise LinesError(f"{truth.source!r}: {book.label} has no rule {signal.rule!r}") from None


def _wrong_sides(judged: Sequence[Judged]) -> tuple[WrongSide, ...]:
    found = [
        WrongSide(
            s.source, s.box, r.true, r.read or "", r.guarded or "", r.probability or 0.0,
            r.guard_side == "wrong",
        )
        for j in judged
        for s in j.signals
        if (r := s.rule) is not None and "wrong" in (r.side, r.guard_side)
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda w: (not w.guard_wrong, -w.probability)))
