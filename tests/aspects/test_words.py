"""Aspects in words: as people say them, back again, and mistakes answered."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import (
    ARRANGEMENTS,
    COLOURS,
    MOUNTS,
    PLATES,
    Arrangement,
    Aspect,
    Lamp,
    Mount,
    Plate,
)
from litlamp.aspects.words import AspectWordsError, agree, describe, parse_aspect

R, Y, G, L, DARK = Lamp("red"), Lamp("yellow"), Lamp("green"), Lamp("lunar"), Lamp("dark")
FR, FY, FG = Lamp("red", True), Lamp("yellow", True), Lamp("green", True)


def said(
    *heads: Lamp,
    mount: Mount | None = None,
    arrangement: Arrangement | None = None,
    plates: str = "",
    number: str | None = None,
) -> Aspect:
    kinds: frozenset[Plate] = frozenset(kind for kind in PLATES if kind in plates.split())
    return Aspect(heads, mount, arrangement, kinds, number)


@pytest.mark.parametrize(
    ("text", "aspect"),
    [
        ("green over red over red", said(G, R, R)),
        ("flashing yellow", said(FY)),
        ("yellow over flashing green, staggered", said(Y, FG, arrangement="staggered")),
        ("dwarf, red over yellow, DV plate", said(R, Y, mount="dwarf", plates="DV")),
        ("R plate, single red", said(R, plates="R")),
        ("single red with an A plate", said(R, plates="A")),
        ("fY over R", said(FY, R)),
        ("f y over r", said(FY, R)),
        ("r over r", said(R, R)),
        ("R/G/R in line", said(R, G, R, arrangement="vertical")),
        ("red-over-green", said(R, G)),
        ("GREEN OVER RED VERTICAL MAST", said(G, R, arrangement="vertical", mount="mast")),
        ("Red over red in-line, no plates", said(R, R, arrangement="vertical")),
        ("yellow over dark", said(Y, DARK)),
        ("L over R", said(L, R)),
        ("lunar white", said(L)),
        ("l over r, L plate", said(L, R, plates="L")),
        ("L plate, red over green over red", said(R, G, R, plates="L")),
        ("R, R plate", said(R, plates="R")),
        ("single R, R plate", said(R, plates="R")),
        ("plate R, red", said(R, plates="R")),
        ("red over yellow with a DV-plate on a dwarf", said(R, Y, mount="dwarf", plates="DV")),
        ("R over G, DV", said(R, G, plates="DV")),
        ("A and L plates, R over Y over R", said(R, Y, R, plates="A L")),
        ("two-head red over green on a high mast", said(R, G, mount="mast")),
        ("steady red over solid red", said(R, R)),
        ("red, number plate 123", said(R, number="123")),
        ("red with a number plate", said(R, number="?")),
        ("no number plate, red", said(R, number="")),
        ("an A plate on a single red mast signal", said(R, mount="mast", plates="A")),
        ("flashing red over flashing red", said(FR, FR)),
    ],
)
def test_aspects_as_people_say_them(text: str, aspect: Aspect) -> None:
    assert parse_aspect(text) == aspect
    assert parse_aspect(text.replace(",", "")) == aspect or "R plate" in text  # commas or not
    assert parse_aspect(f"  {text} ") == aspect


@pytest.mark.parametrize(
    ("text", "understood", "not_understood"),
    [
        ("", "nothing", "no lamp named"),
        ("dwarf", "dwarf", "no lamp named"),
        ("purple over red", "red", '"purple"'),
        ("red over", "red", '"over" with no lamp below'),
        ("over red", "red", '"over" with no lamp above'),
        ("red over over red", "red over red", '"over" with no lamp above'),
        ("red yellow", "red", 'say "over"'),
        ("red, L", "red", 'for a plate "L plate"'),
        ("red, A", "red", 'say "A plate"'),
        ("red over R plate", "red over red", '"plate"'),
        ("r over r over r over r", "red over red", "4 heads"),
        ("single red over green", "red over green", "1 head(s) said but 2 named"),
        ("flashing dark over red", "dark over red", "dark head that flashes"),
        ("red flashing", "red", "no colour after it"),
        ("steady flashing red", "red", "after another"),
        ("red over red, staggered, in line", "red over red", "against staggered"),
        ("dwarf mast red", "red", "against dwarf"),
        ("single red with a plate", "red", "which, A, R, L or DV?"),
        ("red, number plate 1, number plate 2", "red", "two number plates"),
        ("red über yellow", "red", "über"[:1]),
    ],
)
def test_a_mistake_is_answered_with_what_was_understood(
    text: str, understood: str, not_understood: str
) -> None:
    with pytest.raises(AspectWordsError) as caught:
        parse_aspect(text)
    told, untold = str(caught.value).split(" Not understood: ")
    assert understood in told
    assert not_understood in untold


def test_a_red_lamp_is_never_taken_for_an_r_plate_nor_a_lunar_for_an_l_plate() -> None:
    assert parse_aspect("R over R plate".replace(" plate", "")).plates == frozenset()
    assert parse_aspect("R").heads == (R,)
    assert parse_aspect("L").heads == (L,)
    assert parse_aspect("R plate, R").heads == (R,)
    assert parse_aspect("R, L plate") == said(R, plates="L")
    assert parse_aspect("r plate and l plate, r over l") == said(R, L, plates="R L")


lamps = st.one_of(
    st.builds(Lamp, st.sampled_from([c for c in COLOURS if c != "dark"]), st.booleans()), st.just(DARK)
)
aspects = st.builds(
    Aspect,
    heads=st.lists(lamps, min_size=1, max_size=3).map(tuple),
    mount=st.sampled_from([None, *MOUNTS]),
    arrangement=st.sampled_from([None, *ARRANGEMENTS]),
    plates=st.frozensets(st.sampled_from(PLATES)),
    number=st.one_of(
        st.none(), st.just(""), st.just("?"), st.from_regex(r"[0-9]{1,5}[A-Z]?", fullmatch=True)
    ),
)


@given(aspects)
def test_what_is_described_is_read_back(aspect: Aspect) -> None:
    assert parse_aspect(describe(aspect)) == aspect


@given(aspects)
def test_case_and_commas_do_not_matter(aspect: Aspect) -> None:
    words = describe(aspect)
    assert parse_aspect(words.upper()) == aspect
    assert parse_aspect(words.lower()) == aspect
    assert parse_aspect(words.replace(", ", " with ")) == aspect or "A plate" in words
    assert parse_aspect(words.replace(",", " ")) == aspect


@given(aspects)
def test_abbreviations_say_the_same(aspect: Aspect) -> None:
    words = describe(Aspect(aspect.heads, aspect.mount, aspect.arrangement))
    for colour, letter in (("red", "R"), ("yellow", "y"), ("green", "G"), ("lunar", "l")):
        words = re.sub(rf"\b{colour}\b", letter, words)
    words = words.replace("flashing ", "f").replace(" over ", "/")
    assert parse_aspect(words) == Aspect(aspect.heads, aspect.mount, aspect.arrangement)


@given(st.text(max_size=60))
def test_no_text_breaks_the_parser(text: str) -> None:
    try:
        aspect = parse_aspect(text)
    except AspectWordsError as error:
        assert "Not understood" in str(error)
    else:
        assert 1 <= len(aspect.heads) <= 3


TRADE_WORDS = """
    red R yellow y green g lunar L dark fR flashing f steady over over over over / - , and with a an no
    A DV plate plates number 12 dwarf mast staggered in line single two head
"""
words = st.sampled_from(TRADE_WORDS.split())


@given(st.lists(words, max_size=14).map(" ".join))
def test_shuffled_trade_words_parse_to_something_that_is_read_back_or_are_refused(text: str) -> None:
    try:
        aspect = parse_aspect(text)
    except AspectWordsError:
        return
    assert parse_aspect(describe(aspect)) == aspect
    if "-" not in text:  # a dash may be no "over" at all: "two-head"
        assert len(aspect.heads) == 1 + sum(word in ("over", "/") for word in text.split())


def test_what_is_said_beside_the_words_is_added_and_may_not_disagree() -> None:
    aspect = parse_aspect("red over red")
    assert agree(aspect, "dwarf", "staggered", frozenset({"R"})) == said(
        R, R, mount="dwarf", arrangement="staggered", plates="R"
    )
    with pytest.raises(AspectWordsError, match="the words say mast, the option says dwarf"):
        agree(parse_aspect("red, mast"), mount="dwarf")
