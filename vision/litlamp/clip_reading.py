"""The whole way for one clip: media, sight and the interpretation core, one after the other."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from litlamp.aspects.aspect import MOUNTS, Mount
from litlamp.photo_reading import DEFAULT_LEVEL, Passage, SourceReading, Stretch, source_name, told

if TYPE_CHECKING:
    from litlamp.aspects.reading import Reading
    from litlamp.aspects.rulebook import Rulebook
    from litlamp.media.clip import Clip
    from litlamp.media.clip_frame import ClipFrame
    from litlamp.media.frame import Frame
    from litlamp.media.sources import Source
    from litlamp.sight.eyes import Eyes
    from litlamp.sight.lamp_series import Flash
    from litlamp.sight.seen import SignalSeen
    from litlamp.sight.signals import SignalInClip

_STILL_TELLS = "A still cannot tell whether a lamp flashes"


def read_clip(
    source: Source,
    *,
    book: Rulebook | None = None,
    level: float = DEFAULT_LEVEL,
    expect: Mount | None = None,
    eyes: Eyes | None = None,
    fps: Fraction | float | None = None,
    progress: Callable[[float, float | None], None] | None = None,
) -> SourceReading:
    """Read the signals in one clip.

    Parameters
    ----------
    source : path of a file or of a folder of photographs taken one after another; "-" for standard input; the
        bytes of a file; or a binary stream.
    book : the rulebook to read by; the default book where not given.
    level : what the probabilities of the guarded set must add up to, above 0 and at most 1.
    expect : "mast" or "dwarf" where the caller knows it; the clip's own belief is then set aside.
    eyes : the networks; the installed ones where not given.
    fps : frames a second of a folder whose photographs carry no times.
    progress : called now and then with the seconds read and the clip's length in seconds (None: unknown).

    Returns
    -------
    SourceReading
        A source that cannot be read is a value too: `failure` says why. Of one that is cut off or damaged,
        what could be read, with `notes`.

    Raises
    ------
    litlamp.sight.eyes.EyesError : the installation's networks are missing or altered.
    ValueError : a level out of range, or an `fps` that is not above 0.
    """
    return read_with_frames(
        source, book=book, level=level, expect=expect, eyes=eyes, fps=fps, progress=progress, keep=False
    )[0]


def read_with_frames(
    source: Source,
    *,
    book: Rulebook | Callable[[], Rulebook] | None = None,
    level: float = DEFAULT_LEVEL,
    expect: Mount | None = None,
    eyes: Eyes | None = None,
    fps: Fraction | float | None = None,
    progress: Callable[[float, float | None], None] | None = None,
    keep: bool = True,
    threads: int = 0,
) -> tuple[SourceReading, tuple[Frame | None, ...]]:
    """`read_clip`, and for each signal the frame that its boxes are of (None where none was kept).

    `book` may also be what loads it, which is then asked once decoding has begun. `threads` is for the
    decoder: 0 as many as there are processors; with 1 nothing is done side by side, for processes that read
    so each.
    """
    from litlamp.media.errors import MediaError

    if not 0 < level <= 1:
        raise ValueError(f"the level must be above 0 and at most 1, not {level}")
    name = source_name(source)
    try:
        with _decoding(source, fps, threads) as begun:
            # The decoder is at work: what else is needed is loaded meanwhile.
            from litlamp.aspects import interpret  # noqa: F401
            from litlamp.sight.signals import signals_in
            from litlamp.sight.watch import watch

            book, eyes = _loaded(book, eyes)
            clip, coming = begun()
            length = clip.duration

            def at(seconds: float) -> None:
                if progress is not None:
                    progress(seconds, length)

            watched = watch(clip, eyes, keep_frames=keep, told=at, frames=coming)
    except MediaError as error:
        book, eyes = _loaded(book, eyes)
        failed = SourceReading(
            name, None, None, (), error.sentence, book.name, book.edition, dict(eyes.names)
        )
        return failed, ()
    found = signals_in(watched, eyes.calibration)
    signals: list[tuple[SignalSeen, Reading]] = []
    passages: list[Passage] = []
    frames: list[Frame | None] = []
    for one in found:
        seen, said, passage = read_signal(one, book, level, expect)
        signals.append((seen, said))
        passages.append(passage)
        frames.append(None if one.frame is None else one.frame.frame())
    read = SourceReading(
        name,
        "clip",
        watched.size,
        tuple(signals),
        None,
        book.name,
        book.edition,
        dict(eyes.names),
        watched.seconds,
        watched.notes if watched.times_fault is None else (*watched.notes, watched.times_fault),
        tuple(passages),
    )
    return read, tuple(frames)


def _loaded(book: Rulebook | Callable[[], Rulebook] | None, eyes: Eyes | None) -> tuple[Rulebook, Eyes]:
    """What was given, or else the default book and the installed networks."""
    from litlamp.aspects.rulebook import load_book
    from litlamp.sight.eyes import load_eyes

    book = book or load_book
    return book() if callable(book) else book, eyes or load_eyes(threads=1)


@contextlib.contextmanager
def _decoding(
    source: Source, fps: Fraction | float | None, threads: int
) -> Iterator[Callable[[], tuple[Clip, Iterable[ClipFrame]]]]:
    """Begin to decode, and give what waits for the clip and its frames.

    It is opened and decoded by threads of its own; with 1 thread, where and as it is asked for.
    """
    from litlamp.media.ahead import ahead, frames_ready
    from litlamp.media.clip import open_clip

    with contextlib.ExitStack() as ends:

        def begin() -> tuple[Clip, Iterable[ClipFrame]]:
            clip = ends.enter_context(open_clip(source, fps=fps, threads=threads, thin=True))
            if threads == 1:
                return clip, clip
            return clip, ends.enter_context(contextlib.closing(ahead(clip, frames_ready(clip.size))))

        if threads == 1:
            yield begin
            return
        # The decoder's own library first and alone: two threads that import keep each other waiting.
        from litlamp.media import container  # noqa: F401

        with ThreadPoolExecutor(1, "opening") as opener:
            yield opener.submit(begin).result


def read_signal(
    one: SignalInClip, book: Rulebook, level: float, expect: Mount | None
) -> tuple[SignalSeen, Reading, Passage]:
    """One signal of a clip: what was seen at its last clear sight, what it says, and its way through."""
    stretches = []
    for part in one.stretches:
        said = _read(part.seen, part.flashes, book, level, expect)
        stretches.append(Stretch(part.span, part.seen, said))
    last = one.last_clear
    passage = Passage(one.span, one.stretches[last].at, tuple(stretches))
    return stretches[last].seen, stretches[last].said, passage


def _read(
    seen: SignalSeen, flashes: tuple[Flash, ...], book: Rulebook, level: float, expect: Mount | None
) -> Reading:
    from litlamp.aspects.cautions import STILL
    from litlamp.aspects.interpret import interpret

    belief = seen.belief()
    if expect is not None:
        belief = replace(belief, mount={m: float(m == expect) for m in MOUNTS})
    said = told(interpret(belief, book, level), seen, expect)
    reasons = dict.fromkeys(
        f.reason for head, f in zip(seen.heads, flashes, strict=True)
        if f.flashing is None and f.reason and head.colour["dark"] < 0.5
    )  # fmt: skip
    because = f": {'; '.join(reasons)}" if reasons else ""
    why = tuple(
        w.replace(_STILL_TELLS, f"This clip does not tell whether a lamp flashes{because}") for w in said.why
    )
    cautions = tuple(
        "This clip does not settle whether a lamp flashes." if c == STILL else c for c in said.cautions
    )
    return replace(said, why=why, cautions=cautions)
