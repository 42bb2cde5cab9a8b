"""A sample written down: the readings drawn, their weights, and the page to check them on."""

from __future__ import annotations

from pathlib import Path

import msgspec

from litlamp.aspects.rulebook import Rulebook
from litlamp.collection.exporting import Readings
from litlamp.collection.review_page import review_page
from litlamp.collection.run_folder import JOURNAL
from litlamp.collection.strata import Sample
from litlamp.report.whole_file import write_whole


class SampleFolderError(Exception):
    """A sample would be written over something else; the message is one sentence."""


def write_sample(sample: Sample, book: Rulebook, readings: Path, to: Path) -> None:
    """Write DIR/readings.jsonl, weights.jsonl and page.html.

    Raises
    ------
    SampleFolderError : the folder holds the readings themselves, a run, or another sample, which may be half
        marked.
    litlamp.report.whole_file.WriteError : it cannot be written to.
    """
    own, weights = to / "readings.jsonl", _lines(sample.members)
    if own.exists() and own.samefile(readings):
        raise SampleFolderError(f"{own} is what the sample is drawn from: give another folder by --to")
    if (to / JOURNAL).exists():
        raise SampleFolderError(f"{to} holds a collection's readings: give another folder by --to")
    drawn = to / "weights.jsonl"
    other = drawn.read_bytes() != weights if drawn.is_file() else own.exists()
    if other:
        raise SampleFolderError(f"{to} holds another sample, or other readings: give another folder by --to")
    write_whole(own, _lines(sample.records))
    write_whole(drawn, weights)
    page = review_page(sample, book, Readings(readings).opener(), to)
    write_whole(to / "page.html", page.encode())


def _lines(of: tuple[msgspec.Struct, ...]) -> bytes:
    return b"".join(msgspec.json.encode(each) + b"\n" for each in of)
