"""Signals of a ride held against each other, on records made by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.rulebook import load_book
from litlamp.footage_state import Passed
from litlamp.photo_reading import SourceReading
from litlamp.report.footage_record import FootageSignal, PassedRecord
from litlamp.report.record import (
    ArrangementRecord,
    AspectRecord,
    GuardedRecord,
    MountRecord,
    PlatesRecord,
    RuleRecord,
)
from litlamp.ride import Ride, assembled

BOOK = load_book()
NONE = PlatesRecord(0.0, 0.0, 0.0, 0.0)
CLIP = SourceReading("r.mp4", "clip", (640, 360), (), None, BOOK.name, BOOK.edition, {}, 100.0)


def rule(number: str, sure: float = 1.0) -> RuleRecord:
    return RuleRecord(number, BOOK.rule(number).name, sure)


def showed(a: float, b: float, number: str, *others: str, guarded: str | None = None) -> AspectRecord:
    """From a to b seconds a rule was read; `others` are what else it may be."""
    kept = guarded or number
    return AspectRecord(
        a, b, "", rule(number), GuardedRecord(kept, BOOK.rule(kept).name, 0.99),
        (rule(number), *(rule(o, 0.1) for o in others)),
    )  # fmt: skip


def passed(*aspects: AspectRecord, ended: str = "passed", x: float = 10.0) -> Passed:
    last = aspects[-1]
    signal = FootageSignal(
        box=(x, 0, x + 9, 9), span_s=(aspects[0].from_s, last.to_s), whole_in_view=True, whole=1.0,
        mount=MountRecord(1.0, 0.0), arrangement=ArrangementRecord(1.0, 0.0), heads=(), plates=NONE,
        plates_unknown=NONE, number=None, aspect="", reading=last.reading, guarded=last.guarded, set=last.set,
        why=(), cautions=(), at_s=last.to_s, aspects=aspects,
        footage=PassedRecord(
            number=0, ended=ended, side=None, faces="not known", track="", known=()  # type: ignore[arg-type]
        ),
    )  # fmt: skip
    return Passed(signal, (), None, (), ())


def ride(*of: Passed) -> Ride:
    return assembled(list(of), CLIP, BOOK, at=100.0, whole=True, stopped=False)


def verdicts(of: Ride) -> list[str | None]:
    return [s.footage.follows and s.footage.follows.verdict for s in of.record.signals]


def test_a_ride_by_the_book_holds() -> None:
    of = ride(
        passed(showed(0, 10, "415")),
        passed(showed(12, 20, "411")),
        passed(showed(22, 40, "439"), showed(40, 45, "407")),
        passed(showed(50, 60, "422")),
    )
    assert verdicts(of) == [None, "holds", "holds", "holds"]


def test_what_it_showed_when_the_one_before_was_passed_counts() -> None:
    # In view from afar it showed Clear; when the Clear to Stop was passed, it was at Stop.
    of = ride(passed(showed(0, 20, "411")), passed(showed(5, 12, "405"), showed(12, 30, "439")))
    assert verdicts(of) == [None, "holds"]


def test_a_reading_from_afar_that_was_not_settled_flags_nothing() -> None:
    first = showed(22, 26, "415", "439", guarded="439")
    of = ride(passed(showed(0, 20, "411")), passed(first, showed(26, 40, "439")))
    assert verdicts(of) == [None, "holds"]


def test_a_change_in_view_to_what_was_not_announced_is_flagged() -> None:
    of = ride(passed(showed(0, 20, "407")), passed(showed(22, 30, "422"), showed(30, 40, "405")))
    assert verdicts(of) == [None, "open"]
    told = of.record.signals[1].footage.follows
    assert told is not None and told.less_restrictive is True and "later in view" in told.words


def test_signals_beside_each_other_are_not_checked_and_say_so() -> None:
    of = ride(
        passed(showed(0, 20, "411")),
        passed(showed(22, 40, "405")),
        passed(showed(23, 40.3, "439"), x=300.0),
        passed(showed(50, 60, "405")),
    )
    assert verdicts(of) == [None, "not told", "not told", "not told"]
    assert [s.footage.beside for s in of.record.signals] == [(), (3,), (2,), ()]
    assert "beside 3" in of.record.signals[1].footage.track


def test_signals_are_numbered_as_they_come_and_followed_as_they_are_passed() -> None:
    of = ride(passed(showed(5, 20, "411")), passed(showed(0, 40, "439")))
    first, second = of.record.signals
    assert first.span_s == (0, 40) and second.span_s == (5, 20)
    assert first.footage.follows is not None and first.footage.follows.before == 2
    assert (first.footage.follows.verdict, second.footage.follows) == ("holds", None)


RULES = [r.number for r in BOOK.rules if r.aspects and not r.qualifier]
spans = st.tuples(st.floats(0, 50), st.floats(0.1, 40), st.sampled_from(RULES))


@given(st.lists(spans, max_size=6), st.randoms(use_true_random=False))
def test_the_order_in_which_signals_were_finished_does_not_matter(given_: list, dice: object) -> None:
    own = [passed(showed(a, a + b, number), x=float(i)) for i, (a, b, number) in enumerate(given_)]
    mixed = list(own)
    dice.shuffle(mixed)  # type: ignore[attr-defined]
    one, other = ride(*own), ride(*mixed)
    assert one == other
    assert [s.footage.number for s in one.record.signals] == list(range(1, len(own) + 1))
    followed = [s.footage.follows for s in one.record.signals]
    assert followed.count(None) == min(len(own), 1)


@pytest.mark.parametrize("ended", ["lost from sight", "in view at the end"])
def test_only_what_was_passed_stands_beside(ended: str) -> None:
    of = ride(passed(showed(0, 20, "411"), ended=ended), passed(showed(1, 20, "439"), ended=ended, x=50.0))
    assert [s.footage.beside for s in of.record.signals] == [(), ()]
