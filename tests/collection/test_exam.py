"""The exam: stopped and gone on with, refused where it must be, and its verdict on a picture."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner

from litlamp.aspects.rulebook import load_book
from litlamp.collection import exam as module
from litlamp.collection.exam import exam, fault, made_by
from litlamp.collection.judge import judge
from litlamp.collection.readings_file import parse_readings
from litlamp.collection.truth_file import parse_truth

ROOT = Path(__file__).resolve().parents[2]


def held(to, *arguments):
    return CliRunner().invoke(exam, ["--to", str(to), "--workers", "0", *arguments])


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Six scenes without a stop."""
    to = tmp_path_factory.mktemp("whole")
    result = held(to, "--count", "6")
    assert result.exit_code == 0, result.output
    return to


def test_one_command_makes_reads_and_scores(whole):
    assert {p.name for p in whole.iterdir()} == {
        "journal.jsonl", "truth.jsonl", "readings.jsonl", "score.txt", "score.json", "page.png",
    }  # fmt: skip
    of = json.loads((whole / "score.json").read_bytes())
    assert of["pictures"] == of["overall"]["answered"]["n"] == 6
    assert of["failed"] == []
    sources = [json.loads(line)["source"] for line in (whole / "truth.jsonl").read_text().splitlines()]
    assert sources == [f"{200_000 + i}.png" for i in range(6)]


def test_its_files_score_the_same_by_the_command(whole, capsysbinary):
    from litlamp.cli import run

    assert run(["score", str(whole / "truth.jsonl"), str(whole / "readings.jsonl"), "--json"]) == 0
    assert json.loads(capsysbinary.readouterr().out) == json.loads((whole / "score.json").read_bytes())


def test_a_killed_run_goes_on_and_ends_the_same(whole, tmp_path):
    command = [sys.executable, "-m", "litlamp.collection.exam", "--to", str(tmp_path), "--count", "6"]
    env = {**os.environ, "PYTHONPATH": str(ROOT / "vision")}
    journal = tmp_path / "journal.jsonl"
    process = subprocess.Popen([*command, "--workers", "1"], env=env, start_new_session=True)
    try:
        until = time.monotonic() + 60
        while time.monotonic() < until and process.poll() is None:
            if journal.exists() and journal.read_bytes().count(b"\n") >= 3:
                break
            time.sleep(0.02)
    finally:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
    done = journal.read_bytes()
    assert 3 <= done.count(b"\n") < 7
    assert held(tmp_path, "--count", "6").exit_code == 0
    assert journal.read_bytes().startswith(done[: done.rfind(b"\n") + 1])
    for name in ("truth.jsonl", "readings.jsonl", "score.json"):
        assert (tmp_path / name).read_bytes() == (whole / name).read_bytes(), name


def test_finished_scenes_are_not_made_again(whole, monkeypatch):
    def refuse(*_):
        raise AssertionError("made again")

    before = (whole / "journal.jsonl").read_bytes()
    monkeypatch.setattr(module, "one", refuse)
    assert held(whole, "--count", "6").exit_code == 0
    assert (whole / "journal.jsonl").read_bytes() == before


@pytest.mark.parametrize(("changed", "now"), [("finder", "litlamp-finder-9@0"), ("code of scene", "0")])
def test_a_changed_model_or_renderer_is_refused_by_name(whole, monkeypatch, changed, now):
    monkeypatch.setattr(module, "made_by", lambda book, level: made_by(book, level) | {changed: now})
    result = held(whole, "--count", "6")
    assert result.exit_code == 2
    assert f"begun with {changed}" in result.output
    assert now in result.output


@pytest.mark.parametrize(
    "arguments",
    [
        ("--first-seed", "1000000"),
        ("--first-seed", "199999"),
        ("--first-seed", "299999", "--count", "2"),
        ("--seeds", "calibration", "--first-seed", "200000"),
        ("--edition", "1066"),
        ("--level", "nan"),
    ],
)
def test_seeds_of_another_purpose_and_unknown_editions_are_refused(tmp_path, arguments):
    result = held(tmp_path / "new", *arguments)
    assert result.exit_code == 2
    assert not (tmp_path / "new" / "journal.jsonl").exists()


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    result = held(tmp_path / "file", "--count", "1")
    assert result.exit_code == 2
    assert "Traceback" not in result.output


def test_a_crash_of_the_reader_is_a_finding(tmp_path, monkeypatch):
    def fall(*_, **__):
        raise RuntimeError("tripped")

    monkeypatch.setattr(module, "read_with_frame", fall)
    assert held(tmp_path, "--count", "1").exit_code == 0
    of = json.loads((tmp_path / "score.json").read_bytes())
    assert of["failed"] == [["200000.png", "litlamp failed on this picture (RuntimeError: tripped)"]]
    assert of["overall"]["answered"]["hits"] == 0


def verdict(by_hand, read, rule="411"):
    truth = by_hand.signal("yellow", "red", rule=rule)
    known = parse_truth(msgspec.json.encode(by_hand.picture(truth)), "t")[0]
    reading = parse_readings(msgspec.json.encode(by_hand.record(*read(truth))), "r")[0]
    return fault(judge(known, reading, load_book("CROR", "2025")))


def test_the_worst_fault_comes_first(by_hand):
    def said(rule, **more):
        return lambda truth: [by_hand.read(truth) | by_hand.said(rule, **more)]

    ranked = [
        verdict(by_hand, said("405")),
        verdict(by_hand, said("405", probability=0.6, also=("411",))),
        verdict(by_hand, said("439")),
        verdict(by_hand, said("439", probability=0.6, also=("411",))),
        verdict(
            by_hand,
            lambda truth: [*said("411")(truth), by_hand.read(truth) | {"reading": None, "guarded": None}],
        ),
    ]
    assert ranked == sorted(ranked)
    assert ranked[0][2] == "guard-wrong-side-411-read-405-7-10"
    assert verdict(by_hand, said("411")) is None
