"""Pieces of one picture's work done side by side, where the caller may use more than one processor."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from typing import ParamSpec, TypeVar

import cv2

P = ParamSpec("P")
T = TypeVar("T")


@contextlib.contextmanager
def workers(count: int) -> Iterator[Executor]:
    """Who does work that is handed over in the body. One worker is the caller itself."""
    if count == 1:
        yield AtOnce()
        return
    with one_thread(), ThreadPoolExecutor(count, thread_name_prefix="sight") as others:
        yield others


class AtOnce(Executor):
    """Does all work where and when it is handed over."""

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Do it now; what it raises is raised by the future, as from any other worker."""
        done: Future[T] = Future()
        try:
            done.set_result(fn(*args, **kwargs))
        except Exception as error:
            done.set_exception(error)
        return done


@contextlib.contextmanager
def one_thread() -> Iterator[None]:
    """OpenCV without threads of its own: the work here is small, and others have use for the processors."""
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(before)
