"""The truth of a picture as one JSON-ready object, for files of truth beside samples."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from litlamp.aspects.aspect import PLATES, Aspect
from litlamp.scene.truth import HeadTruth, SceneTruth, SignalTruth


def truth_line(
    truth: SceneTruth,
    source: str,
    edition: str | None = None,
    rules: Callable[[Aspect], str | None] | None = None,
) -> dict[str, Any]:
    """What a perfect reader would write of the picture `source`.

    Boxes and points are px with a tenth of a pixel; signals seen from behind are left out, as nothing can be
    read on them. `rules` gives the rule of an aspect (None: no standard aspect), so that the renderer needs
    no rulebook; `edition` names the book's edition it answers for.
    """
    return {
        "source": source,
        "size": list(truth.size),
        "signals": [_signal(s, edition, rules) for s in truth.signals if s.facing],
        "distractors": [{"kind": kind, "box": box.as_list()} for kind, box in truth.distractors],
        "factors": dict(truth.factors),
    }


def _signal(
    signal: SignalTruth, edition: str | None, rules: Callable[[Aspect], str | None] | None
) -> dict[str, Any]:
    kinds = [p.kind for p in signal.plates]
    return {
        "box": signal.box.as_list(),
        "heads": [h.lamp.words() for h in signal.heads],
        "mount": signal.mount,
        "arrangement": signal.arrangement,
        "plates": [p for p in PLATES if p in kinds],
        "number": signal.aspect.number,
        "lamps": [_lamp(h) for h in signal.heads],
        "head_boxes": [h.box.as_list() for h in signal.heads],
        "plate_boxes": [
            {
                "kind": p.kind, "box": p.box.as_list(), "text": p.text or p.kind,
                "letter_px": round(p.letter_px, 1), "visible": round(p.visible, 3), "legible": p.legible,
            }
            for p in signal.plates
        ],
        "whole_in_view": signal.whole_in_view,
        "rule": rules(signal.aspect) if rules is not None else None,
        "edition": edition,
    }  # fmt: skip


def _lamp(head: HeadTruth) -> dict[str, Any]:
    return {
        "colour": head.lamp.colour,
        "flashing": head.lamp.flashing,
        "centre": [round(v, 1) for v in head.centre],
        "diameter_px": round(head.diameter, 1),
        "lit": head.lit,
        "kind": str(head.kind),  # drawn by numpy, whose strings JSON writers refuse
        "visible": round(head.visible, 3),
    }
