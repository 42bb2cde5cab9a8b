"""One door for the command line: a source is read as the photograph or the clip that it is."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING

from litlamp.aspects.aspect import Mount

if TYPE_CHECKING:
    from litlamp.aspects.rulebook import Rulebook
    from litlamp.media.frame import Frame
    from litlamp.photo_reading import SourceReading
    from litlamp.sight.eyes import Eyes


def read_source(
    source: str,
    *,
    book: Rulebook,
    level: float,
    expect: Mount | None,
    eyes: Eyes,
    fps: Fraction | float | None = None,
    progress: Callable[[float, float | None], None] | None = None,
    keep: bool = False,
) -> tuple[SourceReading, tuple[Frame | None, ...]]:
    """What a photograph, clip or folder of photographs says; with `keep`, pictures to draw on.

    Returns
    -------
    The reading, and frames: of a photograph the picture itself; of a clip one for each signal (None where
    none was kept); nothing of what could not be read. Parameters as for `read_clip`; `eyes`
    are for photographs, as a clip has its own, which leave the decoder its cores.
    """
    from litlamp.media.sources import moves

    if moves(source):
        from litlamp.clip_reading import read_with_frames

        return read_with_frames(
            source, book=book, level=level, expect=expect, fps=fps, progress=progress, keep=keep
        )
    from litlamp.photo_reading import read_with_frame

    reading, frame = read_with_frame(source, book=book, level=level, expect=expect, eyes=eyes)
    return reading, () if frame is None else (frame,)
