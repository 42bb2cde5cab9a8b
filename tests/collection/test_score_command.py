"""`litlamp score` as it is typed: text, JSON, page, and bad input."""

import json

import numpy as np
import pytest
from PIL import Image

from litlamp.cli import run
from litlamp.collection.score_page import score_page
from litlamp.collection.score_text import percent, score_text


@pytest.fixture
def files(by_hand, tmp_path):
    exam = by_hand.exam()[::4]
    readings = [by_hand.perfect(p) for p in exam]
    readings[0]["signals"] = []
    readings[-1]["signals"][0] |= by_hand.said("405", probability=0.7)
    return by_hand.write(tmp_path, exam, readings)


def typed(capsysbinary, *arguments):
    status = run(["score", *map(str, arguments)])
    out = capsysbinary.readouterr()
    return status, out.out.decode(), out.err.decode()


def test_the_text_names_every_share_with_its_n_and_interval(capsysbinary, files):
    status, out, err = typed(capsysbinary, *files)
    assert (status, err) == (0, "")
    line = next(row for row in out.splitlines() if "guarded reading wrong-side" in row)
    assert "1 of 33" in line
    assert "0.08% to 15.8%" in line  # scipy.stats.binomtest(1, 33): 0.000767 to 0.157594
    assert "439 read as 405 at 0.7000, guarded as 405 (WRONG-SIDE)" in out
    assert out.rstrip().endswith("Never act on it on or near a track.")


def test_the_json_holds_what_the_text_does(capsysbinary, files):
    status, out, _ = typed(capsysbinary, *files, "--json")
    of = json.loads(out)
    assert status == 0
    assert of["schema"] == 1
    assert of["overall"]["guarded_wrong_side"]["hits"] == len(of["wrong_sides"]) == 1
    assert of["overall"]["answered"] | {"value": 0, "low": 0, "high": 0} == {
        "hits": 32, "n": 33, "value": 0, "low": 0, "high": 0,
    }  # fmt: skip
    assert {f["name"] for f in of["families"]} >= {"diameter", "light", "rule"}
    assert of["curve"][-1]["coverage"] == pytest.approx(32 / 33)


def test_the_page_is_drawn_whole(capsysbinary, files, tmp_path):
    page = tmp_path / "page.png"
    assert typed(capsysbinary, *files, "--page", page)[0] == 0
    with Image.open(page) as picture:
        assert picture.width == 1600
        pixels = np.asarray(picture)
    assert len(np.unique(pixels.reshape(-1, 3), axis=0)) > 20


def test_readings_can_be_piped_in(capsysbinary, files, monkeypatch):
    with files[1].open("rb") as stream:
        monkeypatch.setattr("sys.stdin", type("Stdin", (), {"buffer": stream}))
        status, out, _ = typed(capsysbinary, files[0], "-")
    assert status == 0
    assert out.startswith("standard input against ")


@pytest.mark.parametrize("what", ["missing truth", "missing readings", "swapped", "page", "folder", "book"])
def test_bad_input_is_one_sentence_and_status_2(capsysbinary, files, tmp_path, what):
    truth, readings = files
    arguments = {
        "missing truth": (tmp_path / "none", readings),
        "missing readings": (truth, tmp_path / "none"),
        "swapped": (readings, truth),
        "page": (truth, readings, "--page", tmp_path / "page.gif"),
        "folder": (truth, readings, "--page", tmp_path / "none" / "page.png"),
        "book": (truth, readings, "--rulebook", "NORAC"),
    }[what]
    status, out, err = typed(capsysbinary, *arguments)
    assert (status, out) == (2, "")
    assert err.startswith("litlamp: ")
    assert err.count("\n") == 1


def test_a_truth_with_lamps_only_has_a_page_and_a_text(by_hand):
    signal = by_hand.signal("green", "red", rule="405")
    picture = by_hand.picture({"box": signal["box"], "lamps": signal["lamps"]})
    of = by_hand.score(
        [picture, by_hand.picture(source="b.png")],
        [by_hand.record(by_hand.read(signal)), by_hand.record(source="b.png")],
    )
    text = score_text(of, "t", "r")
    assert "exact rule" not in text
    assert "2 of 2" in text
    assert score_page(of, "t", "r").shape[1] == 1600


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.0, "0%"), (1.0, "100%"), (0.99999, "99.99%"), (0.00001, "0.01%"), (0.5, "50.0%"), (0.995, "99.50%")],
)
def test_no_doubt_is_rounded_away(share, words):
    assert percent(share) == words
