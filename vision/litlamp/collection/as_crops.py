"""A picture of each signal of a collection, in folders by rule: quick to look through, or to learn from."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from msgspec import UnsetType

from litlamp.aspects.cautions import LONG
from litlamp.box import Box
from litlamp.collection.exporting import Column, ExportError, Readings, plain_name
from litlamp.collection.label_line import LabelRecord
from litlamp.report.record import SignalRecord
from litlamp.report.whole_file import WriteError, write_whole

if TYPE_CHECKING:
    from litlamp.media.frame import Pixels

_Picked = TypeVar("_Picked")

NAME = "crops"

DOCUMENTED: tuple[Column, ...] = (
    ("crops/RULE/", "folders", "by the rule read; `nothing-read` where there is none"),
    ("crops/RULE/N-NAME-SIGNAL.png", "PNG, sRGB", "N is the source's place among the readings, from 1"),
    (
        "margin",
        "a quarter of the box's longer side, 8 px at least",
        "on every side, as far as the picture goes",
    ),
    ("moment", "of a clip", "`at_s` of its signal"),
    ("text chunk Comment", "text", "the reading, the guarded one first where it differs, and the caution"),
)


def write_crops(readings: Readings, to: Path) -> str:
    """Write DIR/crops; what was written, and what could not be opened, in words.

    Raises ExportError, LinesError.
    """
    path_of = readings.opener()
    written = missing = 0
    for number, record in enumerate(readings, 1):
        if not record.signals:
            continue
        pictures = dict(of_each_signal(record, path_of(record.source), cut_out))
        stem = plain_name(Path(record.source).stem)
        for at, signal in enumerate(record.signals, 1):
            rgb = pictures.get(at)
            if rgb is None:
                missing += 1
                continue
            reading = signal.reading
            folder = (
                to / NAME / plain_name("nothing-read" if reading is None else reading.rule or reading.name)
            )
            try:
                folder.mkdir(parents=True, exist_ok=True)
                write_whole(folder / f"{number:06}-{stem}-{at}.png", _png(rgb, signal))
            except OSError as error:
                raise ExportError(f"{folder}: {(error.strerror or 'cannot be made').lower()}") from error
            except WriteError as error:
                raise ExportError(str(error)) from error
            written += 1
    lost = f"; {missing:,} left out, for their source cannot be opened as it was" if missing else ""
    return f"{NAME}/: {written:,} signals{lost}"


def of_each_signal(
    record: LabelRecord, path: str, pick: Callable[[Pixels, SignalRecord], _Picked]
) -> Iterator[tuple[int, _Picked]]:
    """Of each signal, numbered from 1, what `pick` makes of the picture that its boxes are of.

    Nothing of what cannot be opened, or has another size by now.
    """
    from litlamp.media.clip import open_clip
    from litlamp.media.errors import MediaError
    from litlamp.media.photo import read_photo

    try:
        if record.kind == "photo":
            frame = read_photo(path)
            if frame.size == record.size:
                for number, signal in enumerate(record.signals, 1):
                    yield number, pick(frame.rgb, signal)
            return
        wanted = sorted(
            (signal.at_s, number)
            for number, signal in enumerate(record.signals, 1)
            if not isinstance(signal.at_s, UnsetType)
        )
        with open_clip(path) as clip:
            if clip.size != record.size:
                return
            zero: float | None = None
            for shown in clip:
                zero = shown.time.seconds if zero is None else zero
                while wanted and shown.time.seconds - zero >= wanted[0][0] - 0.0005:
                    number = wanted.pop(0)[1]
                    yield number, pick(shown.frame().rgb, record.signals[number - 1])
                if not wanted:
                    return
    except MediaError:
        return


def cut_out(rgb: Pixels, signal: SignalRecord) -> Pixels:
    """The signal's box with its margin, as a copy. uint8 (h, w, 3), RGB."""
    box = Box(*signal.box)
    high, wide = rgb.shape[:2]
    near = box.grow(max(max(box.width, box.height) / 4, 8)).clamp(wide, high)
    x0, y0 = min(int(near.x0), wide - 1), min(int(near.y0), high - 1)
    x1, y1 = max(round(near.x1), x0 + 1), max(round(near.y1), y0 + 1)
    return rgb[y0:y1, x0:x1].copy()


def _png(rgb: Pixels, signal: SignalRecord) -> bytes:
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    from litlamp.report.subtitles import in_short

    words = PngInfo()
    words.add_text("Comment", f"{in_short(signal.reading, signal.guarded)}. {LONG}")
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, "PNG", pnginfo=words)
    return out.getvalue()
