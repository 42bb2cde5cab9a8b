"""A collection labelled into a folder of this machine or of a store."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from litlamp.collection.far import FarError, FarFolder, is_far
from litlamp.collection.label import Asked, Labelled, label
from litlamp.collection.run_folder import JOURNAL, READINGS, RUN, SOURCES, Counts


def label_to(
    to: str, sources: Sequence[str], asked: Asked, *, told: Callable[[Counts, int], None], **more: Any
) -> Labelled:
    """`litlamp.collection.label.label`, where `to` may name a store.

    Raises
    ------
    litlamp.collection.far.FarError : the store cannot be used. What was read is kept on this machine.
    And what `label` raises.
    """
    if not is_far(to):
        return label(sources, Path(to), asked, told=told, **more)
    if more.get("anew"):
        raise FarError("--anew is for folders of this machine: give another folder of the store")
    # The list and the journal first: whatever of the rest is missing is made from them.
    folder = FarFolder(to, (SOURCES, JOURNAL, READINGS, RUN))
    folder.fetch()

    def tell(counts: Counts, listed: int) -> None:
        told(counts, listed)
        with contextlib.suppress(FarError):  # another time it may do; at the end it must
            folder.deliver(now=False)

    try:
        return label(sources, folder.local, asked, told=tell, **more)
    finally:
        folder.deliver(now=True)
