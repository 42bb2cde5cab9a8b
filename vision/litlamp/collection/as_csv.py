"""A collection as CSV: one row a signal, and one for each source that has none, so that none is missing."""

from __future__ import annotations

import csv
from pathlib import Path

from msgspec import UnsetType
from msgspec.structs import astuple

from litlamp.aspects.aspect import PLATES
from litlamp.aspects.cautions import SHORT
from litlamp.collection.exporting import Column, Readings, streamed
from litlamp.collection.label_line import LabelRecord, text_of
from litlamp.report.record import SignalRecord

NAME = "signals.csv"

DOCUMENTED: tuple[Column, ...] = (
    ("source", "text", "the path as given"),
    ("kind", "photo, clip or empty", "empty where it could not be read"),
    ("width", "integer, px", "of the upright picture"),
    ("height", "integer, px", "the same"),
    ("duration_s", "number, s", "length of a clip; empty for a photograph"),
    ("failure", "text", "why the source could not be read; empty where it was"),
    ("signals", "integer", "signals found in this source; this row is of one of them"),
    ("signal", "integer", "which of them, from 1; empty where there is none, as is then all of the signal"),
    ("x0", "number, px", "left edge of the signal's box in the upright picture; origin top left"),
    ("y0", "number, px", "top edge"),
    ("x1", "number, px", "right edge, exclusive"),
    ("y1", "number, px", "bottom edge, exclusive"),
    ("from_s", "number, s", "when it was first seen in a clip; empty for a photograph"),
    ("to_s", "number, s", "when it was last seen"),
    ("at_s", "number, s", "the moment that the box is of"),
    ("aspect", "text", "the most probable display in words; of a clip that of the last clear sight"),
    ("rule", "text", "number of the rule read; empty where it is no rule, or nothing was read"),
    ("rule_name", "text", "its name, or the outcome that is no rule in words"),
    ("probability", "0 to 1", "of that reading"),
    ("guarded_rule", "text", "number of the most restrictive rule that cannot be ruled out: the headline"),
    ("guarded_name", "text", "its name"),
    ("level", "0 to 1", "what the probabilities of the set had to reach"),
    ("set", "text", "the rules of the set, the one read first, a space between; - is what is no rule"),
    ("heads", "integer", "heads seen"),
    ("lamp_px", "number, px", "lit diameter of the largest lamp; empty where none is lit"),
    ("mast", "0 to 1", "belief that it stands on a mast; what is left of 1 is a dwarf"),
    ("staggered", "0 to 1", "belief that its heads stand staggered"),
    ("whole", "0 to 1", "that no head is cut off, hidden or unseen"),
    *((f"plate_{kind}", "0 to 1", f"that the {kind} plate is there and was seen") for kind in PLATES),
    *((f"plate_{kind}_unknown", "0 to 1", "that it could not have been seen either way") for kind in PLATES),
    ("number_plate", "text", "its digits where they were read"),
    ("brightness", "0 to 255", "mean luma of a photograph; empty for a clip"),
    ("sha256", "text", "of the file's bytes"),
    ("rulebook", "text", "book and edition that the readings follow"),
    ("run", "text", "names what made the reading: see run.json"),
    ("caution", "text", "to be shown wherever the reading is shown"),
)  # fmt: skip

_NAMES = [name for name, _, _ in DOCUMENTED]


def own_names(columns: list[str], taken: list[str]) -> list[str]:
    """The researcher's columns under their own names; one that is taken has "own_" before it."""
    names: list[str] = []
    for column in columns:
        name = column
        while name in taken or name in names:
            name = f"own_{name}"
        names.append(name)
    return names


def write_csv(readings: Readings, to: Path) -> str:
    """Write DIR/signals.csv, UTF-8 with a heading; what was written, in words.

    Raises ExportError, LinesError.
    """
    own = readings.columns()
    rows = sources = 0
    with streamed(to / NAME, mode="x", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow([*_NAMES, *own_names(own, _NAMES)])
        for record in readings:
            sources += 1
            columns = {} if isinstance(record.columns, UnsetType) else record.columns
            last = [text_of(columns.get(name)) for name in own]
            for number, signal in enumerate(record.signals, 1):
                table.writerow([*_row(record, signal, number), *last])
            if not record.signals:
                table.writerow([*_row(record, None, None), *last])
            rows += max(len(record.signals), 1)
    return f"{NAME}: {rows:,} rows of {sources:,} sources"


def _row(of: LabelRecord, signal: SignalRecord | None, number: int | None) -> list[object]:
    width, height = of.size or (None, None)
    return [
        of.source, of.kind, width, height, of.duration_s, of.failure, len(of.signals), number,
        *(_SILENT if signal is None else _signal(signal)),
        _set(of.brightness), _set(of.sha256), f"{of.rulebook.name} {of.rulebook.edition}", _set(of.run),
        SHORT,
    ]  # fmt: skip


def _signal(of: SignalRecord) -> list[object]:
    first, last = of.span_s or (None, None)
    reading, guarded = of.reading, of.guarded
    lit = [head.lamp[2] for head in of.heads if isinstance(head.lamp, tuple)]
    return [
        *of.box, first, last, _set(of.at_s), of.aspect,
        *((None, None, None) if reading is None else (reading.rule, reading.name, reading.probability)),
        *((None, None, None) if guarded is None else (guarded.rule, guarded.name, guarded.level)),
        " ".join(member.rule or "-" for member in of.set), len(of.heads), max(lit, default=None),
        of.mount.mast, of.arrangement.staggered, of.whole, *astuple(of.plates), *astuple(of.plates_unknown),
        of.number,
    ]  # fmt: skip


def _set(value: object) -> object:
    return None if isinstance(value, UnsetType) else value


_SILENT: list[object] = [None] * (_NAMES.index("number_plate") + 1 - _NAMES.index("x0"))
