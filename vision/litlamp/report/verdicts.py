"""The part of a page in which a reviewer marks readings right, wrong or unclear, and saves them as truth.

It asks for the same of photographs and of the signals of a ride: a page places `verdict_form` beside each
picture, and `verdict_bar` and `verdict_script` once at its end. What is saved is a file of truth
(`litlamp.collection.truth_file`). Marks are kept in the browser under `Sheet.store`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from importlib.resources import files
from typing import Any, Literal

from litlamp.aspects.rulebook import Rulebook

Kind = Literal["rule", "not standard", "not lit", "no signal"]


@dataclass(frozen=True, slots=True)
class Choice:
    """What a signal may have shown, as the reviewer picks it; `rule` is None unless it is one."""

    kind: Kind
    rule: str | None
    label: str

    @property
    def value(self) -> str:
        """As the page names it."""
        return self.rule if self.rule is not None else self.kind


NOT_STANDARD = Choice("not standard", None, "not a standard aspect")
NOT_LIT = Choice("not lit", None, "not lit")
NO_SIGNAL = Choice("no signal", None, "no signal there, or one seen from behind")


@dataclass(frozen=True, slots=True)
class Item:
    """One reading to be marked.

    Attributes
    ----------
    key : tells it from the others of the page: letters, digits, "-".
    title : what it is called: "signal 3".
    source : the source it is of, as in the readings.
    right : what it was read as; None where nothing was read, which can then not be marked right.
    signal : its keys in a line of truth, without the rule: `box` at least. None stands for a picture in
        which no signal was found.
    """

    key: str
    title: str
    source: str
    right: Choice | None
    signal: Mapping[str, Any] | None


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that is marked on one page.

    Attributes
    ----------
    choices : what may be picked, in order; see `choices_of`.
    sources : the keys of each source's line of truth besides its signals; `source` at least.
    edition : of the book that the rules are of.
    store : under which name the browser keeps the marks.
    file : name of the file that is saved.
    whole : what the reviewer says by ticking that nothing is missing.
    """

    items: Sequence[Item]
    choices: Sequence[Choice]
    sources: Sequence[Mapping[str, Any]]
    edition: str
    store: str
    file: str = "truth.jsonl"
    whole: str = "I looked at all of it: no signal is missing"

    def __post_init__(self) -> None:
        named = {source["source"] for source in self.sources}
        keys = [item.key for item in self.items]
        if len(set(keys)) != len(keys) or any(item.source not in named for item in self.items):
            raise ValueError("every item has a key of its own and a source that is listed")


def choices_of(book: Rulebook) -> tuple[Choice, ...]:
    """The rules that a signal of this book can show, in its order, and what is none of them."""
    shown = [rule for rule in book.rules if rule.aspects and not rule.qualifier]
    if book.partly_dark is not None:
        shown.append(book.partly_dark.rule)
    rules = [Choice("rule", rule.number, f"{rule.name}, Rule {rule.number}") for rule in shown]
    return (*rules, NOT_STANDARD, NOT_LIT, NO_SIGNAL)


def verdict_form(item: Item, choices: Sequence[Choice]) -> str:
    """The questions on one reading, as HTML; hidden until the page's script is at work."""
    name = f"verdict-{escape(item.key)}"
    right = ""
    if item.right is not None:
        words = escape(item.right.label)
        right = f'<label><input type="radio" name="{name}" value="right">Right: {words}</label>'
    options = "".join(f'<option value="{escape(c.value)}">{escape(c.label)}</option>' for c in choices)
    return (
        f'<fieldset data-item="{escape(item.key)}" hidden>'
        f"<legend>Your verdict on {escape(item.title)}</legend>{right}"
        f'<label><input type="radio" name="{name}" value="wrong">Wrong</label>'
        f'<label class="verdict-which" hidden>It was <select aria-label="What {escape(item.title)} showed">'
        f'<option value="">pick what it showed</option>{options}</select></label>'
        f'<label><input type="radio" name="{name}" value="unclear">Unclear: the picture does not tell</label>'
        f'<button type="button" class="verdict-back" hidden>Take back</button>'
        f'<p class="verdict-said">not marked</p></fieldset>'
    )


def verdict_bar(sheet: Sheet) -> str:
    """How far the marking is, and the button that saves it; as HTML."""
    return (
        '<section id="verdict-bar" aria-label="Your verdicts" hidden><div>'
        '<p><strong id="verdict-count" role="status"></strong> '
        '<span id="verdict-saved" role="status" class="dim"></span></p>'
        f'<label><input type="checkbox" id="verdict-complete">{escape(sheet.whole)}</label>'
        f'<button type="button" id="verdict-save">Save {escape(sheet.file)}</button>'
        "</div></section>"
        "<noscript><p>Marking readings needs JavaScript, which is switched off here.</p></noscript>"
    )


def verdict_script(sheet: Sheet) -> str:
    """The data and the script, as HTML, to stand at the page's end."""
    data = {
        "items": [
            {
                "key": item.key,
                "source": item.source,
                "reading": "" if item.right is None else item.right.label,
                "right": None if item.right is None else _choice(item.right),
                "signal": item.signal,
            }
            for item in sheet.items
        ],
        "choices": [_choice(choice) for choice in sheet.choices],
        "sources": list(sheet.sources),
        "edition": sheet.edition,
        "store": sheet.store,
        "file": sheet.file,
    }
    return (
        f'<script type="application/json" id="verdict-data">{in_script(data)}</script>'
        f"<script>{web_file('verdicts.js')}</script>"
    )


def _choice(of: Choice) -> dict[str, str | None]:
    return {"value": of.value, "kind": of.kind, "rule": of.rule, "label": of.label}


def in_script(data: object) -> str:
    """JSON that can stand inside a page's script element, whatever it holds."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


@cache
def web_file(name: str) -> str:
    """A style sheet or script of the pages."""
    return files("litlamp.report").joinpath("web", name).read_text(encoding="utf-8")
