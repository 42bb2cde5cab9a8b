from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import COLOURS
from litlamp.aspects.cautions import LONG
from litlamp.aspects.reading import RuleChance
from litlamp.report.record import (
    RecordError,
    encode,
    record,
    rounded,
    schema_markdown,
    validate_line,
    words_record,
)

TOP = [
    "schema", "litlamp", "model", "source", "kind", "size", "duration_s", "rulebook", "caution", "failure",
    "signals",
]  # fmt: skip
SIGNAL = [
    "box", "span_s", "whole_in_view", "whole", "mount", "arrangement", "heads", "plates", "plates_unknown",
    "number", "aspect", "reading", "guarded", "set", "why", "cautions",
]  # fmt: skip
HEAD = ["box", "lamp", "colour", "flash", "flash_per_min"]


@pytest.fixture
def line(by_hand: Any) -> bytes:
    signal = by_hand.signal("yellow", "red", plate="R")
    return encode(record(by_hand.source((signal, by_hand.guarded()))))


def test_keys_are_those_of_the_design_in_its_order(line: bytes) -> None:
    of = json.loads(line)
    assert list(of) == TOP
    assert list(of["signals"][0]) == [*SIGNAL, "plates_seen"]
    head = of["signals"][0]["heads"][0]
    assert list(head) == HEAD
    assert list(head["colour"]) == ["red", "yellow", "green", "lunar", "dark"]
    assert list(of["signals"][0]["plates"]) == ["A", "R", "L", "DV"]
    assert list(of["signals"][0]["set"][0]) == ["rule", "name", "probability"]
    assert list(of["signals"][0]["guarded"]) == ["rule", "name", "level"]
    assert list(of["rulebook"]) == ["name", "edition"]


def test_values(line: bytes) -> None:
    of = json.loads(line)
    assert of["schema"] == 1
    assert of["kind"] == "photo"
    assert of["size"] == [400, 300]
    assert of["caution"] == LONG
    assert of["failure"] is None
    signal = of["signals"][0]
    assert signal["reading"] == {"rule": "436", "name": "Restricting", "probability": 0.83}
    assert signal["guarded"] == {"rule": "439", "name": "Stop", "level": 0.99}
    assert signal["plates"] == {"A": 0.0, "R": 0.95, "L": 0.0, "DV": 0.0}
    assert signal["plates_unknown"] == {"A": 1.0, "R": 0.03, "L": 1.0, "DV": 1.0}
    assert signal["heads"][0]["flash"] is None
    assert signal["heads"][0]["lamp"] == [200.0, 60.0, 20.0]
    assert signal["heads"][0]["box"] == [180.0, 40.0, 220.0, 80.0]


def test_it_is_one_line_and_the_same_every_time(by_hand: Any, line: bytes) -> None:
    assert b"\n" not in line
    again = by_hand.source((by_hand.signal("yellow", "red", plate="R"), by_hand.guarded()))
    assert encode(record(again)) == line


def test_round_trip(line: bytes) -> None:
    assert encode(validate_line(line)) == line
    assert encode(validate_line(line.decode())) == line


def test_unknown_keys_are_let_pass(line: bytes) -> None:
    of = json.loads(line)
    of["later"] = {"x": 1}
    of["signals"][0]["aspects"] = []
    assert validate_line(json.dumps(of)).signals[0].aspect == "single red, mast, R plate"


def test_outcomes_that_are_no_rule(by_hand: Any) -> None:
    odd = RuleChance(None, "anything the core calls it", 0.9, "not_standard")
    reading = replace(by_hand.settled(), reading=odd, guarded=odd, set=(odd,))
    of = record(by_hand.source((by_hand.signal("red"), reading))).signals[0]
    assert of.reading is not None
    assert (of.reading.rule, of.reading.name) == (None, "not a standard aspect")
    dark = record(by_hand.source((by_hand.signal("dark"), by_hand.nothing()))).signals[0]
    assert dark.reading is None and dark.guarded is None
    assert dark.set[0].name == "not lit"
    assert dark.heads[0].lamp is None


def test_failure_and_nothing_found_differ(by_hand: Any) -> None:
    failed = json.loads(encode(record(by_hand.source(failure="this file is empty"))))
    assert failed["failure"] == "this file is empty"
    assert failed["signals"] == [] and failed["size"] is None and failed["kind"] is None
    none = json.loads(encode(record(by_hand.source())))
    assert none["failure"] is None and none["signals"] == [] and none["kind"] == "photo"
    for of in (failed, none):
        validate_line(json.dumps(of))


def test_words_have_no_picture(by_hand: Any) -> None:
    belief = by_hand.signal("yellow", "red").belief()
    of = json.loads(encode(words_record(belief, by_hand.settled(), "CROR", "2025")))
    assert list(of) == ["schema", "litlamp", "rulebook", "caution", *SIGNAL[4:]]
    assert list(of["heads"][0]) == ["colour", "flash", "flash_per_min"]


def _broken(line: bytes, path: str, value: object) -> str:
    of = json.loads(line)
    at = of
    *way, last = path.split(".")
    for step in way:
        at = at[int(step)] if step.isdecimal() else at[step]
    if value is KeyError:
        del at[last]
    else:
        at[int(last) if last.isdecimal() else last] = value
    return json.dumps(of)


@pytest.mark.parametrize(
    ("path", "value", "where"),
    [
        ("signals.0.heads.1.colour.red", 1.5, "`$.signals[0].heads[1].colour.red`"),
        ("signals.0.heads.1.colour.red", 0.5, "`$.signals[0].heads[1].colour`"),
        ("signals.0.heads.0.colour.lunar", KeyError, "`$.signals[0].heads[0].colour`"),
        ("signals.0.heads.0.box", KeyError, "`$.signals[0].heads[0]`"),
        ("signals.0.heads.0.box", [9, 0, 1, 1], "`$.signals[0].heads[0].box`"),
        ("signals.0.box", [0, 0, 1], "`$.signals[0].box`"),
        ("signals.0.mount.mast", -0.1, "`$.signals[0].mount.mast`"),
        ("signals.0.arrangement.vertical", 0.2, "`$.signals[0].arrangement`"),
        ("signals.0.plates_unknown.R", 0.9, "`$.signals[0].plates_unknown.R`"),
        ("signals.0.guarded", None, "`$.signals[0].guarded`"),
        ("signals.0.guarded.rule", "405", "`$.signals[0].guarded`"),
        ("signals.0.set.0.probability", "much", "`$.signals[0].set[0].probability`"),
        ("signals.0.why", "text", "`$.signals[0].why`"),
        ("kind", "drawing", "`$.kind`"),
        ("size", None, "`$`"),
        ("size", [0, 3], "`$.size[0]`"),
        ("schema", 2, "`$.schema`"),
        ("failure", "broken", "`$.signals`"),
        ("rulebook", KeyError, "rulebook"),
    ],
)
def test_faults_name_their_place(line: bytes, path: str, value: object, where: str) -> None:
    with pytest.raises(RecordError) as caught:
        validate_line(_broken(line, path, value))
    assert where in str(caught.value)


@pytest.mark.parametrize(
    "junk", [b"", b"{", b"[]", b"null", b"\xff\xfe", b"{}", b'{"schema": "one"}', b"{} {}"]
)
def test_junk_is_refused(junk: bytes) -> None:
    with pytest.raises(RecordError):
        validate_line(junk)


@given(st.floats(0, 1))
def test_rounding_never_claims_certainty(p: float) -> None:
    r = rounded(p)
    assert 0 <= r <= 1
    assert abs(r - p) <= 1.0001e-4
    assert rounded(r) == r
    assert len(f"{r!r}".rstrip("0")) <= 6 or "e" in f"{r!r}"
    if 1e-9 < p < 1 - 1e-9:
        assert 0.0001 <= r <= 0.9999


@given(st.floats(0, 1), st.floats(0, 1))
def test_rounding_keeps_the_order(a: float, b: float) -> None:
    assert (a <= b) <= (rounded(a) <= rounded(b))


@given(st.lists(st.floats(1e-12, 1), min_size=5, max_size=5))
def test_any_belief_written_is_valid(weights: list[float]) -> None:
    from litlamp.report.record import _colour, _sums_to_one

    total = sum(weights)
    colour = _colour({c: w / total for c, w in zip(COLOURS, weights, strict=True)})
    _sums_to_one(msgspec.structs.astuple(colour), "$")


def test_every_key_is_documented_and_none_besides() -> None:
    from litlamp.report.record import _DOCUMENTED

    for struct, _, keys in _DOCUMENTED:
        assert [key for key, _, _ in keys] == list(struct.__struct_fields__)
    text = schema_markdown()
    for key in {*TOP, *SIGNAL, *HEAD}:
        assert f"| `{key}` |" in text
