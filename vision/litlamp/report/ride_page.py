"""A ride as one page of HTML that needs nothing else: it opens offline, prints, and takes verdicts."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from html import escape
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from msgspec import UNSET

from litlamp.aspects.cautions import LONG, TRACK
from litlamp.media.sources import shown
from litlamp.report.glyph import glyph
from litlamp.report.record import encode
from litlamp.report.signal_table import settled
from litlamp.report.subtitles import in_short, rule_words
from litlamp.report.text import clock, percent
from litlamp.report.timeline import timeline
from litlamp.report.verdicts import (
    NOT_LIT,
    NOT_STANDARD,
    Choice,
    Item,
    Sheet,
    choices_of,
    verdict_bar,
    verdict_form,
    verdict_script,
    web_file,
)

if TYPE_CHECKING:
    from litlamp.aspects.rulebook import Rulebook
    from litlamp.footage_state import Passed
    from litlamp.report.footage_record import FootageSignal
    from litlamp.report.record import AspectRecord, RuleRecord
    from litlamp.ride import Ride

_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'"


def ride_page(ride: Ride, book: Rulebook, video: str | None = None) -> str:
    """The whole page. Nothing in it is fetched; pictures are part of it. `video`: what links lead to."""
    of = ride.record
    name = PurePath((shown(of.source) or "").replace("\\", "/")).name or "a ride"
    sheet = _sheet(ride, book)
    count = len(of.signals)
    found = {0: "No signal found", 1: "1 signal"}.get(count, f"{count} signals")
    length = of.duration_s or 0.0
    cards = "".join(_card(one, sheet.items[i], sheet.choices, video) for i, one in enumerate(ride.passed))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Signals of {escape(name)}</title><style>{web_file('page.css')}</style></head><body>"
        f'<div class="caution" role="note"><p>{escape(LONG)}</p></div>'
        f"<header><h1>Signals of {escape(name)}</h1>"
        f"<p>{found} in {escape(clock(length))}. Read by {escape(book.label)}; what leads is the guarded "
        "reading: the most restrictive that a signal may show.</p>"
        f"{_notes(ride)}</header><main>{_order(of.signals)}"
        f'<section aria-labelledby="over-time"><h2 id="over-time">Over time</h2>{timeline(of, length)}'
        f'<p class="dim">{_LEGEND if count else ""}</p></section>'
        f'<section aria-labelledby="signals"><h2 id="signals">Signal by signal</h2>'
        f"{cards or _NONE}</section></main>"
        f"{verdict_bar(sheet) if count else ''}"
        f"<footer>{_foot(ride, book)}</footer>"
        f"{verdict_script(sheet) if count else ''}</body></html>\n"
    )


_LEGEND = (
    "A bar lasts as long as its signal was seen, and is filled as high as its reading was sure; half as high "
    "while the guarded reading was another. The number is the signal's, and beside it stands the rule of its "
    "guarded reading. A stroke is a change of aspect; an exclamation mark, an order that does not hold."
)
_NONE = "<p>That none was found does not mean that none is there: one may be too small, hidden or unlit.</p>"


def _sheet(ride: Ride, book: Rulebook) -> Sheet:
    of = ride.record
    source: dict[str, Any] = {"source": of.source, "kind": "clip"}
    if of.duration_s is not None:
        source["duration_s"] = of.duration_s
    if of.size is not None:
        source["size"] = list(of.size)
    items = [
        Item(
            str(signal.footage.number),
            f"signal {signal.footage.number}",
            of.source,
            _read_as(signal),
            _truth_keys(signal),
        )
        for signal in of.signals
    ]
    mark = hashlib.sha256(encode(of)).hexdigest()[:16]
    stem = PurePath(of.source.replace("\\", "/")).stem or "ride"
    return Sheet(
        items,
        choices_of(book),
        [source],
        of.rulebook.edition,
        f"litlamp verdicts {mark}",
        f"{stem}-truth.jsonl",
        "I watched the whole ride: no signal is missing",
    )


def _read_as(signal: FootageSignal) -> Choice | None:
    """What marking the reading right says that the signal showed: the reading, not the guarded one."""
    if signal.reading is None:
        return NOT_LIT if signal.set and signal.set[0].name == NOT_LIT.label else None
    if signal.reading.rule is None:
        return NOT_STANDARD
    return Choice("rule", signal.reading.rule, rule_words(signal.reading))


def _truth_keys(signal: FootageSignal) -> dict[str, Any]:
    keys: dict[str, Any] = {"box": list(signal.box)}
    if signal.at_s is not UNSET:
        keys["at_s"] = signal.at_s
    if signal.span_s is not None:
        keys["span_s"] = list(signal.span_s)
    return keys


def _notes(ride: Ride) -> str:
    notes = [f"{note[:1].upper()}{note[1:]}." for note in ride.record.notes or ()]
    if ride.stopped and ride.record.footage:
        notes.append(f"Reading was stopped after {clock(ride.record.footage.read_to_s)}: more may follow.")
    return "".join(f'<p class="flag">{escape(note)}</p>' for note in notes)


def _order(signals: Sequence[FootageSignal]) -> str:
    flagged = [
        s
        for s in signals
        if s.footage.follows is not None and s.footage.follows.verdict in ("open", "broken")
    ]
    if not flagged:
        return ""
    rows = "".join(
        f'<li><a href="#signal-{s.footage.number}">Signal {s.footage.number}</a>: '
        f"{escape(s.footage.follows.words if s.footage.follows else '')}</li>"
        for s in flagged
    )
    return (
        '<section class="flag" aria-labelledby="order"><h2 id="order" style="margin-top:.2rem">Look here '
        "first: the order of signals does not hold</h2><p>Each signal announces what the next shall show.</p>"
        f"<ul>{rows}</ul></section>"
    )


def _card(one: Passed, item: Item, choices: Sequence[Choice], video: str | None) -> str:
    of = one.signal
    number, passed, span = of.footage.number, of.footage, of.span_s or (0.0, 0.0)
    watch = ""
    if video is not None:
        watch = f' <a href="{escape(video)}#t={span[0]:.1f},{span[1]:.1f}">Watch it</a>'
    parts = [
        f'<div class="lead">{glyph(of.aspect)}<div>'
        f'<h3 id="signal-{number}-name">{number}. {_headline(of)}</h3>'
        f"<p>{escape(of.aspect or 'no lamp made out')}</p></div></div>"
    ]
    if of.reading is not None and of.guarded is not None and of.reading.rule != of.guarded.rule:
        parts.append(
            f"<p>Likeliest: {escape(rule_words(of.reading))}, {percent(of.reading.probability)}. "
            f"May be: {escape(_may_be(of.set))}.</p>"
        )
    parts.append(f"<p>Seen {clock(span[0])} to {clock(span[1])}; {_ended(of)}. {_stood(of)}{watch}</p>")
    if of.aspects and len(of.aspects) > 1:
        rows = "".join(f"<li>{_showed(a)}</li>" for a in of.aspects)
        parts.append(f"<p>It showed in turn:</p><ul>{rows}</ul>")
    if passed.follows is not None:
        flag = ' class="flag"' if passed.follows.verdict in ("open", "broken") else ""
        parts.append(f"<p{flag}>Order: {escape(passed.follows.words)}</p>")
    parts.append(f'<p class="dim">{escape(_about(of))}</p>')
    for caution in of.cautions:
        if caution not in (LONG, TRACK) and not caution.startswith("Read by "):
            parts.append(f'<p class="flag">{escape(caution)}</p>')
    parts += [_known(of), _why(of), verdict_form(item, choices)]
    return (
        f'<article class="card" id="signal-{number}" aria-labelledby="signal-{number}-name">'
        f'<div class="pictures">{_pictures(one)}</div><div>{"".join(parts)}</div></article>'
    )


def _headline(of: FootageSignal) -> str:
    if of.reading is None or of.guarded is None:
        return "No reading"
    words = escape(rule_words(of.guarded))
    if of.reading.rule != of.guarded.rule:
        return f"Guarded reading: {words}"
    return f"{words} <span class='dim'>({percent(of.reading.probability)})</span>"


def _may_be(members: Sequence[RuleRecord]) -> str:
    named = "; ".join(f"{rule_words(r)}: {percent(r.probability)}" for r in members[:4])
    return named if len(members) <= 4 else f"{named}; and {len(members) - 4} less likely"


def _ended(of: FootageSignal) -> str:
    if of.footage.ended != "passed" or of.footage.side is None:
        return of.footage.ended
    return "passed overhead" if of.footage.side == "above" else f"passed on the {of.footage.side}"


def _stood(of: FootageSignal) -> str:
    stood = settled(of)
    return "" if stood is None else f"Its guarded reading stood from {clock(stood)}."


def _about(of: FootageSignal) -> str:
    faces = (
        "It faces the train."
        if of.footage.faces == "towards the train"
        else "Which way it faces is not known."
    )
    return f"{faces} {of.footage.track}"


def _showed(of: AspectRecord) -> str:
    return (
        f"{clock(of.from_s)} to {clock(of.to_s)}: {escape(of.aspect)}; "
        f"{escape(in_short(of.reading, of.guarded))}"
    )


def _known(of: FootageSignal) -> str:
    rows = "".join(
        f"<tr><td>{clock(k.at_s)}</td><td>{k.head_px:.0f}</td>"
        f"<td>{escape(in_short(k.reading, k.guarded))}</td></tr>"
        for k in of.footage.known
    )
    return (
        "<details><summary>What could be known, and when</summary><table><thead><tr>"
        '<th scope="col">At</th><th scope="col">Head, px</th><th scope="col">Reading from what had been seen'
        f"</th></tr></thead><tbody>{rows}</tbody></table></details>"
    )


def _why(of: FootageSignal) -> str:
    rows = "".join(f"<li>{escape(words)}</li>" for words in of.why)
    return f"<details><summary>Why</summary><ul>{rows}</ul></details>"


def _pictures(one: Passed) -> str:
    number = one.signal.footage.number
    order = list(range(len(one.pictures)))
    if one.best is not None:
        order.remove(one.best)
        order.insert(0, one.best)
    out = []
    for i in order:
        picture = one.pictures[i]
        data = base64.b64encode(picture.jpeg).decode("ascii")
        out.append(
            f'<figure><img src="data:image/jpeg;base64,{data}" alt="Signal {number} at '
            f'{clock(picture.at_s)}: {escape(_aspect_at(one.signal, picture.at_s))}">'
            f"<figcaption>{clock(picture.at_s)}</figcaption></figure>"
        )
    return "".join(out) or '<p class="dim">No picture was kept.</p>'


def _aspect_at(of: FootageSignal, at: float) -> str:
    within = [a.aspect for a in of.aspects or () if a.from_s <= at + 1e-3]
    return within[-1] if within else of.aspect


def _foot(ride: Ride, book: Rulebook) -> str:
    of = ride.record
    model = ", ".join(of.model.values())
    return (
        f"<p>{escape(TRACK)} Read by {escape(book.label)}: other books and editions differ. Museum lines may "
        f"follow older codes or instructions of their own.</p>"
        f'<p class="dim">litlamp {escape(of.litlamp)}; {escape(model)}</p>'
        f"<p><strong>{escape(LONG)}</strong></p>"
    )
