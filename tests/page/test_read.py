from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import replace

import pytest
from markupsafe import escape
from starlette.testclient import TestClient

from litlamp.aspects.reading import Reading, RuleChance
from litlamp.aspects.rulebook import load_book
from litlamp.page.pages import _environment
from litlamp.page.settings import Limits
from litlamp.page.view import said_of
from litlamp.report.record import validate_line
from litlamp.report.text import confidence_words, differs, headed, percent

CAUTION = "Training aid only. Never act on it on or near a track."


@pytest.mark.parametrize("path", ["/", "/learn", "/practise", "/keep", "/keep/sheet", "/nowhere"])
def test_every_view_shows_the_caution(page: TestClient, path: str) -> None:
    shown = page.get(path)
    assert CAUTION in shown.text
    assert shown.text.index(CAUTION) < shown.text.index("<main")


def test_a_photo_is_read_by_a_plain_form(page: TestClient, answer: str, expected: Reading) -> None:
    text = page.get(answer).text
    assert expected.reading is not None and expected.guarded is not None
    assert f'{expected.guarded.name} <span class="rule">Rule&nbsp;{expected.guarded.rule}</span></h1>' in text
    assert ("Guarded reading" in text) == differs(expected)
    assert expected.aspect in text
    assert (
        f"{confidence_words(expected.reading.probability)}, {percent(expected.reading.probability)}" in text
    )
    assert all(escape(step) in text for step in expected.why)


def test_each_step_lights_what_is_in_the_picture(page: TestClient, answer: str) -> None:
    text = page.get(answer).text
    ids = set(re.findall(r'<g id="([^"]+)"', text))
    lit = {i for many in re.findall(r'data-lights="([^"]+)"', text) for i in many.split()}
    assert {"s1head1", "s1head2", "s1plate1"} <= ids
    assert lit <= ids
    upper = re.search(r'href="#([^"]+)" data-lights="[^"]+">Upper head', text)
    assert upper is not None and upper[1] == "s1head1"


def test_what_cannot_be_told_says_what_would_settle_it(
    page: TestClient, answer: str, expected: Reading
) -> None:
    assert len(expected.set) > 1  # the sample is one whose plates cannot be made out
    text = page.get(answer).text
    assert "What photo would settle it" in text and "plate&#39;s letters are sharp" in text


def test_the_pictures_and_the_json(page: TestClient, answer: str) -> None:
    for name in ("0.jpg", "annotated0.jpg"):
        got = page.get(f"{answer}/{name}")
        assert got.status_code == 200 and got.content.startswith(b"\xff\xd8\xff")
    line = validate_line(page.get(f"{answer}/reading.json").content)
    assert line.source == "staggered.jpg" and line.signals[0].guarded is not None
    assert page.get(f"{answer}/7.jpg").status_code == 404


def test_a_correction_changes_the_reading_and_says_why(
    page: TestClient, answer: str, expected: Reading
) -> None:
    assert expected.guarded is not None
    text = page.get(f"{answer}?s=1&plateA=no&plateR=no&plateL=no&plateDV=no").text
    assert f"was {headed(expected.guarded)}; with what you state it is Stop and Proceed" in text
    assert "There is no A plate (the picture made it present at" in text
    lamp = page.get(f"{answer}?s=1&colour0=yellow").text
    assert "The upper head is yellow (the picture made it yellow at" in lamp
    assert "yellow (stated)" in lamp


@pytest.mark.parametrize(
    "query", ["s=9&plateA=yes", "s=x&colour0=yes", "s=1&colour0=%00&flash1=maybe", "s=1"]
)
def test_a_correction_that_says_nothing_changes_nothing(page: TestClient, answer: str, query: str) -> None:
    got = page.get(f"{answer}?{query}")
    assert got.status_code == 200 and "Your correction" not in got.text


def test_no_signal_says_what_to_photograph(page: TestClient, grey: bytes) -> None:
    got = page.post("/read", files={"file": ("wall.png", grey)})
    assert "No signal found" in got.text
    assert "does not mean that none is there" in got.text
    assert "Have the whole mast in the picture" in got.text


def test_a_script_gets_the_address(page: TestClient, sample: bytes) -> None:
    got = page.post("/read", files={"file": ("a.jpg", sample)}, headers={"accept": "application/json"})
    state = page.get(f"{got.json()['at']}/state").json()
    assert set(state) == {"over", "share", "place"}


def test_a_sample_is_read_by_its_name_only(page: TestClient) -> None:
    assert "Rule&nbsp;405" in page.post("/sample", data={"name": "mossgate-starting-green.jpg"}).text
    assert page.post("/sample", data={"name": "../pyproject.toml"}).status_code == 404


def test_what_the_user_knows_is_used(page: TestClient, sample: bytes) -> None:
    got = page.post("/read", files={"file": ("a.jpg", sample)}, data={"mount": "dwarf"})
    assert "Mount: dwarf, as you stated" in got.text


def test_whoever_does_not_wait_sees_a_page_that_does(
    page: TestClient, sample: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("litlamp.page.read_view.PATIENCE", 0.0)
    busy = page.post("/learn/read", data={"words": "red", "weather": "fog"})
    sent = page.post("/read", files={"file": ("a.jpg", sample)})
    assert busy.status_code == sent.status_code == 200
    assert "Being read" in sent.text and 'http-equiv="refresh"' in sent.text
    for _ in range(300):
        if page.get(f"{sent.url.path}/state").json()["over"]:
            break
        time.sleep(0.1)
    assert "reading" in page.get(sent.url.path).text


def test_answers_are_forgotten_the_oldest_first(served: Callable[..., TestClient], grey: bytes) -> None:
    page = served(limits=Limits(answers=2))
    keys = [page.post("/read", files={"file": ("a.png", grey)}).url.path for _ in range(3)]
    assert [page.get(key).status_code for key in keys] == [404, 200, 200]


@pytest.mark.parametrize(("second", "tie"), [(0.4, True), (0.3, False)])
def test_of_readings_alike_none_is_said_to_be_the_most_likely(
    expected: Reading, second: float, tie: bool
) -> None:
    first, stop = RuleChance("411", "Clear to Stop", 0.4), RuleChance("439", "Stop", 0.1)
    either = (first, RuleChance("415", "Advance Clear to Stop", second), stop)
    said = said_of(replace(expected, reading=first, guarded=stop, set=either), load_book())
    parts = _environment().get_template("parts.html").module
    shown = parts.headline(said)  # type: ignore[attr-defined]
    assert ("As likely as any, Clear to Stop" in shown) == tie
    assert ("Most likely Clear to Stop" in shown) != tie
