"""Reading photographs and clips."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Callable, Sequence
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from litlamp.cli.shared import (
    BAD,
    FOOT,
    NO_SIGNAL,
    READ,
    Fault,
    Folder,
    Name,
    book_named,
    book_option,
    edition_option,
    fps_option,
    level_option,
    made_folder,
    say,
)

if TYPE_CHECKING:
    from litlamp.aspects.aspect import Mount
    from litlamp.aspects.rulebook import Rulebook
    from litlamp.media.frame import Frame
    from litlamp.photo_reading import SourceReading

_PATIENCE = 2.0
"""Seconds that a source may take before its progress is told."""


@click.command(epilog=FOOT)
@click.argument("sources", type=Name(), nargs=-1, required=True, metavar="SOURCE...")
@click.option("--json", "as_json", is_flag=True, help="One JSON object per source and line.")
@click.option("--picture", type=Folder(), metavar="DIR", help="Write annotated pictures here.")
@book_option
@edition_option
@level_option
@click.option(
    "--expect", type=click.Choice(["mast", "dwarf"]), help="What the signals stand on, if you know it."
)
@fps_option("Frames a second of a folder of photographs that carry no times.")
@click.pass_context
def read(
    ctx: click.Context,
    sources: tuple[str, ...],
    as_json: bool,
    picture: Path | None,
    rulebook: str,
    edition: str | None,
    level: float,
    expect: Mount | None,
    fps: float | None,
) -> None:
    """Read the signals in photographs, clips, and folders of photographs taken one after another.

    A source is told by its content; "-" is standard input.

    Exit status: 0 every source read, 1 no signal found in one, 2 one could not be read.
    """
    from litlamp.media.sources import expand
    from litlamp.photo_reading import SourceReading

    # The book is loaded while a clip is being decoded already.
    book = cache(partial(book_named, rulebook, edition))
    if picture is not None:
        made_folder(picture)
    worst, drawn, told = READ, set[str](), list[SourceReading]()
    every = list(expand(sources))
    if picture is not None:
        drawn |= _sources_in(picture, every)
    for source in every:
        reading, frames = _read_one(source, book, level, expect, fps, keep=picture is not None)
        _print_reading(reading, as_json)
        told.append(reading)
        status = BAD if reading.failure is not None else READ if reading.signals else NO_SIGNAL
        if picture is not None:
            status = max(status, _draw_reading(reading, frames, picture, drawn))
        worst = max(worst, status)
    if not as_json and any(reading.failure is None for reading in told):
        from litlamp.report.text import foot_text

        click.echo(foot_text(told))
    ctx.exit(worst)


def _sources_in(folder: Path, sources: Sequence[str]) -> set[str]:
    """The names in the folder that are themselves sources, over which nothing must be written."""
    own = set()
    for source in sources:
        with contextlib.suppress(OSError, ValueError):
            there = folder / Path(source).name
            if there.samefile(source):
                own.add(there.name)
    return own


def _read_one(
    source: str,
    book: Callable[[], Rulebook],
    level: float,
    expect: Mount | None,
    fps: float | None,
    *,
    keep: bool,
) -> tuple[SourceReading, tuple[Frame | None, ...]]:
    from litlamp.photo_reading import SourceReading, source_name
    from litlamp.source_reading import read_source

    try:
        with _Progress() as progress:
            return read_source(
                source,
                book=book,
                level=level,
                expect=expect,
                fps=fps,
                progress=progress,
                keep=keep,
            )
    except (Fault, ImportError):
        raise  # What an installation lacks is told once, and not as a fault of every picture.
    except Exception as error:
        from litlamp.sight.eyes import EyesError, load_eyes

        if isinstance(error, EyesError):
            raise Fault(str(error).rstrip(".")) from error
        # One picture that this program trips over must not cost the reading of the others.
        if os.environ.get("LITLAMP_DEBUG"):
            raise
        what = f"{type(error).__module__}.{type(error).__qualname__}".removeprefix("builtins.")
        failure = f"litlamp failed on this source ({what}); please report it"
        failed = SourceReading(
            source_name(source), None, None, (), failure, book().name, book().edition, dict(load_eyes().names)
        )
        return failed, ()


class _Progress:
    """One line on standard error that tells how far a long clip is read; nothing where no terminal is."""

    def __init__(self) -> None:
        self._shown = False
        self._began = time.monotonic()
        self._next = self._began + _PATIENCE

    def __enter__(self) -> _Progress:
        return self

    def __call__(self, seconds: float, length: float | None) -> None:
        now = time.monotonic()
        if now < self._next or not sys.stderr.isatty():
            return
        self._next = now + 0.25
        of = "" if length is None else f" of {length:.0f}"
        left = ""
        if length is not None and 0 < seconds < length:
            left = f", {(now - self._began) * (length / seconds - 1):.0f} s left"
        sys.stderr.write(f"\r\x1b[Kread {seconds:.0f}{of} s{left}")
        sys.stderr.flush()
        self._shown = True

    def __exit__(self, *_: object) -> None:
        if self._shown:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()


def _print_reading(reading: SourceReading, as_json: bool) -> None:
    if reading.failure is not None:
        from litlamp.media.sources import shown

        say(f"{shown(reading.source) or 'input'}: {reading.failure}")
    if as_json:
        from litlamp.report.record import encode, record

        click.echo(encode(record(reading)))
    elif reading.failure is None:
        from litlamp.report.text import source_text

        click.echo(source_text(reading))
        click.echo()


def _draw_reading(
    reading: SourceReading, frames: Sequence[Frame | None], folder: Path, drawn: set[str]
) -> int:
    """Write the annotated picture of a photograph, or one for each signal of a clip."""
    from dataclasses import replace

    from litlamp.report.picture import PictureError, annotate, save_picture

    stem = "standard-input" if reading.source == "-" else Path(reading.source).stem or "picture"
    for at, frame in enumerate(frames):
        if frame is None:
            continue
        if reading.kind == "clip":
            own = replace(
                reading, signals=reading.signals[at : at + 1], passages=reading.passages[at : at + 1]
            )
        else:
            own = reading
        name, count = f"{stem}-read.png", 1
        while name in drawn:  # two sources of one name, from two folders, or another signal of this clip
            count += 1
            name = f"{stem}-read-{count}.png"
        drawn.add(name)
        try:
            save_picture(annotate(frame, own), folder / name)
        except PictureError as error:
            say(str(error))
            return BAD
    return READ
