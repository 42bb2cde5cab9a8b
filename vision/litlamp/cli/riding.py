"""Reading a whole ride of cab footage."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from litlamp.cli.shared import (
    BAD,
    FOOT,
    INTERRUPTED,
    NO_SIGNAL,
    READ,
    Fault,
    Folder,
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


@click.command(epilog=FOOT)
@click.argument("clip", metavar="CLIP")
@click.option("--to", "folder", type=Folder(), required=True, metavar="DIR")
@click.option("--resume", is_flag=True, help="Go on with a ride that was stopped.")
@click.option("--video/--no-video", default=True, show_default=True, help="Write the ride with marks on it.")
@book_option
@edition_option
@level_option
@click.option("--expect", type=click.Choice(["mast", "dwarf"]), help="What the signals stand on.")
@fps_option("As for read.")
@click.pass_context
def footage(
    ctx: click.Context,
    clip: str,
    folder: Path,
    resume: bool,
    video: bool,
    rulebook: str,
    edition: str | None,
    level: float,
    expect: Mount | None,
    fps: float | None,
) -> None:
    """Read every signal passed in a ride of cab footage, and write what a reviewer needs into DIR.

    Ctrl-C keeps what was done; --resume goes on, or adds the video to a ride that was read without.

    Exit status: 0 read, 1 no signal found, 2 not read, or not to its end.
    """
    book = book_named(rulebook, edition)
    made_folder(folder)
    from litlamp.footage import FootageError, make_footage
    from litlamp.footage_state import StateError
    from litlamp.report.ride_text import ride_text
    from litlamp.report.whole_file import WriteError
    from litlamp.sight.eyes import EyesError

    try:
        with _Bar() as bar:
            made = make_footage(
                clip,
                folder,
                book=book,
                level=level,
                expect=expect,
                fps=fps,
                resume=resume,
                video=video,
                progress=bar,
            )
    except FootageError as error:
        raise Fault(f"{clip}: {error}") from error
    except (StateError, WriteError, EyesError) as error:
        raise Fault(str(error).rstrip(".")) from error
    click.echo(ride_text(made))
    for note in (*made.notes, *made.faults):
        say(note)
    signals = made.ride.record.signals
    ctx.exit(INTERRUPTED if made.ride.stopped else BAD if made.faults else READ if signals else NO_SIGNAL)


class _Bar:
    """Bars on standard error with the time left, one for each thing that is done; none without a terminal."""

    def __init__(self) -> None:
        self._bar: Any = None
        self._label = ""

    def __enter__(self) -> _Bar:
        return self

    def __call__(self, label: str, done: float, length: float | None) -> None:
        if not sys.stderr.isatty() or length is None or length <= 0:
            return
        if label != self._label:
            self.__exit__()
            self._label = label
            self._bar = click.progressbar(length=round(1000 * length), label=label, file=sys.stderr)
            self._bar.__enter__()
        self._bar.update(max(min(round(1000 * done), self._bar.length) - self._bar.pos, 0))

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.__exit__(None, None, None)
            self._bar = None
