from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.cautions import LONG, SHORT, STILL
from litlamp.aspects.reading import RuleChance
from litlamp.report.text import confidence_words, differs, foot_text, percent, source_text, words_text

SETTLED = """\
pictures/brindle-halt.jpg, 400 x 300 px: 1 signal

Clear to Stop, Rule 411
  how sure  sure, 98 %.
  aspect    yellow over red, vertical, mast
  why       - Two heads in line on a mast: yellow over red.
            - The lower red is a placeholder.
Training aid only. Never act on it on or near a track."""

FOOT = """\
A still cannot settle whether a lamp flashes.
Training aid only: never act on it on or near a track. The rulebook in force,
special instructions and the qualified employee decide. Keep off railway
property; photograph from public places."""

GUARDED = """\
Guarded reading: Stop, Rule 439
  but       Restricting, Rule 436 is the most likely: fairly sure, 83 %.
  so        Not settled at 99 %: the most restrictive it may be stands.
  aspect    single red, mast, R plate
  may be    Restricting, Rule 436: 83 %; Stop, Rule 439: 17 %.
  why       - A single red head on a mast.
  mind      - A plate may be hidden: an A plate would make it Stop.
"""


def test_a_settled_reading(by_hand: Any) -> None:
    of = by_hand.source((by_hand.signal("yellow", "red"), by_hand.settled()))
    assert source_text(of) == SETTLED
    assert foot_text([of]) == foot_text([of, by_hand.source(), by_hand.source(failure="gone")]) == FOOT


def test_the_guarded_reading_is_the_headline_where_it_differs(by_hand: Any) -> None:
    assert words_text(by_hand.guarded(), "CROR", "2025").startswith(GUARDED)
    assert differs(by_hand.guarded())
    assert not differs(by_hand.settled())
    assert not differs(by_hand.nothing())


def test_several_signals_are_numbered_left_to_right(by_hand: Any) -> None:
    text = source_text(
        by_hand.source(
            (by_hand.signal("yellow", "red", x=50), by_hand.settled()),
            (by_hand.signal("red", x=300), by_hand.guarded()),
        )
    )
    assert "2 signals, left to right" in text
    assert text.index("\n1. Clear to Stop") < text.index("\n2. Guarded reading: Stop")


def test_no_signal_is_not_said_to_be_none(by_hand: Any) -> None:
    text = source_text(by_hand.source())
    assert "no signal found" in text
    assert "does not mean that none is there" in " ".join(text.split())
    assert SHORT in " ".join(text.split())
    assert foot_text([by_hand.source()]).startswith("Read by CROR 2025.")
    assert LONG in " ".join(foot_text([by_hand.source()]).split())


def test_no_reading(by_hand: Any) -> None:
    text = source_text(by_hand.source((by_hand.signal("dark"), by_hand.nothing())))
    assert "\nNo reading\n" in text
    assert "No head is lit." in text


def test_failure(by_hand: Any) -> None:
    said = "pictures/brindle-halt.jpg: not read: this file is empty"
    assert source_text(by_hand.source(failure="this file is empty")) == said


def test_eighty_columns(by_hand: Any) -> None:
    long = replace(
        by_hand.guarded(), why=("a step that has to be said at some length " * 6,), aspect="x " * 90
    )
    text = source_text(by_hand.source((by_hand.signal("red"), long), (by_hand.signal("red"), long)))
    assert max(map(len, text.splitlines())) <= 80
    assert "\u00a0" not in text


@pytest.mark.parametrize(
    ("p", "words"),
    [
        (0.0, "0 %"), (1.0, "100 %"), (1e-6, "under 0.1 %"), (0.012, "1.2 %"), (0.5, "50 %"), (0.981, "98 %"),
        (0.99, "99 %"), (0.997, "99.7 %"), (0.9999, "over 99.9 %"),
    ],
)  # fmt: skip
def test_percent(p: float, words: str) -> None:
    assert percent(p).replace("\u00a0", " ") == words


@given(st.floats(1e-8, 1 - 1e-8))
def test_percent_never_claims_certainty(p: float) -> None:
    number = percent(p).split("\u00a0")[0]
    assert number not in ("0", "100", "0.0", "100.0")


def test_words_of_confidence_fall_with_it() -> None:
    said = [confidence_words(p / 1000) for p in range(1000, -1, -1)]
    steps = list(dict.fromkeys(said))
    assert steps == ["very sure", "sure", "fairly sure", "unsure", "a guess"]
    assert said == sorted(said, key=steps.index)


@pytest.mark.parametrize(("second", "tie"), [(0.4, True), (0.4001, True), (0.3, False)])
def test_of_readings_alike_none_is_said_to_be_the_most_likely(by_hand: Any, second: float, tie: bool) -> None:
    first, stop = RuleChance("411", "Clear to Stop", 0.4), RuleChance("439", "Stop", 0.1)
    either = (first, RuleChance("415", "Advance Clear to Stop", second), stop)
    said = replace(by_hand.settled(), reading=first, guarded=stop, set=either)
    text = words_text(said, "CROR", "2025")
    assert ("is as likely as any:" in text) == tie
    assert ("is the most likely:" in text) != tie


def test_what_is_no_standard_aspect_is_guarded_as_the_most_restrictive(by_hand: Any) -> None:
    odd = RuleChance(None, "not a standard aspect", 1.0, "not_standard")
    said = replace(by_hand.settled(), reading=odd, guarded=RuleChance("439", "Stop", 1.0), set=(odd,))
    text = words_text(said, "CROR", "2025")
    assert text.startswith(
        "Guarded reading: Stop, Rule 439\n  but       Not a standard aspect is the most likely"
    )
    assert "counts as the most restrictive indication" in " ".join(text.split())
    assert "Not settled" not in text


def test_a_caution_of_every_reading_is_told_once(by_hand: Any) -> None:
    signals = [(by_hand.signal("yellow", "red"), by_hand.settled())] * 3
    of = by_hand.source(*signals)
    assert STILL not in source_text(of)
    assert source_text(of).count("Training aid only") == 1
    assert foot_text([of, of]).count(STILL) == 1
    assert foot_text([of, of]).count("Training aid only") == 1
