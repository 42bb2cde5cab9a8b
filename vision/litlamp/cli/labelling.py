"""Labelling a collection, and what follows it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from litlamp.cli.finite import Finite
from litlamp.cli.shared import (
    BAD,
    FOOT,
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


@click.command(epilog=FOOT)
@click.argument("sources", nargs=-1, required=True, metavar="SOURCE...")
@click.option(
    "--to",
    type=Name(),
    required=True,
    metavar="DIR",
    help="Results folder; may be in a store (s3://...).",
)
@click.option("--cluster", metavar="ADDRESS", help="A Dask scheduler to hand the work to: tcp://host:8786.")
@click.option(
    "--workers", type=click.IntRange(0, 4096), help="Processes; as many as processors if not given."
)
@click.option(
    "--patience",
    type=Finite(0, min_open=True),
    default=120.0,
    show_default=True,
    metavar="SECONDS",
    help="A source of which nothing is heard for so long is given up.",
)
@click.option("--anew", is_flag=True, help="Read all again; the earlier readings are moved aside.")
@click.option("--retry", is_flag=True, help="Try again what could not be read.")
@book_option
@edition_option
@level_option
@click.option(
    "--expect", type=click.Choice(["mast", "dwarf"]), help="What the signals stand on, if you know it."
)
@fps_option("As for litlamp read.")
@click.pass_context
def label(
    ctx: click.Context,
    sources: tuple[str, ...],
    to: str,
    cluster: str | None,
    workers: int | None,
    patience: float,
    anew: bool,
    retry: bool,
    rulebook: str,
    edition: str | None,
    level: float,
    expect: Mount | None,
    fps: float | None,
) -> None:
    """Read a whole collection into DIR/readings.jsonl; run again to go on after any stop.

    A SOURCE is a photograph or clip; a folder, searched for them with all folders in it; a quoted pattern
    ("rides/**/*.jpg"); a list with columns of your own (.csv, .tsv, .jsonl; its column "source" or "path"
    names the file), which every reading then carries; or "-", a list on standard input, one a line.

    What cannot be read gets a record that says why. Exit status: 0 done, 2 if nothing could be read at all.
    """
    book = book_named(rulebook, edition)
    if cluster is not None and workers is not None:
        raise click.UsageError("--workers is for this machine, and a --cluster has its own")
    from litlamp.collection.far import FarError
    from litlamp.collection.label import Asked, LabelError, crew, first_failure
    from litlamp.collection.label_to import label_to
    from litlamp.collection.progress import ProgressLine, duration
    from litlamp.sight.eyes import EyesError

    if cluster is None:
        at_work = crew(workers, patience)
    else:
        from litlamp.collection.cluster import cluster as cluster_at

        at_work = cluster_at(cluster, patience)
    try:
        with ProgressLine() as progress:
            done = label_to(
                to,
                sources,
                Asked(book, level, expect, fps),
                workers=at_work,
                anew=anew,
                again_failed=retry,
                told=progress,
                command=["litlamp", *(ctx.obj or ())],
            )
    except (LabelError, EyesError, FarError) as error:
        raise Fault(str(error)) from error
    counts = done.counts
    if done.aside is not None:
        say(f"the earlier readings are in {done.aside}")
    many = "1 source" if counts.done == 1 else f"{counts.done:,} sources"
    click.echo(
        f"{to.rstrip('/')}/readings.jsonl: {many}, {counts.read:,} with a signal, "
        f"{counts.none:,} without, {counts.failed:,} not read; {done.now:,} of them now, "
        f"in {duration(done.seconds)}"
    )
    if counts.failed == counts.done and (why := first_failure(done.path)) is not None:
        say(why)
    click.echo(FOOT)
    ctx.exit(BAD if counts.failed == counts.done else READ)


@click.command(epilog=FOOT)
@click.argument("readings", metavar="DIR|READINGS")
@click.option("--as", "formats", required=True, metavar="FORMAT,...", help="csv, parquet, coco, crops, vtt.")
@click.option("--to", type=Folder(), metavar="DIR", help="DIR/export if not given.")
def export(readings: str, formats: str, to: Path | None) -> None:
    """Write a collection's readings in the formats that other programs read.

    csv: a row a signal. parquet: typed and nested. coco: boxes of signals, heads, lamps and plates in
    photographs. crops: a picture of each signal, in folders by rule. vtt: subtitles of each clip. What
    every column means is written beside them.
    """
    from litlamp.collection.export import export as export_all
    from litlamp.collection.exporting import ExportError
    from litlamp.collection.label_line import read_lines, readings_path
    from litlamp.collection.truth_file import LinesError

    path = readings_path(readings)
    to = to or path.parent / "export"
    chosen = [name for word in formats.split(",") if (name := word.strip().lower())]
    if not chosen:
        raise click.UsageError("--as names no format: csv, parquet, coco, crops or vtt")
    try:
        if next(iter(read_lines(path)), None) is None:
            raise Fault(f"{path} holds no reading")
        export_all(path, to, chosen, lambda words: click.echo(f"{to}: {words}"))
    except (ExportError, LinesError) as error:
        raise Fault(str(error)) from error
    click.echo(FOOT)


@click.command(epilog=FOOT)
@click.argument("before", metavar="A")
@click.argument("after", metavar="B")
@click.option("--json", "as_json", is_flag=True, help="Every change, as one JSON object.")
@click.option("--rulebook", metavar="NAME|FILE", help="The book of the readings, if it is your own.")
def compare(before: str, after: str, as_json: bool, rulebook: str | None) -> None:
    """Tell what changed between two runs, A and B (results folders or files of readings).

    Changes towards a less restrictive reading come first.
    """
    from litlamp.collection.compare import compare as compared
    from litlamp.collection.compare import comparison_text
    from litlamp.collection.label_line import read_lines, readings_path
    from litlamp.collection.truth_file import LinesError

    old, new = readings_path(before), readings_path(after)
    try:
        first = next(iter(read_lines(old)), None)
        if first is None:
            raise Fault(f"{old} holds no reading")
        if next(iter(read_lines(new)), None) is None:
            raise Fault(f"{new} holds no reading")
        book = book_named(rulebook or first.rulebook.name, first.rulebook.edition)
        result = compared(old, new, book)
    except LinesError as error:
        raise Fault(str(error)) from error
    if as_json:
        import msgspec

        click.echo(msgspec.json.encode({"counts": result.counts(), "comparison": result}))
    else:
        click.echo(comparison_text(result, before, after))


@click.command(epilog=FOOT)
@click.argument("readings", metavar="DIR|READINGS")
@click.option("-n", "count", type=click.IntRange(1), default=200, show_default=True, help="Sources to draw.")
@click.option(
    "--by",
    default="rule,light",
    show_default=True,
    metavar="KEY,...",
    help="Strata: rule, guarded, light, sure, size, kind, or columns of your own.",
)
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True)
@click.option("--to", type=Folder(), metavar="DIR", help="DIR/sample if not given.")
@click.option("--rulebook", metavar="NAME|FILE", help="The book of the readings, if it is your own.")
def sample(readings: str, count: int, by: str, seed: int, to: Path | None, rulebook: str | None) -> None:
    """Draw a stratified sample of a collection, and write a page on which people mark it.

    The page saves a file of truth; "litlamp score" with the weights written here then estimates how good the
    whole collection is.
    """
    from litlamp.collection.label_line import readings_path
    from litlamp.collection.sample_folder import SampleFolderError, write_sample
    from litlamp.collection.strata import draw_sample
    from litlamp.collection.truth_file import LinesError
    from litlamp.report.whole_file import WriteError

    path = readings_path(readings)
    to = to or path.parent / "sample"
    keys = [key for word in by.split(",") if (key := word.strip())]
    try:
        drawn = draw_sample(path, count, keys, seed)
        of = drawn.records[0].rulebook
        book = book_named(rulebook or of.name, of.edition)
        made_folder(to)
        write_sample(drawn, book, path, to)
    except (LinesError, SampleFolderError, WriteError) as error:
        raise Fault(str(error)) from error
    strata = len({member.stratum for member in drawn.members})
    unread = f"; {drawn.failed:,} could not be read, and are left out" if drawn.failed else ""
    click.echo(
        f"{to / 'page.html'}: {len(drawn.members):,} of {drawn.sources:,} sources, {strata} strata{unread}. "
        "Open it in a browser, mark the readings and save the truth; then:"
    )
    click.echo(f"litlamp score truth.jsonl {to / 'readings.jsonl'} --weights {to / 'weights.jsonl'}")
    click.echo(FOOT)
