"""A collection as Parquet: one row a source, typed, its signals and their heads nested."""

from __future__ import annotations

from itertools import islice
from pathlib import Path
from typing import Any

from msgspec import UnsetType
from msgspec.structs import asdict

from litlamp.aspects.aspect import ARRANGEMENTS, COLOURS, MOUNTS, PLATES
from litlamp.aspects.cautions import LONG
from litlamp.collection.exporting import Column, ExportError, Readings, streamed
from litlamp.collection.label_line import LabelRecord, text_of
from litlamp.report.record import AspectRecord, Edges, HeadRecord, SignalRecord

NAME = "readings.parquet"

DOCUMENTED: tuple[Column, ...] = (
    ("source ... notes", "as in readings.jsonl", "one row a source; the same names, each with its own type"),
    ("width, height", "int32, px", "in place of `size`"),
    (
        "box",
        "struct of x0, y0, x1, y1",
        "px in the upright picture, origin top left, right and bottom exclusive",
    ),
    ("lamp", "struct of x, y, diameter", "px; null where no lamp is lit"),
    ("from_s, to_s", "float64, s", "in place of `span_s`; null for a photograph"),
    (
        "colour, flash, mount, arrangement, plates, plates_unknown",
        "struct of float64",
        "probabilities, 0 to 1",
    ),
    ("model, columns", "map of text to text", "the researcher's values that are no text as JSON"),
    ("(metadata of the file)", "litlamp.caution", "to be shown wherever a reading is shown"),
)

_BATCH = 2000


def write_parquet(readings: Readings, to: Path) -> str:
    """Write DIR/readings.parquet; what was written, in words. Raises ExportError, LinesError."""
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError as error:
        raise ExportError("Parquet needs pyarrow: pip install 'litlamp[parquet]'") from error
    schema, rows, records = _schema(), 0, iter(readings)
    with streamed(to / NAME) as file, parquet.ParquetWriter(file, schema, compression="zstd") as table:
        while batch := [_row(record) for record in islice(records, _BATCH)]:
            table.write_table(pyarrow.Table.from_pylist(batch, schema))
            rows += len(batch)
    return f"{NAME}: {rows:,} rows, one a source"


def _schema() -> Any:
    import pyarrow as pa

    number, text, yes = pa.float64(), pa.string(), pa.bool_()

    def struct(kind: Any, *names: str) -> Any:
        return pa.struct([(name, kind) for name in names])

    rule = pa.struct([("rule", text), ("name", text), ("probability", number)])
    guarded = pa.struct([("rule", text), ("name", text), ("level", number)])
    box = struct(number, "x0", "y0", "x1", "y1")
    said = [("aspect", text), ("reading", rule), ("guarded", guarded), ("set", pa.list_(rule))]
    head = pa.struct(
        [
            ("box", box), ("lamp", struct(number, "x", "y", "diameter")),
            ("colour", struct(number, *COLOURS)),
            ("flash", struct(number, "steady", "flashing")), ("flash_per_min", number),
            ("flash_per_min_error", number),
        ]
    )  # fmt: skip
    aspect = pa.struct([("from_s", number), ("to_s", number), *said])
    signal = pa.struct(
        [
            ("box", box), ("from_s", number), ("to_s", number), ("at_s", number), ("whole_in_view", yes),
            ("whole", number), ("mount", struct(number, *MOUNTS)),
            ("arrangement", struct(number, *ARRANGEMENTS)),
            ("heads", pa.list_(head)), ("plates", struct(number, *PLATES)),
            ("plates_unknown", struct(number, *PLATES)), ("number", text), *said, ("why", pa.list_(text)),
            ("cautions", pa.list_(text)), ("aspects", pa.list_(aspect)),
        ]
    )  # fmt: skip
    return pa.schema(
        [
            ("source", text), ("schema", pa.int32()), ("litlamp", text), ("model", pa.map_(text, text)),
            ("kind", text), ("width", pa.int32()), ("height", pa.int32()), ("duration_s", number),
            ("rulebook", struct(text, "name", "edition")), ("failure", text), ("signals", pa.list_(signal)),
            ("notes", pa.list_(text)), ("run", text), ("sha256", text), ("brightness", number),
            ("columns", pa.map_(text, text)),
        ],
        metadata={"litlamp.caution": LONG},
    )  # fmt: skip


def _row(of: LabelRecord) -> dict[str, Any]:
    width, height = of.size or (None, None)
    columns = {} if isinstance(of.columns, UnsetType) else of.columns
    return {
        "source": of.source, "schema": of.schema, "litlamp": of.litlamp, "model": list(of.model.items()),
        "kind": of.kind, "width": width, "height": height, "duration_s": of.duration_s,
        "rulebook": asdict(of.rulebook), "failure": of.failure, "signals": [_signal(s) for s in of.signals],
        "notes": list(_set(of.notes) or ()), "run": _set(of.run), "sha256": _set(of.sha256),
        "brightness": _set(of.brightness),
        "columns": [(name, None if value is None else text_of(value)) for name, value in columns.items()],
    }  # fmt: skip


def _signal(of: SignalRecord) -> dict[str, Any]:
    first, last = of.span_s or (None, None)
    return {
        "box": _box(of.box), "from_s": first, "to_s": last, "at_s": _set(of.at_s),
        "whole_in_view": of.whole_in_view, "whole": of.whole, "mount": asdict(of.mount),
        "arrangement": asdict(of.arrangement), "heads": [_head(h) for h in of.heads],
        "plates": asdict(of.plates), "plates_unknown": asdict(of.plates_unknown), "number": of.number,
        **_said(of), "why": of.why, "cautions": of.cautions,
        "aspects": [
            {"from_s": a.from_s, "to_s": a.to_s, **_said(a)} for a in _set(of.aspects) or ()
        ],
    }  # fmt: skip


def _said(of: SignalRecord | AspectRecord) -> dict[str, Any]:
    return {
        "aspect": of.aspect,
        "reading": None if of.reading is None else asdict(of.reading),
        "guarded": None if of.guarded is None else asdict(of.guarded),
        "set": [asdict(member) for member in of.set],
    }


def _head(of: HeadRecord) -> dict[str, Any]:
    lamp = of.lamp
    return {
        "box": _box(of.box) if isinstance(of.box, tuple) else None,
        "lamp": dict(zip(("x", "y", "diameter"), lamp, strict=True)) if isinstance(lamp, tuple) else None,
        "colour": asdict(of.colour),
        "flash": None if of.flash is None else asdict(of.flash),
        "flash_per_min": of.flash_per_min,
        "flash_per_min_error": _set(of.flash_per_min_error),
    }


def _box(edges: Edges) -> dict[str, float]:
    return dict(zip(("x0", "y0", "x1", "y1"), edges, strict=True))


def _set(value: Any) -> Any:
    return None if isinstance(value, UnsetType) else value
