"""A clip in, the signals that were in view out: one decode, a little looking at every frame.

Each frame costs no more than following what is known and measuring its lamps. The networks look at set
moments: at places that a scan proposes, at the reduced whole now and then, and at each signal followed. The
moments depend on the clip's own times alone, so that the same clip is always read alike, on any machine.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Generator, Iterable
from dataclasses import dataclass, field
from fractions import Fraction

from litlamp.box import Box, union_of
from litlamp.media.clip import Clip
from litlamp.media.clip_frame import ClipFrame
from litlamp.media.frame import Time
from litlamp.sight.beside import one_thread
from litlamp.sight.exposure import Exposure
from litlamp.sight.eyes import Eyes
from litlamp.sight.find import HeadFound
from litlamp.sight.glance import Glance, glance, heads_at, heads_box, heads_in_whole, shown_with, spots_in
from litlamp.sight.group import group
from litlamp.sight.scan import Spot
from litlamp.sight.traces import passed
from litlamp.sight.tracks import Track

# Uneven steps: a lamp that flashes or beats in step with the looks would always be caught dark.
SCANS = (0.0, 0.37)
SCAN_EVERY = (0.83, 0.97)
WHOLES = (0.0, 0.7)
WHOLE_EVERY = (5.9, 7.1)
LOOKS = (0.17, 0.29, 0.41, 0.53, 0.67)
LOOK_EVERY = (1.23, 1.07, 1.33)
"""Seconds between a signal's looks, the first ones sooner."""
PLAIN, FIRST_LOOKS, SELDOM = 28.0, 2, 3.0
"""A signal whose heads are shown so wide, px, looks the same at each look while its lamps are steady: after
the first ones it is looked at so many times more seldom."""
GROWN = 1.2
"""A signal that has grown by so much since its last look is looked at before its time."""
SOONEST = 0.3
"""But no sooner than so many seconds after it."""
UNLIKE, SOON = 4, 0.7
"""So is one whose lamps were otherwise for so many frames in a row, as soon as this: they may be others."""
SETTLED, PLAIN_SETTLED = 5, 4
"""A signal that was looked at so often is looked at half as often; the same of such a one."""
CALM, STILL = 1.6, 4.5
"""How much more seldom the whole is scanned while all signals in view are settled; and while the camera keeps
still besides, for then nothing comes into view."""
GROWS, PANNED, SINCE = 0.03, 0.1, 1.0
"""A signal that grows by less a second comes no nearer; if besides it has moved by no more than such a share
of the frame's longer side, both since a look so many seconds ago or earlier, the camera keeps still."""
FULL_HD, MOST_PACE = 1920 * 1080, 1.6
"""Px of a frame under which all of this is done the more seldom, and by how much at most."""
KNOWN, EVERY = 4, (2, 4)
"""Each so-manieth look looks for further heads and plates, up to this one and after it; of such a
signal the latter always."""
LIT_UP, RISEN = 0.3, 2.5
"""A lamp never seen lit that gives so much light, in terms of the brightest of its signal, and so many times
as much as at the last look, may have been lit: it is looked at before its time as well."""
LIT_AGAIN = 0.5
"""Seconds for which a look waits for a lamp that was seen lit and is dark just now; if it is so for longer,
that is a reason to look."""
HURRY = 1.08
"""But nothing is waited for where a signal has grown by so much since it was looked at."""
RESTLESS_LOOK = 0.23
"""Seconds to the next look after looks that saw different colours."""
LONGEST_WAIT, STILL_WAIT = 2.3, 4.9
"""Seconds between a settled signal's looks, at most; and while the camera keeps still."""
LOST_LOOK = 0.19
"""Seconds to the next look where a signal's hold was lost."""
UNLIKELY = 4.0
"""Log-odds by which a look may fall short of all before it and still be one at the same signal."""
FULL = 2.5
"""Signals followed at once beyond which each is looked at the more seldom."""
SPOTS = 24
FIRST_WINDOWS, BESIDE_WINDOWS, WINDOWS, CALM_WINDOWS = 6, 4, 3, 2
"""Spots that the finder looks at after the first scan (if nothing, and if something, was found on the whole
before), after any other, and while all is settled."""
HASTE = 4
"""Scans at the beginning after which as few are looked at, if something was found."""
BEGIN = 0.15
"""Belief in a signal from which it is followed."""
FEWEST_LOOKS = 3
DOUBTED = 0.3
"""A track of as many looks and more that is believed by less is let go."""
PATIENCE = 2.5
"""Seconds without a sight after which a track is let go; its signal may be met again."""
REMEMBERED = 6.0
"""Seconds for which a signal that was let go is known again."""
ALIKE = 1.5
"""How many times as large it may then be."""
NEARER, SHORTLY = 2.2, 1.5
"""The same within so many seconds, for a train may come fast; what is seen later than that after one that was
passed is another."""
ELDER = 0.3
"""Of two tracks of one signal, the elder is the one that began so many seconds before the other."""
AWAY = 0.3
"""How far off it may then be, of the frame's longer side."""
TRIED = 2.6
"""Seconds for which a spot in which nothing was found is looked at only among the AGAIN best such."""
FINER = 0.4
"""A spot smaller than this share of one tried nearby was shown too small there to have been tried."""
AGAIN = 1
MOST_TRACKS = 12
SHOWN, SHOWN_LAST = 6, 2
"""Frames kept of each signal for a picture, and how many of them are simply the last."""
LONGEST_STEP = 3600.0
PAUSE, SLOW = 0.12, 0.045
"""Seconds. Once all signals in view rest, frames are looked at two by two, with such a pause after each pair:
a flash is dark for longer by far, and two frames on end show a lamp that is dark in every other. Where frames
are as far apart as the second, each is looked at."""
LEAST_STEP = 0.0245
"""Seconds; frames that come sooner after one that was looked at are passed over: of 50 and 60 a second each
second one tells a flash as well, and no clip of up to 40 loses any."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A frame that shows a signal well, kept for a picture of it."""

    at: float
    worth: float
    frame: ClipFrame


@dataclass(slots=True)
class Watched:
    """What was in view of a clip; frames of each track are in `shown` where the caller asked for them."""

    tracks: list[Track]
    size: tuple[int, int]
    seconds: float
    frames: int
    times_fault: str | None
    notes: tuple[str, ...]
    looks: int = 0
    shown: dict[int, list[Shown]] = field(default_factory=dict)


class Watch:
    """Watches frames one by one: `frame` for each, then `end`."""

    def __init__(self, eyes: Eyes, *, keep_frames: bool = False) -> None:
        self._eyes = eyes
        self._keep = keep_frames
        self._exposure = Exposure()
        self._live: list[Track] = []
        self._gone: list[Track] = []
        self._tried: list[tuple[float, float, float, float]] = []
        self._count = 0
        self._scan = _Times(SCANS, SCAN_EVERY)
        self._whole = _Times(WHOLES, WHOLE_EVERY)
        self._size: tuple[int, int] | None = None
        self._taken = -math.inf
        self._paired = False
        self.shown: dict[int, list[Shown]] = {}
        self.looks = 0

    def frame(self, frame: ClipFrame, at: float) -> None:
        """Take in one frame, `at` seconds after the first; some close upon others are passed over."""
        since = at - self._taken
        if since < LEAST_STEP:
            return
        if self._paired and since < PAUSE and self._size == frame.size:
            for track in self._live:
                track.coast(at)
            return
        self._taken = at
        if self._size is not None and frame.size != self._size:
            for track in self._live:
                track.rescale(frame.size[0] / self._size[0])
        self._size = frame.size
        # What decodes faster leaves less time to look.
        pace = min(max((FULL_HD / (frame.size[0] * frame.size[1])) ** 0.5, 1.0), MOST_PACE)
        luma = frame.luma
        common = self._exposure.factor(luma, frame.luma_span)
        for track in self._live:
            track.step(frame, luma, at, common)
        settled = bool(self._live) and all(_settled(t) and t.rests for t in self._live)
        self._paired = settled and not self._paired and since < SLOW
        for track in self._live:
            other = _otherwise(track, at)
            due = at >= track.next_look + (LIT_AGAIN if _waits(track) else 0.0)
            if due or other or _grown(track, at):
                self._look(track, frame, at, pace)
            if other:  # what shows otherwise is looked at twice
                track.next_look = min(track.next_look, at + RESTLESS_LOOK)
        self._live = self._kept(at, frame.size)
        if len(self._live) < MOST_TRACKS:
            calm = bool(self._live) and all(_settled(t) and t.held for t in self._live)
            still = calm and all(_still(t, at) for t in self._live)
            # The second look at the whole, and the second scan, are for clips in which nothing was found at
            # once; while the camera keeps still each third look at the whole is enough.
            whole, count = self._whole.due(at, pace), self._whole.count
            if whole and not (1 < count <= len(WHOLES) and self._live) and (count % 3 == 1 or not still):
                self._begin(heads_in_whole(frame, self._eyes), frame, at)
            scans, count = (
                self._scan.due(at, pace * (STILL if still else CALM if calm else 1.0)),
                self._scan.count,
            )
            if scans and not (1 < count <= len(SCANS) and self._live):
                # Where something was found at once, there is less need to search in haste.
                few = calm or (bool(self._live) and count <= HASTE)
                first = BESIDE_WINDOWS if self._live else FIRST_WINDOWS
                most = first if count == 1 else CALM_WINDOWS if few else WINDOWS
                spots = self._chosen(spots_in(frame, SPOTS), at)[:most]
                found = heads_at(frame, spots, self._eyes)
                self._tried += [
                    (s.x, s.y, s.diameter, at) for s, heads in zip(spots, found, strict=True) if not heads
                ]
                for heads in found:
                    self._begin(heads, frame, at)
        for track in self._live:
            track.anchor(luma)

    def end(self) -> list[Track]:
        """Every track there was, in the order in which they began."""
        return sorted([*self._gone, *self._live], key=lambda t: t.number)

    def _look(self, track: Track, frame: ClipFrame, at: float, pace: float) -> None:
        for other in self._regard(track, frame, at):
            self._offer(other, frame, at)
        _plan(track, at, len(self._live), pace)

    def _regard(self, track: Track, frame: ClipFrame, at: float) -> list[Glance]:
        """Look for a signal where it is taken to be; what else stands there is given back."""
        self.looks += 1
        place = track.sought(frame.luma)
        if not track.in_view(frame.size) or not _inside(place, frame.size):
            track.miss(at, frame.size)
            return []
        widely = track.misses > 0 or track.looked % EVERY[track.looked > KNOWN or _plain(track)] == 0
        boards = None if widely else track.boards(GROWN)
        seen = glance(frame, place, track.pose.width, track.lens(), self._eyes, widely=widely, boards=boards)
        own = _same(track, seen, place)
        if own is None:
            track.miss(at, frame.size)
        else:
            track.learn(at, own, frame.size)
            track.gauge(frame)
            self._show(track, own, frame, at)
        return [other for other in seen if other is not own]

    def _show(self, track: Track, seen: Glance, frame: ClipFrame, at: float) -> None:
        """Keep the frame if it is one of the best or of the last that show the signal."""
        if not self._keep:
            return
        own = self.shown.setdefault(track.number, [])
        own.append(Shown(at, worth_showing(seen, frame.size), frame))
        if len(own) > SHOWN:
            own.remove(min(own[:-SHOWN_LAST], key=lambda s: s.worth))

    def _kept(self, at: float, size: tuple[int, int]) -> list[Track]:
        """The tracks to go on with; false ones, and those that have left, are let go."""
        kept: list[Track] = []
        # Of two that have come to follow one signal, the one that knows more of its heads goes on.
        for track in sorted(self._live, key=lambda t: (-_known(t), t.number)):
            doubted = len(track.looks) >= FEWEST_LOOKS and track.odds() < _log(DOUBTED)
            waited = at - track.last_seen
            left = track.left_view(size) and track.misses > 0
            if doubted or (track.misses >= 2 and (waited > PATIENCE or left)):
                if track.found >= 2:
                    self._gone.append(track)
                if doubted:
                    self.shown.pop(track.number, None)
            else:
                twin = next((i for i, other in enumerate(kept) if _one(track, other)), None)
                if twin is None:
                    kept.append(track)
                else:
                    kept[twin] = self._merged(track, kept[twin], at, size)
        return sorted(kept, key=lambda t: t.number)

    def _merged(self, a: Track, b: Track, at: float, size: tuple[int, int]) -> Track:
        """One track for a signal that two have come to follow; `b` is the one that knows more of it now.

        The elder goes on where it is much the elder, for it knows what the signal showed before.
        """
        last = next((look.glance for look in reversed(b.looks) if look.glance is not None), None)
        gone, stays = a, b
        if a.born < b.born - ELDER and a.found >= 2 and last is not None:
            a.resume(at, last, size)
            a.lay_on(b)
            gone, stays = b, a
        self.shown.pop(gone.number, None)
        return stays

    def _chosen(self, spots: Iterable[Spot], at: float) -> list[Spot]:
        """Spots that no track accounts for, those not tried lately first."""
        known = [t.heads_box().grow(1.5 * t.pose.width) for t in self._live]
        self._tried = [t for t in self._tried if at - t[3] < TRIED]
        fresh: list[Spot] = []
        tried: list[Spot] = []
        for s in spots:
            if any(b.x0 < s.x < b.x1 and b.y0 < s.y < b.y1 for b in known):
                continue
            if any(shown_with(s, other) for other in (*fresh, *tried)):
                continue
            stale = any(
                max(abs(s.x - x), abs(s.y - y)) < 8 * wide and s.diameter > FINER * wide
                for x, y, wide, _ in self._tried
            )
            (tried if stale else fresh).append(s)
        return fresh + tried[:AGAIN]

    def _begin(self, heads: list[HeadFound], frame: ClipFrame, at: float) -> None:
        """Look closely at heads that no track accounts for."""
        for own in group(heads):
            box, width, lens = heads_box(own)
            if any(_near(t, box) for t in self._live):
                continue
            for seen in glance(frame, box, width, lens, self._eyes):
                self._offer(seen, frame, at)

    def _offer(self, seen: Glance, frame: ClipFrame, at: float) -> None:
        """Follow a signal from here on, if it is likely one and none is followed there yet."""
        box = _box(seen)
        if seen.belief < BEGIN:
            return
        for track in self._live:
            if _near(track, box):
                # Seen from another window with more of its heads: what the track was begun with was a part.
                if track.looked <= 1 and len(seen.seen.heads) > len(track.heads) and seen.odds > track.odds():
                    track.learn(at, seen, frame.size)
                    track.gauge(frame)
                return
        if (behind := self._behind(seen, frame.size, at)) is not None:
            self._regard(behind, frame, at)
            if _near(behind, box):
                return
        if any(track.follows_head_of(seen) for track in self._live):
            return
        old = self._met(seen, frame.size, at)
        if old is None and len(self._live) >= MOST_TRACKS:
            return
        if old is not None:
            old.resume(at, seen, frame.size)
            track = old
        else:
            track = Track(self._count, at, seen, frame.size)
            self._count += 1
        track.gauge(frame)
        if old in self._gone:
            self._gone.remove(old)
        if old not in self._live:
            self._live.append(track)
        self._show(track, seen, frame, at)
        _plan(track, at, len(self._live))

    def _met(self, seen: Glance, size: tuple[int, int], at: float) -> Track | None:
        """The signal that was lost or let go lately and that this may be."""
        lost = [t for t in self._live if t.misses or t.hidden]
        gone = [t for t in self._gone[-MOST_TRACKS:] if at - t.last_seen < SHORTLY or not passed(t.looks)]
        for track in [*lost, *reversed(gone)]:
            if _may_be(track, seen, size, at):
                return track
        return None

    def _behind(self, seen: Glance, size: tuple[int, int], at: float) -> Track | None:
        """The signal that this may be if it is no longer where it is followed: it came near fast.

        Whether it is still there, a look tells, unless there was one just now.
        """
        for track in self._live:
            believed = not (track.misses or track.hidden) and track.looks[-1].at < at
            if believed and _may_be(track, seen, size, at):
                return track
        return None


class _Times:
    """Set moments, then uneven steps without end."""

    def __init__(self, first: tuple[float, ...], every: tuple[float, ...]) -> None:
        self._first, self._every = first, every
        self._next = 0.0
        self.count = 0

    def due(self, at: float, slower: float = 1.0) -> bool:
        """Whether a moment has come; several that have passed count as one. The next may come slower."""
        if at < self._next:
            return False
        while self._next <= at:
            self.count += 1
            if self.count < len(self._first):
                self._next = self._first[self.count]
            else:
                self._next = max(self._next, at) + slower * self._every[self.count % len(self._every)]
        return True


def _may_be(track: Track, seen: Glance, size: tuple[int, int], at: float) -> bool:
    """Whether a signal seen elsewhere may be the one that was followed, by its size and how far off it is."""
    if track.found < 2 or at - track.last_seen > REMEMBERED:
        return False
    ratio = seen.seen.resolution / track.pose.width
    x, y = _box(seen).centre
    near = max(abs(x - track.pose.x), abs(y - track.pose.y)) < AWAY * max(size)
    most = NEARER if at - track.last_seen < SHORTLY else ALIKE
    return 1 / ALIKE < ratio < most and near


def _grown(track: Track, at: float) -> bool:
    """Whether a signal has grown so much that it is looked at before its time."""
    last = track.looks[-1]
    return at - last.at >= SOONEST and track.pose.width > GROWN * last.pose.width


def _otherwise(track: Track, at: float) -> bool:
    """Whether a signal is so unlike what was last seen of it that it is looked at before its time."""
    last = track.looks[-1].at
    if track.hidden and track.misses == 0 and at - last >= SOONEST:
        return True  # if it is not hidden but was lost, each frame takes it further off
    if at - last < SOON:
        return False
    if track.unlike >= UNLIKE and not _waits(track):
        return True
    long = track.unlike >= UNLIKE and at - track.times[-track.unlike] >= LIT_AGAIN
    return long or _lit_up(track, last)


def _waits(track: Track) -> bool:
    """Whether to wait for a lamp to be lit again; not where it may only have been lost."""
    hurried = track.pose.width > HURRY * track.looks[-1].pose.width
    return track.between_flashes() and not track.hidden and not hurried


def _lit_up(track: Track, since: float) -> bool:
    """Whether a lamp that no look saw lit has for some frames been as bright as one that is."""
    lamps = [lamp for head in track.heads for lamp in head.lamps]
    least = LIT_UP * max((lamp.usual for lamp in lamps), default=0.0)
    if least <= 0:
        return False
    frame = bisect_left(track.times, since)
    for lamp in lamps:
        light = lamp.light
        if lamp.usual == 0 and len(light) > UNLIKE:
            now = min(light[-UNLIKE:])
            if now > least and now > RISEN * light[min(max(frame - lamp.first, 0), len(light) - 1)]:
                return True
    return False


def _still(track: Track, at: float) -> bool:
    """Whether the camera comes no nearer to a signal, nor turns."""
    before = next((look for look in reversed(track.looks) if at - look.at >= SINCE), None)
    if before is None or before.glance is None:
        return False
    now, then = track.pose, before.pose
    turned = max(abs(now.x - then.x), abs(now.y - then.y)) > PANNED * max(before.size)
    return not turned and now.width < then.width * (1 + GROWS * (at - before.at))


def _plain(track: Track) -> bool:
    """Whether a signal is shown so large, its lamps steady since the last look but one, that a look at it is
    like another."""
    return track.pose.width >= PLAIN and len(track.looks) > 1 and track.steady_from <= track.looks[-2].at


def _settled(track: Track) -> bool:
    """Whether a signal was looked at so often that a further look tells little."""
    return track.looked >= (PLAIN_SETTLED if _plain(track) else SETTLED)


def _plan(track: Track, at: float, live: int, pace: float = 1.0) -> None:
    """When the track is looked at next."""
    n = track.looked
    wait = LOOKS[n] if n < len(LOOKS) else LOOK_EVERY[n % len(LOOK_EVERY)] * max(1.0, live / FULL)
    if _settled(track) and _still(track, at):
        wait = min(wait * 4 * pace, STILL_WAIT)
    elif _settled(track):
        wait = min(wait * 2 * pace, LONGEST_WAIT)
    elif n >= FIRST_LOOKS and _plain(track):
        wait *= SELDOM
    if track.restless:
        wait = min(wait, RESTLESS_LOOK)
    if track.misses:
        wait = min(wait, LOST_LOOK * min(track.misses, 2))
    track.looked += 1
    track.next_look = at + wait


def _inside(box: Box, size: tuple[int, int]) -> bool:
    inner = box.clamp(*size)
    return inner.width >= 1 and inner.height >= 1


def _same(track: Track, seen: list[Glance], here: Box) -> Glance | None:
    """The one of these that the track follows, which is taken to be here."""
    elsewhere = here.x0 - track.heads_box().x0, here.y0 - track.heads_box().y0
    # What looks much less like a signal than this track did so far is something else that is before it.
    seen = [s for s in seen if s.odds > min(-1.0, track.odds() - UNLIKELY)]
    # One that was lost may lie over another far behind it, which is not it grown small.
    least = 1 / NEARER if track.held and not track.misses else 1 / ALIKE
    best, most = None, 0.0
    for one in seen:
        if not least < one.seen.resolution / track.pose.width < NEARER:
            continue
        box = _box(one)
        share = here.overlap(box) / max(min(here.area, box.area), 1e-6)
        if share > max(most, 0.2):
            best, most = one, share
    if best is not None:
        track.shift(*elsewhere)
        return best
    # Lost by a little: the only one there, of the same size.
    near = [
        s for s in seen
        if 1 / ALIKE < s.seen.resolution / track.pose.width < (ALIKE if track.held else NEARER)
        and _away(here, _box(s)) < (1.0 if track.held else 3.0) * s.seen.resolution + 0.25 * here.height
    ]  # fmt: skip
    if len(near) == 1 and near[0].belief > BEGIN:
        track.lay(near[0])
        return near[0]
    return None


def _away(a: Box, b: Box) -> float:
    return max(abs(a.centre[0] - b.centre[0]), abs(a.centre[1] - b.centre[1]))


def _box(seen: Glance) -> Box:
    return union_of(head.box for head in seen.seen.heads)


def _near(track: Track, box: Box) -> bool:
    """Whether the track accounts for heads found there."""
    return _share(track.heads_box().grow(0.5 * track.pose.width), box) > 0.4


def _one(a: Track, b: Track) -> bool:
    """Whether both follow one signal. A track that has lost a near signal may lie over another far one."""
    alike = 1 / NEARER < a.pose.width / b.pose.width < NEARER
    return alike and _share(a.heads_box(), b.heads_box()) > 0.6


def _known(track: Track) -> float:
    """How many heads its looks saw on average, and how sure they were of a signal."""
    return track.heads_known() + 0.1 * min(max(track.odds(), -5.0), 5.0)


def _share(a: Box, b: Box) -> float:
    """How much of the smaller lies in the other."""
    return a.overlap(b) / max(min(a.area, b.area), 1e-6)


def worth_showing(seen: Glance, size: tuple[int, int]) -> float:
    """How good a picture of the signal this is: large, wholly in view, its lamps lit."""
    box = _box(seen)
    margin = min(box.x0, box.y0, size[0] - box.x1, size[1] - box.y1) / max(seen.seen.resolution, 1.0)
    lit = sum(h.lamp is not None for h in seen.seen.heads)
    framed = min(max(margin, 0.0), 1.0) * 0.9 + 0.1
    return framed * min(seen.seen.resolution, 80.0) * (0.5 + lit) * seen.belief


def _log(p: float) -> float:
    return math.log(p / (1 - p))


def seconds(
    clip: Iterable[ClipFrame], at: float = 0.0, last: Fraction | None = None
) -> Generator[tuple[ClipFrame, float]]:
    """Frames with the seconds since the first; where times cannot be trusted, as if thirty a second.

    Where a clip is gone on with, the frame before these was at `at`, and `last` by its own clock.
    """
    before = None if last is None else Time(1, last)
    for frame in clip:
        if before is not None:
            step = frame.time.since(before)
            at += step if frame.times_fault is None and 0 < step <= LONGEST_STEP else 1 / 30
        before = frame.time
        yield frame, at


def watch(
    clip: Clip,
    eyes: Eyes,
    *,
    keep_frames: bool = False,
    told: Callable[[float], None] | None = None,
    frames: Iterable[ClipFrame] | None = None,
) -> Watched:
    """Watch a clip to its end.

    Parameters
    ----------
    clip : an open clip; it is read to its end.
    eyes : the networks.
    keep_frames : keep the best frame of each signal, for a picture.
    told : called with the seconds read so far, now and then.
    frames : its frames, where they come by another way than by iterating over it.

    Raises
    ------
    litlamp.media.errors.MediaError
        Reading broke off for a reason outside the clip.
    """
    looking = Watch(eyes, keep_frames=keep_frames)
    count, at, said = 0, 0.0, -1.0
    fault = clip.times_fault
    with one_thread():
        for frame, at in seconds(clip if frames is None else frames):
            count += 1
            fault = frame.times_fault or fault
            looking.frame(frame, at)
            if told is not None and at - said >= 0.5:
                told(at)
                said = at
    return Watched(looking.end(), clip.size, at, count, fault, clip.notes, looking.looks, looking.shown)
