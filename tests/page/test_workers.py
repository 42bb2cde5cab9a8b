from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from litlamp.page.workers import Failed, Full, WorkerPool


def double(told: Callable[[float], None], value: int) -> int:
    told(0.5)
    return 2 * value


def sleep(told: Callable[[float], None], seconds: float) -> None:
    time.sleep(seconds)


def die(told: Callable[[float], None]) -> None:
    os._exit(3)


def fail(told: Callable[[float], None]) -> None:
    raise Failed("It is no picture.")


def trip(told: Callable[[float], None]) -> None:
    raise KeyError("secret")


def swallow(told: Callable[[float], None]) -> int:
    return len(bytearray(3_000_000_000))


@pytest.fixture
def pool(root: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[WorkerPool]:
    monkeypatch.syspath_prepend(root)  # so that a worker finds the tasks above
    made = WorkerPool(1, 3, 2_000_000_000)
    yield made
    made.close()


def test_a_job_is_done_and_tells_how_far(pool: WorkerPool) -> None:
    job = pool.submit(double, 21, seconds=30)
    assert job.done.result(30) == 42
    assert job.share == 0.5


def test_a_job_that_takes_too_long_is_ended_and_the_next_is_done(pool: WorkerPool) -> None:
    over = []
    slow = pool.submit(sleep, 60.0, seconds=1.0, after=lambda: over.append(1))
    quick = pool.submit(double, 1, seconds=30)
    with pytest.raises(Failed, match="longer than 1 seconds"):
        slow.done.result(20)
    assert quick.done.result(30) == 2
    assert over == [1]


@pytest.mark.parametrize(
    ("task", "words"),
    [(die, "stopped at this file"), (fail, "no picture"), (trip, "KeyError"), (swallow, "memory")],
)
def test_whatever_becomes_of_a_job_the_next_is_done(
    pool: WorkerPool, task: Callable[..., object], words: str
) -> None:
    bad = pool.submit(task, seconds=30)
    good = pool.submit(double, 4, seconds=30)
    with pytest.raises(Failed, match=words) as said:
        bad.done.result(30)
    assert "secret" not in str(said.value)
    assert good.done.result(30) == 8


def test_the_queue_has_an_end(pool: WorkerPool) -> None:
    first = pool.submit(sleep, 1.0, seconds=30)
    while first.began is None:
        time.sleep(0.01)
    waiting = [pool.submit(double, i, seconds=30) for i in range(3)]
    with pytest.raises(Full):
        pool.submit(double, 9, seconds=30)
    assert [pool.place(job) for job in waiting] == [1, 2, 3]
    assert pool.full and 2 <= pool.come_again <= 30
    assert [job.done.result(30) for job in waiting] == [0, 2, 4]


def test_closing_fails_what_waits() -> None:
    made = WorkerPool(1, 3, 2_000_000_000)
    jobs = [made.submit(sleep, 30.0, seconds=60) for _ in range(3)]
    made.close()
    for job in jobs:
        with pytest.raises(Failed, match="closing"):
            job.done.result(5)
    with pytest.raises(Full):
        made.submit(double, 1, seconds=1)
