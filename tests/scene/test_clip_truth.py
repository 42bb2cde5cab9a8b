import json

import pytest

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.clip import draw_clip
from litlamp.scene.clip_truth import clip_truth_line

ASPECT = Aspect((Lamp("yellow", True), Lamp("red")), "mast", "staggered", frozenset({"R"}), "27")
THEN = Aspect((Lamp("green"), Lamp("red")))


def test_a_line_says_all_of_a_pictures_line_and_the_times():
    clip = draw_clip(
        ASPECT, seed=1, size=(200, 150), seconds=2, fps=10, changes=[(1.0, THEN)], motion="still"
    )
    line = clip_truth_line(clip.truth, "a.mp4", "2025", lambda a: "415" if a.heads[0].flashing else "405")
    assert json.loads(json.dumps(line)) == line
    assert (line["source"], line["kind"], line["duration_s"], line["size"]) == (
        "a.mp4",
        "clip",
        2.0,
        [200, 150],
    )
    (signal,) = line["signals"]
    assert signal["heads"] == ["green", "red"]  # at its best moment, the last
    assert (signal["rule"], signal["edition"], signal["at_s"]) == ("405", "2025", 1.9)
    assert (signal["mount"], signal["arrangement"], signal["plates"], signal["number"]) == (
        "mast", "staggered", ["R"], "27"
    )  # fmt: skip
    assert signal["span_s"] == [0.0, 1.9]
    assert signal["flash_per_min"] == pytest.approx(clip.flashing[0].per_minute, abs=0.01)
    assert [(a["from_s"], a["to_s"], a["heads"], a["rule"]) for a in signal["aspects"]] == [
        (0.0, 1.0, ["flashing yellow", "red"], "415"), (1.0, 2.0, ["green", "red"], "405")
    ]  # fmt: skip


def test_signals_seen_from_behind_are_left_out():
    clip = draw_clip(ASPECT, seed=1, size=(200, 150), seconds=1, fps=5, back=True)
    assert len(clip.truth.signals) == 1
    steady = draw_clip(THEN, seed=1, size=(200, 150), seconds=1, fps=5)
    assert clip_truth_line(steady.truth, "a.mp4")["signals"][0]["flash_per_min"] is None
    assert clip_truth_line(clip.truth, "a.mp4")["signals"] == []
