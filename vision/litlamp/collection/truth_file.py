"""A file of truth: one JSON object per picture and line, as `scene/truth_line.py` and researchers write it.

A line needs `source` and `signals`; a signal needs `box`. Everything else is judged where it is given:
`heads` in words top to bottom, `mount`, `arrangement`, `plates`, `rule` (null: not a standard aspect, or not
lit) with its `edition`, `whole_in_view`, `lamps` with `colour`, `centre`, `diameter_px`, `lit`, `visible` and
`kind`, `plate_boxes` with `legible`. A picture with `"complete": false` may show signals that are not listed,
so nothing in it counts as a false signal. Unknown keys are ignored.

A clip's line, as `scene/clip_truth.py` writes it, has `"kind": "clip"`. A signal of it stands as at its best
moment, `at_s`, where every lamp of the aspect counts as lit. It may have `span_s`, from when to when it can
be seen, `aspects` in time order, each with `from_s`, `to_s`, `heads` and `rule`, and `flash_per_min`, the
rate of its flashing lamps.
"""

from __future__ import annotations

import codecs
import os
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, Struct, UnsetType

from litlamp.aspects.aspect import Arrangement, Colour, Lamp, Mount, Plate
from litlamp.aspects.rulebook import lamp_of
from litlamp.box import Box

IN_VIEW = 0.5  # a lamp of which less is to be seen than this is not asked for

_Px = Annotated[float, Meta(ge=-1e7, le=1e7)]
_Edges = tuple[_Px, _Px, _Px, _Px]
_Seconds = Annotated[float, Meta(ge=0, le=1e7)]


class LinesError(Exception):
    """A file of truth or readings cannot be used; the message is one sentence that names file and line."""


@dataclass(frozen=True, slots=True)
class TrueLamp:
    """One head's lamp. `at` is None where its place is not known, `diameter` (px) where that is not.

    `lit` is False for a dark head and for a flashing one caught in its off phase.
    """

    colour: Colour
    lit: bool
    at: tuple[float, float] | None
    diameter: float | None
    visible: float
    kind: str | None

    @property
    def asked(self) -> bool:
        """Whether a reader should find it."""
        return self.lit and self.visible >= IN_VIEW

    @property
    def shown(self) -> Colour:
        """Its colour in the picture."""
        return self.colour if self.lit else "dark"


@dataclass(frozen=True, slots=True)
class TrueAspect:
    """What a signal of a clip shows for a while, seconds from the clip's zero; None for what is not said."""

    from_s: float
    to_s: float
    heads: tuple[Lamp, ...] | None
    ruled: bool
    rule: str | None


@dataclass(frozen=True, slots=True)
class TrueSignal:
    """One signal; None for whatever the truth does not say.

    `lit` says whether any lamp burns in the picture. `ruled` says whether `rule` is known; then a `rule` of
    None is no standard aspect, or not lit. `legible` holds the plates, of `plates`, that a person could read
    in the picture. Of a clip, `at` is the moment that all else is true of, `span` from when to when the
    signal can be seen, and `aspects` what it shows, in time order (empty where that is not said).
    """

    box: Box
    lamps: tuple[TrueLamp, ...]
    lit: bool | None
    heads: tuple[Lamp, ...] | None
    mount: Mount | None
    arrangement: Arrangement | None
    plates: frozenset[Plate] | None
    legible: frozenset[Plate] | None
    whole: bool | None
    ruled: bool
    rule: str | None
    edition: str | None
    at: float | None = None
    span: tuple[float, float] | None = None
    aspects: tuple[TrueAspect, ...] = ()
    flash_per_min: float | None = None

    @property
    def steady(self) -> bool:
        """Whether the heads are known and none flashes."""
        return self.heads is not None and not any(h.flashing for h in self.heads)

    @property
    def diameter(self) -> float | None:
        """The middle one of the known lamp diameters, those of lit lamps where there are any; px."""
        known = [lamp for lamp in self.lamps if lamp.diameter is not None]
        chosen = [lamp for lamp in known if lamp.lit] or known
        return median(lamp.diameter or 0.0 for lamp in chosen) if chosen else None

    @property
    def clear_view(self) -> bool | None:
        """Whether all that decides is there to be seen: every head and every plate; None: not known."""
        if self.whole is None:
            return None
        hidden = any(lamp.visible < IN_VIEW for lamp in self.lamps)
        unread = self.plates is not None and self.legible is not None and self.plates != self.legible
        return self.whole and not hidden and not unread


@dataclass(frozen=True, slots=True)
class TruePicture:
    """One picture or clip. `light` is one of `LIGHTS`, or None; `others` are things that are no signal.

    `line` is the line's number in its file; `duration` is a clip's, seconds, where it is known.
    """

    source: str
    line: int
    signals: tuple[TrueSignal, ...]
    complete: bool
    light: str | None
    weather: str | None
    others: tuple[tuple[str, Box], ...]
    kind: Literal["photo", "clip"] = "photo"
    duration: float | None = None


LIGHTS = ("day", "overcast", "low sun", "dusk", "night")


class _Lamp(Struct):
    colour: Colour
    centre: tuple[_Px, _Px] | None = None
    diameter_px: Annotated[float, Meta(gt=0)] | None = None
    lit: bool = True
    visible: Annotated[float, Meta(ge=0)] = 1.0
    kind: str | None = None


class _PlateBox(Struct):
    kind: str
    legible: bool = True


class _Aspect(Struct):
    from_s: _Seconds
    to_s: _Seconds
    heads: tuple[str, ...] | None = None
    rule: str | UnsetType | None = UNSET


class _Signal(Struct):
    box: _Edges
    lamps: tuple[_Lamp, ...] | None = None
    heads: tuple[str, ...] | None = None
    mount: Mount | None = None
    arrangement: Arrangement | None = None
    plates: tuple[Plate, ...] | None = None
    plate_boxes: tuple[_PlateBox, ...] | None = None
    whole_in_view: bool | None = None
    rule: str | UnsetType | None = UNSET
    edition: str | None = None
    apertures: int | None = None
    at_s: _Seconds | None = None
    span_s: tuple[_Seconds, _Seconds] | None = None
    aspects: tuple[_Aspect, ...] = ()
    flash_per_min: Annotated[float, Meta(gt=0)] | None = None


class _Other(Struct):
    box: _Edges
    kind: str = "road light"


class _Picture(Struct):
    source: str
    signals: tuple[_Signal, ...]
    complete: bool = True
    light: str | None = None
    factors: dict[str, str] = msgspec.field(default_factory=dict)
    distractors: tuple[_Other, ...] = ()
    road_lamps: tuple[_Other, ...] = ()
    kind: str = "photo"  # researchers say here what it is a picture of
    duration_s: _Seconds | None = None


def numbered_lines(path: str | os.PathLike[str], data: bytes) -> list[tuple[int, bytes]]:
    """The lines that hold anything, with their numbers from 1. LinesError where there is none."""
    lines = [(i, line) for i, line in enumerate(data.splitlines(), 1) if line.strip()]
    if not lines:
        raise LinesError(f"{os.fspath(path)} holds no line")
    return lines


def read_bytes(path: str | os.PathLike[str]) -> bytes:
    """The file's bytes. LinesError where it cannot be read."""
    try:
        return Path(path).read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        said = (getattr(error, "strerror", None) or "cannot be read").lower()
        raise LinesError(f"{os.fspath(path)}: {said}") from error


def load_truth(path: str | os.PathLike[str]) -> tuple[TruePicture, ...]:
    """The truth in a file of JSON Lines.

    Raises
    ------
    LinesError : the file cannot be read or is empty, a line is no truth, or a source comes twice.
    """
    return parse_truth(read_bytes(path), os.fspath(path))


def parse_truth(data: bytes, name: str) -> tuple[TruePicture, ...]:
    """The truth in the bytes of such a file; `name` is what a fault calls it. Raises LinesError."""
    pictures: dict[str, TruePicture] = {}
    # Some editors begin a file of text with a mark of its byte order.
    for number, line in numbered_lines(name, data.removeprefix(codecs.BOM_UTF8)):
        try:
            picture = _picture(msgspec.json.decode(line, type=_Picture), number)
        except (msgspec.DecodeError, UnicodeDecodeError, ValueError) as error:
            what = " ".join(str(error).split())
            raise LinesError(f"{name}, line {number}: this is no line of truth ({what})") from error
        if picture.source in pictures:
            first = pictures[picture.source].line
            raise LinesError(f"{name}, line {number}: {picture.source!r} stands on line {first} too")
        pictures[picture.source] = picture
    return tuple(pictures.values())


def _picture(of: _Picture, number: int) -> TruePicture:
    others = [(o.kind, Box(*o.box)) for o in (*of.distractors, *of.road_lamps)]
    return TruePicture(
        of.source,
        number,
        tuple(_signal(s) for s in of.signals),
        of.complete,
        _light(of.factors.get("light") or of.light),
        of.factors.get("weather"),
        tuple(others),
        "clip" if of.kind == "clip" else "photo",
        of.duration_s,
    )


def _light(words: str | None) -> str | None:
    """One of LIGHTS; a researcher's own words are searched for them, the darkest first."""
    said = (words or "").lower()
    found = (light for light in reversed(LIGHTS) if light in said)
    return next(found, "day" if "sun" in said else None)


def _signal(of: _Signal) -> TrueSignal:
    heads = None if of.heads is None else tuple(lamp_of(words) for words in of.heads)
    whole_kind = None if of.apertures is None else f"{of.apertures} apertures"
    if of.lamps is not None:
        lamps = tuple(
            TrueLamp(
                p.colour, p.lit and p.colour != "dark", p.centre, p.diameter_px, p.visible,
                p.kind or whole_kind,
            )
            for p in of.lamps
        )  # fmt: skip
    else:
        lamps = tuple(
            TrueLamp(h.colour, h.colour != "dark", None, None, 1.0, whole_kind) for h in heads or ()
        )
    plates = None if of.plates is None else frozenset(of.plates)
    legible = None
    if plates is not None and of.plate_boxes is not None:
        unread = {p.kind for p in of.plate_boxes if not p.legible}
        legible = frozenset(p for p in plates if p not in unread)
    return TrueSignal(
        Box(*of.box),
        lamps,
        None if of.lamps is None and heads is None else any(lamp.lit for lamp in lamps),
        heads,
        of.mount,
        of.arrangement if heads is None or len(heads) > 1 else None,
        plates,
        legible,
        of.whole_in_view,
        of.rule is not UNSET,
        None if isinstance(of.rule, UnsetType) else of.rule,
        of.edition,
        of.at_s,
        _in_order(of.span_s),
        _aspects(of.aspects),
        of.flash_per_min,
    )


def _in_order(span: tuple[float, float] | None) -> tuple[float, float] | None:
    if span is not None and span[0] > span[1]:
        raise ValueError(f"a span that ends at {span[1]:g} s before it begins at {span[0]:g} s")
    return span


def _aspects(given: tuple[_Aspect, ...]) -> tuple[TrueAspect, ...]:
    out: list[TrueAspect] = []
    for of in given:
        _in_order((of.from_s, of.to_s))
        if out and of.from_s < out[-1].from_s:
            raise ValueError("aspects that are not in time order")
        out.append(
            TrueAspect(
                of.from_s,
                of.to_s,
                None if of.heads is None else tuple(lamp_of(words) for words in of.heads),
                of.rule is not UNSET,
                None if isinstance(of.rule, UnsetType) else of.rule,
            )
        )
    return tuple(out)
