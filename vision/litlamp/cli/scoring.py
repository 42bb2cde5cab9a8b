"""Readings held against the truth."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from litlamp.cli.shared import FOOT, Fault, book_named

if TYPE_CHECKING:
    pass


@click.command(epilog=FOOT)
@click.argument("truth", metavar="TRUTH")
@click.argument("readings", metavar="READINGS")
@click.option("--json", "as_json", is_flag=True, help="The whole score as one JSON object.")
@click.option(
    "--page", type=click.Path(path_type=Path), metavar="OUT.png", help="Write the score as a picture too."
)
@click.option("--rulebook", metavar="NAME|FILE", help="The book of the readings, if it is your own.")
@click.option(
    "--weights", type=click.Path(path_type=Path), metavar="FILE", help="Of a sample: estimates the whole."
)
def score(
    truth: str, readings: str, as_json: bool, page: Path | None, rulebook: str | None, weights: Path | None
) -> None:
    """Score READINGS, as "read --json" prints them, against a file of TRUTH; "-" is standard input.

    Both are JSON Lines. Sources are matched by their path, else by as much of its end as agrees. With the
    --weights that "litlamp sample" wrote, the whole collection is estimated from it.
    """
    if page is not None and page.suffix.lower() != ".png":
        raise Fault(f"{page}: the page is a .png")
    from litlamp.collection.readings_file import load_readings
    from litlamp.collection.score import score as scored
    from litlamp.collection.truth_file import LinesError, load_truth

    try:
        known, read = load_truth(truth), load_readings(readings)
        made_by = read[0].rulebook
        book = book_named(rulebook or made_by.name, made_by.edition)
        if book.name != made_by.name:
            raise Fault(f"the readings follow {made_by.name} {made_by.edition}, not {book.label}")
        result, named = scored(known, read, book), "standard input" if readings == "-" else readings
        estimated = None
        if weights is not None:
            from litlamp.collection.strata import load_weights
            from litlamp.collection.whole import whole

            estimated = whole(known, read, load_weights(weights), book)
    except LinesError as error:
        raise Fault(str(error)) from error
    if page is not None:
        from litlamp.collection.score_page import score_page
        from litlamp.report.picture import PictureError, save_picture

        try:
            save_picture(score_page(result, truth, named), page)
        except PictureError as error:
            raise Fault(str(error)) from error
    if as_json:
        import msgspec

        told = msgspec.to_builtins(result)
        click.echo(msgspec.json.encode(told if estimated is None else {**told, "whole": estimated}))
    else:
        from litlamp.collection.score_text import score_text

        click.echo(score_text(result, truth, named))
        if estimated is not None:
            from litlamp.collection.whole import whole_text

            click.echo(f"\n{whole_text(estimated)}")
