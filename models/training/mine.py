"""Lessons that the finder itself finds for the reader: what it takes for heads where no signal stands.

When a picture is read, the reader is asked about nothing but what the finder proposed, so what it must learn
to refuse is what the finder takes for a head. The windows are made by the same steps as in reading.
"""

from __future__ import annotations

import multiprocessing
import threading
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from litlamp.sight.crop import READER_HEIGHT, READER_WIDTH, Window, reader_window
from litlamp.sight.find import distinct_heads, read_heads, usual_width
from litlamp.sight.group import group

LEAST = 0.2
"""The finder's score from which something is taken for a head; nearly what reading takes (`head_score`)."""
SHOWN = 0.2
"""Heat weight below which something in a picture counts as neither head nor none: there nothing is mined."""
MOST = 2
"""Windows from one picture at most, those of the best heads."""


def barren(maps: Tensor, weight: Tensor) -> Tensor:
    """Which lessons hold no head facing the camera, bool (N,); arguments as `finder_target` gives them."""
    return (maps[:, 0].amax((1, 2)) < 1e-3) & (weight[:, 0].amin((1, 2)) > SHOWN)


def taken_for_heads(rgb: NDArray[np.uint8], maps: NDArray[np.float32]) -> list[NDArray[np.uint8]]:
    """The reader's windows, uint8 (384, 144, 4), for one picture, uint8 (H, W, 3), R G B.

    Parameters
    ----------
    maps : the finder's answer, heats as probabilities, (N_MAPS, H / 4, W / 4).
    """
    heads = distinct_heads(read_heads(maps, Window(rgb, 0.0, 0.0, 1.0), LEAST))
    # What the picture's edge cuts may be a signal of which the lamps alone are out of it.
    groups = [own for own in group(heads) if all(h.framed for h in own)]
    return [reader_window(rgb, [(h.x, h.y) for h in own], usual_width(own)).pixels for own in groups[:MOST]]


class Mine:
    """A store of such windows on the reader's accelerator.

    They are cut by processes of their own, for cutting is the work of an interpreter, of which the trainer
    has but one. They are forked when it is made: that must be before anything touches an accelerator.
    """

    def __init__(self, keep: int, diggers: int = 2) -> None:
        self.keep, self.found = keep, 0
        self.kept: Tensor | None = None
        way = multiprocessing.get_context("fork")
        self._asked, self._cut = way.SimpleQueue(), way.SimpleQueue()
        self._room = way.BoundedSemaphore(diggers)
        for _ in range(diggers):
            way.Process(target=_dig, args=(self._asked, self._room, self._cut), daemon=True).start()

    def open(self, device: str) -> None:
        """Keep windows on that device from now on, as they are cut."""
        self.kept = torch.zeros((self.keep, READER_HEIGHT, READER_WIDTH, 4), dtype=torch.uint8, device=device)
        threading.Thread(target=self._store, daemon=True).start()

    def look_at(self, rgb: Tensor, logits: Tensor) -> None:
        """Take a few barren lessons and the finder's answers for them; what comes too fast is let go."""
        if not self._room.acquire(block=False):
            return
        maps = logits.detach().float()
        heat = maps[:, :1].sigmoid()
        self._asked.put((rgb.cpu().numpy(), torch.cat([heat, maps[:, 1:]], 1).cpu().numpy()))

    def _store(self) -> None:
        assert self.kept is not None
        while True:
            for window in self._cut.get():
                self.kept[self.found % self.keep].copy_(torch.from_numpy(window))
                self.found += 1

    def draw(self, n: int, dice: torch.Generator) -> Tensor | None:
        """`n` of the windows kept, or None while there are too few to be different ones."""
        have = min(self.found, self.keep)
        if self.kept is None or have < 4 * n:
            return None
        return self.kept[torch.randint(have, (n,), generator=dice, device=self.kept.device)]


def _dig(asked: Any, room: Any, cut: Any) -> None:
    """Cut windows for ever; a process of its own."""
    while True:
        rgb, maps = asked.get()
        found = [
            w for picture, answer in zip(rgb, maps, strict=True) for w in taken_for_heads(picture, answer)
        ]
        room.release()
        cut.put(found)
