"""The clips of the Alder Vale Railway: what they are and how they came to be."""

from __future__ import annotations

import importlib.util
import itertools
import json
import shlex
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from litlamp.aspects.explain import explain
from litlamp.aspects.rulebook import load_book
from litlamp.cli import run
from litlamp.collection.truth_file import load_truth
from litlamp.media.clip import open_clip
from litlamp.scene.clip import DrawnClip
from litlamp.scene.sequence import holds

SAMPLES = Path(__file__).resolve().parent.parent / "samples"
TRUTHS: dict[str, dict[str, Any]] = {
    t["source"]: t for t in map(json.loads, (SAMPLES / "truth_clips.jsonl").read_text("utf-8").splitlines())
}
MADE_WITH = [
    line
    for line in (SAMPLES / "made_with_clips.txt").read_text("utf-8").splitlines()
    if line and not line.startswith("#")
]
RIDE = "alder-vale-ride.mp4"
FLASHES = "brindle-staggered-flash.mp4"


def test_every_clip_has_its_truth_and_its_command() -> None:
    assert {p.name for p in SAMPLES.glob("*.mp4")} == set(TRUTHS)
    assert len(MADE_WITH) == len(TRUTHS)
    for name, line in zip(TRUTHS, MADE_WITH, strict=True):
        assert name in line
    listed = (SAMPLES / "alder_vale.md").read_text("utf-8")
    assert all(name.removesuffix(".mp4") in listed for name in TRUTHS)


def test_they_are_small() -> None:
    assert (SAMPLES / RIDE).stat().st_size < 8e6
    assert sum((SAMPLES / name).stat().st_size for name in TRUTHS) < 9.5e6


def test_the_truth_can_be_read_and_rules_are_what_the_core_makes_of_it() -> None:
    for known in load_truth(SAMPLES / "truth_clips.jsonl"):
        assert known.kind == "clip"
        for signal in known.signals:
            words = ", ".join([
                " over ".join(h.words() for h in signal.heads or ()), signal.mount or "",
                *([signal.arrangement] if signal.arrangement else []), "no number plate",
            ])  # fmt: skip
            numbered = next(s for s in TRUTHS[known.source]["signals"] if s["box"][0] == signal.box.x0)[
                "number"
            ]
            if numbered:
                words = words.replace("no number plate", f"number plate {numbered}")
            said = explain(words, load_book()).reading
            assert said is not None and said.rule == signal.rule


def test_each_signal_of_the_ride_shows_what_the_one_before_announced() -> None:
    book, before = load_book(), None
    signals = TRUTHS[RIDE]["signals"]
    assert len(signals) == 6
    for signal in signals:
        first, last = signal["aspects"][0]["rule"], signal["aspects"][-1]["rule"]
        assert before is None or holds(before, book.rule(first))
        before = book.rule(last)
    assert [s["span_s"][1] for s in signals] == sorted(s["span_s"][1] for s in signals)
    assert any(len(s["aspects"]) == 2 for s in signals)


@pytest.mark.parametrize("name", [n for n in TRUTHS if n != RIDE])
def test_the_lamps_are_where_the_truth_says(name: str) -> None:
    truth = TRUTHS[name]
    (signal,) = truth["signals"]
    with open_clip(str(SAMPLES / name)) as clip:
        assert list(clip.size) == truth["size"]
        frame = min(clip, key=lambda f: abs(f.time.seconds - signal["at_s"]))
        rgb = frame.rgb().astype(float)
    for lamp in signal["lamps"]:
        (x, y), r = lamp["centre"], lamp["diameter_px"] / 5
        red, green, blue = rgb[int(y - r) : int(y + r) + 1, int(x - r) : int(x + r) + 1].mean(axis=(0, 1))
        if lamp["flashing"]:
            continue  # it may be dark just then
        assert (green > red) == (lamp["colour"] == "green")
        assert max(red, green) > blue + 20


def test_one_flashes() -> None:
    (signal,) = TRUTHS[FLASHES]["signals"]
    lamp = signal["lamps"][0]
    assert signal["heads"][0] == "flashing yellow"
    with open_clip(str(SAMPLES / FLASHES)) as clip:
        x, y = lamp["centre"]
        # The hand moves the lamp by some px: the brightest of red in a window about its place.
        window = [
            f.rgb()[int(y) - 60 : int(y) + 60, int(x) - 60 : int(x) + 60, 0].astype(float) for f in clip
        ]
    bright = np.array([np.quantile(w, 0.999) for w in window])
    lit = bright > (bright.max() + bright.min()) / 2
    assert bright.max() > bright.min() + 50
    assert np.count_nonzero(np.diff(lit.astype(int))) >= 4


def test_the_commands_make_the_clips(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Two frames of each are enough: to draw all of them would take as long as all other tests.
    whole = DrawnClip.frames
    monkeypatch.setattr(DrawnClip, "frames", lambda clip: itertools.islice(whole(clip), 2))
    monkeypatch.chdir(tmp_path)
    for name in (n for n in TRUTHS if n != RIDE):
        (words,) = (shlex.split(line) for line in MADE_WITH if name in line)
        assert run(words[1:]) == 0
        (made,) = map(json.loads, Path("truth.jsonl").read_text().splitlines())
        Path("truth.jsonl").unlink()
        assert made == TRUTHS[name]
        with open_clip(name) as ours, open_clip(str(SAMPLES / name)) as theirs:
            a, b = next(ours).rgb().astype(int), next(theirs).rgb().astype(int)
        # Another build of the coder may decide differently here and there.
        assert np.abs(a - b).mean() < 2


def test_the_script_makes_the_ride() -> None:
    spec = importlib.util.spec_from_file_location("sample_ride", SAMPLES / "ride.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    ride = module.ride()
    # Of its truth and its frames, some: all of them take minutes.
    with open_clip(str(SAMPLES / RIDE)) as clip:
        kept = {i: (f.time, f.rgb()) for i, f in enumerate(clip) if i in (0, 100, 400)}
    for index, (time, rgb) in kept.items():
        drawn = ride.frame(index)
        assert (drawn.time.pts * drawn.time.time_base) == time.pts * time.time_base
        assert np.abs(drawn.rgb.astype(int) - rgb).mean() < 6
    aspects = [[[h.words() for h in p.aspect.heads] for p in parts] for parts in ride.shown]
    assert aspects == [[p["heads"] for p in s["aspects"]] for s in TRUTHS[RIDE]["signals"]]
    first = TRUTHS[RIDE]["signals"][0]
    moment = min((t.seconds for t in ride.times), key=lambda t: abs(t - first["at_s"]))
    assert ride.signals_at(moment)[0].box.as_list() == first["box"]
