"""One reading as one line of JSON: the published format, its writer and its validator.

The format is versioned by `schema`. A reader must ignore keys it does not know: later versions of schema 1
may add keys but neither take any away nor change what one means. `schema_markdown` documents every key.

Probabilities are written with four decimals. One that is neither 0 nor 1 is never written as 0 or 1: the
least is 0.0001, the most 0.9999, so that no doubt is rounded away (closer than 1e-9 counts as exact, being no
more than the noise of sums). The probabilities of one belief may therefore miss 1 by a few units of the last
decimal.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from itertools import pairwise, zip_longest
from typing import TYPE_CHECKING, Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, Struct, UnsetType

from litlamp import __version__
from litlamp.aspects.aspect import ARRANGEMENTS, COLOURS, MOUNTS, PLATES, Arrangement, Colour, Mount, Plate
from litlamp.aspects.belief import UNKNOWN_PLATE, PlateBelief, SignalBelief
from litlamp.aspects.cautions import LONG

if TYPE_CHECKING:
    from litlamp.aspects.reading import Reading, RuleChance
    from litlamp.photo_reading import Passage, SourceReading, Stretch
    from litlamp.sight.seen import HeadSeen, PlateSeen, SignalSeen

SCHEMA = 1
OUTCOME_NAMES = {"not_standard": "not a standard aspect", "not_lit": "not lit"}

_SMALLEST = 1e-4
_NOISE = 1e-9
# Five colours, each rounded by half a unit of the fourth decimal or raised to the least that is written.
_SUM_TOLERANCE = 1e-3

P = Annotated[float, Meta(ge=0, le=1)]
Px = Annotated[float, Meta(ge=-1e7, le=1e7)]
Edges = tuple[Px, Px, Px, Px]
Seconds = Annotated[float, Meta(ge=0, le=1e9)]


class RecordError(ValueError):
    """A line is no record of this format; the message says what is wrong and where ("$.signals[0].box")."""


class RulebookRecord(Struct, frozen=True):
    """Which book was read by."""

    name: str
    edition: str


class MountRecord(Struct, frozen=True):
    """Belief over the mounts."""

    mast: P
    dwarf: P


class ArrangementRecord(Struct, frozen=True):
    """Belief over how the heads stand."""

    vertical: P
    staggered: P


class ColourRecord(Struct, frozen=True):
    """Belief over one head's colour."""

    red: P
    yellow: P
    green: P
    lunar: P
    dark: P


class FlashRecord(Struct, frozen=True):
    """Belief over one head's flashing."""

    steady: P
    flashing: P


class PlatesRecord(Struct, frozen=True):
    """One probability for each kind of plate."""

    A: P
    R: P
    L: P
    DV: P


class HeadRecord(Struct, frozen=True, kw_only=True):
    """One head. `box` and `lamp` are left out where words, not a picture, were read."""

    box: Edges | UnsetType = UNSET
    lamp: tuple[Px, Px, Px] | UnsetType | None = UNSET
    colour: ColourRecord
    flash: FlashRecord | None
    flash_per_min: float | None = None
    flash_per_min_error: float | UnsetType | None = UNSET


class RuleRecord(Struct, frozen=True):
    """A rule, or `rule` null and the outcome in words, with its probability."""

    rule: str | None
    name: str
    probability: P


class GuardedRecord(Struct, frozen=True):
    """The most restrictive member of the set that reaches `level`."""

    rule: str | None
    name: str
    level: P


class AspectRecord(Struct, frozen=True):
    """What a signal of a clip showed from one moment to another."""

    from_s: Seconds
    to_s: Seconds
    aspect: str
    reading: RuleRecord | None
    guarded: GuardedRecord | None
    set: tuple[RuleRecord, ...]


class PlateRecord(Struct, frozen=True):
    """A plate found in the picture: where, what it most likely is, and the belief in that."""

    box: Edges
    kind: str
    probability: P


class SignalRecord(Struct, frozen=True, kw_only=True):
    """One signal of a picture or clip. `at_s` and `aspects` are left out for a photograph."""

    box: Edges
    span_s: tuple[float, float] | None = None
    whole_in_view: bool
    whole: P
    mount: MountRecord
    arrangement: ArrangementRecord
    heads: tuple[HeadRecord, ...]
    plates: PlatesRecord
    plates_unknown: PlatesRecord
    number: str | None
    aspect: str
    reading: RuleRecord | None
    guarded: GuardedRecord | None
    set: tuple[RuleRecord, ...]
    why: tuple[str, ...]
    cautions: tuple[str, ...]
    at_s: Seconds | UnsetType = UNSET
    aspects: tuple[AspectRecord, ...] | UnsetType = UNSET
    plates_seen: tuple[PlateRecord, ...] | UnsetType = UNSET


class Record(Struct, frozen=True, kw_only=True):
    """One source. `notes` is left out where there are none."""

    schema: int
    litlamp: str
    model: dict[str, str]
    source: str
    kind: Literal["photo", "clip"] | None
    size: tuple[Annotated[int, Meta(ge=1)], Annotated[int, Meta(ge=1)]] | None
    duration_s: float | None = None
    rulebook: RulebookRecord
    caution: str
    failure: str | None
    signals: tuple[SignalRecord, ...]
    notes: tuple[str, ...] | UnsetType = UNSET


class WordsRecord(Struct, frozen=True, kw_only=True):
    """An aspect in words and what it says: a signal without a picture."""

    schema: int
    litlamp: str
    rulebook: RulebookRecord
    caution: str
    mount: MountRecord
    arrangement: ArrangementRecord
    heads: tuple[HeadRecord, ...]
    plates: PlatesRecord
    plates_unknown: PlatesRecord
    number: str | None
    aspect: str
    reading: RuleRecord | None
    guarded: GuardedRecord | None
    set: tuple[RuleRecord, ...]
    why: tuple[str, ...]
    cautions: tuple[str, ...]


def rounded(probability: float) -> float:
    """A probability as it is written: four decimals, and 0 or 1 only where it is 0 or 1."""
    if probability <= _NOISE:
        return 0.0
    if probability >= 1 - _NOISE:
        return 1.0
    return round(min(max(probability, _SMALLEST), 1 - _SMALLEST), 4)


def record(reading: SourceReading) -> Record:
    """The record of one source."""
    return Record(
        schema=SCHEMA,
        litlamp=__version__,
        model=dict(reading.model),
        source=reading.source,
        kind=reading.kind,
        size=reading.size,
        duration_s=None if reading.duration_s is None else _seconds(reading.duration_s),
        rulebook=RulebookRecord(reading.book, reading.edition),
        caution=LONG,
        failure=reading.failure,
        signals=tuple(
            _signal(seen, said, passage)
            for (seen, said), passage in zip_longest(reading.signals, reading.passages)
        ),
        notes=reading.notes or UNSET,
    )


def words_record(belief: SignalBelief, reading: Reading, book: str, edition: str) -> WordsRecord:
    """The record of an aspect that was stated in words."""
    heads = tuple(HeadRecord(colour=_colour(h.colour), flash=_flash(h.flashing)) for h in belief.heads)
    present, unknown = _plates(belief.plates)
    return WordsRecord(
        schema=SCHEMA,
        litlamp=__version__,
        rulebook=RulebookRecord(book, edition),
        caution=LONG,
        mount=_mount(belief.mount),
        arrangement=_arrangement(belief.arrangement),
        heads=heads,
        plates=present,
        plates_unknown=unknown,
        number=belief.number,
        aspect=reading.aspect,
        reading=None if reading.reading is None else _rule(reading.reading),
        guarded=_guarded(reading),
        set=tuple(_rule(c) for c in reading.set),
        why=reading.why,
        cautions=reading.cautions,
    )


def encode(of: Record | WordsRecord) -> bytes:
    """One line of UTF-8 JSON, without the line break. The same record gives the same bytes."""
    return msgspec.json.encode(of)


def validate_line(line: bytes | str) -> Record:
    """The record on one line.

    Raises
    ------
    RecordError : not JSON, a key missing or of the wrong type, a probability out of range, a belief that does
        not sum to 1, edges out of order, or a schema this version does not know. The message ends with the
        place.
    """
    try:
        of = msgspec.json.decode(line, type=Record)
    except msgspec.DecodeError as error:
        raise RecordError(str(error)) from None
    except UnicodeDecodeError:
        raise RecordError("the line is no UTF-8 text") from None
    if of.schema != SCHEMA:
        raise RecordError(f"schema {of.schema} is unknown here; {SCHEMA} is what is read - at `$.schema`")
    if of.failure is not None and of.signals:
        raise RecordError("a source that failed has no signals - at `$.signals`")
    if of.failure is None and (of.size is None or of.kind is None):
        raise RecordError("a source that was read has a kind and a size - at `$`")
    for i, signal in enumerate(of.signals):
        _check(signal, f"$.signals[{i}]")
        _check_times(signal, f"$.signals[{i}]")
    return of


def _check_times(signal: SignalRecord, at: str) -> None:
    if signal.span_s is not None and signal.span_s[0] > signal.span_s[1]:
        raise RecordError(f"the moments are out of order - at `{at}.span_s`")
    if isinstance(signal.aspects, UnsetType):
        return
    for j, aspect in enumerate(signal.aspects):
        if aspect.from_s > aspect.to_s:
            raise RecordError(f"the moments are out of order - at `{at}.aspects[{j}]`")
        if (aspect.reading is None) != (aspect.guarded is None):
            raise RecordError(
                f"reading and guarded are null together or not at all - at `{at}.aspects[{j}].guarded`"
            )
    for j, (a, b) in enumerate(pairwise(signal.aspects), 1):
        if b.from_s < a.to_s:
            raise RecordError(f"the aspects are out of order - at `{at}.aspects[{j}]`")


def _check(signal: SignalRecord, at: str) -> None:
    _sums_to_one(msgspec.structs.astuple(signal.mount), f"{at}.mount")
    _sums_to_one(msgspec.structs.astuple(signal.arrangement), f"{at}.arrangement")
    _in_order(signal.box, f"{at}.box")
    for j, head in enumerate(signal.heads):
        here = f"{at}.heads[{j}]"
        if isinstance(head.box, UnsetType) or isinstance(head.lamp, UnsetType):
            raise RecordError(f"a head of a picture has a box and a lamp, or null - at `{here}`")
        _sums_to_one(msgspec.structs.astuple(head.colour), f"{here}.colour")
        _in_order(head.box, f"{here}.box")
        if head.flash is not None:
            _sums_to_one(msgspec.structs.astuple(head.flash), f"{here}.flash")
    for kind in PLATES:
        if getattr(signal.plates, kind) + getattr(signal.plates_unknown, kind) > 1 + _SUM_TOLERANCE:
            raise RecordError(f"present and unknown sum to more than 1 - at `{at}.plates_unknown.{kind}`")
    if (signal.reading is None) != (signal.guarded is None):
        raise RecordError(f"reading and guarded are null together or not at all - at `{at}.guarded`")
    members = {c.rule for c in signal.set}
    # What is no rule counts as the most restrictive one, so that one may be guarded without being a member.
    if signal.guarded is not None and not members & {signal.guarded.rule, None}:
        raise RecordError(f"the guarded reading is a member of the set - at `{at}.guarded`")


def _sums_to_one(belief: Iterable[float], at: str) -> None:
    total = math.fsum(belief)
    if abs(total - 1) > _SUM_TOLERANCE:
        raise RecordError(f"the probabilities sum to {total:.4f}, not 1 - at `{at}`")


def _in_order(edges: Edges, at: str) -> None:
    x0, y0, x1, y1 = edges
    if x0 > x1 or y0 > y1:
        raise RecordError(f"the edges are out of order - at `{at}`")


def _signal(seen: SignalSeen, said: Reading, passage: Passage | None) -> SignalRecord:
    present, unknown = _plates(seen.plates)
    return SignalRecord(
        box=_edges(seen.box.as_list()),
        span_s=None if passage is None else (_seconds(passage.span[0]), _seconds(passage.span[1])),
        whole_in_view=seen.whole >= 0.5,
        whole=rounded(seen.whole),
        mount=_mount(seen.mount),
        arrangement=_arrangement(seen.arrangement),
        heads=tuple(_head(h, clip=passage is not None) for h in seen.heads),
        plates=present,
        plates_unknown=unknown,
        number=seen.number,
        aspect=said.aspect,
        reading=None if said.reading is None else _rule(said.reading),
        guarded=_guarded(said),
        set=tuple(_rule(c) for c in said.set),
        why=said.why,
        cautions=said.cautions,
        at_s=UNSET if passage is None else _seconds(passage.at),
        aspects=UNSET if passage is None else tuple(_aspect(s) for s in passage.stretches),
        plates_seen=tuple(_plate(p) for p in seen.plates_seen) or UNSET,
    )


def _plate(seen: PlateSeen) -> PlateRecord:
    kind = max(seen.letters, key=seen.letters.__getitem__, default="other")
    return PlateRecord(_edges(seen.box.as_list()), kind, rounded(seen.letters.get(kind, 0.0)))


def _aspect(stretch: Stretch) -> AspectRecord:
    said = stretch.said
    return AspectRecord(
        _seconds(stretch.span[0]),
        _seconds(stretch.span[1]),
        said.aspect,
        None if said.reading is None else _rule(said.reading),
        _guarded(said),
        tuple(_rule(c) for c in said.set),
    )


def _seconds(value: float) -> float:
    return round(max(value, 0.0), 3)


def _head(head: HeadSeen, *, clip: bool) -> HeadRecord:
    lamp, error = head.lamp, head.flash_per_min_error
    return HeadRecord(
        colour=_colour(head.colour),
        flash=_flash(head.flashing),
        flash_per_min=None if head.flash_per_min is None else round(head.flash_per_min, 1),
        flash_per_min_error=UNSET if not clip else None if error is None else max(round(error, 2), 0.01),
        box=_edges(head.box.as_list()),
        lamp=None if lamp is None else (round(lamp.x, 1), round(lamp.y, 1), round(lamp.diameter, 1)),
    )


def _edges(edges: list[float]) -> Edges:
    x0, y0, x1, y1 = edges
    return x0, y0, x1, y1


def _mount(belief: Mapping[Mount, float]) -> MountRecord:
    return MountRecord(*(rounded(belief.get(k, 0.0)) for k in MOUNTS))


def _arrangement(belief: Mapping[Arrangement, float]) -> ArrangementRecord:
    return ArrangementRecord(*(rounded(belief.get(k, 0.0)) for k in ARRANGEMENTS))


def _colour(belief: Mapping[Colour, float]) -> ColourRecord:
    return ColourRecord(*(rounded(belief.get(k, 0.0)) for k in COLOURS))


def _flash(flashing: float | None) -> FlashRecord | None:
    return None if flashing is None else FlashRecord(rounded(1 - flashing), rounded(flashing))


def _plates(belief: Mapping[Plate, PlateBelief]) -> tuple[PlatesRecord, PlatesRecord]:
    """Present, and not to be told; a kind that is missing from the belief is unknown."""
    all_kinds = [belief.get(kind, UNKNOWN_PLATE) for kind in PLATES]
    return (
        PlatesRecord(*(rounded(p.present) for p in all_kinds)),
        PlatesRecord(*(rounded(p.unknown) for p in all_kinds)),
    )


def _rule(chance: RuleChance) -> RuleRecord:
    return RuleRecord(chance.rule, outcome_name(chance), rounded(chance.probability))


def _guarded(said: Reading) -> GuardedRecord | None:
    if said.guarded is None:
        return None
    return GuardedRecord(said.guarded.rule, outcome_name(said.guarded), said.level)


def outcome_name(chance: RuleChance) -> str:
    """The rule's name, or the outcome that is no rule in its fixed words."""
    return OUTCOME_NAMES.get(chance.outcome, chance.name)


_DOCUMENTED: tuple[tuple[type[Struct], str, tuple[tuple[str, str, str], ...]], ...] = (
    (
        Record,
        "One source",
        (
            ("schema", "1", "version of this format"),
            ("litlamp", "text", "version of the program that wrote the line"),
            ("model", "object of text", "part of the eyes -> name and hash of its weights"),
            ("source", "text", 'the path as given; `"-"` is standard input'),
            ("kind", '`"photo"`, `"clip"` or null', "what it was; null where it could not be read"),
            ("size", "[width, height] or null", "px of the upright picture; null where it could not be read"),
            ("duration_s", "number or null", "length of a clip; null for a photograph"),
            ("rulebook", "{name, edition}", "the book that the readings follow"),
            ("caution", "text", "to be shown wherever the reading is shown"),
            ("failure", "text or null", "why the source could not be read; then `signals` is `[]`"),
            (
                "signals",
                "list",
                "left to right, in a clip as they came into sight; `[]` where no signal was found (which is "
                "no failure)",
            ),
            ("notes", "list of text", "what was wrong with the source but passed over; left out if nothing"),
        ),
    ),
    (
        SignalRecord,
        "One signal",
        (
            ("box", "[x0, y0, x1, y1]", "px in the upright picture, origin top left"),
            (
                "span_s",
                "[from, to] or null",
                "seconds of a clip from when to when it was seen; null for a photograph",
            ),
            ("whole_in_view", "true or false", "whether every head is more likely in view than not"),
            ("whole", "probability", "that no head is cut off, hidden or unseen"),
            ("mount", "{mast, dwarf}", "belief, sums to 1; as seen, whatever `--expect` states"),
            ("arrangement", "{vertical, staggered}", "belief, sums to 1"),
            ("heads", "list", "top to bottom"),
            ("plates", "{A, R, L, DV}", "probability that the plate is there and was seen"),
            (
                "plates_unknown",
                "{A, R, L, DV}",
                "probability that it could not have been seen, so may or may not be there (too small, "
                "blurred, covered, out of view); what is left of 1 is that it is absent",
            ),
            ("number", "text or null", 'number plate: digits; `""` none or not legible; null not to be told'),
            ("aspect", "text", "the most probable display in words"),
            (
                "reading",
                "{rule, name, probability} or null",
                "the most probable rule, of rules as likely (0.9 of the greatest probability and more) the "
                "most restrictive; `rule` is null for `not a standard aspect` and `not lit`; null where "
                "nothing is lit or all is unknown, and `why` says so",
            ),
            (
                "guarded",
                "{rule, name, level} or null",
                "the most restrictive member of `set` (an outcome that is no rule counts as the book's most "
                "restrictive rule): the headline wherever it differs from `reading`",
            ),
            (
                "set",
                "list of {rule, name, probability}",
                "so many, the reading first and then the likeliest, that they reach `level`",
            ),
            ("why", "list of text", "the steps of the reading, in order"),
            ("cautions", "list of text", "what must be told beside this reading"),
            ("at_s", "number", "the moment of a clip that the boxes are of; left out for a photograph"),
            (
                "aspects",
                "list",
                "what it showed in a clip, in time order; `aspect`, `reading` and all else above is as of "
                "the last clear sight; left out for a photograph",
            ),
            (
                "plates_seen",
                "list of {box, kind, probability}",
                "plates found in the picture, `kind` A, R, L, DV, number or other; left out where none was",
            ),
        ),
    ),
    (
        AspectRecord,
        "One aspect of a signal in a clip",
        (
            ("from_s", "number", "seconds after the clip's first frame"),
            ("to_s", "number", "the same"),
            ("aspect", "text", "as above, as are the next three"),
            ("reading", "{rule, name, probability} or null", ""),
            ("guarded", "{rule, name, level} or null", ""),
            ("set", "list of {rule, name, probability}", ""),
        ),
    ),
    (
        HeadRecord,
        "One head",
        (
            ("box", "[x0, y0, x1, y1]", "px"),
            ("lamp", "[x, y, diameter] or null", "centre and lit diameter, px; null where no lamp is lit"),
            ("colour", "{red, yellow, green, lunar, dark}", "belief, sums to 1"),
            ("flash", "{steady, flashing} or null", "belief, sums to 1; null where it cannot be told"),
            ("flash_per_min", "number or null", "measured in a clip"),
            ("flash_per_min_error", "number or null", "its standard error; left out for a photograph"),
        ),
    ),
)


def schema_markdown() -> str:
    """The format, key by key, as Markdown tables; in the order in which the keys are written."""
    parts = [
        "One JSON object per source and line. Readers ignore keys they do not know. Probabilities have four "
        "decimals; one that is neither 0 nor 1 is never written as 0 or 1 (least 0.0001, most 0.9999)."
    ]
    for _, title, keys in _DOCUMENTED:
        rows = [f"| `{key}` | {kind} | {meaning} |" for key, kind, meaning in keys]
        parts.append("\n".join([f"**{title}**", "", "| key | value | meaning |", "|---|---|---|", *rows]))
    parts.append(
        "`litlamp explain --json` prints one signal of this form with `schema`, `litlamp`, `rulebook` and "
        "`caution`, and without what only a picture has (`box`, `span_s`, `whole_in_view`, `whole`; a head's "
        "`box` and `lamp`)."
    )
    return "\n\n".join(parts) + "\n"
