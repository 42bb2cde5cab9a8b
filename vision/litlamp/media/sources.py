"""Where a picture comes from: a path, standard input, bytes or an open file; and its bytes, safely."""

from __future__ import annotations

import io
import os
import stat
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import BinaryIO

from litlamp.media.errors import MediaError
from litlamp.media.sniff import HEAD_BYTES, Sniffed, sniff

STANDARD_INPUT = "-"
ANIMATIONS = frozenset({"GIF", "PNG", "WebP", "AVIF"})
"""Formats of stills whose files may hold a moving picture."""
MOST_TAKEN = 1 << 30
"""Most bytes of such a picture that are taken from standard input."""

Source = str | os.PathLike[str] | bytes | BinaryIO


def shown(source: Source) -> str | None:
    """The source's name fit for one line of a terminal, or None for bytes and nameless streams.

    Line breaks and control characters are escaped, as are bytes of a path that are no UTF-8.
    """
    if isinstance(source, bytes):
        return None
    if isinstance(source, (str, os.PathLike)):
        name: object = os.fspath(source)
    else:
        name = getattr(source, "name", None)
    if not isinstance(name, str):
        return None
    if name == STANDARD_INPUT:
        return "standard input"
    printable = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in _utf8(name))
    return printable or "(no name)"


def _utf8(name: str) -> str:
    return os.fsencode(name).decode("utf-8", "backslashreplace") if os.name == "posix" else name


def expand(sources: Iterable[str]) -> Iterator[str]:
    """The sources of a command line, in order, each once; `-` is standard input.

    Nothing is opened: a source that cannot be read says so when it is read.
    """
    seen: set[str] = set()
    for source in sources:
        if source not in seen:
            seen.add(source)
            yield source


def moves(source: Source) -> bool:
    """Whether a source is to be read as a clip: a folder, a file of video, or an animation.

    Told from its first bytes, of an animation from its header. What cannot be opened is said not to move: the
    door for photographs then says why.
    """
    if isinstance(source, bytes):
        return _moves(io.BytesIO(source), source[:HEAD_BYTES])
    if isinstance(source, (str, os.PathLike)):
        name = os.fspath(source)
        if name == STANDARD_INPUT:
            # Nothing is taken from the pipe; an animation in it cannot be told from a still: see `taken`.
            return sniff(_peeked()).kind == "clip"
        try:
            if Path(name).is_dir():
                return True
            with open_file(name) as file:
                return _moves(file, file.read(HEAD_BYTES))
        except (MediaError, OSError, ValueError):
            return False
    return False


def taken(source: str) -> bytes | None:
    """All of standard input where only the whole tells whether it moves; else None, and nothing is taken."""
    if source != STANDARD_INPUT or sniff(_peeked()).name not in ANIMATIONS:
        return None
    try:
        return _exactly(sys.stdin.buffer, MOST_TAKEN)
    except (MediaError, OSError, ValueError):
        return None


def _peeked() -> bytes:
    peek = getattr(getattr(sys.stdin, "buffer", None), "peek", None)
    try:
        return b"" if peek is None else bytes(peek(HEAD_BYTES)[:HEAD_BYTES])
    except (OSError, ValueError):
        return b""


def _moves(file: BinaryIO, head: bytes) -> bool:
    found = sniff(head)
    if found.kind == "clip" or found.name not in ANIMATIONS:
        return found.kind == "clip"
    from litlamp.media.animation import is_animation

    file.seek(0)
    return is_animation(file, found.name)


def read_bytes(source: Source, byte_limit: int) -> tuple[bytes, Sniffed]:
    """All bytes of a photograph and what it is.

    The first bytes are judged before the rest is read, so that a clip or a disc image of many gigabytes is
    refused at once. Only regular files are opened: a pipe or a device under a file's name could wait for
    ever.

    Raises
    ------
    MediaError
        Nothing there, not to be opened, not a regular file, empty, no photograph, or over `byte_limit`.
    """
    if isinstance(source, bytes):
        return source, _photograph(source[:HEAD_BYTES])
    if isinstance(source, (str, os.PathLike)):
        name = os.fspath(source)
        if name == STANDARD_INPUT:
            if sys.stdin is None:
                raise MediaError("nothing is connected to standard input")
            return _read_stream(sys.stdin.buffer, byte_limit)
        return _read_file(name, byte_limit)
    return _read_stream(source, byte_limit)


def open_file(name: str | os.PathLike[str]) -> BinaryIO:
    """A regular file opened for reading: a pipe or a device under a file's name could wait for ever.

    Raises
    ------
    MediaError
        Nothing there, not to be opened, or not a regular file.
    """
    try:
        mode = os.stat(name).st_mode  # noqa: PTH116 - pathlib would normalise the name that was given
        if stat.S_ISDIR(mode):
            raise MediaError("this is a folder, not a file")
        if not stat.S_ISREG(mode):
            raise MediaError(f"this is a pipe or a device, not a file; to read a pipe use {STANDARD_INPUT}")
        return Path(name).open("rb")
    except FileNotFoundError:
        raise MediaError("there is no such file") from None
    except PermissionError:
        raise MediaError("this file may not be opened: permission denied") from None
    except OSError as error:
        raise MediaError(f"this file could not be opened: {error.strerror or 'unknown fault'}") from None
    except ValueError:  # a NUL in the name
        raise MediaError("this is no file name") from None


def _read_file(name: str, byte_limit: int) -> tuple[bytes, Sniffed]:
    with open_file(name) as file:
        return _read_stream(file, byte_limit)


def _read_stream(stream: BinaryIO, byte_limit: int) -> tuple[bytes, Sniffed]:
    try:
        head = _exactly(stream, HEAD_BYTES)
        kind = _photograph(head)
        rest = _exactly(stream, byte_limit + 1 - len(head))
    except (OSError, ValueError) as error:  # ValueError: the stream is closed
        said = getattr(error, "strerror", None) or "unknown fault"
        raise MediaError(f"reading broke off: {said}") from None
    if len(head) + len(rest) > byte_limit:
        raise MediaError(f"this file is larger than {byte_limit / 1e6:.0f} MB, the most a photograph may be")
    return head + rest, kind


def _exactly(stream: BinaryIO, wanted: int) -> bytes:
    """Up to `wanted` bytes; fewer only at the end (a pipe hands on less than it is asked for)."""
    parts: list[bytes] = []
    while wanted > 0:
        # No more at once: what is asked for is laid out in memory, however little comes.
        part = stream.read(min(wanted, 1 << 23))
        if not isinstance(part, bytes):
            raise MediaError("this stream gives text, not bytes")
        if not part:
            break
        parts.append(part)
        wanted -= len(part)
    return parts[0] if len(parts) == 1 else b"".join(parts)


def _photograph(head: bytes) -> Sniffed:
    found = sniff(head)
    if found.kind == "photo":
        return found
    if found.kind == "clip":
        raise MediaError(f"this is a clip ({found.name}), not a photograph")
    if found.name == "empty":
        raise MediaError("this file is empty")
    if found.name == "unknown":
        raise MediaError("this is no picture of a kind that is known here")
    if found.name == "camera raw":
        raise MediaError("this is a camera raw file; develop it to JPEG or TIFF first")
    if found.name == "text":
        raise MediaError("this is text, not a picture")
    raise MediaError(f"this is {found.name}, which is not read here; save it as JPEG or PNG first")
