from __future__ import annotations

import io
import json
import zipfile

import pytest
from PIL import Image
from starlette.testclient import TestClient

from litlamp.page.taken import date_of, place_of
from litlamp.report.record import validate_line


@pytest.fixture(scope="module")
def tagged(sample: bytes) -> bytes:
    """The sample with a date and a position in its Exif."""
    image = Image.open(io.BytesIO(sample))
    exif = Image.Exif()
    exif[0x0132] = "2025:06:01 14:30:07"
    exif[0x010F] = "SecretCameraMaker"
    exif.get_ifd(0x8825).update({1: "N", 2: (45.0, 30.0, 0.0), 3: "W", 4: (73.0, 15.0, 36.0)})
    out = io.BytesIO()
    image.save(out, "JPEG", quality=95, exif=exif)
    return out.getvalue()


def keep(page: TestClient, data: bytes, **fields: str) -> str:
    key = page.post("/read", files={"file": ("mine.jpg", data)}).url.path.removeprefix("/read/")
    got = page.post("/keep", data={"key": key, "s": "1", **fields})
    assert got.status_code == 200, got.text
    return got.url.path


def test_date_and_position_only_with_consent(page: TestClient, tagged: bytes) -> None:
    without = page.get(keep(page, tagged, note="nothing of where")).text
    assert "2025-06-01" not in without and "45.5" not in without
    dated = page.get(keep(page, tagged, usedate="yes")).text
    assert "2025-06-01 14:30" in dated and "45.5" not in dated
    placed = page.get(keep(page, tagged, useplace="yes")).text
    assert "45.50000, -73.26000" in placed


def test_the_kept_file_holds_nothing_but_the_picture(page: TestClient, tagged: bytes) -> None:
    where = keep(page, tagged)
    for name in ("picture.jpg", "thumb.jpg"):
        data = page.get(f"{where}/{name}").content
        assert b"SecretCameraMaker" not in data and b"Exif" not in data
        assert not Image.open(io.BytesIO(data)).getexif()


def test_a_correction_is_kept_with_it(page: TestClient, sample: bytes) -> None:
    where = keep(page, sample, plateA="yes", settled="yes")
    text = page.get(where).text
    assert "There is an A plate" in text and "staggered, mast, A plate" in text
    assert page.post("/practise/ask", data={"origin": "own"}).url.path.count("/") == 2


def test_search_words_change_and_erase(page: TestClient, sample: bytes) -> None:
    where = keep(page, sample, note="by the old 100% mill", place="Brindle Halt")
    found = page.get("/keep", params={"find": "brindle 100% mill"}).text
    assert "by the old 100% mill" in found
    assert "Nothing holds all of" in page.get("/keep", params={"find": "mill nowhere_at_all"}).text
    assert "Nothing holds all of" in page.get("/keep", params={"find": "_________________ zz%"}).text
    page.post(where, data={"note": "<i>new</i>", "place": "Fenwick", "date": "1 May"})
    assert "&lt;i&gt;new&lt;/i&gt;" in page.get(where).text
    page.post(f"{where}/drop", data={})
    assert page.get(where).status_code == 200
    page.post(f"{where}/drop", data={"sure": "yes"})
    assert page.get(where).status_code == 404


def test_the_export_holds_json_lines_pictures_and_a_sheet(page: TestClient, sample: bytes) -> None:
    keep(page, sample, note="for the class", place="Export Vale")
    got = page.get("/keep/export.zip", params={"find": "Export Vale"})
    with zipfile.ZipFile(io.BytesIO(got.content)) as archive:
        assert archive.testzip() is None
        (line,) = archive.read("collection.jsonl").splitlines()
        one = json.loads(line)
        assert one["note"] == "for the class" and one["position"] is None
        assert "Never act on it" in one["caution"] or "never act on it" in one["caution"]
        assert archive.read(one["picture"]).startswith(b"\xff\xd8\xff")
        validate_line(json.dumps(one["reading"]))
        sheet = archive.read("sheet.html").decode()
        assert one["picture"] in sheet and "never act on it" in sheet
        assert sorted(archive.namelist()) == sorted(["collection.jsonl", "sheet.html", one["picture"]])


def test_the_sheet_with_and_without_answers(page: TestClient, sample: bytes) -> None:
    keep(page, sample)
    assert "Stop" in page.get("/keep/sheet").text
    assert "Stop, Rule" not in page.get("/keep/sheet?answers=no").text


@pytest.mark.parametrize("fields", [{}, {"key": "x", "s": "1"}, {"key": "../..", "s": "-1"}])
def test_what_is_not_held_is_not_kept(page: TestClient, fields: dict[str, str]) -> None:
    assert page.post("/keep", data=fields).status_code == 404


@pytest.mark.parametrize("said", [None, 5, "", "2025:13:01 10:00:00", "0000:00:00 00:00:00", "yesterday"])
def test_dates_that_are_none(said: object) -> None:
    assert date_of(said) is None


@pytest.mark.parametrize(
    "gps",
    [
        {},
        {1: "N", 2: (45.0,), 3: "W", 4: (1, 2, 3)},
        {2: ("x", 0, 0), 4: (0, 0, 0)},
        {2: (99.0, 0, 0), 4: (0, 0, 0)},
    ],
)
def test_positions_that_are_none(gps: dict[int, object]) -> None:
    assert place_of(gps) is None
