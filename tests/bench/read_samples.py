"""Reads every sample and counts: exact readings, restrictive ones, wrong-side ones, signals not found.

    python tests/bench/read_samples.py [FOLDER] [--level 0.99]

FOLDER holds truth.jsonl and the pictures (by default samples/). A reading less restrictive than the truth, by
the rulebook's own order, is wrong-side; the guarded reading is the one that counts. One line per miss.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from litlamp.aspects.reading import RuleChance
from litlamp.aspects.rulebook import Rulebook, load_book
from litlamp.box import Box
from litlamp.photo_reading import DEFAULT_LEVEL, SourceReading, read_photo
from litlamp.sight.eyes import load_eyes

Outcome = Literal["exact", "right-side", "wrong-side", "cannot tell", "not found"]
OUTCOMES: tuple[Outcome, ...] = ("exact", "right-side", "wrong-side", "cannot tell", "not found")


@dataclass(frozen=True, slots=True)
class Scored:
    """One signal of the truth and how it was read.

    `reading` is the outcome of the most probable rule. `wrong_guard` is whether any guarded reading of
    anything that was found on this signal is less restrictive than the truth: a signal read as two signals
    counts by its worse half. `said` tells it in words.
    """

    source: str
    clear: bool
    rule: str | None
    reading: Outcome
    guarded_exact: bool
    wrong_guard: bool
    said: str


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture: its signals scored, and what was found where none is (rule guarded, box)."""

    source: str
    signals: tuple[Scored, ...]
    false: tuple[str, ...]
    failure: str | None


def score(folder: Path, level: float = DEFAULT_LEVEL) -> Iterator[Picture]:
    """Read and score each picture of a folder's truth.jsonl."""
    eyes = load_eyes()
    for line in (folder / "truth.jsonl").read_text(encoding="utf-8").splitlines():
        truth: dict[str, Any] = json.loads(line)
        book = load_book("CROR", next((s["edition"] for s in truth["signals"]), None))
        read = read_photo(folder / truth["source"], book=book, level=level, eyes=eyes)
        yield score_picture(truth, read, book)


def score_picture(truth: dict[str, Any], read: SourceReading, book: Rulebook) -> Picture:
    """One truth line against what was read."""
    free = list(range(len(read.signals)))
    scored = []
    for signal in truth["signals"]:
        box = Box(*signal["box"])
        on_it = [i for i in free if _overlap(read.signals[i][0].box, box) > 0.2]
        free = [i for i in free if i not in on_it]
        on_it.sort(key=lambda i: -read.signals[i][0].box.iou(box))
        best = read.signals[on_it[0]][1] if on_it else None
        reading = best.reading if best else None
        guarded = best.guarded if best else None
        outcome = "not found" if best is None else _outcome(reading, signal["rule"], book)
        aspect = f"{best.aspect}: " if best else ""
        guards = [read.signals[i][1].guarded for i in on_it]
        scored.append(
            Scored(
                source=truth["source"],
                clear=bool(truth.get("clear")),
                rule=signal["rule"],
                reading=outcome,
                guarded_exact=guarded is not None and guarded.rule == signal["rule"],
                wrong_guard=any(_outcome(g, signal["rule"], book) == "wrong-side" for g in guards),
                said=f"{outcome}: {' over '.join(signal['heads'])} ({signal['rule']}) read as {aspect}"
                f"{_rule(reading)}, guarded {_rule(guarded)}"
                + (f"; {len(on_it)} signals found on it" if len(on_it) > 1 else ""),
            )
        )
    false = tuple(
        f"false signal {seen.box.as_list()}: {reading.aspect}, guarded {_rule(reading.guarded)}"
        for seen, reading in (read.signals[i] for i in free)
    )
    return Picture(truth["source"], tuple(scored), false, read.failure)


def _outcome(chance: RuleChance | None, rule: str | None, book: Rulebook) -> Outcome:
    """What was read against the rule of the truth, by the book's order of restrictiveness."""
    if chance is None or chance.outcome == "not_lit":
        return "cannot tell"
    if chance.rule == rule:
        return "exact"
    return "wrong-side" if book.rank(chance.rule) > book.rank(rule) else "right-side"


def _overlap(found: Box, truth: Box) -> float:
    """Share of the smaller box that lies in the other: a head found alone lies wholly in its signal."""
    width = min(found.x1, truth.x1) - max(found.x0, truth.x0)
    height = min(found.y1, truth.y1) - max(found.y0, truth.y0)
    least = min(found.area, truth.area)
    return max(width, 0.0) * max(height, 0.0) / least if least > 0 else 0.0


def _rule(chance: RuleChance | None) -> str:
    return "nothing" if chance is None else chance.rule or chance.name


def main() -> None:
    parser = argparse.ArgumentParser(description="Reads every sample and counts.")
    parser.add_argument(
        "folder", type=Path, nargs="?", default=Path(__file__).resolve().parents[2] / "samples"
    )
    parser.add_argument("--level", type=float, default=DEFAULT_LEVEL)
    args = parser.parse_args()
    pictures = list(score(args.folder, args.level))
    signals = [s for p in pictures for s in p.signals]
    for picture in pictures:
        if picture.failure:
            print(f"{picture.source}: {picture.failure}")
        for s in picture.signals:
            if s.reading != "exact" or s.wrong_guard:
                mark = " WRONG-SIDE GUARDED" if s.wrong_guard else ""
                print(f"{s.source}{' (clear)' if s.clear else ''}: {s.said}{mark}")
        for words in picture.false:
            print(f"{picture.source}: {words}")
    counts = {o: sum(s.reading == o for s in signals) for o in OUTCOMES}
    clear = [s for s in signals if s.clear]
    empty = [p for p in pictures if not p.signals]
    print(f"\nnetworks: {', '.join(load_eyes().names.values())}; level {args.level:g}")
    print(f"{len(pictures)} pictures, {len(signals)} signals")
    print("reading: " + ", ".join(f"{o} {n}" for o, n in counts.items()))
    print(f"of the {len(clear)} clear ones: exact {sum(s.reading == 'exact' for s in clear)}")
    print(f"guarded: exact {sum(s.guarded_exact for s in signals)}")
    print(f"guarded: wrong-side {sum(s.wrong_guard for s in signals)}")
    print(f"false signals: {sum(len(p.false) for p in pictures)}")
    print(f"pictures without a signal: {len(empty)}, none found in {sum(not p.false for p in empty)}")
    sys.exit(1 if any(s.wrong_guard for s in signals) else 0)


if __name__ == "__main__":
    main()
