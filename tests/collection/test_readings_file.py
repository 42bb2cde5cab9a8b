import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.collection.readings_file import pair_sources, parse_readings
from litlamp.collection.truth_file import LinesError, parse_truth

NAMES = st.lists(st.text("ab/", min_size=1, max_size=5), unique=True, max_size=8)


def pairs(by_hand, truths, readings):
    known = parse_truth(b"".join(json.dumps(by_hand.picture(source=s)).encode() + b"\n" for s in truths), "t")
    read = parse_readings(
        b"".join(json.dumps(by_hand.record(source=s)).encode() + b"\n" for s in readings), "r"
    )
    return [(t.source, r.source) for t, r in pair_sources(known, read)]


def test_the_same_path_comes_first(by_hand):
    assert pairs(by_hand, ["a/1.png", "1.png"], ["1.png", "a/1.png"]) == [
        ("a/1.png", "a/1.png"),
        ("1.png", "1.png"),
    ]


def test_else_as_much_of_the_end_as_agrees(by_hand):
    got = pairs(
        by_hand, ["cab/1.png", "road/1.png", "road/2.png"], ["x/cab/1.png", "x/road/1.png", "y\\2.png"]
    )
    assert got == [("cab/1.png", "x/cab/1.png"), ("road/1.png", "x/road/1.png"), ("road/2.png", "y\\2.png")]


def test_a_name_that_is_not_unique_is_not_guessed(by_hand):
    assert pairs(by_hand, ["a/1.png", "b/1.png"], ["c/1.png"]) == []
    assert pairs(by_hand, ["a/1.png"], ["b/1.png", "c/1.png"]) == []


@given(NAMES.filter(bool), NAMES.filter(bool))
def test_no_source_is_paired_twice_and_names_agree(by_hand, truths, readings):
    got = pairs(by_hand, truths, readings)
    for side in zip(*got, strict=True):
        assert len(set(side)) == len(side)
    assert {s for s in truths if s in readings} <= {t for t, r in got if t == r}


def test_two_books_in_one_file_are_refused(by_hand):
    other = by_hand.record(source="b.png", rulebook={"name": "CROR", "edition": "2008"})
    data = json.dumps(by_hand.record()).encode() + b"\n" + json.dumps(other).encode()
    with pytest.raises(LinesError, match="CROR 2008 and CROR 2025"):
        parse_readings(data, "r")


@pytest.mark.parametrize("line", [b"{}", b"nonsense", b"\xff", b"[1]"])
def test_a_bad_line_is_told_with_its_number(line):
    with pytest.raises(LinesError, match=r"^r, line 1: this is no reading"):
        parse_readings(line, "r")


def test_a_source_twice_is_refused(by_hand):
    line = json.dumps(by_hand.record()).encode() + b"\n"
    with pytest.raises(LinesError, match=r"line 2: 'a.png' stands on line 1 too"):
        parse_readings(line + line, "r")
