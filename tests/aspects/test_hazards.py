"""The numbered hazards of reading a signal, each by what litlamp says of it.

Rows and rules: Transport Canada TC O-0-93 (CROR 2008) and the CROR edition of 28 January 2025, as the book
names them. "Wrong-side" is the trade's word for a reading less restrictive than the truth.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

import pytest

from litlamp.aspects.aspect import ARRANGEMENTS, MOUNTS, PLATES, Colour, Lamp
from litlamp.aspects.belief import HeadBelief, PlateBelief, SignalBelief
from litlamp.aspects.explain import explain
from litlamp.aspects.interpret import certain, interpret
from litlamp.aspects.reading import Reading
from litlamp.aspects.rulebook import Rule, Rulebook, StandardAspect, book_names, load_book
from litlamp.aspects.words import parse_aspect

EVERY = [(name, edition) for name in book_names() for edition in load_book(name).editions]


def says(text: str, book: Rulebook) -> str | None:
    reading = explain(text, book)
    assert reading.reading is not None and reading.guarded is not None
    if reading.reading.outcome == "rule":
        assert reading.guarded.rule == reading.reading.rule
    return reading.reading.rule


def why(reading: Reading) -> str:
    return " ".join(reading.why)


def guarded_at(reading: Reading, book: Rulebook) -> int:
    assert reading.guarded is not None
    return book.rank(reading.guarded.rule)


def rows(named: tuple[str, str]) -> tuple[Rulebook, list[tuple[Rule, StandardAspect]]]:
    book = load_book(*named)
    return book, list(book.rows())


# 1. Lamps alone never decide: mount, arrangement and plates belong to the key.


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("single green, mast", "405"),
        ("single green, dwarf", "431"),
        ("single yellow, mast", "411"),
        ("single yellow, dwarf", "436"),
        ("green over red, mast", "405"),
        ("green over red, dwarf", "422"),
        ("yellow over red, mast", "411"),
        ("yellow over red, dwarf", "427"),
        ("single red, mast", "437"),
        ("single red, mast, A plate", "439"),
        ("single red, mast, R plate", "436"),
        ("single red, dwarf", "439"),
        ("red over red, in line, mast", "439"),
        ("red over red, staggered, mast", "437"),
        ("red over red, dwarf", "439"),
        ("flashing yellow over red, mast", "415"),
        ("flashing yellow over red, dwarf", "421"),
        ("red over green, DV plate", "428"),
        ("red over green over red, L plate", "416"),
        ("red over yellow, dwarf, DV plate", "430"),
        ("red over red, staggered, A plate", "439"),
        ("red, A and R plates", "439"),
    ],
)
def test_the_same_lamps_say_different_rules(text: str, rule: str, cror: Rulebook) -> None:
    assert says(text, cror) == rule


def test_about_half_of_all_lamp_patterns_carry_more_than_one_rule() -> None:
    patterns: dict[tuple[Lamp, ...], set[str]] = defaultdict(set)
    for edition in ("2008", "2025"):
        for rule, row in load_book("CROR", edition).rows():
            patterns[row.heads].add(rule.number)
    several = [heads for heads, rules in patterns.items() if len(rules) > 1]
    assert (len(several), len(patterns)) == (32, 61)  # derived from the table beside the project


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
@pytest.mark.parametrize("count", [1, 2, 3])
def test_any_all_red_dwarf_is_guarded_as_stop(count: int, arrangement: str, cror: Rulebook) -> None:
    reading = explain(" over ".join(["red"] * count) + f", dwarf, {arrangement}", cror)
    assert reading.guarded is not None and reading.guarded.rule == "439"


@pytest.mark.parametrize(("name", "edition"), EVERY)
def test_an_r_plate_is_ignored_at_every_aspect_but_an_all_red_stop_and_proceed(
    name: str, edition: str
) -> None:
    # Common practice, no source.
    book = load_book(name, edition)
    for rule, row in book.rows():
        if "R" in row.plates | row.absent:
            assert all(lamp == Lamp("red") for lamp in row.heads)
            continue
        shown = replace(row.aspect(), plates=row.plates | {"R"})
        reading = interpret(certain(shown), book)
        assert reading.reading is not None and reading.reading.rule == rule.number
        assert "The R plate changes nothing here." in reading.why


# 2. What is mistaken: wherever the belief leaves the mistake open, the guard takes the safe side.


@pytest.mark.parametrize("named", EVERY)
def test_mount_or_stagger_that_cannot_be_told_is_never_read_wrong_side(named: tuple[str, str]) -> None:
    book, all_rows = rows(named)
    for rule, row in all_rows:
        belief = certain(row.aspect())
        for belief_open in (
            replace(belief, mount=dict.fromkeys(MOUNTS, 0.5)),
            replace(belief, arrangement=dict.fromkeys(ARRANGEMENTS, 0.5)),
        ):
            assert guarded_at(interpret(belief_open, book), book) <= book.rank(rule.number), row


@pytest.mark.parametrize("named", EVERY)
def test_plates_that_cannot_be_told_are_never_read_wrong_side(named: tuple[str, str]) -> None:
    book, all_rows = rows(named)
    for rule, row in all_rows:
        unknown = {kind: PlateBelief(0.0, 0.0, 1.0) for kind in PLATES}
        reading = interpret(replace(certain(row.aspect()), plates=unknown, number=None), book)
        assert guarded_at(reading, book) <= book.rank(rule.number), row


@pytest.mark.parametrize("named", EVERY)
def test_a_red_that_may_be_a_yellow_is_never_read_wrong_side(named: tuple[str, str]) -> None:
    book, all_rows = rows(named)
    even: dict[Colour, float] = {"red": 0.5, "yellow": 0.5}
    for rule, row in all_rows:
        belief = certain(row.aspect())
        for at, lamp in enumerate(row.heads):
            if lamp.colour == "red":
                heads = list(belief.heads)
                heads[at] = replace(heads[at], colour=even)
                reading = interpret(replace(belief, heads=tuple(heads)), book)
                assert guarded_at(reading, book) <= book.rank(rule.number), row


@pytest.mark.parametrize("named", EVERY)
def test_a_head_that_may_be_missed_is_never_read_wrong_side(named: tuple[str, str]) -> None:
    book, all_rows = rows(named)
    for rule, row in all_rows:
        if any(lamp.colour not in ("red", "yellow", "green") for lamp in row.heads):
            continue  # a head out of view is supposed to be one of these
        belief = certain(row.aspect())
        for at in {0, len(row.heads) - 1} if len(row.heads) > 1 else set[int]():
            left = belief.heads[:at] + belief.heads[at + 1 :]
            reading = interpret(replace(belief, heads=left, whole=0.3), book)
            assert guarded_at(reading, book) <= book.rank(rule.number), row


# 3. A still never settles flash.


@pytest.mark.parametrize("named", EVERY)
def test_flash_taken_for_steady_in_a_still_is_never_read_wrong_side(named: tuple[str, str]) -> None:
    book, all_rows = rows(named)
    for rule, row in all_rows:
        reading = interpret(certain(row.aspect(), still=True), book)
        assert guarded_at(reading, book) <= book.rank(rule.number), row
        assert any("A still cannot tell whether a lamp flashes" in step for step in reading.why)


@pytest.mark.parametrize(
    ("looks_like", "may_be"),
    [
        ("green over red, staggered", "426"),
        ("green over red, staggered", "420"),
        ("green over green, dwarf", "423"),
        ("yellow over red, staggered", "410"),
    ],
)
def test_a_still_names_the_flashing_aspect_it_may_be(looks_like: str, may_be: str, cror: Rulebook) -> None:
    reading = interpret(certain(parse_aspect(looks_like), still=True), cror)
    assert guarded_at(reading, cror) <= cror.rank(may_be)
    assert may_be in {chance.rule for chance in reading.set}
    assert f"({may_be})" in why(reading)
    assert "flashes" in why(reading)
    assert any("still" in caution for caution in reading.cautions)


# 4. A dark head.


@pytest.mark.parametrize(
    "text", ["yellow over dark", "green over dark, staggered", "red over dark over dark"]
)
def test_a_partly_dark_still_is_no_standard_aspect_and_is_guarded_as_the_most_restrictive(
    text: str, cror: Rulebook
) -> None:
    reading = interpret(certain(parse_aspect(text), still=True), cror)
    assert reading.reading is not None and reading.reading.outcome == "not_standard"
    assert reading.guarded is not None and reading.guarded.rule == "439"
    assert "Rule 27(a)" in why(reading)
    for cause in ("off phase of a flash", "failed lamp", "approach-lit"):
        assert cause in why(reading)


def test_a_dark_head_in_a_still_may_be_a_flash_caught_dark(cror: Rulebook) -> None:
    reading = interpret(certain(parse_aspect("yellow over dark"), still=True), cror)
    assert {"406", "412"} <= {chance.rule for chance in reading.chances}
    assert "flashing green caught dark" in why(reading)


def test_rule_27b_needs_a_head_dark_throughout_and_green_or_yellow_lit(cror: Rulebook) -> None:
    # CROR edition of 28 January 2025, Rule 27(b).
    def clip(text: str) -> Reading:
        return interpret(certain(parse_aspect(text), dark_throughout=True), cror)

    lit = clip("green over dark")
    assert lit.guarded is not None and lit.guarded.rule == "27(b)"
    assert "dark throughout" in why(lit)
    assert cror.rank("27(b)") == cror.rank("435")
    red = clip("red over dark")
    assert red.guarded is not None and red.guarded.rule == "439"
    bottom = clip("dark over yellow")
    assert bottom.guarded is not None and bottom.guarded.rule == "436"
    assert "already at restricted speed" in why(bottom)
    seen_a_moment = interpret(certain(parse_aspect("green over dark")), cror)
    assert seen_a_moment.guarded is not None and seen_a_moment.guarded.rule == "439"
    assert load_book("CROR", "2008").partly_dark is None and load_book("NORAC").partly_dark is None


@pytest.mark.parametrize("text", ["dark", "dark over dark", "dark over dark over dark"])
def test_all_dark_is_not_lit_and_no_reading(text: str, cror: Rulebook) -> None:
    reading = interpret(certain(parse_aspect(text), still=True), cror)
    assert (reading.reading, reading.guarded) == (None, None)
    assert [chance.name for chance in reading.chances] == ["not lit"]
    assert "No head is lit" in why(reading)


def test_books_that_draw_dark_heads_read_them() -> None:
    norac, up = load_book("NORAC"), load_book("UP")
    assert interpret(certain(parse_aspect("yellow over dark")), norac).reading.rule == "285"  # type: ignore[union-attr]
    assert interpret(certain(parse_aspect("dark over flashing red over dark")), up).reading.rule == "9.2.13"  # type: ignore[union-attr]


# 5. Led by red, no lower red is to be imagined.


def test_two_head_red_over_green_is_slow_to_clear_and_says_why(cror: Rulebook) -> None:
    reading = explain("red over green", cror)
    assert reading.reading is not None
    assert (reading.reading.rule, reading.reading.name) == ("431", "Slow to Clear")
    assert "No red is to be imagined below" in why(reading)
    assert "red over green over red would be Medium to Clear (422)" in why(reading)


def test_three_head_red_over_green_over_red_is_medium_to_clear_and_its_lower_red_counts(
    cror: Rulebook,
) -> None:
    reading = explain("red over green over red", cror)
    assert reading.reading is not None and reading.reading.rule == "422"
    assert "The lower red counts" in why(reading)
    assert "placeholder:" not in why(reading)


@pytest.mark.parametrize("lead", ["green", "yellow", "flashing yellow"])
def test_led_by_green_or_yellow_the_lower_reds_are_placeholders(lead: str, cror: Rulebook) -> None:
    alone = explain(lead, cror).reading
    two, three = explain(f"{lead} over red", cror), explain(f"{lead} over red over red", cror)
    assert alone is not None and two.reading == alone == three.reading
    assert "The lower red is a placeholder" in why(two)
    assert "The lower reds are placeholders" in why(three)


def test_on_a_dwarf_the_lower_red_is_no_placeholder(cror: Rulebook) -> None:
    assert "The lower red counts" in why(explain("green over red, dwarf", cror))


# 6 is a matter of pixels: three apertures in one head are not three heads.

# 7. Never borrow across books.


def test_red_over_green_is_another_rule_in_another_book(cror: Rulebook) -> None:
    # NORAC operating rules, Rule 283: two-head red over green on a mast is Medium Clear.
    norac = explain("red over green, mast", load_book("NORAC")).reading
    assert norac is not None and (norac.rule, norac.name) == ("283", "Medium Clear")
    assert says("red over green, mast", cror) == "431"
    assert "NORAC 2018" in why(explain("red over green, mast", load_book("NORAC")))


# 8. Editions differ, and the reading names its own.


def test_editions_differ_and_are_named(cror: Rulebook) -> None:
    old = load_book("CROR", "2008")
    siding = explain("red over flashing red", old)
    assert siding.reading is not None and siding.reading.rule == "438"
    now = explain("red over flashing red", cror)
    assert now.reading is not None and now.reading.outcome == "not_standard"
    assert now.guarded is not None and now.guarded.rule == "439"
    assert "In the edition of 2008 it was Take or Leave Siding (438)" in why(now)
    assert "CROR 2025" in why(explain("green", cror)) and "CROR 2008" in why(explain("green", old))
    assert any("Museum lines may follow older codes" in caution for caution in now.cautions)


def test_what_is_from_memory_says_so(cror: Rulebook) -> None:
    reading = explain("flashing yellow over yellow, DV plate", cror)
    assert reading.reading is not None and reading.reading.rule == "414A"
    assert "from memory" in why(reading) and "check it before use" in why(reading)
    assert "from memory" not in why(explain("green over red", cror))


def test_a_lamp_seen_only_unlit_for_a_moment_does_not_become_the_exception(cror: Rulebook) -> None:
    head = HeadBelief({"dark": 1.0}, flashing=0.0, dark_throughout=False)
    green = HeadBelief({"green": 1.0}, flashing=0.0)
    reading = interpret(SignalBelief((green, head), {"mast": 1.0}, {"vertical": 1.0}), cror)
    assert [chance.outcome for chance in reading.chances] == ["not_standard"]
