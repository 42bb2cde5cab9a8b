from __future__ import annotations

from dataclasses import replace

from litlamp.aspects.aspect import PLATES
from litlamp.aspects.belief import UNKNOWN_PLATE, HeadBelief, SignalBelief
from litlamp.aspects.interpret import certain, interpret
from litlamp.aspects.rulebook import load_book
from litlamp.aspects.words import parse_aspect
from litlamp.page.settle import advice

BOOK = load_book()


def told(belief: SignalBelief, *, clip: bool = False) -> list[str]:
    return [a.tells for a in advice(belief, interpret(belief, BOOK), BOOK, clip=clip)]


def test_what_is_settled_needs_nothing() -> None:
    assert told(certain(parse_aspect("yellow over red"))) == []


def test_each_doubt_gets_its_photograph() -> None:
    lone = certain(parse_aspect("single red"))
    assert told(replace(lone, plates=dict.fromkeys(PLATES, UNKNOWN_PLATE)))[0].startswith(
        "whether an A plate"
    )
    assert told(replace(lone, mount={"mast": 0.6, "dwarf": 0.4})) == ["whether it is on a mast or a dwarf"]
    assert told(replace(lone, whole=0.6))[0] == "whether there is another head"
    two = certain(parse_aspect("red over red"))
    staggered = replace(two, arrangement={"vertical": 0.6, "staggered": 0.4})
    assert told(staggered) == ["whether the heads are staggered"]
    yellow = certain(parse_aspect("yellow over red"), still=True)
    assert "whether a lamp flashes" in told(yellow)
    head = HeadBelief({"red": 0.6, "yellow": 0.4}, 0.0)
    assert told(replace(lone, heads=(head,))) == ["the colour of the head"]


def test_the_most_telling_comes_first() -> None:
    lone = certain(parse_aspect("single red"))
    both = replace(lone, mount={"mast": 0.97, "dwarf": 0.03}, plates=dict.fromkeys(PLATES, UNKNOWN_PLATE))
    assert "plate" in told(both)[0]


def test_cannot_tell_always_says_what_would_help() -> None:
    nothing = SignalBelief((), {"mast": 1.0}, {"vertical": 1.0})
    dark = certain(parse_aspect("dark over dark"), still=True)
    odd = certain(parse_aspect("lunar over green over lunar"))
    for belief in (nothing, dark, odd):
        reading = interpret(belief, BOOK)
        assert reading.reading is None or reading.reading.rule is None
        assert advice(belief, reading, BOOK)


def test_a_clip_is_not_told_to_be_a_clip() -> None:
    yellow = certain(parse_aspect("yellow over red"), still=True)
    takes = [a.take for a in advice(yellow, interpret(yellow, BOOK), BOOK, clip=True)]
    assert any("held still" in take for take in takes)
