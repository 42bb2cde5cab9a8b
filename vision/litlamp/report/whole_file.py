"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
from pathlib import Path


class WriteError(Exception):
    """A file could not be written; the message is one sentence."""


def write_whole(path: Path, data: bytes) -> None:
    """Write the file under another name first; then it takes the place of what was there.

    Raises
    ------
    WriteError : the place cannot be written to, or is full; what was there is left as it was.
    """
    part = part_of(path)
    try:
        if path.is_dir():
            raise IsADirectoryError(21, "that is a folder")
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise WriteError(cannot_write(path, error)) from None
    finally:
        with contextlib.suppress(OSError, ValueError):
            part.unlink(missing_ok=True)


def part_of(path: Path) -> Path:
    """Another name beside it, for as long as it is not whole."""
    return path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")


def cannot_write(path: Path, error: BaseException) -> str:
    """That it could not be written, and why, in one sentence."""
    number = getattr(error, "errno", None)
    said = os.strerror(number) if isinstance(number, int) and number > 0 else "unknown fault"
    return f"{path} could not be written: {said.lower()}"
