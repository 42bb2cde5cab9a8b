"""A folder of photographs taken one after another, as a clip; times from EXIF or from a stated rate."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

from PIL import Image, UnidentifiedImageError

from litlamp.media.clip import FRAME_PIXEL_LIMIT, Clip
from litlamp.media.clip_frame import Moment
from litlamp.media.decoders import overheard
from litlamp.media.errors import MediaError
from litlamp.media.photo import read_photo
from litlamp.media.planes import Packed
from litlamp.media.sniff import HEAD_BYTES, sniff
from litlamp.media.sources import shown

__all__ = ["MediaError", "open_burst"]

# Exif 2.32, 4.6.5 F and H: when the shutter opened, and the digits after the second's point.
_EXIF_IFD = 0x8769
_DATE_TIME_ORIGINAL = 0x9003
_SUB_SEC_TIME_ORIGINAL = 0x9291

_NANOSECOND = Fraction(1, 10**9)

Shot = tuple[Path, Fraction | None]  # a photograph and its time in s since the year 1, if it carries one


def open_burst(
    folder: str | os.PathLike[str],
    *,
    fps: Fraction | float | None = None,
    pixel_limit: int = FRAME_PIXEL_LIMIT,
) -> Clip:
    """Open a folder of photographs as a clip.

    With `fps` the photographs follow each other in the order of their names ("2" before "10"), so many a
    second. Without, they are put in the order of the times that their EXIF gives (DateTimeOriginal with
    SubSecTimeOriginal), and time runs from the first. If one carries no time they come in the order of
    their names and `times_fault` says so. What is no photograph is passed over; one that cannot be read, be
    it empty, is passed over with a note, and at a rate keeps its moment among the others.

    Raises
    ------
    MediaError
        No folder, none to be opened, or no photograph in it that can be read.
    ValueError
        `fps` is not above 0.
    """
    rate = None if fps is None else Fraction(fps).limit_denominator(1_000_000)
    if rate is not None and rate <= 0:
        raise ValueError(f"a rate of frames is above 0, not {fps}")
    name = shown(folder)
    try:
        photographs, spoilt = _photographs(Path(folder))
    except FileNotFoundError:
        raise MediaError("there is no such folder", name) from None
    except NotADirectoryError:
        raise MediaError("this is no folder", name) from None
    except PermissionError:
        raise MediaError("this folder may not be opened: permission denied", name) from None
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or "unknown fault"
        raise MediaError(f"this folder could not be opened: {said}", name) from None
    if not photographs:
        raise MediaError("this folder holds no photographs", name)

    fault, duration, notes = None, None, list[str]()
    shots: Sequence[Shot]
    if rate is not None:
        shots = [(path, index / rate) for index, path in enumerate(photographs)]
        duration = float(len(shots) / rate)
    else:
        # Where times are told, what tells none because it is spoilt has no moment.
        why = "was passed over: it does not begin as a photograph"
        notes += [f"{shown(path.name)} {why}" for path in photographs if path in spoilt]
        shots = [(path, _taken(path)) for path in photographs if path not in spoilt]
        times = [time for _, time in shots if time is not None]
        if len(times) < len(shots):
            missing = len(shots) - len(times)
            fault = f"{missing} of these {len(shots)} photographs carry no time; state a rate of frames"
            shots = [(path, None) for path, _ in shots]
        else:
            shots = sorted(shots, key=lambda shot: shot[1] or 0)
            shots = [(path, None if time is None else time - min(times)) for path, time in shots]
            duration = float(max(times) - min(times))
    return Clip(_moments(shots, pixel_limit, notes), notes, name, duration, fault)


def _photographs(folder: Path) -> tuple[list[Path], set[Path]]:
    """Regular files of the folder that begin as photographs do, in the order of their names.

    Those between them that are named like them are some of them too, whatever became of them: which, is
    given besides.
    """
    files = [path for path in folder.iterdir() if not path.name.startswith(".") and path.is_file()]
    good = {path for path in files if _begins_as_one(path)}
    endings = {path.suffix.lower() for path in good} - {""}
    spoilt = {path for path in files if path.suffix.lower() in endings} - good
    return sorted(good | spoilt, key=lambda path: _natural(path.name)), spoilt


def _begins_as_one(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return sniff(file.read(HEAD_BYTES)).kind == "photo"
    except OSError:
        return False


def _natural(name: str) -> tuple[list[tuple[int, str]], str]:
    """Runs of digits count as numbers: "shot2" comes before "shot10"."""
    parts = re.findall(r"[0-9]+|[^0-9]+", name)
    return [(int(p), "") if p[0] in "0123456789" else (-1, p) for p in parts], name


def _taken(path: Path) -> Fraction | None:
    try:
        with overheard(), _opened(path) as image:
            exif = image.getexif().get_ifd(_EXIF_IFD)
    except Exception:  # damaged metadata: as if there were none
        return None
    return _exif_time(exif.get(_DATE_TIME_ORIGINAL), exif.get(_SUB_SEC_TIME_ORIGINAL))


def _opened(path: Path) -> Image.Image:
    try:
        return Image.open(path, formats=("JPEG", "PNG", "WEBP", "TIFF", "AVIF"))
    except UnidentifiedImageError:
        from pillow_heif import HeifImageFile  # an extra; without it the photograph itself cannot be read

        opener: Callable[[Path], Image.Image] = HeifImageFile  # its constructor is untyped
        return opener(path)


def _exif_time(date: Any, sub: Any) -> Fraction | None:
    if not isinstance(date, str):
        return None
    try:
        moment = datetime.strptime(date.strip("\0 "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    whole = Fraction((moment - datetime(1, 1, 1)) // _ONE_SECOND)
    digits = sub.strip("\0 ") if isinstance(sub, str) else ""
    if not re.fullmatch(r"[0-9]{1,9}", digits):
        return whole
    return whole + Fraction(int(digits), 10 ** len(digits))


_ONE_SECOND = datetime(1, 1, 1, 0, 0, 1) - datetime(1, 1, 1)


def _moments(shots: Sequence[Shot], pixel_limit: int, notes: list[str]) -> Iterator[Moment]:
    given = 0
    reason = ""
    for path, time in shots:
        try:
            frame = read_photo(path, pixel_limit=pixel_limit)
        except MediaError as error:
            reason = error.sentence
            notes.append(f"{shown(path.name)} was passed over: {reason}")
            continue
        pts = None if time is None else round(time / _NANOSECOND)
        given += 1
        yield Moment(Packed(frame.rgb), pts, _NANOSECOND, frame.conversions)
    if not given:
        raise MediaError(f"none of the {len(shots)} photographs in this folder can be read ({reason})")
