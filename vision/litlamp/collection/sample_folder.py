"""A sample written down: the readings drawn, their weights, and the page to check them on."""

from __future__ import annotations

from pathlib import Path

import msgspec

from litlamp.aspects.rulebook import Rulebook
from litlamp.collection.exporting import Readings
from litlamp.collection.review_page import review_page
from litlamp.collection.strata import Sample
from litlamp.report.whole_file import write_whole


def write_sample(sample: Sample, book: Rulebook, readings: Path, to: Path) -> None:
    """Write DIR/readings.jsonl, weights.jsonl and page.html. Raises litlamp.report.whole_file.WriteError."""
    write_whole(to / "readings.jsonl", _lines(sample.records))
    write_whole(to / "weights.jsonl", _lines(sample.members))
    page = review_page(sample, book, Readings(readings).opener(), to)
    write_whole(to / "page.html", page.encode())


def _lines(of: tuple[msgspec.Struct, ...]) -> bytes:
    return b"".join(msgspec.json.encode(each) + b"\n" for each in of)
