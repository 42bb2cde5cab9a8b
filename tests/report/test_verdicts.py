from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from litlamp.aspects.rulebook import load_book
from litlamp.collection.truth_file import parse_truth
from litlamp.report.verdicts import (
    NO_SIGNAL,
    NOT_LIT,
    Choice,
    Item,
    Sheet,
    choices_of,
    in_script,
    verdict_bar,
    verdict_form,
    verdict_script,
)

BOOK = load_book()
CLEAR = Choice("rule", "405", "Clear, Rule 405")
BOX = [10.0, 20.0, 30.0, 60.0]
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


def item(key: str, source: str = "a.jpg", right: Choice | None = CLEAR, signal: Any = None) -> Item:
    return Item(key, f"signal {key}", source, right, {"box": BOX} if signal is None else signal or None)


def sheet(*items: Item, sources: tuple[str, ...] = ("a.jpg",)) -> Sheet:
    return Sheet(items, choices_of(BOOK), [{"source": s, "kind": "photo"} for s in sources], "2025", "t")


def page(of: Sheet, more: str = "") -> str:
    forms = "".join(verdict_form(one, of.choices) for one in of.items)
    return f"<!DOCTYPE html><html><body>{forms}{verdict_bar(of)}{verdict_script(of)}{more}</body></html>"


def test_every_rule_that_a_signal_can_show_may_be_picked_once() -> None:
    values = [choice.value for choice in choices_of(BOOK)]
    assert len(values) == len(set(values))
    shown = {rule.number for rule in BOOK.rules if rule.aspects}
    assert shown <= set(values)
    assert {"not standard", "not lit", "no signal"} <= set(values)


def test_a_source_that_is_not_listed_or_a_key_that_comes_twice_is_refused() -> None:
    with pytest.raises(ValueError):
        sheet(item("1"), item("1"))
    with pytest.raises(ValueError):
        sheet(item("1", "elsewhere.jpg"))


class Fields(HTMLParser):
    """What a reader of the page by ear is told of: labelled controls."""

    def __init__(self) -> None:
        super().__init__()
        self.labels, self.radios, self.bare = 0, [], 0
        self._depth = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self._depth += tag == "label"
        if tag in ("input", "select"):
            self.bare += self._depth == 0 and "aria-label" not in given
        if tag == "input":
            self.radios.append(given.get("value"))

    def handle_endtag(self, tag: str) -> None:
        self._depth -= tag == "label"


def test_every_control_has_its_label_and_what_was_not_read_cannot_be_right() -> None:
    fields = Fields()
    fields.feed(verdict_form(item("1"), choices_of(BOOK)))
    assert fields.radios == ["right", "wrong", "unclear"]
    assert fields.bare == 0
    fields = Fields()
    fields.feed(verdict_form(item("1", right=None), choices_of(BOOK)))
    assert fields.radios == ["wrong", "unclear"]


def test_nothing_in_the_data_ends_the_script() -> None:
    nasty = "</script><script>alert(1)</script><!-- &amp;"
    text = in_script({"source": nasty})
    assert "<" not in text and ">" not in text
    assert json.loads(text)["source"] == nasty
    form = verdict_form(Item("1", nasty, "a.jpg", Choice("rule", "1", nasty), None), choices_of(BOOK))
    assert "<script>" not in form and html.escape(nasty) in form


def saved(tmp_path: Path, of: Sheet, clicks: str) -> list[dict[str, Any]]:
    """The lines that the page saves after these clicks, by a real browser."""
    if BROWSER is None:
        pytest.skip("no browser to try the page in")
    catch = """<pre id="caught"></pre><script>
      HTMLAnchorElement.prototype.click = function () {};
      URL.createObjectURL = (blob) => { blob.text().then((t) => {
        document.getElementById("caught").textContent = t; }); return "blob:none"; };
      const pick = (key, verdict, choice) => {
        const form = document.querySelector(`fieldset[data-item="${key}"]`);
        form.querySelector(`input[value="${verdict}"]`).click();
        if (choice) { const s = form.querySelector("select"); s.value = choice;
          s.dispatchEvent(new Event("change", { bubbles: true })); } };
      """
    file = tmp_path / "page.html"
    click = 'document.getElementById("verdict-save").click();'
    file.write_text(page(of, f"{catch}{clicks}{click}</script>"), "utf-8")
    done = subprocess.run(
        [
            BROWSER, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path / 'profile'}",
            "--virtual-time-budget=2000", "--dump-dom", file.as_uri(),
        ],
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    found = re.search(r'<pre id="caught">(.*?)</pre>', done.stdout, re.DOTALL)
    assert found is not None, done.stderr[-500:]
    lines = html.unescape(found.group(1)).splitlines()
    return [json.loads(line) for line in lines]


@pytest.mark.slow
def test_what_is_marked_is_saved_as_truth(tmp_path: Path) -> None:
    of = sheet(
        item("1"), item("2"), item("3"), item("4"), item("5"), item("6", "b.jpg"), item("7", "c.jpg"),
        sources=("a.jpg", "b.jpg", "c.jpg"),
    )  # fmt: skip
    lines = saved(
        tmp_path,
        of,
        'pick("1", "right"); pick("2", "wrong", "439"); pick("3", "unclear"); pick("4", "wrong", "not lit");'
        'pick("5", "wrong", "no signal"); pick("6", "right");'
        'document.getElementById("verdict-complete").click();',
    )
    data = "".join(json.dumps(line) + "\n" for line in lines).encode()
    a, b = parse_truth(data, "saved")
    assert [(s.ruled, s.rule) for s in a.signals] == [
        (True, "405"),
        (True, "439"),
        (False, None),
        (True, None),
    ]
    assert a.signals[3].lit is False and a.signals[0].lit is None
    assert all(s.box.as_list() == BOX for s in a.signals)
    assert [kind for kind, _ in a.others] == ["no signal"]
    assert a.complete and b.complete
    assert lines[0]["signals"][0]["edition"] == "2025"
    assert b.source == "b.jpg"  # nothing was marked of c.jpg


@pytest.mark.slow
def test_half_marked_is_not_complete_and_a_picture_without_a_signal_can_be_right(tmp_path: Path) -> None:
    of = sheet(
        item("1"), item("2"), item("e", "empty.jpg", NO_SIGNAL, signal={}), item("m", "missed.jpg", NO_SIGNAL,
        signal={}), sources=("a.jpg", "empty.jpg", "missed.jpg"),
    )  # fmt: skip
    lines = saved(
        tmp_path,
        of,
        'document.getElementById("verdict-complete").click();'
        'pick("1", "wrong"); pick("e", "right"); pick("m", "wrong", "405");',
    )
    half, empty, missed = lines
    assert half["complete"] is False
    assert "rule" not in half["signals"][0]  # wrong, but not what it was
    assert (empty["complete"], empty["signals"]) == (True, [])
    assert (missed["complete"], missed["signals"]) == (False, [])


def test_the_choice_not_lit_is_what_records_call_it() -> None:
    from litlamp.report.record import OUTCOME_NAMES

    assert NOT_LIT.label == OUTCOME_NAMES["not_lit"]
