from __future__ import annotations

import pytest
from starlette.testclient import TestClient


def test_words_become_a_reading(page: TestClient) -> None:
    text = page.get("/learn", params={"words": "flashing yellow over red"}).text
    assert "Advance Clear to Stop" in text and "Rule&nbsp;415" in text
    assert 'class="off"' in text  # it flashes


def test_controls_become_the_same_reading(page: TestClient) -> None:
    set_by_hand = {"colour1": "yellow", "flash1": "yes", "colour2": "red", "mount": "mast"}
    text = page.get("/learn", params=set_by_hand).text
    assert "Rule&nbsp;415" in text
    with_plate = page.get("/learn", params={"colour1": "red", "mount": "mast", "plateR": "yes"}).text
    assert "Restricting" in with_plate and "Rule&nbsp;436" in with_plate


def test_words_not_understood_are_told(page: TestClient) -> None:
    got = page.get("/learn", params={"words": "purple over <b>red"})
    assert got.status_code == 422
    assert "Not understood" in got.text and "<b>red" not in got.text


def test_slips_are_told_dangerous_first(page: TestClient) -> None:
    text = page.get("/learn", params={"words": "red over red, A plate, staggered"}).text
    assert "Dangerous: less restrictive" in text
    both = page.get("/learn", params={"words": "yellow over red"}).text
    assert both.index("Dangerous: less restrictive") < both.index("On the safe side")
    assert "The A plate is not noticed" in text


@pytest.mark.parametrize("phase", ["", "dark"])
def test_an_aspect_is_drawn(page: TestClient, phase: str) -> None:
    got = page.get("/learn/picture.jpg", params={"words": "flashing green over red", "phase": phase})
    assert got.status_code == 200 and got.content.startswith(b"\xff\xd8\xff")


@pytest.mark.parametrize("query", ["words=nonsense", "words=red&light=noon", "words=red&weather=../x"])
def test_nothing_else_is_drawn(page: TestClient, query: str) -> None:
    assert page.get(f"/learn/picture.jpg?{query}").status_code == 404


def test_a_drawing_is_read_as_a_photo(page: TestClient) -> None:
    got = page.post("/learn/read", data={"words": "yellow over red"})
    assert got.url.path.startswith("/read/") and "Rule&nbsp;411" in got.text
    assert page.post("/learn/read", data={"words": "nonsense"}).status_code == 404
