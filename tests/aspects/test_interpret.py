"""From belief to reading: the sums, the set, the guard."""

from __future__ import annotations

import math
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.aspects.aspect import ARRANGEMENTS, COLOURS, MOUNTS, PLATES, Colour
from litlamp.aspects.belief import NO_PLATE, SEEN_PLATE, HeadBelief, PlateBelief, SignalBelief
from litlamp.aspects.hypotheses import FLASH_PRIOR, NOT_STANDARD_WEIGHT, PLATE_PRIOR
from litlamp.aspects.interpret import AS_LIKELY, certain, interpret
from litlamp.aspects.reading import Reading
from litlamp.aspects.rulebook import Rulebook, book_names, load_book
from litlamp.aspects.words import parse_aspect

MAST, DWARF = {"mast": 1.0}, {"dwarf": 1.0}
IN_LINE, STAGGERED = {"vertical": 1.0}, {"staggered": 1.0}
BARE = dict.fromkeys(PLATES, NO_PLATE)


def head(flashing: float | None = 0.0, present: float = 1.0, **colour: float) -> HeadBelief:
    shares: dict[Colour, float] = {c: colour[c] for c in COLOURS if c in colour}
    return HeadBelief(shares, flashing, present)


def chances(reading: Reading) -> dict[str, float]:
    return {chance.rule or chance.outcome: chance.probability for chance in reading.chances}


def shares(names: tuple[str, ...]) -> st.SearchStrategy[dict[str, float]]:
    """Probabilities over these names, some of them nought."""
    weights = st.one_of(st.just(0.0), st.floats(0.0, 1.0))
    return st.lists(weights, min_size=len(names), max_size=len(names)).map(
        lambda values: {
            name: value / sum(values) if sum(values) > 1e-6 else 1.0 / len(names)
            for name, value in zip(names, values, strict=True)
        }
    )


heads = st.builds(
    HeadBelief,
    colour=shares(COLOURS),
    flashing=st.one_of(st.none(), st.sampled_from([0.0, 1.0]), st.floats(0.0, 1.0)),
    present=st.one_of(st.just(1.0), st.floats(0.0, 1.0)),
    dark_throughout=st.booleans(),
)
plates = shares(("present", "absent", "unknown")).map(lambda p: PlateBelief(**p))
beliefs = st.builds(
    SignalBelief,
    heads=st.lists(heads, max_size=4).map(tuple),
    mount=shares(MOUNTS),
    arrangement=shares(ARRANGEMENTS),
    plates=st.dictionaries(st.sampled_from(PLATES), plates),
    whole=st.one_of(st.just(1.0), st.floats(0.0, 1.0)),
    number=st.sampled_from([None, "", "12"]),
)
books = st.sampled_from([(n, e) for n in book_names() for e in load_book(n).editions])
levels = st.sampled_from([0.5, 0.9, 0.99, 0.999, 1.0])


@settings(max_examples=150, deadline=None)
@given(beliefs, books, levels)
def test_guarded_is_never_less_restrictive_than_any_outcome_above_what_the_level_leaves(
    belief: SignalBelief, named: tuple[str, str], level: float
) -> None:
    book = load_book(*named)
    reading = interpret(belief, book, level)
    if reading.guarded is None:
        assert reading.reading is None
        return
    assert reading.guarded.rule is not None
    guard = book.rank(reading.guarded.rule)
    for chance in reading.chances:
        if chance.probability > 1.0 - level + 1e-9:
            assert guard <= book.rank(chance.rule)


@settings(max_examples=100, deadline=None)
@given(beliefs, books, levels)
def test_probabilities_sum_to_one_and_the_set_is_the_smallest_that_reaches_the_level(
    belief: SignalBelief, named: tuple[str, str], level: float
) -> None:
    book = load_book(*named)
    reading = interpret(belief, book, level)
    if not reading.chances:
        assert reading.why
        return
    assert math.isclose(sum(c.probability for c in reading.chances), 1.0, abs_tol=1e-9)
    assert all(c.probability > 0.0 for c in reading.chances)
    assert len({(c.outcome, c.rule) for c in reading.chances}) == len(reading.chances)
    size = len(reading.set)
    assert reading.set == reading.chances[:size]
    assert sum(c.probability for c in reading.set) >= level - 1e-9
    assert size == 1 or sum(c.probability for c in reading.set[:-1]) < level
    if reading.reading is not None:
        assert reading.reading == reading.chances[0]


@settings(max_examples=100, deadline=None)
@given(beliefs, books)
def test_nothing_as_likely_is_more_restrictive_than_the_reading(
    belief: SignalBelief, named: tuple[str, str]
) -> None:
    book = load_book(*named)
    said = interpret(belief, book)
    if said.reading is None:
        return
    best = max(c.probability for c in said.chances)
    assert said.reading.probability >= AS_LIKELY * best
    for chance in said.chances:
        if chance.probability >= AS_LIKELY * best:
            assert book.rank(chance.rule) >= book.rank(said.reading.rule)


@pytest.mark.parametrize(("chance", "rule"), [(0.5, "426"), (0.48, "426"), (0.4, "405")])
def test_of_two_readings_as_likely_the_more_restrictive_is_given_and_the_other_named(
    cror: Rulebook, chance: float, rule: str
) -> None:
    belief = SignalBelief((head(green=1.0), head(chance, red=1.0)), MAST, STAGGERED, BARE, number="")
    said = interpret(belief, cror)
    assert said.reading is not None and said.reading.rule == rule
    named = [step for step in said.why if step.startswith("About as likely: ")]
    assert named == (
        ["About as likely: Clear (405). Of readings as likely the most restrictive is given."]
        if rule == "426"
        else []
    )


@settings(max_examples=40, deadline=None)
@given(beliefs, books)
def test_the_same_belief_is_read_the_same_whatever_the_order_of_its_keys(
    belief: SignalBelief, named: tuple[str, str]
) -> None:
    book = load_book(*named)
    turned = SignalBelief(
        tuple(
            HeadBelief(dict(reversed(h.colour.items())), h.flashing, h.present, h.dark_throughout)
            for h in belief.heads
        ),
        dict(reversed(belief.mount.items())),
        dict(reversed(belief.arrangement.items())),
        dict(reversed(belief.plates.items())),
        belief.whole,
        belief.number,
    )
    assert interpret(belief, book) == interpret(belief, book) == interpret(turned, book)


@settings(max_examples=60, deadline=None)
@given(beliefs, books)
def test_a_reading_always_says_why_and_always_warns(belief: SignalBelief, named: tuple[str, str]) -> None:
    book = load_book(*named)
    reading = interpret(belief, book)
    assert reading.why
    for step in reading.why:
        assert step[0].isupper() or step[0].isdigit()
        assert step.endswith(".")
    assert "Training aid only" in reading.cautions[0]
    assert any("never act on it" in caution for caution in reading.cautions)


def test_a_lone_red_whose_plates_cannot_be_told_reads_stop_and_proceed_and_is_guarded_as_stop(
    cror: Rulebook,
) -> None:
    reading = interpret(SignalBelief((head(red=1.0),), MAST, IN_LINE), cror)
    a, r = PLATE_PRIOR["A"], PLATE_PRIOR["R"]
    expected = {"439": a, "436": (1 - a) * r, "437": (1 - a) * (1 - r)}
    assert chances(reading) == pytest.approx(expected)
    assert reading.reading is not None and reading.reading.rule == "437"
    assert reading.guarded is not None and reading.guarded.rule == "439"
    assert any("A plate" in step and "could not be told" in step for step in reading.why)


def test_plates_that_do_not_matter_leave_the_reading_certain(cror: Rulebook) -> None:
    reading = interpret(SignalBelief((head(green=1.0),), MAST, IN_LINE), cror)
    assert chances(reading) == {"405": 1.0}
    plated = SignalBelief((head(green=1.0),), MAST, IN_LINE, {**BARE, "A": SEEN_PLATE, "R": SEEN_PLATE})
    assert chances(interpret(plated, cror)) == {"405": 1.0}


def test_what_a_still_leaves_open_is_shared_among_the_flashing_aspects_of_the_book(cror: Rulebook) -> None:
    staggered = SignalBelief((head(None, green=1.0), head(None, red=1.0)), MAST, STAGGERED, BARE)
    expected = {"405": 1 - FLASH_PRIOR, "420": FLASH_PRIOR / 2, "426": FLASH_PRIOR / 2}
    assert chances(interpret(staggered, cror)) == pytest.approx(expected)
    in_line = SignalBelief((head(None, green=1.0), head(None, red=1.0)), MAST, IN_LINE, BARE)
    assert chances(interpret(in_line, cror)) == {"405": 1.0}


def test_where_a_clip_cannot_tell_its_leaning_decides_and_both_stay(cror: Rulebook) -> None:
    def yellow(leaning: float | None) -> SignalBelief:
        return SignalBelief((HeadBelief({"yellow": 1.0}, None, leaning=leaning),), MAST, IN_LINE, BARE)

    steady, flashing = "411", "415"
    assert chances(interpret(yellow(None), cror)) == pytest.approx(
        {steady: 1 - FLASH_PRIOR, flashing: FLASH_PRIOR}
    )
    leans = interpret(yellow(0.9), cror)
    assert chances(leans) == pytest.approx({steady: 0.1, flashing: 0.9})
    assert leans.guarded is not None and leans.guarded.rule == steady
    assert any("cannot tell whether a lamp flashes" in step for step in leans.why)


def test_where_only_flashing_is_standard_a_still_leans_to_it_and_is_guarded_as_stop() -> None:
    # CROR 2008: Take or Leave Siding is shown only flashing; UP: lunar is steady.
    book = load_book("CROR", "2025")
    belief = SignalBelief((head(None, red=1.0), head(None, green=1.0), head(None, green=1.0)), MAST, IN_LINE)
    assert interpret(belief, book).reading.rule == "424"  # type: ignore[union-attr]
    # Green over green in line on a mast is drawn neither steady nor flashing.
    nowhere = SignalBelief((head(None, green=1.0), head(None, green=1.0)), MAST, IN_LINE)
    assert chances(interpret(nowhere, book)) == {"not_standard": 1.0}
    assert interpret(nowhere, book).guarded.rule == "439"  # type: ignore[union-attr]


def test_a_standard_aspect_is_likelier_than_one_that_is_not_but_evidence_decides(cror: Rulebook) -> None:
    # Green over green on a mast is not standard, on a dwarf it is Clear (405).
    even = SignalBelief((head(green=1.0), head(green=1.0)), {"mast": 0.5, "dwarf": 0.5}, IN_LINE, BARE)
    weight = NOT_STANDARD_WEIGHT
    assert chances(interpret(even, cror))["not_standard"] == pytest.approx(weight / (1 + weight))
    mast = SignalBelief((head(green=1.0), head(green=1.0)), MAST, IN_LINE, BARE)
    assert chances(interpret(mast, cror)) == {"not_standard": 1.0}


def test_a_cut_mast_cannot_settle_the_number_of_heads(cror: Rulebook) -> None:
    belief = SignalBelief((head(green=1.0),), MAST, IN_LINE, BARE, whole=0.2)
    reading = interpret(belief, cror)
    found = chances(reading)
    assert {"405", "431", "407"} <= found.keys()  # red above it: Slow to Clear; yellow above: Clear to Medium
    assert reading.guarded is not None
    assert cror.rank(reading.guarded.rule) <= cror.rank("431")
    assert any("out of view" in step for step in reading.why)
    # With three heads there is no room for more.
    full = SignalBelief((head(green=1.0), head(red=1.0), head(red=1.0)), MAST, IN_LINE, BARE, whole=0.2)
    assert chances(interpret(full, cror)) == {"405": 1.0}


def test_a_head_that_may_be_none_is_summed_over(cror: Rulebook) -> None:
    belief = SignalBelief((head(red=1.0, present=0.6), head(green=1.0)), MAST, IN_LINE, BARE)
    assert chances(interpret(belief, cror)) == pytest.approx({"431": 0.6, "405": 0.4})


def test_that_it_is_a_signal_at_all_is_taken_as_given(cror: Rulebook) -> None:
    belief = SignalBelief((head(green=1.0, present=0.3),), MAST, IN_LINE, BARE)
    assert chances(interpret(belief, cror)) == {"405": 1.0}


def test_more_than_three_heads_are_no_standard_aspect(cror: Rulebook) -> None:
    reading = interpret(SignalBelief((head(red=1.0),) * 5, MAST, IN_LINE, BARE), cror)
    assert chances(reading) == {"not_standard": 1.0}
    assert reading.guarded is not None and reading.guarded.rule == "439"


@pytest.mark.parametrize(
    "belief", [SignalBelief((), MAST, IN_LINE), SignalBelief((HeadBelief({}),), MAST, IN_LINE)]
)
def test_nothing_seen_is_no_reading_and_says_so(belief: SignalBelief, cror: Rulebook) -> None:
    reading = interpret(belief, cror)
    assert (reading.reading, reading.guarded, reading.set, reading.chances) == (None, None, (), ())
    assert "nothing to read" in reading.why[0]


@pytest.mark.parametrize("level", [0.0, -1.0, 1.5, math.nan])
def test_a_level_that_is_no_probability_is_refused(level: float, cror: Rulebook) -> None:
    with pytest.raises(ValueError, match="level"):
        interpret(certain(parse_aspect("red")), cror, level)


def test_beliefs_that_are_no_probabilities_are_refused(cror: Rulebook) -> None:
    with pytest.raises(ValueError, match="not probabilities"):
        interpret(SignalBelief((head(red=2.0, green=-1.0),), MAST, IN_LINE), cror)
    with pytest.raises(ValueError, match="not probabilities"):
        interpret(SignalBelief((head(red=1.0),), {"mast": math.nan}, IN_LINE), cror)


def test_the_guard_is_the_most_restrictive_of_the_set(cror: Rulebook) -> None:
    belief = SignalBelief((head(yellow=0.97, red=0.03), head(red=1.0)), MAST, IN_LINE, BARE)
    assert interpret(belief, cror).guarded.rule == "439"  # type: ignore[union-attr]
    assert interpret(belief, cror, 0.9).guarded.rule == "411"  # type: ignore[union-attr]


def test_the_aspect_is_told_in_words(cror: Rulebook) -> None:
    belief = SignalBelief((head(yellow=1.0), head(red=1.0)), MAST, IN_LINE, BARE, number="1042")
    assert interpret(belief, cror).aspect == "yellow over red, vertical, mast, number plate 1042"


def test_a_typical_signal_takes_under_fifteen_milliseconds(cror: Rulebook) -> None:
    seen = {"red": 0.97, "yellow": 0.015, "green": 0.005, "lunar": 0.005, "dark": 0.005}
    belief = SignalBelief(
        (head(None, **{**seen, "red": 0.015, "yellow": 0.97}), head(None, **seen)),
        {"mast": 0.99, "dwarf": 0.01},
        {"vertical": 0.98, "staggered": 0.02},
        {kind: PlateBelief(0.0, 0.9, 0.1) for kind in PLATES},
    )
    interpret(belief, cror)
    best = math.inf
    for _ in range(5):
        start = time.perf_counter()
        interpret(belief, cror)
        best = min(best, time.perf_counter() - start)
    assert best < 0.015  # a few on a quiet machine


@pytest.mark.parametrize("present", [5e-324, 2.3e-311, 1e-300, 1e-12])
def test_a_head_all_but_ruled_out_still_gives_probabilities(present: float) -> None:
    faint = SignalBelief((head(red=0.6, green=0.4, present=present),), MAST, IN_LINE, BARE)
    sure = SignalBelief((head(red=0.6, green=0.4),), MAST, IN_LINE, BARE)
    book = load_book()
    said = {c.rule: c.probability for c in interpret(faint, book).chances}
    assert math.isclose(sum(said.values()), 1.0, abs_tol=1e-9)
    if present > 1e-307:  # below that, floats themselves lose digits
        wanted = {c.rule: c.probability for c in interpret(sure, book).chances}
        assert said == pytest.approx(wanted)
