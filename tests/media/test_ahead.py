from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.media.ahead import DEEPEST, DEPTH, ROOM, ahead, frames_ready


@given(st.lists(st.integers(), max_size=40), st.integers(1, 5))
def test_the_same_items_in_the_same_order(items: list[int], depth: int) -> None:
    assert list(ahead(items, depth)) == items


def test_what_is_raised_there_is_raised_here_after_what_came_before() -> None:
    def broken() -> Iterator[int]:
        yield 1
        yield 2
        raise ValueError("reading broke off")

    got = []
    with pytest.raises(ValueError, match="broke off"):
        for item in ahead(broken()):
            got.append(item)
    assert got == [1, 2]


def test_it_runs_ahead_by_no_more_than_its_depth() -> None:
    fetched = []

    def items() -> Iterator[int]:
        for i in range(100):
            fetched.append(i)
            yield i

    given_out = ahead(items(), 3)
    assert next(given_out) == 0
    time.sleep(0.2)
    assert 3 <= len(fetched) <= 6
    given_out.close()


def test_closing_early_stops_the_thread() -> None:
    def endless() -> Iterator[int]:
        while True:
            yield 0

    before = threading.active_count()
    given_out = ahead(endless(), 2)
    next(given_out)
    assert threading.active_count() == before + 1
    given_out.close()
    assert threading.active_count() == before


def test_it_begins_before_anything_is_asked_of_it() -> None:
    begun = threading.Event()

    def items() -> Iterator[int]:
        begun.set()
        yield 1

    given_out = ahead(items())
    assert begun.wait(5)
    assert list(given_out) == [1]
    assert list(given_out) == []


def test_what_was_never_asked_for_can_be_closed_and_is_let_go() -> None:
    before = threading.active_count()
    given_out = ahead(iter(range(1000)), 4)
    given_out.close()
    assert threading.active_count() == before
    assert list(given_out) == []


@given(st.integers(16, 8192), st.integers(16, 8192))
def test_frames_held_ready_take_no_more_room_than_is_allowed(width: int, height: int) -> None:
    ready = frames_ready((width, height))
    assert DEPTH <= ready <= DEEPEST
    assert ready == DEPTH or ready * width * height * 3 / 2 <= ROOM
