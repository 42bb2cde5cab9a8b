"""What the decoding libraries say to standard error while they work, caught: they have no other voice."""

from __future__ import annotations

import os
import sys
import tempfile
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

# Standard error and the warning filters belong to the whole process, so one picture decodes at a time.
_one_at_a_time = threading.RLock()

# How lines begin or what they hold that libjpeg, OpenCV, libpng and libtiff write.
_DECODER_MARKS = (
    "JPEG",
    "JFIF",
    "Adobe color",
    "Inconsistent progression",
    "[ WARN",
    "[ERROR",
    "libpng",
    "TIFF",
    "tempfile.tif",  # as Pillow names what it hands to libtiff
    "Decode: ",
    "samples per pixel",
    "Apparently should be",
    "StripByteCounts",
)


# Those after which the colours of the rest of a picture cannot be trusted.
_DAMAGE_MARKS = ("JPEG data", "JPEG file", "Inconsistent progression", "Decode: ", "not yet in table")


def tells_of_damage(lines: list[str]) -> bool:
    """Whether a decoder complained of the picture itself, not of its metadata."""
    return any(mark in line for line in lines for mark in _DAMAGE_MARKS)


@contextmanager
def overheard() -> Iterator[list[str]]:
    """Lines that C libraries write to standard error in the body; the list is filled at its end.

    libjpeg goes on after damage that ruins the rest of a picture and tells nobody but standard error.
    Lines that no decoder wrote (another thread's) are passed on. Python's warnings are hushed too.
    """
    lines: list[str] = []
    with _one_at_a_time, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            real = os.dup(2)
        except OSError:  # no standard error to listen at
            yield lines
            return
        try:
            with tempfile.TemporaryFile() as heard:
                if sys.stderr is not None:
                    sys.stderr.flush()
                os.dup2(heard.fileno(), 2)
                try:
                    yield lines
                finally:
                    os.dup2(real, 2)
                    heard.seek(0)
                    lines += heard.read().decode("utf-8", "replace").splitlines()
                    for line in lines:
                        if not any(mark in line for mark in _DECODER_MARKS):
                            os.write(2, f"{line}\n".encode())
        finally:
            os.close(real)
