"""The level of the guarded reading, chosen so that wrong-side readings stay under a stated risk.

    python -m litlamp.collection.exam --seeds calibration --level 1 --to DIR
    python -m litlamp.collection.level DIR --risk 0.002

The readings must hold every outcome (level 1), for the guard at each lower level is made from them.

What is bounded is the chance that the guarded reading of one more signal, drawn as these were, is less
restrictive than the truth: the mean over the draw of both these and that one. It holds for scenes like these
and for no others; each scene has one signal.

References
----------
A. N. Angelopoulos, S. Bates, A. Fisch, L. Lei, T. Schuster, "Conformal Risk Control", ICLR 2024, theorem 1:
with a loss of at most 1 that never grows with the level, the least level at which
(losses + 1) / (n + 1) is at most the risk keeps the expected loss under it.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import click

from litlamp.aspects.interpret import guard, smallest_set
from litlamp.aspects.reading import Outcome, RuleChance
from litlamp.aspects.rulebook import Rulebook, load_book
from litlamp.cli.finite import Finite
from litlamp.collection.interval import Share, share
from litlamp.collection.judge import side
from litlamp.collection.match import match_signals
from litlamp.collection.readings_file import load_readings, pair_sources
from litlamp.collection.truth_file import LinesError, load_truth
from litlamp.report.record import OUTCOME_NAMES

LEVELS = (0.8, 0.9, 0.95, 0.97, 0.98, 0.99, 0.995, 0.998, 0.999, 0.9995, 0.9999, 1.0)
_WHOLE = 0.995  # what probabilities that were rounded one by one still add up to


@dataclass(frozen=True, slots=True)
class Answered:
    """One true signal and every outcome its reading held; no chances: nothing was read of it."""

    true: str | None
    chances: tuple[RuleChance, ...]


@dataclass(frozen=True, slots=True)
class AtLevel:
    """What the guard does at one level; `bound` is what conformal risk control holds against the risk."""

    level: float
    wrong: Share
    bound: float
    exact: Share
    mean_size: float


def at_level(cases: Sequence[Answered], level: float, book: Rulebook) -> AtLevel:
    """Guard every case at this level. A signal of which nothing was read errs to no side."""
    sets = [smallest_set(case.chances, level) for case in cases]
    guarded = [guard(book, chosen).rule if chosen else None for chosen in sets]
    told = [(case.true, rule, bool(case.chances)) for case, rule in zip(cases, guarded, strict=True)]
    wrong = share(answered and side(rule, true, book) == "wrong" for true, rule, answered in told)
    exact = share(answered and rule == true for true, rule, answered in told)
    sizes = [len(chosen) for chosen in sets if chosen]
    bound = (wrong.hits + 1) / (wrong.n + 1)
    return AtLevel(level, wrong, bound, exact, sum(sizes) / max(len(sizes), 1))


def least_level(rows: Sequence[AtLevel], risk: float) -> float | None:
    """The least level whose bound, and that of every higher one, is at most the risk; None if none is."""
    chosen = None
    for row in sorted(rows, key=lambda row: -row.level):
        if row.bound > risk:
            break
        chosen = row.level
    return chosen


def load_cases(folder: Path, book: Rulebook) -> list[Answered]:
    """The signals of an exam read at level 1. Raises LinesError."""
    pairs = pair_sources(load_truth(folder / "truth.jsonl"), load_readings(folder / "readings.jsonl"))
    cases = []
    outcomes: dict[str, Outcome] = {
        OUTCOME_NAMES["not_standard"]: "not_standard",
        OUTCOME_NAMES["not_lit"]: "not_lit",
    }
    for truth, reading in pairs:
        matched = match_signals(truth.signals, reading.signals)
        for i, true in enumerate(truth.signals):
            read = reading.signals[matched[i]] if i in matched else None
            told: tuple[RuleChance, ...] = ()
            if read is not None and read.reading is not None:
                told = tuple(
                    RuleChance(c.rule, c.name, c.probability, "rule" if c.rule else outcomes[c.name])
                    for c in read.set
                )
                if sum(c.probability for c in told) < _WHOLE:
                    raise LinesError(f"{folder}: these readings do not hold every outcome; read at level 1")
            if true.ruled:
                cases.append(Answered(true.rule, told))
    return cases


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--risk", type=Finite(0, 1, min_open=True), default=0.002, show_default=True)
def level(folder: Path, risk: float) -> None:
    """Print what the guard does at each level, and the least level that keeps the risk."""
    book = load_book()
    try:
        cases = load_cases(folder, book)
    except LinesError as error:
        raise click.UsageError(str(error)) from error
    rows = [at_level(cases, one, book) for one in LEVELS]
    click.echo(f"{len(cases)} signals, {sum(not c.chances for c in cases)} of them not answered")
    click.echo(" level  wrong-side (95 %)               bound    guarded exact   mean set")
    for row in rows:
        w = row.wrong
        click.echo(
            f"{row.level:6g}  {w.hits:3d} of {w.n} = {100 * w.hits / max(w.n, 1):.2f} % "
            f"({100 * w.low:.2f} to {100 * w.high:.2f})  {row.bound:.4f}  "
            f"{row.exact.hits:4d} = {100 * row.exact.hits / max(w.n, 1):4.1f} %  {row.mean_size:6.2f}"
        )
    chosen = least_level(rows, risk)
    told = "no level keeps it" if chosen is None else f"the least level is {chosen:g}"
    click.echo(f"For a wrong-side risk of {risk:g} on scenes like these: {told}.")


if __name__ == "__main__":
    sys.exit(level())
