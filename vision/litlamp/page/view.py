"""A reading made ready for the page: what the template needs of each signal."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from litlamp.aspects.aspect import Colour
from litlamp.aspects.reading import Reading, RuleChance
from litlamp.aspects.rulebook import Rulebook
from litlamp.aspects.why import places
from litlamp.aspects.words import AspectWordsError, parse_aspect
from litlamp.box import Box
from litlamp.page.correct import Corrected, Correction, HeadSaid
from litlamp.page.settle import Advice
from litlamp.page.tasks import Shown, about
from litlamp.page.whatif import Slip, slips
from litlamp.report.marks import head_words, likeliest, plate_words, ring_centre, ring_radius
from litlamp.report.record import outcome_name
from litlamp.report.text import confidence_words, differs, own_cautions, percent, settling, tied
from litlamp.sight.seen import HeadSeen, SignalSeen

_TAG = 0.05
"""Height of a tag's letters as a share of the view's height."""
_MOST_CHANCES = 6


@dataclass(frozen=True, slots=True)
class Tag:
    """Words beside a mark: where they stand, how wide their plate is, and where the line to the mark ends."""

    words: str
    x: float
    y: float
    width: float
    end: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Mark:
    """Something to be lit up in the picture: its id on the page, its outline as an SVG path, and its tag."""

    id: str
    kind: Literal["head", "plate", "mast"]
    look: str
    path: str
    tag: Tag | None


@dataclass(frozen=True, slots=True)
class Figure:
    """The picture of one signal: all of it and the part about the signal, px of the upright picture."""

    size: tuple[int, int]
    view: Box
    letters: float
    marks: tuple[Mark, ...]
    words: str


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the reading, and the ids of what it speaks of."""

    words: str
    lights: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Chance:
    """One outcome with its probability, in words and number."""

    name: str
    rule: str | None
    percent: str
    share: float
    guarded: bool


@dataclass(frozen=True, slots=True)
class Said:
    """A reading in the words of the page."""

    name: str
    rule: str | None
    permits: str
    guarded: bool
    likeliest: Chance | None
    tied: bool
    sure: str
    settling: str
    chances: tuple[Chance, ...]
    further: int
    aspect: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SignalView:
    """All of one signal for the page. `number` counts from 1."""

    number: int
    said: Said
    figure: Figure | None
    seen: tuple[Step, ...]
    steps: tuple[Step, ...]
    advice: tuple[Advice, ...]
    slips: tuple[Slip, ...]
    heads: tuple[str, ...]
    corrected: Corrected | None


def said_of(reading: Reading, book: Rulebook) -> Said:
    """What a reading says, the guarded reading first."""
    if reading.reading is None or reading.guarded is None:
        return Said(
            "No reading", None, "", False, None, False, "", "", (), 0, reading.aspect, own_cautions(reading)
        )
    head = reading.guarded if differs(reading) else reading.reading
    members = [_chance(c, reading) for c in reading.set]
    shown = members[:_MOST_CHANCES]
    shown += [c for c in members[_MOST_CHANCES:] if c.guarded]
    return Said(
        name=_capital(outcome_name(head)),
        rule=head.rule,
        permits="" if head.rule is None else book.rule(head.rule).permits,
        guarded=differs(reading),
        likeliest=_chance(reading.reading, reading),
        tied=tied(reading),
        sure=confidence_words(reading.reading.probability),
        settling=settling(reading) if differs(reading) else "",
        chances=tuple(shown),
        further=len(members) - len(shown),
        aspect=reading.aspect,
        cautions=own_cautions(reading),
    )


def _chance(chance: RuleChance, reading: Reading) -> Chance:
    guarded = reading.guarded is not None and chance.rule == reading.guarded.rule
    return Chance(
        _capital(outcome_name(chance)), chance.rule, percent(chance.probability), chance.probability, guarded
    )


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def signal_view(
    number: int,
    seen: SignalSeen,
    reading: Reading,
    book: Rulebook,
    picture: Shown | None,
    advice: Sequence[Advice],
    correction: Correction | None = None,
    corrected: Corrected | None = None,
) -> SignalView:
    """Everything the page shows of one signal; `corrected` is what a correction made of the reading."""
    now = reading if corrected is None else corrected.reading
    marks = _marks(number, seen, correction)
    return SignalView(
        number=number,
        said=said_of(now, book),
        figure=None if picture is None else _figure(seen, picture, marks),
        seen=tuple(_seen_steps(number, seen)),
        steps=tuple(Step(words, _lights(words, number, seen)) for words in now.why),
        advice=tuple(advice),
        slips=slips_of(now.aspect, book),
        heads=places(len(seen.heads)),
        corrected=corrected,
    )


def slips_of(aspect: str, book: Rulebook) -> tuple[Slip, ...]:
    """The slips next to an aspect in words; none where it is no display that can be named."""
    try:
        return slips(parse_aspect(aspect), book) if aspect else ()
    except AspectWordsError:
        return ()


# -- what is marked ----------------------------------------------------------------------------------------


def _marks(number: int, seen: SignalSeen, correction: Correction | None) -> list[Mark]:
    marks = []
    mast = _mast(seen)
    if mast:
        marks.append(Mark(f"s{number}mast", "mast", "mast", mast, None))
    for at, head in enumerate(seen.heads):
        stated = HeadSaid()
        if correction is not None and at < len(correction.heads):
            stated = correction.heads[at]
        colour, words = _as_marked(head, stated)
        x, y = ring_centre(head)
        radius = max(ring_radius(seen, head), 1.0)
        tag = Tag(words, 0, y, 0, (x + radius, y))
        look = "nohead" if stated.no_head else colour
        marks.append(Mark(f"s{number}head{at + 1}", "head", look, _ring(colour, x, y, radius), tag))
    for at, plate in enumerate(seen.plates_seen):
        b = plate.box
        path = f"M{b.x0:.1f} {b.y0:.1f}H{b.x1:.1f}V{b.y1:.1f}H{b.x0:.1f}Z"
        tag = Tag(plate_words(plate, _number(seen)), 0, b.centre[1], 0, (b.x1, b.centre[1]))
        marks.append(Mark(f"s{number}plate{at + 1}", "plate", "plate", path, tag))
    return marks


def _number(seen: SignalSeen) -> str | None:
    """The digits of its number plate, where they were read."""
    return None if seen.number == "?" else seen.number


def _as_marked(head: HeadSeen, stated: HeadSaid) -> tuple[Colour, str]:
    """Colour and words of a head as it is marked: what was stated goes before what was seen."""
    colour, _ = likeliest(head)
    if stated.no_head:
        return colour, "no head (stated)"
    flashing = stated.flashing
    if stated.colour is None and flashing is None:
        return colour, head_words(head)
    if stated.colour is None:
        return colour, f"{'flashing ' if flashing else 'steady '}{colour} (stated)"
    return stated.colour, f"{'flashing ' if flashing else ''}{stated.colour} (stated)"


def _ring(colour: Colour, x: float, y: float, r: float) -> str:
    """The same outlines as in the annotated picture: a shape for each colour."""
    if colour == "red":
        s = 0.92 * r
        return f"M{x - s:.2f} {y - s:.2f}H{x + s:.2f}V{y + s:.2f}H{x - s:.2f}Z"
    if colour == "yellow":
        s = 1.25 * r
        return f"M{x:.2f} {y - s:.2f}L{x + s:.2f} {y:.2f}L{x:.2f} {y + s:.2f}L{x - s:.2f} {y:.2f}Z"
    arcs = {"lunar": ((-62, 62), (118, 242))}.get(colour, ((0, 180), (180, 360)))
    return "".join(_arc(x, y, r, start, end) for start, end in arcs)


def _arc(x: float, y: float, r: float, start: float, end: float) -> str:
    (x0, y0), (x1, y1) = (
        (x + r * math.cos(math.radians(a)), y + r * math.sin(math.radians(a))) for a in (start, end)
    )
    return f"M{x0:.2f} {y0:.2f}A{r:.2f} {r:.2f} 0 0 1 {x1:.2f} {y1:.2f}"


def _mast(seen: SignalSeen) -> str:
    """A line beside the heads, from the highest to below the lowest."""
    b = seen.box
    off = max(0.25 * b.width, 0.3 * seen.resolution)
    x = b.x0 - off
    foot = b.y1 + 0.8 * max(seen.resolution, 1.0)
    return f"M{x + off / 2:.2f} {b.y0:.2f}H{x:.2f}V{foot:.2f}H{x + off / 2:.2f}"


def _figure(seen: SignalSeen, picture: Shown, marks: Iterable[Mark]) -> Figure:
    view = about(seen.box, picture.size)
    letters = _TAG * view.height
    placed = _placed(list(marks), seen, view, letters)
    words = ", ".join(m.tag.words for m in placed if m.tag is not None)
    return Figure(picture.size, view, letters, tuple(placed), f"The signal in the picture, marked: {words}")


def _placed(marks: list[Mark], seen: SignalSeen, view: Box, letters: float) -> list[Mark]:
    """The marks with their tags in a column on the side that has more room, none over another."""
    right = view.x1 - seen.box.x1 >= seen.box.x0 - view.x0
    apart = 1.7 * letters
    tagged = sorted((m for m in marks if m.tag is not None), key=lambda m: m.tag.y if m.tag else 0)
    rows: list[float] = []
    for mark in tagged:
        y = mark.tag.y if mark.tag else 0.0
        rows.append(max(y, rows[-1] + apart) if rows else y)
    over = rows[-1] - (view.y1 - letters) if rows else 0.0
    if over > 0:
        rows = [y - over for y in rows]
    by_id = {}
    for mark, y in zip(tagged, rows, strict=True):
        tag = mark.tag
        if tag is None:
            continue
        wide = (0.56 * len(tag.words) + 1.0) * letters
        x0, x1 = seen.box.x0, seen.box.x1
        x = min(x1 + 2.2 * letters, view.x1 - wide) if right else max(x0 - 2.2 * letters - wide, view.x0)
        end = tag.end if right else (2 * (x0 + x1) / 2 - tag.end[0], tag.end[1])
        by_id[mark.id] = replace(tag, x=x, y=y, width=wide, end=end)
    return [replace(m, tag=by_id.get(m.id)) for m in marks]


# -- what each step speaks of --------------------------------------------------------------------------------


def _seen_steps(number: int, seen: SignalSeen) -> Iterable[Step]:
    """What was seen, part by part: each head, each plate."""
    for at, (name, head) in enumerate(zip(places(len(seen.heads)), seen.heads, strict=True), 1):
        colour, sure = likeliest(head)
        lit = "unlit" if colour == "dark" else colour
        if head.flashing is None:
            flash = "" if colour == "dark" else "; a still does not tell whether it flashes"
        else:
            flash = f"; flashing at {percent(head.flashing)}"
            if head.flash_per_min is not None:
                flash += f", {head.flash_per_min:.0f} times a minute"
        yield Step(f"{_capital(name)}: {lit}, {percent(sure)}{flash}.", (f"s{number}head{at}",))
    for at, plate in enumerate(seen.plates_seen, 1):
        words = plate_words(plate, _number(seen))
        article = (
            "An" if words[0].lower() in "arl" and words.endswith("plate") and words[0].isupper() else "A"
        )
        yield Step(
            f"{article} {words}." if not words.startswith("plate") else f"{_capital(words)}.",
            (f"s{number}plate{at}",),
        )
    unknown = [kind for kind, belief in seen.plates.items() if belief.unknown > 0.05]
    if unknown:
        yield Step(
            f"Not to be told at this size: whether there is a plate {_either(unknown)}.", (f"s{number}mast",)
        )


def _either(kinds: Sequence[str]) -> str:
    return kinds[0] if len(kinds) == 1 else f"{', '.join(kinds[:-1])} or {kinds[-1]}"


def _lights(words: str, number: int, seen: SignalSeen) -> tuple[str, ...]:
    """The ids of what a step of the core speaks of, by the trade words in it."""
    if words.startswith(("Rule ", "The aspect as drawn")):
        return ()
    lower = f" {words.lower()}"
    lights: list[str] = []
    names = places(len(seen.heads))
    heads = [f"s{number}head{at}" for at in range(1, len(names) + 1)]
    named = [id_ for name, id_ in zip(names, heads, strict=True) if len(names) > 1 and name in lower]
    plates = [
        f"s{number}plate{at}"
        for at, plate in enumerate(seen.plates_seen, 1)
        if f" {max(plate.letters, key=lambda k: plate.letters[k]).lower()} plate" in lower
    ]
    if " plate" in lower:
        lights += plates or [f"s{number}mast"]
    elif "mount matters" in lower or "dwarf" in lower:
        lights += [f"s{number}mast"]
    if named:
        lights += named
    elif any(
        w in lower for w in ("from the top", "one head", "stagger", "heads are", "flash", "out of view")
    ):
        lights += heads
    if "lower red" in lower and "placeholder" in lower and heads:
        lights += heads[-1:]
    return tuple(dict.fromkeys(lights))
