"""Video containers by PyAV, decoded once; every picture's coding by tag or by sensible default."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from fractions import Fraction
from typing import Any, BinaryIO

import av
import numpy as np
from av.container import InputContainer
from av.video.frame import VideoFrame
from av.video.plane import VideoPlane
from av.video.stream import VideoStream
from numpy.typing import NDArray

from litlamp.media.clip_frame import Moment, Start, too_large
from litlamp.media.errors import MediaError
from litlamp.media.planes import UPRIGHT, Coding, Packed, Plane, Turn, YCbCr
from litlamp.media.spare import Spare
from litlamp.media.transfer import Curve, Primaries

# FFmpeg's demuxers by what the sniffer calls their files. Only the one that fits is ever asked: no playlist
# or script of any kind is opened whatever a file says it is.
_DEMUXERS = {
    "MP4": "mov",
    "QuickTime": "mov",
    "AVI": "avi",
    "Matroska or WebM": "matroska",
    "MPEG transport stream": "mpegts",
    "H.264": "h264",
    "H.265": "hevc",
    "Flash video": "flv",
    "Ogg": "ogg",
    "Windows Media": "asf",
    "YUV4MPEG2": "yuv4mpegpipe",
}

# Code points of ITU-T H.273: luma weights (table 4), curves (table 3), primaries (table 2).
_WEIGHTS = {
    1: ("BT.709", 0.2126, 0.0722),
    4: ("FCC", 0.30, 0.11),
    5: ("BT.601", 0.299, 0.114),
    6: ("BT.601", 0.299, 0.114),
    7: ("SMPTE 240M", 0.212, 0.087),
    9: ("BT.2020", 0.2627, 0.0593),
    10: ("BT.2020", 0.2627, 0.0593),
}
_UNSAID = frozenset({0, 2, 3})  # 0 is RGB, which no planes of luma and chroma can be
_CURVES: dict[int, Curve] = {16: "pq", 18: "hlg"}
_PRIMARIES: dict[int, Primaries] = {9: "bt2020", 12: "p3"}
_FULL_RANGE = 2

_ATTACHED_PICTURE = 0x400  # AV_DISPOSITION_ATTACHED_PIC: a cover, no video


class Container:
    """A file of video, opened.

    Raises
    ------
    MediaError
        Not to be opened, no video in it, a codec that is not known, or frames over `pixel_limit`.
    """

    def __init__(
        self, file: BinaryIO, kind: str, pixel_limit: int, threads: int, notes: list[str], thin: bool = False
    ) -> None:
        self._file = _Watched(file)
        self._kind = kind
        self._limit = pixel_limit
        self._notes = notes
        self._turns: dict[int, tuple[Turn, tuple[str, ...]]] = {}
        self._how: dict[tuple[object, ...], tuple[Coding, tuple[str, ...]]] = {}
        demuxer = _DEMUXERS.get(kind) or ("mpegvideo" if _starts_with_picture(file) else "mpeg")
        try:
            self._container: InputContainer = av.open(self._file, "r", format=demuxer)
        except Exception as error:
            self._file.tell_fault()
            raise MediaError(f"this {kind} file is damaged, cut off or holds no index") from error
        try:
            self._stream = self._video_stream(threads)
        except MediaError:
            self._close()
            raise
        except Exception as error:
            self._close()
            raise MediaError(f"this {kind} file is damaged") from error
        self._spare = Spare(self._stream) if thin else None
        self._left_out = 0

    def _video_stream(self, threads: int) -> VideoStream:
        streams = [
            s for s in self._container.streams.video if not int(s.disposition.value) & _ATTACHED_PICTURE
        ]
        if not streams:
            raise MediaError("this clip holds no video, only other streams")
        known = [s for s in streams if s.codec_context is not None]
        if not known:
            raise MediaError("this clip's video is of a codec that is not known here")
        stream = max(known, key=lambda s: (s.width or 0) * (s.height or 0))
        width, height = stream.width or 0, stream.height or 0
        if width * height > self._limit:
            raise MediaError(too_large(width, height, self._limit))
        if len(streams) > 1:
            self._notes.append(f"this clip holds {len(streams)} videos; the largest is read")
        aspect = stream.sample_aspect_ratio
        if aspect is not None and aspect not in {0, 1}:
            self._notes.append("the pixels of this clip are not square; shapes are taken as stored")
        context = stream.codec_context
        # Frames that no other is made from go unsmoothed, which spares a fifteenth of decoding's time: their
        # luma differs by some 0.2 codes in the mean, and no other frame takes that over.
        context.options = {"max_pixels": str(self._limit), "skip_loop_filter": "noref"}
        stream.thread_type = "AUTO"
        context.thread_count = threads
        return stream

    @property
    def duration(self) -> float | None:
        """Seconds that the header tells of, or None."""
        stream = self._stream
        if stream.duration is not None and stream.time_base is not None:
            return float(stream.duration * stream.time_base)
        whole = self._container.duration
        return None if whole is None else whole / 1e6

    def moments(self, start: Start | None = None) -> Iterator[Moment]:
        """Every picture that can be decoded, in the order shown; with `start`, from about there on."""
        stream = self._stream
        duration = self.duration
        first: Fraction | None = None
        last: tuple[int, Fraction] | None = None
        given = broken = damaged = 0
        if start is not None and stream.time_base == start.time.time_base:
            with contextlib.suppress(Exception):  # what cannot be wound forward is given from its beginning
                self._container.seek(start.time.pts, stream=stream)
                first, given = start.first.pts * start.first.time_base, start.frames
        try:
            for frame in self._frames():
                if frame is None:
                    broken += 1
                    continue
                moment = self._moment(frame)
                if moment.pts is not None:
                    last = moment.pts, moment.time_base
                    first = moment.pts * moment.time_base if first is None else first
                given += 1
                damaged += moment.damaged
                del frame  # the picture alone keeps its planes
                yield moment
            if broken:
                self._notes.append(f"damage in this clip: {broken} of its packets could not be decoded")
            if damaged:
                self._notes.append(
                    f"damage in this clip: {damaged} of its pictures may show what was not there"
                )
            seconds = 0.0 if last is None else float(last[0] * last[1] - (first or 0))
            if duration is not None and given and seconds < min(0.9 * duration, duration - 0.5):
                self._notes.append(
                    f"this clip is cut off: its header tells of {duration:.1f} s, "
                    f"its pictures end after {seconds:.1f} s"
                )
                return
            # Of what was left out before the start there is no account.
            had = given + self._left_out
            if had < 0.95 * stream.frames and (start is None or self._spare is None):
                self._notes.append(f"{had} of the {stream.frames} pictures of this clip could be decoded")
        finally:
            self._close()

    def _frames(self) -> Iterator[VideoFrame | None]:
        """Decoded frames; None for each packet that could not be decoded."""
        packets = self._container.demux(self._stream)
        while True:
            try:
                packet = next(packets, None)
            except Exception:
                self._file.tell_fault()
                self._notes.append("damage in this clip: reading ended where the file no longer makes sense")
                packet = None
            if packet is not None and self._spare is not None and self._spare.leaves_out(packet):
                self._left_out += 1
                continue
            try:
                decoded = self._stream.codec_context.decode(packet)
            except EOFError:
                decoded = []
            except MemoryError:
                raise MediaError("there is not enough memory for this clip's frames") from None
            except Exception:
                yield None
                decoded = []
            yield from decoded
            if packet is None:
                self._file.tell_fault()
                return

    def _moment(self, frame: VideoFrame) -> Moment:
        pts = frame.pts if frame.pts is not None else frame.dts
        time_base = frame.time_base or self._stream.time_base or Fraction(1, 1)
        turn, said = self._turn_of(frame)
        if frame.width * frame.height > self._limit:
            raise MediaError(too_large(frame.width, frame.height, self._limit))
        if frame.format.is_rgb or frame.format.has_palette:
            pixels = _plane(frame.reformat(format="rgb24").planes[0], np.dtype(np.uint8), 3)
            picture = Packed(pixels.reshape(frame.height, frame.width, 3), turn)
            return Moment(picture, pts, time_base, said, frame.is_corrupt)
        coding, how = self._coding(frame)
        planes = _planes(frame, coding)
        if len(planes) < 3:
            ycbcr = YCbCr(planes[0], None, None, coding, turn)
        else:
            ycbcr = YCbCr(planes[0], planes[1], planes[2], coding, turn)
        return Moment(ycbcr, pts, time_base, how + said, frame.is_corrupt)

    def _coding(self, frame: VideoFrame) -> tuple[Coding, tuple[str, ...]]:
        tags = (
            frame.format.name,
            frame.width,
            frame.height,
            frame.colorspace,
            frame.color_range,
            frame.color_trc,
            frame.color_primaries,
        )
        if tags not in self._how:
            jpeg = self._stream.codec_context.name == "mjpeg"
            self._how[tags] = _coding_of(frame, jpeg)
        return self._how[tags]

    def _turn_of(self, frame: VideoFrame) -> tuple[Turn, tuple[str, ...]]:
        # The matrix stands in the header and is the same for all frames. Asking a frame for its side data
        # ties it into a cycle that only the garbage collector undoes, frames later: so ask but once.
        if frame.rotation not in self._turns:
            self._turns[frame.rotation] = _turn(frame)
        return self._turns[frame.rotation]

    def _close(self) -> None:
        with contextlib.suppress(Exception):
            self._container.close()


class _Watched:
    """A file for FFmpeg to read, which remembers a fault that FFmpeg would take for the end of the file."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self._fault: OSError | None = None
        self.seek = file.seek
        self.tell = file.tell

    def read(self, size: int = -1) -> bytes:
        try:
            return self._file.read(size)
        except OSError as error:
            self._fault = error
            return b""

    def tell_fault(self) -> None:
        if self._fault is not None:
            said = self._fault.strerror or "unknown fault"
            raise MediaError(f"reading broke off: {said}") from self._fault


def _starts_with_picture(file: BinaryIO) -> bool:
    head = file.read(4)
    file.seek(0)
    return head == b"\0\0\x01\xb3"


def _coding_of(frame: VideoFrame, jpeg: bool) -> tuple[Coding, tuple[str, ...]]:
    said = []
    curve = _CURVES.get(frame.color_trc, "sdr")
    if frame.colorspace in _WEIGHTS:
        name, kr, kb = _WEIGHTS[frame.colorspace]
        said.append(f"{name} by its tag")
    else:
        # What cameras and players agree on where nothing is said: JPEG is BT.601 (JFIF, ITU-T T.871), the
        # high dynamic range of BT.2100 is BT.2020's, else high definition is BT.709 and the rest BT.601.
        if jpeg:
            code = 5
        elif curve != "sdr":
            code = 9
        else:
            code = 1 if frame.width >= 1280 or frame.height > 576 else 5
        name, kr, kb = _WEIGHTS[code]
        reason = "no tag" if frame.colorspace in _UNSAID else "its tag is not known here"
        said.append(f"taken as {name} ({reason})")
    full = frame.color_range == _FULL_RANGE or frame.format.name.startswith("yuvj")
    full = full or (jpeg and frame.color_range == 0)
    primaries = _PRIMARIES.get(frame.color_primaries, "bt709")
    if curve != "sdr" and frame.color_primaries in _UNSAID:
        primaries = "bt2020"
    if full:
        said.append("full range")
    if curve != "sdr":
        said.append(f"{curve.upper()} tone-mapped to sRGB")
    elif primaries != "bt709":
        said.append(f"{'BT.2020' if primaries == 'bt2020' else 'P3'} primaries to sRGB")
    bits = frame.format.components[0].bits
    return Coding(kr, kb, full, bits, curve, primaries, centred=jpeg), tuple(said)


def _planes(frame: VideoFrame, coding: Coding) -> list[Plane]:
    """Luma and, unless grey, Cb and Cr: views of what was decoded wherever it lies in planes."""
    format_ = frame.format
    parts = [c for c in format_.components if not c.is_alpha]
    sample = np.dtype(np.uint8 if coding.bits == 8 else np.uint16)
    if format_.is_big_endian and coding.bits > 8:
        sample = sample.newbyteorder(">")
    separate = [c.plane for c in parts] == list(range(len(parts)))
    if separate:
        planes = [_plane(frame.planes[c.plane], sample, 1) for c in parts]
        return [p.astype(np.uint16) for p in planes] if format_.is_big_endian and coding.bits > 8 else planes
    if format_.name in {"nv12", "nv21"}:
        both = _plane(frame.planes[1], sample, 2)
        first, second = (1, 0) if format_.name == "nv21" else (0, 1)
        return [_plane(frame.planes[0], sample, 1), both[:, first::2], both[:, second::2]]
    # Packed in some other way (YUYV of capture cards, P010 ...): brought into planes, nothing else changed.
    target = "yuv422p" if coding.bits == 8 else f"yuv422p{coding.bits}le"
    return _planes(frame.reformat(format=target), coding)


def _plane(plane: VideoPlane, sample: np.dtype[Any], to_a_pixel: int) -> NDArray[Any]:
    """The plane without copying, (height, width x to_a_pixel): the array keeps the frame's memory alive."""
    stride = plane.line_size // sample.itemsize
    codes: NDArray[Any] = np.frombuffer(memoryview(plane), sample)
    rows = codes[: stride * plane.height].reshape(plane.height, stride)
    return rows[:, : plane.width * to_a_pixel]


def _turn(frame: VideoFrame) -> tuple[Turn, tuple[str, ...]]:
    side_data: Any = frame.side_data
    # By number: what running through it gives, the data or their kinds, differs between PyAV 18 and 19.
    for data in (side_data[i] for i in range(len(side_data))):
        if data.type.name == "DISPLAYMATRIX":
            turn = Turn.of_matrix(np.frombuffer(data, np.int32))
            if turn is None:
                return UPRIGHT, ("turned askew by its header, which is left aside",)
            return turn, (("turned upright by its header",) if turn != UPRIGHT else ())
    return UPRIGHT, ()
