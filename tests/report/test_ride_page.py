from __future__ import annotations

import json
import re
from html.parser import HTMLParser

import pytest

from litlamp.aspects.cautions import LONG
from litlamp.aspects.rulebook import load_book
from litlamp.collection.truth_file import parse_truth
from litlamp.report.ride_page import ride_page
from litlamp.report.timeline import minutes, timeline

BOOK = load_book()
VOID = {"meta", "img", "input", "br", "hr", "link"}


class Page(HTMLParser):
    """Whether every element is closed in turn, what it refers to, and its ids."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.refers: list[str] = []
        self.ids: list[str] = []
        self.images: list[dict[str, str | None]] = []
        self.tags: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.tags.add(tag)
        if tag not in VOID:
            self.open.append(tag)
        self.refers += [v for k, v in attrs if k in ("src", "href", "action", "data") and v is not None]
        if given.get("id"):
            self.ids.append(str(given["id"]))
        if tag == "img":
            self.images.append(given)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open[-1] == tag, f"</{tag}> while {self.open[-3:]} are open"
        self.open.pop()


def test_it_is_sound_fetches_nothing_and_shows_the_caution(ride_by_hand, by_hand) -> None:
    text = ride_page(ride_by_hand(said=[by_hand.guarded()]), BOOK)
    page = Page(text)
    assert page.open == []
    assert len(page.ids) == len(set(page.ids))
    for reference in page.refers:
        assert reference.startswith(("#", "data:image/jpeg;base64,")), reference
    for anchor in (r[1:] for r in page.refers if r.startswith("#")):
        assert anchor in page.ids
    assert not re.search(r"url\(|@import|https?://", text)
    assert text.count(LONG) >= 2
    assert "link" not in page.tags and "iframe" not in page.tags
    assert all(image.get("alt") for image in page.images)


def test_the_guarded_reading_leads_and_right_means_the_reading(ride_by_hand, by_hand) -> None:
    text = ride_page(ride_by_hand([(1, 3)], [by_hand.guarded()]), BOOK)
    assert "1. Guarded reading: Stop, Rule 439" in text
    assert "Right: Restricting, Rule 436" in text


def test_what_was_not_lit_may_be_marked_so_and_nothing_read_cannot_be_right(ride_by_hand, by_hand) -> None:
    text = ride_page(ride_by_hand([(1, 3)], [by_hand.nothing()]), BOOK)
    assert "1. No reading" in text
    assert 'value="right"' not in text or "Right: not lit" in text


def test_an_order_that_does_not_hold_is_told_first(ride_by_hand) -> None:
    text = ride_page(ride_by_hand(), BOOK)  # Clear to Stop twice: the second is no stop
    assert text.index("the order of signals does not hold") < text.index("Signal by signal")
    assert "the order of signals" not in ride_page(ride_by_hand([(1, 3)]), BOOK)


def test_names_cannot_break_out_of_it(ride_by_hand) -> None:
    text = ride_page(ride_by_hand(source='x"><script>alert(1)</script>&.mp4'), BOOK)
    assert "<script>alert" not in text
    assert Page(text).open == []


def test_what_it_would_save_is_a_line_of_truth(ride_by_hand) -> None:
    ride = ride_by_hand()
    found = re.search(r'id="verdict-data">(.*?)</script>', ride_page(ride, BOOK))
    assert found is not None
    data = json.loads(found.group(1))
    (source,) = data["sources"]
    signals = [{**i["signal"], "rule": i["right"]["rule"], "edition": data["edition"]} for i in data["items"]]
    line = json.dumps({**source, "complete": True, "signals": signals}).encode()
    (truth,) = parse_truth(line, "saved")
    assert truth.kind == "clip" and truth.source == ride.record.source
    assert [s.rule for s in truth.signals] == ["411", "411"]
    assert [s.span for s in truth.signals] == [(1.0, 4.0), (5.0, 9.0)]


def test_none_found_says_so_without_a_verdict_to_give(ride_by_hand) -> None:
    text = ride_page(ride_by_hand([]), BOOK)
    assert "does not mean that none is there" in text
    assert "verdict-save" not in text.partition("</style>")[2]


def test_what_was_not_read_to_its_end_is_told(ride_by_hand) -> None:
    from dataclasses import replace

    assert "Reading was stopped after" in ride_page(replace(ride_by_hand(), stopped=True), BOOK)


@pytest.mark.parametrize("length", [1.0, 59.0, 61.0, 1300.0, 4000.0, 20_000.0])
def test_the_timeline_holds_every_signal_at_any_length(ride_by_hand, length) -> None:
    spans = [(length * i / 12, length * (i + 0.6) / 12) for i in range(12)]
    ride = ride_by_hand(spans, length=length)
    drawn = timeline(ride.record, length)
    page = Page(drawn)
    assert page.open == []
    assert set(page.refers) == {f"#signal-{i}" for i in range(1, 13)}
    for x, wide in re.findall(r'x="([\d.]+)%" y="[\d.]+" width="([\d.]+)%"', drawn):
        assert 0 <= float(x) <= 100 and float(wide) >= 0 and float(x) + float(wide) <= 100.5


def test_labels_at_one_time_stand_in_lanes_of_their_own(ride_by_hand) -> None:
    ride = ride_by_hand([(1.0, 9.0), (1.0, 9.0), (1.2, 2.0)])
    labels = re.findall(r'<text x="[\d.]+%" y="(\d+)"><tspan', timeline(ride.record, 10.0))
    assert len(set(labels)) == 3


def test_minutes() -> None:
    assert [minutes(s) for s in (0, 65, 3599.7, 3725)] == ["0:00", "1:05", "1:00:00", "1:02:05"]
