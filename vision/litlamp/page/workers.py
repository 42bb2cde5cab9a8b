"""The workers: a few processes that read and draw, one bounded queue before them, and an end to patience.

A decoder of untrusted bytes may hang, crash or eat memory. So such work is done in processes of their own:
one that takes too long is ended and another takes its place; the job that it held has failed, the others go
on.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any

_BREATH = 0.2  # seconds between two looks at whether the pool is to close


class Full(Exception):
    """More jobs wait than may; come again."""


class Failed(Exception):
    """A job has failed; the message is one sentence for a person."""


@dataclass(slots=True)
class Job:
    """One call of a task in a worker.

    `done` gets what the task returned, or `Failed`. `share` is how much is done as far as the task tells, 0
    to 1. `began` is when a worker took it, on the monotonic clock.
    """

    task: Callable[..., Any]
    arguments: tuple[Any, ...]
    seconds: float
    done: Future[Any] = field(default_factory=Future)
    share: float = 0.0
    began: float | None = None
    after: Callable[[], None] | None = None


class WorkerPool:
    """`count` processes behind one queue of at most `waiting` jobs.

    Processes start with the first job, or with `warm`; `close` ends them and fails what still waits.
    """

    def __init__(self, count: int, waiting: int, worker_bytes: int) -> None:
        self._waiting = waiting
        self._bytes = worker_bytes
        self._queue: deque[Job] = deque()
        self._changed = threading.Condition()
        self._closed = False
        self._usual = 0.5  # seconds that a job takes, as far as it is known
        self._threads = [threading.Thread(target=self._lead, daemon=True) for _ in range(count)]
        for thread in self._threads:
            thread.start()

    @property
    def waiting(self) -> int:
        """Jobs that wait for a worker."""
        return len(self._queue)

    @property
    def come_again(self) -> int:
        """Whole seconds after which half of what waits now should be done: 2 to 30."""
        return round(min(max(len(self._queue) * self._usual / len(self._threads) / 2, 2), 30))

    @property
    def full(self) -> bool:
        """Whether another job would be turned away."""
        return len(self._queue) >= self._waiting

    def submit(
        self,
        task: Callable[..., Any],
        *arguments: Any,
        seconds: float,
        after: Callable[[], None] | None = None,
    ) -> Job:
        """Queue a call of `task(told, *arguments)`; `after` is called when it is over, however it ended.

        `task` and all it takes and returns must be picklable; `told` takes the share done. Raises Full.
        """
        job = Job(task, arguments, seconds, after=after)
        with self._changed:
            if self._closed or len(self._queue) >= self._waiting:
                raise Full
            self._queue.append(job)
            self._changed.notify()
        return job

    def place(self, job: Job) -> int:
        """How many jobs are before it in the queue; 0 where it is being done or is over."""
        with self._changed:
            return self._queue.index(job) + 1 if job in self._queue else 0

    def close(self) -> None:
        """End the processes; every job that still waits fails."""
        with self._changed:
            self._closed = True
            left = list(self._queue)
            self._queue.clear()
            self._changed.notify_all()
        for job in left:
            _over(job, Failed("The page is closing."))
        for thread in self._threads:
            thread.join(5)

    def _lead(self) -> None:
        """One thread's life: it owns one process and hands it a job at a time."""
        worker: _Worker | None = None
        while True:
            with self._changed:
                while not self._queue and not self._closed:
                    self._changed.wait()
                if self._closed:
                    break
                job = self._queue.popleft()
            if worker is None or not worker.process.is_alive():
                worker = _Worker.start(self._bytes)
            job.began = time.monotonic()
            worker = self._do(worker, job)
            self._usual += 0.2 * (time.monotonic() - job.began - self._usual)
        if worker is not None:
            worker.end()

    def _do(self, worker: _Worker, job: Job) -> _Worker | None:
        """Do one job; the worker, or None where it was ended."""
        until = time.monotonic() + job.seconds
        try:
            worker.pipe.send((job.task, job.arguments))
            kind, value = "share", 0.0
            while kind == "share":
                job.share = float(value)
                while not worker.pipe.poll(_BREATH):
                    if self._closed:
                        raise Failed("The page is closing.")
                    if time.monotonic() > until:
                        raise Failed(f"This took longer than {job.seconds:.0f} seconds and was given up.")
                kind, value = worker.pipe.recv()
        except Failed as failure:
            worker.end()
            _over(job, failure)
            return None
        except (EOFError, OSError):
            worker.end()
            _over(job, Failed("The program that reads stopped at this file; nothing else was lost."))
            return None
        _over(job, Failed(value) if kind == "failed" else value)
        return worker


@dataclass(slots=True)
class _Worker:
    process: SpawnProcess
    pipe: Connection

    @classmethod
    def start(cls, worker_bytes: int) -> _Worker:
        # Spawned, not forked: threads and OpenCV's pool do not survive a fork.
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(target=_work, args=(theirs, worker_bytes), daemon=True)
        process.start()
        theirs.close()
        return cls(process, ours)

    def end(self) -> None:
        with contextlib.suppress(OSError):
            self.pipe.close()
        self.process.kill()
        self.process.join(5)


def _over(job: Job, result: object) -> None:
    if job.after is not None:
        job.after()
    if isinstance(result, Failed):
        job.done.set_exception(result)
    else:
        job.done.set_result(result)


def _work(pipe: Connection, worker_bytes: int) -> None:
    """The life of one process: take a job, do it, say what came of it."""
    import signal

    # The terminal's interrupt goes to the whole group; the server decides when a worker ends.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _bound_memory(worker_bytes)

    def told(share: float) -> None:
        pipe.send(("share", share))

    while True:
        try:
            task, arguments = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            answer = ("done", task(told, *arguments))
        except Failed as failure:
            answer = ("failed", str(failure))
        except MemoryError:
            answer = ("failed", "There is not enough memory for this.")
        except Exception as error:
            # What a worker trips over must not end it, and a person is told no more than its kind.
            answer = ("failed", f"litlamp failed on this ({type(error).__name__}); please report it.")
        try:
            pipe.send(answer)
        except (BrokenPipeError, OSError):
            return


def _bound_memory(worker_bytes: int) -> None:
    try:
        import resource
    except ImportError:  # a system without it
        return
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (worker_bytes, worker_bytes))
