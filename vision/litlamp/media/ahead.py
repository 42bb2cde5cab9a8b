"""Decoding goes on while earlier frames are looked at: a thread of its own, a few frames ahead."""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Generator, Iterable
from typing import TypeVar

T = TypeVar("T")

DEPTH = 8
"""Items held ready at most: enough to decode on through one look of the networks."""


class _End:
    """The last thing in the queue: what ended the iteration, or None."""

    def __init__(self, error: BaseException | None) -> None:
        self.error = error


def ahead(items: Iterable[T], depth: int = DEPTH) -> Generator[T]:
    """The same items in the same order, fetched by another thread; what it raises is raised here.

    Whoever stops early closes this iterator, which waits for the thread to stop fetching.
    """
    ready: queue.Queue[T | _End] = queue.Queue(depth)
    stop = threading.Event()

    def put(item: T | _End) -> bool:
        while not stop.is_set():
            with contextlib.suppress(queue.Full):
                ready.put(item, timeout=0.1)
                return True
        return False

    def fetch() -> None:
        end: BaseException | None = None
        try:
            for item in items:
                if not put(item):
                    return
        except BaseException as error:
            end = error
        put(_End(end))

    worker = threading.Thread(target=fetch, name="decoding", daemon=True)
    worker.start()
    try:
        while True:
            item = ready.get()
            if isinstance(item, _End):
                if item.error is not None:
                    raise item.error
                return
            yield item
    finally:
        stop.set()
        worker.join()
