"""Signals that stand as few do: dwarfs on bare ground and posts, masts cut short, heads hung or on long arms.

Used where networks learn, so that what a signal stands on is told from more than its usual form. One that
is not given another stand is built and painted the same, byte for byte, as if there were none.
"""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import numpy as np

from litlamp.scene.plates import PlateBoard
from litlamp.scene.posts import Footing, Post, Spot

_LEAST_MAST, _MOST_DWARF = 2.2, 1.3
"""Metres: no mast's lowest head hangs lower, and no dwarf's lowest head stands higher, so that a picture that
shows the ground can tell one from the other."""


def other_stand(rng: np.random.Generator, post: Post) -> Post:
    """The same signal on another stand; plates may hang above the heads too."""
    if post.back:
        return post
    moved = _dwarf(rng, post) if post.aspect.mount == "dwarf" else _mast(rng, post)
    return replace(moved, plates=_plates(rng, moved)) if moved.plates else moved


def _dwarf(rng: np.random.Generator, post: Post) -> Post:
    footing = cast(Footing, str(rng.choice(["bare", "planks", "pedestal", "block"])))
    low = float(rng.uniform(0.0, 0.2))
    if rng.random() < 0.45:
        low = float(rng.uniform(0.2, _MOST_DWARF))
    if footing == "pedestal":
        low = max(low, 0.15)
    gap = float(rng.choice([0.0, rng.uniform(0.0, 0.08), rng.uniform(0.1, 0.6)]))
    aside = float(rng.choice([-1, 1])) * float(rng.uniform(0.1, 0.3)) if rng.random() < 0.15 else 0.0
    y, spots = low, []
    for head, (x, _) in reversed(post.heads):
        y += head.height / 2
        spots.append((x + aside, y))
        y += head.height / 2 + gap
    heads = tuple((head, at) for (head, _), at in zip(post.heads, spots[::-1], strict=True))
    return replace(
        post,
        heads=heads,
        mast="stub" if low > 0.12 or rng.random() < 0.3 else "base",
        top=heads[0][1][1],
        radius=float(rng.uniform(0.03, 0.1)),
        footing=footing,
    )


def _mast(rng: np.random.Generator, post: Post) -> Post:
    if post.beam is not None:
        return post
    way = str(rng.choice(["short", "hung", "arm", "tall", "as it is"], p=[0.3, 0.2, 0.2, 0.15, 0.15]))
    low = min(y - head.height / 2 for head, (_, y) in post.heads)
    if way == "short":
        down = max(low - float(rng.uniform(_LEAST_MAST, 3.2)), 0.0)
        return _lifted(post, -down)
    if way == "hung":
        heads_high = max(y + head.height / 2 for head, (_, y) in post.heads)
        reach = float(rng.uniform(1.5, 12))
        short = float(rng.uniform(0.3, 2))
        beam = (-reach, short) if rng.random() < 0.5 else (-short, reach)
        return replace(
            _lifted(post, float(rng.uniform(0.0, 1.5))),
            bottom=heads_high + float(rng.uniform(1.6, 2.6)),
            top=post.heads[-1][1][1],
            beam=beam,
            mast="pipe",
            radius=float(rng.uniform(0.03, 0.08)),
            ladder=0.0,
            relay_case=0.0,
        )
    if way == "arm":
        side = float(rng.choice([-1, 1])) * float(rng.uniform(0.5, 1.6))
        heads = tuple((head, (x + side, y)) for head, (x, y) in post.heads)
        return replace(post, heads=heads, plates=tuple((p, (x + side, y)) for p, (x, y) in post.plates))
    if way == "tall":
        return replace(post, top=post.top + float(rng.uniform(0.8, 4)), radius=float(rng.uniform(0.08, 0.2)))
    return post


def _lifted(post: Post, by: float) -> Post:
    return replace(
        post,
        heads=tuple((head, (x, y + by)) for head, (x, y) in post.heads),
        plates=tuple((plate, (x, y + by)) for plate, (x, y) in post.plates),
        top=post.top + by,
    )


def _plates(rng: np.random.Generator, post: Post) -> tuple[tuple[PlateBoard, Spot], ...]:
    """Plates above the heads, below them, or where they were."""
    where = str(rng.choice(["above", "below", "as it is"], p=[0.4, 0.25, 0.35]))
    high = max(y + head.height / 2 for head, (_, y) in post.heads)
    low = min(y - head.height / 2 for head, (_, y) in post.heads)
    x = float(np.mean([x for _, (x, _) in post.heads])) + float(rng.normal(0, 0.02))
    if where == "below" and low < sum(board.height + 0.12 for board, _ in post.plates):
        where = "above"
    if where == "as it is":
        return tuple((board, (x, max(y, board.height / 2 + 0.02))) for board, (x, y) in post.plates)
    gap = float(rng.uniform(0.0, 0.12))
    y, out = (high if where == "above" else low), []
    way = 1.0 if where == "above" else -1.0
    for board, _ in post.plates:
        y += way * (gap + board.height / 2)
        out.append((board, (x, y)))
        y += way * board.height / 2
    return tuple(out)
