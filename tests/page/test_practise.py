from __future__ import annotations

import random
import re
from collections.abc import Callable

import pytest
from starlette.testclient import TestClient


def ask(page: TestClient, **fields: str) -> str:
    got = page.post("/practise/ask", data=fields)
    assert got.status_code == 200
    return got.url.path


def test_a_question_does_not_tell_its_answer(page: TestClient) -> None:
    where = ask(page, origin="drawn", plates="yes")
    text = page.get(where).text
    assert "What it was" not in text and "verdict" not in text
    assert page.get(f"{where}/picture.jpg").content.startswith(b"\xff\xd8\xff")


def test_an_answer_is_judged_once_and_kept(page: TestClient) -> None:
    where = ask(page, origin="samples")
    before = _tries(page)
    first = page.post(where, data={"rule": "405"})
    assert "What it was" in first.text
    again = page.post(where, data={"rule": "411"})
    assert again.text == first.text
    assert _tries(page) == before + 1


def test_without_a_rule_it_asks_again(page: TestClient) -> None:
    where = ask(page, origin="drawn")
    got = page.post(where, data={"colour1": "red", "rule": "999"})
    assert "Choose a rule first" in got.text and "What it was" not in got.text


def test_a_wrong_side_answer_is_said_to_be_one(page: TestClient) -> None:
    random.seed(1)
    for _ in range(12):
        where = ask(page, origin="samples")
        text = page.post(where, data={"rule": "405"}).text
        if "Right" not in text:
            assert "Wrong side: what you said is less restrictive than the signal" in text
            return
    pytest.fail("twelve samples running were Clear")


def test_own_photos_are_asked_only_when_settled(served: Callable[..., TestClient]) -> None:
    page = served()
    assert "There is nothing to ask there yet" in page.post("/practise/ask", data={"origin": "own"}).text


def test_progress_is_exported_and_erased_when_sure(page: TestClient) -> None:
    page.post(ask(page, origin="drawn"), data={"rule": "none"})
    assert page.get("/practise/progress.json").json()["tries"]
    page.post("/practise/erase", data={})
    assert _tries(page) > 0
    assert "erased" in page.post("/practise/erase", data={"sure": "yes"}).text
    assert _tries(page) == 0


def test_unknown_questions_are_not_found(page: TestClient) -> None:
    assert page.get("/practise/nothing").status_code == 404
    assert page.post("/practise/nothing", data={"rule": "405"}).status_code == 404


def test_a_flashing_question_has_two_moments(page: TestClient) -> None:
    for _ in range(30):
        where = ask(page, origin="drawn", flashing="yes")
        if re.search(r"phase=dark", page.get(where).text):
            lit, dark = (page.get(f"{where}/picture.jpg{q}").content for q in ("", "?phase=dark"))
            assert lit != dark
            return
    pytest.fail("thirty questions running did not flash")


def _tries(page: TestClient) -> int:
    return len(page.get("/practise/progress.json").json()["tries"])
