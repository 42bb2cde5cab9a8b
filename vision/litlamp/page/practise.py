"""Which question comes next: what is due first, then what is new, the weak steps more often."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, cast, get_args

from litlamp.aspects.aspect import MOUNTS, Aspect, Mount
from litlamp.aspects.rulebook import Rulebook
from litlamp.aspects.words import describe
from litlamp.page.drawings import Light, Weather, Wish

Distance = Literal["near", "middling", "far"]
DISTANCES: tuple[Distance, ...] = get_args(Distance)
_METRES: Mapping[Distance, tuple[float, float]] = {"near": (22, 30), "middling": (35, 55), "far": (60, 85)}
_WEIGHT_WEAK = 3.0


@dataclass(frozen=True, slots=True)
class Level:
    """How hard drawn questions are: how far, by night too, and what may occur."""

    distance: Distance = "near"
    night: bool = False
    plates: bool = False
    flashing: bool = False
    dwarfs: bool = False


def level_of(fields: Mapping[str, str]) -> Level:
    """The level in a form's fields."""
    distance = fields.get("distance", "near")
    return Level(
        distance if distance in DISTANCES else "near",
        *(fields.get(name) == "yes" for name in ("night", "plates", "flashing", "dwarfs")),
    )


def fields_of(level: Level) -> dict[str, str]:
    """The fields that `level_of` makes this level of."""
    ticked = {name: "yes" for name in ("night", "plates", "flashing", "dwarfs") if getattr(level, name)}
    return {"distance": level.distance, **ticked}


def pool(book: Rulebook, level: Level) -> tuple[Aspect, ...]:
    """Every display that may be asked at that level, each as it is to be drawn."""
    found: dict[str, Aspect] = {}
    for _, row in book.rows():
        plain = row.aspect()
        mounts: tuple[Mount, ...] = (row.mount,) if row.mount else MOUNTS
        for mount in mounts:
            aspect = replace(plain, mount=mount, arrangement=plain.arrangement or "vertical", number=None)
            if row.number:
                continue
            if any(lamp.colour == "dark" for lamp in aspect.heads):
                continue
            if (aspect.plates and not level.plates) or (mount == "dwarf" and not level.dwarfs):
                continue
            if any(lamp.flashing for lamp in aspect.heads) and not level.flashing:
                continue
            found.setdefault(describe(aspect), aspect)
    return tuple(found.values())


def chosen(
    items: Sequence[str],
    due: Sequence[str],
    known: frozenset[str],
    weak: Mapping[str, int],
    last: str | None,
    rng: random.Random,
) -> str | None:
    """The item to ask: the longest due that is among `items`, else one drawn by weight; None of nothing.

    What is new weighs more than what rests, and what touches a weak step more again. `last` is not asked
    twice running where there is another.
    """
    among = [item for item in items if item != last] or list(items)
    if not among:
        return None
    for item in due:
        if item in among:
            return item
    weights = [(1.0 if item in known else 4.0) * _weakness(item, weak) for item in among]
    return rng.choices(among, weights)[0]


def _weakness(item: str, weak: Mapping[str, int]) -> float:
    """More than 1 where the item exercises a step that often went wrong."""
    touched = {
        "plate": " plate" in item,
        "flash": "flashing" in item,
        "stagger": "staggered" in item,
        "mount": "dwarf" in item,
        "head count": item.count(" over ") == 2,
    }
    total = sum(weak.values())
    if not total:
        return 1.0
    return 1.0 + _WEIGHT_WEAK * sum(weak.get(step, 0) / total for step, is_so in touched.items() if is_so)


def wish(aspect: Aspect, level: Level, rng: random.Random) -> Wish:
    """A drawing of the aspect at that level, each time another."""
    near, far = _METRES[level.distance]
    light = cast(
        Light, rng.choice(["dusk", "night", "night"] if level.night else ["day", "overcast", "low sun"])
    )
    hard = level.distance != "near"
    weather = cast(
        Weather, rng.choice(["clear", "haze", "rain", "snow"] if hard else ["clear", "clear", "haze"])
    )
    return Wish(aspect, rng.randrange(1, 100_000), light, weather, rng.uniform(near, far))
