from __future__ import annotations

import base64
import doctest
import importlib
import pickle
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import litlamp
from litlamp.sight.eyes import models_folder, read_manifest

trained = pytest.mark.skipif(
    read_manifest(models_folder()).models["finder"].version == "0", reason="untrained networks"
)


@trained
@pytest.mark.parametrize("name", ["litlamp.photo_reading", "litlamp.collection.read_many"])
def test_the_examples_in_the_docstrings(name: str, root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(root)
    results = doctest.testmod(importlib.import_module(name))
    assert results.attempted > 0
    assert results.failed == 0


def test_every_public_name_is_there() -> None:
    for name in litlamp.__all__:
        assert getattr(litlamp, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'read_minds'"):
        _ = litlamp.read_minds  # type: ignore[attr-defined]


# -- an array ----------------------------------------------------------------------------------------------


@trained
def test_an_array_reads_like_the_file_that_it_is_from(root: Path) -> None:
    path = root / "samples" / "hartsmere-home-red.jpg"
    pixels = np.asarray(Image.open(path).convert("RGB"))
    before = pixels.copy()
    by_array, by_path = litlamp.read_photo(pixels), litlamp.read_photo(path)
    assert by_array.signals == by_path.signals
    assert by_array.source == ""
    assert by_array.frame is not None
    assert by_path.frame is None
    assert (pixels == before).all()


@pytest.mark.parametrize(
    "pixels",
    [
        np.zeros((8, 8), np.uint8),
        np.zeros((8, 8, 4), np.uint8),
        np.zeros((8, 8, 3), np.float32),
        np.zeros((0, 8, 3), np.uint8),
    ],
)
def test_what_is_no_picture_is_refused(pixels: np.ndarray) -> None:
    with pytest.raises(ValueError, match="a picture is an array of uint8, height x width x 3"):
        litlamp.read_photo(pixels)


# -- many --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("workers", [0, 1])
def test_many_come_in_their_order_and_a_bad_one_stops_nothing(tmp_path: Path, workers: int) -> None:
    for name in ("b.png", "a.png"):
        Image.new("RGB", (96, 96), (90, 90, 90)).save(tmp_path / name)
    (tmp_path / "bad.jpg").write_bytes(b"\xff\xd8\xff\xe0 cut off")
    given = [tmp_path / "b.png", tmp_path / "gone.png", tmp_path]
    readings = list(litlamp.read_many(given, workers=workers))
    assert [Path(r.source).name for r in readings] == ["b.png", "gone.png", "a.png", "bad.jpg"]
    assert [r.failure is None for r in readings] == [True, False, True, False]
    assert readings[1].failure == "there is no such file"
    assert [r.signals for r in readings] == [()] * 4
    assert pickle.loads(pickle.dumps(readings[0])) == readings[0]


def test_many_begin_when_asked_and_a_bad_level_is_told_at_once() -> None:
    with pytest.raises(ValueError, match="the level must be above 0"):
        litlamp.read_many([], level=2)
    flow = litlamp.read_many(["nowhere/*.jpg"])
    with pytest.raises(Exception, match="nothing fits this pattern"):
        next(flow)


# -- in a notebook -----------------------------------------------------------------------------------------


def pictures(html: str) -> list[bytes]:
    return [base64.b64decode(data) for data in re.findall(r'src="data:image/jpeg;base64,([^"]+)"', html)]


@trained
def test_a_notebook_shows_the_annotated_picture_and_what_it_says(root: Path) -> None:
    reading = litlamp.read_photo(root / "samples" / "hartsmere-home-red.jpg")
    html = reading._repr_html_()
    (picture,) = pictures(html)
    assert picture.startswith(b"\xff\xd8\xff")
    assert "Stop, Rule 439" in html.replace("\u00a0", " ")
    assert "Training aid only" in html
    assert str(reading).endswith(
        "hartsmere-home-red.jpg: Stop, Rule 439. Training aid only. Never act on it on or near a track."
    )


def test_a_notebook_shows_words_alone_where_no_picture_is_to_be_had(tmp_path: Path) -> None:
    path = tmp_path / "a<b>.png"
    Image.new("RGB", (96, 96)).save(path)
    reading = litlamp.read_photo(path)
    assert len(pictures(reading._repr_html_())) == 1
    Image.new("RGB", (97, 96)).save(path)  # another picture by now
    assert pictures(reading._repr_html_()) == []
    path.unlink()
    html = reading._repr_html_()
    assert pictures(html) == []
    assert "a&lt;b&gt;.png" in html
    assert "no signal found" in str(reading)
    failed = litlamp.read_photo(path)
    assert str(failed) == f"{path}: not read: there is no such file"
    assert pictures(failed._repr_html_()) == []


@trained
def test_a_notebook_shows_a_clip_at_the_moment_of_its_boxes(root: Path) -> None:
    reading = litlamp.read_clip(root / "samples" / "brindle-staggered-flash.mp4")
    assert len(pictures(reading._repr_html_())) == (1 if reading.passages else 0)
