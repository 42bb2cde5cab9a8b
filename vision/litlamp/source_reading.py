"""One door for the command line: a source is read as the photograph or the clip that it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from litlamp.aspects.aspect import Mount
from litlamp.photo_reading import source_name

if TYPE_CHECKING:
    from litlamp.aspects.rulebook import Rulebook
    from litlamp.media.frame import Frame
    from litlamp.photo_reading import SourceReading
    from litlamp.sight.eyes import Eyes


def read_source(
    source: str,
    *,
    book: Rulebook | Callable[[], Rulebook],
    level: float,
    expect: Mount | None,
    eyes: Eyes | None = None,
    fps: Fraction | float | None = None,
    progress: Callable[[float, float | None], None] | None = None,
    keep: bool = False,
    threads: int = 0,
) -> tuple[SourceReading, tuple[Frame | None, ...]]:
    """What a photograph, clip or folder of photographs says; with `keep`, pictures to draw on.

    Returns
    -------
    The reading, and frames: of a photograph the picture itself; of a clip one for each signal (None where
    none was kept); nothing of what could not be read. Parameters as for `read_clip`; `eyes`
    are for photographs, the installed ones where not given; a clip has its own, which leave the decoder its
    cores and are loaded once that is at work. `book`, `threads`: see
    `litlamp.clip_reading.read_with_frames`.
    """
    from litlamp.media.sources import STANDARD_INPUT, moves, taken

    whole = taken(source) if source == STANDARD_INPUT else None
    given = source if whole is None else whole
    frames: tuple[Frame | None, ...]
    if moves(given):
        from litlamp.clip_reading import read_with_frames

        reading, frames = read_with_frames(
            given,
            book=book,
            level=level,
            expect=expect,
            fps=fps,
            progress=progress,
            keep=keep,
            threads=threads,
        )
    else:
        from litlamp.photo_reading import read_with_frame

        book = book() if callable(book) else book
        reading, frame = read_with_frame(given, book=book, level=level, expect=expect, eyes=eyes)
        frames = () if frame is None else (frame,)
    return replace(reading, source=source_name(source)), frames
