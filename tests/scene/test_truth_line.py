import json

import numpy as np

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.compose import compose, draw_scenery
from litlamp.scene.truth_line import truth_line


def line(rules=None):
    rng = np.random.default_rng(1)
    aspect = Aspect((Lamp("yellow", True), Lamp("red")), "mast", "staggered", frozenset({"R"}), "27")
    _, truth = compose((aspect,), draw_scenery(rng, (200, 300), back=False, lens=8.0), rng)
    return truth_line(truth, "a.png", "2025", rules), truth


def test_says_the_aspect_in_words_and_where_it_lies():
    out, truth = line()
    signal = out["signals"][0]
    assert out["source"] == "a.png"
    assert out["size"] == [200, 300]
    assert signal["heads"] == ["flashing yellow", "red"]
    assert (signal["mount"], signal["arrangement"], signal["plates"]) == ("mast", "staggered", ["R"])
    assert signal["number"] == "27"
    assert signal["edition"] == "2025"
    assert signal["rule"] is None
    assert len(signal["head_boxes"]) == len(signal["lamps"]) == 2
    assert {p["kind"] for p in signal["plate_boxes"]} == {"R", "number"}
    assert signal["lamps"][1]["centre"] == [round(v, 1) for v in truth.signals[0].heads[1].centre]


def test_asks_the_given_rulebook():
    out, _ = line(lambda aspect: "42" if aspect.plates == {"R"} and aspect.number == "27" else None)
    assert out["signals"][0]["rule"] == "42"


def test_is_plain_json():
    out, _ = line()
    assert json.loads(json.dumps(out)) == out


def test_signals_seen_from_behind_are_left_out():
    rng = np.random.default_rng(1)
    scenery = draw_scenery(rng, (100, 100), back=True)
    _, truth = compose((Aspect((Lamp("red"),), "mast", "vertical"),), scenery, rng)
    assert truth_line(truth, "b.png")["signals"] == []
