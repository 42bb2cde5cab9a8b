"""The whole way for one photograph: media, sight and the interpretation core, one after the other."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

from litlamp.aspects.aspect import MOUNTS, Mount

if TYPE_CHECKING:
    from litlamp.aspects.reading import Reading
    from litlamp.aspects.rulebook import Rulebook
    from litlamp.media.frame import Frame, Pixels
    from litlamp.media.sources import Source
    from litlamp.sight.eyes import Eyes
    from litlamp.sight.seen import SignalSeen

DEFAULT_LEVEL = 0.99

_PLAINLY_DIM = 0.025
"""Belief that a lamp is unlit, for its dimness alone, from which that is told."""
_STRANGE = "This picture is unlike those the networks learned from: be slow to believe it."


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a clip, `span` seconds after its first frame, in which a signal showed one aspect."""

    span: tuple[float, float]
    seen: SignalSeen
    said: Reading


@dataclass(frozen=True, slots=True)
class Passage:
    """A signal's way through a clip.

    Attributes
    ----------
    span : from when to when it was in sight, seconds after the clip's first frame.
    at : the moment that its boxes are of.
    stretches : what it showed, in time order; at least one.
    """

    span: tuple[float, float]
    at: float
    stretches: tuple[Stretch, ...]


@dataclass(frozen=True, slots=True)
class SourceReading:
    """What one source gave.

    Attributes
    ----------
    source : the path as given; "-" for standard input, "" where it has no name.
    kind : "photo" or "clip"; None where it could not be told.
    size : (width, height) px of the upright picture; None where it was not read.
    signals : what was seen and what it says, left to right; empty where no signal was found.
    failure : None, or a sentence saying why the source could not be read. Then `signals` is empty.
    book, edition : the rulebook that the readings follow.
    model : part of the eyes -> name and hash of its weights.
    duration_s : of a clip, from its first frame read to its last, seconds.
    notes : sentences on what was wrong with the source but could be passed over.
    passages : for each of the signals of a clip, its way through it; empty for a photograph.
    frame : the picture that was read, only where it was given as an array and can be had from nowhere else.

    A notebook shows it as the annotated picture and what it says; `str` is one line.
    """

    source: str
    kind: Literal["photo", "clip"] | None
    size: tuple[int, int] | None
    signals: tuple[tuple[SignalSeen, Reading], ...]
    failure: str | None
    book: str
    edition: str
    model: Mapping[str, str] = field(default_factory=dict)
    duration_s: float | None = None
    notes: tuple[str, ...] = ()
    passages: tuple[Passage, ...] = ()
    frame: Frame | None = field(default=None, repr=False, compare=False)

    def __str__(self) -> str:
        from litlamp.report.notebook import one_line

        return one_line(self)

    def _repr_html_(self) -> str:
        from litlamp.report.notebook import html

        return html(self)


def read_photo(
    source: Source | Pixels,
    *,
    book: Rulebook | None = None,
    level: float = DEFAULT_LEVEL,
    expect: Mount | None = None,
    eyes: Eyes | None = None,
) -> SourceReading:
    """Read the signals in one photograph.

    Parameters
    ----------
    source : path, "-" for standard input, the bytes of a file, or a binary stream; or the picture itself,
        upright, as a numpy array: uint8, shape (H, W, 3), colour order R G B, sRGB.
    book : the rulebook to read by; the default book where not given.
    level : what the probabilities of the guarded set must add up to, above 0 and at most 1.
    expect : "mast" or "dwarf" where the caller knows it; the picture's own belief is then set aside.
    eyes : the networks; the installed ones where not given.

    Returns
    -------
    SourceReading
        A source that cannot be read is a value too: `failure` says why.

    Raises
    ------
    litlamp.sight.eyes.EyesError : the installation's networks are missing or altered.
    ValueError : a level out of range, or an array that is no such picture.

    Examples
    --------
    >>> import litlamp
    >>> reading = litlamp.read_photo("samples/hartsmere-home-red.jpg")
    >>> seen, said = reading.signals[0]
    >>> said.guarded.name, said.guarded.rule
    ('Stop', '439')
    >>> seen.heads[0].colour["red"] > 0.9
    True
    >>> litlamp.read_photo("samples/made_with.txt").failure
    'this is text, not a picture'
    """
    return read_with_frame(source, book=book, level=level, expect=expect, eyes=eyes)[0]


def read_with_frame(
    source: Source | Pixels,
    *,
    book: Rulebook | None = None,
    level: float = DEFAULT_LEVEL,
    expect: Mount | None = None,
    eyes: Eyes | None = None,
) -> tuple[SourceReading, Frame | None]:
    """`read_photo`, and the upright picture it read (None with a failure), for whoever draws on a copy."""
    import numpy as np

    from litlamp.aspects.interpret import interpret
    from litlamp.aspects.rulebook import load_book
    from litlamp.media.photo import Early, MediaError
    from litlamp.media.photo import read_photo as read_frame
    from litlamp.sight.eyes import load_eyes
    from litlamp.sight.find import LEAST_WHOLE_SIDE, Beginning
    from litlamp.sight.look import look

    if not 0 < level <= 1:
        raise ValueError(f"the level must be above 0 and at most 1, not {level}")
    book = book or load_book()
    eyes = eyes or load_eyes()
    given = isinstance(source, np.ndarray)
    name = "" if isinstance(source, np.ndarray) else source_name(source)
    with Beginning(eyes) as beginning:
        # One processor alone gains nothing by beginning before the whole is decoded.
        early = Early(beginning.take, LEAST_WHOLE_SIDE, beside=eyes.beside > 1)
        try:
            frame = (
                _given_frame(source) if isinstance(source, np.ndarray) else read_frame(source, early=early)
            )
        except MediaError as error:
            failed = SourceReading(
                name, None, None, (), error.sentence, book.name, book.edition, dict(eyes.names)
            )
            return failed, None
        every = look(frame, eyes, beginning)
    signals = []
    for seen in every:
        belief = seen.belief()
        if expect is not None:
            belief = replace(belief, mount={m: float(m == expect) for m in MOUNTS})
        reading = interpret(belief, book, level)
        signals.append((seen, told(reading, seen, expect)))
    read = SourceReading(
        name, "photo", frame.size, tuple(signals), None, book.name, book.edition, dict(eyes.names),
        frame=frame if given else None,
    )  # fmt: skip
    return read, frame


def _given_frame(pixels: Pixels) -> Frame:
    from litlamp.media.frame import Frame

    if pixels.dtype != "uint8" or pixels.ndim != 3 or pixels.shape[2] != 3 or 0 in pixels.shape:
        shape = " x ".join(map(str, pixels.shape))
        raise ValueError(
            f"a picture is an array of uint8, height x width x 3, not of {pixels.dtype}, {shape}"
        )
    return Frame(pixels)


def told(reading: Reading, seen: SignalSeen, expect: Mount | None) -> Reading:
    """The reading, with what the core cannot know: what the user stated, and how odd the picture is."""
    why, cautions = reading.why, reading.cautions
    if expect is not None:
        from litlamp.report.text import percent

        sure = seen.mount[expect]
        alone = percent(sure).replace("\u00a0", " ")
        why = (f"Mount: {expect}, as you stated; the picture alone made it {expect} at {alone}.", *why)
        if sure < 0.5:
            cautions = (
                f"You stated a {expect}, but the picture looks more like a "
                f"{'dwarf' if expect == 'mast' else 'mast'}: the reading rests on your word.",
                *cautions,
            )
    cautions = (*cautions, *_of_lamps(seen))
    if seen.strange >= 0.5:
        cautions = (*cautions, _STRANGE)
    return replace(reading, why=why, cautions=cautions)


def _of_lamps(seen: SignalSeen) -> Iterator[str]:
    """What is odd about single lamps, for a learner to look at."""
    from litlamp.aspects.why import places

    for place, head in zip(places(len(seen.heads)), seen.heads, strict=True):
        if head.red_rim >= 0.5:
            colour = max(head.colour, key=lambda c: head.colour[c])
            yield f"The {place} reads {colour}, but its rim is too red for that: perhaps an over-exposed red."
        if head.unlit >= _PLAINLY_DIM:
            yield f"The lamp of the {place} is dim beside another: it may be unlit, with light in its glass."


def source_name(source: Source) -> str:
    """The source as given, fit for UTF-8: bytes of a path that are none are escaped."""
    if isinstance(source, bytes):
        return ""
    name = os.fspath(source) if isinstance(source, (str, os.PathLike)) else getattr(source, "name", "")
    if not isinstance(name, str):
        return ""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
