"""Decoding goes on while earlier frames are looked at: a thread of its own, some frames ahead."""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Iterable, Iterator
from typing import Generic, TypeVar

T = TypeVar("T")

DEPTH = 8
"""Items held ready at most, if nothing else is asked: decoding goes on through one look of the networks."""
ROOM, DEEPEST = 100_000_000, 32
"""Bytes of frames that may be held ready beyond DEPTH of them, and how many at most: the looks at the first
frame of a clip take as long as decoding so many."""


def frames_ready(size: tuple[int, int]) -> int:
    """How many frames of that size, width and height in px, are to be held ready at most."""
    return min(max(2 * ROOM // (3 * size[0] * size[1]), DEPTH), DEEPEST)


class _End:
    """The last thing in the queue: what ended the iteration, or None."""

    def __init__(self, error: BaseException | None) -> None:
        self.error = error


class Ahead(Iterator[T], Generic[T]):
    """The same items in the same order, fetched by another thread, which begins at once.

    What it raises is raised here. Whoever stops early closes this, which waits for the thread to stop.
    """

    def __init__(self, items: Iterable[T], depth: int = DEPTH) -> None:
        self._items = items
        self._ready: queue.Queue[T | _End] = queue.Queue(depth)
        self._stop = threading.Event()
        self._worker = threading.Thread(target=self._fetch, name="decoding", daemon=True)
        self._worker.start()

    def __next__(self) -> T:
        if self._stop.is_set():
            raise StopIteration
        item = self._ready.get()
        if not isinstance(item, _End):
            return item
        self.close()
        if item.error is not None:
            raise item.error
        raise StopIteration

    def close(self) -> None:
        """Fetch nothing more, and let go of what was fetched."""
        self._stop.set()
        self._worker.join()
        with contextlib.suppress(queue.Empty):
            while True:
                self._ready.get_nowait()

    def _put(self, item: T | _End) -> None:
        while not self._stop.is_set():
            with contextlib.suppress(queue.Full):
                self._ready.put(item, timeout=0.1)
                return

    def _fetch(self) -> None:
        end: BaseException | None = None
        try:
            for item in self._items:
                self._put(item)
                if self._stop.is_set():
                    return
        except BaseException as error:
            end = error
        self._put(_End(end))


def ahead(items: Iterable[T], depth: int = DEPTH) -> Ahead[T]:
    """The same items in the same order, fetched by another thread; see `Ahead`."""
    return Ahead(items, depth)
