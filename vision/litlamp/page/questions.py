"""The questions that are being asked, and their answers."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from starlette.exceptions import HTTPException

from litlamp.aspects.aspect import Aspect
from litlamp.page.drawings import Wish
from litlamp.page.judge import Verdict
from litlamp.page.practise import Level

Origin = Literal["drawn", "samples", "own"]
ORIGINS: Mapping[Origin, str] = {
    "drawn": "drawn scenes",
    "samples": "the samples",
    "own": "my own kept photos",
}
_HELD = 400


@dataclass(frozen=True, slots=True)
class Question:
    """One question, and the answer once there is one. `wish` is how a drawn one is drawn."""

    key: str
    origin: Origin
    item: str
    truth: Aspect
    level: Level
    wish: Wish | None = None
    seen: Aspect | None = None
    verdict: Verdict | None = None


class Questions:
    """The newest questions, by keys that cannot be guessed: the truth must not be told by the address."""

    def __init__(self) -> None:
        self._held: OrderedDict[str, Question] = OrderedDict()
        self._lock = threading.Lock()

    def put(self, question: Question) -> Question:
        """Hold it."""
        with self._lock:
            self._held[question.key] = question
            while len(self._held) > _HELD:
                self._held.popitem(last=False)
        return question

    def get(self, key: str) -> Question:
        """The question under that key, or 404."""
        found = self._held.get(key)
        if found is None:
            raise HTTPException(404, "This question is no longer held; begin another.")
        return found

    def last(self) -> str | None:
        """The item asked last."""
        return next(reversed(self._held.values())).item if self._held else None
