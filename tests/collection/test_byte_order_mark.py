"""Files that an editor began with a mark of its byte order are read like those without."""

from __future__ import annotations

import codecs
from pathlib import Path

from litlamp.aspects.check import check_book
from litlamp.aspects.rulebook import book_text, load_book, load_book_file
from litlamp.collection.truth_file import parse_truth


def test_a_truth_file(root: Path) -> None:
    data = (root / "samples" / "truth.jsonl").read_bytes()
    assert parse_truth(codecs.BOM_UTF8 + data, "truth") == parse_truth(data, "truth")


def test_a_rulebook(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_bytes(codecs.BOM_UTF8 + book_text("CROR").encode())
    assert load_book_file(path).rules == load_book("CROR").rules


def test_brackets_without_end_are_a_fault_of_the_book() -> None:
    (fault,) = check_book("a=" + 20_000 * "[")
    assert fault.line == 1
