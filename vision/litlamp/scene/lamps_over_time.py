"""What a lamp's light does over time: flashing, changes of aspect, filaments that warm and cool, LED ripple.

Light is 0 for dark and 1 for fully lit; a frame records the mean over the time its shutter was open.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import Aspect, Colour
from litlamp.scene.light import Source

Floats = NDArray[np.float64]
_STEP = 0.001  # s; a filament's light is followed in steps of this


@dataclass(frozen=True, slots=True)
class Shown:
    """An aspect and the time it is displayed, seconds from the clip's zero."""

    from_s: float
    to_s: float
    aspect: Aspect


@dataclass(frozen=True, slots=True)
class Flashing:
    """How the flashing lamps of one signal flash.

    Attributes
    ----------
    per_minute : flashes in a minute.
    lit_share : share of the period that the current flows.
    phase : where in its period the flash stands at the time 0, 0 to 1; 0 is the moment it is lit.
    """

    per_minute: float = 55.0
    lit_share: float = 0.5
    phase: float = 0.0

    def __post_init__(self) -> None:
        if not 1 <= self.per_minute <= 600:
            raise ValueError(f"a flash rate must be from 1 to 600 a minute, not {self.per_minute:g}")
        if not 0.05 <= self.lit_share <= 0.95:
            raise ValueError(f"the lit share must be from 0.05 to 0.95, not {self.lit_share:g}")


def set_flash(per_minute: float | None, lit_share: float | None) -> Flashing:
    """A flash at the rate and lit share given; what is None stays as usual. Raises ValueError."""
    usual = Flashing()
    return Flashing(
        usual.per_minute if per_minute is None else per_minute,
        usual.lit_share if lit_share is None else lit_share,
    )


@dataclass(frozen=True, slots=True)
class Ripple:
    """The ripple of LED lamps on the mains or of a driver that dims by switching.

    Attributes
    ----------
    hertz : how often the light goes and comes back in a second; 0 for none.
    lit_share : share of the time that it is lit.
    phase : 0 to 1, as of `Flashing`.
    shape : "switched" on and off, or "rectified": the humps of a mains-fed lamp, dark for the rest.
    """

    hertz: float = 0.0
    lit_share: float = 0.5
    phase: float = 0.0
    shape: Literal["switched", "rectified"] = "switched"

    def __post_init__(self) -> None:
        if not (self.hertz == 0 or 20 <= self.hertz <= 5000):
            raise ValueError(f"an LED ripple must be 0 or from 20 to 5000 Hz, not {self.hertz:g}")
        if not 0.02 <= self.lit_share <= 1:
            raise ValueError(f"the lit share of a ripple must be from 0.02 to 1, not {self.lit_share:g}")

    def until(self, times: Floats) -> Floats:
        """The light that has come by each time, seconds of full light; its mean is 1 a second."""
        if self.hertz == 0:
            return times
        turns = times * self.hertz + self.phase
        whole, part = np.floor(turns), turns - np.floor(turns)
        share = np.minimum(part / self.lit_share, 1.0)
        if self.shape == "rectified":
            share = (1 - np.cos(np.pi * share)) / 2
        return np.asarray((whole + share) / self.hertz)


@dataclass(frozen=True, slots=True)
class Filament:
    """Seconds in which a filament's light comes within 1/e of its end (see `sight.lamp_curves`)."""

    rise: float = 0.07
    fall: float = 0.06


class LampLight:
    """One colour of one head over time.

    Parameters
    ----------
    spans : when current flows: (from, to) pairs in seconds, apart and in order; infinite ends allowed.
    source : what makes the light.
    ripple : of an LED; a filament is too slow to show one.
    filament : of a filament.
    """

    def __init__(
        self,
        spans: Sequence[tuple[float, float]],
        source: Source,
        ripple: Ripple | None = None,
        filament: Filament | None = None,
    ) -> None:
        self.spans = tuple(spans)
        self.source = source
        self._ripple = (ripple or Ripple()) if source == "led" else Ripple()
        self._filament = filament or Filament()
        ends = [t for span in self.spans for t in span if math.isfinite(t)]
        self._first, self._last = (min(ends), max(ends)) if ends else (0.0, 0.0)
        if source == "incandescent":
            self._clock, self._sum = self._warmed()

    def lit(self, time: float) -> bool:
        """Whether current flows at that time."""
        return any(a <= time < b for a, b in self.spans)

    def mean(self, start: Floats, open_s: float) -> Floats:
        """Mean light, 0 to 1 (an LED with ripple may exceed 1 for a moment), from `start` for `open_s`."""
        start = np.asarray(start, np.float64)
        if not self.spans:
            return np.zeros_like(start)
        open_s = max(open_s, 1e-6)
        return np.asarray((self._until(start + open_s) - self._until(start)) / open_s)

    def _until(self, times: Floats) -> Floats:
        """Light gathered from a fixed moment to each time; differences of it are what counts."""
        if self.source == "incandescent":
            inside = np.interp(times, self._clock, self._sum)
            before = np.minimum(times - self._clock[0], 0) * (math.isinf(self.spans[0][0]))
            after = np.maximum(times - self._clock[-1], 0) * (math.isinf(self.spans[-1][1]))
            return np.asarray(inside + before + after)
        total = np.zeros_like(times)
        for a, b in self.spans:
            a = a if math.isfinite(a) else -1e4
            low, high = np.full_like(times, a), np.clip(times, a, b)
            total += self._ripple.until(high) - self._ripple.until(low)
        return total

    def _warmed(self) -> tuple[Floats, Floats]:
        clock = np.arange(self._first - 2.0, self._last + 2.0 + _STEP, _STEP)
        on = np.zeros(clock.shape, bool)
        for a, b in self.spans:
            on |= (clock >= a) & (clock < b)
        level = np.empty_like(clock)
        # Stretches of on and off, each an exponential from where the last one ended.
        turns = np.flatnonzero(np.diff(on)) + 1
        heat = 1.0 if on[0] else 0.0
        for part in np.split(np.arange(clock.size), turns):
            aim = 1.0 if on[part[0]] else 0.0
            pace = self._filament.rise if aim else self._filament.fall
            since = (np.arange(part.size) + 1) * _STEP
            level[part] = aim + (heat - aim) * np.exp(-since / pace)
            heat = float(level[part[-1]])
        return clock, np.concatenate([[0.0], np.cumsum((level[1:] + level[:-1]) / 2) * _STEP])


@dataclass(frozen=True, slots=True)
class LampKey:
    """A lamp of a clip: which signal, which of its heads (0 on top), which colour it shows."""

    signal: int
    head: int
    colour: Colour


def lamp_light(
    shown: Sequence[Shown],
    head: int,
    colour: Colour,
    source: Source,
    flashing: Flashing,
    ripple: Ripple,
    filament: Filament,
) -> LampLight:
    """The light of one colour of one head of a signal that shows these aspects one after the other.

    The first aspect was there before the clip, the last one stays after it.
    """
    spans: list[tuple[float, float]] = []
    for i, part in enumerate(shown):
        lamp = part.aspect.heads[head]
        if lamp.colour != colour or colour == "dark":
            continue
        start = -math.inf if i == 0 else part.from_s
        end = math.inf if i == len(shown) - 1 else part.to_s
        # Past the clip's own time it flashes on for long enough to settle, and no longer.
        spans += _flashes(max(start, -4.0), min(end, part.to_s + 4.0), flashing) if lamp.flashing else [
            (start, end)
        ]  # fmt: skip
    return LampLight(_joined(spans), source, ripple, filament)


def _flashes(start: float, end: float, flashing: Flashing) -> list[tuple[float, float]]:
    period = 60.0 / flashing.per_minute
    first = math.floor(start / period + flashing.phase) - 1
    last = math.ceil(end / period + flashing.phase) + 1
    out = []
    for n in range(first, last + 1):
        a = (n - flashing.phase) * period
        b = a + flashing.lit_share * period
        if max(a, start) < min(b, end):
            out.append((max(a, start), min(b, end)))
    return out


def _joined(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    out: list[tuple[float, float]] = []
    for a, b in sorted(spans):
        if out and a <= out[-1][1] + 1e-9:
            out[-1] = (out[-1][0], max(b, out[-1][1]))
        else:
            out.append((a, b))
    return out
