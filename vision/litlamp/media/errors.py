"""The one error of the media room."""

from __future__ import annotations


class MediaError(Exception):
    """A source could not be read.

    Attributes
    ----------
    sentence : what is wrong and, where there is one, the way out. No line break, no full stop, no file name.
    name : the source as shown to a person, or None where it has no name (bytes).
    """

    def __init__(self, sentence: str, name: str | None = None) -> None:
        self.sentence = sentence
        self.name = name
        super().__init__(sentence if name is None else f"{name}: {sentence}")
