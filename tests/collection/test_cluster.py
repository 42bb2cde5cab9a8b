from __future__ import annotations

import json
import os
import signal
import sys
from pathlib import Path
from typing import Any

import pytest

from litlamp.aspects.rulebook import load_book
from litlamp.collection import label as labelling
from litlamp.collection.cluster import cluster
from litlamp.collection.far import FarError, FarFolder, far_files, far_stamp, is_far, near
from litlamp.collection.label import Asked, LabelError, crew, label
from litlamp.collection.label_to import label_to
from litlamp.collection.reading_work import Settings, Task
from litlamp.collection.run_folder import Counts
from litlamp.collection.sources_list import list_items
from litlamp.media.errors import MediaError

sys.path.insert(0, str(Path(__file__).parent / "stub"))

import label_stub

fsspec = pytest.importorskip("fsspec")


@pytest.fixture
def made_by(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(labelling, "made_by", lambda *_: {"litlamp": "stub"})


def files(folder: Path, count: int) -> Path:
    folder.mkdir()
    for i in range(count):
        (folder / f"{i:03}.jpg").write_bytes(b"%d" % i)
    return folder


# -- a cluster ---------------------------------------------------------------------------------------------


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_two_workers_one_of_them_killed_midway_give_the_same_bytes(
    tmp_path: Path, made_by: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    distributed = pytest.importorskip("distributed")
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([p for p in sys.path if p]))
    folder, asked = files(tmp_path / "in", 80), Asked(load_book())
    (folder / "hang.jpg").write_bytes(b"hangs")
    (folder / "slow.jpg").write_bytes(b"slow")
    killed: list[int] = []
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as local:

        def tell(counts: Counts, listed: int) -> None:
            if counts.done == 20:
                pid = next(iter(local.workers.values())).pid
                os.kill(pid, signal.SIGKILL)
                killed.append(pid)

        by_cluster = label(
            [str(folder)], tmp_path / "cluster", asked, workers=cluster(local.scheduler_address, patience=4),
            work=label_stub.work, told=tell,
        )  # fmt: skip
    assert killed
    assert by_cluster.counts == Counts(0, 81, 1)
    label([str(folder)], tmp_path / "crew", asked, workers=crew(1, patience=4), work=label_stub.work)
    both = [(tmp_path / name / "readings.jsonl").read_bytes() for name in ("cluster", "crew")]
    assert both[0] == both[1]


def test_no_scheduler_is_one_sentence(tmp_path: Path, made_by: None) -> None:
    pytest.importorskip("distributed")
    for address in ("tcp://127.0.0.1:9", "nonsense"):
        with pytest.raises(LabelError, match="no scheduler answers at"):
            label(
                [str(files(tmp_path / address[:3], 1))], tmp_path / "out", Asked(load_book()),
                workers=cluster(address, wait=1),
            )  # fmt: skip


def test_another_installation_is_noticed() -> None:
    book = load_book()
    by = labelling.made_by(book, 0.99, None, None)
    assert Settings(book, 0.99, None, None, labelling.run_name(by)).same_here()
    assert not Settings(book, 0.98, None, None, labelling.run_name(by)).same_here()


# -- stores ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "far"),
    [("s3://a/b", True), ("https://a", True), ("a/b", False), ("C:\\a", False), ("a b://c", False)],
)
def test_what_is_a_store(path: str, far: bool) -> None:
    assert is_far(path) is far


def test_files_of_a_store_are_listed_fetched_and_told_apart(tmp_path: Path) -> None:
    (tmp_path / "sub").mkdir()
    for name in ("b.jpg", "sub/a.png", "notes.txt"):
        (tmp_path / name).write_bytes(name.encode())
    url = tmp_path.as_uri()
    assert [i.path for i in list_items([url])] == [f"{url}/b.jpg", f"{url}/sub/a.png"]
    assert [i.path for i in list_items([f"{url}/*.jpg"])] == [f"{url}/b.jpg"]
    assert far_files(f"{url}/b.jpg") is None
    with pytest.raises(FarError, match="nothing fits this pattern"):
        far_files(f"{url}/*.mov")
    with near(f"{url}/b.jpg", lambda: None) as path:
        assert Path(path).read_bytes() == b"b.jpg"
        assert path.endswith(".jpg")
    assert not Path(path).exists()
    before = far_stamp(f"{url}/b.jpg")
    assert before[0] == 5
    os.utime(tmp_path / "b.jpg", (1, 1))
    assert far_stamp(f"{url}/b.jpg") != before
    assert far_stamp(f"{url}/gone.jpg") == (None, None)


@pytest.mark.parametrize(
    ("name", "said"), [("gone.jpg", "there is no such file"), ("", "this is a folder|could not be fetched")]
)
def test_what_cannot_be_fetched_is_told(tmp_path: Path, name: str, said: str) -> None:
    with pytest.raises(MediaError, match=said), near(f"{tmp_path.as_uri()}/{name}", lambda: None):
        pass


def test_a_scheme_that_nothing_serves_is_one_sentence() -> None:
    with pytest.raises(FarError, match=r"nosuch://a/b: .*[Pp]rotocol"):
        far_files("nosuch://a/b")


def test_a_photograph_of_a_store_reads_like_the_file(root: Path, tmp_path: Path) -> None:
    path = root / "samples" / "hartsmere-home-red.jpg"
    how = Settings(load_book(), 0.99, None, None, "run")
    read = how.start()
    near_by, far, gone = (
        json.loads(read(Task(0, p, p), lambda: None).line)
        for p in (str(path), path.as_uri(), f"{tmp_path.as_uri()}/x.jpg")
    )
    assert far["source"] == path.as_uri()
    assert {**far, "source": ""} == {**near_by, "source": ""}
    assert gone["failure"] == "there is no such file"


def test_results_in_a_store_are_gone_on_with_on_another_machine(
    tmp_path: Path, made_by: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = files(tmp_path / "in", 6)
    url = (tmp_path / "store" / "out").as_uri()
    more: dict[str, Any] = {"workers": crew(0), "work": label_stub.work}

    def stop(counts: Counts, listed: int) -> None:
        if counts.done == 3:
            raise KeyboardInterrupt

    monkeypatch.setattr("tempfile.tempdir", str(files(tmp_path / "one", 0)))
    with pytest.raises(KeyboardInterrupt):
        label_to(url, [str(folder)], Asked(load_book()), told=stop, **more)
    monkeypatch.setattr("tempfile.tempdir", str(files(tmp_path / "another", 0)))
    told: list[int] = []
    done = label_to(url, [str(folder)], Asked(load_book()), told=lambda c, _: told.append(c.done), **more)
    assert told == [3, 4, 5, 6]
    assert done.counts.done == 6
    label([str(folder)], tmp_path / "alone", Asked(load_book()), **more)
    both = [(p / "readings.jsonl").read_bytes() for p in (tmp_path / "store" / "out", tmp_path / "alone")]
    assert both[0] == both[1]
    with pytest.raises(FarError, match="--anew is for folders of this machine"):
        label_to(url, [str(folder)], Asked(load_book()), told=stop, anew=True, **more)


def test_a_store_that_cannot_be_written_to_keeps_the_results_here(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    folder = FarFolder(f"{(tmp_path / 'file').as_uri()}/out", ("a",))
    folder.local.mkdir(parents=True, exist_ok=True)
    (folder.local / "a").touch()
    with pytest.raises(FarError, match="the results are in"):
        folder.deliver(now=True)
    (folder.local / "a").unlink()
    folder.local.rmdir()
