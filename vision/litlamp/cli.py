"""The command line: each command parses, calls one function of the library and prints.

Readings go to standard output, everything else to standard error. Exit status: 0 read, 1 no signal found,
2 bad input or usage. Nothing heavy is imported before a command needs it.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Sequence
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from litlamp import __version__

if TYPE_CHECKING:
    from litlamp.aspects.aspect import Arrangement, Aspect, Mount, Plate
    from litlamp.aspects.rulebook import Rulebook
    from litlamp.media.frame import Frame
    from litlamp.photo_reading import SourceReading

READ, NO_SIGNAL, BAD = 0, 1, 2
# What a shell reports for a program ended by SIGINT and by SIGPIPE.
_INTERRUPTED, _PIPE_CLOSED = 130, 141

_PATIENCE = 2.0
"""Seconds that a source may take before its progress is told."""

_given: list[str] = []  # the words of the command line, for a record of how something was made

_FOOT = "Training aid only: never act on it on or near a track."


class Fault(click.ClickException):
    """A fault to be told in one sentence on standard error; exit status 2."""

    exit_code = BAD


def _level(ctx: click.Context, param: click.Parameter, value: float) -> float:
    if not 0 < value <= 1:
        raise click.BadParameter(f"{value:g} is no probability above 0 and at most 1")
    return value


def _size(ctx: click.Context, param: click.Parameter, value: str | None) -> tuple[int, int] | None:
    if value is None:
        return None
    wide, cross, high = value.lower().partition("x")
    if not (cross and wide.isdecimal() and high.isdecimal() and len(value) < 12):
        raise click.BadParameter(f"{value!r} is no size like 1600x1200")
    size = int(wide), int(high)
    if not 16 <= min(size) <= max(size) <= 8192:
        raise click.BadParameter(f"{value!r}: a side must be from 16 to 8192 px")
    return size


_book_option = click.option(
    "--rulebook", default="CROR", show_default=True, metavar="NAME|FILE", help="Book to read by."
)
_edition_option = click.option(
    "--edition", metavar="YEAR", help="Edition of the book (its newest if not given)."
)
_level_option = click.option(
    "--level",
    type=float,
    callback=_level,
    default=0.99,
    show_default=True,
    help="How sure the guarded reading must be.",
)


@click.group(epilog=_FOOT, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="litlamp", message="%(prog)s %(version)s")
def commands() -> None:
    """Read the aspect of a railway colour-light signal, and what it means by the rulebook."""


@commands.command(epilog=_FOOT)
@click.argument("sources", nargs=-1, required=True, metavar="SOURCE...")
@click.option("--json", "as_json", is_flag=True, help="One JSON object per source and line.")
@click.option(
    "--picture", type=click.Path(path_type=Path), metavar="DIR", help="Write annotated pictures here."
)
@_book_option
@_edition_option
@_level_option
@click.option(
    "--expect", type=click.Choice(["mast", "dwarf"]), help="What the signals stand on, if you know it."
)
@click.option(
    "--fps",
    type=click.FloatRange(0, 1000, min_open=True),
    metavar="RATE",
    help="Frames a second of a folder of photographs that carry no times.",
)
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
    book = cache(partial(_book, rulebook, edition))
    if picture is not None:
        _folder(picture)
    worst, drawn, told = READ, set[str](), list[SourceReading]()
    for source in expand(sources):
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

        _say(f"{shown(reading.source) or 'input'}: {reading.failure}")
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
            _say(str(error))
            return BAD
    return READ


@commands.command(epilog=_FOOT)
@click.argument("clip", metavar="CLIP")
@click.option("--to", "folder", type=click.Path(path_type=Path), required=True, metavar="DIR")
@click.option("--resume", is_flag=True, help="Go on with a ride that was stopped.")
@click.option("--video/--no-video", default=True, show_default=True, help="Write the ride with marks on it.")
@_book_option
@_edition_option
@_level_option
@click.option("--expect", type=click.Choice(["mast", "dwarf"]), help="What the signals stand on.")
@click.option("--fps", type=click.FloatRange(0, 1000, min_open=True), metavar="RATE", help="As for read.")
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
    book = _book(rulebook, edition)
    _folder(folder)
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
        _say(note)
    signals = made.ride.record.signals
    ctx.exit(_INTERRUPTED if made.ride.stopped else BAD if made.faults else READ if signals else NO_SIGNAL)


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


@commands.command(epilog=_FOOT)
@click.argument("words", nargs=-1, required=True)
@click.option("--mount", type=click.Choice(["mast", "dwarf"]))
@click.option("--arrangement", type=click.Choice(["vertical", "staggered"]))
@click.option(
    "--plate", "plates", type=click.Choice(["A", "R", "L", "DV"], case_sensitive=False), multiple=True
)
@_book_option
@_edition_option
@_level_option
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
    book = _book(rulebook, edition)
    said = " ".join(words)
    aspect = _aspect(said, mount, arrangement, frozenset(plates))
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


# Options of `draw` that only a photograph, or only a clip, takes.
_STILL_ONLY = ("cut", "snow_on_plate")
_CLIP_ONLY = (
    "seconds", "fps", "motion", "rate", "lit_share", "ripple", "shutter", "pumping", "uneven", "then",
    "hidden",
)  # fmt: skip


@commands.command(epilog=_FOOT)
@click.argument("words")
@click.argument("out", type=click.Path(path_type=Path), metavar="OUT.png|OUT.mp4")
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True)
@click.option("--light", default="day", show_default=True, help="day, overcast, low sun, dusk or night.")
@click.option("--weather", default="clear", show_default=True, help="clear, haze, rain, snow or fog.")
@click.option(
    "--distance", type=click.FloatRange(1, 5000), metavar="METRES", help="Framed well if not given."
)
@click.option("--exposure", type=click.FloatRange(-8, 8), default=0.0, metavar="STOPS")
@click.option("--size", callback=_size, help="1600x1200 if not given, of a clip 1280x720.")
@click.option("--cut", type=click.Choice(["top", "bottom"]), help="The picture's edge cuts this end.")
@click.option("--snow-on-plate", is_flag=True)
@click.option(
    "--with", "extra", metavar="THING", help='Something that is no signal: "road light", "train" ...'
)
@click.option("--back", is_flag=True, help="The signal seen from behind.")
@click.option("--seconds", type=float, default=6.0, show_default=True, help="Clip: how long it lasts.")
@click.option("--fps", type=float, default=30.0, show_default=True, help="Clip: frames a second.")
@click.option(
    "--motion", default="hand", show_default=True, help="Clip: hand, still, zoom or approach (of a train)."
)
@click.option("--rate", type=float, metavar="RATE", help="Clip: flashes a minute.")
@click.option("--lit-share", type=float, metavar="SHARE", help="Clip: how much of a flash is lit.")
@click.option(
    "--ripple", type=float, metavar="HZ", help="Clip: makes LED lamps ripple, as at 100 or 120 on the mains."
)
@click.option("--shutter", type=float, metavar="SECONDS", help="Clip: how long a frame is exposed.")
@click.option(
    "--pumping", type=float, default=0.0, metavar="STOPS", help="Clip: by which automatic exposure hunts."
)
@click.option("--uneven", is_flag=True, help="Clip: a variable frame rate.")
@click.option(
    "--then",
    nargs=2,
    type=(float, str),
    multiple=True,
    metavar="SECONDS WORDS",
    help="Clip: changes the aspect at that time; may be repeated.",
)
@click.option(
    "--hidden", nargs=2, type=(float, float), multiple=True, metavar="SECONDS LENGTH",
    help="Clip: something passes before the signal, for so long.",
)  # fmt: skip
@click.option("--truth", type=click.Path(path_type=Path), metavar="FILE", help="Append the truth line here.")
@_book_option
@_edition_option
@click.pass_context
def draw(
    ctx: click.Context,
    /,
    words: str,
    out: Path,
    truth: Path | None,
    rulebook: str,
    edition: str | None,
    **scene: Any,
) -> None:
    """Draw an aspect in WORDS as a photograph or, by OUT's ending, a clip; "no signal" draws none.

    The truth line is printed, or appended to the file that --truth names.
    """
    ending = out.suffix.lower()
    clip = ending in (".mp4", ".mov")
    if not clip and ending not in (".png", ".jpg", ".jpeg"):
        raise Fault(f"{out}: a photograph is drawn as .png or .jpg, a clip as .mp4 or .mov")
    for name in _STILL_ONLY if clip else _CLIP_ONLY:
        if ctx.get_parameter_source(name) == click.core.ParameterSource.COMMANDLINE:
            option = "--" + name.replace("_", "-")
            raise click.UsageError(f"{option} is for {'photographs' if clip else 'clips'}, not for {out}")
        del scene[name]
    book = _book(rulebook, edition)
    aspect = None if words.strip().lower() == "no signal" else _aspect(words)
    scene["size"] = scene["size"] or ((1280, 720) if clip else (1600, 1200))
    from litlamp.report.picture import PictureError
    from litlamp.sample import make_sample

    try:
        if clip:
            line = _draw_clip(out, aspect, book, truth, scene)
        else:
            line = make_sample(out, aspect, book, truth, **scene)
    except (ValueError, PictureError) as error:
        raise Fault(str(error)) from error
    if truth is None:
        click.echo(line)


def _draw_clip(
    out: Path, aspect: Aspect | None, book: Rulebook, truth: Path | None, scene: dict[str, Any]
) -> bytes:
    from litlamp.sample import make_clip
    from litlamp.scene.clip import draw_clip
    from litlamp.scene.film import Shutter
    from litlamp.scene.lamps_over_time import Ripple, set_flash

    rate, share, ripple, shutter = (scene.pop(name) for name in ("rate", "lit_share", "ripple", "shutter"))
    scene["uneven"] = 0.35 if scene["uneven"] else 0.0
    scene["changes"] = tuple((at, _aspect(words)) for at, words in scene.pop("then"))
    if rate is not None or share is not None:
        scene["flashing"] = set_flash(rate, share)
    if ripple is not None:
        scene["ripple"] = Ripple(ripple, 0.4)
    if shutter is not None:
        scene["shutter"] = Shutter(shutter, min(0.012, shutter + 0.008))
    drawn = draw_clip(aspect, **scene)
    if not sys.stderr.isatty():
        return make_clip(out, drawn, book, truth)
    with click.progressbar(length=len(drawn.times), label=str(out), file=sys.stderr) as bar:
        return make_clip(out, drawn, book, truth, told=lambda _: bar.update(1))


@commands.command(epilog=_FOOT)
@click.argument("name", required=False)
@_edition_option
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
        for known in book_names():
            book = load_book(known)
            others = ", ".join(e for e in book.editions if e != book.edition)
            more = f" (also {others})" if others else ""
            click.echo(f"{known:6} {book.title}; edition {book.edition}{more}")
    else:
        asked_for = _book(name, edition)
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


@commands.command(epilog=_FOOT)
@click.argument("sources", nargs=-1, required=True, metavar="SOURCE...")
@click.option("--to", required=True, metavar="DIR", help="Results folder; may be in a store (s3://...).")
@click.option("--cluster", metavar="ADDRESS", help="A Dask scheduler to hand the work to: tcp://host:8786.")
@click.option(
    "--workers", type=click.IntRange(0, 4096), help="Processes; as many as processors if not given."
)
@click.option(
    "--patience",
    type=click.FloatRange(0, min_open=True),
    default=120.0,
    show_default=True,
    metavar="SECONDS",
    help="A source of which nothing is heard for so long is given up.",
)
@click.option("--anew", is_flag=True, help="Read all again; the earlier readings are moved aside.")
@click.option("--retry", is_flag=True, help="Try again what could not be read.")
@_book_option
@_edition_option
@_level_option
@click.option(
    "--expect", type=click.Choice(["mast", "dwarf"]), help="What the signals stand on, if you know it."
)
@click.option(
    "--fps", type=click.FloatRange(0, 1000, min_open=True), metavar="RATE", help="As for litlamp read."
)
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
    book = _book(rulebook, edition)
    if cluster is not None and workers is not None:
        raise click.UsageError("--workers is for this machine, and a --cluster has its own")
    from litlamp.collection.far import FarError
    from litlamp.collection.label import Asked, LabelError, crew
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
                command=["litlamp", *_given],
            )
    except (LabelError, EyesError, FarError) as error:
        raise Fault(str(error)) from error
    counts = done.counts
    if done.aside is not None:
        _say(f"the earlier readings are in {done.aside}")
    click.echo(
        f"{to.rstrip('/')}/readings.jsonl: {counts.done:,} sources, {counts.read:,} with a signal, "
        f"{counts.none:,} without, {counts.failed:,} not read; {done.now:,} of them now, "
        f"in {duration(done.seconds)}"
    )
    click.echo(_FOOT)
    ctx.exit(BAD if counts.failed == counts.done else READ)


@commands.command(epilog=_FOOT)
@click.argument("readings", metavar="DIR|READINGS")
@click.option("--as", "formats", required=True, metavar="FORMAT,...", help="csv, parquet, coco, crops, vtt.")
@click.option("--to", type=click.Path(path_type=Path), metavar="DIR", help="DIR/export if not given.")
def export(readings: str, formats: str, to: Path | None) -> None:
    """Write a collection's readings in the formats that other programs read.

    csv: a row a signal. parquet: typed and nested. coco: boxes of signals, heads, lamps and plates in
    photographs. crops: a picture of each signal, in folders by rule. vtt: subtitles of each clip. What
    every column means is written beside them.
    """
    from litlamp.collection.export import export as export_all
    from litlamp.collection.exporting import ExportError
    from litlamp.collection.label_line import readings_path
    from litlamp.collection.truth_file import LinesError

    path = readings_path(readings)
    to = to or path.parent / "export"
    chosen = [name for word in formats.split(",") if (name := word.strip().lower())]
    try:
        export_all(path, to, chosen, lambda words: click.echo(f"{to}: {words}"))
    except (ExportError, LinesError) as error:
        raise Fault(str(error)) from error
    click.echo(_FOOT)


@commands.command(epilog=_FOOT)
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
        book = _book(rulebook or first.rulebook.name, first.rulebook.edition)
        result = compared(old, new, book)
    except LinesError as error:
        raise Fault(str(error)) from error
    if as_json:
        import msgspec

        click.echo(msgspec.json.encode({"counts": result.counts(), "comparison": result}))
    else:
        click.echo(comparison_text(result, before, after))


@commands.command(epilog=_FOOT)
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
@click.option("--to", type=click.Path(path_type=Path), metavar="DIR", help="DIR/sample if not given.")
@click.option("--rulebook", metavar="NAME|FILE", help="The book of the readings, if it is your own.")
def sample(readings: str, count: int, by: str, seed: int, to: Path | None, rulebook: str | None) -> None:
    """Draw a stratified sample of a collection, and write a page on which people mark it.

    The page saves a file of truth; "litlamp score" with the weights written here then estimates how good the
    whole collection is.
    """
    from litlamp.collection.label_line import readings_path
    from litlamp.collection.sample_folder import write_sample
    from litlamp.collection.strata import draw_sample
    from litlamp.collection.truth_file import LinesError
    from litlamp.report.whole_file import WriteError

    path = readings_path(readings)
    to = to or path.parent / "sample"
    keys = [key for word in by.split(",") if (key := word.strip())]
    try:
        drawn = draw_sample(path, count, keys, seed)
        of = drawn.records[0].rulebook
        book = _book(rulebook or of.name, of.edition)
        _folder(to)
        write_sample(drawn, book, path, to)
    except (LinesError, WriteError) as error:
        raise Fault(str(error)) from error
    strata = len({member.stratum for member in drawn.members})
    unread = f"; {drawn.failed:,} could not be read, and are left out" if drawn.failed else ""
    click.echo(
        f"{to / 'page.html'}: {len(drawn.members):,} of {drawn.sources:,} sources, {strata} strata{unread}. "
        "Open it in a browser, mark the readings and save the truth; then:"
    )
    click.echo(f"litlamp score truth.jsonl {to / 'readings.jsonl'} --weights {to / 'weights.jsonl'}")
    click.echo(_FOOT)


@commands.command(epilog=_FOOT)
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
        book = _book(rulebook or made_by.name, made_by.edition)
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


@commands.command(epilog=_FOOT)
@click.option(
    "--host", default="127.0.0.1", show_default=True, help="0.0.0.0 lets a phone on the same network in."
)
@click.option("--port", type=click.IntRange(1, 65535), default=8077, show_default=True)
@click.option(
    "--data", type=click.Path(path_type=Path), metavar="DIR", help="Where progress and collection are kept."
)
@click.option("--workers", type=click.IntRange(1, 16), default=1, show_default=True, help="Readers at work.")
def page(host: str, port: int, data: Path | None, workers: int) -> None:
    """The learner's page in a browser: read, learn, practise, keep. Needs the extra: litlamp[page].

    Only this computer can reach it unless --host says otherwise; then a token is asked for.
    """
    from litlamp.aspects.rulebook import RulebookError
    from litlamp.page.start import StartError, invitation, prepared
    from litlamp.page.store import StoreError

    try:
        from litlamp.page.server import serve
    except ImportError as error:
        if (error.name or "").split(".")[0] not in ("starlette", "uvicorn", "jinja2", "python_multipart"):
            raise
        raise Fault("the page needs an extra: pip install 'litlamp[page]'") from None
    try:
        settings = prepared(host, port, data, workers)
        serve(settings, ready=lambda: click.echo(invitation(settings), err=True))
    except (StartError, StoreError, RulebookError) as error:
        raise Fault(str(error)) from error


@commands.command(epilog=_FOOT)
@click.pass_context
def selfcheck(ctx: click.Context) -> None:
    """Prove this installation without a network: weights, rulebook, a reading of each packaged sample."""
    from litlamp.selfcheck import checks

    sound = True
    for check in checks():
        click.echo(f"{'ok  ' if check.sound else 'FAIL'} {check.words}")
        sound = sound and check.sound
    ctx.exit(READ if sound else BAD)


def _book(name: str, edition: str | None) -> Rulebook:
    """A shipped book by name, or a user's by file."""
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


def _aspect(
    words: str,
    mount: Mount | None = None,
    arrangement: Arrangement | None = None,
    plates: frozenset[Plate] = frozenset(),
) -> Aspect:
    from litlamp.aspects.words import AspectWordsError, agree, parse_aspect

    try:
        return agree(parse_aspect(words), mount, arrangement, plates)
    except AspectWordsError as error:
        raise Fault(str(error)) from error


def _folder(path: Path) -> None:
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Fault(
            f"the folder {path} cannot be made: {(error.strerror or 'unknown fault').lower()}"
        ) from error
    if not os.access(path, os.W_OK | os.X_OK):
        raise Fault(f"the folder {path} cannot be written to: permission denied")


def _say(sentence: str) -> None:
    """One line on standard error."""
    line = " ".join(sentence.split())
    click.echo(f"litlamp: {line}{'' if line.endswith(('.', '?')) else '.'}", err=True)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status; never raises for bad input.

    `arguments` are those after the program's name; None takes them from `sys.argv`.
    """
    debug = bool(os.environ.get("LITLAMP_DEBUG"))
    _given[:] = sys.argv[1:] if arguments is None else arguments
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a character gets its code, not a fault.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        status = commands.main(arguments, prog_name="litlamp", standalone_mode=False)
        sys.stdout.flush()
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        return BAD
    except click.ClickException as error:
        hint = ""
        if isinstance(error, click.UsageError) and error.ctx is not None:
            hint = f" (see {error.ctx.command_path} --help)"
        _say(error.format_message().rstrip(".") + hint)
        return BAD
    except (click.Abort, KeyboardInterrupt):
        _say("interrupted")
        return _INTERRUPTED
    except BrokenPipeError:
        # Whoever read our output has gone; the interpreter's last flush must not complain of it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return _PIPE_CLOSED
    except SystemExit:  # click's own answer to a closed pipe, with a status that means something else here
        return _PIPE_CLOSED
    except OSError as error:
        if debug:
            raise
        _say(f"the system refused something litlamp needed: {(error.strerror or str(error)).lower()}")
        return BAD
    except MemoryError:
        _say("there is not enough memory for this")
        return BAD
    except Exception as error:
        if debug:
            raise
        what = " ".join(f"{type(error).__name__} {error}".split())[:200]
        _say(f"something failed that should not ({what}); please report it, with what LITLAMP_DEBUG=1 prints")
        return BAD
    return int(status) if isinstance(status, int) else READ


def main() -> None:
    """The console script."""
    # Matrices are small here: threads for them would cost a tenth of a second to start, and help nothing.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    sys.exit(run())
