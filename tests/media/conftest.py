"""Colour profiles and clips made on the spot."""

from __future__ import annotations

import struct
from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest


def _tag_xyz(xyz: np.ndarray) -> bytes:
    return b"XYZ " + bytes(4) + b"".join(struct.pack(">i", round(float(v) * 65536)) for v in xyz)


def _matrix_profile(name: str, space: str) -> bytes:
    """An ICC v2 display profile (ICC.1:2001-04) of a space of colour-science, with its curve or sRGB's."""
    colour = pytest.importorskip("colour")
    rgb = colour.RGB_COLOURSPACES[space]
    white = np.array([0.9642, 1.0, 0.8249])  # the profile connection space's D50
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(rgb.whitepoint), white, transform="Bradford"
    )
    columns = (adapt @ rgb.matrix_RGB_to_XYZ).T
    decoding = rgb.cctf_decoding if space.startswith("Adobe") else colour.models.eotf_sRGB
    curve = np.round(decoding(np.linspace(0, 1, 1024)) * 65535).astype(">u2").tobytes()
    trc = b"curv" + bytes(4) + struct.pack(">I", 1024) + curve
    text = name.encode("ascii") + b"\0"
    tags = {
        b"desc": b"desc" + bytes(4) + struct.pack(">I", len(text)) + text + bytes(4 + 4 + 2 + 1 + 67),
        b"cprt": b"text" + bytes(4) + b"made by a test\0",
        b"wtpt": _tag_xyz(white),
        b"rXYZ": _tag_xyz(columns[0]),
        b"gXYZ": _tag_xyz(columns[1]),
        b"bXYZ": _tag_xyz(columns[2]),
        b"rTRC": trc,
        b"gTRC": trc,
        b"bTRC": trc,
    }
    table, body = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for signature, payload in tags.items():
        table += signature + struct.pack(">II", start + len(body), len(payload))
        body += payload + bytes(-len(payload) % 4)
    header = struct.pack(">I4sI4s4s4s", start + len(body), b"\0\0\0\0", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + _tag_xyz(white)[8:]
    return header.ljust(128, b"\0") + table + body


@pytest.fixture(scope="session")
def display_p3() -> bytes:
    """Display P3: the primaries of SMPTE EG 432-1, D65, sRGB's curve."""
    return _matrix_profile("a wide display", "Display P3")


@pytest.fixture(scope="session")
def plain_srgb() -> bytes:
    """sRGB (IEC 61966-2-1) under a name that does not say so."""
    return _matrix_profile("a plain display", "sRGB")


@pytest.fixture(scope="session")
def adobe_like() -> bytes:
    """The primaries and the 2.2 curve of the Adobe RGB (1998) colour image encoding."""
    return _matrix_profile("a print space", "Adobe RGB (1998)")


@pytest.fixture(scope="session")
def write_clip() -> Callable[..., Path]:
    """`write_clip(path, frames, codec=...)`: frames are lists of planes in the codes of `pix_fmt`."""
    av = pytest.importorskip("av")

    def write(
        path: Path,
        frames: Sequence[Sequence[np.ndarray]],
        *,
        codec: str = "libx264",
        pix_fmt: str = "yuv420p",
        pts: Sequence[int] | None = None,
        time_base: Fraction = Fraction(1, 25),
        matrix: int = 2,
        full: bool = False,
        curve: int = 2,
        primaries: int = 2,
        rotation: int | None = None,
        options: dict[str, str] | None = None,
        format: str | None = None,
    ) -> Path:
        # No encoder of the tests may lose or invent anything unless it is told to.
        lossless = {"libx264": {"qp": "0"}, "libx265": {"x265-params": "lossless=1:log-level=none"}}
        with av.open(str(path), "w", format=format) as container:
            stream: Any = container.add_stream(codec, rate=25, options=options or lossless.get(codec, {}))
            stream.height, stream.width = frames[0][0].shape[:2]
            stream.pix_fmt = pix_fmt
            stream.time_base = stream.codec_context.time_base = time_base
            stream.codec_context.thread_count = 1
            context = stream.codec_context
            context.colorspace, context.color_range = matrix, 2 if full else 1
            context.color_trc, context.color_primaries = curve, primaries
            if rotation is not None:
                stream.set_display_rotation(rotation)
            for index, planes in enumerate(frames):
                picture = av.VideoFrame(stream.width, stream.height, pix_fmt)
                for plane, codes in zip(picture.planes, planes, strict=True):
                    rows = np.frombuffer(plane, codes.dtype).reshape(plane.height, -1)
                    rows[:, : plane.width] = codes
                picture.pts = index if pts is None else pts[index]
                picture.time_base = time_base
                picture.colorspace, picture.color_range = matrix, 2 if full else 1
                picture.color_trc, picture.color_primaries = curve, primaries
                container.mux(stream.encode(picture))
            container.mux(stream.encode())
        return path

    return write
