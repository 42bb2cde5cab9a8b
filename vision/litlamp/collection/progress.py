"""One line on a terminal that tells how far a long run is."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TextIO

from litlamp.collection.run_folder import Counts

_EVERY = 0.2
_BAR = 20


class ProgressLine:
    """Written over itself while it is told; nothing where no terminal is."""

    def __init__(
        self,
        stream: TextIO | None = None,
        now: Callable[[], float] = time.monotonic,
        shown: bool | None = None,
    ) -> None:
        self._stream = stream or sys.stderr
        self._now = now
        self._shown = self._stream.isatty() if shown is None else shown
        self._began = now()
        self._first: int | None = None
        self._next = 0.0

    def __call__(self, counts: Counts, listed: int) -> None:
        """Tell how far it is: as `told` of `litlamp.collection.label.label`."""
        now = self._now()
        if self._first is None:
            self._first = counts.done
        if not self._shown or (now < self._next and counts.done < listed):
            return
        self._next = now + _EVERY
        done = counts.done - self._first
        self._stream.write(f"\r\x1b[K{progress_words(counts, listed, done, now - self._began)}")
        self._stream.flush()

    def __enter__(self) -> ProgressLine:
        return self

    def __exit__(self, *_: object) -> None:
        if self._shown and self._first is not None:
            self._stream.write("\n")
            self._stream.flush()


def progress_words(counts: Counts, listed: int, done: int, seconds: float) -> str:
    """How far a run is, of which `done` sources took the last `seconds`."""
    share = counts.done / max(listed, 1)
    full = int(_BAR * share)
    rate = done / seconds if seconds > 0 else 0.0
    words = [
        f"[{'#' * full}{'.' * (_BAR - full)}] {counts.done:,} of {listed:,}",
        f"{rate:.1f} a second" if rate >= 1 or not rate else f"{60 * rate:.1f} a minute",
    ]
    if rate and counts.done < listed:
        words.append(f"{duration((listed - counts.done) / rate)} left")
    words.append(f"{counts.read:,} read, {counts.none:,} no signal, {counts.failed:,} failed")
    return "  ".join(words)


def duration(seconds: float) -> str:
    """In the two units that matter: "3 h 20 min", "4 min 05 s", "12 s"."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02} min"
