"""One picture's truth against its reading: what was right, and on which side each error lies.

An error's side follows the order of the rulebook: a reading less restrictive than the truth is wrong-side,
the worst outcome; one more restrictive is right-side. "Not a standard aspect" and "not lit" rank with the
book's most restrictive indication. A signal that was not found, or of which nothing was read, errs to neither
side and counts as not answered.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePath
from typing import Literal

from litlamp.aspects.aspect import ARRANGEMENTS, MOUNTS, PLATES, Colour
from litlamp.aspects.rulebook import Rulebook
from litlamp.box import Box
from litlamp.collection.match import (
    ReadLamp,
    beside,
    box_of,
    lamps_shared,
    match_lamps,
    match_signals,
    read_lamp,
)
from litlamp.collection.truth_file import TrueLamp, TruePicture, TrueSignal
from litlamp.report.record import OUTCOME_NAMES, Record, SignalRecord

Side = Literal["wrong", "same", "right"]
Bins = Mapping[str, str]  # family -> the bin of it that this case belongs to

DIAMETERS = ("under 3 px", "3-4 px", "5-6 px", "7-10 px", "> 10 px", "not known")
TARGETS = ("4-5 px", "6 px and more")
VIEWS = ("all to be seen", "cut or hidden")


@dataclass(frozen=True, slots=True)
class LampCase:
    """One lit lamp of the truth that is to be seen. `belief` is over COLOURS, None where it was not found."""

    source: str
    true: Colour
    read: Colour | None
    belief: tuple[float, ...] | None
    bins: Bins


@dataclass(frozen=True, slots=True)
class PartsCase:
    """The parts of one signal that was found; None for what the truth does not say.

    `plates_found` is of the plates that a person could read, `plates_denied` of those that stand on the
    signal, `plates_invented` of those that do not: one flag for each.
    """

    head_count: bool | None
    arrangement: bool | None
    mount: bool | None
    aspect: bool | None
    plates_found: tuple[bool, ...]
    plates_denied: tuple[bool, ...]
    plates_invented: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class RuleCase:
    """One signal whose rule is known. None: not answered.

    `exact` is whether the reading is the true rule, False where not answered. `settled` is False for an
    aspect with a flashing lamp: a still cannot tell its rule. `covered` is whether the set holds the truth.
    """

    true: str
    read: str | None
    guarded: str | None
    exact: bool
    settled: bool
    side: Side | None
    guard_side: Side | None
    covered: bool | None
    set_size: int | None
    probability: float | None


@dataclass(frozen=True, slots=True)
class SignalCase:
    """One signal of the truth; `parts` is None where it was not found, `rule` where its rule is not known.

    `lit` is None where the truth does not say; `answered` is whether any reading was given.
    """

    source: str
    box: Box
    found: bool
    answered: bool
    lit: bool | None
    parts: PartsCase | None
    rule: RuleCase | None
    bins: Bins


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A reading less restrictive than a true signal that it was not matched with but lies on or beside."""

    source: str
    box: Box
    true: str
    read: str
    guarded: str
    guard_wrong: bool


@dataclass(frozen=True, slots=True)
class PictureCase:
    """One picture as a whole.

    `false` counts signals read where none is, `false_readings` those of them that were given a reading; both
    None where the truth may be incomplete. `negative` is a complete picture without a signal. `taken_for`
    names the things that the false signals lie on.
    """

    source: str
    failure: str | None
    negative: bool
    false: int | None
    false_readings: int | None
    taken_for: tuple[str, ...]
    neighbours: tuple[Neighbour, ...]
    bins: Bins


@dataclass(frozen=True, slots=True)
class Judged:
    """Every case of one picture."""

    picture: PictureCase
    signals: tuple[SignalCase, ...]
    lamps: tuple[LampCase, ...]


def judge(truth: TruePicture, reading: Record, book: Rulebook) -> Judged:
    """Compare one picture's reading with its truth. KeyError: a rule that the book does not have."""
    place = _place_bins(truth)
    pairs = match_signals(truth.signals, reading.signals)
    signals = tuple(
        _signal(truth.source, t, reading.signals[pairs[i]] if i in pairs else None, book, place)
        for i, t in enumerate(truth.signals)
    )
    return Judged(_picture(truth, reading, pairs, book, place), signals, _lamps(truth, reading, pairs, place))


def side(read: str | None, true: str | None, book: Rulebook) -> Side:
    """On which side of the truth a reading lies; None is no standard aspect, or not lit."""
    ours, theirs = book.rank(read), book.rank(true)
    return "wrong" if ours > theirs else "right" if ours < theirs else "same"


def rule_words(rule: str | None, lit: bool = True) -> str:
    """A rule's number, or the outcome that is no rule in its fixed words."""
    return rule if rule is not None else OUTCOME_NAMES["not_standard" if lit else "not_lit"]


def _signal(
    source: str, true: TrueSignal, read: SignalRecord | None, book: Rulebook, place: Bins
) -> SignalCase:
    rule = _rule(true, read, book) if true.ruled else None
    bins = {**place, **_size_bins(true.diameter)}
    if true.lamps:
        bins["colour"] = true.lamps[0].colour
    kinds = {lamp.kind for lamp in true.lamps if lamp.kind is not None}
    if kinds:
        bins["head kind"] = kinds.pop() if len(kinds) == 1 else "several"
    if true.clear_view is not None:
        bins["view"] = VIEWS[0 if true.clear_view else 1]
    if rule is not None:
        bins["rule"] = rule.true
    parts = None if read is None else _parts(true, read)
    answered = read is not None and read.reading is not None
    return SignalCase(source, true.box, read is not None, answered, true.lit, parts, rule, bins)


def _rule(true: TrueSignal, read: SignalRecord | None, book: Rulebook) -> RuleCase:
    words = rule_words(true.rule, true.lit is not False)
    if true.rule is not None:
        book.rank(true.rule)
    settled = true.steady or true.heads is None
    if read is None or read.reading is None or read.guarded is None:
        # Of a signal that is not lit, "not lit" is the right answer, and the only one without a reading.
        right = read is not None and true.lit is False and true.rule is None
        return RuleCase(words, None, None, right, settled, None, None, None, None, None)
    return RuleCase(
        words,
        rule_words(read.reading.rule),
        rule_words(read.guarded.rule),
        read.reading.rule == true.rule and (true.rule is not None or true.lit is not False),
        settled,
        side(read.reading.rule, true.rule, book),
        side(read.guarded.rule, true.rule, book),
        words in {c.name if c.rule is None else c.rule for c in read.set},
        len(read.set),
        read.reading.probability,
    )


def _parts(true: TrueSignal, read: SignalRecord) -> PartsCase:
    shown = tuple(lamp.shown for lamp in true.lamps)
    colours = tuple(read_lamp(h).colour for h in read.heads)
    in_view = true.whole is not False
    count = arrangement = mount = aspect = None
    if true.heads is not None and in_view:
        count = len(read.heads) == len(true.heads)
    if true.arrangement is not None and (true.heads is None or len(true.heads) > 1):
        arrangement = max(ARRANGEMENTS, key=lambda a: getattr(read.arrangement, a)) == true.arrangement
    if true.mount is not None:
        mount = max(MOUNTS, key=lambda m: getattr(read.mount, m)) == true.mount
    seen = {p for p in PLATES if getattr(read.plates, p) > 0.5}
    denied = {p for p in PLATES if getattr(read.plates, p) + getattr(read.plates_unknown, p) < 0.5}
    if true.heads is not None and in_view and true.plates is not None and mount is not None:
        aspect = colours == shown and mount and arrangement is not False and seen == true.plates
    if true.plates is None:
        return PartsCase(count, arrangement, mount, aspect, (), (), ())
    legible = true.plates if true.legible is None else true.legible
    return PartsCase(
        count,
        arrangement,
        mount,
        aspect,
        tuple(p in seen for p in PLATES if p in legible),
        tuple(p in denied for p in PLATES if p in true.plates),
        tuple(p in seen for p in PLATES if p not in true.plates),
    )


def _lamps(
    truth: TruePicture, reading: Record, pairs: Mapping[int, int], place: Bins
) -> tuple[LampCase, ...]:
    """Every lit lamp of the picture, matched wherever in the picture it was read.

    Lamps whose place is not known are matched by their order in their signal, if that has as many heads.
    """
    heads = [read_lamp(h) for s in reading.signals for h in s.heads]
    burning = [h for h in heads if h.colour != "dark"]
    asked = [lamp for s in truth.signals for lamp in s.lamps if lamp.asked and lamp.at is not None]
    by_place = match_lamps(asked, burning)
    cases = [
        _lamp(truth.source, lamp, burning[by_place[i]] if i in by_place else None, place)
        for i, lamp in enumerate(asked)
    ]
    for i, signal in enumerate(truth.signals):
        there = reading.signals[pairs[i]].heads if i in pairs else ()
        in_order = len(there) == len(signal.lamps)
        for j, lamp in enumerate(signal.lamps):
            if lamp.asked and lamp.at is None:
                read = read_lamp(there[j]) if in_order else None
                found = read if read is not None and read.colour != "dark" else None
                cases.append(_lamp(truth.source, lamp, found, place))
    return tuple(cases)


def _lamp(source: str, true: TrueLamp, read: ReadLamp | None, place: Bins) -> LampCase:
    bins = {**place, **_size_bins(true.diameter), "colour": true.colour}
    if true.kind is not None:
        bins["head kind"] = true.kind
    if read is None:
        return LampCase(source, true.colour, None, None, bins)
    return LampCase(source, true.colour, read.colour, read.belief, bins)


def _picture(
    truth: TruePicture, reading: Record, pairs: Mapping[int, int], book: Rulebook, place: Bins
) -> PictureCase:
    matched = set(pairs.values())
    extra = [r for j, r in enumerate(reading.signals) if j not in matched]
    neighbours: list[Neighbour] = []
    for i, true in enumerate(truth.signals):
        if not true.ruled:
            continue
        for j, read in enumerate(reading.signals):
            if pairs.get(i) == j or read.reading is None or read.guarded is None:
                continue
            # One that belongs to another signal is judged there, unless it has swallowed this one's lamps.
            if not (lamps_shared(true, read) > 0 if j in matched else beside(true, read)):
                continue
            if side(read.reading.rule, true.rule, book) == "wrong":
                neighbours.append(
                    Neighbour(
                        truth.source,
                        box_of(read.box),
                        rule_words(true.rule, true.lit is not False),
                        rule_words(read.reading.rule),
                        rule_words(read.guarded.rule),
                        side(read.guarded.rule, true.rule, book) == "wrong",
                    )
                )
    things = [*(("a part of a signal", t.box) for t in truth.signals), *truth.others]
    taken_for = [
        next((kind for kind, box in things if _lies_on(box_of(r.box), box)), "nothing named") for r in extra
    ]
    counted = truth.complete and reading.failure is None
    return PictureCase(
        truth.source,
        reading.failure,
        counted and not truth.signals,
        len(extra) if counted else None,
        sum(r.reading is not None for r in extra) if counted else None,
        tuple(taken_for) if counted else (),
        tuple(neighbours),
        place,
    )


def _lies_on(read: Box, thing: Box) -> bool:
    (rx, ry), (tx, ty) = read.centre, thing.centre
    holds = thing.x0 <= rx <= thing.x1 and thing.y0 <= ry <= thing.y1
    return holds or (read.x0 <= tx <= read.x1 and read.y0 <= ty <= read.y1) or read.iou(thing) > 0.1


def _place_bins(truth: TruePicture) -> dict[str, str]:
    folders = PurePath(truth.source.replace("\\", "/")).parts[:-1]
    bins = {"light": truth.light or "not known"}
    if truth.weather is not None:
        bins["weather"] = truth.weather
    if folders:
        bins["folder"] = folders[-1] if len(folders) == 1 else "/".join(folders[-2:])
    return bins


def _size_bins(diameter: float | None) -> dict[str, str]:
    """Diameters are rounded to whole px."""
    if diameter is None:
        return {"diameter": DIAMETERS[-1]}
    at = sum(diameter >= edge for edge in (2.5, 4.5, 6.5, 10.5))
    bins = {"diameter": DIAMETERS[at]}
    if diameter >= 3.5:
        bins["target"] = TARGETS[diameter >= 5.5]
    return bins
