"""Transfer curves and primaries of video: from HLG, PQ and wide-gamut codes to sRGB."""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from litlamp.media.frame import Pixels

Curve = Literal["sdr", "hlg", "pq"]
Primaries = Literal["bt709", "bt2020", "p3"]

Codes = NDArray[np.uint16]
Light = NDArray[np.float32]

_TOP = 65535  # R'G'B' of 1.0, as 16-bit codes
_STRIP = 64  # rows at a time, so that the light of a 4K frame never stands in memory whole

# ITU-R BT.2408-7: HDR reference white, and the peak of the display that HLG and most PQ are made for.
REFERENCE_WHITE = 203.0
PEAK = 1000.0

# Where compression of highlights begins, as a share of reference white; below it light is left as it is.
_KNEE = 0.5

# Linear RGB to linear BT.709, from the primaries of ITU-R BT.2020 and SMPTE EG 432-1 (both D65).
_TO_BT709: dict[Primaries, NDArray[np.float32]] = {
    "bt2020": np.array(
        [
            [1.660491, -0.587641, -0.072850],
            [-0.124550, 1.132900, -0.008349],
            [-0.018151, -0.100579, 1.118730],
        ],
        dtype=np.float32,
    ),
    "p3": np.array(
        [[1.224940, -0.224940, 0.0], [-0.042057, 1.042057, 0.0], [-0.019638, -0.078636, 1.098274]],
        dtype=np.float32,
    ),
}

# ITU-R BT.2100-2, table 5: the luminance of BT.2020 RGB, for HLG's system gamma.
_LUMINANCE_2020 = np.array([0.2627, 0.6780, 0.0593], dtype=np.float32)


def to_srgb(codes: Codes, curve: Curve, primaries: Primaries) -> Pixels:
    """R'G'B' of a video as sRGB pixels.

    HLG and PQ are brought to display light (ITU-R BT.2100-2, HLG with the system gamma 1.2 of a 1000 cd/m2
    display), and highlights are compressed by one factor for the three channels, so that a lamp keeps its
    hue where clipping would turn red into yellow.

    Parameters
    ----------
    codes : uint16, shape (H, W, 3), colour order R G B, 65535 for 1.0.

    Returns
    -------
    uint8, shape (H, W, 3), colour order R G B
    """
    out = np.empty(codes.shape, dtype=np.uint8)
    for top in range(0, codes.shape[0], _STRIP):
        light = _decoding(curve)[codes[top : top + _STRIP]]
        if curve == "hlg":
            scene = light @ _LUMINANCE_2020
            light = light * (PEAK / REFERENCE_WHITE * scene**0.2)[..., None]
        if primaries != "bt709":
            light = np.maximum(light @ _TO_BT709[primaries].T, 0.0)
        if curve != "sdr":
            light = light * _compression(light.max(axis=-1))[..., None]
        out[top : top + _STRIP] = _encoding()[np.minimum(light * _TOP + 0.5, _TOP).astype(np.uint16)]
    return out


@lru_cache(maxsize=3)
def _decoding(curve: Curve) -> Light:
    """A table from 16-bit codes to linear light: of the scene for HLG, else 1.0 is reference white."""
    code = np.arange(_TOP + 1) / _TOP
    if curve == "hlg":
        light = hlg_scene_light(code)
    elif curve == "pq":
        light = pq_display_light(code) / REFERENCE_WHITE
    else:  # SDR video is shown as it stands by every player: its codes are taken as sRGB's
        light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return light.astype(np.float32)


@lru_cache(maxsize=1)
def _encoding() -> Pixels:
    """A table from 16-bit linear light to sRGB codes (IEC 61966-2-1)."""
    light = np.arange(_TOP + 1) / _TOP
    code = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(code * 255).astype(np.uint8)


def hlg_scene_light(code: NDArray[np.float64]) -> NDArray[np.float64]:
    """Inverse HLG OETF, ITU-R BT.2100-2 table 5: signal 0 to 1 to scene light 0 to 1."""
    a = 0.17883277
    b, c = 1 - 4 * a, 0.5 - a * np.log(4 * a)
    return np.where(code <= 0.5, code**2 / 3, (np.exp((code - c) / a) + b) / 12)


def pq_display_light(code: NDArray[np.float64]) -> NDArray[np.float64]:
    """PQ EOTF, ITU-R BT.2100-2 table 4: signal 0 to 1 to display light in cd/m2."""
    m1, m2 = 2610 / 16384, 2523 / 4096 * 128
    c1, c2, c3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
    root = code ** (1 / m2)
    return np.asarray(10000 * (np.maximum(root - c1, 0) / (c2 - c3 * root)) ** (1 / m1))


def _compression(brightest: Light) -> Light:
    """The factor for a pixel by its brightest channel: 1 up to the knee, then a shoulder up to the peak."""
    span = (PEAK / REFERENCE_WHITE - _KNEE) / (1 - _KNEE)
    over = np.maximum(brightest - _KNEE, 0) / (1 - _KNEE)
    shown = _KNEE + (1 - _KNEE) * over * (1 + over / span**2) / (1 + over)
    # Above the knee only; never over 1.0, so that the ratio of the channels stays whatever the peak.
    factor = np.minimum(shown, 1.0) / np.maximum(brightest, _KNEE)
    return np.where(brightest > _KNEE, factor, np.float32(1.0)).astype(np.float32)
