from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from litlamp.cli import commands
from litlamp.collection.compare import KINDS, Comparison, compare
from litlamp.collection.judge import side
from litlamp.collection.truth_file import LinesError

RULES = ["405", "411", "421", "436", "437", "439"]


def written(path: Path, *records: dict[str, Any]) -> Path:
    path.write_text("".join(json.dumps(record) + "\n" for record in records))
    return path


@pytest.fixture
def compared(tmp_path: Path, by_hand: Any) -> Any:
    def run(before: list[dict[str, Any]], after: list[dict[str, Any]]) -> Comparison:
        a, b = written(tmp_path / "a.jsonl", *before), written(tmp_path / "b.jsonl", *after)
        return compare(a, b, by_hand.book)

    return run


def signal(by_hand: Any, rule: str, *also: str, x: float = 100.0, **more: Any) -> dict[str, Any]:
    said = by_hand.said(rule, probability=0.9, also=also)
    return by_hand.read(by_hand.signal("red", rule=rule, x=x)) | said | more


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=60)
@given(st.sampled_from(RULES), st.sampled_from(RULES))
def test_a_change_of_the_guarded_reading_has_the_side_that_the_judge_gives_it(
    compared: Any, by_hand: Any, before: str, after: str
) -> None:
    result = compared([by_hand.record(signal(by_hand, before))], [by_hand.record(signal(by_hand, after))])
    expected = {
        "wrong": ["guarded less restrictive"],
        "right": ["guarded more restrictive"],
        "same": [] if before == after else ["another rule of the same rank"],
    }[side(after, before, by_hand.book)]
    assert [change.kind for change in result.changes] == expected
    assert result.same == (not expected)


def test_the_gravest_changes_come_first_whatever_the_order_of_sources(compared: Any, by_hand: Any) -> None:
    stop, clear = signal(by_hand, "439"), signal(by_hand, "405")
    guarded_stop = signal(by_hand, "405", "439")
    unread: dict[str, Any] = {"reading": None, "guarded": None, "set": []}
    failed = {"kind": None, "size": None, "failure": "gone"}
    pairs = {
        "same": (stop, stop),
        "set": (guarded_stop, signal(by_hand, "405", "439", "411")),
        "reading-up": (stop, guarded_stop),
        "reading-down": (guarded_stop, stop),
        "up": (stop, clear),
        "down": (clear, stop),
        "read": (stop | unread, clear),
        "unread": (clear, stop | unread),
        "lost": (clear, None),
        "gained": (None, clear),
        "aspect": (stop, stop | {"aspect": "red over red"}),
    }

    def records(which: int) -> list[dict[str, Any]]:
        held = [
            by_hand.record(*([pair[which]] if pair[which] else []), source=name)
            for name, pair in pairs.items()
        ]
        ends = [by_hand.record(source="b", **failed), by_hand.record(source="c")]
        own = by_hand.record(clear, source="only-before" if which == 0 else "only-after")
        return [*held, by_hand.record(source="f"), *ends, own]

    after = records(1)
    for i, record in enumerate(after):
        if record["source"] == "f":
            after[i] = by_hand.record(source="f", **failed)
        if record["source"] == "b":
            after[i] = by_hand.record(clear, source="b")
    result = compared(records(0), after)
    assert [(c.source, c.kind) for c in result.changes] == [
        ("up", "guarded less restrictive"),
        ("read", "guarded less restrictive"),
        ("reading-up", "reading less restrictive"),
        ("lost", "signal lost"),
        ("f", "no longer read"),
        ("down", "guarded more restrictive"),
        ("unread", "guarded more restrictive"),
        ("reading-down", "reading more restrictive"),
        ("gained", "signal gained"),
        ("b", "read at last"),
        ("set", "another set"),
        ("aspect", "another aspect"),
        ("only-before", "gone from the collection"),
        ("only-after", "new in the collection"),
    ]
    assert list(result.counts()) == [kind for kind in KINDS if kind in result.counts()]
    assert (result.sources, result.signals, result.same) == (14, 9, 1)


def test_signals_are_matched_by_place_and_in_a_clip_by_time(compared: Any, by_hand: Any) -> None:
    left, right = signal(by_hand, "439"), signal(by_hand, "405", x=300.0)
    result = compared([by_hand.record(left, right)], [by_hand.record(right, left)])
    assert (result.signals, result.same) == (2, 2)
    early, late = {"span_s": [0.0, 5.0]}, {"span_s": [20.0, 30.0]}
    clip = {"kind": "clip", "duration_s": 40.0}
    elsewhere = signal(by_hand, "439", x=350.0)
    result = compared(
        [by_hand.record(left | early, right | late, **clip)],
        [by_hand.record(elsewhere | early, right | late, **clip)],
    )
    assert (result.signals, result.same) == (2, 2)


def test_a_source_twice_or_another_book_is_refused(compared: Any, by_hand: Any) -> None:
    one = by_hand.record()
    with pytest.raises(LinesError, match=r"b\.jsonl, line 2: 'a\.png' stands there twice"):
        compared([one], [one, one])
    with pytest.raises(LinesError, match=r"a\.jsonl: 'a\.png' stands there twice"):
        compared([one, one], [one])
    other = by_hand.record(rulebook={"name": "NORAC", "edition": "2018"})
    with pytest.raises(LinesError, match=r"follows NORAC 2018, not CROR"):
        compared([one], [other])


def test_the_command(tmp_path: Path, by_hand: Any) -> None:
    before = written(tmp_path / "a.jsonl", by_hand.record(signal(by_hand, "439")))
    after = written(tmp_path / "b.jsonl", by_hand.record(signal(by_hand, "405")))
    told = CliRunner().invoke(commands, ["compare", str(before), str(after)])
    assert told.exit_code == 0
    assert "1  guarded less restrictive" in told.output
    assert told.output.index("was  Stop, Rule 439") < told.output.index("is   Clear, Rule 405")
    assert "Training aid only" in told.output
    as_json = json.loads(CliRunner().invoke(commands, ["compare", str(before), str(after), "--json"]).output)
    assert as_json["counts"] == {"guarded less restrictive": 1}
    assert as_json["comparison"]["changes"][0]["source"] == "a.png"
    missing = CliRunner().invoke(commands, ["compare", str(before), str(tmp_path / "none")])
    assert missing.exit_code == 2
