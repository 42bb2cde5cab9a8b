from __future__ import annotations

import csv
import io
import os
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from litlamp.collection.manifest import read_manifest
from litlamp.collection.sources_list import list_items
from litlamp.collection.truth_file import LinesError

posix = pytest.mark.skipif(os.name != "posix", reason="names of POSIX")


def paths(*sources: object, **more: Path) -> list[str]:
    return [item.path for item in list_items([str(s) for s in sources], **more)]


def fed(monkeypatch: pytest.MonkeyPatch, data: bytes) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(data)))


def test_a_folder_gives_its_photographs_and_clips_by_name_those_of_folders_in_it_after(
    tmp_path: Path,
) -> None:
    (tmp_path / "sub").mkdir()
    Image.new("RGB", (8, 8)).save(tmp_path / "picture-without-ending", "PNG")
    for name in ("b.jpg", "a.MP4", "notes.txt", "sub/c.png", ".hidden.jpg", "empty.jpeg"):
        (tmp_path / name).write_bytes(b"" if "empty" in name else b"some text")
    found = [str(Path(p).relative_to(tmp_path)) for p in paths(tmp_path)]
    # One by its content; those named like pictures whatever is in them: they fail for all to see.
    assert found == ["a.MP4", "b.jpg", "empty.jpeg", "picture-without-ending", "sub/c.png"]


@posix
def test_links_in_circles_end_and_every_folder_comes_once(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "1.jpg").touch()
    (tmp_path / "a" / "up").symlink_to(tmp_path)
    (tmp_path / "b").symlink_to(tmp_path / "a")
    (tmp_path / "self").symlink_to("self")
    assert paths(tmp_path) == [str(tmp_path / "a" / "1.jpg")]


@posix
@pytest.mark.skipif(os.name == "posix" and os.geteuid() == 0, reason="root may open every folder")
def test_a_folder_that_may_not_be_opened_is_on_the_list_with_the_reason(tmp_path: Path) -> None:
    closed = tmp_path / "closed"
    closed.mkdir(mode=0)
    (item,) = list_items([str(tmp_path)])
    assert item.fault == "this folder could not be opened: permission denied"


def test_the_results_folder_is_not_searched(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "crop.png").touch()
    (tmp_path / "a.png").touch()
    assert paths(tmp_path, results=tmp_path / "out") == [str(tmp_path / "a.png")]


@posix
def test_names_that_are_no_text_come_through(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    raw = os.fsencode(tmp_path) + b"/l\xe4ne\none.jpg"
    Path(os.fsdecode(raw)).touch()
    (item,) = list_items([str(tmp_path)])
    assert os.fsencode(item.path) == raw
    assert item.source.endswith("/l\\xe4ne\none.jpg")
    fed(monkeypatch, raw + b"\0")
    assert [os.fsencode(p) for p in paths("-")] == [raw]


def test_each_source_comes_once_in_the_order_given(tmp_path: Path) -> None:
    for name in ("b.jpg", "a.jpg"):
        (tmp_path / name).touch()
    b = tmp_path / "b.jpg"
    assert paths(b, tmp_path, b) == [str(b), str(tmp_path / "a.jpg")]


def test_patterns(tmp_path: Path) -> None:
    (tmp_path / "x" / "y").mkdir(parents=True)
    for name in ("x/2.jpg", "x/1.jpg", "x/y/3.jpg", "[odd].jpg"):
        (tmp_path / name).touch()
    assert paths(tmp_path / "**" / "[0-9].jpg") == [
        str(tmp_path / f) for f in ("x/1.jpg", "x/2.jpg", "x/y/3.jpg")
    ]
    assert paths(tmp_path / "[odd].jpg") == [str(tmp_path / "[odd].jpg")]
    with pytest.raises(LinesError, match="nothing fits this pattern"):
        paths(tmp_path / "*.mov")


def test_a_list_on_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    fed(monkeypatch, b"a.jpg\r\n\nb c.jpg\n")
    assert paths("-") == ["a.jpg", "b c.jpg"]
    fed(monkeypatch, b" \n")
    with pytest.raises(LinesError, match="holds no source"):
        paths("-")


# -- manifests ---------------------------------------------------------------------------------------------


def manifest(folder: Path, text: str, name: str = "list.csv") -> str:
    (folder / name).write_bytes(text.encode())
    return str(folder / name)


def test_a_csv_carries_its_columns_and_is_relative_to_its_folder(tmp_path: Path) -> None:
    path = manifest(tmp_path, '\ufeffline,path\r\n"north, ""old""\nline",a.jpg\r\nsouth,/b.jpg\r\n')
    items = list(list_items([path]))
    assert [i.path for i in items] == [str(tmp_path / "a.jpg"), "/b.jpg"]
    assert items[0].columns == {"line": 'north, "old"\nline'}


def test_json_lines_keep_the_kinds_of_their_values(tmp_path: Path) -> None:
    path = manifest(tmp_path, '{"source": "a.jpg", "km": 12.5, "tags": ["x"]}\n', "list.jsonl")
    assert read_manifest(path)[0].columns == {"km": 12.5, "tags": ["x"]}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "source,line\na.jpg\nb.jpg,n\nc.jpg,n,x\n",
            "rows that do not have the 2 cells of the heading: 2, 4",
        ),
        ("source,line\n,n\nb.jpg,n\n ,n\n", "rows that name no source: 2, 4"),
        ("source\na.jpg\nb.jpg\na.jpg\n", "rows that name a source that an earlier row has: 4"),
        ("picture,line\na.jpg,n\n", "the heading has no 'source', 'path', 'file' or 'filename'"),
        ("source,x,x\na,b,c\n", "the heading has 'x' more than once"),
        ("source,line\n", "holds no row"),
        ("", "holds no row"),
        ('source\n"a.jpg\n', "row 2: unexpected end of data"),
        ("source\n" * 1 + "\n".join(f"{i},1" for i in range(8)), "2, 3, 4, 5, 6 and 3 more"),
    ],
)
def test_a_bad_csv_is_refused_with_its_rows(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(LinesError, match=said.replace("(", r"\(")):
        read_manifest(manifest(tmp_path, text))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"source": "a"}\n{"line": 1}\n\n{"source": 5}\n', "rows that have no .*: 2, 4"),
        ('{"source": "a"}\n[]\n', "row 2: this is no JSON object"),
        ('{"source": "a"', "row 1: this is no JSON object"),
    ],
)
def test_bad_json_lines_are_refused_with_their_rows(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(LinesError, match=said):
        read_manifest(manifest(tmp_path, text, "list.jsonl"))


def test_what_is_no_utf_8_is_refused_with_its_row(tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_bytes(b"source\na.jpg\nl\xe4ne.jpg\n")
    with pytest.raises(LinesError, match="row 3: this is no UTF-8"):
        read_manifest(str(tmp_path / "list.csv"))


@given(st.lists(st.tuples(st.text(min_size=1), st.text()), min_size=1, unique_by=lambda row: row[0]))
def test_whatever_a_csv_holds_comes_back_or_is_refused(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, str]]
) -> None:
    path = tmp_path_factory.mktemp("m") / "list.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([("source", "own"), *rows])
    try:
        found = read_manifest(str(path))
    except LinesError:
        assert any(not source.strip() for source, _ in rows)
        return
    assert [row.columns["own"] for row in found] == [own for _, own in rows]
    assert len(found) == len(rows)
