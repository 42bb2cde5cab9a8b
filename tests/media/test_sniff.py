from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from litlamp.media.sniff import HEAD_BYTES, sniff


def _written(kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.full((8, 8, 3), 90, np.uint8)).save(out, kind, **options)
    return out.getvalue()


@pytest.mark.parametrize(
    ("pillow_name", "name"),
    [
        ("JPEG", "JPEG"),
        ("PNG", "PNG"),
        ("WEBP", "WebP"),
        ("TIFF", "TIFF"),
        ("AVIF", "AVIF"),
        ("BMP", "BMP"),
        ("GIF", "GIF"),
    ],
)
def test_stills_as_a_library_writes_them(pillow_name: str, name: str) -> None:
    found = sniff(_written(pillow_name)[:HEAD_BYTES])
    assert (found.kind, found.name) == ("photo", name)


def test_big_tiff() -> None:
    assert sniff(_written("TIFF", big_tiff=True)).name == "TIFF"


def test_heic() -> None:
    pillow_heif = pytest.importorskip("pillow_heif")
    out = io.BytesIO()
    pillow_heif.from_pillow(Image.new("RGB", (64, 64))).save(out)
    assert (sniff(out.getvalue()).kind, sniff(out.getvalue()).name) == ("photo", "HEIC")


@pytest.mark.parametrize(
    ("container", "codec", "name"),
    [
        ("mp4", "mpeg4", "MP4"),
        ("mov", "mpeg4", "QuickTime"),
        ("matroska", "mpeg4", "Matroska or WebM"),
        ("avi", "mpeg4", "AVI"),
        ("mpegts", "mpeg2video", "MPEG transport stream"),
        ("mpeg", "mpeg2video", "MPEG"),
        ("flv", "flv1", "Flash video"),
    ],
)
def test_clips_as_a_library_writes_them(container: str, codec: str, name: str) -> None:
    import av

    out = io.BytesIO()
    with av.open(out, "w", format=container) as clip:
        stream = clip.add_stream(codec, rate=25)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        for _ in range(3):
            clip.mux(stream.encode(av.VideoFrame.from_ndarray(np.zeros((48, 64, 3), np.uint8), "rgb24")))
        clip.mux(stream.encode(None))
    found = sniff(out.getvalue()[:HEAD_BYTES])
    assert (found.kind, found.name) == ("clip", name)


@pytest.mark.parametrize(
    ("head", "name"),
    [
        (b"", "empty"),
        (b"BMore words", "text"),
        ("signal à Hartsmere".encode() * 40, "text"),
        (b"<?xml version='1.0'?><svg/>", "SVG"),
        (b"\x7fELF\x02\x01\x01" + bytes(20), "unknown"),
        (b"RIFF\x24\0\0\0WAVEfmt ", "sound"),
        (b"\0\0\0\x18ftypcrx \0\0\0\1", "camera raw"),
        (b"PK\x03\x04....", "ZIP archive"),
        (b"\xff\x0a\xfa\x1f", "JPEG XL"),
    ],
)
def test_neither(head: bytes, name: str) -> None:
    assert (sniff(head).kind, sniff(head).name) == (None, name)


def test_text_whose_last_character_is_cut_by_the_end_of_the_head() -> None:
    head = ("x" * (HEAD_BYTES - 1) + "é").encode()
    assert sniff(head[:HEAD_BYTES]).name == "text"


def test_every_shorter_head_is_answered() -> None:
    for whole in (
        _written("JPEG"),
        _written("AVIF"),
        _written("WEBP"),
        b"G" * 400,
        b"\0\0\0\x18ftypmif1avif",
    ):
        for length in range(len(whole[:HEAD_BYTES])):
            sniff(whole[:length])
