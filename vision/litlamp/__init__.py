"""litlamp: reads the aspect of a railway colour-light signal from a picture or clip. A training aid only.

    read_photo(source)        one photograph, from a path, bytes or an array
    read_clip(source)         one clip, or a folder of photographs taken one after another
    read_many(sources, ...)   many of both, one after the other, by worker processes where asked for

Each gives `SourceReading`, a frozen dataclass, and raises nothing for a source that cannot be read: `failure`
says why. Never act on a reading on or near a track.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

__version__ = "0.1.0"
__all__ = ["SourceReading", "__version__", "read_clip", "read_many", "read_photo"]

if TYPE_CHECKING:
    from litlamp.clip_reading import read_clip
    from litlamp.collection.read_many import read_many
    from litlamp.photo_reading import SourceReading, read_photo


def __getattr__(name: str) -> object:
    # Loaded when asked for, so that importing the package stays quick.
    if name in ("SourceReading", "read_photo"):
        import litlamp.photo_reading

        return getattr(litlamp.photo_reading, name)
    if name == "read_clip":
        import litlamp.clip_reading

        return litlamp.clip_reading.read_clip
    if name == "read_many":
        import litlamp.collection.read_many

        return litlamp.collection.read_many.read_many
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
