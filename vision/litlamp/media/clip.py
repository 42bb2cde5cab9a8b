"""The door for clips: a file, bytes, a stream or a folder becomes upright pictures with exact times.

Containers are decoded by PyAV, animations by Pillow, folders of photographs by the door for stills. Frames
come one at a time and nothing is kept: an hour costs no more memory than a second.
"""

from __future__ import annotations

import io
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import BinaryIO

from litlamp.media.clip_frame import ClipFrame, Moment, Start
from litlamp.media.errors import MediaError
from litlamp.media.frame import Time
from litlamp.media.sniff import HEAD_BYTES, Sniffed, sniff
from litlamp.media.sources import ANIMATIONS, STANDARD_INPUT, Source, open_file, shown

__all__ = ["FRAME_PIXEL_LIMIT", "Clip", "ClipFrame", "MediaError", "open_clip"]

FRAME_PIXEL_LIMIT = 40_000_000  # 7680 x 4320 and a little more

_LONGEST_STEP = 3600  # s; no camera waits longer between two frames
_LONGEST_CLIP = 7 * 24 * 3600  # s; a header that tells of more is not believed

_NO_TIMES = frozenset({"H.264", "H.265"})  # bare streams: what times a demuxer gives are its own invention


class Clip:
    """An open clip: iterate once over its frames, in the order they are shown; close it or use `with`.

    Attributes
    ----------
    name : the source as shown to a person, or None.
    size : (width, height) in px of the first frame, upright. Later frames may differ: see `ClipFrame.size`.
    duration : seconds that the header tells of, or None. Good for a progress bar, not for arithmetic.
    notes : sentences on what was wrong but could be passed over. They may grow until the last frame.
    times_fault : why no rate can be had from this clip's times, or None. It may come with any frame.

    Iterating raises MediaError where reading breaks off for a reason outside the clip (a drive that went
    away). Damage inside it does not raise: what can be decoded is given, and `notes` says what was not.
    """

    def __init__(
        self,
        moments: Iterator[Moment],
        notes: list[str],
        name: str | None = None,
        duration: float | None = None,
        times_fault: str | None = None,
        file: BinaryIO | None = None,
    ) -> None:
        self.name = name
        self.duration = duration if duration is not None and 0 < duration <= _LONGEST_CLIP else None
        self.times_fault = times_fault
        self._notes = notes
        self._moments = moments
        self._file = file
        self._last: Time | None = None
        try:
            # The first frame is decoded at once: what cannot be read at all is refused at the door.
            first = next(self._moments, None)
            if first is None:
                raise MediaError("this clip holds no picture that can be decoded")
        except BaseException as error:
            self.close()
            if isinstance(error, MediaError):
                raise MediaError(error.sentence, name) from error.__cause__
            raise
        self._first: Moment | None = first
        self.size = first.picture.size

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences on what was passed over, each once, in the order they were noticed."""
        return tuple(dict.fromkeys(self._notes))

    def __iter__(self) -> Iterator[ClipFrame]:
        return self

    def __next__(self) -> ClipFrame:
        moment, self._first = self._first, None
        try:
            if moment is None:
                moment = next(self._moments)
            return self._timed(moment)
        except StopIteration:
            self.close()
            raise
        except MediaError as error:
            self.close()
            raise MediaError(error.sentence, self.name) from error.__cause__

    def _timed(self, moment: Moment) -> ClipFrame:
        if moment.picture.size != self.size:
            self._notes.append("the size of the picture changes within this clip")
        last, pts = self._last, moment.pts
        if pts is None:
            self._fault("frames of this clip carry no times")
            pts = 0 if last is None else last.pts + 1
        time = Time(pts, moment.time_base)
        if last is not None:
            step = time.since(last)
            if step <= 0:
                self._fault("the times of this clip's frames do not increase")
            elif step > _LONGEST_STEP:
                self._fault(f"the times of this clip's frames jump by {step / 3600:.3g} hours")
        self._last = time
        return ClipFrame(moment.picture, time, self.times_fault, moment.conversions, moment.damaged)

    def _fault(self, sentence: str) -> None:
        if self.times_fault is None:
            self.times_fault = sentence

    def close(self) -> None:
        """Let go of the file and the decoder. Frames already given stay good."""
        close = getattr(self._moments, "close", None)
        if close is not None:
            close()
        self._moments = iter(())
        if self._file is not None:
            self._file.close()
            self._file = None

    def __enter__(self) -> Clip:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def open_clip(
    source: Source,
    *,
    fps: Fraction | float | None = None,
    pixel_limit: int = FRAME_PIXEL_LIMIT,
    threads: int = 0,
    start: Start | None = None,
    thin: bool = False,
) -> Clip:
    """Open a clip: MP4, MOV, MKV, WebM, AVI and other containers; animated GIF, WebP, PNG, AVIF; a folder.

    The format is told by content, never by the name's ending.

    Parameters
    ----------
    source : path; "-" for standard input; the bytes of a file; or a binary stream, read to its end. A path
        to a folder is a burst: see `litlamp.media.burst`.
    fps : frames a second of a burst whose photographs carry no times; left aside for anything else.
    pixel_limit : most pixels (width x height) of a frame.
    threads : decoder threads; 0 for as many as there are cores.
    start : go on from this frame. The first frames given are that one's or earlier ones, of what cannot be
        wound forward all of them.
    thin : leave out pictures that can be done without where a lamp is followed; see `litlamp.media.spare`.

    Raises
    ------
    MediaError
        Whatever is wrong with the source, in one sentence. A clip that is cut off is no error: its frames
        come as far as they go, and `Clip.notes` says so.
    """
    name = shown(source)
    if isinstance(source, (str, os.PathLike)) and source != STANDARD_INPUT and Path(source).is_dir():
        from litlamp.media.burst import open_burst

        return open_burst(source, fps=fps, pixel_limit=pixel_limit)
    try:
        file = _seekable(source)
    except MediaError as error:
        raise MediaError(error.sentence, name) from None
    try:
        found = _moving(file)
        notes: list[str] = []
        if found.name in ANIMATIONS:
            from litlamp.media.animation import animation_moments

            return Clip(animation_moments(file, found.name, pixel_limit, notes), notes, name, file=file)
        from litlamp.media.container import Container

        container = Container(file, found.name, pixel_limit, threads, notes, thin)
        fault = f"a bare {found.name} stream carries no times" if found.name in _NO_TIMES else None
        return Clip(container.moments(start), notes, name, container.duration, fault, file)
    except MediaError as error:
        file.close()
        raise MediaError(error.sentence, name) from error.__cause__
    except BaseException:
        file.close()
        raise


def _seekable(source: Source) -> BinaryIO:
    """An open file of our own that can be wound back: pipes are laid down in a temporary file first."""
    if isinstance(source, bytes):
        return io.BytesIO(source)
    if isinstance(source, (str, os.PathLike)):
        if source != STANDARD_INPUT:
            return open_file(source)
        if sys.stdin is None:
            raise MediaError("nothing is connected to standard input")
        source = sys.stdin.buffer
    copy = tempfile.TemporaryFile()  # noqa: SIM115 - closed by the clip
    try:
        shutil.copyfileobj(source, copy, 1 << 20)
        copy.seek(0)
    except TypeError:
        copy.close()
        raise MediaError("this stream gives text, not bytes") from None
    except (OSError, ValueError) as error:  # ValueError: the stream is closed
        copy.close()
        raise MediaError(
            f"reading broke off: {getattr(error, 'strerror', None) or 'unknown fault'}"
        ) from None
    return copy


def _moving(file: BinaryIO) -> Sniffed:
    """What the file is, if it may be a clip; wound back to its start."""
    try:
        head = file.read(HEAD_BYTES)
        file.seek(0)
    except OSError as error:
        raise MediaError(f"reading broke off: {error.strerror or 'unknown fault'}") from None
    found = sniff(head)
    if found.kind == "clip" or found.name in ANIMATIONS:
        return found
    if found.kind == "photo":
        raise MediaError(f"this is a photograph ({found.name}), not a clip")
    if found.name == "empty":
        raise MediaError("this file is empty")
    if found.name == "unknown":
        raise MediaError("this is no clip of a kind that is known here")
    if found.name == "text":
        raise MediaError("this is text, not a clip")
    raise MediaError(f"this is {found.name}, not a clip")
