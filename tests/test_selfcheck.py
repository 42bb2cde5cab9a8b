from __future__ import annotations

import importlib.metadata
import json
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from litlamp import selfcheck
from litlamp.cli import run
from litlamp.selfcheck import Check, checks


@pytest.fixture
def samples(tmp_path: Path) -> Path:
    Image.new("RGB", (64, 48), (90, 110, 120)).save(tmp_path / "quarry-road.png")
    line = {"source": "quarry-road.png", "size": [64, 48], "signals": []}
    (tmp_path / "truth.jsonl").write_text(json.dumps(line) + "\n")
    return tmp_path


def test_a_sound_installation(samples: Path) -> None:
    found = list(checks(samples))
    assert [c for c in found if not c.sound] == []
    assert [c.words.split(":")[0] for c in found] == ["OpenCV", "weights", "rulebook", "quarry-road.png"]


def test_a_reading_that_is_not_the_truth(samples: Path) -> None:
    line = {"source": "quarry-road.png", "signals": [{"heads": ["red"], "rule": "439", "edition": "2025"}]}
    (samples / "truth.jsonl").write_text(json.dumps(line) + "\n")
    last = list(checks(samples))[-1]
    assert last == Check(False, "quarry-road.png: read no signal, truth Rule 439")


@pytest.mark.parametrize(
    ("text", "said"),
    [("", "empty"), ("{", "cannot be read"), ('{"source": "gone.png", "signals": []}', "no such file")],
)
def test_samples_that_are_broken(samples: Path, text: str, said: str) -> None:
    (samples / "truth.jsonl").write_text(text)
    last = list(checks(samples))[-1]
    assert not last.sound and said in last.words


def test_weights_that_were_altered(samples: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from litlamp.sight import eyes

    folder = tmp_path / "models"
    folder.mkdir()
    real = eyes.models_folder()
    for file in real.iterdir():
        if file.is_file():
            (folder / file.name).write_bytes(file.read_bytes())
    weights = folder / eyes.read_manifest(folder).models["finder"].file
    weights.write_bytes(weights.read_bytes()[:-1] + b"!")
    whole = eyes.load_eyes
    monkeypatch.setattr(eyes, "load_eyes", lambda: whole(folder))
    found = {c.words.split(":")[0]: c for c in checks(samples)}
    assert not found["weights"].sound
    assert "reinstall" in found["weights"].words


@pytest.mark.parametrize("names", [[], ["opencv-python", "opencv-python-headless"]])
def test_exactly_one_opencv(samples: Path, names: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    class Installed:
        version = "4.14"

        def __init__(self, name: str) -> None:
            self.metadata = {"Name": name}

    monkeypatch.setattr(
        importlib.metadata, "distributions", lambda: [Installed(n) for n in [*names, "numpy"]]
    )
    first = next(checks(samples))
    assert not first.sound and "exactly one" in first.words


def test_the_command(
    samples: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(selfcheck, "samples_folder", lambda: samples)
    assert run(["selfcheck"]) == 0
    assert all(line.startswith("ok ") for line in capsys.readouterr().out.splitlines())
    monkeypatch.setattr(selfcheck, "samples_folder", lambda: None)
    assert run(["selfcheck"]) == 2
    assert capsys.readouterr().out.splitlines()[-1].startswith("FAIL samples")


def test_what_breaks_is_the_finding(samples: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("no such thing")

    monkeypatch.setattr("litlamp.photo_reading.read_photo", broken)
    assert list(checks(samples))[-1] == Check(False, "quarry-road.png: RuntimeError: no such thing")
