"""A truth file that an editor began with a mark of its byte order is read like one without."""

from __future__ import annotations

import codecs
from pathlib import Path

from litlamp.collection.truth_file import parse_truth


def test_a_truth_file(root: Path) -> None:
    data = (root / "samples" / "truth.jsonl").read_bytes()
    assert parse_truth(codecs.BOM_UTF8 + data, "truth") == parse_truth(data, "truth")
