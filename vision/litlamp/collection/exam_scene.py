"""One scene of the rendered exam: an aspect of the rulebook in a scene that nobody chose, by its seed alone.

Scenes differ from what the networks learned from in their seeds and in showing the book's own aspects, every
rule in turn. World and camera are those of the renderer, so what an exam of such scenes shows holds for the
renderer's pictures and for no others.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import PLATES, Aspect, Plate
from litlamp.aspects.rulebook import Rule, Rulebook, StandardAspect
from litlamp.scene.camera import draw_camera, expose
from litlamp.scene.compose import compose, draw_scenery
from litlamp.scene.plates import number_text
from litlamp.scene.truth_line import truth_line

# Seeds are kept apart so that no scene serves two purposes; training draws from 1 000 000 up.
SEEDS = {
    "checks": range(1, 100_000),
    "calibration": range(100_000, 200_000),
    "exam": range(200_000, 300_000),
}
LEAST_LENS, LARGEST_LENS = 3.0, 24.0  # px
SIDES = (640, 480)

_MORE_PLATES = 0.08  # chance of each plate that changes nothing; common enough to be learned around
_NUMBERED = {"mast": 0.3, "dwarf": 0.1}


def exam_scene(
    seed: int, book: Rulebook, name: str | None = None
) -> tuple[NDArray[np.uint8], dict[str, Any]]:
    """Make the scene of a seed: (rgb uint8 (H, W, 3) sRGB, its truth line).

    The same seed and book give the same bytes. The rule goes round the book with the seed, so as many
    consecutive seeds as there are rules show each once; which of the rule's aspects, mount, arrangement and
    plates where the book leaves them open, scenery and camera are drawn. The lens is 3 to 24 px across,
    spread evenly in its logarithm, and made smaller where the signal would not fit the picture. One signal
    stands in the picture, facing it; one in ten is cut by the picture's edge.

    Parameters
    ----------
    name : `source` of the truth line; "SEED.png" where not given.
    """
    rng = np.random.default_rng((seed, 31))
    rule, aspect = exam_aspect(seed, book, rng)
    wide, high = SIDES if rng.random() < 0.5 else SIDES[::-1]
    lens = math.exp(rng.uniform(math.log(LEAST_LENS), math.log(LARGEST_LENS)))
    scenery = draw_scenery(rng, (wide, high), lens=lens, fit=True, back=False)
    scene, truth = compose((aspect,), scenery, rng)
    rgb = expose(scene, draw_camera(rng, scene.light), rng, model=scenery.room)
    line = truth_line(truth, name or f"{seed}.png", book.edition, lambda _: rule.number)
    return rgb, line


def exam_aspect(seed: int, book: Rulebook, rng: np.random.Generator) -> tuple[Rule, Aspect]:
    """The rule whose turn it is at this seed, and a display of it."""
    shown = [rule for rule in book.rules if rule.aspects]
    rule = shown[seed % len(shown)]
    row = rule.aspects[int(rng.integers(len(rule.aspects)))]
    return rule, _display(rule, row, book, rng)


def _display(rule: Rule, row: StandardAspect, book: Rulebook, rng: np.random.Generator) -> Aspect:
    """The row with all that it leaves open drawn, as long as the book still reads the same rule."""
    mount = row.mount or ("dwarf" if rng.random() < 0.25 else "mast")
    arrangement = row.arrangement or ("staggered" if mount == "mast" and rng.random() < 0.5 else "vertical")
    if len(row.heads) == 1:
        arrangement = "vertical"
    numbered = row.number if row.number is not None else rng.random() < _NUMBERED[mount]
    number = number_text(rng) if numbered else None
    plates: frozenset[Plate] = row.plates
    for kind in PLATES:
        more = plates | {kind}
        if (
            rng.random() < _MORE_PLATES
            and rule_of(Aspect(row.heads, mount, arrangement, more, number), book) == rule.number
        ):
            plates = more
    aspect = Aspect(row.heads, mount, arrangement, plates, number)
    if rule_of(aspect, book) != rule.number:
        raise ValueError(f"{book.label} does not read its own aspect of Rule {rule.number} as that rule")
    return aspect


def rule_of(aspect: Aspect, book: Rulebook) -> str | None:
    """The rule that a display shows; None: no standard aspect."""
    arrangement = aspect.arrangement if len(aspect.heads) > 1 else None
    found = book.find(aspect.heads, aspect.mount or "mast", arrangement, aspect.plates, bool(aspect.number))
    return None if found is None else found[0].number
