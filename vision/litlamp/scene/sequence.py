"""What the signals of a ride show, one after the other, so that each shows what the one before announced.

By the rulebook's own announcements: "next: stop" must be followed by a signal at stop, "second: stop" by one
that announces stop for its next. A train held at a stop goes on when the signal has cleared.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from litlamp.aspects.aspect import Aspect
from litlamp.aspects.rulebook import Rule, Rulebook, StandardAspect
from litlamp.aspects.succession import holds
from litlamp.scene.plates import number_text


@dataclass(frozen=True, slots=True)
class Passed:
    """A signal as a train meets it.

    Attributes
    ----------
    aspect : what it shows as the train comes near.
    then : what it changes to before the train passes, or None.
    held : the train stops before it and goes on after the change, or, without one, after a while.
    pace : metres a second, at most, at which it is passed.
    """

    aspect: Aspect
    then: Aspect | None = None
    held: bool = False
    pace: float = 16.0


_PACES = {"track": 17.0, "limited": 15.0, "medium": 13.0, "diverging": 11.0, "slow": 7.0, "stop": 9.0}
_SLOWEST = 6.0
_USUAL = 6.0  # how much more often everyday rules are drawn


def draw_sequence(
    rng: np.random.Generator, book: Rulebook, count: int, stops: int = 1, dwarfs: bool = True
) -> tuple[Passed, ...]:
    """What `count` signals show; at most `stops` of them hold the train.

    Aspects are drawn by rule first, so that rules with many aspects are not met more often.
    """
    rows = [
        (rule, row)
        for rule in book.rules
        if rule.aspects and rule.speed != "per special instructions"
        for row in rule.aspects
        if dwarfs or row.mount != "dwarf"
    ]
    out: list[Passed] = []
    before: Rule | None = None
    for i in range(count):
        fit = {r.number: r for r, _ in rows if before is None or holds(before, r)}
        fit = {k: r for k, r in fit.items() if stops > 0 or not r.speed.startswith("stop")} or fit
        # Nobody wants to be told of a stop that may not come.
        calm = {k: r for k, r in fit.items() if stops > 0 or not _leads_to_stop(r)}
        if before is None:
            calm = {k: r for k, r in calm.items() if r.speed == "track"} or calm
        rules = list((calm or fit).values())
        weights = np.array([_USUAL if _everyday(r) else 1.0 for r in rules])
        rule = rules[int(rng.choice(len(rules), p=weights / weights.sum()))]
        row = _pick(rng, [w for r, w in rows if r.number == rule.number])
        aspect = _built(rng, row)
        before, then = rule, None
        held = rule.speed.startswith("stop")
        if held:
            stops -= 1
            cleared = [
                (r, w)
                for r, w in rows
                if not r.speed.startswith("stop")
                and _alike(row, w)
                and (stops > 0 or not _leads_to_stop(r) or i == count - 1)
            ]
            if rule.speed == "stop" and not cleared:
                cleared = [(r, w) for r, w in rows if not r.speed.startswith("stop") and _alike(row, w)]
            if cleared and rule.speed == "stop":
                before, shown = cleared[int(rng.integers(len(cleared)))]
                then = Aspect(shown.heads, aspect.mount, aspect.arrangement, aspect.plates, aspect.number)
        pace = _PACES.get(before.speed, _SLOWEST) * float(rng.uniform(0.85, 1.1))
        out.append(Passed(aspect, then, held, pace))
    return tuple(out)


def _everyday(rule: Rule) -> bool:
    """Clear, Clear to Stop, Stop and their like are met far more often than the rest."""
    plain = rule.announces is None or rule.announces.speed in ("track", "stop")
    return plain and rule.speed in ("track", "medium", "slow", "stop", "stop, then restricted")


def _leads_to_stop(rule: Rule) -> bool:
    return rule.announces is not None and rule.announces.speed == "stop"


def _alike(a: StandardAspect, b: StandardAspect) -> bool:
    """Whether one signal can show both."""
    return (
        len(a.heads) == len(b.heads)
        and a.mount == b.mount
        and (a.arrangement in (None, b.arrangement) or b.arrangement is None)
        and a.plates >= b.plates
        and not (b.absent & a.plates)
        and a.number in (None, b.number)
    )


def _pick(rng: np.random.Generator, rows: list[StandardAspect]) -> StandardAspect:
    return rows[int(rng.integers(len(rows)))]


def _built(rng: np.random.Generator, row: StandardAspect) -> Aspect:
    numbered = row.number if row.number is not None else bool(rng.random() < 0.3)
    return Aspect(
        row.heads,
        row.mount or "mast",
        row.arrangement or ("vertical" if len(row.heads) == 1 or rng.random() < 0.6 else "staggered"),
        row.plates,
        number_text(rng) if numbered else None,
    )
