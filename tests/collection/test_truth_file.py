import json
from pathlib import Path

import numpy as np
import pytest

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.collection.truth_file import LinesError, load_truth, parse_truth
from litlamp.scene.clip import draw_clip
from litlamp.scene.clip_truth import clip_truth_line
from litlamp.scene.compose import compose, draw_scenery
from litlamp.scene.truth_line import truth_line

ROOT = Path(__file__).resolve().parents[2]
REAL = ROOT.parent / "shared" / "real" / "truth.jsonl"


def parsed(line):
    return parse_truth(json.dumps(line).encode(), "truth.jsonl")[0]


def test_reads_what_the_renderer_writes():
    rng = np.random.default_rng(1)
    aspect = Aspect((Lamp("yellow", True), Lamp("red")), "mast", "staggered", frozenset({"R"}), "27")
    _, shown = compose((aspect,), draw_scenery(rng, (200, 300), back=False, lens=8.0, light="dusk"), rng)
    of = parsed(truth_line(shown, "a.png", "2025", lambda _: "415"))
    signal = of.signals[0]
    assert (of.source, of.light, of.complete) == ("a.png", "dusk", True)
    assert signal.heads == aspect.heads
    assert (signal.mount, signal.arrangement, signal.plates) == ("mast", "staggered", {"R"})
    assert (signal.ruled, signal.rule, signal.edition, signal.steady) == (True, "415", "2025", False)
    assert [lamp.lit for lamp in signal.lamps] == [h.lit for h in shown.signals[0].heads]
    assert {lamp.kind for lamp in signal.lamps} == {h.kind for h in shown.signals[0].heads}
    assert signal.diameter == pytest.approx(8.0, abs=2.0)


def test_reads_the_packaged_samples():
    truths = load_truth(ROOT / "samples" / "selfcheck" / "truth.jsonl")
    assert [t.signals[0].rule for t in truths] == ["411", "405", "437"]


@pytest.mark.real
@pytest.mark.skipif(not REAL.exists(), reason="the real pictures are not beside this checkout")
def test_reads_the_labels_of_the_real_pictures():
    truths = load_truth(REAL)
    lamps = [lamp for t in truths for s in t.signals for lamp in s.lamps]
    assert len(truths) > 900
    assert len(lamps) > 40
    assert all(lamp.at is not None for lamp in lamps)
    assert any(s.ruled and s.rule == "405" for t in truths for s in t.signals)
    assert any(not s.ruled for t in truths for s in t.signals)


def test_the_least_that_a_line_can_say():
    signal = parsed({"source": "a", "signals": [{"box": [1, 2, 3, 4]}]}).signals[0]
    assert (signal.heads, signal.mount, signal.plates, signal.lit, signal.ruled) == (None,) * 4 + (False,)


def test_heads_in_words_alone_are_lamps_without_a_place():
    signal = parsed({"source": "a", "signals": [{"box": [1, 2, 3, 4], "heads": ["flashing red", "dark"]}]})
    lamps = signal.signals[0].lamps
    assert [(lamp.colour, lamp.lit, lamp.at) for lamp in lamps] == [
        ("red", True, None),
        ("dark", False, None),
    ]


@pytest.mark.parametrize(
    ("words", "light"),
    [
        ("sunny winter day", "day"),
        ("overcast day", "overcast"),
        ("dawn/dusk", "dusk"),
        ("hazy sun", "day"),
        ("low light", None),
        (None, None),
    ],
)
def test_light_in_ones_own_words(words, light):
    assert parsed({"source": "a", "signals": [], "light": words}).light == light


@pytest.mark.parametrize(
    "line",
    [
        b"nonsense",
        b"\xff\xfe{}",
        b"[]",
        b'{"source": "a"}',
        b'{"source": "a", "signals": [{}]}',
        b'{"source": "a", "signals": [{"box": [1, 2, 3]}]}',
        b'{"source": "a", "signals": [{"box": [3, 2, 1, 4]}]}',
        b'{"source": "a", "signals": [{"box": [1, 2, 3, 4], "heads": ["purple"]}]}',
        b'{"source": "a", "signals": [{"box": [1, 2, 3, 4], "mount": "tree"}]}',
        b'{"source": "a", "signals": [{"box": [1, 2, 3, 4], "lamps": [{"colour": "blue"}]}]}',
        b'{"source": "a", "signals": [{"box": [1, 2, 3, 4], "lamps": [{"colour": "red", "visible": -1}]}]}',
        b'{"source": "a", "signals": [{"box": [1e400, 2, 3, 4]}]}',
    ],
)
def test_a_bad_line_is_told_in_one_sentence_with_its_number(line):
    good = b'{"source": "good", "signals": []}\n'
    with pytest.raises(LinesError, match=r"^truth.jsonl, line 2: ") as told:
        parse_truth(good + line + b"\n", "truth.jsonl")
    assert "\n" not in str(told.value)


def test_a_source_twice_is_refused():
    line = b'{"source": "a", "signals": []}\n'
    with pytest.raises(LinesError, match="line 3: 'a' stands on line 1 too"):
        parse_truth(line + b"\n" + line, "t")


@pytest.mark.parametrize("data", [b"", b"\n \n"])
def test_an_empty_file_is_refused(data):
    with pytest.raises(LinesError, match="holds no line"):
        parse_truth(data, "t")


@pytest.mark.parametrize("path", ["", "no-such-file", ".", "a\0b"])
def test_a_file_that_cannot_be_read_is_told(path):
    with pytest.raises(LinesError):
        load_truth(path)


def test_reads_what_the_renderer_writes_of_a_clip():
    first = Aspect((Lamp("red"), Lamp("red")), "mast", "vertical", frozenset(), None)
    then = Aspect((Lamp("yellow", True), Lamp("red")), "mast", "vertical", frozenset(), None)
    clip = draw_clip(first, seed=1, size=(160, 96), seconds=2, fps=10, changes=[(1.2, then)], motion="still")
    of = parsed(
        clip_truth_line(clip.truth, "a.mp4", "2025", lambda a: "439" if a.heads == first.heads else "415")
    )
    signal = of.signals[0]
    assert (of.kind, of.duration, of.light) == ("clip", 2.0, "day")
    assert [(a.from_s, a.to_s, a.heads, a.rule) for a in signal.aspects] == [
        (0.0, 1.2, first.heads, "439"), (1.2, 2.0, then.heads, "415")
    ]  # fmt: skip
    # The last of several equally good moments, and what is shown then: a flash counts as lit.
    assert (signal.at, signal.rule, signal.span) == (1.9, "415", (0.0, 1.9))
    assert [lamp.lit for lamp in signal.lamps] == [True, True]
    assert signal.flash_per_min == pytest.approx(clip.flashing[0].per_minute, abs=0.01)


def test_a_line_of_a_picture_is_no_clip_whatever_its_kind_says():
    of = parsed({"source": "a", "kind": "model, real video", "signals": [{"box": [1, 2, 3, 4]}]})
    assert (of.kind, of.duration) == ("photo", None)
    assert (of.signals[0].span, of.signals[0].aspects) == (None, ())


@pytest.mark.parametrize(
    "wrong",
    [
        {"span_s": [3.0, 1.0]},
        {"span_s": [-1.0, 1.0]},
        {"aspects": [{"from_s": 2.0, "to_s": 1.0}]},
        {"aspects": [{"from_s": 2.0, "to_s": 3.0}, {"from_s": 1.0, "to_s": 4.0}]},
        {"aspects": [{"from_s": 0.0, "to_s": 1.0, "heads": ["mauve"]}]},
    ],
)
def test_times_out_of_order_are_refused(wrong):
    with pytest.raises(LinesError, match="line 1"):
        parsed({"source": "a", "kind": "clip", "signals": [{"box": [1, 2, 3, 4], **wrong}]})
