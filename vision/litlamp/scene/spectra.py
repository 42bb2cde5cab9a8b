"""Lamp spectra and camera sensitivities, parametrised and drawn at random on one 5 nm grid.

No measured curve is stored. The observer is the analytic one of Wyman, Sloan and Shirley, "Simple Analytic
Approximations to the CIE XYZ Color Matching Functions", Journal of Computer Graphics Techniques 2(2), 2013,
table 1 (multi-lobe). Lamps are drawn so that they fall within the signal colours of ICAO Annex 14, Appendix
1; camera sensitivities are smooth bells with the neighbours' crosstalk (plausible, no source).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from litlamp.scene.light import GlowColour, Source

Spectrum = NDArray[np.float64]

STEP = 5.0
NM: Spectrum = np.arange(390.0, 731.0, STEP)
"""Wavelengths, nm; every spectrum here is sampled on them."""

SRGB_WHITE = np.array([0.9505, 1.0, 1.0890])
XYZ_TO_SRGB = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)  # both IEC 61966-2-1


def _lobe(mean: float, below: float, above: float) -> Spectrum:
    """A bell of two halves: deviations `below` and `above` the mean, nm."""
    lobe: Spectrum = np.exp(-0.5 * ((NM - mean) / np.where(mean > NM, below, above)) ** 2)
    return lobe


def _edge(at: float, width: float) -> Spectrum:
    """What a sharp-cut filter passes: nothing below, everything above."""
    edge: Spectrum = 1.0 / (1.0 + np.exp(-(NM - at) / width))
    return edge


@cache
def observer() -> NDArray[np.float64]:
    """CIE 1931 x-bar, y-bar, z-bar, shape (3, len(NM)): Wyman, Sloan and Shirley's approximation."""
    x = (
        1.056 * _lobe(599.8, 1 / 0.0264, 1 / 0.0323)
        + 0.362 * _lobe(442.0, 1 / 0.0624, 1 / 0.0374)
        - 0.065 * _lobe(501.1, 1 / 0.0490, 1 / 0.0382)
    )
    y = 0.821 * _lobe(568.8, 1 / 0.0213, 1 / 0.0247) + 0.286 * _lobe(530.9, 1 / 0.0613, 1 / 0.0322)
    z = 1.217 * _lobe(437.0, 1 / 0.0845, 1 / 0.0278) + 0.681 * _lobe(459.0, 1 / 0.0385, 1 / 0.0725)
    return np.stack([x, y, z])


def chromaticity(spectrum: Spectrum) -> tuple[float, float]:
    """CIE 1931 x, y of a light."""
    xyz = observer() @ spectrum
    return float(xyz[0] / xyz.sum()), float(xyz[1] / xyz.sum())


def planck(kelvin: float) -> Spectrum:
    """Relative spectral power of a black body, 1 at 560 nm (Planck's law, c2 = 1.4388e-2 m K)."""
    power: Spectrum = (560.0 / NM) ** 5 * (
        np.expm1(1.4388e7 / (560.0 * kelvin)) / np.expm1(1.4388e7 / (NM * kelvin))
    )
    return power


@cache
def daylight() -> Spectrum:
    """A stand-in for D65: a black body of 6504 K with the sky's weaker violet."""
    return planck(6504.0) * (1 - 0.25 * _lobe(390, 25, 25))


def lamp_spectrum(
    colour: GlowColour, source: Source, rng: np.random.Generator, *, model: bool = False
) -> Spectrum:
    """One lamp's relative spectrum: a hot filament behind a roundel, or a light-emitting diode.

    `model` gives the lamps of a model layout, whose green may be the yellow-green of older diodes and whose
    white is a bare small bulb's: outside the signal colours, as on real layouts.
    """
    u = rng.uniform
    if source == "led":
        if colour in ("lunar", "white"):
            # A blue pump behind phosphor; the share of blue sets the colour temperature.
            share = u(1.25, 1.8) if colour == "lunar" else u(0.3, 1.5)
            return _lobe(u(553, 562), 45, u(72, 85)) + share * _lobe(u(447, 457), 10, 12)
        if colour == "green":
            if model and rng.random() < 0.7:
                return _lobe(u(562, 572), 10, 11)
            return _lobe(497 + 24 * u() ** 1.5, u(11, 15), u(14, 18))  # most are near 505
        peak = {"red": u(618, 643), "yellow": u(590.7, 595.5), "amber": u(590, 601), "blue": u(462, 475)}
        width = u(6.5, 9)
        return _lobe(peak[colour], width * 1.15, width * 0.85)  # the long-wave side falls faster
    filament = planck(u(2400, 2856))
    if colour == "red":
        return filament * _edge(u(604, 630), u(4, 7))
    if colour in ("yellow", "amber"):
        return filament * _edge(u(550, 562), u(4, 9))
    if colour == "green":
        tail = u(0.0, 0.03) * _edge(690, 10)  # copper glass passes a little deep red again
        return filament * (_lobe(u(495, 506), u(24, 32), u(24, 30)) + tail)
    if colour == "lunar":
        if model:
            return planck(u(2600, 3200))
        # Bluish glass that lifts the bulb to the white of the moon.
        target = u(4300, 6200)
        return planck(target) * (1 - u(0.0, 0.12) * _lobe(590, 25, 25))
    if colour == "blue":
        return filament * _lobe(u(455, 470), 22, 22)
    return planck(u(2400, 3200))


def sensitivities(rng: np.random.Generator) -> NDArray[np.float64]:
    """A plausible camera: red, green and blue sensitivity, shape (3, len(NM)), peaks near 1."""
    n, u = rng.normal, rng.uniform
    red = _lobe(598 + n(0, 4), 19 + n(0, 2), 42 + n(0, 4)) + u(0, 0.05) * _lobe(430, 20, 20)
    green = _lobe(530 + n(0, 4), 33 + n(0, 2.5), 36 + n(0, 2.5))
    blue = _lobe(458 + n(0, 4), 24 + n(0, 2), 32 + n(0, 2.5))
    cut = 1 - _edge(657 + n(0, 8), 9)  # the infrared-cut filter: cameras see little beyond 680 nm
    # Pigments pass a little of everything, and small pixels leak into their neighbours: green sits beside
    # both, red and blue only across the corner.
    side, corner = u(0.02, 0.13), 0.045 * u() ** 2
    mix = np.array(
        [
            [1 - side - corner, side, corner],
            [side / 2, 1 - side, side / 2],
            [corner, side, 1 - side - corner],
        ]
    )
    camera: NDArray[np.float64] = mix @ (np.stack([red, green, blue]) * cut)
    return camera


@cache
def _patches() -> NDArray[np.float64]:
    """Reflectances that a maker would balance a camera on, the first of them white, shape (N, len(NM)).

    Smooth ones at random, and the strongest reds, yellows and greens that paints reach.
    """
    rng = np.random.default_rng(7)
    rows = [np.ones_like(NM)]
    for _ in range(70):
        waves = [rng.uniform(-1, 1) * _lobe(rng.uniform(390, 730), w, w) for w in rng.uniform(25, 90, 4)]
        rows.append(1 / (1 + np.exp(-2.5 * np.sum(waves, 0) - rng.uniform(-1, 1))))
    rows += [_edge(at, 7) for at in np.arange(540.0, 636.0, 8.0)]
    rows += [_lobe(at, 25, 25) for at in (500.0, 515.0, 530.0)]
    return np.stack(rows)


@cache
def _wanted() -> NDArray[np.float64]:
    """The patches in daylight as linear sRGB, shape (N, 3)."""
    xyz = _patches() * daylight() @ observer().T
    # Scale X and Z so that daylight is sRGB's white whatever the approximations.
    xyz *= SRGB_WHITE / xyz[0]
    srgb = xyz @ XYZ_TO_SRGB.T
    # What sRGB cannot show is asked for only at its edge.
    wanted: NDArray[np.float64] = np.maximum(srgb / srgb[0], -0.02)
    return wanted


def balanced(spectra: NDArray[np.float64], camera: NDArray[np.float64]) -> NDArray[np.float64]:
    """Camera raw after daylight white balance, (N, 3), of lights (N, len(NM)).

    Scaled so that daylight of luminance 1 is (1, 1, 1); see `luminance_one`.
    """
    white = camera @ daylight() / (observer()[1] @ daylight())
    raw: NDArray[np.float64] = spectra @ camera.T / white
    return raw


def luminance_one(spectra: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same spectra (N, len(NM)) with CIE luminance 1 each."""
    scaled: NDArray[np.float64] = spectra / (spectra @ observer()[1])[:, None]
    return scaled


def colour_matrix(camera: NDArray[np.float64]) -> NDArray[np.float64]:
    """3x3, balanced raw to linear sRGB, fitted on reflectances in daylight; white stays white."""
    seen = _patches() * daylight() @ camera.T
    raw = seen / seen[0]
    weight = np.ones((len(raw), 1))
    weight[0] = 50.0
    solved, *_ = np.linalg.lstsq(raw * weight, _wanted() * weight, rcond=None)
    matrix: NDArray[np.float64] = solved.T
    return matrix


def cast(kelvin: float, camera: NDArray[np.float64]) -> NDArray[np.float64]:
    """Balanced raw (3,) of a white surface under a black body's light, green at 1: what balance must undo."""
    raw = balanced(planck(kelvin)[None], camera)[0]
    tint: NDArray[np.float64] = raw / raw[1]
    return tint
