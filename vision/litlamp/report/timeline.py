"""A ride drawn over time, as inline SVG: a bar for each signal, filled as far as its reading was sure.

Places across are shares of the width and sizes of words are px, so that it fits a phone as well as paper. A
long ride is broken into rows; where no signal is in view for whole rows, one line says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from litlamp.report.subtitles import in_short

if TYPE_CHECKING:
    from litlamp.report.footage_record import FootageRecord, FootageSignal

LANE, BAR, AXIS = 38, 14, 20
"""Heights in px: of a lane, of the bar in it, of the axis below."""
LABEL = 0.16
"""Share of a row that a label may take at the width of a phone."""
_ROWS = ((20 * 60, 60.0, 10), (60 * 60, 120.0, 20), (float("inf"), 300.0, 60))


@dataclass(frozen=True, slots=True)
class _Row:
    from_s: float
    to_s: float
    tick: float
    signals: tuple[FootageSignal, ...]

    def share(self, at: float) -> float:
        return 100 * (min(max(at, self.from_s), self.to_s) - self.from_s) / (self.to_s - self.from_s)


def minutes(seconds: float) -> str:
    """A moment on the axis: "1:05"."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02}:{rest % 60:02}" if hours else f"{rest // 60}:{rest % 60:02}"


def timeline(ride: FootageRecord, length: float) -> str:
    """The rows of a ride of so many seconds, as HTML."""
    parts: list[str] = []
    empty: tuple[float, float] | None = None
    for row in _rows(ride, max(length, 1.0)):
        if not row.signals:
            empty = (empty[0] if empty else row.from_s, row.to_s)
            continue
        if empty is not None:
            parts.append(_gap(*empty))
            empty = None
        parts.append(_drawn(row))
    if empty is not None:
        parts.append(_gap(*empty))
    return "".join(parts)


def _gap(a: float, b: float) -> str:
    return f'<p class="dim">{minutes(a)} to {minutes(b)}: no signal in view</p>'


def _rows(ride: FootageRecord, length: float) -> list[_Row]:
    long, tick = next((row, tick) for most, row, tick in _ROWS if length <= most)
    count = max(int(-(-length // long)), 1)
    if count == 1:
        long = length
        tick = next((t for t in (1, 2, 5, 10) if length / t <= 8), 10)
    rows = []
    for i in range(count):
        a, b = i * long, (i + 1) * long
        own = tuple(s for s in ride.signals if s.span_s is not None and s.span_s[0] < b and s.span_s[1] >= a)
        rows.append(_Row(a, b, tick, own))
    return rows


def _drawn(row: _Row) -> str:
    lanes: list[float] = []
    bars: list[str] = []
    for signal in row.signals:
        assert signal.span_s is not None
        start = row.share(signal.span_s[0])
        start = min(start, 100 - 100 * LABEL)
        end = max(row.share(signal.span_s[1]), start + 100 * LABEL)
        lane = next((i for i, taken in enumerate(lanes) if taken <= start), len(lanes))
        lanes[lane : lane + 1] = [end + 1]
        bars.append(_bar(row, signal, LANE * lane, start))
    floor = LANE * len(lanes)
    ticks = []
    at = row.from_s
    while at <= row.to_s:
        x = row.share(at)
        anchor = "end" if x > 97 else "start" if x < 3 else "middle"
        ticks.append(
            f'<line x1="{x:.2f}%" x2="{x:.2f}%" y1="0" y2="{floor + 4}"/>'
            f'<text x="{x:.2f}%" y="{floor + 16}" text-anchor="{anchor}">{minutes(at)}</text>'
        )
        at += row.tick
    every = 'class="tick" aria-hidden="true"'
    return (
        f'<svg class="timeline" height="{floor + AXIS}" role="group" '
        f'aria-label="{minutes(row.from_s)} to {minutes(row.to_s)}">'
        f"<g {every}>{''.join(ticks)}</g>{''.join(bars)}</svg>"
    )


def _bar(row: _Row, of: FootageSignal, top: float, label_at: float) -> str:
    assert of.span_s is not None
    number, span = of.footage.number, of.span_s
    a, b = row.share(span[0]), row.share(span[1])
    y = top + 18
    wide = max(b - a, 0.4)
    said = in_short(of.reading, of.guarded)
    words = f"Signal {number}, {minutes(span[0])} to {minutes(span[1])}: {said}"
    parts = [f'<rect class="span" x="{a:.2f}%" y="{y}" width="{wide:.2f}%" height="{BAR}" rx="3"/>']
    known = of.footage.known
    for one, until in zip(known, [*(k.at_s for k in known[1:]), span[1]], strict=True):
        x0, x1 = row.share(one.at_s), row.share(until)
        if x1 <= x0 or one.reading is None or one.guarded is None:
            continue
        # A guarded reading that differs says that the reading is not settled: its bar is a thin one.
        settled = one.reading.rule == one.guarded.rule
        high = BAR * one.reading.probability * (1.0 if settled else 0.5)
        parts.append(
            f'<rect class="sure" x="{x0:.2f}%" y="{y + BAR - high:.1f}" width="{x1 - x0:.2f}%" '
            f'height="{high:.1f}"/>'
        )
    for part in (of.aspects or ())[1:]:
        x = row.share(part.from_s)
        if a < x < b:
            parts.append(
                f'<line class="change" x1="{x:.2f}%" x2="{x:.2f}%" y1="{y - 3}" y2="{y + BAR + 3}"/>'
            )
    rule = of.guarded.rule if of.guarded is not None and of.guarded.rule else "?"
    mark = ""
    if of.footage.follows is not None and of.footage.follows.verdict in ("open", "broken"):
        mark = '<tspan class="mark"> !</tspan>'
        words += f". Order: {of.footage.follows.words}"
    parts.append(
        f'<text x="{label_at:.2f}%" y="{top + 13}"><tspan font-weight="700">{number}</tspan>'
        f'<tspan dx="5">{escape(rule)}</tspan>{mark}</text>'
    )
    return (
        f'<a href="#signal-{number}" aria-label="{escape(words)}"><title>{escape(words)}</title>'
        f"{''.join(parts)}</a>"
    )
