"""An aspect set with plain controls: form fields to an aspect, and an aspect to the fields that show it."""

from __future__ import annotations

from collections.abc import Mapping

from litlamp.aspects.aspect import (
    ARRANGEMENTS,
    COLOURS,
    MOST_HEADS,
    MOUNTS,
    PLATES,
    Aspect,
    Lamp,
)

DEFAULT = Aspect((Lamp("yellow"), Lamp("red")), "mast", "vertical")


def aspect_from(fields: Mapping[str, str]) -> Aspect:
    """The aspect in `colour1` .. `colour3`, `flash1` .., `mount`, `arrangement` and `plateA` ..

    Heads are read from the top until the first that is none; what is not one of the choices is left out.
    With no head at all the heads are empty.
    """
    heads: list[Lamp] = []
    for at in range(1, MOST_HEADS + 1):
        colour = fields.get(f"colour{at}", "")
        if colour not in COLOURS:
            break
        heads.append(Lamp(colour, colour != "dark" and fields.get(f"flash{at}") == "yes"))
    mount = fields.get("mount")
    arrangement = fields.get("arrangement")
    return Aspect(
        tuple(heads),
        mount if mount in MOUNTS else None,
        arrangement if arrangement in ARRANGEMENTS else None,
        frozenset(kind for kind in PLATES if fields.get(f"plate{kind}") == "yes"),
    )


def fields_of(aspect: Aspect) -> dict[str, str]:
    """The fields that `aspect_from` makes this aspect of."""
    fields: dict[str, str] = {}
    for at, lamp in enumerate(aspect.heads, 1):
        fields[f"colour{at}"] = lamp.colour
        if lamp.flashing:
            fields[f"flash{at}"] = "yes"
    if aspect.mount:
        fields["mount"] = aspect.mount
    if aspect.arrangement:
        fields["arrangement"] = aspect.arrangement
    for kind in PLATES:
        if kind in aspect.plates:
            fields[f"plate{kind}"] = "yes"
    return fields
