from __future__ import annotations

from pathlib import Path

import pytest

from litlamp.report import whole_file
from litlamp.report.whole_file import WriteError, write_whole


def test_it_is_written_and_written_over(tmp_path: Path) -> None:
    write_whole(tmp_path / "a", b"1")
    write_whole(tmp_path / "a", b"22")
    assert (tmp_path / "a").read_bytes() == b"22"
    assert [p.name for p in tmp_path.iterdir()] == ["a"]


def test_a_full_disk_leaves_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_whole(tmp_path / "a", b"before")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(whole_file.os, "fsync", full)
    with pytest.raises(WriteError, match=r"a could not be written: no space left on device$"):
        write_whole(tmp_path / "a", b"after")
    assert (tmp_path / "a").read_bytes() == b"before"
    assert [p.name for p in tmp_path.iterdir()] == ["a"]


def test_what_cannot_be_written_to_is_told(tmp_path: Path) -> None:
    (tmp_path / "d").mkdir()
    for place in (tmp_path / "d", tmp_path / "none" / "a", tmp_path / "nul\0"):
        with pytest.raises(WriteError, match="could not be written"):
            write_whole(place, b"")
