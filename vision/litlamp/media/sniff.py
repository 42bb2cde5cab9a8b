"""What a source is, told from its first bytes: names and endings are never trusted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["photo", "clip"]

HEAD_BYTES = 512  # as many first bytes as `sniff` ever looks at


@dataclass(frozen=True, slots=True)
class Sniffed:
    """`kind` is None for what is neither; `name` is the format in a person's words ("JPEG", "text")."""

    kind: Kind | None
    name: str


# (offset, bytes, kind, name): the signatures that the published format specifications give. A format that
# is recognised but not read has kind None, so that the refusal can name it.
_SIGNATURES: tuple[tuple[int, bytes, Kind | None, str], ...] = (
    (0, b"\xff\xd8\xff", "photo", "JPEG"),
    (0, b"\x89PNG\r\n\x1a\n", "photo", "PNG"),
    (0, b"II*\0\x10\0\0\0CR\x02", None, "camera raw"),
    (0, b"IIRO", None, "camera raw"),
    (0, b"IIU\0", None, "camera raw"),
    (0, b"FUJIFILMCCD-RAW", None, "camera raw"),
    (0, b"II*\0", "photo", "TIFF"),
    (0, b"MM\0*", "photo", "TIFF"),
    (0, b"II+\0", "photo", "TIFF"),
    (0, b"MM\0+", "photo", "TIFF"),
    (0, b"GIF87a", "photo", "GIF"),
    (0, b"GIF89a", "photo", "GIF"),
    (8, b"WEBP", "photo", "WebP"),
    (8, b"AVI ", "clip", "AVI"),
    (8, b"WAVE", None, "sound"),
    (0, b"\x1aE\xdf\xa3", "clip", "Matroska or WebM"),
    (0, b"\0\0\x01\xba", "clip", "MPEG"),
    (0, b"\0\0\x01\xb3", "clip", "MPEG"),
    (0, b"\0\0\0\x01\x67", "clip", "H.264"),
    (0, b"\0\0\0\x01\x09", "clip", "H.264"),
    (0, b"\0\0\0\x01\x40", "clip", "H.265"),
    (0, b"FLV\x01", "clip", "Flash video"),
    (0, b"OggS", "clip", "Ogg"),
    (0, b"0&\xb2u\x8ef\xcf\x11", "clip", "Windows Media"),
    (0, b"YUV4MPEG2", "clip", "YUV4MPEG2"),
    (0, b"\0\0\0\x0cjP  ", None, "JPEG 2000"),
    (0, b"\xff\x4f\xff\x51", None, "JPEG 2000"),
    (0, b"\0\0\0\x0cJXL ", None, "JPEG XL"),
    (0, b"\xff\x0a", None, "JPEG XL"),
    (0, b"8BPS", None, "Photoshop"),
    (0, b"v/1\x01", None, "OpenEXR"),
    (0, b"#?RADIANCE", None, "Radiance HDR"),
    (0, b"%PDF", None, "PDF"),
    (0, b"PK\x03\x04", None, "ZIP archive"),
    (0, b"\x1f\x8b", None, "gzip archive"),
    (0, b"ID3", None, "sound"),
    (0, b"fLaC", None, "sound"),
)

_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs"})
_QUICKTIME_ATOMS = frozenset({b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"})


def sniff(head: bytes) -> Sniffed:
    """Kind and name of a source from its first `HEAD_BYTES` bytes (fewer if the source is shorter)."""
    head = head[:HEAD_BYTES]
    if not head:
        return Sniffed(None, "empty")
    if head[4:8] == b"ftyp":
        return _iso_media(head)
    for offset, signature, kind, name in _SIGNATURES:
        if head.startswith(signature, offset) and (offset != 8 or head.startswith(b"RIFF")):
            return Sniffed(kind, name)
    if head.startswith(b"BM") and _is_bmp(head):
        return Sniffed("photo", "BMP")
    if head[4:8] in _QUICKTIME_ATOMS:
        return Sniffed("clip", "QuickTime")
    # Transport stream packets are 188 bytes and begin with 0x47; a camcorder puts 4 bytes before each.
    if len(head) > 384 and head[0] == head[188] == head[376] == 0x47:
        return Sniffed("clip", "MPEG transport stream")
    if len(head) > 388 and head[4] == head[196] == head[388] == 0x47:
        return Sniffed("clip", "MPEG transport stream")
    if _is_text(head):
        return Sniffed(None, "SVG" if b"<svg" in head else "text")
    return Sniffed(None, "unknown")


def _iso_media(head: bytes) -> Sniffed:
    """Tell a still from a clip by the brands of the `ftyp` box (ISO/IEC 14496-12, 23008-12)."""
    size = int.from_bytes(head[:4], "big")
    major = head[8:12]
    brands = {major} | {head[i : i + 4] for i in range(16, min(size, len(head)) - 3, 4)}
    if major == b"crx ":
        return Sniffed(None, "camera raw")
    if major in {b"avif", b"avis"}:
        return Sniffed("photo", "AVIF")
    if major in _HEIF_BRANDS:
        return Sniffed("photo", "HEIC")
    if major in {b"mif1", b"msf1", b"mif2"}:  # "some still": the codec is among the compatible brands
        return Sniffed("photo", "AVIF" if b"avif" in brands else "HEIC")
    if major == b"qt  ":
        return Sniffed("clip", "QuickTime")
    return Sniffed("clip", "MP4")


def _is_bmp(head: bytes) -> bool:
    # "BM" alone also begins words: the size of the second header must be one of those that exist.
    return int.from_bytes(head[14:18], "little") in {12, 16, 40, 52, 56, 64, 108, 124}


def _is_text(head: bytes) -> bool:
    if b"\0" in head:
        return False
    try:
        head.decode("utf-8")
    except UnicodeDecodeError as error:
        # A character cut in two by the end of `head` is no fault.
        if error.start < len(head) - 3:
            return False
    return sum(byte < 32 and byte not in b"\t\n\r\f\x1b" for byte in head) == 0
