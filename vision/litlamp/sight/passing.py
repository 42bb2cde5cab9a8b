"""Watching without end: signals are handed out as they are passed, and no frame is kept.

What `watch` keeps for a whole clip is kept here only while a signal may still be seen: its looks and its
light, small pictures of it, and its way through the frame.
"""

from __future__ import annotations

import copy
from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from litlamp.box import Box
from litlamp.media.clip_frame import ClipFrame
from litlamp.sight.eyes import Eyes
from litlamp.sight.glance import Glance
from litlamp.sight.traces import LampTrace
from litlamp.sight.tracks import Track
from litlamp.sight.watch import REMEMBERED, Watch, worth_showing

VIEWS, LAST_VIEWS = 40, 4
"""Pictures kept of a signal while it is followed, and how many of them are simply the last."""
ROUND, LEAST_SIDE, MOST_SIDE = 1.6, 72, 480
"""How much is shown round a signal, head widths; a picture's least shorter and most longer side, px."""
QUALITY = 86
LIT_BEFORE = 5.5
"""Seconds of light from which it is said what could be known of a flash."""
GROWTH = 1.35
"""A signal is read anew, as it could have been known, when it has grown by so much."""
MOST_MOMENTS = 5


@dataclass(frozen=True, slots=True)
class View:
    """A small picture of a signal, as JPEG.

    Attributes
    ----------
    at : seconds after the first frame.
    box : what it shows, px of its frame.
    worth : how well it shows the signal.
    """

    at: float
    box: Box
    worth: float
    jpeg: bytes


@dataclass(slots=True)
class Way:
    """Where a signal was in each frame: moments, and the edges of its heads, px of the frame."""

    times: array[float] = field(default_factory=lambda: array("d"))
    edges: array[float] = field(default_factory=lambda: array("f"))

    def add(self, at: float, box: Box) -> None:
        """It was here then."""
        self.times.append(at)
        self.edges.extend(box.as_list())

    def box(self, index: int) -> Box:
        """Where it was at the moment of that index."""
        return Box(*self.edges[4 * index : 4 * index + 4])


class Passing(Watch):
    """A watch that gives each signal away when it cannot be met again; see `passed`."""

    def __init__(self, eyes: Eyes) -> None:
        super().__init__(eyes)
        self.views: dict[int, list[View]] = {}
        self.ways: dict[int, Way] = {}

    def frame(self, frame: ClipFrame, at: float) -> None:
        """Take in one frame, `at` seconds after the first."""
        super().frame(frame, at)
        for track in self._live:
            self.ways.setdefault(track.number, Way()).add(at, track.heads_box())

    def passed(self, at: float) -> list[Track]:
        """The tracks that ended so long ago that none will be gone on with; each is given once.

        Their `views` and `ways` are dropped by `forget`.
        """
        over = [t for t in self._gone if at - t.last_seen > REMEMBERED]
        if over:
            self._gone = [t for t in self._gone if at - t.last_seen <= REMEMBERED]
            known = {t.number for t in (*over, *self._gone, *self._live)}
            for kept in (self.views, self.ways):
                for number in [n for n in kept if n not in known]:  # of a track merged with another
                    del kept[number]
        return over

    def forget(self, track: Track) -> None:
        """Drop what was kept of a track that was given away."""
        self.views.pop(track.number, None)
        self.ways.pop(track.number, None)

    def _show(self, track: Track, seen: Glance, frame: ClipFrame, at: float) -> None:
        own = self.views.setdefault(track.number, [])
        if own and own[-1].at == at:
            return
        own.append(take_view(seen, frame, at))
        if len(own) > VIEWS:
            own.remove(min(own[:-LAST_VIEWS], key=lambda v: v.worth))


def take_view(seen: Glance, frame: ClipFrame, at: float) -> View:
    """The part of the frame round the signal."""
    box = seen.seen.box.grow(ROUND * seen.seen.resolution)
    short = max(LEAST_SIDE - min(box.width, box.height), 0) / 2
    box = box.grow(short).clamp(*frame.size)
    rgb = frame.rgb(box)
    by = MOST_SIDE / max(rgb.shape[:2])
    if by < 1:
        size = max(round(rgb.shape[1] * by), 1), max(round(rgb.shape[0] * by), 1)
        rgb = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    _, data = cv2.imencode(".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    return View(at, box, worth_showing(seen, frame.size), data.tobytes())


def until(track: Track, at: float) -> Track:
    """The track as it was known at that moment: later looks, and the lamps' later light, are left out.

    Of their light only what lies within LIT_BEFORE is kept: it is enough to tell a flash, and no more has to
    be weighed again for each moment.
    """
    cut, n = bisect_left(track.times, at - LIT_BEFORE), bisect_right(track.times, at)
    part = copy.copy(track)
    part.looks = [look for look in track.looks if look.at <= at]
    part.times, part.seen, part.common = track.times[cut:n], track.seen[cut:n], track.common[cut:n]
    part.widths = track.widths[cut:n]
    part.heads = [replace(head, lamps=[_part(lamp, cut, n) for lamp in head.lamps]) for head in track.heads]
    return part


def _part(lamp: LampTrace, cut: int, n: int) -> LampTrace:
    """The lamp's light in the frames from `cut` up to `n`, counted from there."""
    own = slice(max(cut - lamp.first, 0), max(n - lamp.first, 0))
    first = min(max(lamp.first - cut, 0), n - cut)
    return replace(lamp, first=first, light=lamp.light[own], red=lamp.red[own], green=lamp.green[own])


def moments(track: Track, changes: Sequence[float] = ()) -> tuple[float, ...]:
    """A handful of looks at which to say what could be known: the first two (one alone is not believed), each
    after it has grown, the last, and about each change of aspect the last before it and the second after."""
    found = [look for look in track.looks if look.glance is not None]
    if not found:
        return ()
    chosen: list[float] = []
    width = 0.0
    for look in found[:-1]:
        assert look.glance is not None
        own = look.glance.seen.resolution
        if own > GROWTH * width:
            chosen.append(look.at)
            width = own
    chosen = [*_thinned(chosen, MOST_MOMENTS), *(look.at for look in found[1:2])]
    for change in changes:
        before = [look.at for look in found if look.at < change]
        after = [look.at for look in found if look.at >= change]
        chosen += [*before[-1:], *after[1:2]]
    return tuple(sorted({*chosen, found[-1].at}))


def _thinned(values: list[float], most: int) -> list[float]:
    if len(values) <= most:
        return values
    return [values[round(i * (len(values) - 1) / (most - 1))] for i in range(most)]
