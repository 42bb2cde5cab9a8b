"""Rendered lessons without end: forked processes fill blocks of shared memory, whole batches at a time.

Nothing is pickled but block numbers, so the cost of a lesson is that of rendering it.
"""

from __future__ import annotations

import mmap
import multiprocessing
import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from data import lesson
from litlamp.scene.traced import Traced

# A pool of OpenCV's threads does not survive a fork: the children would wait for it for ever.
cv2.setNumThreads(1)

Arrays = tuple[NDArray[Any], ...]


@dataclass(frozen=True)
class Layout:
    """Shape and dtype of each part of one lesson."""

    parts: tuple[tuple[tuple[int, ...], np.dtype[Any]], ...]

    @classmethod
    def of(cls, arrays: Arrays) -> Layout:
        return cls(tuple((a.shape, a.dtype) for a in arrays))

    def views(self, memory: mmap.mmap, n: int) -> Arrays:
        """Arrays of `n` lessons in that block."""
        at, out = 0, []
        for shape, dtype in self.parts:
            count = n * int(np.prod(shape))
            out.append(np.frombuffer(memory, dtype, count, at).reshape(n, *shape))
            at += -(-count * dtype.itemsize // 64) * 64
        return tuple(out)

    def size(self, n: int) -> int:
        """Bytes of a block of `n` lessons."""
        return sum(-(-n * int(np.prod(s)) * d.itemsize // 64) * 64 for s, d in self.parts)


def _fill(
    blocks: list[Arrays],
    photos: tuple[str, ...],
    traced: tuple[Traced, ...],
    free: Any,
    ready: Any,
    first: int,
    worker: int,
    workers: int,
) -> None:
    n = len(blocks[0][0])
    turn = worker
    while True:
        block = free.get()
        for i in range(n):
            found = lesson(first + turn * n + i, photos, traced=traced)
            for part, value in zip(blocks[block], found, strict=True):
                part[i] = value
        turn += workers
        ready.put(block)


def lessons(
    first: int, photos: tuple[str, ...], workers: int, batch: int, traced: tuple[Traced, ...] = ()
) -> Iterator[Arrays]:
    """Batches of lessons from seed `first` up; every seed is used once. A batch is valid until the next."""
    os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
    # Photographs, heads and grain that the renderer keeps are read once here and shared by every child.
    for seed in range(first - 60, first):
        layout = Layout.of(tuple(np.asarray(a) for a in lesson(seed, photos, traced=traced)))
    blocks = [layout.views(mmap.mmap(-1, layout.size(batch)), batch) for _ in range(2 * workers + 4)]
    way = multiprocessing.get_context("fork")
    free, ready = way.SimpleQueue(), way.SimpleQueue()
    for i in range(len(blocks)):
        free.put(i)
    for worker in range(workers):
        way.Process(
            target=_fill, args=(blocks, photos, traced, free, ready, first, worker, workers), daemon=True
        ).start()
    while True:
        block = ready.get()
        yield blocks[block]
        free.put(block)
