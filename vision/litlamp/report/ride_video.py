"""A ride with marks on it: the clip again as H.264, each signal framed, what was known of it below.

The strip of words stands below the picture and hides nothing of it. What it says at a moment is what could be
known then. The sound is taken over as it is where the container allows.
"""

from __future__ import annotations

import contextlib
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import av
import av.video.reformatter as reformatter
import cv2
import numpy as np
from av.error import FFmpegError

from litlamp.aspects.cautions import SHORT
from litlamp.box import Box
from litlamp.media.clip import MediaError, open_clip
from litlamp.media.frame import Pixels
from litlamp.report.sheet import INK, PAPER, RGB, Sheet, line_height, text_width, wrap
from litlamp.report.subtitles import in_short
from litlamp.report.whole_file import WriteError, cannot_write, part_of

if TYPE_CHECKING:
    from litlamp.footage_state import Passed
    from litlamp.media.clip_frame import ClipFrame
    from litlamp.report.footage_record import FootageRecord, KnownRecord

MOST_SIDE = 1920
"""A larger picture is reduced to this longer side, px."""
LEAST_WIDTH = 640
"""A smaller one is enlarged, so that words can be read."""
QUALITY = 23
"""Constant rate factor of the coder."""
TOLD_EVERY = 0.5
_TIME_BASE = Fraction(1, 90_000)
# No colours that a lamp could show.
_SURE: RGB = (120, 195, 255)
_GUARDED: RGB = (255, 160, 225)
_DIM: RGB = (178, 184, 194)
_IN_MP4 = frozenset({"aac", "mp3", "ac3", "eac3", "alac", "opus", "flac"})


@dataclass(frozen=True, slots=True)
class _Plan:
    """How large all is: the picture, and the strip below it; even, as the coder asks."""

    picture: tuple[int, int]
    strip: int
    text: int

    @classmethod
    def of(cls, size: tuple[int, int]) -> _Plan:
        w, h = size
        by = min(MOST_SIDE / max(w, h), 1.0) if w >= LEAST_WIDTH else LEAST_WIDTH / w
        by = min(by, MOST_SIDE / max(w, h))
        wide, high = (max(2 * round(v * by / 2), 2) for v in size)
        text = max(min(round(wide / 46), round(high / 16)), 13)
        strip = 2 * round((_LINES * line_height(text) + 1.4 * text) / 2)
        return cls((wide, high), strip, text)


_LINES = 3
"""Lines of the strip: two signals, and the caution."""


@dataclass(slots=True)
class _Marks:
    """What is drawn at a moment; the strip is drawn anew only when its words change."""

    passed: Sequence[Passed]
    plan: _Plan
    scale: float
    _words: tuple[tuple[str, RGB], ...] | None = None
    _strip: Pixels = field(default_factory=lambda: np.zeros((0, 0, 3), np.uint8))

    def draw(self, rgb: Pixels, at: float) -> Pixels:
        """The picture at its planned size with frames round the signals in view, and the strip below."""
        wide, high = self.plan.picture
        sheet = Sheet(np.empty((high + self.plan.strip, wide, 3), np.uint8))
        if rgb.shape[:2] == (high, wide):
            sheet.pixels[:high] = rgb
        else:
            how = cv2.INTER_AREA if rgb.shape[0] > high else cv2.INTER_CUBIC
            cv2.resize(rgb, (wide, high), dst=sheet.pixels[:high], interpolation=how)
        own = Sheet(sheet.pixels[:high])
        words: list[tuple[str, RGB]] = []
        for one in self.passed:
            box = _box_at(one, at)
            if box is None:
                continue
            known = _known_at(one, at)
            colour = _colour(known)
            self._frame(own, box.scale(self.scale), one.signal.footage.number, colour)
            said = "not known yet" if known is None else in_short(known.reading, known.guarded)
            words.append((f"{one.signal.footage.number}  {said}", colour))
        sheet.paste(self._below(tuple(words)), 0, high)
        return sheet.pixels

    def _frame(self, sheet: Sheet, box: Box, number: int, colour: RGB) -> None:
        stroke = max(1.5, self.plan.text / 9)
        room = max(0.5 * min(box.width, box.height), 4 * stroke)
        box = box.grow(room)
        sheet.frame(box, colour, stroke)
        name, size = str(number), self.plan.text
        x, y = box.x1 + 2 * stroke, box.y0 - stroke
        if x + text_width(name, size, True) > sheet.width:
            x = box.x0 - 2 * stroke - text_width(name, size, True)
        sheet.fill(Box(x - 2, y, x + text_width(name, size, True) + 2, y + line_height(size)), INK)
        sheet.text(x, max(y, 0), name, size, colour, bold=True)

    def _below(self, words: tuple[tuple[str, RGB], ...]) -> Pixels:
        if words == self._words:
            return self._strip
        wide, size = self.plan.picture[0], self.plan.text
        margin = round(0.6 * size)
        sheet = Sheet.blank(wide, self.plan.strip)
        room = _LINES - 1
        lines: list[tuple[str, RGB]] = []
        for i, (said, colour) in enumerate(words):
            parts = wrap(said, size, wide - 2 * margin)
            if len(lines) + min(len(parts), room) > room or (len(lines) == room - 1 and i < len(words) - 1):
                lines = [*lines[: room - 1], (f"{len(words) - i} more in view", _DIM)]
                break
            lines += [(part, colour) for part in parts[:room]]
        if not words:
            lines = [("No signal in view", _DIM)]
        y = margin
        for said, colour in lines[:room]:
            sheet.text(margin, y, said, size, colour)
            y += line_height(size)
        sheet.text(margin, self.plan.strip - margin - line_height(size), SHORT, size, PAPER, bold=False)
        self._words, self._strip = words, sheet.pixels
        return self._strip


def _colour(known: KnownRecord | None) -> RGB:
    if known is None or known.reading is None or known.guarded is None:
        return _DIM
    return _SURE if known.reading.rule == known.guarded.rule else _GUARDED


def _box_at(one: Passed, at: float) -> Box | None:
    """Where its heads are; between two moments that were measured, between both places."""
    times = one.times
    if not times or not times[0] - 1e-3 <= at <= times[-1] + 1e-3:
        return None
    i = min(bisect_right(times, at), len(times) - 1)
    before = max(i - 1, 0)
    span = times[i] - times[before]
    share = min(max((at - times[before]) / span, 0.0), 1.0) if span > 0 else 0.0
    a, b = (one.edges[4 * k : 4 * k + 4] for k in (before, i))
    x0, y0, x1, y1 = (p + share * (q - p) for p, q in zip(a, b, strict=True))
    return Box(x0, y0, x1, y1)


def _known_at(one: Passed, at: float) -> KnownRecord | None:
    known = one.signal.footage.known
    i = bisect_right([k.at_s for k in known], at + 1e-3)
    return known[i - 1] if i else None


def write_video(
    source: str,
    path: Path,
    record: FootageRecord,
    passed: Sequence[Passed],
    *,
    fps: Fraction | float | None = None,
    told: Callable[[float, float | None], None] | None = None,
) -> tuple[str, ...]:
    """Write the marked ride as MP4, whole or not at all; sentences on what could not be kept.

    Parameters
    ----------
    source : the clip that the record is of; it is decoded again.
    record, passed : what was read of it.
    fps : as it was read with.
    told : called now and then with the seconds written and the ride's length.

    Raises
    ------
    litlamp.report.whole_file.WriteError : the folder is full or cannot be written to, or this installation
        cannot code H.264.
    litlamp.media.errors.MediaError : the clip cannot be read any more.
    """
    from litlamp.sight.watch import seconds

    part = part_of(path)
    notes: list[str] = []
    end = record.duration_s
    target: _Out | None = None
    try:
        if path.is_dir():
            raise IsADirectoryError(21, "that is a folder")
        with part.open("xb") as file, open_clip(source, fps=fps) as clip:
            plan = _Plan.of(clip.size)
            marks = _Marks(passed, plan, plan.picture[0] / clip.size[0])
            target = _Out(file)
            with av.open(target, "w", format="mp4", options={"fflags": "+bitexact"}) as out:
                video = _video_stream(out, plan, end)
                sound = _Sound(source, out, notes)
                said = -TOLD_EVERY
                for frame, at in seconds(clip):
                    if record.footage and at > record.footage.read_to_s + 1e-3:
                        break
                    sound.until(at)
                    out.mux(video.encode(_coded(frame, at, marks)))
                    if told is not None and at - said >= TOLD_EVERY:
                        told(at, end)
                        said = at
                out.mux(video.encode(None))
                sound.until(end)
                sound.close()
        part.replace(path)
    except MediaError:
        raise
    except (OSError, ValueError, FFmpegError) as error:
        fault = target.fault if target is not None and target.fault is not None else error
        raise WriteError(cannot_write(path, fault)) from error
    finally:
        with contextlib.suppress(OSError, ValueError):
            part.unlink(missing_ok=True)
    return tuple(notes)


def _video_stream(out: Any, plan: _Plan, end: float | None) -> Any:
    stream = out.add_stream("libx264", rate=Fraction(30))
    stream.width, stream.height = plan.picture[0], plan.picture[1] + plan.strip
    stream.pix_fmt = "yuv420p"
    stream.time_base = _TIME_BASE
    coder = stream.codec_context
    coder.time_base = _TIME_BASE
    coder.options = {"crf": str(QUALITY), "preset": "veryfast"}
    coder.colorspace = reformatter.Colorspace.ITU709
    coder.color_primaries = reformatter.ColorPrimaries.BT709
    coder.color_trc = reformatter.ColorTrc.BT709
    coder.color_range = reformatter.ColorRange.MPEG
    return stream


def _coded(frame: ClipFrame, at: float, marks: _Marks) -> Any:
    picture = av.VideoFrame.from_ndarray(marks.draw(frame.rgb(), at), format="rgb24")
    planes = picture.reformat(
        format="yuv420p",
        dst_colorspace=reformatter.Colorspace.ITU709,
        dst_color_range=reformatter.ColorRange.MPEG,
    )
    planes.pts, planes.time_base = round(at / _TIME_BASE), _TIME_BASE
    return planes


class _Out:
    """A file for FFmpeg to write, which remembers the fault that FFmpeg would tell in a number of its own."""

    def __init__(self, file: Any) -> None:
        self._file = file
        self.fault: OSError | None = None
        self.seek, self.tell = file.seek, file.tell

    def write(self, data: bytes) -> int:
        """Write it all."""
        try:
            return int(self._file.write(data))
        except OSError as error:
            self.fault = self.fault or error
            raise


class _Sound:
    """The sound of a clip, copied packet by packet beside its pictures."""

    def __init__(self, source: str, out: Any, notes: list[str]) -> None:
        self._packets: Iterator[Any] = iter(())
        self._next: Any = None
        self._container: Any = None
        self._out = out
        if Path(source).is_dir():
            return
        try:
            self._container = av.open(source, "r")
        except (FFmpegError, OSError, ValueError):
            return
        streams = self._container.streams
        if not streams.audio:
            self.close()
            return
        audio = streams.audio[0]
        codec = audio.codec_context.name if audio.codec_context is not None else "unknown"
        if codec not in _IN_MP4:
            notes.append(f"the sound is not in the video: MP4 takes no {codec}")
            self.close()
            return
        try:
            self._stream = out.add_stream_from_template(audio)
        except (FFmpegError, ValueError, TypeError, NotImplementedError):
            notes.append(f"the sound is not in the video: its {codec} could not be taken over")
            self.close()
            return
        first = _first_picture(streams.video)
        self._base: Fraction = audio.time_base
        self._shift = round(first / self._base)
        self._packets = self._container.demux(audio)
        self._next = self._fetch()

    def until(self, at: float | None) -> None:
        """Copy what is to be heard before that moment, seconds; all of it for None."""
        while self._next is not None:
            packet = self._next
            if at is not None and float(packet.pts * self._base) > at:
                return
            packet.stream = self._stream
            self._out.mux(packet)
            self._next = self._fetch()

    def _fetch(self) -> Any:
        """The next packet, by the clock of the pictures; None at the end, or where the file is damaged."""
        try:
            for packet in self._packets:
                if packet.pts is None or packet.dts is None or packet.size == 0:
                    continue
                packet.pts -= self._shift
                packet.dts -= self._shift
                if packet.pts >= 0:
                    return packet
        except (FFmpegError, OSError, ValueError):
            pass
        return None

    def close(self) -> None:
        """Let go of the file."""
        self._next = None
        if self._container is not None:
            self._container.close()
            self._container = None


def _first_picture(streams: Sequence[Any]) -> Fraction:
    """When the first picture is shown, by the container's clock."""
    for stream in streams:
        if stream.start_time is not None and stream.time_base is not None:
            return Fraction(stream.start_time * stream.time_base)
    return Fraction(0)
