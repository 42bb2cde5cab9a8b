"""A rendered sample: a picture file of an aspect, and the line of truth that belongs to it."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import Any

import msgspec

from litlamp.aspects.aspect import Aspect
from litlamp.aspects.rulebook import Rulebook
from litlamp.report.picture import PictureError, save_picture
from litlamp.scene.draw import draw
from litlamp.scene.truth_line import truth_line


def make_sample(out: Path, aspect: Aspect | None, book: Rulebook, truth: Path | None, **scene: Any) -> bytes:
    """Draw the aspect into the file `out` (.png or .jpg) and give its truth line, JSON without a line break.

    Parameters
    ----------
    aspect : what the signal shows; None for a scene with no signal.
    book : names the rule of the aspect.
    truth : a file the line is appended to; `source` is then relative to its folder. None: to no file.
    scene : what `litlamp.scene.draw.draw` takes.

    Raises
    ------
    ValueError : for an unknown light, weather or extra, or an ending that is not .png, .jpg or .jpeg.
    PictureError : a file cannot be written; then neither is.
    """
    rgb, shown = draw(aspect, **scene)
    source = str(out)
    if truth is not None:
        with contextlib.suppress(ValueError):  # on another drive: the path as given
            source = Path(os.path.relpath(out, truth.parent)).as_posix()
    source = source.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")

    def rule(of: Aspect) -> str | None:
        arrangement = of.arrangement if len(of.heads) > 1 else None
        found = book.find(of.heads, of.mount or "mast", arrangement, of.plates, bool(of.number))
        return None if found is None else found[0].number

    line = msgspec.json.encode(truth_line(shown, source, book.edition, rule))
    if truth is None:
        save_picture(rgb, out)
        return line
    try:
        with truth.open("ab") as file:
            save_picture(rgb, out)
            file.write(line + b"\n")
    except OSError as error:
        said = (error.strerror or "unknown fault").lower()
        raise PictureError(f"the truth line could not be written to {truth}: {said}") from None
    return line
