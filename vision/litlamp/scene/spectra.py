"""Lamp spectra and camera sensitivities, parametrised and drawn at random, on one 10 nm grid.

The observer is the multi-lobe approximation of Wyman, Sloan and Shirley, "Simple Analytic Approximations to
the CIE XYZ Color Matching Functions", Journal of Computer Graphics Techniques 2(2), 2013.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from litlamp.scene.light import GlowColour, Source

Spectrum = NDArray[np.float64]

NM: Spectrum = np.arange(390.0, 731.0, 10.0)
"""Wavelengths, nm; every spectrum here is sampled on them."""

XYZ_TO_SRGB = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)  # IEC 61966-2-1


def _lobe(mean: float, below: float, above: float) -> Spectrum:
    t = (NM - mean) * np.where(mean > NM, below, above)
    lobe: Spectrum = np.exp(-0.5 * t * t)
    return lobe


@cache
def observer() -> NDArray[np.float64]:
    """CIE 1931 x-bar, y-bar, z-bar, shape (3, len(NM))."""
    x = (
        0.362 * _lobe(442.0, 0.0624, 0.0374)
        + 1.056 * _lobe(599.8, 0.0264, 0.0323)
        - 0.065 * _lobe(501.1, 0.0490, 0.0382)
    )
    y = 0.821 * _lobe(568.8, 0.0213, 0.0247) + 0.286 * _lobe(530.9, 0.0613, 0.0322)
    z = 1.217 * _lobe(437.0, 0.0845, 0.0278) + 0.681 * _lobe(459.0, 0.0385, 0.0725)
    return np.stack([x, y, z])


def planck(kelvin: float) -> Spectrum:
    """Relative spectral power of a black body, 1 at 560 nm."""

    def power(nm: Spectrum | float) -> Spectrum | float:
        result: Spectrum | float = 1.0 / (nm**5 * (np.exp(1.4388e7 / (nm * kelvin)) - 1.0))
        return result

    relative: Spectrum = np.asarray(power(NM)) / power(560.0)
    return relative


def _gauss(mean: float, width: float) -> Spectrum:
    bell: Spectrum = np.exp(-0.5 * ((NM - mean) / width) ** 2)
    return bell


def _edge(at: float, width: float) -> Spectrum:
    edge: Spectrum = 1.0 / (1.0 + np.exp(-(NM - at) / width))
    return edge


def lamp_spectrum(colour: GlowColour, source: Source, rng: np.random.Generator) -> Spectrum:
    """One lamp's relative spectrum: a hot filament behind a coloured roundel, or a light-emitting diode."""
    u = rng.uniform
    if source == "led":
        if colour == "lunar" or colour == "white":
            warm = planck(u(5500, 7500) if colour == "lunar" else u(2700, 6500))
            return np.asarray(warm * _gauss(565, 65) + u(0.5, 0.9) * _gauss(452, 10) * warm.max(), np.float64)
        peak = {
            "red": u(618, 645),
            "yellow": u(587, 596),
            "green": u(495, 520),
            "amber": u(588, 597),
            "blue": u(462, 475),
        }
        return _gauss(peak[colour], u(7, 9) if colour != "green" else u(12, 16))
    filament = planck(u(2400, 2856))
    if colour == "red":
        return filament * _edge(u(608, 625), u(4, 9))
    if colour in ("yellow", "amber"):
        return filament * _edge(u(552, 572), u(8, 14))
    if colour == "green":
        return filament * _gauss(u(500, 512), u(26, 36))
    if colour == "lunar":
        return np.asarray(planck(u(4200, 5500)), np.float64) * (1 - 0.35 * _gauss(590, 30))
    if colour == "blue":
        return filament * _gauss(u(455, 470), 22)
    return planck(u(2400, 3200))


def sensitivities(rng: np.random.Generator) -> NDArray[np.float64]:
    """A plausible camera: red, green and blue sensitivity, shape (3, len(NM)), peaks near 1."""
    n = rng.normal
    red = (
        _gauss(600 + n(0, 6), 30 + n(0, 3))
        + abs(n(0.05, 0.03)) * _gauss(540, 30)
        + abs(n(0.03, 0.02)) * _gauss(430, 20)
    )
    green = _gauss(533 + n(0, 5), 37 + n(0, 3)) + abs(n(0.03, 0.02)) * _gauss(610, 30)
    blue = _gauss(458 + n(0, 5), 27 + n(0, 3)) + abs(n(0.04, 0.02)) * _gauss(530, 25)
    # An infrared-cut filter: cameras see little beyond 680 nm.
    cut: Spectrum = 1 - _edge(660 + n(0, 8), 9)
    return np.stack([red, green, blue]) * cut


def daylight() -> Spectrum:
    """A stand-in for D65: a black body of 6500 K with the sky's weaker violet."""
    return planck(6504.0) * (1 - 0.25 * _gauss(390, 25))


@cache
def _patches() -> NDArray[np.float64]:
    rng = np.random.default_rng(7)
    rows = [np.ones_like(NM)]
    for _ in range(70):
        bumps = sum(rng.uniform(-1, 1) * _gauss(rng.uniform(390, 730), rng.uniform(25, 90)) for _ in range(4))
        rows.append(1 / (1 + np.exp(-2.5 * np.asarray(bumps) - rng.uniform(-1, 1))))
    return np.stack(rows)


def balanced(spectra: NDArray[np.float64], camera: NDArray[np.float64]) -> NDArray[np.float64]:
    """Camera raw after daylight white balance, (N, 3), for spectra (N, len(NM)) seen as light.

    Scaled so that daylight of luminance 1 is (1, 1, 1) and every other spectrum has luminance 1 too where it
    was normalised by `luminance_one`.
    """
    white = camera @ daylight() / (observer()[1] @ daylight())
    raw: NDArray[np.float64] = spectra @ camera.T / white
    return raw


def luminance_one(spectra: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same spectra with CIE luminance 1 each."""
    scaled: NDArray[np.float64] = spectra / (spectra @ observer()[1])[:, None]
    return scaled


def colour_matrix(camera: NDArray[np.float64]) -> NDArray[np.float64]:
    """3x3, balanced raw to linear sRGB, fitted on smooth reflectances in daylight; white stays white."""
    light = _patches() * daylight()
    raw = balanced(light, camera) / (observer()[1] @ daylight())
    xyz = light @ observer().T / (observer()[1] @ daylight())
    # Scale X and Z so that daylight is sRGB white whatever the approximations.
    xyz *= np.array([0.9505, 1.0, 1.0890]) / xyz[0]
    srgb = xyz @ XYZ_TO_SRGB.T
    srgb /= srgb[0]
    weight = np.ones(len(raw))
    weight[0] = 50.0
    solved, *_ = np.linalg.lstsq(raw * weight[:, None], srgb * weight[:, None], rcond=None)
    matrix: NDArray[np.float64] = solved.T
    return matrix
