"""Two lamps of a picture that look alike are of one colour.

A red lamp that is alone may look as a yellow one does to another camera. Beside one that is plainly red it
can be held against that: the same camera made both, and a yellow lamp's core and rim both differ from a red
one's. Belief only ever moves from yellow to red, and never so far that yellow could be left out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import Colour
from litlamp.sight.colour import cut_out
from litlamp.sight.one_camera import log_odds_red, redder
from litlamp.sight.seen import HeadSeen, SignalSeen

Pixels = NDArray[np.uint8]
Shade = tuple[float, float, float, float]

SURELY_RED = 1.0
"""Log-odds for red against yellow from which a lamp is one to hold others against."""
ALIKE, APART = 8.0, 18.0
"""How far apart two lamps' chroma in CIE Lab may be, the larger of their cores' and their rims', for all that
looking alike can say, and from which it says nothing."""
LARGEST = 40.0
"""Lamps wider than this, px, are reduced to it."""
CORE, RIM = 0.6, (0.7, 1.25)
"""Where a lamp's core ends, and from where to where its rim is, lens radii."""


def held_together(rgb: Pixels, signals: Sequence[SignalSeen], most: float) -> list[SignalSeen]:
    """The same signals, with lamps read as yellow that look like one plainly red taken for likelier red.

    Parameters
    ----------
    rgb : the picture that all of them are seen in, uint8 (H, W, 3), R G B, sRGB; not written to.
    most : by how much, at most, the log-odds for red against yellow of a lamp may rise.
    """
    heads = [head for signal in signals for head in signal.heads]
    reds = [head for head in heads if _leads(head.colour, "red") and log_odds_red(head.colour) >= SURELY_RED]
    if not reds or not any(_leads(head.colour, "yellow") for head in heads):
        return list(signals)
    shades = [shade for head in reds if (shade := _shade(rgb, head)) is not None]
    return [
        replace(signal, heads=tuple(_held(rgb, head, shades, most) for head in signal.heads))
        for signal in signals
    ]


def _held(rgb: Pixels, head: HeadSeen, reds: Sequence[Shade], most: float) -> HeadSeen:
    if not reds or not _leads(head.colour, "yellow") or (own := _shade(rgb, head)) is None:
        return head
    apart = min(_distance(own, red) for red in reds)
    alike = min(max((APART - apart) / (APART - ALIKE), 0.0), 1.0)
    colour = redder(head.colour, most * alike)
    return head if colour is head.colour else replace(head, colour=colour)


def _distance(a: Shade, b: Shade) -> float:
    return max(math.dist(a[:2], b[:2]), math.dist(a[2:], b[2:]))


def _shade(rgb: Pixels, head: HeadSeen) -> Shade | None:
    """CIE Lab a and b of a lamp's core and of its rim; None of one that is not lit or not in the picture."""
    lamp = head.lamp
    cut = cut_out(rgb, lamp.x, lamp.y, lamp.diameter, LARGEST) if lamp else None
    if cut is None:
        return None
    patch, distance = cut
    core, rim = distance < CORE, (distance > RIM[0]) & (distance < RIM[1])
    if not core.any() or int(rim.sum()) < 3:
        return None
    lab = cv2.cvtColor(patch.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    (_, a, b), (_, c, d) = (lab[part].mean(axis=0) for part in (core, rim))
    return float(a), float(b), float(c), float(d)


def _leads(colour: Mapping[Colour, float], name: Colour) -> bool:
    return max(colour, key=lambda c: colour[c]) == name
