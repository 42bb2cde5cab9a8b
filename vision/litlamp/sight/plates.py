"""Plates of one signal: which were found, their letters, and whether a plate could have been seen."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import PLATES, Plate
from litlamp.aspects.belief import PlateBelief
from litlamp.sight.crop import LETTERS, plate_window
from litlamp.sight.eyes import Calibration, Eyes, log_odds, logistic, softmax
from litlamp.sight.find import HeadFound, PlateFound, usual_width
from litlamp.sight.seen import PlateSeen

Pixels = NDArray[np.uint8]
LEAST_SHOWN = 0.01
"""Belief in a letter below which it counts as not read."""
ON_HEAD = 0.4
"""A board and a head that lie on each other as closely as this, by intersection over union, are one thing."""


def read_letters(rgb: Pixels, found: Sequence[PlateFound], eyes: Eyes) -> list[PlateSeen]:
    """Belief over the letters of each plate found, weighed down by the finder's doubt that it is a plate."""
    if not found:
        return []
    logits = eyes.plates.run(np.stack([plate_window(rgb, p.box).pixels for p in found]))
    seen = []
    for plate, p in zip(found, softmax(logits, eyes.calibration.plates), strict=True):
        letters = {kind: float(v) * plate.score for kind, v in zip(LETTERS, p, strict=True)}
        letters["other"] += 1.0 - plate.score
        seen.append(PlateSeen(plate.box, letters))
    return seen


def belongs(plate: PlateFound, heads: Sequence[HeadFound]) -> bool:
    """Whether a plate stands on these heads' post: near its line, from the top head down to well below.

    Where one of the heads lies in the same place, it is what the finder takes it for more surely.
    """
    if any(plate.box.iou(head.box) > ON_HEAD and head.score >= plate.score for head in heads):
        return False
    width = usual_width(heads)
    x, y = plate.box.centre
    xs = [h.x for h in heads]
    top, low = min(h.box.y0 for h in heads), max(h.box.y1 for h in heads)
    # The post may lean by six degrees, so the further below, the further aside it may stand.
    aside = 1.6 * width + 0.12 * max(y - low, 0.0)
    if not (min(xs) - aside < x < max(xs) + aside and top - width < y < low + 9 * width):
        return False
    return 0.15 * width < plate.box.width < 2.5 * width


def shown_kinds(seen: Sequence[PlateSeen]) -> tuple[Mapping[Plate, float], float]:
    """How surely each kind was read on any of these plates; and that a board is there whose letter was not.

    A board whose letters cannot be made out may be any of the four.
    """
    blank = max(
        (max(0.0, 1.0 - sum(v for k, v in p.letters.items() if k != "other")) for p in seen), default=0.0
    )
    return {kind: max((p.letters[kind] for p in seen), default=0.0) for kind in PLATES}, blank


def plate_present(shown: float, reader: float, tuned: Calibration) -> float:
    """Belief in a plate of one kind, from the letters read and from the signal reader's view of the whole."""
    odds = tuned.plate_letters * log_odds(shown, LEAST_SHOWN) + tuned.plate_reader * log_odds(reader)
    return logistic(tuned.plate_bias + odds)


def plate_beliefs(
    seen: Sequence[PlateSeen], reader: Mapping[Plate, float], tuned: Calibration
) -> Mapping[Plate, PlateBelief]:
    """What is believed of each kind of plate.

    Parameters
    ----------
    seen : the plates found on this signal, with their letters.
    reader : the signal reader's own probability for each kind. Where nothing can be made out it is how often
        such a plate was there in training.

    Notes
    -----
    How common plates are elsewhere nobody knows, so only what the picture itself says against a plate counts
    as having seen that there is none: the share by which its odds fell from those of training. Had they
    stayed as they were, or risen, it could not be seen.
    """
    shown, blank = shown_kinds(seen)
    beliefs: dict[Plate, PlateBelief] = {}
    for kind, usual in zip(PLATES, tuned.plate_usual, strict=True):
        present = plate_present(shown[kind], reader[kind], tuned)
        unmoved = min(math.exp(log_odds(present) - log_odds(usual)), 1.0)
        unknown = (1.0 - present) * max(unmoved, tuned.plate_blank * blank)
        beliefs[kind] = PlateBelief(present, max(1.0 - present - unknown, 0.0), unknown)
    return beliefs


def number_read(seen: Sequence[PlateSeen], tuned: Calibration) -> str | None:
    """The number plate: "?" where one is seen (digits are not read yet); None if unknown."""
    return "?" if any(p.letters["number"] > tuned.number_shown for p in seen) else None
