"""The level that keeps a wrong-side risk: conformal risk control on the meaning."""

from __future__ import annotations

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.reading import RuleChance
from litlamp.aspects.rulebook import load_book
from litlamp.collection.exam import exam
from litlamp.collection.level import LEVELS, Answered, at_level, least_level, level

BOOK = load_book()
RULES = [rule.number for rule in BOOK.rules if rule.aspects]


@st.composite
def answered(draw):
    shares = draw(st.lists(st.floats(0.001, 1), min_size=1, max_size=5))
    rules = draw(st.lists(st.sampled_from(RULES), min_size=len(shares), max_size=len(shares), unique=True))
    total = sum(shares)
    chances = [RuleChance(r, "", s / total) for r, s in zip(rules, shares, strict=True)]
    chances.sort(key=lambda c: -c.probability)
    return Answered(draw(st.sampled_from([*rules, *RULES, None])), tuple(chances))


CASES = st.lists(answered(), min_size=1, max_size=30)


@given(cases=CASES)
def test_wrong_side_guards_never_grow_with_the_level(cases):
    """What conformal risk control asks of a loss."""
    wrong = [at_level(cases, one, BOOK).wrong.hits for one in sorted(LEVELS)]
    assert wrong == sorted(wrong, reverse=True)


@given(cases=CASES, risk=st.floats(0.001, 1))
def test_the_level_chosen_and_all_above_keep_the_bound(cases, risk):
    rows = [at_level(cases, one, BOOK) for one in LEVELS]
    chosen = least_level(rows, risk)
    if chosen is None:
        assert max(rows, key=lambda r: r.level).bound > risk
    else:
        assert all(r.bound <= risk for r in rows if r.level >= chosen)


def test_too_few_cases_can_promise_nothing():
    """Even without a single fault, n cases cannot promise a risk under 1 in n + 1."""
    sure = Answered(RULES[0], (RuleChance(RULES[0], "", 1.0),))
    assert least_level([at_level([sure] * 98, 0.99, BOOK)], 0.01) is None
    assert least_level([at_level([sure] * 99, 0.99, BOOK)], 0.01) == 0.99


def test_a_signal_of_which_nothing_was_read_errs_to_no_side():
    row = at_level([Answered(RULES[0], ())], 0.99, BOOK)
    assert (row.wrong.hits, row.wrong.n, row.exact.hits) == (0, 1, 0)


def test_an_exam_read_at_level_one_tells_its_level(tmp_path):
    run = CliRunner().invoke(
        exam, ["--to", str(tmp_path), "--seeds", "checks", "--count", "4", "--workers", "0", "--level", "1"],
        standalone_mode=False,
    )  # fmt: skip
    assert run.exception is None
    told = CliRunner().invoke(level, [str(tmp_path), "--risk", "0.5"])
    assert told.exit_code == 0, told.output
    assert "4 signals" in told.output


def test_readings_at_a_lower_level_are_refused(tmp_path):
    CliRunner().invoke(
        exam,
        ["--to", str(tmp_path), "--seeds", "checks", "--count", "6", "--workers", "0", "--level", "0.3"],
        standalone_mode=False,
    )  # fmt: skip
    told = CliRunner().invoke(level, [str(tmp_path)])
    assert told.exit_code == 2
    assert "level 1" in told.output


@pytest.mark.parametrize("given_risk", ["0", "2", "nan"])
def test_a_risk_that_is_no_share_is_refused(tmp_path, given_risk):
    refused = CliRunner().invoke(level, [str(tmp_path), "--risk", given_risk])
    assert refused.exit_code == 2 and "--risk" in refused.output
