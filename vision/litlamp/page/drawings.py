"""Pictures drawn of aspects: made by a worker when first asked for, and held while they are new."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import Literal

from litlamp.aspects.aspect import Aspect
from litlamp.aspects.words import describe
from litlamp.page.tasks import draw_phases
from litlamp.page.workers import Job, WorkerPool

Light = Literal["day", "overcast", "low sun", "dusk", "night"]
Weather = Literal["clear", "haze", "rain", "snow", "fog"]

_HELD = 96
SIZE = (480, 640)


@dataclass(frozen=True, slots=True)
class Wish:
    """A drawing as it is wished for; the same wish gives the same picture."""

    aspect: Aspect
    seed: int = 1
    light: Light = "day"
    weather: Weather = "clear"
    distance: float | None = None

    @property
    def flashes(self) -> bool:
        """Whether any lamp flashes, so that there are two pictures: lit and dark."""
        return any(lamp.flashing for lamp in self.aspect.heads)

    @property
    def phases(self) -> tuple[tuple[bool, ...], ...]:
        """Which heads burn, in each of its pictures."""
        lit = (True,) * len(self.aspect.heads)
        return (lit, tuple(not lamp.flashing for lamp in self.aspect.heads)) if self.flashes else (lit,)


class Drawings:
    """The newest drawings, each a job of the pool that gives one JPEG for each phase."""

    def __init__(self, pool: WorkerPool, seconds: float) -> None:
        self._pool = pool
        self._seconds = seconds
        self._jobs: OrderedDict[tuple[object, ...], Job] = OrderedDict()
        self._lock = threading.Lock()

    def job(self, wish: Wish) -> Job:
        """The job that draws it, or drew it. Raises workers.Full."""
        key = (describe(wish.aspect), wish.seed, wish.light, wish.weather, wish.distance)
        with self._lock:
            held = self._jobs.get(key)
            if held is not None and not (held.done.done() and held.done.exception()):
                self._jobs.move_to_end(key)
                return held
            scene = {
                "seed": wish.seed, "size": SIZE, "light": wish.light, "weather": wish.weather,
                "distance": wish.distance,
            }  # fmt: skip
            job = self._pool.submit(draw_phases, wish.aspect, wish.phases, scene, seconds=self._seconds)
            self._jobs[key] = job
            while len(self._jobs) > _HELD:
                self._jobs.popitem(last=False)
            return job
