"""A score for people: 100 columns, every share with its n and its interval."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from litlamp.aspects.cautions import SHORT
from litlamp.collection.interval import CalibrationError, Mean, Rate, Share
from litlamp.collection.score import Score
from litlamp.collection.tally import Figures

_LISTED = 10  # wrong-side readings and neighbours beyond this are only in the JSON


def score_text(of: Score, truth: str, readings: str) -> str:
    """The whole score, without a line break at the end; `truth` and `readings` name the two files."""
    parts = [_head(of, truth, readings), *_figures(of.overall), *_families(of), *_curve(of), *_cases(of)]
    return "\n\n".join([*parts, _foot()])


def percent(value: float | None) -> str:
    """A share in per cent, with two decimals below 1 and above 99, else one; never rounded to 0 or 100."""
    if value is None:
        return "-"
    if value in (0.0, 1.0):
        return f"{value:.0%}"
    hundredths = min(max(value * 100, 0.01), 99.99)
    return f"{hundredths:.{1 if 1 <= hundredths <= 99 else 2}f}%"


def interval(low: float, high: float) -> str:
    """Both ends in per cent, rounded outwards by no more than printing needs."""
    return f"{percent(low)} to {percent(high)}"


def _head(of: Score, truth: str, readings: str) -> str:
    lines = [f"{readings} against {truth}", f"Read by {of.book} {of.edition}; {_count(of.pictures)} scored."]
    if of.model:
        lines.append(f"Networks: {', '.join(of.model.values())}.")
    if of.level is not None:
        lines.append(f"Guarded at level {of.level:g}.")
    if of.without_reading:
        lines.append(f"Left out: {_count(of.without_reading)} of the truth without a reading.")
    if of.without_truth:
        lines.append(f"Left out: {_count(of.without_truth)} read of which there is no truth.")
    if of.failed:
        lines.append(
            f"Not read: {_count(len(of.failed))}, what is in them counts as not found; "
            f"first {of.failed[0][0]}: {of.failed[0][1]}"
        )
    return "\n".join(lines)


def _count(n: int) -> str:
    return "1 picture" if n == 1 else f"{n} pictures"


def _figures(f: Figures) -> Iterable[str]:
    yield from _table(
        "Safety: a reading less restrictive than the truth is wrong-side",
        [
            ("guarded reading wrong-side", f.guarded_wrong_side),
            ("guarded reading right-side", f.guarded_right_side),
            ("reading wrong-side", f.wrong_side),
            ("reading right-side", f.right_side),
            ("set covers the truth, of those answered", f.covered),
            ("size of the set", f.set_size),
        ],
    )
    yield from _table(
        "Rule",
        [
            ("exact rule, steady aspects", f.exact),
            ("answered at all", f.answered),
            ("Brier score of the reading", f.rule_brier),
            ("calibration error of the reading", f.rule_error),
        ],
    )
    yield from _table(
        "Lamps that are lit",
        [
            ("found", f.lamps_found),
            ("colour right, of those found", f.lamps_right),
            ("red read as another lit colour", f.red_as_other),
            ("Brier score of the colour", f.lamp_brier),
            ("calibration error of the colour", f.lamp_error),
        ],
    )
    yield from _table(
        "Signals",
        [
            ("found", f.signals_found),
            ("aspect exact: heads, mount, arrangement, plates", f.aspect),
            ("number of heads", f.head_count),
            ("arrangement", f.arrangement),
            ("mount", f.mount),
            ("legible plates found", f.plates_found),
            ("plates taken to be absent that are there", f.plates_denied),
            ("plates seen that are not there", f.plates_invented),
            ("not lit, but given a reading", f.dark_read),
        ],
    )
    yield from _table(
        "Signals read where none is",
        [
            ("a picture", f.false_signals),
            ("a picture, with a reading", f.false_readings),
            ("a picture without a signal", f.negatives),
            ("pictures without a signal that have one", f.marred),
        ],
    )


def _table(title: str, rows: Sequence[tuple[str, Share | Mean | Rate | CalibrationError]]) -> Iterable[str]:
    lines = [line for name, value in rows if (line := _row(name, value)) is not None]
    if lines:
        yield "\n".join([title, *lines])


def _row(name: str, of: Share | Mean | Rate | CalibrationError) -> str | None:
    if of.value is None:
        return None
    start = f"  {name:<50}"
    match of:
        case Share():
            return f"{start}{percent(of.value):>7}  {of.hits:>5} of {of.n:<5} {interval(of.low, of.high)}"
        case Rate():
            return f"{start}{of.value:>7.3f}  {of.count:>5} in {of.n:<5} {of.low:.4f} to {of.high or 0:.4f}"
        case Mean(low=None):
            return f"{start}{of.value:>7.3f}  {of.n:>14}"
        case Mean():
            return f"{start}{of.value:>7.3f}  {of.n:>14} {of.low or 0:.3f} to {of.high or 0:.3f}"
        case CalibrationError():
            return f"{start}{of.value:>7.3f}  {of.n:>14}"


def _families(of: Score) -> Iterable[str]:
    for family in of.families:
        rows = [(b.name, b.figures) for b in family.bins]
        if not of.overall.of_rules and not any(f.lamps_found.n or f.false_signals.n for _, f in rows):
            continue
        if of.overall.of_rules:
            columns = [
                "signals",
                "exact, steady",
                "guard wrong",
                "covered",
                "set",
                "lamps",
                "colour",
                "false",
            ]
            body = [
                [
                    str(f.answered.n), _of(f.exact), f"{f.guarded_wrong_side.hits}", _short(f.covered),
                    "-" if f.set_size.value is None else f"{f.set_size.value:.2f}",
                    _short(f.lamps_found), _short(f.lamps_right),
                    _false(f.false_signals),
                ]
                for _, f in rows
            ]  # fmt: skip
        else:
            columns = ["signals", "lamps found", "colour right", "false signals", "pictures"]
            body = [
                [
                    str(f.signals_found.n), _of(f.lamps_found), _of(f.lamps_right),
                    _false(f.false_signals), str(f.false_signals.n or "-"),
                ]
                for _, f in rows
            ]  # fmt: skip
        names = [name for name, _ in rows]
        yield _grid(f"By {family.name}", columns, names, body)


def _of(of: Share) -> str:
    if of.value is None:
        return "-"
    return f"{percent(of.value)} of {of.n} ({percent(of.low)}..{percent(of.high)})"


def _false(of: Rate) -> str:
    return str(of.count) if of.n else "-"


def _short(of: Share) -> str:
    return percent(of.value)


def _grid(title: str, columns: Sequence[str], names: Sequence[str], body: Sequence[Sequence[str]]) -> str:
    wide = max(len(title), *map(len, names)) + 2
    sizes = [max(len(head), *(len(row[i]) for row in body)) + 2 for i, head in enumerate(columns)]
    lines = [title.ljust(wide) + "".join(head.rjust(size) for head, size in zip(columns, sizes, strict=True))]
    for name, row in zip(names, body, strict=True):
        cells = "".join(cell.rjust(size) for cell, size in zip(row, sizes, strict=True))
        lines.append(f"  {name}".ljust(wide) + cells)
    return "\n".join(lines)


def _curve(of: Score) -> Iterable[str]:
    if not of.curve:
        return
    lines = ["Risk if only the surest readings are given (share of all signals answered, then of those):"]
    told: float | None = None
    for least in (0.25, 0.5, 0.7, 0.8, 0.9, 0.95, 1.0):
        point = next((p for p in of.curve if p.coverage >= least), of.curve[-1])
        if point.coverage == told:
            continue
        told = point.coverage
        error = "" if point.error is None else f", {percent(point.error)} of the steady ones not exact"
        lines.append(
            f"  {percent(point.coverage):>6} answered, at {point.probability:.4f} or surer: "
            f"{percent(point.wrong_side)} wrong-side{error}"
        )
    yield "\n".join(lines)


def _cases(of: Score) -> Iterable[str]:
    if of.wrong_sides:
        lines = ["Wrong-side readings, those that the guard did not catch first:"]
        lines += [
            f"  {w.source}: {w.true} read as {w.read} at {w.probability:.4f}, guarded as {w.guarded}"
            f"{' (WRONG-SIDE)' if w.guard_wrong else ''}"
            for w in of.wrong_sides[:_LISTED]
        ]
        yield "\n".join([*lines, *_more(len(of.wrong_sides))])
    if of.neighbours:
        lines = ["Less restrictive readings beside a signal (read as several, or several as one):"]
        lines += [
            f"  {n.source}: beside {n.true} read {n.read}, guarded as {n.guarded}"
            f"{' (WRONG-SIDE)' if n.guard_wrong else ''}"
            for n in of.neighbours[:_LISTED]
        ]
        yield "\n".join([*lines, *_more(len(of.neighbours))])
    if of.taken_for:
        yield "False signals lie on: " + ", ".join(f"{thing} {n}" for thing, n in of.taken_for)


def _more(count: int) -> list[str]:
    return [f"  and {count - _LISTED} more, see --json"] if count > _LISTED else []


def _foot() -> str:
    return (
        "Shares: exact 95 % intervals (Clopper and Pearson); events a picture: exact (Garwood); means: "
        f"bootstrap.\n{SHORT}"
    )
