"""What an aspect means, and the rulebooks that say so."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from litlamp.cli.shared import FOOT, Fault, aspect_said, book_named, book_option, edition_option, level_option

if TYPE_CHECKING:
    from litlamp.aspects.aspect import Arrangement, Mount, Plate


@click.command(epilog=FOOT)
@click.argument("words", nargs=-1, required=True)
@click.option("--mount", type=click.Choice(["mast", "dwarf"]))
@click.option("--arrangement", type=click.Choice(["vertical", "staggered"]))
@click.option(
    "--plate", "plates", type=click.Choice(["A", "R", "L", "DV"], case_sensitive=False), multiple=True
)
@book_option
@edition_option
@level_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def explain(
    words: tuple[str, ...],
    mount: Mount | None,
    arrangement: Arrangement | None,
    plates: tuple[Plate, ...],
    rulebook: str,
    edition: str | None,
    level: float,
    as_json: bool,
) -> None:
    """Say what an aspect in WORDS means: "yellow over flashing green, staggered", "R plate, single red"."""
    book = book_named(rulebook, edition)
    said = " ".join(words)
    aspect = aspect_said(said, mount, arrangement, frozenset(plates))
    from litlamp.aspects.explain import explain as explained

    reading = explained(said, book, mount, arrangement, plates, level)
    if as_json:
        from litlamp.aspects.interpret import certain
        from litlamp.report.record import encode, words_record

        belief = certain(aspect)
        click.echo(encode(words_record(belief, reading, book.name, book.edition)))
    else:
        from litlamp.report.text import words_text

        click.echo(words_text(reading, book.name, book.edition))


@click.command(epilog=FOOT)
@click.argument("name", required=False)
@edition_option
@click.option(
    "--check", "checked", type=click.Path(path_type=Path), metavar="FILE", help="Check a book you wrote."
)
def rules(name: str | None, edition: str | None, checked: Path | None) -> None:
    """Print a rulebook with its aspects drawn; without a NAME, list the books."""
    from litlamp.aspects.rulebook import book_names, load_book

    if checked is not None:
        if name is not None:
            raise click.UsageError("give either the NAME of a book to print or a FILE to check")
        _check(checked)
    elif name is None:
        if edition is not None:
            raise click.UsageError("--edition is of a book: give its NAME")
        for known in book_names():
            book = load_book(known)
            others = ", ".join(e for e in book.editions if e != book.edition)
            more = f" (also {others})" if others else ""
            click.echo(f"{known:6} {book.title}; edition {book.edition}{more}")
    else:
        asked_for = book_named(name, edition)
        from litlamp.report.book import draw_book

        click.echo(draw_book(asked_for))


def _check(path: Path) -> None:
    from litlamp.aspects.check import check_book

    try:
        text = path.read_bytes().decode("utf-8")
    except OSError as error:
        raise Fault(f"{path}: {(error.strerror or 'cannot be read').lower()}") from error
    except UnicodeDecodeError as error:
        raise Fault(f"{path}: not UTF-8 text, so not a rulebook") from error
    faults = check_book(text, str(path))
    for fault in faults:
        click.echo(f"{path}:{fault.line}: {fault.message}", err=True)
    if faults:
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        raise Fault(f"{path}: {count}")
    click.echo(f"{path}: no fault found")
