"""What a photograph says of its own taking: date and place from EXIF, held apart from the picture."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from PIL import Image

from litlamp.page.tasks import Taken

# Exif 2.32: tags of the main, Exif and GPS directories.
_DATE, _ORIGINAL = 0x0132, 0x9003
_EXIF, _GPS = 0x8769, 0x8825
_DATE_LIKE = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d):(\d\d)")


def taken(image: Image.Image) -> Taken:
    """Date and place as the file has them; whatever is missing or makes no sense is None."""
    try:
        exif = image.getexif()
        own = exif.get_ifd(_EXIF)
        gps = exif.get_ifd(_GPS)
        return Taken(date_of(own.get(_ORIGINAL) or exif.get(_DATE)), place_of(gps))
    except Exception:  # damaged metadata round a sound picture: as if there were none
        return Taken()


def date_of(said: object) -> str | None:
    """ "2025:06:01 14:30:07" as "2025-06-01 14:30"."""
    found = _DATE_LIKE.match(said) if isinstance(said, str) else None
    if found is None:
        return None
    year, month, day, hour, minute = found.groups()
    if not (
        year >= "1900" and "01" <= month <= "12" and "01" <= day <= "31" and hour < "24" and minute < "60"
    ):
        return None
    return f"{year}-{month}-{day} {hour}:{minute}"


def place_of(gps: Mapping[int, Any]) -> tuple[float, float] | None:
    """(latitude, longitude) in degrees, north and east positive."""
    latitude = _degrees(gps.get(2), gps.get(1), "S", 90)
    longitude = _degrees(gps.get(4), gps.get(3), "W", 180)
    return None if latitude is None or longitude is None else (latitude, longitude)


def _degrees(parts: Any, reference: Any, negative: str, most: float) -> float | None:
    try:
        degrees, minutes, seconds = (float(part) for part in parts)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    value = degrees + minutes / 60 + seconds / 3600
    if not 0 <= value <= most:  # NaN is none of these either
        return None
    return round(-value if reference == negative else value, 6)
