"""Colour profiles made on the spot, from published primaries."""

from __future__ import annotations

import struct

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
