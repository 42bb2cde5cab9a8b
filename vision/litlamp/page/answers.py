"""The answers held in memory: each under a name that cannot be guessed, the oldest forgotten first."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass

from litlamp.page.settings import Limits
from litlamp.page.tasks import Answer
from litlamp.page.workers import Failed, Job


@dataclass(slots=True)
class Held:
    """An upload that is being read or was. `failure` is the sentence of one that came to nothing."""

    key: str
    name: str
    job: Job

    @property
    def over(self) -> bool:
        """Whether there is an answer or a failure."""
        return self.job.done.done()

    @property
    def answer(self) -> Answer | None:
        """What came of it, if something did."""
        if not self.over or self.job.done.exception() is not None:
            return None
        answer = self.job.done.result()
        return answer if isinstance(answer, Answer) else None

    @property
    def failure(self) -> str | None:
        """Why nothing came of it."""
        if not self.over:
            return None
        error = self.job.done.exception()
        if error is None:
            answer = self.answer
            return None if answer is None else answer.reading.failure
        return str(error) if isinstance(error, Failed) else "This could not be read."


class Answers:
    """At most so many answers and bytes of pictures; one that is still being read is never forgotten."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._held: OrderedDict[str, Held] = OrderedDict()
        self._lock = threading.Lock()

    def add(self, name: str, job: Job) -> Held:
        """Hold a job under a new key."""
        held = Held(secrets.token_urlsafe(12), name, job)
        with self._lock:
            self._held[held.key] = held
            self._forget()
        return held

    def get(self, key: str) -> Held | None:
        """What is held under that key, which counts as used now."""
        with self._lock:
            held = self._held.get(key)
            if held is not None:
                self._held.move_to_end(key)
                self._forget()
            return held

    def drop(self, key: str) -> None:
        """Forget one."""
        with self._lock:
            self._held.pop(key, None)

    def __len__(self) -> int:
        return len(self._held)

    def _forget(self) -> None:
        total = sum(weight(held) for held in self._held.values())
        for key, held in list(self._held.items())[:-1]:
            if len(self._held) <= self._limits.answers and total <= self._limits.answer_bytes:
                return
            if held.over:
                total -= weight(held)
                del self._held[key]


def weight(held: Held) -> int:
    """Bytes of its pictures."""
    answer = held.answer
    if answer is None:
        return 0
    return sum(
        len(p.jpeg) + sum(len(c.jpeg) for c in p.close if c is not None)
        for p in answer.pictures
        if p is not None
    )
