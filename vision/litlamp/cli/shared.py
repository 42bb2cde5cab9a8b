"""What the commands share."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from litlamp.cli.finite import Finite

if TYPE_CHECKING:
    from litlamp.aspects.aspect import Arrangement, Aspect, Mount, Plate
    from litlamp.aspects.rulebook import Rulebook

FOOT = "Training aid only: never act on it on or near a track."

SLOWEST_RATE = 0.001
"""Frames a second of a folder of photographs, at least."""

READ, NO_SIGNAL, BAD = 0, 1, 2
# What a shell reports for a program ended by SIGINT and by SIGPIPE.
INTERRUPTED, PIPE_CLOSED = 130, 141


class Fault(click.ClickException):
    """A fault to be told in one sentence on standard error; exit status 2."""

    exit_code = BAD


book_option = click.option(
    "--rulebook", default="CROR", show_default=True, metavar="NAME|FILE", help="Book to read by."
)
edition_option = click.option(
    "--edition", metavar="YEAR", help="Edition of the book (its newest if not given)."
)
level_option = click.option(
    "--level",
    type=Finite(0, 1, min_open=True),
    default=0.99,
    show_default=True,
    help="How sure the guarded reading must be.",
)


class Name(click.types.StringParamType):
    """A name; an empty one, of a variable that was not set perhaps, is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The name as it is."""
        if not value:
            self.fail("an empty name names nothing", param, ctx)
        return super().convert(value, param, ctx)


class Folder(click.Path):
    """A folder to write in, named like a `Name`."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(
        self, value: str | os.PathLike[str], param: click.Parameter | None, ctx: click.Context | None
    ) -> str | bytes | os.PathLike[str]:
        """The folder's path; an empty name is bad usage."""
        if not os.fspath(value):
            self.fail("an empty name names nothing", param, ctx)
        return super().convert(value, param, ctx)


def fps_option(help: str) -> Callable[[Any], Any]:
    """`--fps`, with these words of help."""
    return click.option("--fps", type=Finite(SLOWEST_RATE, 1000), metavar="RATE", help=help)


def book_named(name: str, edition: str | None) -> Rulebook:
    """A shipped book by name, or a user's by file. Raises Fault."""
    from litlamp.aspects.rulebook import RulebookError, book_names, load_book, load_book_file

    try:
        if name.upper() in book_names():
            return load_book(name.upper(), edition)
        if Path(name).suffix or Path(name).exists():
            return load_book_file(name, edition)
        return load_book(name, edition)
    except RulebookError as error:
        lines = str(error).splitlines()
        more = f" (and {len(lines) - 1} more; see litlamp rules --check)" if len(lines) > 1 else ""
        raise Fault(lines[0] + more) from error
    except OSError as error:
        raise Fault(f"{name}: {(error.strerror or 'cannot be read').lower()}") from error


def aspect_said(
    words: str,
    mount: Mount | None = None,
    arrangement: Arrangement | None = None,
    plates: frozenset[Plate] = frozenset(),
) -> Aspect:
    """An aspect by its words, and by what was said of it besides. Raises Fault where they do not agree."""
    from litlamp.aspects.words import AspectWordsError, agree, parse_aspect

    try:
        return agree(parse_aspect(words), mount, arrangement, plates)
    except AspectWordsError as error:
        raise Fault(str(error)) from error


def made_folder(path: Path) -> None:
    """Make that folder, if it is not there, to write in. Raises Fault."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Fault(
            f"the folder {path} cannot be made: {(error.strerror or 'unknown fault').lower()}"
        ) from error
    if not os.access(path, os.W_OK | os.X_OK):
        raise Fault(f"the folder {path} cannot be written to: permission denied")


def say(sentence: str) -> None:
    """One line on standard error."""
    line = " ".join(sentence.split())
    click.echo(f"litlamp: {line}{'' if line.endswith(('.', '?')) else '.'}", err=True)
