"""The signals of a ride as a table of comma-separated values, one signal a row (RFC 4180)."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from msgspec import UNSET

from litlamp.aspects.cautions import LONG
from litlamp.report.subtitles import rule_words

if TYPE_CHECKING:
    from litlamp.report.footage_record import FootageRecord, FootageSignal

COLUMNS = (
    "signal",
    "first_seen_s",
    "last_seen_s",
    "ended",
    "side",
    "faces",
    "aspect",
    "rule",
    "name",
    "probability",
    "guarded_rule",
    "guarded_name",
    "may_be",
    "showed",
    "first_known_s",
    "follows",
    "order",
    "beside",
    "caution",
)


def signal_table(ride: FootageRecord) -> str:
    """The table, its first row naming the columns.

    `first_known_s` is the moment from which on the reading stood as it does at the end. `showed` lists the
    aspects in time order; `follows` is the verdict of the order of signals, `order` its words.
    """
    out = io.StringIO()
    rows = csv.writer(out)
    rows.writerow(COLUMNS)
    for signal in ride.signals:
        rows.writerow([_safe(value) for value in _row(signal)])
    return out.getvalue()


def _row(of: FootageSignal) -> list[str]:
    span, passed, follows = of.span_s or (0.0, 0.0), of.footage, of.footage.follows
    reading, guarded = of.reading, of.guarded
    aspects = () if of.aspects is UNSET else of.aspects
    showed = "; ".join(
        f"{a.from_s:.1f}-{a.to_s:.1f} s {a.aspect}" + (f" = {a.guarded.name}" if a.guarded else "")
        for a in aspects or ()
    )
    stood = settled(of)
    return [
        str(passed.number),
        f"{span[0]:.3f}",
        f"{span[1]:.3f}",
        passed.ended,
        passed.side or "",
        passed.faces,
        of.aspect,
        "" if reading is None else reading.rule or "",
        "" if reading is None else reading.name,
        "" if reading is None else f"{reading.probability:.4f}",
        "" if guarded is None else guarded.rule or "",
        "" if guarded is None else guarded.name,
        "; ".join(f"{rule_words(r)} {r.probability:.4f}" for r in of.set),
        showed,
        "" if stood is None else f"{stood:.3f}",
        "" if follows is None else follows.verdict,
        "" if follows is None else follows.words,
        " ".join(str(n) for n in passed.beside),
        LONG,
    ]


def settled(of: FootageSignal) -> float | None:
    """The moment from which on the guarded reading was what it is at the end; None where it never was."""
    if of.guarded is None:
        return None
    since = None
    for known in of.footage.known:
        same = known.guarded is not None and known.guarded.rule == of.guarded.rule
        since = (known.at_s if since is None else since) if same else None
    return since


def _safe(value: str) -> str:
    """No cell that a spreadsheet would take for a formula."""
    return f"'{value}" if value[:1] in ("=", "+", "-", "@", "\t", "\r") else value
