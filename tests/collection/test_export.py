from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from PIL import Image

from litlamp.cli import commands
from litlamp.collection.as_csv import DOCUMENTED as CSV_COLUMNS
from litlamp.collection.as_csv import own_names
from litlamp.collection.as_vtt import subtitles
from litlamp.collection.export import FORMATS, dictionary, export
from litlamp.collection.exporting import ExportError, Readings, plain_name
from litlamp.collection.label_line import read_lines
from litlamp.collection.truth_file import LinesError

Lines = list[dict[str, Any]]


@pytest.fixture
def lines(by_hand: Any) -> Lines:
    """Two signals, none, a failure and a clip; the first two with the researcher's columns."""
    two = by_hand.record(
        by_hand.read(by_hand.signal("red", "green", rule="421")),
        by_hand.read(by_hand.signal("yellow", rule="411", x=300.0, plates=("A",))),
        source='a,"b"\nc.png',
        columns={"km": 12.5, "line": "north"},
        sha256="0" * 64,
        brightness=99.5,
        run="r1",
    )
    two["signals"][1]["plates_seen"] = [{"box": [290, 70, 310, 90], "kind": "A", "probability": 0.9}]
    none = by_hand.record(source="none.png", columns={"source": "mine"})
    failed = by_hand.record(source="gone.png", kind=None, size=None, failure="there is no such file")
    clip = by_hand.record(
        by_hand.read(by_hand.signal("red", rule="439"))
        | {
            "span_s": [1.0, 5.0],
            "at_s": 4.0,
            "aspects": [
                {"from_s": 1.0, "to_s": 3.0, "aspect": "red <& red", **by_hand.said("439")},
                {"from_s": 3.0, "to_s": 3.0, "aspect": "green", **by_hand.said("405", also=("439",))},
            ],
        },
        source="rides/a.mp4",
        kind="clip",
        duration_s=6.0,
    )
    return [two, none, failed, clip]


@pytest.fixture
def readings(tmp_path: Path, lines: Lines) -> Path:
    path = tmp_path / "readings.jsonl"
    path.write_text("".join(json.dumps(line) + "\n" for line in lines))
    return path


def exported(readings: Path, *formats: str) -> Path:
    to = readings.parent / "export"
    export(readings, to, formats, lambda words: None)
    return to


def test_csv_has_a_row_a_signal_and_no_source_is_missing(readings: Path) -> None:
    with (exported(readings, "csv") / "signals.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [(r["source"], r["signals"], r["signal"]) for r in rows] == [
        ('a,"b"\nc.png', "2", "1"),
        ('a,"b"\nc.png', "2", "2"),
        ("none.png", "0", ""),
        ("gone.png", "0", ""),
        ("rides/a.mp4", "1", "1"),
    ]
    assert rows[1]["rule"] == "411"
    assert rows[1]["plate_A"] == "1.0"
    assert (rows[0]["x0"], rows[0]["y1"], rows[0]["lamp_px"]) == ("85.0", "105.0", "8.0")
    assert [r["failure"] for r in rows] == ["", "", "", "there is no such file", ""]
    assert (rows[4]["from_s"], rows[4]["to_s"], rows[4]["at_s"]) == ("1.0", "5.0", "4.0")
    # The researcher's own, also where its name is one of ours.
    assert (rows[0]["km"], rows[0]["line"], rows[2]["own_source"]) == ("12.5", "north", "mine")
    assert all("Training aid only" in r["caution"] for r in rows)
    assert None not in rows[0]
    assert list(rows[0])[: len(CSV_COLUMNS)] == [name for name, _, _ in CSV_COLUMNS]


def test_own_columns_never_take_a_name_twice() -> None:
    assert own_names(["a", "own_a", "b"], ["a"]) == ["own_a", "own_own_a", "b"]


def test_parquet_is_typed_and_nested_and_says_what_the_lines_say(readings: Path, lines: Lines) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    table = parquet.read_table(exported(readings, "parquet") / "readings.parquet")
    rows = table.to_pylist()
    assert [r["source"] for r in rows] == [line["source"] for line in lines]
    signal, line = rows[0]["signals"][1], lines[0]["signals"][1]
    assert list(signal["box"].values()) == line["box"]
    assert signal["heads"][0]["colour"] == line["heads"][0]["colour"]
    assert list(signal["heads"][0]["lamp"].values()) == line["heads"][0]["lamp"]
    assert signal["set"] == line["set"]
    assert rows[0]["columns"] == [("km", "12.5"), ("line", "north")]
    assert rows[2]["failure"] == "there is no such file"
    assert rows[2]["width"] is None
    assert [a["from_s"] for a in rows[3]["signals"][0]["aspects"]] == [1.0, 3.0]
    assert b"Training aid only" in table.schema.metadata[b"litlamp.caution"]
    assert str(table.schema.field("width").type) == "int32"


def test_coco_is_read_back_by_its_own_tool(readings: Path) -> None:
    coco = pytest.importorskip("pycocotools.coco")
    file = exported(readings, "coco") / "coco.json"
    read = coco.COCO(str(file))
    # The picture without a signal is kept; the clip and the failure are counted.
    assert sorted(read.getImgIds()) == [1, 2]
    assert read.dataset["info"]["left_out"] == {"clips": 1, "not_read": 1}
    names = {c["id"]: c["name"] for c in read.loadCats(read.getCatIds())}
    of_first = read.loadAnns(read.getAnnIds(imgIds=[1]))
    assert [names[a["category_id"]] for a in of_first] == [
        "signal", "head", "lamp", "head", "lamp", "signal", "head", "lamp", "plate",
    ]  # fmt: skip
    assert of_first[0]["bbox"] == [85, 35, 30, 70]
    assert of_first[0]["area"] == 2100
    assert of_first[2]["bbox"] == [96, 46, 8, 8]
    assert [a["label"] for a in of_first[:3]] == ["421", "red", "red"]
    assert of_first[8]["label"] == "A"
    assert len({a["id"] for a in of_first}) == len(of_first)
    assert read.getAnnIds(imgIds=[2]) == []


def test_subtitles_of_a_clip(readings: Path) -> None:
    to = exported(readings, "vtt")
    assert [p.name for p in (to / "vtt").iterdir()] == ["a.mp4.vtt"]
    text = (to / "vtt" / "a.mp4.vtt").read_text()
    assert text == subtitles(list(read_lines(readings))[3])
    assert text.startswith("WEBVTT\n\nNOTE\nTraining aid only")
    assert (
        "00:00:01.000 --> 00:00:03.000\nStop, Rule 439: 100 %; red &lt;&amp; red\nTraining aid only" in text
    )
    # What was seen on one frame alone can still be read; the guarded reading comes first.
    assert "00:00:03.000 --> 00:00:03.500\nguarded: Stop, Rule 439 (likeliest Clear, Rule 405" in text


def test_crops_lie_in_folders_by_rule(tmp_path: Path, by_hand: Any) -> None:
    picture = Image.new("RGB", (640, 480), (0, 0, 200))
    picture.paste((250, 10, 10), (85, 35, 115, 65))
    picture.save(tmp_path / "a.png")
    red = by_hand.read(by_hand.signal("red", rule="439"))
    dark = by_hand.read(by_hand.signal("dark", rule="439", x=630.0)) | {
        "reading": None, "guarded": None, "set": [],
    }  # fmt: skip
    here = str(tmp_path / "a.png")
    gone = by_hand.record(red, source=str(tmp_path / "gone.png"))
    other_size = by_hand.record(red, source=here, size=[1, 1])
    readings = tmp_path / "readings.jsonl"
    records = [by_hand.record(red, dark, source=here), gone, other_size]
    readings.write_text("".join(json.dumps(line) + "\n" for line in records))
    told: list[str] = []
    export(readings, tmp_path / "out", ["crops"], told.append)
    assert told[0] == "crops/: 2 signals; 2 left out, for their source cannot be opened as it was"
    crop = Image.open(tmp_path / "out" / "crops" / "439" / "000001-a-1.png")
    assert crop.size == (30 + 16, 30 + 16)
    assert crop.getpixel((23, 23)) == (250, 10, 10)
    assert crop.getpixel((1, 1)) == (0, 0, 200)
    assert "Training aid only" in crop.info["Comment"]
    at_the_edge = Image.open(tmp_path / "out" / "crops" / "nothing-read" / "000001-a-2.png")
    assert at_the_edge.size == (640 - 607, 46)


def test_the_crop_of_a_clip_is_of_its_moment(root: Path, tmp_path: Path, by_hand: Any) -> None:
    from litlamp.media.clip import open_clip

    source = root / "samples" / "brindle-staggered-flash.mp4"
    with open_clip(source) as clip:
        size = clip.size
        frames = [next(clip) for _ in range(4)]
    at = frames[3].time.seconds - frames[0].time.seconds
    signal = by_hand.read(by_hand.signal("red", rule="439")) | {"at_s": round(at, 3), "aspects": []}
    readings = tmp_path / "readings.jsonl"
    record = by_hand.record(signal, source=str(source), kind="clip", size=list(size))
    readings.write_text(json.dumps(record) + "\n")
    export(readings, tmp_path, ["crops"], lambda words: None)
    crop = Image.open(tmp_path / "crops" / "439" / "000001-brindle-staggered-flash-1.png")
    expected = Image.fromarray(frames[3].frame().rgb[27:73, 77:123])
    assert crop.tobytes() == expected.tobytes()


def test_a_source_is_found_where_it_was_read_from(tmp_path: Path) -> None:
    (tmp_path / "run").mkdir()
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "only-there.png").touch()
    (tmp_path / "run" / "run.json").write_text(
        json.dumps({"sessions": [{"folder": str(tmp_path / "there")}]})
    )
    (tmp_path / "run" / "sources.jsonl").write_text('{"source":"l\\\\xe4.png","bytes":"6ce42e706e67"}\n')
    path_of = Readings(tmp_path / "run" / "readings.jsonl").opener()
    assert path_of("only-there.png") == str(tmp_path / "there" / "only-there.png")
    assert path_of("nowhere.png") == "nowhere.png"
    assert path_of("l\\xe4.png") == "l\udce4.png"


def test_the_dictionary_names_every_column(readings: Path) -> None:
    text = (exported(readings, "csv") / "dictionary.md").read_text()
    assert text == dictionary(["csv"])
    for name, _, _ in CSV_COLUMNS:
        assert f"| `{name}` |" in text
    assert "origin top left" in text
    for name in FORMATS:
        assert f"## {name}" not in text  # by the names of files, not of options
        dictionary([name])


@pytest.mark.parametrize("data", [b"not json\n", b'{"schema": 1}\n', b"\xff\n"])
def test_bad_readings_are_refused_by_line_and_leave_nothing_half(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "readings.jsonl"
    path.write_bytes(data)
    for name in FORMATS:
        if name == "parquet":
            pytest.importorskip("pyarrow.parquet")
        with pytest.raises((LinesError, ExportError), match="line 1"):
            export(path, tmp_path / "out", [name], lambda words: None)
    assert [p for p in (tmp_path / "out").rglob("*") if p.is_file()] == []


def test_the_command(readings: Path) -> None:
    run = CliRunner().invoke(commands, ["export", str(readings.parent), "--as", "csv, vtt"])
    assert run.exit_code == 0, run.output
    assert "5 rows of 4 sources" in run.output
    assert {p.name for p in (readings.parent / "export").iterdir()} == {"signals.csv", "vtt", "dictionary.md"}
    refused = CliRunner().invoke(commands, ["export", str(readings), "--as", "xml"])
    assert refused.exit_code == 2
    assert "no format 'xml'" in refused.output


@pytest.mark.parametrize(
    ("words", "name"), [("a b/c", "a-b-c"), ("..", "unnamed"), (".hidden", "hidden"), ("ä" * 200, "ä" * 80)]
)
def test_plain_names(words: str, name: str) -> None:
    assert plain_name(words) == name
