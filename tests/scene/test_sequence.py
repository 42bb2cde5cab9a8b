import numpy as np
import pytest

from litlamp.aspects.rulebook import load_book
from litlamp.scene.sequence import draw_sequence, holds

BOOK = load_book("CROR", "2025")


def rule_of(aspect):
    arrangement = aspect.arrangement if len(aspect.heads) > 1 else None
    found = BOOK.find(aspect.heads, aspect.mount, arrangement, aspect.plates, bool(aspect.number))
    assert found is not None, aspect
    return found[0]


@pytest.mark.parametrize(
    ("before", "after", "right"),
    # By the announcements of the Canadian Rail Operating Rules, Transport Canada, edition of 28 January 2025.
    [
        ("415", "411", True),  # Advance Clear to Stop, then Clear to Stop
        ("411", "439", True),  # Clear to Stop, then Stop
        ("411", "437", True),  # or Stop and Proceed
        ("415", "439", False),
        ("411", "405", False),
        ("405", "411", True),  # Clear announces no restriction of speed at the next
        ("405", "422", False),
        ("407", "422", True),  # Clear to Medium, then a medium-speed signal
        ("407", "431", False),
        ("410", "436", True),  # Clear to Restricting, then Restricting
        ("436", "405", True),  # Restricting announces nothing
    ],
)
def test_what_may_follow_what(before, after, right):
    assert holds(BOOK.rule(before), BOOK.rule(after)) is right


@pytest.mark.parametrize("seed", range(25))
def test_each_signal_shows_what_the_one_before_announced(seed):
    passed = draw_sequence(np.random.default_rng(seed), BOOK, 6, stops=2)
    assert len(passed) == 6
    before = None
    for one in passed:
        shown = rule_of(one.aspect)
        assert before is None or holds(before, shown)
        assert one.held == shown.speed.startswith("stop")
        if one.then is not None:
            assert shown.speed == "stop"
            after = rule_of(one.then)
            assert not after.speed.startswith("stop")
            assert len(one.then.heads) == len(one.aspect.heads)
            assert (one.then.mount, one.then.plates) == (one.aspect.mount, one.aspect.plates)
        before = rule_of(one.then or one.aspect)
        assert 4 < one.pace < 20
    assert sum(one.held for one in passed) <= 2


def test_a_train_may_be_spared_stops_and_dwarfs():
    for seed in range(10):
        passed = draw_sequence(np.random.default_rng(seed), BOOK, 5, stops=0, dwarfs=False)
        assert not any(one.held for one in passed)
        assert {one.aspect.mount for one in passed} == {"mast"}


def test_rules_of_all_kinds_are_met():
    met = {
        rule_of(one.aspect).number
        for s in range(60)
        for one in draw_sequence(np.random.default_rng(s), BOOK, 6)
    }
    assert len(met) > 25
    assert {"405", "411", "415", "439", "437"} <= met
