"""What a learner has practised: every try, what is due again and when, and the sums of both."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from litlamp.page.store import Store

MINUTE, DAY = 60.0, 86_400.0
REST = (10 * MINUTE, 1 * DAY, 3 * DAY, 7 * DAY, 16 * DAY, 40 * DAY)
"""How long an item rests in each box, seconds: what was missed comes again in ten minutes, what was right
comes later and later. Our own choice of steps: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Due:
    """An item that is to be asked again: its box and the moment, seconds since the epoch."""

    item: str
    box: int
    at: float
    missed: int


@dataclass(frozen=True, slots=True)
class Try:
    """One answer to one question. `step` is where it went wrong, None where it was right."""

    at: float
    item: str
    source: str
    truth: str | None
    said: str | None
    step: str | None
    side: str


@dataclass(frozen=True, slots=True)
class Sums:
    """All tries together."""

    tries: int
    right: int
    wrong_side: int
    steps: tuple[tuple[str, int], ...]
    due: int
    waiting: int


def after(box: int | None, right: bool, now: float) -> tuple[int, float]:
    """The box and the moment of the next question, after an answer; `box` None for an item never asked."""
    if not right:
        return 0, now + REST[0]
    risen = 1 if box is None else min(box + 1, len(REST) - 1)
    return risen, now + REST[risen]


class Progress:
    """The tries in a store."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def note(self, of: Try) -> None:
        """Keep a try, and set when its item is due again."""
        with self._store.use() as base:
            row = base.execute("SELECT box, missed FROM due WHERE item = ?", (of.item,)).fetchone()
            right = of.step is None
            box, at = after(None if row is None else row["box"], right, of.at)
            missed = (0 if row is None else row["missed"]) + (not right)
            base.execute("INSERT OR REPLACE INTO due VALUES (?, ?, ?, ?)", (of.item, box, at, missed))
            base.execute(
                "INSERT INTO tried (at, item, source, truth, said, step, side) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (of.at, of.item, of.source, of.truth, of.said, of.step, of.side),
            )

    def due(self, now: float | None = None) -> tuple[Due, ...]:
        """What is to be asked again now, the longest due first."""
        now = time.time() if now is None else now
        with self._store.use() as base:
            rows = base.execute("SELECT * FROM due WHERE at <= ? ORDER BY at", (now,)).fetchall()
        return tuple(Due(r["item"], r["box"], r["at"], r["missed"]) for r in rows)

    def known(self) -> frozenset[str]:
        """Every item that was ever asked."""
        with self._store.use() as base:
            return frozenset(r["item"] for r in base.execute("SELECT item FROM due"))

    def weak(self, most: int = 60) -> dict[str, int]:
        """How often each step went wrong among the last tries."""
        with self._store.use() as base:
            rows = base.execute("SELECT step FROM tried ORDER BY id DESC LIMIT ?", (most,)).fetchall()
        counts: dict[str, int] = {}
        for row in rows:
            if row["step"]:
                counts[row["step"]] = counts.get(row["step"], 0) + 1
        return counts

    def last(self, most: int = 20) -> tuple[Try, ...]:
        """The last tries, newest first."""
        return tuple(self._tries(f"ORDER BY id DESC LIMIT {int(most)}"))

    def sums(self, now: float | None = None) -> Sums:
        """All of it in figures."""
        now = time.time() if now is None else now
        with self._store.use() as base:
            tries, right, wrong = base.execute(
                "SELECT COUNT(*), SUM(step IS NULL), SUM(side = 'wrong') FROM tried"
            ).fetchone()
            steps = base.execute(
                "SELECT step, COUNT(*) AS n FROM tried WHERE step IS NOT NULL "
                "GROUP BY step ORDER BY n DESC, step"
            ).fetchall()
            due, waiting = base.execute("SELECT SUM(at <= ?), SUM(at > ?) FROM due", (now, now)).fetchone()
        return Sums(
            tries, right or 0, wrong or 0, tuple((r["step"], r["n"]) for r in steps), due or 0, waiting or 0
        )

    def export(self) -> dict[str, Any]:
        """Everything, for JSON."""
        with self._store.use() as base:
            due = [dict(row) for row in base.execute("SELECT * FROM due ORDER BY item")]
        return {
            "format": "litlamp progress 1",
            "tries": [asdict(t) for t in self._tries("ORDER BY id")],
            "due": due,
        }

    def erase(self) -> None:
        """Forget all of it, on the disk too."""
        with self._store.use() as base:
            base.execute("DELETE FROM tried")
            base.execute("DELETE FROM due")
        self._store.shrink()

    def _tries(self, order: str) -> Sequence[Try]:
        with self._store.use() as base:
            rows = base.execute(f"SELECT * FROM tried {order}").fetchall()
        return [
            Try(r["at"], r["item"], r["source"], r["truth"], r["said"], r["step"], r["side"]) for r in rows
        ]
