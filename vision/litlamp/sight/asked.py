"""Heads shown to the signal reader, and what it answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from litlamp.sight.count import light_about
from litlamp.sight.crop import reader_window
from litlamp.sight.eyes import Eyes, softmax
from litlamp.sight.find import HeadFound, usual_width

Pixels = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class Answered:
    """What the reader said of some heads.

    Attributes
    ----------
    found : the heads as the finder has them, top to bottom.
    heads : the same as they are taken to be: some perhaps of another size.
    answer : the reader's logits, float32 (27,).
    light : how light it is about them, as `count.light_about` says.
    """

    found: tuple[HeadFound, ...]
    heads: tuple[HeadFound, ...]
    answer: NDArray[np.float32]
    light: float


def ask_reader(rgb: Pixels, heads: tuple[HeadFound, ...], eyes: Eyes) -> Answered:
    """Show the reader these heads in a picture, uint8 (H, W, 3), R G B.

    It is shown them at the size that they are said to have. Where it sees no signal there, and the finder was
    of two minds about that size, it is shown them at the other.
    """
    first = _shown(rgb, heads, heads, eyes)
    none = float(softmax(first.answer[:4])[0])
    if none > 0.5 and any(h.otherwise for h in heads):
        second = _shown(rgb, heads, tuple(h.otherwise or h for h in heads), eyes)
        if float(softmax(second.answer[:4])[0]) < none:
            return second
    return first


def _shown(rgb: Pixels, found: tuple[HeadFound, ...], heads: Sequence[HeadFound], eyes: Eyes) -> Answered:
    window = reader_window(rgb, [(h.x, h.y) for h in heads], usual_width(heads))
    answer: NDArray[np.float32] = eyes.reader.run(window.pixels[None])[0]
    return Answered(found, tuple(heads), answer, light_about(window.pixels))
