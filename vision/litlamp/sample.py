"""A rendered sample: a picture or clip of an aspect, and the line of truth that belongs to it."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from litlamp.aspects.aspect import Aspect
from litlamp.aspects.rulebook import Rulebook
from litlamp.collection.journal import write_whole
from litlamp.report.picture import PictureError, save_picture
from litlamp.scene.draw import draw
from litlamp.scene.truth_line import truth_line

if TYPE_CHECKING:
    from litlamp.scene.clip import DrawnClip


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
    PictureError : a file cannot be written; no half of a truth line is left.
    """
    rgb, shown = draw(aspect, **scene)
    line = msgspec.json.encode(truth_line(shown, _source(out, truth), book.edition, _rules(book)))
    _save(truth, line, lambda: save_picture(rgb, out))
    return line


def make_clip(
    out: Path,
    clip: DrawnClip,
    book: Rulebook,
    truth: Path | None,
    *,
    quality: int = 20,
    told: Callable[[float], None] | None = None,
) -> bytes:
    """Write a drawn clip into the file `out` (.mp4 or .mov) and give its truth line.

    `book` and `truth` as for `make_sample`; `quality` and `told` as for `litlamp.scene.clip_file.save_clip`.

    Raises
    ------
    PictureError : a file cannot be written; no half of a truth line is left.
    """
    from litlamp.scene.clip_file import ClipFileError, save_clip
    from litlamp.scene.clip_truth import clip_truth_line

    line = msgspec.json.encode(clip_truth_line(clip.truth, _source(out, truth), book.edition, _rules(book)))

    def save() -> None:
        try:
            save_clip(clip.frames(), out, clip.size, clip.fps, quality=quality, told=told)
        except ClipFileError as error:
            raise PictureError(str(error)) from error

    _save(truth, line, save)
    return line


def _source(out: Path, truth: Path | None) -> str:
    source = str(out)
    if truth is not None:
        with contextlib.suppress(ValueError):  # on another drive: the path as given
            source = Path(os.path.relpath(out, truth.parent)).as_posix()
    return source.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def _rules(book: Rulebook) -> Callable[[Aspect], str | None]:
    def rule(of: Aspect) -> str | None:
        arrangement = of.arrangement if len(of.heads) > 1 else None
        found = book.find(of.heads, of.mount or "mast", arrangement, of.plates, bool(of.number))
        return None if found is None else found[0].number

    return rule


def _save(truth: Path | None, line: bytes, save: Callable[[], None]) -> None:
    """Save the sample, and its line with it where it has a file to go to; no half line is left of it."""
    if truth is None:
        save()
        return
    began = not truth.exists()
    try:
        # Not through a buffer: what could not be written must not be tried again at the close.
        with truth.open("ab", buffering=0) as file:
            # The line comes after the sample: who ends this program before has no truth of nothing.
            save()
            before = file.seek(0, os.SEEK_END)
            try:
                write_whole(file, line + b"\n")
            except BaseException:
                file.truncate(before)
                raise
    except BaseException as error:
        with contextlib.suppress(OSError):
            if began and truth.stat().st_size == 0:
                truth.unlink()
        if not isinstance(error, OSError):
            raise
        said = (error.strerror or "unknown fault").lower()
        raise PictureError(f"the truth line could not be written to {truth}: {said}") from None
