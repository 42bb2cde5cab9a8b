"""What a collection is made of: files, folders, patterns, lists and manifests become one list of sources."""

from __future__ import annotations

import glob
import os
import sys
from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from litlamp.collection.far import far_files, is_far
from litlamp.collection.manifest import is_manifest, read_manifest
from litlamp.collection.truth_file import LinesError
from litlamp.media.errors import MediaError
from litlamp.media.sniff import HEAD_BYTES, sniff
from litlamp.media.sources import STANDARD_INPUT, open_file
from litlamp.photo_reading import source_name

ENDINGS = frozenset(
    {
        ".3gp", ".avi", ".avif", ".bmp", ".flv", ".gif", ".heic", ".heif", ".jpe", ".jpeg", ".jpg", ".m2ts",
        ".m4v", ".mkv", ".mov", ".mp4", ".mpeg", ".mpg", ".mts", ".ogv", ".png", ".tif", ".tiff", ".ts",
        ".webm", ".webp", ".wmv", ".y4m",
    }
)  # fmt: skip
"""Endings of photographs and clips: a file that is none in spite of its name gets a record that says so."""

_PATTERN = frozenset("*?[")


@dataclass(frozen=True, slots=True)
class Item:
    """One source of a collection.

    Attributes
    ----------
    path : to open it by; bytes that are no UTF-8 stand in it as surrogates.
    columns : the researcher's own.
    fault : None, or why it is known beforehand that it cannot be read.
    """

    path: str
    columns: Mapping[str, Any] = field(default_factory=dict)
    fault: str | None = None

    @property
    def source(self) -> str:
        """The path as it is written: fit for UTF-8."""
        return source_name(self.path)


def list_items(
    sources: Iterable[str], known: Set[str] = frozenset(), results: Path | None = None
) -> Iterator[Item]:
    """Every source that is meant, each path once, in the order given; inside a folder by name.

    Parameters
    ----------
    sources : files; folders, which are searched for photographs and clips with all folders in them;
        patterns ("ride-*/[0-9]*.jpg", "**" for any folders between); manifests (.csv, .tsv, .jsonl,
        .ndjson); "-" for a list on standard input, one source a line, or ended by NUL characters. A folder
        that a manifest names is one burst of photographs.
        Paths in stores (s3://, gs://, https://) are files, folders or patterns there.
    known : paths whose content need not be looked at again.
    results : a folder that no search goes into.

    Raises
    ------
    LinesError : a manifest or list that cannot be used, or a pattern that nothing fits.
    litlamp.collection.far.FarError : a store that cannot be used.
    """
    seen: set[str] = set()
    for item in _each(sources, known, results):
        if item.path not in seen:
            seen.add(item.path)
            yield item


def _each(sources: Iterable[str], known: Set[str], results: Path | None) -> Iterator[Item]:
    for source in sources:
        if source == STANDARD_INPUT:
            for line in _standard_input():
                yield from _one(line, known, results)
        elif is_manifest(source) and not is_far(source):
            for row in read_manifest(source):
                yield Item(row.source, row.columns)
        else:
            yield from _one(source, known, results)


def _one(source: str, known: Set[str], results: Path | None) -> Iterator[Item]:
    if is_far(source):
        files = far_files(source)
        if files is None:
            yield Item(source)
        else:
            # What is in a store is not opened to be listed: its name alone tells.
            yield from (Item(each) for each in files if Path(each).suffix.lower() in ENDINGS)
    elif not os.path.lexists(source) and _PATTERN & set(source):
        found = sorted(glob.glob(source, recursive=True))  # noqa: PTH207 - a name that is no UTF-8 stays as it is
        if not found:
            raise LinesError(f"{source}: nothing fits this pattern")
        for each in found:
            yield from _one(each, known, results)
    elif Path(source).is_dir():
        yield from _walk(source, known, results)
    else:
        yield Item(source)


def _walk(top: str, known: Set[str], results: Path | None) -> Iterator[Item]:
    """Photographs and clips of a folder and those in it; each folder once, though links lead in circles."""
    visited: set[tuple[int, int]] = set()
    if results is not None and results.is_dir():
        status = results.stat()
        visited.add((status.st_dev, status.st_ino))
    waiting = [top]
    while waiting:
        folder = waiting.pop()
        try:
            status = os.stat(folder)  # noqa: PTH116 - as above
            if (status.st_dev, status.st_ino) in visited:
                continue
            visited.add((status.st_dev, status.st_ino))
            with os.scandir(folder) as listing:
                entries = sorted(listing, key=lambda entry: os.fsencode(entry.name))
        except OSError as error:
            said = (error.strerror or "unknown fault").lower()
            yield Item(folder, fault=f"this folder could not be opened: {said}")
            continue
        folders = []
        for entry in entries:
            if entry.name.startswith("."):
                continue
            if _is_folder(entry):
                folders.append(entry.path)
            elif entry.path in known or _belongs(entry.path):
                yield Item(entry.path)
        waiting.extend(reversed(folders))


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:  # a link to itself
        return False


def _belongs(path: str) -> bool:
    """Whether a file of a folder is one of its photographs or clips, by its name or else by its content."""
    if Path(path).suffix.lower() in ENDINGS:
        return True
    try:
        with open_file(path) as file:
            return sniff(file.read(HEAD_BYTES)).kind is not None
    except (MediaError, OSError):
        return False


def _standard_input() -> Iterator[str]:
    if sys.stdin is None:
        raise LinesError("nothing is connected to standard input")
    data = sys.stdin.buffer.read()
    parts = data.split(b"\0") if b"\0" in data else data.splitlines()
    names = [os.fsdecode(part) for part in parts if part.strip()]
    if not names:
        raise LinesError("standard input holds no source")
    yield from names
