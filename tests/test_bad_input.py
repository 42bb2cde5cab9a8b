"""Bad input through the command: one sentence on standard error, status 2 (1: no signal), never a traceback.

The same files as a person gives them: in a process of its own, so that a crash of a decoder would show.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from litlamp.cli import run
from litlamp.report.record import validate_line


def written(picture: Image.Image, kind: str = "JPEG") -> bytes:
    out = io.BytesIO()
    picture.save(out, kind)
    return out.getvalue()


def noise() -> Image.Image:
    return Image.fromarray(np.random.default_rng(8).integers(0, 256, (120, 160, 3), dtype=np.uint8))


def read(root: Path, *arguments: str, stdin: bytes | None = None) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "litlamp", "read", *arguments],
        input=stdin if stdin is not None else b"",
        capture_output=True,
        timeout=120,
        check=False,
        env={**os.environ, "PYTHONPATH": str(root / "vision"), "OMP_NUM_THREADS": "1"},
    )


BAD: dict[str, tuple[bytes, str]] = {
    "empty.jpg": (b"", "empty"),
    "truncated.jpg": (written(noise())[:3000], "damaged or cut off"),
    "truncated.png": (written(noise(), "PNG")[:3000], "damaged or cut off"),
    "closed-again.jpg": (written(noise())[:3000] + b"\xff\xd9", "damaged or cut off"),
    "words.jpg": (b"A signal stands at Brindle Halt.\n", "text"),
    "clip.jpg": (b"\0\0\0\x18ftypisom\0\0\0\0isommp42" + bytes(64), "clip"),
    "zeros.jpg": (bytes(4096), "no picture"),
    "archive.png": (b"PK\x03\x04" + bytes(60), "ZIP"),
    # A PNG header that says 60000 x 60000, with no picture behind it.
    "huge.png": (
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\xea\x60\0\0\xea\x60\x08\x02\0\0\0\x76\x3e\x20\x49" + bytes(64),
        "",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file(name: str, root: Path, tmp_path: Path) -> None:
    data, word = BAD[name]
    (tmp_path / name).write_bytes(data)
    done = read(root, str(tmp_path / name), "--picture", str(tmp_path / "out"))
    told = done.stderr.decode()
    assert done.returncode == 2
    assert done.stdout == b""
    assert told.count("\n") == 1
    assert told.startswith("litlamp: ")
    assert name in told
    assert word in told
    assert "Traceback" not in told
    assert not (tmp_path / "out").exists() or list((tmp_path / "out").iterdir()) == []


def test_what_is_no_file(root: Path, tmp_path: Path) -> None:
    for source in (str(tmp_path / "missing.jpg"), str(tmp_path), "", os.devnull):
        done = read(root, source)
        assert done.returncode == 2, source
        assert done.stdout == b""
        assert done.stderr.count(b"\n") == 1
        assert b"Traceback" not in done.stderr


def test_nothing_on_standard_input(root: Path) -> None:
    done = read(root, "-")
    assert done.returncode == 2
    assert done.stderr.count(b"\n") == 1
    assert b"empty" in done.stderr


def test_mislabelled_pictures_are_read_all_the_same(root: Path, tmp_path: Path) -> None:
    # No signal in them, so status 1; what counts is that each was opened by its content.
    for kind, name in (("PNG", "a.jpg"), ("JPEG", "b.png"), ("BMP", "c.webp"), ("TIFF", "d.txt")):
        (tmp_path / name).write_bytes(written(Image.new("RGB", (200, 150), (120, 120, 120)), kind))
    done = read(root, "--json", *(str(p) for p in sorted(tmp_path.iterdir())))
    assert done.returncode == 1, done.stderr
    assert done.stderr == b""
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert [line["size"] for line in lines] == [[200, 150]] * 4
    assert all(line["failure"] is None and line["signals"] == [] for line in lines)


@pytest.mark.parametrize("shade", [0, 255])
@pytest.mark.parametrize("size", [(1, 1), (1, 4000), (640, 480)])
def test_pictures_with_nothing_in_them(root: Path, tmp_path: Path, size: tuple[int, int], shade: int) -> None:
    (tmp_path / "blank.jpg").write_bytes(written(Image.new("RGB", size, (shade,) * 3)))
    done = read(root, str(tmp_path / "blank.jpg"))
    assert done.returncode == 1
    assert done.stderr == b""
    assert b"no signal" in done.stdout


def test_a_folder_for_pictures_that_cannot_be_made(root: Path, tmp_path: Path) -> None:
    (tmp_path / "grey.png").write_bytes(written(Image.new("RGB", (64, 48), (120, 120, 120)), "PNG"))
    (tmp_path / "file").write_text("in the way")
    done = read(root, str(tmp_path / "grey.png"), "--picture", str(tmp_path / "file" / "out"))
    assert done.returncode == 2
    assert done.stderr.count(b"\n") == 1
    assert b"Traceback" not in done.stderr
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "grey.png"]


def test_five_hundred_damaged_files(
    damaged: Callable[[str, int], Iterator[bytes]], tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    paths = []
    for kind in ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "AVIF", "GIF"):
        for number, data in enumerate(damaged(kind, 72)):  # 504 in all
            paths.append(tmp_path / f"{kind}-{number}")
            paths[-1].write_bytes(data)
    status = run(["read", "--json", *map(str, paths)])
    shown = capfd.readouterr()
    records = [validate_line(line) for line in shown.out.splitlines()]
    assert [record.source for record in records] == [str(path) for path in paths]
    failures = [record.failure for record in records if record.failure is not None]
    assert status == 2
    assert len(failures) > 100
    assert not [f for f in failures if "litlamp failed" in f]
    told = shown.err.splitlines()
    assert len(told) == len(failures)
    assert all(line.startswith("litlamp: ") for line in told)
    assert "Traceback" not in shown.err
