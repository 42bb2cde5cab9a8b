"""`litlamp label` by its command line, with the networks: tiny pictures, so that it is quick."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from litlamp.cli import run
from litlamp.collection.label_line import read_lines
from litlamp.collection.progress import ProgressLine, duration, progress_words
from litlamp.collection.readings_file import load_readings
from litlamp.collection.run_folder import Counts
from litlamp.report.record import validate_line


def grey(path: Path, level: int = 120) -> Path:
    Image.new("RGB", (96, 96), (level, level, level)).save(path, "PNG")
    return path


def label(*arguments: object) -> int:
    return run(["label", *map(str, arguments), "--workers", "0"])


def lines(to: Path) -> list[Any]:
    return [json.loads(line) for line in (to / "readings.jsonl").read_bytes().splitlines()]


def test_lines_are_those_of_read_with_their_origin_after(
    tmp_path: Path, root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = root / "samples" / "hartsmere-home-red.jpg"
    assert run(["read", "--json", str(path)]) == 0
    alone = json.loads(capsys.readouterr().out)
    assert label(path, "--to", tmp_path / "out") == 0
    (line,) = lines(tmp_path / "out")
    assert list(line) == [*alone, "run", "sha256", "brightness"]
    assert {key: line[key] for key in alone} == alone
    assert len(line["sha256"]) == 64
    assert 40 < line["brightness"] < 220
    assert line["run"] == json.loads((tmp_path / "out" / "run.json").read_bytes())["run"]
    told = capsys.readouterr()
    assert "1 source, 1 with a signal, 0 without, 0 not read" in told.out
    assert "Training aid only" in told.out
    assert told.err == ""
    # What reads the lines of `read` reads these.
    (record,) = load_readings(tmp_path / "out" / "readings.jsonl")
    assert record.source == str(path)
    validate_line((tmp_path / "out" / "readings.jsonl").read_bytes())


@pytest.mark.skipif(os.name != "posix", reason="names of POSIX")
def test_every_bad_source_has_its_record_and_stops_nothing(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    grey(folder / "a\nb.png")
    grey(Path(os.fsdecode(os.fsencode(folder) + b"/l\xe4ne.png")))
    grey(folder / "same.png")
    (folder / "cut.png").write_bytes((folder / "same.png").read_bytes()[:60])
    (folder / "empty.jpg").touch()
    (folder / "text.mp4").write_text("no clip")
    os.mkfifo(folder / "pipe.jpg")
    (folder / "dangling.jpg").symlink_to("nowhere")
    given = [folder, folder / "same.png", tmp_path / "gone.jpg", folder]
    assert label(*given, "--to", tmp_path / "out") == 0
    found = {Path(line["source"]).name: line["failure"] for line in lines(tmp_path / "out")}
    assert len(lines(tmp_path / "out")) == 9
    assert [found[name] for name in ("a\nb.png", "l\\xe4ne.png", "same.png")] == [None] * 3
    assert found["empty.jpg"] == "this file is empty"
    assert found["gone.jpg"] == "there is no such file"
    assert found["dangling.jpg"] == "there is no such file"
    assert "this is text" in found["text.mp4"]
    assert "pipe" in found["pipe.jpg"]
    assert found["cut.png"]
    # And again: nothing is left to do, and nothing is lost.
    before = (tmp_path / "out" / "readings.jsonl").read_bytes()
    assert label(*given, "--to", tmp_path / "out") == 0
    assert (tmp_path / "out" / "readings.jsonl").read_bytes() == before


def test_columns_come_through(tmp_path: Path) -> None:
    grey(tmp_path / "a.png")
    (tmp_path / "list.csv").write_text("path,subdivision,km\na.png,Alder Vale,12.5\nb.png,Alder Vale,13\n")
    assert label(tmp_path / "list.csv", "--to", tmp_path / "out") == 0
    one, two = read_lines(tmp_path / "out" / "readings.jsonl")
    assert one.columns == {"subdivision": "Alder Vale", "km": "12.5"}
    assert two.failure == "there is no such file"
    assert two.columns == {"subdivision": "Alder Vale", "km": "13"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["{}/list.csv", "--to", "{}/out"], "rows that do not have the 2 cells of the heading: 3"),
        (["{}/*.mov", "--to", "{}/out"], "nothing fits this pattern"),
        (["{}/nothing", "--to", "{}/out"], "there is no photograph or clip among these sources"),
        (["{}/a.png", "--to", "{}/a.png"], "file exists"),
        (["{}/a.png", "--to", "{}/out", "--cluster", "tcp://h:1"], "--workers is for this machine"),
        (["{}/a.png", "--to", "nosuch://b/out"], "nosuch://b/out"),
    ],
)
def test_what_cannot_begin_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    (tmp_path / "nothing").mkdir()
    grey(tmp_path / "a.png")
    (tmp_path / "list.csv").write_text("path,line\na.png,1\nb.png\n")
    assert label(*(argument.format(tmp_path) for argument in arguments)) == 2
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1


def test_nothing_read_at_all_is_status_2_and_a_changed_level_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    to = tmp_path / "out"
    assert label(tmp_path / "gone.jpg", "--to", to) == 2
    assert label(tmp_path / "gone.jpg", "--to", to, "--level", "0.9") == 2
    assert "begun with level 0.99, but now it is 0.9" in capsys.readouterr().err
    assert label(tmp_path / "gone.jpg", "--to", to, "--level", "0.9", "--anew") == 2
    assert "the earlier readings are in" in capsys.readouterr().err
    grey(tmp_path / "gone.jpg")
    assert label(tmp_path / "gone.jpg", "--to", to, "--level", "0.9") == 0


def test_a_folder_that_is_no_results_of_ours_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    grey(tmp_path / "a.png")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "journal.jsonl").write_text("the keeper's journal\n")
    assert label(tmp_path / "a.png", "--to", tmp_path / "out") == 2
    assert "journal.jsonl, line 1: this is no line of such a journal" in capsys.readouterr().err
    assert (tmp_path / "out" / "journal.jsonl").read_text() == "the keeper's journal\n"


def test_help_imports_nothing_heavy(root: Path) -> None:
    code = (
        "import sys; from litlamp.cli import run; "
        "[run([c, '--help']) for c in ('label', 'export', 'compare', 'sample', 'score')]; "
        "names = ('numpy', 'cv2', 'onnxruntime', 'av', 'pyarrow', 'msgspec'); "
        "heavy = [m for m in names if m in sys.modules]; "
        "sys.exit(repr(heavy) if heavy else 0)"
    )
    env = {**os.environ, "PYTHONPATH": str(root / "vision")}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode()


# -- progress ----------------------------------------------------------------------------------------------


def test_progress_tells_share_rate_time_left_and_counts() -> None:
    words = progress_words(Counts(read=900, none=90, failed=10), 10_000, 500, 100.0)
    assert words == (
        "[##..................] 1,000 of 10,000  5.0 a second  30 min 00 s left  "
        "900 read, 90 no signal, 10 failed"
    )
    assert "12.0 a minute" in progress_words(Counts(1, 0, 0), 2, 1, 5.0)
    assert "left" not in progress_words(Counts(2, 0, 0), 2, 2, 5.0)


def test_progress_is_one_line_and_nothing_where_no_terminal_is() -> None:
    import io

    out, clock = io.StringIO(), iter(float(i) for i in range(100))
    with ProgressLine(out, lambda: next(clock), shown=True) as line:
        for done in range(4):
            line(Counts(read=done), 3)
    assert out.getvalue().count("\n") == 1
    assert "3 of 3" in out.getvalue().rsplit("\r", 1)[1]
    silent = io.StringIO()
    with ProgressLine(silent) as line:
        line(Counts(), 3)
    assert silent.getvalue() == ""


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.4, "0 s"), (59.4, "59 s"), (59.6, "1 min 00 s"), (3599.7, "1 h 00 min"), (9000, "2 h 30 min")],
)
def test_durations(seconds: float, words: str) -> None:
    assert duration(seconds) == words


def test_readings_of_no_run_are_not_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    to = tmp_path / "out"
    to.mkdir()
    (to / "readings.jsonl").write_bytes(b"mine\n")
    assert label(grey(tmp_path / "a.png"), "--to", to) == 2
    assert "give another folder, or begin with --anew" in capsys.readouterr().err
    (to / "journal.jsonl").write_bytes(b'{"made_by"')  # cut inside its first line
    assert label(tmp_path / "a.png", "--to", to) == 2
    assert (to / "readings.jsonl").read_bytes() == b"mine\n"
    assert label(tmp_path / "a.png", "--to", to, "--anew") == 0
    assert (to / "earlier-1" / "readings.jsonl").read_bytes() == b"mine\n"


def test_results_among_their_sources_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    grey(tmp_path / "a.png")
    assert label(tmp_path, "--to", tmp_path) == 2
    assert "holds the sources" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["a.png"]


@pytest.mark.parametrize(
    "arguments",
    [
        ["label", ".", "--to", ""],
        ["label", ".", "--to", "out", "--patience", "nan"],
        ["label", ".", "--to", "out", "--patience", "inf"],
        ["export", "none.jsonl", "--as", "", "--to", "out"],
        ["export", "none.jsonl", "--as", "csv", "--to", ""],
        ["export", "none.jsonl", "--as", "csv", "--to", "out"],
        ["sample", "none.jsonl", "--to", ""],
        ["compare", "none.jsonl", "none.jsonl"],
    ],
)
def test_what_names_nothing_is_refused(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "none.jsonl").touch()
    assert run(arguments) == 2
    shown = capsys.readouterr()
    assert shown.out == "" and shown.err.count("\n") == 1
    assert [p.name for p in tmp_path.iterdir()] == ["none.jsonl"]


def test_why_nothing_could_be_read_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert label(tmp_path / "nope", "--to", tmp_path / "out") == 2
    assert "there is no such file" in capsys.readouterr().err
