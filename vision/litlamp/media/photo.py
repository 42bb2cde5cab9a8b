"""The door for stills: a path, bytes, a stream or standard input becomes one upright sRGB frame.

Header and metadata are read by Pillow, which is right on orientation and profiles for every format tried.
A plain JPEG, as phones and cameras write, is then decoded by OpenCV in half the time and to the same
pixels; all else is decoded by Pillow.
"""

from __future__ import annotations

import contextlib
import io
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from PIL import (
    AvifImagePlugin,
    BmpImagePlugin,
    GifImagePlugin,
    Image,
    JpegImagePlugin,
    PngImagePlugin,
    TiffImagePlugin,
    WebPImagePlugin,
)

from litlamp.media.colour import rgb_to_srgb, to_srgb
from litlamp.media.decoders import overheard, tells_of_damage
from litlamp.media.errors import MediaError
from litlamp.media.frame import LARGE, Frame, Pixels
from litlamp.media.sources import Source, read_bytes, shown

__all__ = ["PIXEL_LIMIT", "Early", "MediaError", "read_photo"]

PIXEL_LIMIT = 200_000_000

# OpenCV's flags for a JPEG reduced by its decoder. Those named COLOR would have B G R.
_REDUCED = {
    8: cv2.IMREAD_REDUCED_GRAYSCALE_8 | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION,
    4: cv2.IMREAD_REDUCED_GRAYSCALE_4 | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION,
    2: cv2.IMREAD_REDUCED_GRAYSCALE_2 | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION,
}

_MID_GREY = (128, 128, 128)
_ORIENTATION = 0x0112  # Exif 2.32, tag 274
_NEW_SUBFILE_TYPE = 254  # TIFF 6.0: bit 0 set for a reduced copy of another picture in the file
_DNG_VERSION = 50706

# The plugins are called by name, not through Image.open: only formats this door promises are ever parsed,
# and the size is judged by `pixel_limit` alone.
_OPENERS: dict[str, Callable[[io.BytesIO], Image.Image]] = {
    "JPEG": JpegImagePlugin.jpeg_factory,
    "PNG": PngImagePlugin.PngImageFile,
    "WebP": WebPImagePlugin.WebPImageFile,
    "TIFF": TiffImagePlugin.TiffImageFile,
    "AVIF": AvifImagePlugin.AvifImageFile,
    "BMP": BmpImagePlugin.BmpImageFile,
    "GIF": GifImagePlugin.GifImageFile,
}

# Formats whose further pictures are moments of a clip, not pages or previews.
_ANIMATED = frozenset({"GIF", "PNG", "WebP", "AVIF"})

_TURNS: dict[int, tuple[Callable[[Pixels], Any], ...]] = {
    2: (lambda p: cv2.flip(p, 1),),
    3: (lambda p: cv2.rotate(p, cv2.ROTATE_180),),
    4: (lambda p: cv2.flip(p, 0),),
    5: (cv2.transpose,),
    6: (lambda p: cv2.rotate(p, cv2.ROTATE_90_CLOCKWISE),),
    7: (cv2.transpose, lambda p: cv2.rotate(p, cv2.ROTATE_180)),
    8: (lambda p: cv2.rotate(p, cv2.ROTATE_90_COUNTERCLOCKWISE),),
}
_SIDEWAYS = frozenset({5, 6, 7, 8})  # by which width and height change places


@dataclass(frozen=True, slots=True)
class Early:
    """Who wants a large JPEG reduced by its decoder, which is to be had before the whole.

    Attributes
    ----------
    tell : called once with it, uint8 (h, w, 3), R G B, upright, sRGB; and with the width and height of the
        whole, px. It may still turn out that the file is damaged.
    side : its long side is to have so many px at least; it is reduced by 8, 4 or 2.
    beside : it is decoded, and told, in a thread of its own while the whole is being decoded; else after
        that, for whoever has one processor. The same pixels either way.
    """

    tell: Callable[[Pixels, tuple[int, int]], None]
    side: int
    beside: bool = True


def read_photo(source: Source, *, pixel_limit: int = PIXEL_LIMIT, early: Early | None = None) -> Frame:
    """Read one photograph.

    JPEG, PNG, WebP, TIFF, AVIF, BMP and one-picture GIF; HEIC with the extra `heif`. The format is told by
    content. EXIF orientation is applied, ICC profiles and CMYK become sRGB, alpha is laid over mid grey
    (black would look like a dark head and white like a lit one), 16 bit is scaled to 8. Of a file
    with several stills (multi-picture JPEG, pages of a TIFF) the first is read; gain maps are ignored.

    Parameters
    ----------
    source : path; "-" for standard input; the bytes of a file; or a binary stream, read to its end.
    pixel_limit : most pixels (width x height), judged from the header before anything is decoded.
    early : who wants a large JPEG reduced; of other pictures nothing is told.

    Returns
    -------
    Frame
        `rgb` uint8, C-contiguous; `time` None; `conversions` says what was done on the way, in order.

    Raises
    ------
    MediaError
        Whatever is wrong with the source, in one sentence. A damaged or cut-off file is refused: its
        colours cannot be trusted. (Damage that leaves a valid file cannot be noticed.)
    """
    try:
        # 16 bytes a pixel is more than any format here needs; a file beyond that is no photograph.
        data, sniffed = read_bytes(source, 16 * pixel_limit + (1 << 20))
        return _decode(data, sniffed.name, pixel_limit, early)
    except MediaError as error:
        raise MediaError(error.sentence, shown(source)) from error.__cause__


def _decode(data: bytes, name: str, pixel_limit: int, early: Early | None) -> Frame:
    with overheard() as said:
        try:
            pixels, conversions = _pixels(data, name, pixel_limit, early)
        except MediaError:
            raise
        except MemoryError:
            raise MediaError("there is not enough memory for this picture") from None
        # Decoders of untrusted bytes fail in every way there is (struct.error, SyntaxError, KeyError,
        # cv2.error ...); to the caller all of them are one: the file is damaged.
        except Exception as error:
            raise MediaError(_damage(name)) from error
    if tells_of_damage(said):
        raise MediaError(_damage(name))
    return Frame(np.ascontiguousarray(pixels), None, tuple(conversions))


def _damage(name: str) -> str:
    return f"this {name} file is damaged or cut off"


def _pixels(data: bytes, name: str, pixel_limit: int, early: Early | None) -> tuple[Pixels, list[str]]:
    image = _open_heic(data) if name == "HEIC" else _OPENERS[name](io.BytesIO(data))
    width, height = image.size
    if width * height > pixel_limit:
        raise MediaError(
            f"this picture has {width} x {height} pixels; at most {pixel_limit / 1e6:g} million are read"
        )
    conversions: list[str] = []
    _judge_pictures(image, name, conversions)
    profile = image.info.get("icc_profile") or None
    orientation = _orientation(image)

    if name == "JPEG" and image.mode in {"RGB", "L"}:
        with contextlib.ExitStack() as meanwhile:
            if early is not None and image.mode == "RGB" and width * height > LARGE:
                meanwhile.enter_context(_reduced(data, (width, height), profile, orientation, early))
            pixels = _plain_jpeg(data, (height, width))
        if image.mode == "RGB" or profile is None:
            pixels, note = rgb_to_srgb(pixels, profile)
        else:
            pixels, note = to_srgb(Image.fromarray(np.ascontiguousarray(pixels[..., 0])), profile)
        if note is not None:
            conversions.append(note)
    else:
        if name == "JPEG":  # Pillow does not pass on what libjpeg says of damage: hear it at 1/8 size
            cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_REDUCED_GRAYSCALE_8)
        image.load()
        pixels = _coloured(image, profile, conversions)
    if orientation in _TURNS:
        if name != "TIFF":  # Pillow has turned a TIFF when it is loaded
            pixels = _turned(pixels, orientation)
        conversions.append(f"turned by EXIF orientation {orientation}")
    return pixels, conversions


def _turned(pixels: Pixels, orientation: int) -> Pixels:
    for turn in _TURNS.get(orientation, ()):
        pixels = turn(pixels)
    return pixels


@contextlib.contextmanager
def _reduced(
    data: bytes, size: tuple[int, int], profile: bytes | None, orientation: int, early: Early
) -> Iterator[None]:
    """Tells `early` beside the body, or after it, as that wants.

    Where it cannot be had, nothing is said, for then the whole cannot be had either, or can do without.
    """
    by = max((by for by in _REDUCED if max(size) >= by * early.side), default=None)

    def reduce(by: int) -> None:
        with contextlib.suppress(Exception):
            decoded = cv2.imdecode(np.frombuffer(data, np.uint8), _REDUCED[by])
            if decoded is None or decoded.shape[:2] != (-(-size[1] // by), -(-size[0] // by)):
                return
            reduced, _ = rgb_to_srgb(np.asarray(decoded, np.uint8), profile)
            turned = orientation in _SIDEWAYS
            early.tell(
                np.ascontiguousarray(_turned(reduced, orientation)), (size[1], size[0]) if turned else size
            )

    if by is None:
        yield
    elif early.beside:
        beside = threading.Thread(target=reduce, args=(by,), name="reduced")
        beside.start()
        try:
            yield
        finally:
            beside.join()
    else:
        yield
        reduce(by)


def _plain_jpeg(data: bytes, shape: tuple[int, int]) -> Pixels:
    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    decoded = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if decoded is None or decoded.shape[:2] != shape:
        raise MediaError(_damage("JPEG"))
    return np.asarray(decoded, dtype=np.uint8)


def _open_heic(data: bytes) -> Image.Image:
    try:
        import pillow_heif
    except ImportError:
        raise MediaError(
            "this is a HEIC picture, which needs an extra: pip install 'litlamp[heif]'"
        ) from None
    opener: Callable[[io.BytesIO], Image.Image] = pillow_heif.HeifImageFile  # its constructor is untyped
    return opener(io.BytesIO(data))


def _judge_pictures(image: Image.Image, name: str, conversions: list[str]) -> None:
    """Refuse what moves and what is only a preview; note that a file holds further stills."""
    count = int(getattr(image, "n_frames", 1))
    if count > 1 and name in _ANIMATED:
        raise MediaError(f"this is a clip (an animated {name}), not a photograph")
    if isinstance(image, TiffImagePlugin.TiffImageFile):
        tags = image.tag_v2
        if _DNG_VERSION in tags or tags.get(_NEW_SUBFILE_TYPE, 0) & 1:
            raise MediaError(
                "this is a camera raw file or begins with a preview; develop it to JPEG or TIFF first"
            )
    if count > 1:
        conversions.append(f"first of {count} pictures in the file")


def _orientation(image: Image.Image) -> int:
    try:
        found = image.getexif().get(_ORIENTATION, 1)
    except Exception:  # damaged metadata round a sound picture: as if there were none
        return 1
    return found if isinstance(found, int) else 1


def _coloured(image: Image.Image, profile: bytes | None, conversions: list[str]) -> Pixels:
    """A loaded picture of any mode as sRGB pixels; each thing that was done is noted."""
    opaque, alpha = _eight_bit(image, conversions)
    pixels, note = to_srgb(opaque, profile)
    if note is not None:
        conversions.append(note)
    if alpha is not None and alpha.getextrema() != (255, 255):
        grey = Image.new("RGB", alpha.size, _MID_GREY)
        pixels = np.array(Image.composite(Image.fromarray(pixels), grey, alpha))
        conversions.append("laid over mid grey where transparent")
    return pixels


def _eight_bit(image: Image.Image, conversions: list[str]) -> tuple[Image.Image, Image.Image | None]:
    """The picture in mode L, RGB, CMYK or LAB, and its alpha if it has any."""
    mode = image.mode
    if mode.startswith("I;16"):
        conversions.append("16 bit to 8")
        # 65535 / 255 = 257 exactly: white stays white. A plain convert would clip at 255.
        wide = np.asarray(image).astype(np.uint32)
        return Image.fromarray(((wide + 128) // 257).astype(np.uint8)), None
    if mode in {"I", "F"}:
        raise MediaError("this picture holds 32-bit samples; save it with 8 or 16 bits a channel first")
    if mode == "1":
        return image.convert("L"), None
    if mode in {"P", "PA", "RGBa", "La"} or "transparency" in image.info:
        grey = mode in {"L", "La"}
        image = image.convert("LA" if grey else "RGBA")
    if image.mode in {"RGBA", "LA"}:
        return image.convert(image.mode[:-1]), image.getchannel("A")
    if image.mode in {"L", "RGB", "CMYK", "LAB"}:
        return image, None
    return image.convert("RGB"), None  # YCbCr, RGBX, HSV
