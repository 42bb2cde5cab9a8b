"""What is drawn on a signal: for each colour a ring of its own shape, plates, axis, and tags of words.

Colour is never the only sign: each lamp's colour is a shape and a word too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from litlamp.aspects.aspect import Colour
from litlamp.box import Box
from litlamp.report.sheet import INK, PAPER, RGB, Point, Sheet, line_height, text_width
from litlamp.report.text import percent
from litlamp.sight.seen import HeadSeen, PlateSeen, SignalSeen

STROKE: dict[Colour, RGB] = {
    "red": (255, 92, 80),
    "yellow": (255, 206, 58),
    "green": (70, 225, 140),
    "lunar": (205, 222, 255),
    "dark": (176, 180, 188),
}
_AXIS: RGB = (120, 205, 255)
_PLATE: RGB = (250, 250, 250)
# How far each ring reaches sideways, in its radius.
_REACH: dict[Colour, float] = {"red": 0.92, "yellow": 1.25, "green": 1.0, "lunar": 1.0, "dark": 1.0}
_SURE = 0.9  # below this a colour is tagged with a question mark and its probability


@dataclass(frozen=True, slots=True)
class View:
    """Where a picture lies on a sheet: sheet = picture * scale + (dx, dy), seen through `area`."""

    scale: float
    dx: float
    dy: float
    area: Box

    def point(self, x: float, y: float) -> Point:
        """A point of the picture on the sheet."""
        return x * self.scale + self.dx, y * self.scale + self.dy

    def box(self, box: Box) -> Box:
        """A box of the picture on the sheet."""
        return box.scale(self.scale).shift(self.dx, self.dy)


@dataclass(frozen=True, slots=True)
class Tag:
    """Words beside a thing on the sheet at (x, y); `reach` is the thing's half width, px."""

    words: str
    colour: RGB
    x: float
    y: float
    reach: float


def likeliest(head: HeadSeen) -> tuple[Colour, float]:
    """The most probable colour and its probability."""
    colour = max(head.colour, key=lambda c: head.colour[c])
    return colour, head.colour[colour]


def head_words(head: HeadSeen) -> str:
    """A head as it is tagged: "yellow", "flashing green", "red? 71 %"."""
    colour, sure = likeliest(head)
    words = f"flashing {colour}" if head.flashing is not None and head.flashing >= 0.5 else colour
    return words if sure >= _SURE else f"{words}? {percent(sure)}"


def plate_words(plate: PlateSeen, number: str | None) -> str:
    """A plate as it is tagged: "R plate", "number 1042", "plate, not legible"."""
    letters = max(plate.letters, key=lambda k: plate.letters[k])
    if letters == "number":
        return f"number {number}" if number else "number plate"
    if letters == "other":
        return "plate, not legible"
    sure = plate.letters[letters]
    return f"{letters} plate" if sure >= _SURE else f"{letters} plate? {percent(sure)}"


def ring(sheet: Sheet, colour: Colour, x: float, y: float, r: float, width: float) -> None:
    """One lamp's ring: red a square, yellow a diamond, green a circle, lunar two crescents, dark dashes."""
    stroke = STROKE[colour]
    if colour == "red":
        s = 0.92 * r
        sheet.cased([(x - s, y - s), (x + s, y - s), (x + s, y + s), (x - s, y + s)], stroke, width, True)
    elif colour == "yellow":
        s = 1.25 * r
        sheet.cased([(x, y - s), (x + s, y), (x, y + s), (x - s, y)], stroke, width, True)
    elif colour == "green":
        sheet.cased(_arc(x, y, r, 0, 360)[:-1], stroke, width, True)
    elif colour == "lunar":
        sheet.cased(_arc(x, y, r, -62, 62), stroke, width)
        sheet.cased(_arc(x, y, r, 118, 242), stroke, width)
    else:
        for start in range(0, 360, 45):
            sheet.cased(_arc(x, y, r, start, start + 22), stroke, width)


def rays(sheet: Sheet, colour: Colour, x: float, y: float, r: float, width: float) -> None:
    """Short rays round a ring: this lamp flashes."""
    for degrees in range(0, 360, 45):
        c, s = math.cos(math.radians(degrees + 22.5)), math.sin(math.radians(degrees + 22.5))
        sheet.cased(
            [(x + 1.4 * r * c, y + 1.4 * r * s), (x + 1.7 * r * c, y + 1.7 * r * s)], STROKE[colour], width
        )


def _arc(x: float, y: float, r: float, start: float, end: float) -> list[Point]:
    steps = max(8, round(abs(end - start) / 6))
    angles = [math.radians(start + (end - start) * i / steps) for i in range(steps + 1)]
    return [(x + r * math.cos(a), y + r * math.sin(a)) for a in angles]


def ring_centre(head: HeadSeen) -> Point:
    """Where a head is ringed, px in the picture: its lamp, or its middle where none is lit."""
    return head.box.centre if head.lamp is None else (head.lamp.x, head.lamp.y)


def ring_radius(signal: SignalSeen, head: HeadSeen) -> float:
    """How wide its ring may be, px in the picture: outside the lamp, inside its neighbours' rings."""
    x, y = ring_centre(head)
    lamp = 0.0 if head.lamp is None else head.lamp.diameter / 2
    wanted = max(0.5 * min(head.box.width, head.box.height) * 1.1, 1.5 * lamp, 0.5)
    others = [ring_centre(h) for h in signal.heads if h is not head]
    room = min((math.hypot(ox - x, oy - y) / 2 for ox, oy in others), default=math.inf)
    return max(min(wanted, 0.86 * room), 1.15 * lamp)


def mark_signal(
    sheet: Sheet, view: View, signal: SignalSeen, size: int, others: Sequence[Box], taken: list[Box]
) -> bool:
    """Ring the heads, box the plates, draw the axis, tag them all with words of that size (px).

    Neither tags nor the lines that lead to them go over `others` (the other signals) or over what is `taken`;
    the tags drawn here are added to `taken`. Returns False, and draws nothing, where the tags find no place
    beside the heads.
    """
    width = max(1.5, size / 11)
    tags = [_head_tag(view, signal, head) for head in signal.heads]
    plates = [p for p in signal.plates_seen if _inside(view.box(p.box), view.area)]
    tags += [
        Tag(plate_words(p, signal.number), _PLATE, *view.box(p.box).centre, view.box(p.box).width / 2)
        for p in plates
    ]
    own = [view.box(p.box) for p in plates]
    placed = _place(tags, size, view.area, [view.box(h.box) for h in signal.heads] + own, [*others, *taken])
    if placed is None:
        return False
    _axis(sheet, view, signal, width)
    for plate in own:
        sheet.frame(plate.grow(width), _PLATE, width)
    for head in signal.heads:
        colour, _ = likeliest(head)
        x, y = view.point(*ring_centre(head))
        r = max(ring_radius(signal, head) * view.scale, 2 * width)
        ring(sheet, colour, x, y, r, width)
        if head.flashing is not None and head.flashing >= 0.5:
            rays(sheet, colour, x, y, r, width)
    for tag, box in zip(tags, placed, strict=True):
        draw_tag(sheet, tag, box, size)
    taken += placed
    return True


def _head_tag(view: View, signal: SignalSeen, head: HeadSeen) -> Tag:
    colour, _ = likeliest(head)
    x, y = view.point(*ring_centre(head))
    return Tag(
        head_words(head), STROKE[colour], x, y, _REACH[colour] * ring_radius(signal, head) * view.scale
    )


def _inside(box: Box, area: Box) -> bool:
    x, y = box.centre
    return area.x0 <= x <= area.x1 and area.y0 <= y <= area.y1


def _axis(sheet: Sheet, view: View, signal: SignalSeen, width: float) -> None:
    """The line the heads stand by, and how far each stands off it."""
    if signal.axis is None or len(signal.heads) < 2:
        return
    (x0, y0), (x1, y1) = view.point(*signal.axis[:2]), view.point(*signal.axis[2:])
    length = math.hypot(x1 - x0, y1 - y0)
    if length < 4 * width:
        return
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    beyond = 0.9 * signal.resolution * view.scale
    # The line stops short of every ring, so that nothing lies over a lamp.
    clear: list[tuple[float, float]] = []
    for head in signal.heads:
        hx, hy = view.point(*ring_centre(head))
        along = (hx - x0) * ux + (hy - y0) * uy
        fx, fy = x0 + along * ux, y0 + along * uy
        off, r = math.hypot(hx - fx, hy - fy), ring_radius(signal, head) * view.scale
        if off < 1.2 * r:
            clear.append((along - 1.3 * r, along + 1.3 * r))
        else:
            share = r / off
            sheet.cased([(fx, fy), (hx + share * (fx - hx), hy + share * (fy - hy))], _AXIS, 0.7 * width)
    at = -beyond
    for start, end in [*sorted(clear), (length + beyond, math.inf)]:
        if start - at > 2 * width:
            ends = [(x0 + t * ux, y0 + t * uy) for t in (at, start)]
            sheet.dashed(ends[0], ends[1], _AXIS, 0.7 * width, 4 * width)
        at = max(at, end)


def _place(
    tags: Sequence[Tag], size: int, area: Box, own: Sequence[Box], foreign: Sequence[Box]
) -> list[Box] | None:
    """A box for each tag, all in one column beside the things they name, or None where there is no room.

    No tag covers any of `own`; neither a tag nor its line touches anything `foreign`.
    """
    if not tags:
        return []
    widths = [tag_size(t.words, size)[0] for t in tags]
    high = tag_size("x", size)[1]
    rows = _spread([t.y for t in tags], high * 1.12, area)
    if rows is None:
        return None
    gap = 0.9 * size
    right = max(t.x + t.reach for t in tags) + gap
    left = min(t.x - t.reach for t in tags) - gap
    for away in (0.0, 1.5 * size, 3.0 * size, 4.5 * size):
        for side in (1, -1):
            column = []
            for y, w in zip(rows, widths, strict=True):
                x0 = right + away if side > 0 else left - away - w
                column.append(Box(x0, y - high / 2, x0 + w, y + high / 2))
            lines = [_line(tag, box) for tag, box in zip(tags, column, strict=True)]
            if (
                all(_within(b, area) and not any(_touch(b, t) for t in (*own, *foreign)) for b in column)
                and not any(_touch(line, t) for line in lines for t in foreign)
            ):  # fmt: skip
                return column
    return None


def _line(tag: Tag, box: Box) -> Box:
    """The box that the line from a tag to what it names runs through."""
    (x0, y0), (x1, y1) = _lead(tag, box)
    return Box(min(x0, x1), min(y0, y1) - 1, max(x0, x1), max(y0, y1) + 1)


def _lead(tag: Tag, box: Box) -> tuple[Point, Point]:
    """The ends of that line, at the tag and at the thing."""
    x, y = box.centre
    edge = box.x0 if x > tag.x else box.x1
    return (edge, y), (tag.x + math.copysign(tag.reach, x - tag.x), tag.y)


def _spread(wanted: Sequence[float], apart: float, area: Box) -> list[float] | None:
    """Heights as near the wanted ones as can be, in their order, `apart` from each other, inside the area."""
    if len(wanted) * apart > area.height:
        return None
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    rows = [wanted[i] for i in order]
    # Pushed down, then back up, a few times: settles with the overlap shared between both ends.
    for _ in range(30):
        for i in range(len(rows) - 1):
            short = apart - (rows[i + 1] - rows[i])
            if short > 0:
                rows[i] -= short / 2
                rows[i + 1] += short / 2
    low = area.y0 + apart / 2
    for i, row in enumerate(rows):
        rows[i] = low = max(row, low)
        low += apart
    high = area.y1 - apart / 2
    for i in reversed(range(len(rows))):
        rows[i] = high = min(rows[i], high)
        high -= apart
    out = [0.0] * len(wanted)
    for i, row in zip(order, rows, strict=True):
        out[i] = row
    return out


def _within(box: Box, area: Box) -> bool:
    return box.x0 >= area.x0 and box.x1 <= area.x1 and box.y0 >= area.y0 - 1 and box.y1 <= area.y1 + 1


def _touch(a: Box, b: Box) -> bool:
    return a.x0 < b.x1 and b.x0 < a.x1 and a.y0 < b.y1 and b.y0 < a.y1


def tag_size(words: str, size: int) -> tuple[float, float]:
    """(width, height) of a tag, px."""
    return text_width(words, size) + 1.1 * size, 1.45 * size


def draw_tag(sheet: Sheet, tag: Tag, box: Box, size: int) -> None:
    """The tag's plate of words, and a line from it to what it names."""
    sheet.cased(_lead(tag, box), tag.colour, max(1.0, size / 18))
    sheet.fill(box, INK, 0.92)
    bar = 0.22 * size
    sheet.fill(Box(box.x0, box.y0, box.x0 + bar, box.y1), tag.colour)
    sheet.text(box.x0 + bar + 0.4 * size, box.centre[1] - 0.5 * line_height(size), tag.words, size, PAPER)
