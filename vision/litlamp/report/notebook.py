"""A reading as a notebook shows it: the annotated picture over what it says."""

from __future__ import annotations

import base64
import io
from dataclasses import replace
from html import escape
from typing import TYPE_CHECKING

from litlamp.aspects.cautions import SHORT
from litlamp.report.text import headed, source_text

if TYPE_CHECKING:
    from litlamp.media.frame import Frame
    from litlamp.photo_reading import SourceReading

_SIDE = 900


def one_line(of: SourceReading) -> str:
    """The guarded readings in a line: "a.jpg: Stop, Rule 439. Training aid only ..."."""
    name = of.source or "picture"
    if of.failure is not None:
        return f"{name}: not read: {of.failure}"
    said = [
        "nothing was read" if reading.guarded is None else headed(reading.guarded)
        for _, reading in of.signals
    ]
    return f"{name}: {'; '.join(said) or 'no signal found'}. {SHORT}".replace("\u00a0", " ")


def html(of: SourceReading) -> str:
    """The picture with what was read drawn on it, as far as it can still be had, and the whole text."""
    words = f"<pre>{escape(source_text(of))}</pre>"
    pictures = [_image(frame, part) for frame, part in _frames(of)]
    return f"<div>{''.join(pictures)}{words}</div>"


def _frames(of: SourceReading) -> list[tuple[Frame, SourceReading]]:
    """The picture, or of a clip the one that its first signal's boxes are of, and what is to be drawn."""
    from litlamp.media.clip import open_clip
    from litlamp.media.errors import MediaError
    from litlamp.media.photo import read_photo

    if of.failure is not None:
        return []
    if of.frame is not None:
        return [(of.frame, of)]
    if of.source in ("", "-"):
        return []
    try:
        if of.kind == "photo":
            frame = read_photo(of.source)
            return [(frame, of)] if frame.size == of.size else []
        if not of.passages:
            return []
        first = replace(of, signals=of.signals[:1], passages=of.passages[:1])
        with open_clip(of.source) as clip:
            zero: float | None = None
            for shown in clip:
                zero = shown.time.seconds if zero is None else zero
                if shown.time.seconds - zero >= of.passages[0].at - 0.0005:
                    return [(shown.frame(), first)] if clip.size == of.size else []
    except MediaError:
        pass
    return []


def _image(frame: Frame, of: SourceReading) -> str:
    from PIL import Image

    from litlamp.report.picture import annotate

    out = io.BytesIO()
    Image.fromarray(annotate(frame, of, max_side=_SIDE)).save(out, "JPEG", quality=85)
    return f'<img src="data:image/jpeg;base64,{base64.b64encode(out.getvalue()).decode()}" alt="">'
