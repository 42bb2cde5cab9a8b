"""What a track is made of: the pose of a signal, its heads, their lamps through time, and the looks at it."""

from __future__ import annotations

import math
from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field

from litlamp.aspects.aspect import Colour
from litlamp.box import Box
from litlamp.sight.glance import Glance
from litlamp.sight.lamp_light import LampLight

BRIGHT = 0.5
"""A lamp as bright as this, in terms of its usual light, is one that its place can be told from."""
GLARING = 1.6
"""One brighter than this is something else."""
DIM = 0.3
"""One no brighter than this is not as it was."""
OTHER_HUE = 0.3
"""Nor is one whose log of red over green differs by more than this."""
PASSED, LAST_SECOND = 1.25, 1.0
"""A signal that grew by so much in its last so many seconds in sight has been passed by a train."""
EVEN = 0.05
"""Light added to red and to green, so that the hue of a faint lamp says little."""


@dataclass(frozen=True, slots=True)
class Pose:
    """Where the signal is: its middle, px of the frame, and the width of its heads."""

    x: float
    y: float
    width: float

    def place(self, u: float, v: float) -> tuple[float, float]:
        """The frame's point under (u, v), head widths from the middle."""
        return self.x + u * self.width, self.y + v * self.width

    def box(self, sides: tuple[float, float, float, float]) -> Box:
        """The frame's box of one given in head widths from the middle."""
        left, top, right, bottom = sides
        return Box(*self.place(left, top), *self.place(right, bottom))


def hue_of(red: float, green: float) -> float:
    """Log of red over green of a lamp's linear light."""
    return math.log((red + EVEN) / (green + EVEN))


@dataclass(slots=True)
class LampTrace:
    """A lamp of a head: its place, head widths from the signal's middle; its light from frame `first` on.

    `usual` is its light where a look saw it lit; 0 where none has. `hue`, the
    log of red over green, is that at the last look or at the first frame since in which it was lit; `colour`
    is what the last look named. Out of the picture its light is nan. `gone`: it is followed no longer, since
    the last `missed` looks that saw its head lit saw another lamp of it.
    """

    u: float
    v: float
    diameter: float
    first: int
    usual: float = 0.0
    hue: float = math.nan
    lit: bool = False
    colour: Colour | None = None
    missed: int = 0
    gone: bool = False
    light: array[float] = field(default_factory=lambda: array("f"))
    red: array[float] = field(default_factory=lambda: array("f"))
    green: array[float] = field(default_factory=lambda: array("f"))

    def leave(self) -> None:
        """It is out of the picture in one frame."""
        self.lit = False
        for channel in (self.light, self.red, self.green):
            channel.append(math.nan)

    def like(self, rgb: Sequence[float], hues: float = OTHER_HUE, most: float = GLARING) -> bool:
        """Whether light by channel may be this lamp's: of about its hue, at most `most` times its usual."""
        alike = math.isnan(self.hue) or abs(hue_of(rgb[0], rgb[1]) - self.hue) < hues
        return alike and BRIGHT * self.usual < sum(rgb) < most * self.usual

    def know(self, light: float, rgb: Sequence[float], *, here: bool) -> None:
        """A look saw it lit, of that light; `here` in the frame that was measured last."""
        self.hue = hue_of(rgb[0], rgb[1])
        self.usual += (1.0 if self.usual <= 0 else 0.3) * (light - self.usual)
        if here:
            self.light[-1], self.red[-1], self.green[-1] = light, rgb[0], rgb[1]

    def take(self, measured: LampLight, at: int, *, sure: bool) -> bool:
        """Take in what one frame shows at this lamp; True where it is unlike what the last look saw.

        `lit` then says whether it is lit so plainly that the signal's place can be told from it. `sure`: that
        place is known, so that something bright next to it is something else.
        """
        rgb = measured.rgb[at]
        hue = hue_of(float(rgb[0]), float(rgb[1]))
        alike = not math.isnan(self.hue) and abs(hue - self.hue) < OTHER_HUE
        own = alike or math.isnan(self.hue) or not measured.off[at].any()
        if sure and not own:
            # What stands out beside it is of another colour: snow on its hood, or another lamp.
            rgb = measured.here[at]
            hue = hue_of(float(rgb[0]), float(rgb[1]))
        light = float(rgb.sum())
        aside = bool(measured.aside[at]) and not self.lit and sure and not alike
        lit = BRIGHT * self.usual < light < GLARING * self.usual and not aside
        self.lit = lit and own
        if lit and math.isnan(self.hue):
            self.hue = hue
        # Of a dark lamp the brightest place near it is something else: a hood, or sky in its lens. The less
        # there is of a lit lamp, the more counts the darkest place.
        share = 1.0 if lit or self.usual <= 0 else min(light / (BRIGHT * self.usual), 1.0)
        self.light.append(share * light + (1 - share) * float(measured.least[at]))
        self.red.append(float(rgb[0]))
        self.green.append(float(rgb[1]))
        return self.usual > 0 and (self.light[-1] < DIM * self.usual or abs(hue - self.hue) > OTHER_HUE)


@dataclass(slots=True)
class HeadTrace:
    """A head of the signal; `sides` of its box, head widths from the signal's middle.

    `found` looks saw it, the last `missed` did not. `gone`: it is followed no longer, for it was none.
    """

    sides: tuple[float, float, float, float]
    lamps: list[LampTrace]
    found: int = 0
    missed: int = 0
    gone: bool = False

    @property
    def middle(self) -> tuple[float, float]:
        """Head widths from the signal's middle."""
        left, top, right, bottom = self.sides
        return (left + right) / 2, (top + bottom) / 2


@dataclass(frozen=True, slots=True)
class Look:
    """One look at the signal: when, what was seen (None: nothing), and where the track took it to be.

    `heads` names for each head of `glance` which of the track's it is.
    """

    at: float
    glance: Glance | None
    heads: tuple[int, ...]
    pose: Pose
    size: tuple[int, int]


def passed(looks: Sequence[Look]) -> bool:
    """Whether a signal came so near in its last moments in sight that the train has passed it."""
    seen = [look for look in looks if look.glance is not None]
    if not seen:
        return False
    last = seen[-1]
    before = next((look for look in reversed(seen) if last.at - look.at >= LAST_SECOND), seen[0])
    return last.pose.width > PASSED * before.pose.width
