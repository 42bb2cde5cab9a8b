"""What the interpretation core answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Outcome = Literal["rule", "not_standard", "not_lit"]


@dataclass(frozen=True, slots=True)
class RuleChance:
    """A rule and its probability.

    `outcome` is "rule" for a rule of the book; "not_standard" and "not_lit" carry `rule` None and their own
    name in words.
    """

    rule: str | None
    name: str
    probability: float
    outcome: Outcome = "rule"


@dataclass(frozen=True, slots=True)
class Reading:
    """The answer for one signal.

    Attributes
    ----------
    chances : every outcome with a probability above zero, the reading and then the most probable first; they
        sum to 1.
    reading : the most probable outcome, of several as likely the most restrictive; None where nothing is lit
        or all is unknown.
    guarded : the most restrictive member of `set`, or None with `reading`.
    set : the first of `chances`, so many that their probability reaches `level`.
    level : the level asked for.
    why : the steps in trade words, in order.
    cautions : what a reader must be told beside the reading.
    """

    chances: tuple[RuleChance, ...]
    reading: RuleChance | None
    guarded: RuleChance | None
    set: tuple[RuleChance, ...]
    level: float
    aspect: str
    why: tuple[str, ...]
    cautions: tuple[str, ...]
