"""Draws the sample ride: six signals of the Alder Vale Railway, one after the other. `make.py` runs it.

They stand far closer together than along the line, and each shows what the one before it announced.
"""

from __future__ import annotations

from pathlib import Path

from litlamp.aspects.rulebook import load_book
from litlamp.aspects.words import parse_aspect as said
from litlamp.sample import make_clip
from litlamp.scene.clip import DrawnClip
from litlamp.scene.ride import draw_ride
from litlamp.scene.sequence import Passed

MET = (
    Passed(said("mast, green"), pace=15),  # Mossgate starting
    Passed(said("mast, flashing yellow over red, staggered, number plate 43"), pace=16),  # Automatic 43
    Passed(said("mast, yellow over red, staggered"), pace=13),  # Automatic 45, Hartsmere distant
    # Hartsmere home holds the train, then clears.
    Passed(said("mast, red over red"), said("mast, yellow over green"), held=True, pace=13),
    Passed(said("mast, red over green over red"), pace=12),  # Alder Junction home
    Passed(said("mast, green"), pace=15),  # Fenwick starting
)


def ride() -> DrawnClip:
    """The whole ride."""
    return draw_ride(MET, seed=5, size=(960, 540), seconds=90, fps=15)


if __name__ == "__main__":
    make_clip(Path("alder-vale-ride.mp4"), ride(), load_book(), Path("truth.jsonl"), quality=28)
