"""The rendered exam: scenes of seeds that nothing was trained or fitted on, made, read and scored.

    python -m litlamp.collection.exam --to DIR

DIR holds the journal (a run that was stopped goes on where it was), and at the end truth.jsonl,
readings.jsonl, score.txt, score.json and page.png. Pictures are not kept: each is made again from its seed.
"""

from __future__ import annotations

import hashlib
import itertools
import multiprocessing
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path

import click
import msgspec

from litlamp import __version__
from litlamp.aspects.rulebook import Rulebook, RulebookError, book_names, book_text, load_book
from litlamp.cli.finite import Finite
from litlamp.collection.exam_scene import SEEDS, exam_scene
from litlamp.collection.journal import Entry, Journal, JournalError, open_journal
from litlamp.collection.judge import Judged, judge
from litlamp.collection.readings_file import pair_sources, parse_readings
from litlamp.collection.score import Score, score
from litlamp.collection.score_page import score_page
from litlamp.collection.score_text import score_text
from litlamp.collection.truth_file import parse_truth
from litlamp.photo_reading import DEFAULT_LEVEL, SourceReading, read_with_frame
from litlamp.report.picture import PictureError, annotate, save_picture
from litlamp.report.record import encode, record
from litlamp.sight.eyes import EyesError, load_eyes

_ROOMS = ("scene", "sight", "aspects")
_FILES = ("photo_reading.py", "media/photo.py", "collection/exam_scene.py")


class Refusal(click.ClickException):
    """The exam cannot be held, told in one sentence; exit status 2."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Sheet:
    """What is asked: the seeds, and by which book."""

    seeds: range
    book: str
    edition: str
    level: float = DEFAULT_LEVEL


def made_by(book: Rulebook, level: float = DEFAULT_LEVEL) -> dict[str, str]:
    """Everything that changes an exam's journal: program, networks, calibration, rulebook, and the code."""
    eyes = load_eyes(threads=1)
    return {
        "litlamp": __version__,
        **eyes.names,
        "calibration": _digest(msgspec.json.encode(eyes.calibration)),
        "level": f"{level:g}",
        "rulebook": f"{book.label} {_digest(book_text(book.name).encode())}",
        **{f"code of {room}": _digest_of_room(room) for room in _ROOMS},
        **{f"code of {name}": _digest(files("litlamp").joinpath(name).read_bytes()) for name in _FILES},
    }


def _digest_of_room(room: str) -> str:
    parts = sorted((p.name, p.read_bytes()) for p in files("litlamp").joinpath(room).iterdir() if p.is_file())
    return _digest(b"".join(name.encode() + b"\0" + data for name, data in parts))


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:12]


def sit(sheet: Sheet, journal: Journal, workers: int, told: Callable[[int, int], None]) -> None:
    """Make and read every scene that the journal lacks, writing each down as it is done.

    Parameters
    ----------
    workers : processes; 0 works in this one.
    told : called with (done, all) after each scene.

    Raises
    ------
    BrokenProcessPool : a worker died. What was done until then is in the journal.
    """
    todo = [seed for seed in sheet.seeds if seed not in journal.done]
    done = len(sheet.seeds) - len(todo)
    for entry in _worked(todo, sheet, workers):
        journal.add(entry)
        done += 1
        told(done, len(sheet.seeds))


def _worked(todo: Sequence[int], sheet: Sheet, workers: int) -> Iterator[Entry]:
    if workers == 0 or not todo:
        for seed in todo:
            yield one(seed, sheet.book, sheet.edition, sheet.level)
        return
    # Spawned, not forked: onnxruntime's and OpenCV's threads do not survive a fork.
    pool = ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), _settle)
    try:
        left = iter(todo)
        running: set[Future[Entry]] = set()
        while True:
            for seed in itertools.islice(left, 2 * workers - len(running)):
                running.add(pool.submit(one, seed, sheet.book, sheet.edition, sheet.level))
            if not running:
                return
            ready, running = wait(running, return_when=FIRST_COMPLETED)
            for future in ready:
                yield future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _settle() -> None:
    """One thread for each worker."""
    import cv2

    cv2.setNumThreads(1)


def one(seed: int, book: str, edition: str, level: float = DEFAULT_LEVEL) -> Entry:
    """Make and read the scene of one seed."""
    by = _book(book, edition)
    png, truth = _picture(seed, by)
    reading = _read(png, f"{seed}.png", by, level)
    return Entry(seed, msgspec.Raw(truth), msgspec.Raw(encode(record(reading))))


@cache
def _book(name: str, edition: str) -> Rulebook:
    return load_book(name, edition)


def _picture(seed: int, book: Rulebook) -> tuple[bytes, bytes]:
    """The scene as the bytes of a PNG, and its truth line."""
    import cv2

    rgb, line = exam_scene(seed, book)
    coded = cv2.imencode(".png", rgb[..., ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 1])[1]
    return coded.tobytes(), msgspec.json.encode(line)


def _read(png: bytes, name: str, book: Rulebook, level: float) -> SourceReading:
    eyes = load_eyes(threads=1)
    try:
        return replace(read_with_frame(png, book=book, level=level, eyes=eyes)[0], source=name)
    except Exception as error:
        # A crash of the reader is a finding of the exam, not the end of it.
        what = f"{type(error).__module__}.{type(error).__qualname__}".removeprefix("builtins.")
        sentence = f"litlamp failed on this picture ({what}: {error})"
        return SourceReading(name, None, None, (), sentence, book.name, book.edition, dict(eyes.names))


def marked(journal: Journal, sheet: Sheet) -> tuple[bytes, bytes, Score]:
    """The lines of truth and of readings in order of seed, and their score."""
    entries = [journal.done[seed] for seed in sheet.seeds]
    truth = b"".join(bytes(e.truth) + b"\n" for e in entries)
    readings = b"".join(bytes(e.reading) + b"\n" for e in entries)
    known, read = parse_truth(truth, "truth.jsonl"), parse_readings(readings, "readings.jsonl")
    return truth, readings, score(known, read, _book(sheet.book, sheet.edition))


def draw_worst(truth: bytes, readings: bytes, sheet: Sheet, to: Path, count: int) -> int:
    """Draw the worst readings, the worst first, as annotated pictures named by what was wrong.

    Returns how many there were to draw, at most `count`.
    """
    book = _book(sheet.book, sheet.edition)
    pairs = pair_sources(parse_truth(truth, "truth"), parse_readings(readings, "readings"))
    faults = sorted(
        (*found, int(Path(truth.source).stem))
        for truth, reading in pairs
        if (found := fault(judge(truth, reading, book))) is not None
    )
    to.mkdir(parents=True, exist_ok=True)
    for place, (_, _, words, seed) in enumerate(faults[:count], 1):
        png, _ = _picture(seed, book)
        reading, frame = read_with_frame(png, book=book)
        if frame is not None:
            named = replace(reading, source=f"{seed}.png")
            save_picture(annotate(frame, named, max_side=900), to / f"{place:03}-{seed}-{words}.png")
    return min(len(faults), count)


def fault(of: Judged) -> tuple[int, float, str] | None:
    """How bad one picture's worst fault is (least is worst; then the surer, the worse), in words; or None."""
    found: list[tuple[int, float, str]] = []
    for signal in of.signals:
        rule = signal.rule
        size = signal.bins.get("diameter", "").strip(" px").replace(" ", "")
        if rule is None:
            continue
        words = f"{rule.true}-read-{rule.read or 'nothing'}-{size}".replace(" ", "-").replace(">", "over")
        sure = -(rule.probability or 0.0)
        if rule.guard_side == "wrong":
            found.append((0, sure, f"guard-wrong-side-{words}"))
        elif rule.side == "wrong":
            found.append((2, sure, f"wrong-side-{words}"))
        elif rule.covered is False:
            found.append((3, sure, f"not-covered-{words}"))
        elif rule.settled and not rule.exact:
            found.append((4, sure, f"not-exact-{words}"))
    if any(n.guard_wrong for n in of.picture.neighbours):
        found.append((1, 0.0, "less-restrictive-beside"))
    if of.picture.false:
        found.append((5, 0.0, "false-signal"))
    return min(found, default=None)


def _tell(done: int, count: int) -> None:
    if done % 50 == 0 or done == count:
        click.echo(f"{done} of {count} scenes", err=True)


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--to", type=click.Path(path_type=Path), required=True, metavar="DIR", help="Journal and results."
)
@click.option("--count", type=click.IntRange(1), default=3000, show_default=True, help="Scenes.")
@click.option("--first-seed", type=int, help="The first of the purpose's seeds if not given.")
@click.option("--seeds", "purpose", type=click.Choice(list(SEEDS)), default="exam", show_default=True)
@click.option("--workers", type=click.IntRange(0), default=2, show_default=True, help="0: no other process.")
@click.option("--rulebook", "name", type=click.Choice(book_names()), default="CROR", show_default=True)
@click.option("--edition", metavar="YEAR", help="Edition of the book (its newest if not given).")
@click.option("--level", type=Finite(0, 1, min_open=True), default=DEFAULT_LEVEL, show_default=True)
@click.option("--worst", type=click.IntRange(0), default=0, help="Draw so many of the worst into DIR/worst.")
def exam(
    to: Path,
    count: int,
    first_seed: int | None,
    purpose: str,
    workers: int,
    name: str,
    edition: str | None,
    level: float,
    worst: int,
) -> None:
    """Make, read and score rendered scenes; run again to go on after a stop."""
    allowed = SEEDS[purpose]
    first = allowed.start if first_seed is None else first_seed
    if first not in allowed or first + count > allowed.stop:
        asked = f"{first} to {first + count - 1}"
        raise click.UsageError(
            f"seeds for {purpose} run from {allowed.start} to {allowed.stop - 1}, not {asked}"
        )
    try:
        book = load_book(name, edition)
        to.mkdir(parents=True, exist_ok=True)
        journal = open_journal(to / "journal.jsonl", made_by(book, level))
        sheet = Sheet(range(first, first + count), book.name, book.edition, level)
        try:
            sit(sheet, journal, workers, _tell)
        finally:
            journal.close()
        truth, readings, result = marked(journal, sheet)
        told = f"Rendered {purpose} scenes, seeds {first} to {first + count - 1}.\n" + score_text(
            result, "truth.jsonl", "readings.jsonl"
        )
        (to / "truth.jsonl").write_bytes(truth)
        (to / "readings.jsonl").write_bytes(readings)
        (to / "score.json").write_bytes(msgspec.json.encode(result))
        (to / "score.txt").write_text(told + "\n", encoding="utf-8")
        save_picture(score_page(result, "truth.jsonl", "readings.jsonl"), to / "page.png")
        click.echo(told)
        if worst:
            drawn = draw_worst(truth, readings, sheet, to / "worst", worst)
            click.echo(f"{drawn} of the worst are drawn in {to / 'worst'}.")
    except (RulebookError, JournalError, EyesError, PictureError) as error:
        raise Refusal(str(error)) from error
    except BrokenProcessPool as error:
        raise Refusal("a worker process died; run the same command again to go on") from error
    except OSError as error:
        raise Refusal(f"{error.filename or to}: {(error.strerror or 'cannot be used').lower()}") from error


if __name__ == "__main__":
    for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(variable, "1")  # for the workers; this process only waits
    sys.exit(exam())
