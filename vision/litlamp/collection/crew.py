"""Worker processes that are watched: one that dies or hangs is replaced, and what it held is dealt with.

Each worker has one task at a time, so that memory does not grow with the number of tasks and a kill loses no
more than what is being read.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from typing import Any, Generic, Protocol, TypeVar

_TASK = TypeVar("_TASK")
_DONE = TypeVar("_DONE")
_GIVEN = TypeVar("_GIVEN", contravariant=True)
_MADE = TypeVar("_MADE", covariant=True)

_BEAT_EVERY = 1.0
_ENVIRONMENT = {
    "OMP_NUM_THREADS": "1",
    # Memory that glibc would keep from one picture to the next is given back: it costs no time that could be
    # measured, and a worker's memory stays where it is after the first few pictures.
    "MALLOC_ARENA_MAX": "1",
    "MALLOC_MMAP_THRESHOLD_": str(1 << 18),
    "MALLOC_TRIM_THRESHOLD_": str(1 << 20),
}
_START = 120.0  # seconds that a worker may take until it is ready, on however busy a machine
_STARTS = 3  # workers that may die before they are ready, one after the other, before the crew gives up


class CrewError(Exception):
    """The workers cannot work at all; the message is one sentence."""


class Work(Protocol[_GIVEN, _MADE]):
    """What workers do: pickled, so a frozen dataclass of a module.

    Where it has `same_here`, a worker asks that first, and cannot work if the answer is no.
    """

    def start(self) -> Callable[[_GIVEN, Callable[[], None]], _MADE]:
        """Called once in each worker; what it returns is called with a task and `beat`, its sign of life."""

    def given_up(self, task: _GIVEN, sentence: str) -> _MADE:
        """What stands for a task that no worker came back from; called in the leading process."""


@dataclass(slots=True, eq=False)
class _Worker(Generic[_TASK]):
    process: SpawnProcess
    wire: Connection
    ready: bool = False
    task: _TASK | None = None
    tries: int = 0
    heard: float = field(default_factory=time.monotonic)


@dataclass(frozen=True, slots=True)
class _Fault:
    """A worker cannot start its work, and says why."""

    sentence: str


_READY, _BEAT = "ready", "beat"


def work_off(
    tasks: Iterator[_TASK], work: Work[_TASK, _DONE], workers: int, patience: float
) -> Iterator[_DONE]:
    """What comes of each task, as it comes; closing this generator ends the workers.

    Parameters
    ----------
    workers : processes; 0 works in this one, without a watch.
    patience : seconds after which a worker of which nothing was heard is ended and its task given up. A task
        whose worker died is tried once more before it is given up.

    Raises
    ------
    CrewError : no worker can be started, or each says that it cannot work.
    """
    if workers == 0:
        do = work.start()
        for task in tasks:
            yield do(task, _no_beat)
        return
    crew: list[_Worker[_TASK]] = []
    again: list[_TASK] = []
    stillborn = 0
    exhausted = False
    try:
        while True:
            # No more workers than there are tasks to give them.
            while len(crew) < workers and not (exhausted and not again and _idle(crew)):
                if exhausted and len(crew) >= len(again) + sum(w.task is not None for w in crew):
                    break
                crew.append(_hire(work))
            for worker in crew:
                if worker.ready and worker.task is None:
                    if again:
                        task, tries = again.pop(), 1
                    else:
                        nothing = object()
                        given: Any = nothing if exhausted else next(tasks, nothing)
                        if given is nothing:
                            exhausted = True
                            continue
                        task, tries = given, 0
                    worker.task, worker.tries, worker.heard = task, tries, time.monotonic()
                    _send(worker, task)
            if exhausted and not again and all(w.task is None for w in crew):
                return
            _listen(crew, patience)
            for worker in list(crew):
                for said in _heard(worker):
                    if isinstance(said, _Fault):
                        raise CrewError(said.sentence)
                    if said == _READY:
                        worker.ready, stillborn = True, 0
                    elif said != _BEAT:
                        worker.task = None
                        yield said[0]
                allowed = patience if worker.ready else max(patience, _START)
                silent = time.monotonic() - worker.heard > allowed
                hangs = silent and (worker.task is not None or not worker.ready)
                dead = not worker.process.is_alive() or worker.wire.closed
                if not (hangs or dead):
                    continue
                held = worker.task
                how = _end(worker)
                crew.remove(worker)
                if not worker.ready:
                    stillborn += 1
                    if stillborn >= _STARTS:
                        raise CrewError(f"a worker process cannot be started ({how})")
                elif held is not None and hangs:
                    why = f"litlamp gave this source up: nothing came of it in {patience:g} s"
                    yield work.given_up(held, why)
                elif held is not None and worker.tries == 0:
                    again.append(held)
                elif held is not None:
                    yield work.given_up(held, f"reading this source ended the worker twice ({how})")
    finally:
        for worker in crew:
            _end(worker)


def _idle(crew: list[_Worker[_TASK]]) -> bool:
    return all(worker.task is None for worker in crew)


def _hire(work: Work[_TASK, object]) -> _Worker[_TASK]:
    # Spawned, not forked: onnxruntime's and OpenCV's threads do not survive a fork.
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_serve, args=(theirs, work), daemon=True)
    before = {name: os.environ.get(name) for name in _ENVIRONMENT}
    os.environ.update(_ENVIRONMENT)
    try:
        process.start()
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
    theirs.close()
    return _Worker(process, ours)


def _send(worker: _Worker[_TASK], task: _TASK) -> None:
    try:
        worker.wire.send(task)
    except OSError:  # it has just died: the watch will see that
        worker.wire.close()


def _listen(crew: list[_Worker[_TASK]], patience: float) -> None:
    until = min((w.heard + patience for w in crew if w.task is not None or not w.ready), default=0.0)
    ears: list[Any] = [w.wire for w in crew if not w.wire.closed]
    ears += [w.process.sentinel for w in crew]
    if any(w.wire.closed for w in crew):
        return
    wait(ears, timeout=max(until - time.monotonic(), 0.0) + 0.01)


def _heard(worker: _Worker[_TASK]) -> Iterator[Any]:
    try:
        while not worker.wire.closed and worker.wire.poll():
            said = worker.wire.recv()
            worker.heard = time.monotonic()
            yield said
    except (EOFError, OSError):
        worker.wire.close()


def _end(worker: _Worker[_TASK]) -> str:
    """End a worker, and say how it came to its end if it had."""
    worker.process.join(0.2 if worker.wire.closed else 0)
    code = worker.process.exitcode
    if worker.process.is_alive():
        worker.process.kill()
        worker.process.join()
    worker.wire.close()
    worker.process.close()
    if code is not None and code < 0:
        try:
            return f"ended by {signal.Signals(-code).name}"
        except ValueError:
            return f"ended by signal {-code}"
    return f"exit status {code}"


def _no_beat() -> None:
    return None


def _serve(wire: Connection, work: Work[_TASK, object]) -> None:
    """What a worker does until its leader is gone."""
    # An interrupt from the keyboard reaches every process of a terminal: the leader decides what it means.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _end_with_leader()
    last = time.monotonic()

    def beat() -> None:
        nonlocal last
        now = time.monotonic()
        if now - last >= _BEAT_EVERY:
            last = now
            wire.send(_BEAT)

    try:
        try:
            same_here = getattr(work, "same_here", None)
            if same_here is not None and not same_here():
                wire.send(_Fault("the program was changed while it was at work: its readings would differ"))
                return
            do = work.start()
        except Exception as error:
            wire.send(_Fault(" ".join(str(error).split()) or type(error).__name__))
            return
        wire.send(_READY)
        while True:
            wire.send((do(wire.recv(), beat),))
    except (EOFError, OSError):
        # The leader is gone: whatever was at work is no longer wanted.
        os._exit(0)


def _end_with_leader() -> None:
    leader = multiprocessing.parent_process()
    if leader is None:
        return

    def watch() -> None:
        wait([leader.sentinel])
        os._exit(0)

    threading.Thread(target=watch, name="leader", daemon=True).start()
