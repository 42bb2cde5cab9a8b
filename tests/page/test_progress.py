from __future__ import annotations

import os
import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.page.practise import chosen
from litlamp.page.progress import REST, Progress, Try, after
from litlamp.page.store import Store, StoreError


def tried(item: str, at: float, step: str | None = None, side: str = "same") -> Try:
    return Try(at, item, "drawn", "411", "405", step, side)


@pytest.fixture
def progress(tmp_path: Path) -> Progress:
    return Progress(Store(tmp_path))


def test_what_was_missed_comes_again_soon_and_what_is_known_later_and_later(progress: Progress) -> None:
    progress.note(tried("a", 1000.0, "plate", "wrong"))
    progress.note(tried("b", 1000.0))
    assert progress.due(1000.0 + REST[0] - 1) == ()
    assert [d.item for d in progress.due(1000.0 + REST[0])] == ["a"]
    assert [d.item for d in progress.due(1000.0 + REST[1])] == ["a", "b"]
    progress.note(tried("a", 2000.0))
    assert [d.item for d in progress.due(2000.0 + REST[1])] == ["b", "a"]


@given(st.lists(st.booleans(), max_size=30))
def test_boxes_rise_by_one_and_fall_to_the_first(answers: list[bool]) -> None:
    box: int | None = None
    for right in answers:
        was = box
        box, at = after(box, right, 0.0)
        assert at == REST[box]
        if right:
            assert box == (1 if was is None else min(was + 1, len(REST) - 1))
        else:
            assert box == 0


def test_the_sums(progress: Progress) -> None:
    for item, step, side in (
        ("a", "plate", "wrong"),
        ("b", None, "same"),
        ("c", "plate", "right"),
        ("a", "flash", "wrong"),
    ):
        progress.note(tried(item, 1.0, step, side))
    sums = progress.sums(now=10.0)
    assert (sums.tries, sums.right, sums.wrong_side) == (4, 1, 2)
    assert sums.steps == (("plate", 2), ("flash", 1))
    assert (sums.due, sums.waiting) == (0, 3)
    assert progress.weak() == {"plate": 2, "flash": 1}
    assert [t.item for t in progress.last(2)] == ["a", "c"]


def test_it_is_exported_and_erased(progress: Progress, tmp_path: Path) -> None:
    progress.note(tried("a most telling item", 1.0, "rule"))
    data = progress.export()
    assert data["tries"][0]["step"] == "rule" and data["due"][0]["item"] == "a most telling item"
    progress.erase()
    assert progress.sums().tries == 0 and progress.due(1e12) == ()
    assert b"most telling" not in (tmp_path / "litlamp.sqlite3").read_bytes()


def test_what_is_due_is_asked_first_and_nothing_twice_running() -> None:
    rng = random.Random(3)
    items = ["a", "b", "c"]
    assert chosen(items, ["x", "c", "a"], frozenset(items), {}, None, rng) == "c"
    assert chosen(items, ["c"], frozenset(items), {}, "c", rng) != "c"
    assert chosen(["a"], [], frozenset(), {}, "a", rng) == "a"
    assert chosen([], ["a"], frozenset(), {}, None, rng) is None


def test_weak_steps_are_asked_more_often() -> None:
    rng = random.Random(5)
    items = ["single red, A plate", "yellow over red"]
    plain = [chosen(items, [], frozenset(), {}, None, rng) for _ in range(2000)].count(items[0])
    weak = [chosen(items, [], frozenset(), {"plate": 5}, None, rng) for _ in range(2000)].count(items[0])
    assert weak > plain + 300


def test_the_file_is_private_and_faults_are_one_sentence(tmp_path: Path) -> None:
    store = Store(tmp_path / "own")
    if os.name == "posix":
        assert store.path.stat().st_mode & 0o077 == 0
    store.path.write_bytes(b"this is no database, but long enough to be taken for something" * 20)
    with pytest.raises(StoreError, match="cannot be used"):
        Store(tmp_path / "own")
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreError, match="cannot be used"):
        Store(tmp_path / "file")


def test_a_later_file_is_left_alone(tmp_path: Path) -> None:
    store = Store(tmp_path)
    with store.use() as base:
        base.execute("PRAGMA user_version = 99")
    with pytest.raises(StoreError, match="later litlamp"):
        Store(tmp_path)
