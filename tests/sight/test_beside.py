"""Work handed over is done once, gives back what it made or raised, and leaves OpenCV as it was."""

from __future__ import annotations

import threading

import cv2
import pytest

from litlamp.sight.beside import workers


@pytest.mark.parametrize("count", [1, 2])
def test_work_comes_back_in_the_order_it_was_handed_over(count):
    with workers(count) as others:
        asked = [others.submit(pow, n, 2) for n in range(40)]
    assert [future.result() for future in asked] == [n * n for n in range(40)]


@pytest.mark.parametrize("count", [1, 2])
def test_what_the_work_raises_is_raised_where_it_is_asked_for(count):
    with workers(count) as others:
        asked = others.submit(int, "no number")
        with pytest.raises(ValueError, match="no number"):
            asked.result()


def test_two_work_at_the_same_time():
    both = threading.Barrier(2, timeout=20)
    with workers(2) as others:
        asked = [others.submit(both.wait) for _ in range(2)]
        assert sorted(future.result() for future in asked) == [0, 1]


def test_one_worker_is_the_caller_itself():
    with workers(1) as others:
        assert others.submit(threading.get_ident).result() == threading.get_ident()


@pytest.mark.parametrize("count", [1, 2])
def test_opencv_has_its_threads_back_afterwards(count):
    before = cv2.getNumThreads()
    try:
        cv2.setNumThreads(2)
        with pytest.raises(KeyError), workers(count):
            raise KeyError
        assert cv2.getNumThreads() == 2
    finally:
        cv2.setNumThreads(before)
