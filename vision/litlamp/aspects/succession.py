"""The order of signals: each announces what the next shall show, so that one reading checks the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from litlamp.aspects.rulebook import Announcement, Rule, Rulebook

Verdict = Literal["holds", "open", "broken", "not told"]


@dataclass(frozen=True, slots=True)
class Told:
    """A signal's reading by rule number; `may_be` is the set it was chosen from.

    None stands for no standard aspect, not lit, or nothing read.
    """

    reading: str | None
    may_be: tuple[str | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """How one signal follows another.

    Attributes
    ----------
    verdict : "holds"; "open": the readings do not fit, but others that they may be would; "broken": none
        would; "not told": nothing was announced, or one of both was not read.
    words : the same in a sentence, with what may lie behind it.
    fits : for "open", the pairs (before, after) that would fit, by rule number.
    between : for "broken", rules of one signal missed in between that would explain it.
    laxer : the later signal is read as less restrictive than anything that was announced; None where
        that is not asked.
    """

    verdict: Verdict
    words: str
    fits: tuple[tuple[str, str], ...] = ()
    between: tuple[str, ...] = ()
    laxer: bool | None = None


def holds(before: Rule, after: Rule) -> bool:
    """Whether a signal may show `after` where the one before it showed `before`.

    "next: stop" must be followed by a signal at stop, "second: stop" by one that announces stop for its next.
    A rule that announces nothing may be followed by any.
    """
    said = before.announces
    if said is None:
        return True
    if said.signal == "next":
        return _has_speed(after, said.speed)
    return _unslowed(after.speed) and after.announces == Announcement("next", said.speed)


def _has_speed(rule: Rule, speed: str) -> bool:
    if speed == "stop":  # "stop, then restricted" is one, and so may be "restricted or stop"
        return "stop" in rule.speed.replace(",", "").split()
    if speed == "restricted":
        return rule.speed in ("restricted", "reduced, at most diverging", "restricted or stop")
    return rule.speed == speed


def _unslowed(speed: str) -> bool:
    """Whether a signal of this speed is passed at the speed of the line, which may be reduced after it."""
    return speed in ("track", "normal") or speed.endswith("(reducing)")


def follow(before: Told, after: Told, book: Rulebook) -> Step:
    """How the reading of one signal follows from that of the one before it.

    Raises
    ------
    KeyError : a rule that the book does not have.
    """
    if before.reading is None or after.reading is None:
        which = "the signal before" if before.reading is None else "this signal"
        return Step("not told", f"Not checked: no rule was read of {which}.")
    first, then = book.rule(before.reading), book.rule(after.reading)
    if first.announces is None:
        return Step("not told", f"{first.name} before it announces nothing that could be checked.")
    if holds(first, then):
        return Step("holds", f"As {first.name} before it announced: {announced(first)}.")
    right = _fitting(first, book)
    if not right:
        return Step("not told", f"No rule of {book.label} shows what {first.name} announces.")
    laxer = all(book.rank(then.number) > book.rank(r.number) for r in right)
    stricter = all(book.rank(then.number) < book.rank(r.number) for r in right)
    how = "less restrictive" if laxer else "more restrictive" if stricter else "other"
    lead = f"{then.name} is {how} than what {first.name} before it announced ({announced(first)})"
    fits = _pairs(before, after, book)
    if fits:
        named = "; ".join(f"{book.rule(a).name}, then {book.rule(b).name}" for a, b in fits[:3])
        return Step("open", f"{lead}. It would fit as: {named}.", fits, laxer=laxer)
    between = _between(first, then, book)
    missed = "a signal missed in between"
    if between:
        missed += f" (it would have shown {' or '.join(book.rule(n).name for n in between[:2])})"
    words = f"{lead}. Either one of both is misread, or {missed}, or the signal changed."
    return Step("broken", words, (), between, laxer)


def announced(rule: Rule) -> str:
    """What a rule says of the signals ahead, in a few words; "" where it says nothing."""
    said = rule.announces
    if said is None:
        return ""
    if said.speed == "stop":
        what = "a stop"
    elif said.speed == "track":
        what = "no lower speed"
    else:
        what = f"{said.speed} speed" if not said.speed[:1].isdigit() else said.speed
    return f"{what} at the {said.signal} signal"


def _fitting(before: Rule, book: Rulebook) -> list[Rule]:
    return [r for r in book.rules if r.aspects and not r.qualifier and holds(before, r)]


def _pairs(before: Told, after: Told, book: Rulebook) -> tuple[tuple[str, str], ...]:
    """Pairs out of both sets that fit, the likeliest first; the sets are in that order."""

    def rules(told: Told) -> Sequence[str]:
        return [number for number in dict.fromkeys((told.reading, *told.may_be)) if number is not None]

    pairs = [
        (i + j, a, b)
        for i, a in enumerate(rules(before))
        for j, b in enumerate(rules(after))
        if book.rule(a).announces is not None and holds(book.rule(a), book.rule(b))
    ]
    return tuple((a, b) for _, a, b in sorted(pairs, key=lambda p: p[0]))


def _between(before: Rule, after: Rule, book: Rulebook) -> tuple[str, ...]:
    """Rules of one signal that would lead from `before` to `after`; those that announce nothing explain
    nothing. Plain ones, which change no speed, come first."""
    fit = [r for r in _fitting(before, book) if r.announces is not None and holds(r, after)]
    return tuple(r.number for r in sorted(fit, key=lambda r: r.speed != "track"))
