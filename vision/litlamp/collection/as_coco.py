"""A collection's photographs as COCO detection JSON: signals, heads, lamps and plates as boxes.

References
----------
The layout is that of "COCO data format", object detection (cocodataset.org): `bbox` is [x, y, width, height],
px from the top left corner.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

import msgspec
from msgspec import UnsetType
from msgspec.structs import asdict

from litlamp.aspects.cautions import LONG
from litlamp.collection.exporting import Column, Readings, streamed
from litlamp.collection.label_line import LabelRecord
from litlamp.report.record import SignalRecord

NAME = "coco.json"

CATEGORIES = {"signal": 1, "head": 2, "lamp": 3, "plate": 4}

DOCUMENTED: tuple[Column, ...] = (
    ("images", "list", "every photograph that was read, with a signal or none; `file_name` is the source"),
    ("images[].id", "integer", "the source's place among the readings, from 1"),
    ("annotations[].bbox", "[x, y, width, height], px", "in the upright picture, origin top left"),
    ("annotations[].category_id", "1 signal, 2 head, 3 lamp, 4 plate", "a lamp's box is round its lit disc"),
    ("annotations[].signal", "integer", "which signal of the picture it belongs to, from 1, left to right"),
    ("annotations[].head", "integer", "of heads and lamps: which head of the signal, from 1, top to bottom"),
    ("annotations[].score", "0 to 1", "belief in the rule read, the colour or the plate"),
    ("annotations[].label", "text", "that rule's number, colour or plate; `none` where nothing was read"),
    ("annotations[].guarded", "text", "of signals: the most restrictive rule that cannot be ruled out"),
    ("info.left_out", "object", "clips (their boxes belong to moments) and sources that could not be read"),
)  # fmt: skip


def write_coco(readings: Readings, to: Path) -> str:
    """Write DIR/coco.json; what was written, in words. Raises ExportError, LinesError."""
    left = {"clips": 0, "not_read": 0}
    for record in readings:
        left["not_read"] += record.failure is not None
        left["clips"] += record.kind == "clip"
    info = {"description": f"Readings of railway colour-light signals. {LONG}", "left_out": left}
    categories = [
        {"id": number, "name": name, "supercategory": "railway signal"} for name, number in CATEGORIES.items()
    ]
    with streamed(to / NAME) as file:
        file.write(b'{"info":' + msgspec.json.encode(info) + b',"licenses":[],"categories":')
        file.write(msgspec.json.encode(categories) + b',"images":[\n')
        pictures = _list(file, (_image(number, record) for number, record in _photographs(readings)))
        file.write(b'],"annotations":[\n')
        boxes = _list(file, _annotations(readings))
        file.write(b"]}\n")
    return f"{NAME}: {boxes:,} boxes in {pictures:,} photographs; left out {left['clips']:,} clips"


def _list(file: IO[bytes], of: Iterator[dict[str, Any]]) -> int:
    count = 0
    for each in of:
        file.write((b",\n" if count else b"") + msgspec.json.encode(each))
        count += 1
    return count


def _photographs(readings: Readings) -> Iterator[tuple[int, LabelRecord]]:
    return ((n, record) for n, record in enumerate(readings, 1) if record.kind == "photo")


def _image(number: int, of: LabelRecord) -> dict[str, Any]:
    width, height = of.size or (0, 0)
    return {"id": number, "file_name": of.source, "width": width, "height": height}


def _annotations(readings: Readings) -> Iterator[dict[str, Any]]:
    numbers = itertools.count(1)
    for image, record in _photographs(readings):
        for signal, of in enumerate(record.signals, 1):
            for part in _parts(of):
                yield {"id": next(numbers), "image_id": image, "iscrowd": 0, "signal": signal, **part}


def _parts(of: SignalRecord) -> Iterator[dict[str, Any]]:
    said = {"label": "none", "score": 0.0}
    if of.reading is not None:
        said = {"label": of.reading.rule or of.reading.name, "score": of.reading.probability}
    if of.guarded is not None:
        said["guarded"] = of.guarded.rule or of.guarded.name
    yield _boxed("signal", of.box) | said
    for number, head in enumerate(of.heads, 1):
        beliefs = asdict(head.colour)
        colour = max(beliefs, key=beliefs.__getitem__)
        said = {"label": colour, "score": beliefs[colour], "head": number}
        if isinstance(head.box, tuple):
            yield _boxed("head", head.box) | said
        if isinstance(head.lamp, tuple):
            x, y, across = head.lamp
            half = across / 2
            yield _boxed("lamp", (x - half, y - half, x + half, y + half)) | said
    for plate in () if isinstance(of.plates_seen, UnsetType) else of.plates_seen:
        yield _boxed("plate", plate.box) | {"label": plate.kind, "score": plate.probability}


def _boxed(category: str, edges: tuple[float, float, float, float]) -> dict[str, Any]:
    x0, y0, x1, y1 = edges
    wide, high = round(x1 - x0, 2), round(y1 - y0, 2)
    return {
        "category_id": CATEGORIES[category],
        "bbox": [round(x0, 2), round(y0, 2), wide, high],
        "area": round(wide * high, 2),
    }
