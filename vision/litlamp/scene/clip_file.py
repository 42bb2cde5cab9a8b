"""A rendered clip as a file: H.264 with exact times, whole or not at all."""

from __future__ import annotations

import contextlib
import io
import os
import secrets
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import av
import av.video.reformatter as reformatter
from av.error import FFmpegError

from litlamp.scene.clip import DrawnFrame
from litlamp.scene.frame_times import TIME_BASE

# Ending -> container. Matroska is left out: it rounds times to milliseconds.
ENDINGS = {".mp4": "mp4", ".mov": "mov"}


class ClipFileError(Exception):
    """A clip could not be written; the message is one sentence."""


def save_clip(
    frames: Iterator[DrawnFrame],
    path: Path,
    size: tuple[int, int],
    fps: float,
    *,
    quality: int = 20,
    told: Callable[[float], None] | None = None,
) -> None:
    """Write the frames as H.264 into .mp4 or .mov, under another name first.

    Parameters
    ----------
    fps : about how many frames a second there are; their own times are what counts.
    quality : constant rate factor of the coder, 0 (best) to 51.
    told : is called with the seconds written so far.

    Raises
    ------
    ClipFileError : another ending, or the place cannot be written to; then nothing is left there.
    """
    form = ENDINGS.get(path.suffix.lower())
    if form is None:
        raise ClipFileError(f"{path}: a clip is written as .mp4 or .mov")
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        if path.is_dir():
            raise IsADirectoryError(21, "that is a folder")
        with part.open("xb") as file:  # before any frame is drawn: a place that is no good is told at once
            file.write(_coded(frames, form, size, fps, quality, told))
        part.replace(path)
    except (OSError, ValueError, FFmpegError) as error:  # ValueError: a NUL in the name
        number = getattr(error, "errno", None)
        said = os.strerror(number) if isinstance(number, int) and number > 0 else "unknown fault"
        raise ClipFileError(f"the clip {path} could not be written: {said.lower()}") from None
    finally:
        with contextlib.suppress(OSError, ValueError):
            part.unlink(missing_ok=True)


def _coded(
    frames: Iterator[DrawnFrame],
    form: str,
    size: tuple[int, int],
    fps: float,
    quality: int,
    told: Callable[[float], None] | None,
) -> memoryview:
    scale = str(TIME_BASE.denominator)
    # Without the moment of writing in it, the same frames give the same file.
    options = {"video_track_timescale": scale, "fflags": "+bitexact"}
    # Coded in memory: a disk that is full is then a plain fault of writing, and clips drawn here are small.
    coded = io.BytesIO()
    with av.open(coded, "w", format=form, options=options) as out:
        stream = out.add_stream("libx264", rate=Fraction(fps).limit_denominator(1001))
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        stream.time_base = TIME_BASE
        coder = stream.codec_context
        coder.time_base = TIME_BASE
        # One thread takes no core that was not asked for. The coder's choice of quicker ways differs from
        # processor to processor, and now and then from run to run: it is switched off.
        coder.thread_count = 1
        coder.options = {"crf": str(quality), "preset": "veryfast", "x264-params": "cpu-independent=1"}
        coder.colorspace = reformatter.Colorspace.ITU709
        coder.color_primaries = reformatter.ColorPrimaries.BT709
        coder.color_trc = reformatter.ColorTrc.BT709
        coder.color_range = reformatter.ColorRange.MPEG
        for drawn in frames:
            picture = av.VideoFrame.from_ndarray(drawn.rgb, format="rgb24")
            planes = picture.reformat(
                format="yuv420p",
                dst_colorspace=reformatter.Colorspace.ITU709,
                dst_color_range=reformatter.ColorRange.MPEG,
            )
            planes.pts, planes.time_base = drawn.time.pts, drawn.time.time_base
            out.mux(stream.encode(planes))
            if told is not None:
                told(drawn.time.seconds)
        out.mux(stream.encode(None))
    return coded.getbuffer()
