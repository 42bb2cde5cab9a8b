from __future__ import annotations

import pytest

from litlamp.aspects.aspect import Aspect
from litlamp.aspects.rulebook import load_book
from litlamp.aspects.words import parse_aspect
from litlamp.page.judge import judge

BOOK = load_book()
NOTHING = Aspect(())


@pytest.mark.parametrize(
    ("seen", "rule", "truth", "step", "side", "right"),
    [
        ("yellow over red, mast, vertical", "411", "yellow over red", None, "same", True),
        ("red over red, mast, vertical", "439", "yellow over red", "colour", "right", False),
        ("single yellow, mast", "411", "yellow over red", "head count", "same", True),
        ("yellow over red, mast, vertical", "411", "flashing yellow over red", "flash", "right", False),
        ("red over red, mast, staggered", "437", "red over red", "stagger", "wrong", False),
        ("single red, mast", "437", "single red, A plate", "plate", "wrong", False),
        ("single red, dwarf", "439", "single red", "mount", "right", False),
        ("yellow over red, mast, vertical", "405", "yellow over red", "rule", "wrong", False),
    ],
)
def test_the_step_that_went_wrong(
    seen: str, rule: str, truth: str, step: str | None, side: str, right: bool
) -> None:
    got = judge(parse_aspect(seen), rule, parse_aspect(truth), BOOK)
    assert (got.step, got.side, got.right, got.surely) == (step, side, right, True)


@pytest.mark.parametrize(
    ("rule", "truth", "step", "side"),
    [
        ("437", "single red, A plate", "plate", "wrong"),
        ("411", "flashing yellow over red", "flash", "right"),
        ("437", "red over red", "stagger", "wrong"),
        ("405", "red over red, A plate, staggered", "rule", "wrong"),
        (None, "yellow over red", "rule", "right"),
    ],
)
def test_the_rule_alone_tells_the_likeliest_step(rule: str | None, truth: str, step: str, side: str) -> None:
    got = judge(NOTHING, rule, parse_aspect(truth), BOOK)
    assert (got.step, got.side, got.right, got.surely) == (step, side, False, False)


def test_right_without_saying_what_was_seen() -> None:
    got = judge(NOTHING, "411", parse_aspect("yellow over red"), BOOK)
    assert got.right and got.step is None and got.told == ""
