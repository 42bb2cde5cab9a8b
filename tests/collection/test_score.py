import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.collection.tally import risk_coverage
from litlamp.collection.truth_file import LinesError

LESS, TRUE, MORE = "405", "411", "439"  # of falling permissiveness, by the book's order


@pytest.fixture(scope="session")
def exam(by_hand):
    return by_hand.exam()


def one(by_hand, said, truth=None):
    """The score of one yellow over red on a mast (Rule 411) of which the reading says `said`."""
    signal = by_hand.signal("yellow", "red", rule=TRUE) if truth is None else truth
    return by_hand.score([by_hand.picture(signal)], [by_hand.record(by_hand.read(signal) | said)])


def test_a_perfect_reader_scores_everything(by_hand, exam):
    of = by_hand.score(exam, [by_hand.perfect(p) for p in exam])
    f = of.overall
    steady = sum(not any("flashing" in h for h in p["signals"][0]["heads"]) for p in exam)
    assert (f.exact.hits, f.exact.n) == (steady, steady)
    for name in (
        "lamps_found", "lamps_right", "signals_found", "head_count", "arrangement", "mount",
        "plates_found", "aspect", "answered", "covered",
    ):  # fmt: skip
        share = getattr(f, name)
        assert share.hits == share.n > 0, name
    for name in (
        "wrong_side", "right_side", "guarded_wrong_side", "guarded_right_side", "red_as_other",
        "plates_denied", "plates_invented",
    ):  # fmt: skip
        share = getattr(f, name)
        assert share.hits == 0 < share.n, name
    assert f.set_size.value == 1
    assert f.rule_brier.value == f.rule_error.value == f.lamp_brier.value == f.lamp_error.value == 0
    assert f.false_signals.count == 0
    assert not of.wrong_sides
    assert not of.neighbours


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_one_less_restrictive_rule_is_one_wrong_side(by_hand, exam, data):
    book, exam = by_hand.book, exam[::6]
    at = data.draw(st.integers(0, len(exam) - 1))
    true = exam[at]["signals"][0]["rule"]
    looser = [r.number for r in book.rules if r.aspects and book.rank(r.number) > book.rank(true)]
    if not looser:
        return
    said = data.draw(st.sampled_from(looser))
    readings = [by_hand.perfect(p) for p in exam]
    readings[at]["signals"][0] |= by_hand.said(said)
    of = by_hand.score(exam, readings)
    assert of.overall.wrong_side.hits == of.overall.guarded_wrong_side.hits == 1
    assert of.overall.right_side.hits == 0
    assert [(w.source, w.true, w.read) for w in of.wrong_sides] == [(exam[at]["source"], true, said)]


@settings(deadline=None)
@given(st.data())
def test_every_error_has_the_side_that_the_books_order_gives_it(by_hand, data):
    book = by_hand.book
    rules = [r.number for r in book.rules if r.aspects]
    true, said = data.draw(st.sampled_from(rules)), data.draw(st.sampled_from(rules))
    f = one(by_hand, by_hand.said(said), by_hand.signal("yellow", "red", rule=true)).overall
    assert f.wrong_side.hits == (book.rank(said) > book.rank(true))
    assert f.right_side.hits == (book.rank(said) < book.rank(true))
    assert f.exact.hits == (said == true)


def test_the_guard_saves_a_wrong_side_reading(by_hand):
    of = one(by_hand, by_hand.said(LESS, probability=0.9, also=(TRUE,)))
    assert of.overall.wrong_side.hits == 1
    assert of.overall.guarded_wrong_side.hits == 0
    assert of.overall.covered.hits == 1
    assert of.overall.set_size.value == 2
    assert [w.guard_wrong for w in of.wrong_sides] == [False]


def test_a_more_restrictive_guard_is_right_side(by_hand):
    f = one(by_hand, by_hand.said(TRUE, probability=0.9, also=(MORE,))).overall
    assert (f.right_side.hits, f.guarded_right_side.hits) == (0, 1)


def test_no_standard_aspect_errs_to_the_right_side(by_hand):
    f = one(by_hand, by_hand.said(None)).overall
    assert (f.right_side.hits, f.wrong_side.hits, f.exact.hits) == (1, 0, 0)


def test_any_permission_read_into_no_standard_aspect_is_wrong_side(by_hand):
    odd = by_hand.signal("lunar", "green", rule=None)
    assert one(by_hand, by_hand.said(LESS), odd).overall.wrong_side.hits == 1
    assert one(by_hand, by_hand.said(None), odd).overall.exact.hits == 1


def test_a_signal_that_was_missed_is_not_answered_and_on_no_side(by_hand):
    picture = by_hand.picture(by_hand.signal("yellow", "red", rule=TRUE))
    f = by_hand.score([picture], [by_hand.record()]).overall
    assert (f.answered.hits, f.exact.hits, f.exact.n) == (0, 0, 1)
    assert (f.wrong_side.hits, f.right_side.hits, f.wrong_side.n) == (0, 0, 1)
    assert (f.lamps_found.hits, f.lamps_found.n) == (0, 2)


def test_a_still_is_not_asked_for_the_exact_rule_of_a_flashing_aspect(by_hand):
    flashing = by_hand.signal("flashing yellow", "red", rule="415")
    f = one(by_hand, by_hand.said("411"), flashing).overall
    assert f.exact.n == f.rule_brier.n == 0
    assert f.right_side.n == f.covered.n == 1
    assert f.covered.hits == 0


def test_a_dark_signal_is_rightly_not_lit(by_hand):
    dark = by_hand.signal("dark", rule=None)
    silent = {"reading": None, "guarded": None, "set": [{"rule": None, "name": "not lit", "probability": 1}]}
    f = one(by_hand, silent, dark).overall
    assert (f.exact.hits, f.dark_read.hits, f.dark_read.n) == (1, 0, 1)
    assert one(by_hand, by_hand.said(LESS), dark).overall.dark_read.hits == 1


def test_the_parts_are_judged_one_by_one(by_hand):
    signal = by_hand.signal("red", "red", rule="437", arrangement="staggered", plates=("R",))
    read = by_hand.read(signal)
    read["arrangement"] = {"vertical": 0.6, "staggered": 0.4}
    read["plates"] = {"A": 0.9, "R": 0.1, "L": 0.0, "DV": 0.0}
    read["heads"][1]["colour"] = {"red": 0.2, "yellow": 0.8, "green": 0, "lunar": 0, "dark": 0}
    f = by_hand.score([by_hand.picture(signal)], [by_hand.record(read)]).overall
    assert (f.mount.hits, f.head_count.hits, f.arrangement.hits, f.aspect.hits) == (1, 1, 0, 0)
    assert (f.plates_found.hits, f.plates_denied.hits, f.plates_invented.hits) == (0, 1, 1)
    assert (f.plates_found.n, f.plates_denied.n, f.plates_invented.n) == (1, 1, 3)
    assert (f.lamps_right.hits, f.red_as_other.hits, f.red_as_other.n) == (1, 1, 2)
    assert f.lamp_brier.value == pytest.approx((0.8**2 + 0.8**2) / 2)  # the other lamp is certain and right


def test_a_plate_that_nobody_could_read_is_not_asked_for(by_hand):
    signal = by_hand.signal("red", rule="436", plates=("R",))
    signal["plate_boxes"][0]["legible"] = False
    f = one(by_hand, {}, signal).overall
    assert (f.plates_found.n, f.plates_denied.n) == (0, 1)


def test_truth_with_lamps_only_is_scored_for_lamps_only(by_hand):
    signal = by_hand.signal("green", "red", rule="405")
    lamps = {"box": signal["box"], "lamps": signal["lamps"], "mount": "mast"}
    of = by_hand.score([by_hand.picture(lamps)], [by_hand.record(by_hand.read(signal))])
    f = of.overall
    assert (f.lamps_found.hits, f.lamps_right.hits, f.mount.hits) == (2, 2, 1)
    assert f.answered.n == f.exact.n == f.wrong_side.n == f.head_count.n == f.aspect.n == 0
    assert not of.curve


def test_lamps_without_a_place_are_taken_in_order(by_hand):
    signal = by_hand.signal("green", "red", rule="405")
    worded = {k: v for k, v in signal.items() if k != "lamps"}
    f = by_hand.score([by_hand.picture(worded)], [by_hand.record(by_hand.read(signal))]).overall
    assert (f.lamps_found.hits, f.lamps_right.hits) == (2, 2)


def test_hidden_and_dark_lamps_are_not_asked_for(by_hand):
    signal = by_hand.signal("green", "dark", "red", rule=None)
    signal["lamps"][2]["visible"] = 0.2
    f = one(by_hand, {**by_hand.said(None)}, signal).overall
    assert f.lamps_found.n == 1


def test_false_signals_count_where_the_truth_is_complete(by_hand):
    extra = by_hand.read(by_hand.signal("green", rule="405", x=400))
    empty, partial = by_hand.picture(), by_hand.picture(source="b.png", complete=False)
    named = by_hand.picture(source="c.png", distractors=[{"kind": "street lamp", "box": [390, 40, 410, 60]}])
    readings = [by_hand.record(extra, source=f"{s}.png") for s in "abc"]
    of = by_hand.score([empty, partial, named], readings)
    assert (of.overall.false_signals.count, of.overall.false_signals.n) == (2, 2)
    assert (of.overall.false_readings.count, of.overall.marred.hits, of.overall.negatives.n) == (2, 2, 2)
    assert dict(of.taken_for) == {"nothing named": 1, "street lamp": 1}


def test_a_signal_read_as_two_lists_the_looser_half(by_hand):
    signal = by_hand.signal("green", "red", "red", rule="405") | {"rule": TRUE}
    whole = by_hand.read(signal)
    half = by_hand.read(by_hand.signal("green", rule=LESS))
    of = by_hand.score([by_hand.picture(signal)], [by_hand.record(whole, half)])
    assert of.overall.wrong_side.hits == 0
    assert of.overall.false_signals.count == 1
    assert [(n.true, n.read, n.guard_wrong) for n in of.neighbours] == [(TRUE, LESS, True)]
    assert dict(of.taken_for) == {"a part of a signal": 1}


def test_two_signals_read_as_one_list_the_one_that_was_swallowed(by_hand):
    stop, clear = by_hand.signal("red", rule=MORE, x=100), by_hand.signal("green", rule=LESS, x=140)
    both = by_hand.read(clear)
    both["box"] = [85, 35, 155, 65]
    both["heads"] += by_hand.read(stop)["heads"]
    both["heads"].append(by_hand.read(clear)["heads"][0])  # so that it fits the clear signal no worse
    both["box"] = [125, 35, 155, 65]
    of = by_hand.score([by_hand.picture(stop, clear)], [by_hand.record(both)])
    assert [(n.true, n.read) for n in of.neighbours] == [(MORE, LESS)]


def test_a_neighbour_signal_of_its_own_is_no_fault(by_hand):
    stop, clear = by_hand.signal("red", rule=MORE, x=100), by_hand.signal("green", rule=LESS, x=140)
    picture = by_hand.picture(stop, clear)
    of = by_hand.score([picture], [by_hand.perfect(picture)])
    assert not of.neighbours


def test_the_bins_add_up_to_the_whole(by_hand, exam):
    readings = [by_hand.perfect(p) for p in exam]
    readings[5]["signals"] = []
    of = by_hand.score(exam, readings)
    by_name = {f.name: f.bins for f in of.families}
    for name in ("diameter", "light", "colour", "view", "rule"):
        assert sum(b.figures.answered.n for b in by_name[name]) == of.overall.answered.n == len(exam)
        assert sum(b.figures.answered.hits for b in by_name[name]) == len(exam) - 1
    assert [b.name for b in by_name["diameter"]] == ["3-4 px", "5-6 px", "7-10 px", "> 10 px"]
    assert [b.name for b in by_name["target"]] == ["4-5 px", "6 px and more"]
    book = [r.number for r in by_hand.book.rules if r.aspects]
    assert [b.name for b in by_name["rule"]] == book


@pytest.mark.parametrize(
    ("px", "name"),
    [
        (2.4, "under 3 px"),
        (3, "3-4 px"),
        (4.4, "3-4 px"),
        (4.6, "5-6 px"),
        (10.4, "7-10 px"),
        (10.6, "> 10 px"),
    ],
)
def test_diameters_are_rounded_to_whole_pixels(by_hand, px, name):
    families = one(by_hand, {}, by_hand.signal("yellow", "red", rule=TRUE, d=px)).families
    assert [b.name for f in families if f.name == "diameter" for b in f.bins] == [name]


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from([0.2, 0.5, 0.8, 0.99]), st.sampled_from([LESS, TRUE, MORE])), min_size=1
    )
)
def test_the_curve_ends_at_the_whole_and_never_turns_back(by_hand, said):
    signal = by_hand.signal("yellow", "red", rule=TRUE)
    truth = [by_hand.picture(signal, source=f"{i}.png") for i in range(len(said))]
    readings = [
        by_hand.record(
            by_hand.read(signal) | by_hand.said(rule, probability=p, also=("410",)), source=f"{i}.png"
        )
        for i, (p, rule) in enumerate(said)
    ]
    of = by_hand.score(truth, readings)
    assert [p.probability for p in of.curve] == sorted({p for p, _ in said}, reverse=True)
    coverage = [p.coverage for p in of.curve]
    assert coverage == sorted(coverage)
    last = of.curve[-1]
    assert last.coverage == 1
    assert last.wrong_side == of.overall.wrong_side.value
    assert last.error == pytest.approx(1 - of.overall.exact.value)


def test_no_rules_no_curve():
    assert risk_coverage([]) == ()


def test_a_source_that_was_not_read_counts_as_not_found(by_hand):
    picture = by_hand.picture(by_hand.signal("yellow", "red", rule=TRUE))
    of = by_hand.score([picture], [by_hand.record(failure="It is broken.", kind=None, size=None)])
    assert of.failed == (("a.png", "It is broken."),)
    assert (of.overall.answered.hits, of.overall.answered.n, of.overall.false_signals.n) == (0, 1, 0)


@pytest.mark.parametrize(
    ("spoilt", "sentence"),
    [
        ({"edition": "2008"}, "edition of 2008"),
        ({"rule": "999"}, "no rule '999'"),
    ],
)
def test_truth_of_another_book_is_refused(by_hand, spoilt, sentence):
    signal = by_hand.signal("yellow", "red", rule=TRUE)
    with pytest.raises(LinesError, match=sentence):
        by_hand.score([by_hand.picture(signal | spoilt)], [by_hand.record()])


def test_nothing_in_common_is_refused(by_hand):
    with pytest.raises(LinesError, match="no source"):
        by_hand.score([by_hand.picture(source="a.png")], [by_hand.record(source="b.png")])


def test_scoring_changes_nothing_it_is_given(by_hand, exam):
    readings = [by_hand.perfect(p) for p in exam[:5]]
    before = json.dumps([exam[:5], readings])
    by_hand.score(exam[:5], readings)
    assert json.dumps([exam[:5], readings]) == before
