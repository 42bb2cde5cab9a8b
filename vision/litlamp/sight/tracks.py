"""One signal through a clip: where it is in each frame, how bright its lamps are, and what each look saw."""

from __future__ import annotations

import math
from array import array
from collections import deque
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import Colour
from litlamp.box import Box, union_of
from litlamp.media.clip_frame import ClipFrame
from litlamp.sight.find import PlateFound
from litlamp.sight.follow import Follower
from litlamp.sight.glance import Glance
from litlamp.sight.lamp_light import LampLight, lamp_near, measure_lamps
from litlamp.sight.likeness import Likeness
from litlamp.sight.same_heads import (
    OTHER_LAMP,
    SETTLE,
    UNSEEN,
    alike,
    another,
    heads_matched,
    laid,
    lit_colour,
    settled,
)
from litlamp.sight.seen import HeadSeen
from litlamp.sight.traces import BRIGHT, DIM, HeadTrace, LampTrace, Look, Pose

SAME_BOX = 0.4
"""Boxes that share so much of the larger are of one head."""
SAME_LAMP = 0.6
"""Lamps of one head whose centres lie nearer to each other than this, of their diameter, are one."""
MOST_LAMPS = 3
"""Lamps followed in one head: a head may have one for each colour."""
MOST_HEADS = 6
"""Heads followed in one signal at once; the best seen are kept in the end."""
FORGOTTEN = 5
"""The same, from which on it is taken to have been none of the signal's."""
COVERED, COVERED_TOGETHER = 0.35, 0.6
"""Share of a head that another may cover; and one that looks see at once with it."""
ASTRAY = 4
"""Looks in a row that saw another lamp of its head lit, after which a lamp is followed no longer."""
LOCK_SIZE, MOST_SIZE = 0.3, 0.03
"""Share of the way to the size that is told by how far lit lamps stand apart, each frame; and the most."""
APART = 0.6
"""They tell it if they stand as far as this from their middle, head widths."""
MOST_LOOKS = 480
"""Looks that are kept of one signal: an hour's would fill the memory."""
MISSED = 0.3
"""How much a look that saw nothing counts, as against one that saw the signal."""
RESTLESS = 3
"""So many looks after one that saw another colour than the one before come soon."""
STEADY = 1.6
"""Seconds, longer than a flash leaves a lamp lit or dark; signals with lamps steady for so long rest."""
OTHER_LIGHT, MUCH_LIGHT = 0.3, 0.3
"""A lamp whose light differs from its usual by more than this share of it is not steady; nor is one that was
not seen lit and gives more than such a share of the brightest one's."""
LOCK, LOCK_SURE, LOCK_FAR = 0.6, 0.3, 1.0
"""Share of the way to where lit lamps are found that the track goes with each frame; where what is round them
is followed too; and where they are further off than FAR, for then it was the background that was followed."""
FAR = 0.3
"""Of a lamp's diameter."""
SOUGHT_FOR, DIMLY = 0.25, 0.05
"""Seconds for which a lamp that was lit is sought beside where it was; one of less light is not."""
OTHER_LIT, MUCH_MORE, AGREE = 0.7, 4.0, 0.7
"""What is found there may differ so much in hue, may be so many times as bright; and two lamps that are found
agree on the way that all went if that differs by no more than this, diameters."""
LEAST_CHANGE = 0.03
"""The width of its heads is put right where it is off by more than this."""
SWIFT = 0.5
"""Share that the last motion has in what is expected of the next."""
GROWING, FASTEST_GROWTH = 0.25, 1.5
"""The same of how much it grows, natural log a second; and the most that is expected."""
LIKE, MORE_LIKE = 0.9, 0.03
"""A part as like as this to what the last look saw is where it was; by so much more like it is a part in
which lamps are found that are not where they were expected."""
UNLIKE, UNLIKE_MISSED = 0.5, 0.7
"""Where all its lamps have gone dark, a part less like what the last look saw than this has something else
before it; and one less like it than the second, where a look saw nothing of it besides."""
FOUND = 0.6
"""A part as like it as this, found nearby, is it again."""
SEARCH = 0.5
"""How far to look for it, in terms of its longer side."""
COMING = 0.5
"""Seconds that it may take before what comes before a signal hides it so that it is noticed."""
COAST = 0.85
"""Share of its motion that a signal out of sight keeps from frame to frame."""
LOST = 0.6
"""Seconds without any hold after which nothing that is measured counts, until the networks see it again."""


class Track:
    """A signal being followed.

    Attributes
    ----------
    number, born : which track of the clip it is, and from when on, seconds.
    pose, heads : where it is now, and what it is made of.
    looks : what looks at it saw, in time order; `found` of them saw it, the last at `last_seen`.
    times, seen, common, widths : of each frame: its time, whether what was measured counts, its exposure, and
        the width of the signal's heads, px.
    misses : looks in a row that saw nothing.
    hidden : something is taken to be before it.
    steady_from : the last moment at which its lamps were not steady.
    rests : its lamps have been steady for so long that not every frame has to be looked at.
    """

    def __init__(self, number: int, at: float, glance: Glance, size: tuple[int, int]) -> None:
        self.number = number
        self.born = at
        self.heads: list[HeadTrace] = []
        self.looks: list[Look] = []
        self.times = array("d")
        self.seen = array("b")
        self.common = array("f")
        self.widths = array("f")
        self.found = 0
        self.last_seen = at
        self.misses = 0
        self.unlike = 0
        self.restless = 0
        self.next_look = at
        self.looked = 0
        # The plates on its mast, as sides like a head's; found by a search when its heads were so wide.
        self._boards: list[tuple[tuple[float, float, float, float], PlateFound]] = []
        self._searched = 0.0
        # Sums over all looks, some of which are let go from `looks` in time.
        self._odds, self._weight, self._heads_seen = 0.0, 0.0, 0
        self._follower = Follower()
        self._likeness = Likeness()
        self._good: deque[Pose] = deque(maxlen=6)
        self._remember = True
        self.hidden = False
        self._like: float | None = None
        self._dark = False
        self._sure = self._lit = False
        self._lit_at = -math.inf
        self._shown: list[LampTrace] = []  # lamps that the last look saw lit
        # Px and natural log of the size, each a second; and the moment up to which it has gone on so.
        self._velocity, self._growth = (0.0, 0.0), 0.0
        self._gone_to = at
        self._learned = at  # when a look last told where it is
        self.steady_from, self.rests = at, False
        self._held = at
        middles = [h.box.centre for h in glance.seen.heads]
        x, y = (float(np.mean([m[i] for m in middles])) for i in (0, 1))
        self.pose = Pose(x, y, glance.seen.resolution)
        self.learn(at, glance, size)

    @property
    def held(self) -> bool:
        """Whether its place is known: by what was followed, by a lit lamp or by a look just now."""
        return not self.times or self.times[-1] - self._held < LOST

    @property
    def _followed(self) -> list[HeadTrace]:
        return [head for head in self.heads if not head.gone]

    @property
    def _lamps(self) -> list[LampTrace]:
        return [lamp for head in self.heads if not head.gone for lamp in head.lamps if not lamp.gone]

    def heads_box(self) -> Box:
        """Where its heads are now, px of the frame, but for those that looks have long not seen."""
        known = [head for head in self._followed if head.missed < FORGOTTEN] or self._followed
        return union_of(self.pose.box(head.sides) for head in known)

    def follows_head_of(self, glance: Glance) -> bool:
        """Whether a head that a look saw is followed here: then it is of this signal."""
        if self.misses > 0 or self.hidden or not self.held:
            return False
        own = [self.pose.box(head.sides) for head in self._followed if head.missed == 0]
        for box, head in product(own, glance.seen.heads):
            lamp = head.lamp
            within = lamp is not None and box.x0 < lamp.x < box.x1 and box.y0 < lamp.y < box.y1
            if within or box.overlap(head.box) > SAME_BOX * max(box.area, head.box.area):
                return True
        return False

    def boards(self, grown: float) -> tuple[PlateFound, ...] | None:
        """Its plates where they are now, px of the frame; None if it has `grown` since they were sought."""
        if self.pose.width > grown * self._searched:
            return None
        return tuple(replace(board, box=self.pose.box(sides)) for sides, board in self._boards)

    def lens(self) -> float:
        """The usual diameter of its lenses now, px of the frame."""
        return float(np.median([lamp.diameter for lamp in self._lamps])) * self.pose.width

    def odds(self) -> float:
        """Log-odds that it is a signal, by all looks together; a look that saw nothing counts a little."""
        return self._odds / max(self._weight, 1e-6)

    def heads_known(self) -> float:
        """How many heads the looks that saw it saw on average."""
        return self._heads_seen / max(self.found, 1)

    def learn(self, at: float, glance: Glance, size: tuple[int, int]) -> None:
        """Take in what a look saw, on the frame that was last followed to."""
        seen = glance.seen
        matched = heads_matched(self.heads, self.pose, glance)
        # Heads not plainly lit are seen none too well, and often in the wrong place: what is followed stays.
        followed = self.misses == 0 and (self._sure or self._lit)
        blind = followed and not any(_plainly_lit(head) for head in seen.heads)
        if self.heads and not blind:
            before_it = self.pose
            self.pose = settled(self.heads, self.pose, glance, matched, sure=self._sure)
            self._expect_more(before_it)
            if matched:
                self._measure(seen.resolution)
        slots: list[int] = []
        self._shown = []
        if not blind:
            self._count_heads(set(matched.values()), new=len(seen.heads) - len(matched))
        for i, head in enumerate(seen.heads):
            slot = matched.get(i)
            sides = self._sides(head.box)
            room = not blind and len(self._followed) < MOST_HEADS
            if slot is None and room and self._free(sides, matched.values()):
                slot = len(self.heads)
                self.heads.append(HeadTrace(sides, [], found=1))
            elif slot is None:
                slot = -1
            elif not blind:
                self._place(self.heads[slot], sides, lit=head.lamp is not None)
            slots.append(slot)
            if slot >= 0:
                self._learn_lamp(self.heads[slot], glance.lenses[i], lit_colour(head))
        if glance.searched:
            self._boards = [(self._sides(board.box), board) for board in glance.boards]
            self._searched = self.pose.width
        before = next((look for look in reversed(self.looks) if look.glance is not None), None)
        now = Look(at, glance, tuple(slots), self.pose, size)
        self._keep(now)
        self.found += 1
        self.last_seen = at
        self._heads_seen += len(seen.heads)
        self._odds, self._weight = self._odds + glance.odds, self._weight + 1.0
        self.restless = RESTLESS if before is not None and _differ(before, now) else max(self.restless - 1, 0)
        self.misses = 0
        self._held = at
        self._remember, self.hidden = self._remember or glance.odds > 0, False

    def gauge(self, frame: ClipFrame) -> None:
        """Measure the lamps that the last look saw lit, in the frame it saw: there their places are known.

        If one changes right after, that must be noticed.
        """
        places = [(lamp, self.pose.place(lamp.u, lamp.v)) for lamp in self._shown if not lamp.gone]
        own = [(k, p) for k, p in places if 0 <= p[0] < frame.size[0] and 0 <= p[1] < frame.size[1]]
        if not own:
            return
        measured = measure_lamps(frame, [p for _, p in own], [k.diameter * self.pose.width for k, _ in own])
        for (lamp, _), light, rgb in zip(own, measured.light.tolist(), measured.rgb.tolist(), strict=True):
            here = len(lamp.light) > 0 and lamp.first + len(lamp.light) == len(self.times)
            lamp.know(light, rgb, here=here)
        self._lit_at = self.looks[-1].at

    def _keep(self, look: Look) -> None:
        """Add a look; of very many, every second of the older ones is let go."""
        self.looks.append(look)
        if len(self.looks) > MOST_LOOKS:
            late = MOST_LOOKS // 4
            self.looks[1:-late] = self.looks[1:-late:2]

    def miss(self, at: float, size: tuple[int, int]) -> None:
        """A look that saw nothing of it."""
        self.misses += 1
        if self._dark and self._like is not None and self._like < UNLIKE_MISSED and not self.hidden:
            self._hide()
        self._keep(Look(at, None, (), self.pose, size))
        self._odds, self._weight = self._odds - 2 * MISSED, self._weight + MISSED

    def shift(self, dx: float, dy: float) -> None:
        """It is elsewhere than was taken, px of the frame."""
        self.pose = Pose(self.pose.x + dx, self.pose.y + dy, self.pose.width)

    def rescale(self, by: float) -> None:
        """The frames' size has changed by this factor."""
        self.pose = Pose(self.pose.x * by, self.pose.y * by, self.pose.width * by)
        self._velocity = self._velocity[0] * by, self._velocity[1] * by
        self._follower.forget()
        self._good.clear()

    def resume(self, at: float, glance: Glance, size: tuple[int, int]) -> None:
        """Go on with a signal that was out of sight and is seen again elsewhere."""
        self.lay(glance)
        self._velocity, self._growth, self._gone_to = (0.0, 0.0), 0.0, at
        self.learn(at, glance, size)

    def lay(self, glance: Glance) -> None:
        """It is where a look saw it; what differs further down, `learn` settles.

        Its highest head lies where the look's does, or, where colours speak against that, one lower down: of
        a signal close by the highest may have left the picture.
        """
        width = glance.seen.resolution
        x, y = min((h.box.centre for h in glance.seen.heads), key=lambda middle: middle[1])
        known = [h for h in self._followed if h.missed < UNSEEN] or self._followed
        places = [
            (x - u * width, y - v * width)
            for u, v in sorted((h.middle for h in known), key=lambda middle: middle[1])
        ]
        fits = (at for at in places if alike(self.heads, glance, laid(self.heads, glance, at, width)))
        self._lie(next(fits, places[0]), width)

    def lay_on(self, other: Track) -> None:
        """It is where another track of the same signal is."""
        width = other.pose.width
        top = min((other.pose.place(*h.middle) for h in other.heads), key=lambda middle: middle[1])
        high = min((h.middle for h in self._followed), key=lambda middle: middle[1])
        self._lie((top[0] - high[0] * width, top[1] - high[1] * width), width)

    def _lie(self, middle: tuple[float, float], width: float) -> None:
        self.pose = Pose(*middle, width)
        self._good.clear()
        self._follower.forget()

    def step(self, frame: ClipFrame, luma: NDArray[np.uint8], at: float, common: float) -> None:
        """Go on to this frame: follow, and measure every lamp."""
        before = self.pose
        passed = max(at - self._gone_to, 1e-3)
        self._gone_to = at
        sure = self._sure = self._follow(luma, passed)
        lamps = self._lamps
        places = [self.pose.place(lamp.u, lamp.v) for lamp in lamps]
        diameters = [lamp.diameter * self.pose.width for lamp in lamps]
        measured = measure_lamps(frame, places, diameters)
        # What looks no longer see may be a patch of sky, which goes nowhere with the signal.
        known = [head.missed < UNSEEN for head in self._followed for lamp in head.lamps if not lamp.gone]
        if at - self._lit_at < SOUGHT_FOR and not self.hidden and not _any_lit(lamps, measured, known):
            aside = self._gone_aside(frame, luma, zip(lamps, places, diameters, known, strict=True))
            if aside is not None:
                self.shift(*aside)
                sure = self._sure = False
                places = [self.pose.place(lamp.u, lamp.v) for lamp in lamps]
                measured = measure_lamps(frame, places, diameters)
        moved = self.pose.x - before.x, self.pose.y - before.y
        off, weight, unlike = np.zeros(2), 0.0, False
        far = 0.0
        lit = dark = 0
        for i, (lamp, (x, y)) in enumerate(zip(lamps, places, strict=True)):
            # One that has left the picture has not gone dark.
            if not (0 <= x < frame.size[0] and 0 <= y < frame.size[1]):
                lamp.leave()
                continue
            unlike |= lamp.take(measured, i, sure=sure)
            lit += lamp.lit and known[i]
            dark += lamp.usual > 0 and lamp.light[-1] < DIM * lamp.usual
            if lamp.lit and known[i]:
                off, weight = off + lamp.light[-1] * measured.off[i], weight + lamp.light[-1]
                far += lamp.light[-1] * float(np.abs(measured.off[i]).max()) / diameters[i]
        self._dark, self._lit = dark > 0 and lit == 0, lit > 0
        if self._lit:
            self._lit_at = at
        if weight > 0:
            share = LOCK_FAR if far > FAR * weight else LOCK_SURE if sure else LOCK
            dx, dy = (share * off / weight).tolist()
            self.pose = Pose(self.pose.x + dx, self.pose.y + dy, self.pose.width)
            moved = moved[0] + dx, moved[1] + dy
            if lit > 1:
                shown = [i for i, lamp in enumerate(lamps) if lamp.lit and known[i]]
                self._resize(np.array(places)[shown], measured.off[shown])
        if sure or weight > 0:
            self._held = at
        if not self.hidden:  # else it was put back to where it was last seen, which is no motion of its own
            self._velocity = (
                self._velocity[0] + SWIFT * (moved[0] / passed - self._velocity[0]),
                self._velocity[1] + SWIFT * (moved[1] / passed - self._velocity[1]),
            )
            more = math.log(self.pose.width / before.width) / passed
            self._growth = _no_wilder(self._growth + GROWING * (more - self._growth))
        self.unlike = self.unlike + 1 if unlike else 0
        if not self._steady():
            self.steady_from = at
        self.rests = at - self.steady_from > STEADY
        self.times.append(at)
        self.common.append(common)
        self.widths.append(self.pose.width)
        held = sure or weight > 0 or (at - self._held < 0.5 * LOST and self.misses == 0)
        self.seen.append(held and not self.hidden and self.misses < 2 and not frame.damaged)

    def _gone_aside(
        self,
        frame: ClipFrame,
        luma: NDArray[np.uint8],
        lamps: Iterable[tuple[LampTrace, tuple[float, float], float, bool]],
    ) -> tuple[float, float] | None:
        """How far it is from where it was followed to, px of the frame, by a lamp that was lit just now.

        None if no such lamp is found near there, or its heads look as before where they are, or no more so
        there: then the lamps have gone dark. `lamps` come with their places, diameters, px of the frame,
        and whether looks see them still.
        """
        if self._remember:  # what the last look saw is not known yet
            return None
        here = self._likeness.here(luma, self._core())
        if here is not None and here > LIKE:
            return None
        offs, near = [], 0.0
        for lamp, place, diameter, known in lamps:
            found = lamp_near(frame, place, diameter) if known and lamp.usual > DIMLY else None
            if found is not None and lamp.like(found.rgb.tolist(), OTHER_LIT, MUCH_MORE):
                offs.append(found.off)
                near = max(near, AGREE * diameter)
        if not offs:
            return None
        # Where they differ, one of them has found another's lamp.
        off = max(offs, key=lambda one: sum(math.dist(one, other) < near for other in offs))
        there = None if here is None else self._likeness.here(luma, self._core().shift(*off))
        # Of heads that are all dark it cannot be told; nor is there a sky about them that passes for a lamp.
        return off if here is None or (there is not None and there > here + MORE_LIKE) else None

    def coast(self, at: float) -> None:
        """Go on as before through a frame that is not looked at."""
        passed, self._gone_to = at - self._gone_to, at
        dx, dy = self._velocity[0] * passed, self._velocity[1] * passed
        self.shift(dx, dy)
        self._follower.pass_over(dx, dy)

    def between_flashes(self) -> bool:
        """Whether a lamp that looks saw lit is dark in this frame."""
        return any(lamp.light and lamp.light[-1] < DIM * lamp.usual for lamp in self._lamps)

    def _steady(self) -> bool:
        """Whether its place is known in this frame and each lamp is just as looks saw it, lit or not."""
        if not self._sure or self.hidden or self.misses > 0 or self.unlike > 0:
            return False
        lamps = self._lamps
        lit = [lamp.light[-1] / lamp.usual for lamp in lamps if lamp.usual > 0]
        dark = [lamp.light[-1] for lamp in lamps if lamp.usual <= 0]
        least = MUCH_LIGHT * max((lamp.usual for lamp in lamps), default=0.0)
        if not lit or max(dark, default=0.0) > least:
            return False
        return min(lit) > 1 - OTHER_LIGHT and max(lit) < 1 + OTHER_LIGHT

    def _follow(self, luma: NDArray[np.uint8], passed: float) -> bool:
        """Go to where the signal went in the seconds that passed; False where that is a guess."""
        expected = self._velocity[0] * passed, self._velocity[1] * passed
        if self.hidden:
            self._velocity = COAST * self._velocity[0], COAST * self._velocity[1]
            self.shift(COAST * expected[0], COAST * expected[1])
            return False
        motion = self._follower.motion(luma, expected, rest=self.rests)
        growth = motion.growth if motion.sure else math.exp(self._growth * passed)
        around = self._region().centre
        x = around[0] + motion.dx + growth * (self.pose.x - around[0])
        y = around[1] + motion.dy + growth * (self.pose.y - around[1])
        self.pose = Pose(x, y, min(max(self.pose.width * growth, 2.0), 4e3))
        self._like = None
        if self._dark and not self._remember:
            self._like = self._likeness.here(luma, self._core())
        if self._like is not None and self._like < UNLIKE:
            self._hide()
            return False
        self._good.append(self.pose)
        return motion.sure

    def _hide(self) -> None:
        """Something has come before it, and what was followed last may have been that."""
        self.hidden = True
        if self._good:
            self.pose = self._good[0]
        self._good.clear()
        self._follower.forget()
        # It came while the lamps went dark behind it: what was measured then tells nothing of them.
        lamps = [lamp for lamp in self._lamps if lamp.usual > 0]
        for i in range(len(self.times) - 1, -1, -1):
            lit = any(i >= lamp.first and lamp.light[i - lamp.first] > BRIGHT * lamp.usual for lamp in lamps)
            if lit or self.times[-1] - self.times[i] > COMING:
                break
            self.seen[i] = 0

    def sought(self, luma: NDArray[np.uint8]) -> Box:
        """Where a hidden signal is best looked for: where most looks like it, if anything much does."""
        found = self._likeness.search(luma, self._core(), SEARCH) if self.hidden else None
        box = self.heads_box()
        return box if found is None or found[2] < FOUND else box.shift(*found[:2])

    def anchor(self, luma: NDArray[np.uint8]) -> None:
        """Follow on from where it is now taken to be in this frame."""
        if self.hidden:
            return
        self._follower.keep(luma, self._region())
        if self._remember:
            lamps = [
                (*self.pose.place(lamp.u, lamp.v), lamp.diameter * self.pose.width) for lamp in self._lamps
            ]
            self._likeness.remember(luma, self._core(), lamps)
            self._remember = False

    def in_view(self, size: tuple[int, int]) -> bool:
        """Whether at least the middle of its heads is inside the frame."""
        x, y = self.heads_box().centre
        return 0 <= x < size[0] and 0 <= y < size[1]

    def left_view(self, size: tuple[int, int]) -> bool:
        """Whether none of its heads is inside the frame any more."""
        middles = [self.pose.place(*head.middle) for head in self._followed if head.missed < FORGOTTEN]
        return not any(0 <= x < size[0] and 0 <= y < size[1] for x, y in middles)

    def _core(self) -> Box:
        return self.heads_box().grow(0.2 * self.pose.width)

    def _region(self) -> Box:
        box, w = self.heads_box(), max(self.pose.width, 6.0)
        return Box(box.x0 - w, box.y0 - 0.7 * w, box.x1 + w, box.y1 + 1.5 * w)

    def _sides(self, box: Box) -> tuple[float, float, float, float]:
        p = self.pose
        return (
            (box.x0 - p.x) / p.width,
            (box.y0 - p.y) / p.width,
            (box.x1 - p.x) / p.width,
            (box.y1 - p.y) / p.width,
        )

    def _expect_more(self, before: Pose) -> None:
        """As much as a look found the signal further on and larger than it was followed to, it goes on."""
        seconds, self._learned = self._gone_to - self._learned, self._gone_to
        if seconds <= 0 or self.hidden or self.misses > 0:
            return
        share = SWIFT / seconds
        self._velocity = (
            self._velocity[0] + share * (self.pose.x - before.x),
            self._velocity[1] + share * (self.pose.y - before.y),
        )
        self._growth = _no_wilder(self._growth + share * math.log(self.pose.width / before.width))

    def _measure(self, width: float) -> None:
        """Reckon in head widths nearer to this one, px: those first seen, from far off, look too wide.

        All places are told in head widths, so that they are told anew.
        """
        by = (width / self.pose.width) ** SETTLE
        if abs(by - 1) < LEAST_CHANGE:
            return
        self.pose = _wider(self.pose, by)
        for head in self.heads:
            head.sides = _scaled(head.sides, 1 / by)
            for lamp in head.lamps:
                lamp.u, lamp.v, lamp.diameter = lamp.u / by, lamp.v / by, lamp.diameter / by
        self._boards = [(_scaled(sides, 1 / by), board) for sides, board in self._boards]
        self._searched *= by
        self.looks = [replace(look, pose=_wider(look.pose, by)) for look in self.looks]
        self._good = deque((_wider(pose, by) for pose in self._good), self._good.maxlen)
        self.widths = array("f", [wide * by for wide in self.widths])

    def _place(self, head: HeadTrace, sides: tuple[float, float, float, float], *, lit: bool) -> None:
        """A look saw the head there; where no lamp of it was seen lit, all are where they were in it."""
        x, y = head.middle
        mixed = [a + SETTLE * (b - a) for a, b in zip(head.sides, sides, strict=True)]
        head.sides = (mixed[0], mixed[1], mixed[2], mixed[3])
        u, v = head.middle
        for lamp in () if lit else head.lamps:
            lamp.u, lamp.v = lamp.u + u - x, lamp.v + v - y

    def _count_heads(self, seen: set[int], new: int) -> None:
        """Note which heads a look saw; others are let go where `new` ones need their places.

        Of a signal far off little is made out, and that badly: there were none where such heads seemed to be.
        """
        for slot, head in enumerate(self.heads):
            head.missed = 0 if slot in seen else head.missed + 1
            head.found += slot in seen
        while new > 0 and len(self._followed) + new > MOST_HEADS:
            worst = max(self._followed, key=lambda h: (h.missed, -h.found))
            if worst.missed < UNSEEN:
                return
            worst.gone = True

    def _free(self, sides: tuple[float, float, float, float], seen: Collection[int]) -> bool:
        """Whether a head may be there: none is followed there, or one that looks no longer see and that goes.

        Heads do not stand over each other: where they seem to, the place of one was seen none too well. The
        slots `seen` are of the same look, which told them apart: their boxes may reach over each other.
        """
        if any(_cover(self.heads[slot].sides, sides, COVERED_TOGETHER) for slot in seen):
            return False
        over = [
            head
            for slot, head in enumerate(self.heads)
            if not head.gone and slot not in seen and _cover(head.sides, sides)
        ]
        if any(head.missed < UNSEEN for head in over):
            return False
        for head in over:
            head.gone = True
        return True

    def _resize(self, places: NDArray[np.float64], off: NDArray[np.float64]) -> None:
        """Correct the size by how far lit lamps, found so far `off` their places (n, 2), stand apart."""
        middle = places.mean(axis=0)
        own = places - middle
        spread = float((own**2).sum())
        if spread < len(own) * (APART * self.pose.width) ** 2:
            return
        more = LOCK_SIZE * float((own * (off - off.mean(axis=0))).sum()) / spread
        by = 1 + min(max(more, -MOST_SIZE), MOST_SIZE)
        x, y = middle + ((self.pose.x, self.pose.y) - middle) * by
        self.pose = Pose(float(x), float(y), max(self.pose.width * by, 2.0))

    def _learn_lamp(self, head: HeadTrace, lens: tuple[float, float, float], colour: Colour | None) -> None:
        """Take in where a look saw a head's lamp, of that colour; None where it is dark."""
        x, y, diameter = lens
        lit = colour is not None
        u, v = (x - self.pose.x) / self.pose.width, (y - self.pose.y) / self.pose.width
        d = diameter / self.pose.width
        own = [lamp for lamp in head.lamps if not lamp.gone]
        near = min(own, key=lambda lamp: math.dist((u, v), (lamp.u, lamp.v)), default=None)
        reach = OTHER_LAMP if near is not None and another(near, self.pose.width, colour) else SAME_LAMP
        if near is not None and math.dist((u, v), (near.u, near.v)) < reach * max(d, near.diameter):
            if lit or near.usual == 0:
                near.u += SETTLE * (u - near.u)
                near.v += SETTLE * (v - near.v)
                near.diameter += SETTLE * (d - near.diameter)
        else:
            # A head has one lamp of each colour: one of that colour elsewhere was seen none too well.
            same = next((lamp for lamp in own if lit and lamp.colour == colour), None)
            if same is not None:
                near = same
                near.u, near.v, near.diameter = u, v, d
            elif near is None or (lit and len(own) < MOST_LAMPS):
                near = LampTrace(u, v, d, len(self.times))
                head.lamps.append(near)
        if lit:
            near.colour = colour
            for lamp in own:
                lamp.missed = 0 if lamp is near else lamp.missed + 1
                lamp.gone = lamp.missed >= ASTRAY
            self._shown.append(near)


def _no_wilder(growth: float) -> float:
    return min(max(growth, -FASTEST_GROWTH), FASTEST_GROWTH)


def _any_lit(lamps: Sequence[LampTrace], measured: LampLight, known: Sequence[bool]) -> bool:
    """Whether any lamp that looks saw lit, and is `known` still, is in its place as it was then."""
    return any(
        own and lamp.usual > DIMLY and lamp.like(rgb)
        for lamp, rgb, own in zip(lamps, measured.rgb.tolist(), known, strict=True)
    )


def _wider(pose: Pose, by: float) -> Pose:
    return Pose(pose.x, pose.y, pose.width * by)


def _scaled(sides: tuple[float, float, float, float], by: float) -> tuple[float, float, float, float]:
    left, top, right, bottom = sides
    return left * by, top * by, right * by, bottom * by


def _cover(
    one: tuple[float, float, float, float], other: tuple[float, float, float, float], much: float = COVERED
) -> bool:
    """Whether much of one lies in the other."""
    a, b = Box(*one), Box(*other)
    return a.overlap(b) > much * min(a.area, b.area)


def _plainly_lit(head: HeadSeen) -> bool:
    """Whether one colour is believed more than all else."""
    return any(share > 0.5 for colour, share in head.colour.items() if colour != "dark")


def _differ(a: Look, b: Look) -> bool:
    """Whether two looks name different colours for a head that both saw lit."""
    for slot in set(a.heads) & set(b.heads):
        one, other = (
            look.glance.seen.heads[look.heads.index(slot)].colour
            for look in (a, b)
            if look.glance is not None
        )
        if min(1 - one["dark"], 1 - other["dark"]) > 0.5 and max(one, key=lambda c: one[c]) != max(
            other, key=lambda c: other[c]
        ):
            return True
    return False
