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

    def places(self, n: int) -> tuple[slice, ...]:
        """Which bytes of a block of `n` lessons each part fills."""
        at, out = 0, []
        for shape, dtype in self.parts:
            long = n * int(np.prod(shape)) * dtype.itemsize
            out.append(slice(at, at + long))
            at += -(-long // 64) * 64
        return tuple(out)

    def views(self, block: NDArray[np.uint8], n: int) -> Arrays:
        """Arrays of the `n` lessons in that block of bytes."""
        return tuple(
            block[place].view(dtype).reshape(n, *shape)
            for place, (shape, dtype) in zip(self.places(n), self.parts, strict=True)
        )

    def size(self, n: int) -> int:
        """Bytes of a block of `n` lessons."""
        return -(-self.places(n)[-1].stop // 64) * 64


def _fill(
    blocks: list[Arrays],
    photos: tuple[str, ...],
    traced: tuple[Traced, ...],
    shares: tuple[float, float],
    free: Any,
    ready: Any,
    first: int,
    worker: int,
    workers: int,
) -> None:
    n, (stands, lines) = len(blocks[0][0]), shares
    turn = worker
    while True:
        block = free.get()
        for i in range(n):
            found = lesson(first + turn * n + i, photos, traced=traced, stands=stands, lines=lines)
            for part, value in zip(blocks[block], found, strict=True):
                part[i] = value
        turn += workers
        ready.put(block)


@dataclass(frozen=True)
class Stream:
    """Blocks of `n` lessons each: how they are laid out, the memory they are made in, and how to take them.

    `taken` hands out every block as bytes, valid until the next is asked for.
    """

    layout: Layout
    n: int
    blocks: tuple[NDArray[np.uint8], ...]
    taken: Iterator[NDArray[np.uint8]]


def lessons(
    first: int,
    photos: tuple[str, ...],
    workers: int,
    n: int,
    traced: tuple[Traced, ...] = (),
    stands: float = 0.0,
    lines: float = 0.0,
) -> Stream:
    """Lessons from seed `first` up, in blocks of `n`; every seed is used once. Forks `workers` processes.

    `stands` and `lines` are shares of pictures, as of `data.lesson`.
    """
    os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
    # Photographs, heads and grain that the renderer keeps are read once here and shared by every child.
    for seed in range(first - 60, first):
        layout = Layout.of(tuple(np.asarray(a) for a in lesson(seed, photos, traced=traced, stands=stands)))
    # Anonymous memory that the children write and this process reads.
    size = layout.size(n)
    blocks = tuple(np.frombuffer(mmap.mmap(-1, size), np.uint8) for _ in range(2 * workers + 4))
    views = [layout.views(block, n) for block in blocks]
    way = multiprocessing.get_context("fork")
    free, ready = way.SimpleQueue(), way.SimpleQueue()
    for i in range(len(blocks)):
        free.put(i)
    for worker in range(workers):
        way.Process(
            target=_fill,
            args=(views, photos, traced, (stands, lines), free, ready, first, worker, workers),
            daemon=True,
        ).start()

    def taken() -> Iterator[NDArray[np.uint8]]:
        while True:
            at = ready.get()
            yield blocks[at]
            free.put(at)

    return Stream(layout, n, blocks, taken())
