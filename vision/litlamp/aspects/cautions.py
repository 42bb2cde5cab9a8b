"""What a reader must be told beside every reading."""

from __future__ import annotations

from litlamp.aspects.rulebook import Rulebook

SHORT = "Training aid only. Never act on it on or near a track."

LONG = (
    "Training aid only: never act on it on or near a track. The rulebook in force, special instructions and "
    "the qualified employee decide. Keep off railway property; photograph from public places."
)

STILL = "A still cannot settle whether a lamp flashes."

MUSEUM = "Museum lines may follow older codes or instructions of their own."

TRACK = "A picture alone does not settle which track a signal governs."


def cautions(book: Rulebook, still: bool) -> tuple[str, ...]:
    """The cautions for one reading by this book, the training-aid caution first."""
    edition = f"Read by {book.label}: other books and editions differ. {MUSEUM}"
    return (LONG, *((STILL,) if still else ()), TRACK, edition)
