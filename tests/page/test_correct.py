from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import COLOURS, PLATES
from litlamp.aspects.belief import HeadBelief, PlateBelief, SignalBelief
from litlamp.aspects.interpret import interpret
from litlamp.aspects.rulebook import load_book
from litlamp.page.correct import Correction, HeadSaid, corrected, correction_of, read_corrected

BOOK = load_book()
RED = HeadBelief({"red": 0.9, "yellow": 0.1})
LONE = SignalBelief((RED,), {"mast": 0.95, "dwarf": 0.05}, {"vertical": 1.0}, whole=0.97)


def test_what_was_stated_is_certain_and_the_rest_stays() -> None:
    now = corrected(LONE, Correction((HeadSaid("yellow", True),), plates={"A": True}))
    assert now.heads[0].colour == {"yellow": 1.0} and now.heads[0].flashing == 1.0
    assert now.plates == {"A": PlateBelief(1.0, 0.0, 0.0)}
    assert now.mount == LONE.mount and now.whole == LONE.whole


def test_heads_are_added_and_taken_away() -> None:
    two = corrected(LONE, Correction((HeadSaid(),), above="green", below="red"))
    assert [max(h.colour, key=lambda c: h.colour[c]) for h in two.heads] == ["green", "red", "red"]
    assert corrected(LONE, Correction((HeadSaid(no_head=True),))).heads == ()


def test_no_head_left_is_no_reading() -> None:
    got = read_corrected(LONE, interpret(LONE, BOOK), Correction((HeadSaid(no_head=True),)), BOOK)
    assert got.reading.reading is None
    assert "it is No reading" in got.summary


def test_why_it_changed_names_each_statement() -> None:
    before = interpret(LONE, BOOK)
    plates = dict.fromkeys(PLATES, False)
    said = Correction((HeadSaid("red"),), mount="mast", plates=plates, whole=True)
    got = read_corrected(LONE, before, said, BOOK)
    assert got.reading.guarded is not None and got.reading.guarded.rule == "437"
    assert [c.stated for c in got.changes] == [
        "The head is red", "It is on a mast", "There is no A plate", "There is no R plate",
        "There is no L plate", "There is no DV plate", "All its heads are in view",
    ]  # fmt: skip
    assert "was Stop" in got.summary and "Stop and Proceed" in got.summary


def test_what_is_no_choice_says_nothing() -> None:
    wild = {"colour0": "mauve", "flash0": "perhaps", "mount": "", "plateA": "on", "whole": "no", "x": "y"}
    assert not correction_of(wild, 1)
    assert correction_of({"colour0": "none"}, 1).heads[0].no_head


fields = st.dictionaries(
    st.sampled_from(
        ["colour0", "colour1", "flash0", "flash1", "above", "below", "mount", "arrangement", "whole"]
        + [f"plate{k}" for k in PLATES]
    ),
    st.sampled_from([*COLOURS, "yes", "no", "none", "mast", "dwarf", "vertical", "staggered", ""]),
)


@given(fields)
def test_any_form_gives_a_reading(said: dict[str, str]) -> None:
    two = SignalBelief(
        (RED, RED), {"mast": 0.95, "dwarf": 0.05}, {"vertical": 0.6, "staggered": 0.4}, whole=0.9
    )
    correction = correction_of(said, 2)
    before = interpret(two, BOOK)
    got = read_corrected(two, before, correction, BOOK)
    if not correction:
        assert got.reading == before
    assert abs(sum(c.probability for c in got.reading.chances) - 1) < 1e-6 or not got.reading.chances
