"""The work of a collection handed to a running Dask cluster: more than one machine, the same bytes.

The leading process keeps the books, as it does for workers of its own; a worker that dies is the scheduler's
to replace, and its source is read by another.
"""

from __future__ import annotations

import itertools
import pickle
import threading
import time
from collections.abc import Iterator
from typing import Any

from litlamp.collection.crew import CrewError, Work
from litlamp.collection.label import PATIENCE, Workers
from litlamp.collection.reading_work import Done, Task

_AHEAD = 2  # sources handed out for each thread of the cluster, so that none waits for the next


def cluster(address: str, patience: float = PATIENCE, wait: float = 10.0) -> Workers:
    """The workers of the Dask scheduler at this address, "tcp://host:8786".

    It is waited for so many seconds. Every machine must have the same litlamp installed, and reach the
    sources by the same paths.
    """

    def at_work(tasks: Iterator[Task], work: Work[Task, Done]) -> Iterator[Done]:
        return hand_out(tasks, work, address, patience, wait)

    return at_work


def hand_out(
    tasks: Iterator[Task], work: Work[Task, Done], address: str, patience: float, wait: float
) -> Iterator[Done]:
    """What comes of each task, as it comes.

    Raises
    ------
    CrewError : there is no scheduler or no worker there, or a worker has another litlamp installed.
    """
    try:
        import distributed
    except ImportError as error:
        raise CrewError("a cluster needs Dask: pip install 'litlamp[cluster]'") from error
    dask: Any = distributed  # which says nothing of its types
    try:
        client = dask.Client(address, timeout=wait, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise CrewError(f"no scheduler answers at {address}") from error
    packed = pickle.dumps(work)
    running: dict[Any, Task] = {}
    try:
        threads = sum(client.nthreads().values())
        if threads == 0:
            raise CrewError(f"the cluster at {address} has no workers")

        def submit(task: Task) -> Any:
            future = client.submit(_remote, task, packed, patience, pure=False)
            running[future] = task
            return future

        results = dask.as_completed(loop=client.loop)
        for task in itertools.islice(tasks, _AHEAD * threads):
            results.add(submit(task))
        for future in results:
            task = running.pop(future)
            fault = future.exception()
            if fault is not None:
                yield work.given_up(task, _why(fault))
            else:
                told, done = future.result()
                if told is not None:
                    raise CrewError(told)
                yield done
            future.release()
            following = next(tasks, None)
            if following is not None:
                results.add(submit(following))
    finally:
        for future in running:
            future.cancel()
        client.close()


def _why(error: BaseException) -> str:
    if type(error).__name__ == "KilledWorker":
        return "reading this source ended every worker that tried it"
    what = f"{type(error).__module__}.{type(error).__qualname__}".removeprefix("builtins.")
    return f"litlamp failed on this source ({what}); please report it"


def _remote(task: Task, packed: bytes, patience: float) -> tuple[str | None, Done | None]:
    """Read one source on a worker: a sentence if it cannot work at all, or what came of it."""
    work: Work[Task, Done] = pickle.loads(packed)
    check = getattr(work, "same_here", None)
    if check is not None and not check():
        return (
            "a worker of the cluster has another litlamp, other networks or other libraries installed",
            None,
        )
    heard = time.monotonic()

    def beat() -> None:
        nonlocal heard
        heard = time.monotonic()

    answer: list[Done] = []
    fault: list[BaseException] = []

    def read() -> None:
        try:
            answer.append(work.start()(task, beat))
        except BaseException as error:
            fault.append(error)

    # A thread of a cluster's worker cannot be ended: one that hangs is left behind, and the others go on.
    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    while thread.is_alive():
        thread.join(0.2)
        if thread.is_alive() and time.monotonic() - heard > patience:
            sentence = f"litlamp gave this source up: nothing came of it in {patience:g} s"
            return None, work.given_up(task, sentence)
    if fault:
        return " ".join(str(fault[0]).split()) or type(fault[0]).__name__, None
    return None, answer[0]
