"""A score as one picture: the figures that matter, risk against coverage, and every bin with its interval."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.cautions import SHORT
from litlamp.box import Box
from litlamp.collection.interval import Share
from litlamp.collection.score import Score
from litlamp.collection.score_text import interval, percent
from litlamp.collection.tally import Figures, RiskPoint
from litlamp.report.sheet import INK, PAPER, RGB, Sheet, line_height, text_width, wrap

_WIDTH, _MARGIN = 1600, 48
_PANEL: RGB = (255, 254, 250)
_FAINT: RGB = (208, 206, 198)
_GREY: RGB = (98, 102, 110)
# Told apart by any colour vision, and by their marks besides.
_BLUE: RGB = (0, 101, 168)
_ORANGE: RGB = (207, 88, 0)

_Rows = Sequence[tuple[str, Sequence[Share]]]  # a bin and its share for each measure

_BODY, _SMALL, _TITLE, _LARGE = 21, 18, 30, 44
_ROW, _LONG = 30, 16


@dataclass(frozen=True, slots=True)
class _Measure:
    """A share shown for every bin: its words, where it is among the figures, its colour and mark."""

    words: str
    of: Callable[[Figures], Share]
    colour: RGB
    square: bool


_RULE = (
    _Measure("exact rule, steady aspects", lambda f: f.exact, _BLUE, False),
    _Measure("set covers the truth", lambda f: f.covered, _ORANGE, True),
)
_LAMPS = (
    _Measure("lit lamps found", lambda f: f.lamps_found, _BLUE, False),
    _Measure("colour right, of those found", lambda f: f.lamps_right, _ORANGE, True),
)


def score_page(of: Score, truth: str, readings: str) -> NDArray[np.uint8]:
    """The page as a new array, uint8 (H, W, 3) R G B; `truth` and `readings` name the two files."""
    judged = of.overall.of_rules
    parts = [_head(of, truth, readings), _tiles(of.overall, judged)]
    if of.curve:
        parts.append(_risk(of.curve))
    parts.append(_bins(of, judged))
    parts.append(_foot())
    return np.vstack([part.pixels for part in parts])


def _head(of: Score, truth: str, readings: str) -> Sheet:
    told = [f"{readings} against {truth}: {of.pictures} pictures, read by {of.book} {of.edition}"]
    if of.model:
        told.append(f"Networks: {', '.join(of.model.values())}")
    if of.without_reading or of.without_truth or of.failed:
        told.append(
            f"Left out: {of.without_reading} without a reading, {of.without_truth} without truth; "
            f"not read: {len(of.failed)}"
        )
    lines = [line for words in told for line in wrap(words, _SMALL, _WIDTH - 2 * _MARGIN)]
    sheet = Sheet.blank(_WIDTH, 40 + 46 + len(lines) * line_height(_SMALL) + 12, PAPER)
    sheet.text(_MARGIN, 34, "How good the readings are", _TITLE, INK, bold=True)
    for i, line in enumerate(lines):
        sheet.text(_MARGIN, 84 + i * line_height(_SMALL), line, _SMALL, _GREY)
    return sheet


def _tiles(f: Figures, judged: bool) -> Sheet:
    """The four figures that matter most of what the truth allows."""
    rule = [
        ("Guarded readings wrong-side", f.guarded_wrong_side),
        ("Exact rule, steady aspects", f.exact),
        ("Set covers the truth", f.covered),
        ("Lit lamps found", f.lamps_found),
    ]
    lamps = [
        ("Lit lamps found", f.lamps_found),
        ("Their colour right", f.lamps_right),
        ("Red read as another colour", f.red_as_other),
        ("Negatives with a false signal", f.marred),
    ]
    shown = rule if judged else lamps
    high, gap = 150, 20
    sheet = Sheet.blank(_WIDTH, high + 2 * gap, PAPER)
    wide = (_WIDTH - 2 * _MARGIN - 3 * gap) / 4
    for i, (words, share) in enumerate(shown):
        x = _MARGIN + i * (wide + gap)
        sheet.fill(Box(x, gap, x + wide, gap + high), _PANEL)
        sheet.text(x + 18, gap + 14, words, _SMALL, _GREY)
        sheet.text(x + 18, gap + 40, percent(share.value), _LARGE, INK, bold=True)
        under = f"{share.hits} of {share.n}; {interval(share.low, share.high)}" if share.n else "not judged"
        sheet.text(x + 18, gap + 108, under, _SMALL, _GREY)
    return sheet


def _risk(curve: Sequence[RiskPoint]) -> Sheet:
    high = 470
    sheet = Sheet.blank(_WIDTH, high, PAPER)
    sheet.text(_MARGIN, 8, "Risk if only the surest readings are given", _TITLE - 4, INK, bold=True)
    plot = Box(_MARGIN + 84, 96, _WIDTH - _MARGIN, high - 70)
    sheet.fill(plot, _PANEL)
    errors = [p.error for p in curve if p.error is not None]
    top = _nice_top(max([p.wrong_side for p in curve] + errors))

    def at(coverage: float, risk: float) -> tuple[float, float]:
        return plot.x0 + coverage * plot.width, plot.y1 - risk / top * plot.height

    for i in range(6):
        y = plot.y1 - i / 5 * plot.height
        sheet.line([(plot.x0, y), (plot.x1, y)], _FAINT, 1)
        words = percent(i / 5 * top)
        sheet.text(plot.x0 - 12 - text_width(words, _SMALL), y - 12, words, _SMALL, _GREY)
        x = plot.x0 + i / 5 * plot.width
        words = percent(i / 5)
        sheet.line([(x, plot.y1), (x, plot.y1 + 6)], _GREY, 1)
        sheet.text(x - text_width(words, _SMALL) / 2, plot.y1 + 8, words, _SMALL, _GREY)
    words = "share of all signals that are answered"
    sheet.text(plot.centre[0] - text_width(words, _SMALL) / 2, plot.y1 + 34, words, _SMALL, _GREY)
    steps = [p for p in curve if p.error is not None]
    if steps:
        sheet.line([at(p.coverage, p.error or 0.0) for p in steps], _BLUE, 3)
    sheet.line([at(p.coverage, p.wrong_side) for p in curve], _ORANGE, 3)
    x = float(_MARGIN + 84)
    for colour, words in (
        (_ORANGE, "wrong-side, of those answered"),
        (_BLUE, "not exact, of the steady ones"),
    ):
        sheet.line([(x, 66), (x + 34, 66)], colour, 4)
        sheet.text(x + 44, 54, words, _SMALL, INK)
        x += 80 + text_width(words, _SMALL)
    return sheet


def _nice_top(risk: float) -> float:
    """The end of the risk axis: the least of these that holds the whole curve."""
    return next(top for top in (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0) if risk <= top)


def _bins(of: Score, judged: bool) -> Sheet:
    """Families in two columns, each bin with a mark and a whisker for either measure."""
    measures = _RULE if judged else _LAMPS
    families: list[tuple[str, _Rows]] = []
    for family in of.families:
        every = [(b.name, [m.of(b.figures) for m in measures]) for b in family.bins]
        kept = [(name, shares) for name, shares in every if any(s.n for s in shares)]
        if len(kept) > 1:  # one bin is the whole again
            families.append((family.name, kept))
    values = [s.value for _, rows in families for _, shares in rows for s in shares if s.value is not None]
    least = min(values, default=1.0)
    left = next(edge for edge in (0.9, 0.8, 0.5, 0.0) if least >= edge)
    columns: list[list[tuple[str, _Rows]]] = [[], []]
    for name, rows in families:
        if len(rows) > _LONG:  # across both columns, the first half on the left
            half = (len(rows) + 1) // 2
            columns[0].append((name, rows[:half]))
            columns[1].append((name, rows[half:]))
        else:
            min(columns, key=_column_height).append((name, rows))
    high = max(map(_column_height, columns)) + 100
    sheet = Sheet.blank(_WIDTH, high, PAPER)
    sheet.text(_MARGIN, 8, "In bins, with exact 95 % intervals", _TITLE - 4, INK, bold=True)
    x = float(_MARGIN)
    for m in measures:
        _mark(sheet, x + 8, 66, m)
        sheet.text(x + 26, 54, m.words, _SMALL, INK)
        x += 60 + text_width(m.words, _SMALL)
    wide = (_WIDTH - 2 * _MARGIN - 40) / 2
    for i, column in enumerate(columns):
        y = 96.0
        for name, rows in column:
            y = _family(sheet, _MARGIN + i * (wide + 40), y, wide, name, rows, measures, left)
    return sheet


def _column_height(column: Sequence[tuple[str, _Rows]]) -> int:
    return sum(len(rows) * _ROW + 64 for _, rows in column)


def _family(
    sheet: Sheet,
    x: float,
    y: float,
    wide: float,
    name: str,
    rows: _Rows,
    measures: Sequence[_Measure],
    left: float,
) -> float:
    """Draw one family from (x, y) down; where the next may begin."""
    plot = Box(x + 166, y + 28, x + wide - 210, y + 28 + len(rows) * _ROW)
    sheet.fill(plot, _PANEL)
    sheet.text(x, y, f"By {name}", _BODY, INK, bold=True)
    for i in range(3):
        tick = left + i / 2 * (1 - left)
        at = plot.x0 + i / 2 * plot.width
        sheet.line([(at, plot.y0), (at, plot.y1)], _FAINT, 1)
        words = percent(tick)
        sheet.text(at - text_width(words, _SMALL) / 2, y + 2, words, _SMALL, _GREY)
    for j, (bin_name, shares) in enumerate(rows):
        middle = plot.y0 + (j + 0.5) * _ROW
        sheet.text(x, middle - 12, _fitted(bin_name, 158), _SMALL, INK)
        for k, (share, measure) in enumerate(zip(shares, measures, strict=True)):
            if share.value is None:
                continue
            line = middle + (-6, 6)[k]
            ends = [plot.x0 + _along(v, left) * plot.width for v in (share.low, share.high)]
            sheet.line([(ends[0], line), (ends[1], line)], measure.colour, 2)
            _mark(sheet, plot.x0 + _along(share.value, left) * plot.width, line, measure)
        told = ", ".join(f"{percent(s.value)} of {s.n}" if s.n else "-" for s in shares)
        sheet.text(plot.x1 + 10, middle - 10, told, 15, _GREY)
    return plot.y1 + 36


def _along(share: float, left: float) -> float:
    return min(max((share - left) / (1 - left), 0.0), 1.0)


def _mark(sheet: Sheet, x: float, y: float, of: _Measure) -> None:
    if of.square:
        sheet.fill(Box(x - 5, y - 5, x + 6, y + 6), of.colour)
    else:
        turns = np.linspace(0, 2 * np.pi, 17)
        sheet.line([(x + 3 * np.cos(t), y + 3 * np.sin(t)) for t in turns], of.colour, 6, True)


def _fitted(words: str, width: float) -> str:
    while len(words) > 4 and text_width(words, _SMALL) > width:
        words = words[:-4] + "..."
    return words


def _foot() -> Sheet:
    words = (
        f"Intervals: exact, Clopper and Pearson. A still cannot settle flash, so the exact rule is asked of "
        f"steady aspects only. {SHORT}"
    )
    lines = wrap(words, _SMALL, _WIDTH - 2 * _MARGIN)
    sheet = Sheet.blank(_WIDTH, 24 + len(lines) * line_height(_SMALL) + 24, PAPER)
    for i, line in enumerate(lines):
        sheet.text(_MARGIN, 20 + i * line_height(_SMALL), line, _SMALL, _GREY)
    return sheet
