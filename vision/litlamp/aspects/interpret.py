"""What is seen becomes what it says: one pure function from a belief and a rulebook to a reading."""

from __future__ import annotations

from collections.abc import Sequence

from litlamp.aspects.aspect import PLATES, Aspect
from litlamp.aspects.belief import NO_PLATE, SEEN_PLATE, HeadBelief, SignalBelief
from litlamp.aspects.cautions import cautions
from litlamp.aspects.hypotheses import Display, Key, Tally, weigh
from litlamp.aspects.reading import Reading, RuleChance
from litlamp.aspects.rulebook import Rulebook
from litlamp.aspects.why import Case, why
from litlamp.aspects.words import describe

AS_LIKELY = 0.9
"""An outcome by this share as probable as the likeliest is as likely: what then parts them is no evidence."""

NAMES = {"not_standard": "not a standard aspect", "not_lit": "not lit"}


def interpret(belief: SignalBelief, book: Rulebook, level: float = 0.99) -> Reading:
    """Read one signal: every outcome with its probability, the reading, and the guarded reading.

    The reading is the most probable outcome, of several as likely the most restrictive. The set is the
    smallest one of outcomes, the reading first and then the most probable, that reaches `level`; the guarded
    reading is its most restrictive member by the book's order. So an outcome with more than 1 - level of the
    probability is never more restrictive than the guarded reading. "Not a standard aspect" and "not lit" rank
    with the book's most restrictive indication and are guarded as that rule.

    Raises
    ------
    ValueError
        The level is not in (0, 1], or the belief holds something that is no probability.
    """
    if not 0.0 < level <= 1.0:
        raise ValueError(f"the level must lie above 0 and at most at 1, not {level}")
    still = any(head.flashing is None for head in belief.heads)
    warned = cautions(book, still)
    made_out = any(sum(head.colour.values()) > 0.0 for head in belief.heads)
    tally = weigh(belief, book) if made_out else Tally()
    total = sum(tally.weight.values())
    if total <= 0.0:
        nothing = "No head was made out, so there is nothing to read."
        return Reading((), None, None, (), level, "", (nothing,), warned)
    displays: dict[Key, Display] = {key: display for key, (_, display) in tally.best.items()}
    chances = sorted(
        (_chance(book, key, weight / total) for key, weight in tally.weight.items()),
        key=lambda chance: (
            -round(chance.probability, 12),
            book.rank(chance.rule),
            chance.rule or chance.name,
        ),
    )
    likely = [c for c in chances if c.probability >= AS_LIKELY * chances[0].probability]
    first = min(likely, key=lambda c: (book.rank(c.rule), c.outcome != "rule"))
    chances = [first, *(c for c in chances if c is not first)]
    chosen = smallest_set(chances, level)
    lit = first.outcome != "not_lit"
    reading = first if lit else None
    guarded = guard(book, chosen) if lit else None
    others = tuple(c for c in likely if c is not first)
    case = Case(book, belief, displays, tuple(chances), chosen, reading, guarded, level, others)
    return Reading(
        chances=tuple(chances),
        reading=reading,
        guarded=guarded,
        set=chosen,
        level=level,
        aspect=describe(displays[first.outcome, first.rule].aspect(belief)),
        why=why(case),
        cautions=warned,
    )


def _chance(book: Rulebook, key: Key, probability: float) -> RuleChance:
    outcome, rule = key
    return RuleChance(rule, NAMES[outcome] if rule is None else book.rule(rule).name, probability, outcome)


def smallest_set(chances: Sequence[RuleChance], level: float) -> tuple[RuleChance, ...]:
    """The first of these chances, most probable first, whose sum reaches the level."""
    total = 0.0
    for count, chance in enumerate(chances, 1):
        total += chance.probability
        if total >= level:
            return tuple(chances[:count])
    return tuple(chances)  # rounding kept the sum a hair below the level


def guard(book: Rulebook, chosen: tuple[RuleChance, ...]) -> RuleChance:
    """The most restrictive of the set; an outcome that is no rule counts as the most restrictive rule."""
    strictest = min(chosen, key=lambda chance: (book.rank(chance.rule), -chance.probability))
    if strictest.outcome == "rule" or book.most_restrictive in {c.rule for c in chosen}:
        rank = book.rank(strictest.rule)
        return next(c for c in chosen if c.outcome == "rule" and book.rank(c.rule) == rank)
    rule = book.rule(book.most_restrictive)
    return RuleChance(rule.number, rule.name, strictest.probability)


def certain(aspect: Aspect, still: bool = False, dark_throughout: bool = False) -> SignalBelief:
    """The belief of someone who was told the aspect: what was stated is certain.

    What was not stated is taken as the plainest: on a mast, in line, no plates, no number plate. `still`
    leaves the flash open, as a photograph does. `dark_throughout` says that a dark head was watched long
    enough to know that it is out.
    """
    heads = tuple(
        HeadBelief(
            colour={lamp.colour: 1.0},
            flashing=None if still else float(lamp.flashing),
            dark_throughout=dark_throughout and lamp.colour == "dark",
        )
        for lamp in aspect.heads
    )
    return SignalBelief(
        heads=heads,
        mount={aspect.mount or "mast": 1.0},
        arrangement={aspect.arrangement or "vertical": 1.0},
        plates={kind: SEEN_PLATE if kind in aspect.plates else NO_PLATE for kind in PLATES},
        number=aspect.number or "",
    )
