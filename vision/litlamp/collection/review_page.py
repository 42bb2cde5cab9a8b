"""A sample as one page of HTML on which a person marks each reading; what is saved is a file of truth."""

from __future__ import annotations

import base64
import hashlib
import io
import os
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import msgspec
from msgspec import UNSET

from litlamp.aspects.cautions import LONG
from litlamp.box import Box
from litlamp.collection.as_crops import cut_out, of_each_signal
from litlamp.collection.label_line import LabelRecord
from litlamp.collection.strata import Member, Sample
from litlamp.report.subtitles import in_short, rule_words
from litlamp.report.verdicts import (
    NO_SIGNAL,
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
    from litlamp.media.frame import Pixels
    from litlamp.report.record import SignalRecord

_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'"
_STYLE = (
    "@media (min-width: 44rem) { .card { grid-template-columns: 27rem minmax(0, 1fr); } "
    ".pictures figure { flex: 1 1 12rem; max-width: none; } .pictures img { max-height: 26rem; } }"
)  # what is judged is the picture: it has the room
_WHOLE, _NEAR, _ALONE = 640, 320, 900  # px of the longer side of a picture on the page


def review_page(sample: Sample, book: Rulebook, path_of: Callable[[str], str], beside: Path) -> str:
    """The whole page; pictures are part of it, as far as their sources can still be opened.

    Parameters
    ----------
    path_of : from a record's source to a path to open it by.
    beside : the folder that the page will lie in: links to clips lead from there.
    """
    choices = choices_of(book)
    items: list[Item] = []
    cards: list[str] = []
    for at, (member, record) in enumerate(zip(sample.members, sample.records, strict=True), 1):
        path = path_of(record.source)
        own = _items(at, record)
        items += own
        cards.append(_card(at, member, record, own, choices, path, beside))
    mark = hashlib.sha256(msgspec.json.encode(sample.members)).hexdigest()[:16]
    sheet = Sheet(
        items,
        choices,
        [_source(record) for record in sample.records],
        book.edition,
        f"litlamp verdicts {mark}",
        "truth.jsonl",
        "I looked at all of each picture: no signal is missing",
    )
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{len(cards)} sources to check</title><style>{web_file('page.css')}{_STYLE}</style></head>"
        "<body>"
        f'<div class="caution" role="note"><p>{escape(LONG)}</p></div>'
        f"<header><h1>{len(cards)} sources to check</h1>"
        f"<p>Drawn by chance from {sample.sources:,} that could be read. Say of each reading whether it is "
        "right; what is marked is the most likely reading, not the guarded one. Save the truth at the end, "
        "then <code>litlamp score truth.jsonl readings.jsonl --weights weights.jsonl</code> says how good "
        "the whole collection is.</p></header>"
        f"<main>{''.join(cards)}</main>{verdict_bar(sheet)}"
        f"<footer><p><strong>{escape(LONG)}</strong></p></footer>{verdict_script(sheet)}</body></html>\n"
    )


def _source(of: LabelRecord) -> dict[str, Any]:
    line: dict[str, Any] = {"source": of.source}
    if of.kind == "clip":
        line["kind"] = "clip"
        if of.duration_s is not None:
            line["duration_s"] = of.duration_s
    if of.size is not None:
        line["size"] = list(of.size)
    return line


def _items(at: int, of: LabelRecord) -> list[Item]:
    if not of.signals:
        return [Item(f"{at}-0", "this picture", of.source, NO_SIGNAL, None)]
    return [
        Item(f"{at}-{number}", f"signal {number}", of.source, _read_as(signal), _keys(signal))
        for number, signal in enumerate(of.signals, 1)
    ]


def _read_as(of: SignalRecord) -> Choice | None:
    if of.reading is None:
        return NOT_LIT if of.set and of.set[0].name == NOT_LIT.label else None
    if of.reading.rule is None:
        return NOT_LIT if of.reading.name == NOT_LIT.label else NOT_STANDARD
    return Choice("rule", of.reading.rule, rule_words(of.reading))


def _keys(of: SignalRecord) -> dict[str, Any]:
    keys: dict[str, Any] = {"box": list(of.box)}
    if of.at_s is not UNSET:
        keys["at_s"] = of.at_s
    if of.span_s is not None:
        keys["span_s"] = list(of.span_s)
    return keys


def _card(
    at: int,
    member: Member,
    of: LabelRecord,
    items: list[Item],
    choices: tuple[Choice, ...],
    path: str,
    beside: Path,
) -> str:
    words = f"{at}. {Path(of.source).name}"
    parts = [
        f'<h3 id="source-{at}-name">{escape(words)}</h3>',
        f'<p class="dim">{escape(member.stratum)}</p>',
    ]
    if of.kind == "clip":
        parts.append(f'<p><a href="{escape(_link(path, beside))}">Watch the clip</a></p>')
    pictures: list[str] = []
    if of.signals:
        drawn = dict(of_each_signal(of, path, _both))
        for number, (signal, item) in enumerate(zip(of.signals, items, strict=True), 1):
            pictures += [_figure(jpeg, f"{item.title} of {words}") for jpeg in drawn.get(number, ())]
            said = in_short(signal.reading, signal.guarded)
            parts.append(
                f"<p><strong>Signal {number}</strong>: {escape(said)}; "
                f"{escape(signal.aspect or 'no lamp made out')}</p>"
            )
            parts.append(verdict_form(item, choices))
    else:
        pictures += [_figure(jpeg, words) for jpeg in _alone(of, path)]
        parts += ["<p>No signal was found.</p>", verdict_form(items[0], choices)]
    shown = "".join(pictures) or '<p class="flag">It cannot be opened as it was when it was read.</p>'
    return (
        f'<article class="card" aria-labelledby="source-{at}-name">'
        f'<div class="pictures">{shown}</div><div>{"".join(parts)}</div></article>'
    )


def _both(rgb: Pixels, signal: SignalRecord) -> tuple[bytes, bytes]:
    """The signal by itself, and where it is in the whole picture, as JPEG."""
    import cv2

    near = _jpeg(cut_out(rgb, signal), _NEAR)
    by = min(_WHOLE / max(rgb.shape[:2]), 1.0)
    size = max(round(rgb.shape[1] * by), 1), max(round(rgb.shape[0] * by), 1)
    small: Pixels = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA).astype("uint8")
    box = Box(*signal.box).scale(by).grow(4)
    corners = (round(box.x0), round(box.y0)), (round(box.x1), round(box.y1))
    cv2.rectangle(small, *corners, (27, 31, 39), 4)
    cv2.rectangle(small, *corners, (255, 196, 48), 2)
    return near, _jpeg(small, _WHOLE)


def _alone(of: LabelRecord, path: str) -> list[bytes]:
    """The photograph, or the middle of the clip's beginning: what is to be searched for a signal."""
    from litlamp.media.clip import open_clip
    from litlamp.media.errors import MediaError
    from litlamp.media.photo import read_photo

    try:
        if of.kind == "photo":
            frame = read_photo(path)
        else:
            with open_clip(path) as clip:
                frame = next(clip).frame()
    except (MediaError, StopIteration):
        return []
    return [_jpeg(frame.rgb, _ALONE)] if frame.size == of.size else []


def _jpeg(rgb: Pixels, side: int) -> bytes:
    from PIL import Image

    picture = Image.fromarray(rgb)
    if max(picture.size) > side:
        picture.thumbnail((side, side))
    elif max(picture.size) < side // 2:  # a small signal, as large as it can be judged by its pixels
        by = min(side / 2 / max(picture.size), 8)
        picture = picture.resize(
            (round(picture.width * by), round(picture.height * by)), Image.Resampling.BICUBIC
        )
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=85)
    return out.getvalue()


def _figure(jpeg: bytes, words: str) -> str:
    data = base64.b64encode(jpeg).decode("ascii")
    return f'<figure><img src="data:image/jpeg;base64,{data}" alt="{escape(words)}"></figure>'


def _link(path: str, beside: Path) -> str:
    return quote(os.fsencode(os.path.relpath(path, beside)))
