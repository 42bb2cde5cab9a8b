"""What a worker does: reads an upload, draws a scene, draws the annotated picture. All is picklable.

Every task takes `told` first, which it may call with the share that is done.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from litlamp.aspects.aspect import Aspect, Mount
from litlamp.box import Box
from litlamp.page.workers import Failed

if TYPE_CHECKING:
    from litlamp.media.frame import Frame, Pixels
    from litlamp.photo_reading import SourceReading

Told = Callable[[float], None]

SHOWN_SIDE = 1600
"""Longer side of the picture on the page, px; what lies about a signal is sent beside it in full."""
_CLOSE_SIDE = 1200


@dataclass(frozen=True, slots=True)
class Close:
    """A part of a picture in more detail: where it lies, px of the upright picture, and its JPEG."""

    box: Box
    jpeg: bytes


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture as the page shows it; sizes and boxes are px of the upright picture, JPEGs may be smaller."""

    size: tuple[int, int]
    jpeg: bytes
    close: tuple[Close | None, ...]


@dataclass(frozen=True, slots=True)
class Taken:
    """What the file itself says of its taking; used only if the learner agrees.

    `date` is "2025-06-01 14:30" as the camera had it; `place` is (latitude, longitude) in degrees.
    """

    date: str | None = None
    place: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of one upload.

    `pictures` holds one picture for a photograph; for a clip one for each signal, None where none was kept.
    """

    reading: SourceReading
    pictures: tuple[Shown | None, ...]
    taken: Taken
    seconds: float


def warm(told: Told) -> bool:
    """Load all that a first photograph needs, so that it need not wait."""
    import numpy as np

    from litlamp.aspects.rulebook import load_book
    from litlamp.media.frame import Frame
    from litlamp.sight.eyes import EyesError, load_eyes
    from litlamp.sight.look import look

    load_book()
    try:
        look(Frame(np.full((480, 640, 3), 127, np.uint8)), load_eyes())
    except EyesError as error:
        raise Failed(str(error)) from error
    return True


def read_upload(
    told: Told,
    path: str,
    name: str,
    book: str,
    edition: str | None,
    expect: Mount | None,
    pixels: int,
    clip_seconds: float,
) -> Answer:
    """Read the photograph or clip in a private file, which is removed."""
    import time
    from dataclasses import replace

    from litlamp.aspects.rulebook import load_book
    from litlamp.media.sources import moves
    from litlamp.sight.eyes import EyesError

    began = time.perf_counter()
    file = Path(path)
    try:
        rules = load_book(book, edition)
        frames: tuple[Frame | None, ...]
        taken = Taken()
        if moves(path):
            reading, frames = _read_clip(told, path, rules, expect, pixels, clip_seconds)
        else:
            from litlamp.photo_reading import read_with_frame

            data = file.read_bytes()
            taken = _judge(data, pixels)
            reading, frame = read_with_frame(data, book=rules, expect=expect)
            frames = () if frame is None else (frame,)
    except EyesError as error:
        raise Failed(str(error)) from error
    finally:
        file.unlink(missing_ok=True)
    pictures = tuple(
        None
        if frame is None
        else shown(frame, reading.signals if reading.kind == "photo" else reading.signals[at : at + 1])
        for at, frame in enumerate(frames)
    )
    return Answer(replace(reading, source=name), pictures, taken, time.perf_counter() - began)


def _read_clip(
    told: Told, path: str, book: Any, expect: Mount | None, pixels: int, clip_seconds: float
) -> tuple[SourceReading, tuple[Frame | None, ...]]:
    from litlamp.clip_reading import read_with_frames
    from litlamp.media.clip import MediaError, open_clip

    most = f"at most {clip_seconds:.0f} seconds are read here: cut it, or use litlamp footage"
    try:
        with open_clip(path) as clip:
            if clip.duration is not None and clip.duration > clip_seconds:
                raise Failed(f"This clip lasts {clip.duration:.0f} seconds; {most}.")
            if clip.size[0] * clip.size[1] > pixels:
                raise Failed(
                    f"This clip has {clip.size[0]} x {clip.size[1]} pixels; "
                    f"at most {pixels / 1e6:g} million are read."
                )
    except MediaError:
        pass  # read_with_frames says why

    def at(seconds: float, length: float | None) -> None:
        if seconds > clip_seconds + 1:  # a recording that does not say how long it is
            raise Failed(f"This clip is too long; {most}.")
        told(min(seconds / max(length or clip_seconds, 0.1), 1.0))

    return read_with_frames(path, book=book, expect=expect, progress=at, keep=True)


def _judge(data: bytes, pixels: int) -> Taken:
    """Refuse a picture with too many pixels by its header, and note what it says of its taking."""
    import warnings

    from PIL import Image

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            import pillow_heif

            pillow_heif.register_heif_opener()
        except ImportError:
            pass
        try:
            image = Image.open(io.BytesIO(data))
        except Image.DecompressionBombError:
            raise Failed(
                f"This picture has far too many pixels; at most {pixels / 1e6:g} million are read here."
            ) from None
        except Exception:
            # Whatever is wrong with it, the door for photographs says so in its own words.
            return Taken()
        wide, high = image.size
        if wide * high > pixels:
            raise Failed(
                f"This picture has {wide} x {high} pixels; at most {pixels / 1e6:g} million are read here."
            )
        from litlamp.page.taken import taken

        return taken(image)


def shown(frame: Frame, signals: Any) -> Shown:
    """The picture small enough for a page, and what lies about each signal in more detail."""
    import cv2

    w, h = frame.size
    closes: list[Close | None] = []
    shrunk = max(w, h) > SHOWN_SIDE
    for seen, _ in signals:
        closes.append(_close(frame, seen.box) if shrunk else None)
    rgb = frame.rgb
    if shrunk:
        scale = SHOWN_SIDE / max(w, h)
        size = (max(1, round(w * scale)), max(1, round(h * scale)))
        rgb = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)  # type: ignore[assignment]
    return Shown((w, h), jpeg(rgb), tuple(closes))


def about(box: Box, size: tuple[int, int], least: float = 24.0) -> Box:
    """What is shown of a picture about a signal: its box with room round it, inside the picture."""
    w, h = size
    side = max(box.height * 2.0, box.width * 3.0, least)
    cx, cy = box.centre
    wide, high = min(side, w), min(side, h)
    x0, y0 = min(max(cx - wide / 2, 0), w - wide), min(max(cy - high / 2, 0), h - high)
    return Box(x0, y0, x0 + wide, y0 + high)


def _close(frame: Frame, box: Box) -> Close | None:
    import cv2

    part = about(box, frame.size)
    x0, y0, x1, y1 = int(part.x0), int(part.y0), int(part.x1 + 1), int(part.y1 + 1)
    cut = frame.rgb[y0:y1, x0:x1]
    if min(cut.shape[:2]) < 2:
        return None
    longer = max(cut.shape[:2])
    if longer > _CLOSE_SIDE:
        scale = _CLOSE_SIDE / longer
        size = (max(1, round(cut.shape[1] * scale)), max(1, round(cut.shape[0] * scale)))
        small = cv2.resize(cut, size, interpolation=cv2.INTER_AREA)
    else:
        small = cut
    h, w = frame.rgb.shape[:2]
    return Close(Box(x0, y0, min(x1, w), min(y1, h)), jpeg(small, 90))


def jpeg(rgb: Any, quality: int = 86) -> bytes:
    """Uint8 RGB as JPEG, with nothing in it but the picture."""
    import cv2

    bgr = cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR)
    done, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise Failed("The picture could not be made ready for the page.")
    return bytes(data)


def annotated(told: Told, answer_picture: Shown, reading: SourceReading) -> bytes:
    """The annotated picture as JPEG, from the picture that the page shows."""
    from litlamp.media.frame import Frame
    from litlamp.report.picture import annotate

    return jpeg(annotate(Frame(_full(answer_picture)), reading), 90)


def _full(picture: Shown) -> Pixels:
    """The picture in its first size again, the parts about signals as fine as they were."""
    import cv2
    import numpy as np

    def decoded(data: bytes, size: tuple[int, int]) -> Pixels:
        rgb = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
        if rgb is None:
            raise Failed("The picture is no longer there.")
        if (rgb.shape[1], rgb.shape[0]) != size:
            rgb = cv2.resize(rgb, size, interpolation=cv2.INTER_LINEAR)
        return np.asarray(rgb, np.uint8)

    full = decoded(picture.jpeg, picture.size)
    for close in picture.close:
        if close is not None:
            b = close.box
            x0, y0, x1, y1 = int(b.x0), int(b.y0), int(b.x1), int(b.y1)
            full[y0:y1, x0:x1] = decoded(close.jpeg, (x1 - x0, y1 - y0))
    return full


def cut(box: Box, picture: Shown) -> tuple[int, int, int, int]:
    """What lies about a signal, px of the picture as it is shown."""
    from PIL import Image

    part = about(box, picture.size)
    by = Image.open(io.BytesIO(picture.jpeg)).width / picture.size[0]
    scaled = part.scale(by)
    return round(scaled.x0), round(scaled.y0), round(scaled.x1), round(scaled.y1)


def small(picture: bytes, side: int, part: tuple[int, int, int, int] | None = None) -> bytes:
    """The JPEG, or a part of it (left, top, right, bottom; px), no longer than `side` px."""
    from PIL import Image

    image = Image.open(io.BytesIO(picture))
    if part is not None:
        image = image.crop(part)  # type: ignore[assignment]
    image.thumbnail((side, side))
    out = io.BytesIO()
    image.convert("RGB").save(out, "JPEG", quality=82)
    return out.getvalue()


def draw_phases(
    told: Told, aspect: Aspect, phases: tuple[tuple[bool, ...], ...], scene: dict[str, Any]
) -> Any:
    """One JPEG for each phase of the lamps (which heads burn); nothing but the lamps differs."""
    from litlamp.scene.draw import draw

    return tuple(jpeg(draw(aspect, lit=lit, **scene)[0], 90) for lit in phases)
