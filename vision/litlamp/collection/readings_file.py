"""A file of readings, as `litlamp read --json` prints it, and which truth each belongs to."""

from __future__ import annotations

import os
import sys
from collections import defaultdict
from collections.abc import Sequence
from pathlib import PurePath

from litlamp.collection.truth_file import LinesError, TruePicture, numbered_lines, read_bytes
from litlamp.report.record import Record, RecordError, validate_line


def load_readings(path: str | os.PathLike[str]) -> tuple[Record, ...]:
    """The readings in a file of JSON Lines; "-" is standard input.

    Raises
    ------
    LinesError : the file cannot be read or is empty, a line is no reading, a source comes twice, or the lines
        follow different rulebooks.
    """
    if os.fspath(path) == "-":
        return parse_readings(sys.stdin.buffer.read(), "standard input")
    return parse_readings(read_bytes(path), os.fspath(path))


def parse_readings(data: bytes, name: str) -> tuple[Record, ...]:
    """The readings in the bytes of such a file; `name` is what a fault calls it. Raises LinesError."""
    readings: dict[str, tuple[int, Record]] = {}
    for number, line in numbered_lines(name, data):
        try:
            reading = validate_line(line)
        except RecordError as error:
            what = " ".join(str(error).split())
            raise LinesError(f"{name}, line {number}: this is no reading ({what})") from error
        if reading.source in readings:
            first = readings[reading.source][0]
            raise LinesError(f"{name}, line {number}: {reading.source!r} stands on line {first} too")
        readings[reading.source] = number, reading
    books = {(r.rulebook.name, r.rulebook.edition) for _, r in readings.values()}
    if len(books) > 1:
        listed = " and ".join(sorted(f"{book} {edition}" for book, edition in books))
        raise LinesError(f"{name}: the readings follow different rulebooks, {listed}")
    return tuple(reading for _, reading in readings.values())


def pair_sources(
    truths: Sequence[TruePicture], readings: Sequence[Record]
) -> tuple[tuple[TruePicture, Record], ...]:
    """Each truth with its reading, in the order of the truths; those without the other are left out.

    A source is the same path, or else the one path whose end agrees: as many of the last parts of the path
    as there are, down to the file's name, wherever just one truth and one reading are left with that end.
    """
    left_t = {i: _parts(t.source) for i, t in enumerate(truths)}
    left_r = {j: _parts(r.source) for j, r in enumerate(readings)}
    by_path = {r.source: j for j, r in enumerate(readings)}
    pairs: dict[int, int] = {}
    for i, truth in enumerate(truths):
        if truth.source in by_path:
            pairs[i] = by_path[truth.source]
            del left_t[i], left_r[pairs[i]]
    deepest = max(map(len, [*left_t.values(), *left_r.values()]), default=0)
    for depth in range(deepest, 0, -1):
        ends_t, ends_r = _by_end(left_t, depth), _by_end(left_r, depth)
        for end, here in ends_t.items():
            there = ends_r.get(end, [])
            if len(here) == len(there) == 1:
                pairs[here[0]] = there[0]
                del left_t[here[0]], left_r[there[0]]
    return tuple((truths[i], readings[pairs[i]]) for i in sorted(pairs))


def _parts(source: str) -> tuple[str, ...]:
    return PurePath(source.replace("\\", "/")).parts


def _by_end(sources: dict[int, tuple[str, ...]], depth: int) -> dict[tuple[str, ...], list[int]]:
    ends: defaultdict[tuple[str, ...], list[int]] = defaultdict(list)
    for i, parts in sources.items():
        if len(parts) >= depth:
            ends[parts[-depth:]].append(i)
    return ends
