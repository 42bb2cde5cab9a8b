"""Rulebook files as editors and other hands leave them."""

from __future__ import annotations

import codecs
from pathlib import Path

from litlamp.aspects.check import check_book
from litlamp.aspects.rulebook import book_text, load_book, load_book_file


def test_a_rulebook(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_bytes(codecs.BOM_UTF8 + book_text("CROR").encode())
    assert load_book_file(path).rules == load_book("CROR").rules


def test_an_empty_book_is_said_to_be_empty() -> None:
    assert [fault.message for fault in check_book(" \n", "own.toml")] == ["own.toml is empty"]


def test_brackets_without_end_are_a_fault_of_the_book() -> None:
    (fault,) = check_book("a=" + 20_000 * "[")
    assert fault.line == 1
