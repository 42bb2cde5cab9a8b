from __future__ import annotations

import json
import os
import random
import resource
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.aspects.rulebook import load_book
from litlamp.collection import label as labelling
from litlamp.collection.label import Asked, LabelError, crew, label
from litlamp.collection.run_folder import Counts

HERE = Path(__file__).parent
STUB = HERE / "stub" / "label_stub.py"
sys.path.insert(0, str(STUB.parent))
sys.path.insert(0, str(HERE.parent / "bench"))

import kill_label  # noqa: E402
import label_stub  # noqa: E402

posix = pytest.mark.skipif(os.name != "posix", reason="signals and limits of POSIX")


@pytest.fixture
def made_by(monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    by = {"litlamp": "stub", "level": "0.99"}
    monkeypatch.setattr(labelling, "made_by", lambda *_: dict(by))
    return by


def files(folder: Path, *names: str) -> Path:
    folder.mkdir(exist_ok=True)
    for name in names:
        (folder / name).write_bytes(name.encode())
    return folder


def labelled(
    source: Path | str, to: Path, workers: int = 0, patience: float = 60.0, **more: Any
) -> list[Any]:
    label(
        [str(source)],
        to,
        Asked(load_book()),
        workers=crew(workers, patience),
        work=label_stub.work,
        **more,
    )
    return [json.loads(line) for line in (to / "readings.jsonl").read_bytes().splitlines()]


def names(lines: list[Any]) -> list[str]:
    return [Path(line["source"]).name for line in lines]


# -- in order, and whatever happens ------------------------------------------------------------------------


def test_readings_come_in_the_order_of_the_list_whoever_is_done_first(tmp_path: Path, made_by: Any) -> None:
    folder = files(tmp_path / "in", *(f"{i:03}.jpg" for i in range(60)))
    lines = labelled(folder, tmp_path / "out", workers=2)
    assert names(lines) == sorted(p.name for p in folder.iterdir())
    alone = labelled(folder, tmp_path / "alone", workers=0)
    assert lines == alone


def test_a_worker_that_dies_or_hangs_costs_one_file(
    tmp_path: Path, made_by: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    marks = tmp_path / "marks"
    marks.mkdir()
    monkeypatch.setenv("STUB_MARKS", str(marks))
    folder = files(tmp_path / "in", "a.jpg", "die.jpg", "hang.jpg", "once.jpg", "slow.jpg", "z.jpg")
    lines = {Path(x["source"]).name: x["what"] for x in labelled(folder, tmp_path / "out", 2, patience=4)}
    assert "ended the worker twice (exit status 7)" in lines["die.jpg"]
    assert "nothing came of it in 4 s" in lines["hang.jpg"]
    # Tried again in another worker, or slow but giving signs of life: read like any other.
    assert all(len(lines[name]) == 512 for name in ("a.jpg", "once.jpg", "slow.jpg", "z.jpg"))
    assert (marks / "once.jpg").exists()


# -- stopped and gone on with ------------------------------------------------------------------------------


@posix
def test_killed_at_random_moments_the_bytes_are_those_of_a_run_left_alone(tmp_path: Path) -> None:
    folder = files(tmp_path / "in", *(f"{i:03}.jpg" for i in range(100)))
    at_work, again, rounds = kill_label.kill_often(folder, tmp_path, 4, 1, random.Random(5))
    assert len(at_work) == 4
    assert rounds >= 1
    assert again == 0


def test_what_is_done_is_not_read_again(tmp_path: Path, made_by: Any) -> None:
    folder = files(tmp_path / "in", "a.jpg", "b.jpg")
    told: list[tuple[int, int]] = []

    def tell(counts: Counts, listed: int) -> None:
        told.append((counts.done, listed))

    before = labelled(folder, tmp_path / "out", told=tell)
    assert told == [(0, 2), (1, 2), (2, 2)]
    told.clear()
    files(folder, "aa.jpg")
    # A source found later goes to the end of the list.
    assert names(labelled(folder, tmp_path / "out", told=tell)) == ["a.jpg", "b.jpg", "aa.jpg"]
    assert told == [(2, 3), (3, 3)]
    assert labelled(folder, tmp_path / "out", told=tell)[:2] == before


def test_a_file_that_changed_is_read_again_and_one_that_vanished_keeps_its_reading(
    tmp_path: Path, made_by: Any
) -> None:
    folder = files(tmp_path / "in", "a.jpg", "b.jpg", "c.jpg")
    before = labelled(folder, tmp_path / "out")
    (folder / "a.jpg").write_bytes(b"something longer than before")
    (folder / "b.jpg").unlink()
    after = labelled(folder, tmp_path / "out")
    assert names(after) == names(before)
    assert [x != y for x, y in zip(after, before, strict=True)] == [True, False, False]


def test_what_failed_is_tried_again_when_asked_or_when_it_is_there_at_last(
    tmp_path: Path, made_by: Any
) -> None:
    late = tmp_path / "late.jpg"
    (line,) = labelled(late, tmp_path / "out")
    assert line["what"] == "there is no such file"
    late.write_bytes(b"here")
    (line,) = labelled(late, tmp_path / "out")
    assert len(line["what"]) == 512
    told: list[int] = []
    late.unlink()
    (tmp_path / "other").mkdir()
    labelled(late, tmp_path / "other")
    labelled(late, tmp_path / "other", again_failed=True, told=lambda counts, _: told.append(counts.done))
    assert told == [0, 1]


@pytest.mark.parametrize("damage", [b"", b"{}\n", b'{"source": "half'])
def test_damaged_readings_are_made_good_from_the_journal(tmp_path: Path, made_by: Any, damage: bytes) -> None:
    folder = files(tmp_path / "in", *"abc")
    for name in "abc":
        (folder / name).rename(folder / f"{name}.jpg")
    labelled(folder, tmp_path / "out")
    file = tmp_path / "out" / "readings.jsonl"
    whole = file.read_bytes()
    file.write_bytes(whole[: len(whole) // 2] + damage)
    labelled(folder, tmp_path / "out")
    assert file.read_bytes() == whole


def _size(file: Path) -> int:
    return file.stat().st_size if file.exists() else 0


_THREE = st.tuples(st.booleans(), st.booleans(), st.booleans())


@given(st.data())
@settings(max_examples=40, deadline=None)
def test_whatever_a_stop_leaves_of_the_files_the_bytes_become_the_same(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    scratch = tmp_path_factory.mktemp("cut")
    folder = files(scratch / "in", *(f"{i}.jpg" for i in range(4)))
    to = scratch / "out"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(labelling, "made_by", lambda *_: {"litlamp": "stub"})
        labelled(folder, to)
        whole = {
            name: (to / name).read_bytes() for name in ("journal.jsonl", "readings.jsonl", "sources.jsonl")
        }
        # Nothing is written before what it rests on: the list, then the journal, then the readings.
        journal = round(data.draw(st.floats(0, 1)) * len(whole["journal.jsonl"]))
        (to / "journal.jsonl").write_bytes(whole["journal.jsonl"][:journal])
        readings = round(data.draw(st.floats(0, 1)) * len(whole["readings.jsonl"]))
        (to / "readings.jsonl").write_bytes(whole["readings.jsonl"][:readings])
        for name, gone in zip(
            ("run.json", "readings.jsonl", "sources.jsonl"), data.draw(_THREE), strict=True
        ):
            if gone and (name != "sources.jsonl" or (journal == 0 and not _size(to / "readings.jsonl"))):
                (to / name).unlink()
        labelled(folder, to)
    assert {name: (to / name).read_bytes() for name in whole} == whole


def test_a_journal_of_another_list_is_refused(tmp_path: Path, made_by: Any) -> None:
    labelled(files(tmp_path / "in", "a.jpg", "b.jpg"), tmp_path / "out")
    (tmp_path / "out" / "sources.jsonl").unlink()
    files(tmp_path / "in", "0.jpg")
    with pytest.raises(
        LabelError, match=r"sources\.jsonl, line 1: the journal beside it goes with another list"
    ):
        labelled(tmp_path / "in", tmp_path / "out")


@posix
def test_a_full_disk_is_one_sentence_and_the_next_run_goes_on(tmp_path: Path) -> None:
    folder = files(tmp_path / "in", *(f"{i:03}.jpg" for i in range(40)))

    def run(to: Path, limit: int | None) -> subprocess.CompletedProcess[bytes]:
        def no_more() -> None:
            if limit is not None:
                resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))

        return subprocess.run(
            [sys.executable, str(STUB), str(folder), str(to), "0"],
            env=kill_label.environment(),
            preexec_fn=no_more,
            capture_output=True,
            check=False,
            timeout=60,
        )

    full = run(tmp_path / "out", 9000)
    assert full.returncode == 2
    assert b"file too large; what was read is kept" in full.stderr
    assert full.stderr.count(b"\n") == 1
    assert run(tmp_path / "out", None).returncode == 0
    assert run(tmp_path / "alone", None).returncode == 0
    both = [(tmp_path / name / "readings.jsonl").read_bytes() for name in ("out", "alone")]
    assert both[0] == both[1]
    assert both[0].count(b"\n") == 40


# -- refused -----------------------------------------------------------------------------------------------


def test_a_changed_parameter_is_refused_by_name_unless_all_is_begun_anew(
    tmp_path: Path, made_by: Any
) -> None:
    folder = files(tmp_path / "in", "a.jpg")
    before = labelled(folder, tmp_path / "out")
    made_by["level"] = "0.9"
    with pytest.raises(LabelError, match=r"begun with level 0\.99, but now it is 0\.9: .*--anew"):
        labelled(folder, tmp_path / "out")
    after = labelled(folder, tmp_path / "out", anew=True)
    assert after[0]["run"] != before[0]["run"]
    kept = tmp_path / "out" / "earlier-1" / "readings.jsonl"
    assert [json.loads(line) for line in kept.read_bytes().splitlines()] == before


def test_two_runs_in_one_folder_at_once_are_refused(tmp_path: Path, made_by: Any) -> None:
    folder = files(tmp_path / "in", "a.jpg", "b.jpg")

    def second(counts: Counts, listed: int) -> None:
        with pytest.raises(LabelError, match="another run is at work"):
            labelled(folder, tmp_path / "out")

    assert len(labelled(folder, tmp_path / "out", told=second)) == 2


def test_other_columns_for_a_source_already_listed_are_refused(tmp_path: Path, made_by: Any) -> None:
    files(tmp_path, "a.jpg")
    listed = tmp_path / "list.csv"
    listed.write_text("source,line\na.jpg,north\n")
    labelled(listed, tmp_path / "out")
    labelled(listed, tmp_path / "out")
    listed.write_text("source,line\na.jpg,south\n")
    with pytest.raises(LabelError, match=r"the columns of .*a\.jpg are no longer those"):
        labelled(listed, tmp_path / "out")


def test_nothing_to_read_is_told(tmp_path: Path, made_by: Any) -> None:
    (tmp_path / "in").mkdir()
    with pytest.raises(LabelError, match="there is no photograph or clip"):
        labelled(tmp_path / "in", tmp_path / "out")


def test_run_json_tells_of_every_session(tmp_path: Path, made_by: Any) -> None:
    folder = files(tmp_path / "in", "a.jpg")
    lines = labelled(folder, tmp_path / "out", command=["litlamp", "label"])
    files(folder, "b.jpg")
    labelled(folder, tmp_path / "out")
    told = json.loads((tmp_path / "out" / "run.json").read_bytes())
    assert told["run"] == lines[0]["run"]
    assert told["made_by"] == made_by
    assert (told["sources"], told["read"], told["no_signal"], told["failed"]) == (2, 0, 2, 0)
    assert [s["command"] for s in told["sessions"]] == [["litlamp", "label"], []]
    assert all(s["ended"] for s in told["sessions"])
    assert {"version", "sha256"} == set(told["models"]["finder"])
