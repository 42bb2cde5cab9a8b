"""The annotated picture: marks on a copy, and below it a card for each signal and the caution.

The cards hide nothing of the picture: the sheet is longer than the picture. Sizes follow the sheet's width,
so that words stay legible when the whole is shown at the width of a phone. A signal too small to be marked
where it stands is shown enlarged on its card.
"""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from litlamp.aspects.cautions import LONG
from litlamp.box import Box, union_of
from litlamp.media.frame import Frame, Pixels
from litlamp.report.marks import View, mark_signal, ring_radius
from litlamp.report.sheet import INK, PAPER, RGB, Sheet, line_height, text_width, wrap
from litlamp.report.text import (
    differs,
    general_cautions,
    headed,
    may_be,
    own_cautions,
    sureness,
    tied,
    titled,
)

if TYPE_CHECKING:
    from litlamp.aspects.reading import Reading
    from litlamp.photo_reading import SourceReading
    from litlamp.sight.seen import SignalSeen

DEFAULT_MAX_SIDE = 1600
LEAST_MAX_SIDE = 320

_LEAST_WIDTH = 640
_SMALL_PICTURE = 1080  # a smaller picture is enlarged to this
_CARDS = 12  # signals beyond this many get one line each
_PANEL: RGB = (30, 35, 45)
_DIM: RGB = (178, 184, 194)
_HAZARD: RGB = (255, 196, 48)
_BAR: RGB = (214, 218, 226)


class PictureError(Exception):
    """The annotated picture could not be written; the message is one sentence."""


def annotate(frame: Frame, reading: SourceReading, *, max_side: int = DEFAULT_MAX_SIDE) -> Pixels:
    """The picture with what was read, as a new array.

    Parameters
    ----------
    frame : the upright picture; never written to.
    reading : what was read from it; boxes in px of `frame`.
    max_side : the picture's longer side on the sheet, px; the cards below come on top of it.

    Returns
    -------
    numpy.ndarray
        uint8 (H, W, 3), colour order R G B.

    Raises
    ------
    ValueError : `max_side` is under 320, or the reading is a failure.
    """
    if max_side < LEAST_MAX_SIDE:
        raise ValueError(f"max_side must be at least {LEAST_MAX_SIDE}, not {max_side}")
    if reading.failure is not None:
        raise ValueError("a source that could not be read has no picture to annotate")
    top = _picture(frame, max_side)
    unit = top.sheet.width / 1000
    taken: list[Box] = []  # by tags and numbers already there
    parts: list[Pixels] = []
    many = len(reading.signals) > 1
    for number, (seen, said) in enumerate(reading.signals, 1):
        others = [top.view.box(s.box) for s, _ in reading.signals if s is not seen]
        marked = _large(seen, top.view, unit) and mark_signal(
            top.sheet, top.view, seen, round(34 * unit), others, taken
        )
        if not marked or many:
            _numbered(top.sheet, top.view, seen, number if many else None, unit, others, taken)
        if number <= _CARDS:
            inset = None if marked else frame
            parts.append(_card(seen, said, number if many else None, inset, top.sheet.width))
        else:
            parts.append(_line(said, number, top.sheet.width))
    if not parts:
        parts.append(_none_found(top.sheet.width))
    parts.append(_caution(reading, top.sheet.width))
    return np.vstack([top.sheet.pixels, *parts])


@dataclass(frozen=True, slots=True)
class _Top:
    """The sheet that holds the picture, and where on it the picture lies."""

    sheet: Sheet
    view: View


def _picture(frame: Frame, max_side: int) -> _Top:
    w, h = frame.size
    longer = max(w, h)
    scale = max_side / longer if longer > max_side else max(1.0, min(_SMALL_PICTURE, max_side) / longer)
    wide, high = max(1, round(w * scale)), max(1, round(h * scale))
    shown = _resized(frame.rgb, wide, high)
    width = max(wide, round(0.5 * high), _LEAST_WIDTH)
    sheet = Sheet.blank(width, high)
    left = (width - wide) // 2
    sheet.paste(shown, left, 0)
    # A pixel's centre stays a pixel's centre: sheet = (x + 0.5) * scale - 0.5.
    return _Top(sheet, View(scale, left + (scale - 1) / 2, (scale - 1) / 2, Box(left, 0, left + wide, high)))


def _resized(rgb: Pixels, width: int, height: int) -> Pixels:
    h, w = rgb.shape[:2]
    if (w, h) == (width, height):
        return rgb
    if width * height < w * h:
        how = cv2.INTER_AREA
    else:
        # Much enlarged, the picture's own pixels are what there is to see.
        how = cv2.INTER_NEAREST if width >= 6 * w else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(rgb, (width, height), interpolation=how), np.uint8)


def _large(seen: SignalSeen, view: View, unit: float) -> bool:
    """Whether the heads are large enough on the sheet to be ringed where they stand."""
    return min((ring_radius(seen, h) for h in seen.heads), default=0.0) * view.scale >= 11 * unit


def _numbered(
    sheet: Sheet,
    view: View,
    seen: SignalSeen,
    number: int | None,
    unit: float,
    others: Sequence[Box],
    taken: list[Box],
) -> None:
    """A frame round the whole signal and its number, to find it by; the number keeps off what is taken."""
    stroke = max(1.5, 3 * unit)
    box = view.box(seen.box).grow(max(4 * stroke, 10 * unit))
    area = view.area.grow(-1.5 * stroke)
    shown = area
    if _overlap(box, area):
        shown = Box(max(box.x0, area.x0), max(box.y0, area.y0), min(box.x1, area.x1), min(box.y1, area.y1))
    sheet.frame(shown, PAPER, stroke)
    if number is None:
        return
    size = round(36 * unit)
    wide, high = text_width(str(number), size, True) + 0.7 * size, 1.3 * size
    places = [
        Box(x, y, x + wide, y + high)
        for x, y in (
            (shown.x0, shown.y0 - high - stroke),
            (shown.x0, shown.y1 + stroke),
            (shown.x0 - wide - stroke, shown.y0),
            (shown.x1 + stroke, shown.y0),
            (shown.x1 + stroke, shown.y1 - high),
            (shown.x0 - wide - stroke, shown.y1 - high),
        )
    ]
    inside = [b for b in places if b.clamp(sheet.width, sheet.height) == b] or places
    box = next((b for b in inside if not any(_overlap(b, t) for t in (*others, *taken))), inside[0])
    taken.append(box)
    _chip(sheet, box.x0, box.y0, number, size)


def _overlap(a: Box, b: Box) -> bool:
    return a.x0 < b.x1 and b.x0 < a.x1 and a.y0 < b.y1 and b.y0 < a.y1


def _chip(sheet: Sheet, x: float, y: float, number: int, size: int) -> float:
    """A signal's number in a light box; its width in px."""
    wide = text_width(str(number), size, True) + 0.7 * size
    sheet.fill(Box(x, y, x + wide, y + 1.3 * size), PAPER)
    sheet.text(x + 0.35 * size, y + 0.03 * size, str(number), size, INK, bold=True)
    return wide


@dataclass(frozen=True, slots=True)
class _Words:
    """One line of a card, or a bar filled to `filled` with its words beside it."""

    words: str
    size: int
    colour: RGB = PAPER
    bold: bool = False
    space: float = 0.0  # above the line, px
    filled: float | None = None


def _card_lines(said: Reading, width: float, unit: float) -> list[_Words]:
    head, body, small = round(52 * unit), round(35 * unit), round(29 * unit)
    lines: list[_Words] = []

    def add(words: str, size: int, colour: RGB = PAPER, bold: bool = False, space: float = 0.0) -> None:
        for i, line in enumerate(wrap(words, size, width, bold)):
            lines.append(_Words(line, size, colour, bold, 0.0 if i else space))

    if said.reading is None or said.guarded is None:
        add("No reading", head, bold=True)
        for step in said.why[:2]:
            add(step, small, _DIM, space=8 * unit)
    else:
        if differs(said):
            add("GUARDED READING", small, _HAZARD, bold=True)
            add(headed(said.guarded), head, bold=True)
            likely = "As likely as any," if tied(said) else "Most likely"
            add(f"{likely} {titled(said.reading)}:", body, space=12 * unit)
        else:
            add(headed(said.guarded), head, bold=True)
        lines.append(_Words(sureness(said.reading), body, PAPER, False, 12 * unit, said.reading.probability))
    add(said.aspect, body, _DIM, space=12 * unit)
    if differs(said) and len(said.set) > 1:
        add(f"May be {may_be(said, 3)}.", small, _DIM, space=10 * unit)
    for caution in own_cautions(said):
        add(f"! {caution}", small, _HAZARD, space=8 * unit)
    return lines


def _card(seen: SignalSeen, said: Reading, number: int | None, inset: Frame | None, width: int) -> Pixels:
    unit = width / 1000
    margin = round(30 * unit)
    left = margin
    high = 0.0
    if inset is not None:
        wide, tall = round(400 * unit), round(420 * unit)
        left += wide + margin
        high = tall
    body = round(35 * unit)
    chip = (
        0.0
        if number is None
        else text_width(str(number), round(44 * unit), True) + 0.7 * 44 * unit + margin / 2
    )
    lines = _card_lines(said, width - left - margin - chip, unit)
    high = round(max(high, sum(_line_high(line) for line in lines)) + 2 * margin)
    sheet = Sheet.blank(width, high, _PANEL)
    sheet.fill(Box(0, 0, width, max(2, 3 * unit)), INK)
    if inset is not None:
        _inset(sheet, inset, seen, Box(margin, margin, margin + wide, margin + tall), body)
    if number is not None:
        _chip(sheet, left, margin, number, round(44 * unit))
    _write(sheet, lines, left + chip, margin, width - left - margin - chip)
    return sheet.pixels


def _line_high(line: _Words) -> float:
    return line.space + line_height(line.size)


def _write(sheet: Sheet, lines: Sequence[_Words], x: float, y: float, width: float) -> None:
    for line in lines:
        y += line.space
        start = x
        if line.filled is not None:
            length = min(0.36 * width, width - text_width(line.words, line.size) - 0.5 * line.size)
            start += _bar(sheet, x, y, max(length, line.size), line.size, line.filled) + 0.5 * line.size
        sheet.text(start, y, line.words, line.size, line.colour, line.bold)
        y += line_height(line.size)


def _bar(sheet: Sheet, x: float, y: float, length: float, size: int, share: float) -> float:
    """How sure, as a bar; its length in px."""
    box = Box(x, y + 0.3 * size, x + length, y + 0.98 * size)
    edge = max(1.5, size / 16)
    sheet.fill(box, _BAR)
    sheet.fill(box.grow(-edge), INK)
    inner = box.grow(-2 * edge)
    sheet.fill(Box(inner.x0, inner.y0, inner.x0 + share * inner.width, inner.y1), _BAR)
    return length


def _inset(sheet: Sheet, frame: Frame, seen: SignalSeen, place: Box, size: int) -> None:
    """The signal enlarged and marked, in a part of the card."""
    tag = round(0.86 * size)
    parts = [*(head.box for head in seen.heads), *(plate.box for plate in seen.plates_seen)]
    core = union_of(parts if seen.heads else [seen.box, *parts])
    core = core.grow(0.5 * max(seen.resolution, 1.0))
    # The signal keeps to the left of the inset, so that its tags find room at the right.
    scale = min(0.42 * place.width / max(core.width, 0.5), place.height / max(core.height, 0.5))
    wide, high = place.width / scale, place.height / scale
    x0 = core.centre[0] - 0.26 * wide
    y0 = core.centre[1] - high / 2
    cut = Box(x0, y0, x0 + wide, y0 + high)
    to = (round(place.width), round(place.height))
    # Pixel (x, y) of the picture has its centre at (x, y): the map sends the inset's pixels back to it.
    back = np.array([[1 / scale, 0, cut.x0], [0, 1 / scale, cut.y0]], np.float64)
    how = (cv2.INTER_NEAREST if scale >= 8 else cv2.INTER_CUBIC) if scale >= 1 else cv2.INTER_AREA
    enlarged = cv2.warpAffine(
        _window(frame.rgb, cut, back), back, to, flags=how | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT, borderValue=INK,
    )  # fmt: skip
    sheet.paste(np.asarray(enlarged, np.uint8), round(place.x0), round(place.y0))
    view = View(scale, place.x0 - cut.x0 * scale, place.y0 - cut.y0 * scale, place)
    while tag >= 8 and not mark_signal(sheet, view, seen, tag, (), []):
        tag = round(0.8 * tag)
    sheet.frame(place, _DIM, max(1.5, size / 16))


def _window(rgb: Pixels, cut: Box, back: NDArray[np.float64]) -> Pixels:
    """The part of the picture that the inset needs; `back` is moved to it."""
    h, w = rgb.shape[:2]
    x0, y0 = (int(np.clip(np.floor(v) - 2, 0, n - 1)) for v, n in ((cut.x0, w), (cut.y0, h)))
    x1, y1 = (int(np.clip(np.ceil(v) + 3, 1, n)) for v, n in ((cut.x1, w), (cut.y1, h)))
    back[:, 2] -= (x0, y0)
    return rgb[y0 : max(y1, y0 + 1), x0 : max(x1, x0 + 1)]


def _line(said: Reading, number: int, width: int) -> Pixels:
    """A signal in one line, where there are too many for cards."""
    unit = width / 1000
    size = round(32 * unit)
    words = "No reading" if said.guarded is None else headed(said.guarded)
    if said.reading is not None:
        words += (
            f" (guarded; likeliest {titled(said.reading)})"
            if differs(said)
            else f", {sureness(said.reading)}"
        )
    lines = [_Words(line, size) for line in wrap(f"{number}  {words}", size, width - 60 * unit)]
    return _panel(lines, width, round(12 * unit))


def _none_found(width: int) -> Pixels:
    unit = width / 1000
    words = "That none was found does not mean that none is there: one may be too small, hidden or unlit."
    small = round(32 * unit)
    return _panel(
        [
            _Words("No signal found", round(52 * unit), bold=True),
            *(_Words(line, small, _DIM) for line in wrap(words, small, width - 60 * unit)),
        ],
        width,
        round(30 * unit),
    )


def _panel(lines: Sequence[_Words], width: int, margin: int) -> Pixels:
    sheet = Sheet.blank(width, round(sum(_line_high(line) for line in lines)) + 2 * margin, _PANEL)
    _write(sheet, lines, 30 * width / 1000, margin, width)
    return sheet.pixels


def _caution(reading: SourceReading, width: int) -> Pixels:
    """The foot: hazard stripes, the caution, and the book read by."""
    unit = width / 1000
    stripe, margin = max(6, round(20 * unit)), round(26 * unit)
    size, small = round(33 * unit), round(26 * unit)
    room = width - 60 * unit
    lead, _, rest = LONG.partition(": ")
    lines = [
        _Words(f"{lead}.", round(40 * unit), _HAZARD, bold=True),
        *(_Words(line, size) for line in wrap(rest[:1].upper() + rest[1:], size, room)),
    ]
    told = general_cautions(said for _, said in reading.signals)
    more = " ".join(told) or f"Read by {reading.book} {reading.edition}."
    lines += [
        _Words(line, small, _DIM, space=0.0 if i else 10 * unit)
        for i, line in enumerate(wrap(more, small, room))
    ]
    high = round(sum(_line_high(line) for line in lines)) + 2 * margin + stripe
    sheet = Sheet.blank(width, high)
    sheet.fill(Box(0, 0, width, stripe), _HAZARD)
    for x in range(-stripe, width + stripe, 3 * stripe):
        corners = [(x, stripe), (x + stripe, 0), (x + 2.5 * stripe, 0), (x + 1.5 * stripe, stripe)]
        cv2.fillPoly(sheet.pixels[:stripe], [np.rint(corners).astype(np.int32)], INK, cv2.LINE_AA)
    _write(sheet, lines, 30 * unit, stripe + margin, room)
    return sheet.pixels


def save_picture(pixels: Pixels, path: Path) -> None:
    """Write an RGB picture, whole or not at all: as JPEG where the name ends so, else as PNG.

    Raises
    ------
    PictureError : the place cannot be written to.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    jpeg = path.suffix.lower() in (".jpg", ".jpeg")
    try:
        if path.is_dir():
            raise IsADirectoryError(21, "that is a folder")
        with part.open("xb") as file:
            picture = Image.fromarray(pixels)
            if jpeg:
                picture.save(file, "JPEG", quality=92)
            else:
                picture.save(file, "PNG", compress_level=4)
        part.replace(path)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        said = (getattr(error, "strerror", None) or "unknown fault").lower()
        raise PictureError(f"the picture {path} could not be written: {said}") from None
    finally:
        with contextlib.suppress(OSError, ValueError):
            part.unlink(missing_ok=True)
