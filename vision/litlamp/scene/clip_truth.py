"""The exact truth of a rendered clip, and the truth line it is written as."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from litlamp.aspects.aspect import Aspect
from litlamp.box import Box
from litlamp.scene.lamps_over_time import Flashing, Shown
from litlamp.scene.truth import SceneTruth, SignalTruth
from litlamp.scene.truth_line import truth_line


@dataclass(frozen=True, slots=True)
class ClipSignal:
    """One signal of a clip.

    Attributes
    ----------
    best : the signal at its best moment, px of the picture then; every lamp of its aspect counts as lit.
    best_s : that moment: the signal whole and unhidden, as large as it gets.
    span_s : from when to when it can be seen, seconds; moments at which it is hidden in between count in.
    aspects : what it shows, in time order; they reach over the whole clip.
    flashing : how its flashing lamps flash, or None where none ever does.
    """

    best: SignalTruth
    best_s: float
    span_s: tuple[float, float]
    aspects: tuple[Shown, ...]
    flashing: Flashing | None = None


@dataclass(frozen=True, slots=True)
class ClipTruth:
    """All of one clip: its signals in the order in which they are first seen, and what is no signal.

    `distractors` stand where they are in the middle of the clip.
    """

    size: tuple[int, int]
    duration_s: float
    signals: tuple[ClipSignal, ...]
    distractors: tuple[tuple[str, Box], ...] = ()
    factors: tuple[tuple[str, str], ...] = ()


def clip_truth_line(
    truth: ClipTruth,
    source: str,
    edition: str | None = None,
    rules: Callable[[Aspect], str | None] | None = None,
) -> dict[str, Any]:
    """What a perfect reader would write of the clip `source`: a picture's line (`truth_line`) and more.

    The line has `kind` "clip" and `duration_s`. Each signal stands as at its best moment, `at_s`, and has
    `span_s`, `flash_per_min` (null where none of its lamps ever flashes) and `aspects`, each with `from_s`,
    `to_s`, `heads` and `rule`.
    """
    facing = [s for s in truth.signals if s.best.facing]
    still = SceneTruth(truth.size, tuple(s.best for s in facing), truth.distractors, truth.factors)
    line = truth_line(still, source, edition, rules)
    for written, signal in zip(line["signals"], facing, strict=True):
        written["at_s"] = round(signal.best_s, 3)
        written["span_s"] = [round(t, 3) for t in signal.span_s]
        flash = signal.flashing
        written["flash_per_min"] = None if flash is None else round(flash.per_minute, 2)
        written["aspects"] = [
            {
                "from_s": round(part.from_s, 3),
                "to_s": round(part.to_s, 3),
                "heads": [lamp.words() for lamp in part.aspect.heads],
                "rule": rules(part.aspect) if rules is not None else None,
            }
            for part in signal.aspects
        ]
    return {
        "source": line.pop("source"), "kind": "clip", "duration_s": round(truth.duration_s, 3), **line
    }  # fmt: skip
