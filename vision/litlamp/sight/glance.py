"""One look of the networks at a part of a clip's frame."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from litlamp.box import Box, union_of
from litlamp.media.clip_frame import ClipFrame
from litlamp.sight.crop import Window, cut
from litlamp.sight.eyes import Eyes, log_odds
from litlamp.sight.find import (
    WANTED_LENS,
    WINDOW,
    HeadFound,
    PlateFound,
    answers,
    ask,
    distinct_heads,
    distinct_plates,
    read_heads,
    reduced_whole,
    usual_width,
)
from litlamp.sight.look import Judged, judge
from litlamp.sight.patches import Part, part_of
from litlamp.sight.scan import Spot, scan
from litlamp.sight.seen import HeadSeen, LampSeen, PlateSeen, SignalSeen

ABOVE, ASIDE, BELOW = 4.0, 4.0, 10.0
"""How far round its heads a signal is looked at, head widths: plates hang below, and a picture's edge that is
further away than this cannot have cut off a head."""
FINE_HEAD = 36
"""A head shown wider than this tells no more: parts are reduced, by halves, no further than that."""
INNER = 0.1
"""Share of a window's side next to its edge in which a head may be seen in part only."""
SHARED = 0.3
"""Spots no further apart than this share of a window's side have one window."""
SCAN_SIDE = 640
"""The whole is scanned reduced, by halves, to a long side of no less than this, px."""
POOLED_SIDE = 400
"""The scan's own largest maps, px."""


@dataclass(frozen=True, slots=True)
class Glance:
    """What one look made of one signal.

    Attributes
    ----------
    seen : the signal as a still would show it, px of the frame.
    odds : log-odds that it is a signal.
    least : the belief asked of a still before such a signal is reported.
    lenses : for each head, the lamp (or, dark, the lens): x, y, diameter, px of the frame.
    scores : the finder's score of each head.
    boards : the plates found on it, read or not; `searched` says that they were sought all down its mast.
    """

    seen: SignalSeen
    odds: float
    least: float
    lenses: tuple[tuple[float, float, float], ...]
    scores: tuple[float, ...]
    boards: tuple[PlateFound, ...] = ()
    searched: bool = True

    @property
    def belief(self) -> float:
        """Probability that it is a signal."""
        return 1 / (1 + math.exp(-self.odds))


def spots_in(frame: ClipFrame, limit: int) -> tuple[Spot, ...]:
    """Places where a lit lamp may be, px of the frame, best first."""
    whole = part_of(frame, None, halvings(max(frame.size) / SCAN_SIDE))
    spots = scan(whole.rgb, limit, POOLED_SIDE)
    return tuple(
        replace(
            s, x=whole.to_frame(s.x, s.y)[0], y=whole.to_frame(s.x, s.y)[1], diameter=s.diameter * whole.by
        )
        for s in spots
    )


def halvings(ratio: float) -> int:
    """The greatest power of two that is no more than `ratio`, and at least 1."""
    return 1 << math.floor(math.log2(max(ratio, 1.0)))


def heads_in_whole(frame: ClipFrame, eyes: Eyes) -> list[HeadFound]:
    """Heads on the reduced whole, px of the frame."""
    whole = part_of(frame, None, halvings(max(frame.size) / SCAN_SIDE))
    least = eyes.calibration.head_score
    ((window, maps),) = answers([reduced_whole(whole.rgb)], eyes)
    return [_moved_head(h, whole) for h in distinct_heads(read_heads(maps, window, least))]


def heads_at(frame: ClipFrame, spots: Sequence[Spot], eyes: Eyes) -> list[list[HeadFound]]:
    """Heads in a window round each spot, px of the frame."""
    windows, parts = [], []
    for spot in spots:
        scale = window_scale(spot.diameter)
        half = 0.5 * WINDOW / scale + 2
        around = Box(spot.x - half, spot.y - half, spot.x + half, spot.y + half)
        part = part_of(frame, around.clamp(*frame.size), halvings(1 / scale))
        x, y, s = (spot.x - part.x0) / part.by, (spot.y - part.y0) / part.by, scale * part.by
        windows.append(cut(part.rgb, x - WINDOW / 2 / s, y - WINDOW / 2 / s, s, WINDOW, WINDOW))
        parts.append(part)
    least = eyes.calibration.head_score
    return [
        [_moved_head(h, part) for h in distinct_heads(read_heads(maps, window, least))]
        for part, (window, maps) in zip(parts, answers(windows, eyes), strict=True)
    ]


def window_scale(diameter: float) -> float:
    """Px of the finder's window for a px of the frame, fit for a lamp so wide."""
    return float(np.clip(2.0 ** round(math.log2(WANTED_LENS / max(diameter, 1.0))), 1 / 32, 1.0))


def shown_with(spot: Spot, other: Spot) -> bool:
    """Whether a spot lies well inside the window round another one, at the same scale."""
    scale = window_scale(other.diameter)
    near = max(abs(spot.x - other.x), abs(spot.y - other.y)) < SHARED * WINDOW / scale
    return near and window_scale(spot.diameter) == scale


def glance(
    frame: ClipFrame,
    heads: Box,
    width: float,
    lens: float,
    eyes: Eyes,
    *,
    widely: bool = True,
    boards: Sequence[PlateFound] | None = None,
) -> list[Glance]:
    """Look closely at a place; every signal there, px of the frame.

    Parameters
    ----------
    heads : where the heads are taken to be.
    width, lens : usual width of a head and diameter of its lens there, px of the frame.
    widely : look for further heads round about too; where they are known, that can be spared.
    boards : the plates there, where they are known; they are read anew, and no others are sought on the mast.

    Raises
    ------
    ValueError
        The place lies outside the picture.
    """
    around = Box(
        heads.x0 - ASIDE * width,
        heads.y0 - ABOVE * width,
        heads.x1 + ASIDE * width,
        heads.y1 + BELOW * width,
    )
    part = part_of(frame, around, halvings(width / FINE_HEAD))
    inside = Box(*((v - o) / part.by for v, o in zip(heads.as_list(), (part.x0, part.y0) * 2, strict=True)))
    fine, wide = _windows(part, inside, lens / part.by)
    found, plates = _asked(fine, eyes)
    more, further = _asked(wide if widely else [], eyes)
    # What stands well inside a fine window is that one's to say.
    more = [h for h in more if not any(_well_inside(w, h.box) for w in fine)]
    # Heads that are told apart already stay so; only then is another answer for one of them left behind.
    found = distinct_heads(found + more) if more else [replace(h, otherwise=None) for h in found]
    known = [replace(p, box=p.box.shift(-part.x0, -part.y0).scale(1 / part.by)) for p in boards or ()]
    plates = distinct_plates([*plates, *further, *known])
    judged = judge(part.rgb, found, plates, eyes, search=boards is None, alone=False)
    return [_in_frame(j, part, searched=boards is None) for j in judged]


def _well_inside(window: Window, box: Box) -> bool:
    h, w = window.pixels.shape[:2]
    x0, y0 = (box.x0 - window.x0) * window.scale, (box.y0 - window.y0) * window.scale
    x1, y1 = (box.x1 - window.x0) * window.scale, (box.y1 - window.y0) * window.scale
    return bool(x0 > INNER * w and y0 > INNER * h and x1 < (1 - INNER) * w and y1 < (1 - INNER) * h)


def _windows(part: Part, heads: Box, lens: float) -> tuple[list[Window], list[Window]]:
    """One window for all heads, or one for each stretch of them; and at a smaller scale, one round all."""
    scale = window_scale(lens)
    x, y = heads.centre
    room = 0.55 * WINDOW / scale
    count = max(math.ceil(heads.height / max(room, 1.0)), 1)
    step = heads.height / count
    fine = [(x, heads.y0 + (i + 0.5) * step, scale) for i in range(min(count, 4))]
    wide = [(x, y + 0.15 * WINDOW / scale, scale / 2)]
    if heads.height * scale > 1.1 * WINDOW:
        wide.append((x, y, scale / 4))
    return _cut(part, fine), _cut(part, wide)


def _cut(part: Part, at: Sequence[tuple[float, float, float]]) -> list[Window]:
    return [cut(part.rgb, x - WINDOW / 2 / s, y - WINDOW / 2 / s, s, WINDOW, WINDOW) for x, y, s in at]


def _asked(windows: Sequence[Window], eyes: Eyes) -> tuple[list[HeadFound], list[PlateFound]]:
    heads, plates = ask(windows, eyes)
    return distinct_heads(heads), distinct_plates(plates)


def _in_frame(judged: Judged, part: Part, *, searched: bool) -> Glance:
    heads = [_moved_head(h, part) for h in judged.heads]
    return Glance(
        moved_signal(judged.seen, part.by, part.x0, part.y0),
        log_odds(judged.belief),
        judged.least,
        tuple((h.x, h.y, h.lens) for h in heads),
        tuple(h.score for h in heads),
        tuple(replace(p, box=moved_box(p.box, part.by, part.x0, part.y0)) for p in judged.boards),
        searched,
    )


def _moved_head(head: HeadFound, part: Part) -> HeadFound:
    x, y = part.to_frame(head.x, head.y)
    return replace(
        head,
        x=x,
        y=y,
        box=moved_box(head.box, part.by, part.x0, part.y0),
        lens=head.lens * part.by,
        vote=part.to_frame(*head.vote),
        scale=head.scale / part.by,
        otherwise=None,
    )


def moved_box(box: Box, by: float, dx: float, dy: float) -> Box:
    """The box enlarged from the origin and then moved."""
    return box.scale(by).shift(dx, dy)


def moved_signal(seen: SignalSeen, by: float, dx: float, dy: float) -> SignalSeen:
    """The signal as it stands where px (x, y) becomes (x * by + dx, y * by + dy)."""

    def head(h: HeadSeen) -> HeadSeen:
        lamp = (
            None if h.lamp is None else LampSeen(h.lamp.x * by + dx, h.lamp.y * by + dy, h.lamp.diameter * by)
        )
        return replace(h, box=moved_box(h.box, by, dx, dy), lamp=lamp)

    axis = None
    if seen.axis is not None:
        x0, y0, x1, y1 = seen.axis
        axis = x0 * by + dx, y0 * by + dy, x1 * by + dx, y1 * by + dy
    return replace(
        seen,
        box=moved_box(seen.box, by, dx, dy),
        heads=tuple(head(h) for h in seen.heads),
        plates_seen=tuple(PlateSeen(moved_box(p.box, by, dx, dy), p.letters) for p in seen.plates_seen),
        resolution=seen.resolution * by,
        axis=axis,
    )


def heads_box(heads: Sequence[HeadFound]) -> tuple[Box, float, float]:
    """The box that holds these heads, their usual width and their usual lens."""
    return union_of(head.box for head in heads), usual_width(heads), float(np.median([h.lens for h in heads]))
