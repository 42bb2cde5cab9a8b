"""Lamp spectra and camera sensitivities against published standards and colour-science."""

import warnings
from typing import Any

import numpy as np
import pytest

from litlamp.scene import spectra
from litlamp.scene.light import GLOW_COLOURS, GlowColour, Source

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

SHAPE = colour.SpectralShape(spectra.NM[0], spectra.NM[-1], spectra.STEP)
D65 = np.array([0.3127, 0.3290])


def _measured(name: str) -> np.ndarray[Any, Any]:
    """One of colour-science's bundled camera sensitivities, (3, wavelengths)."""
    return np.asarray(colour.MSDS_CAMERA_SENSITIVITIES[name].copy().align(SHAPE).values.T)


def test_the_observer_is_close_to_the_cie_table() -> None:
    """CIE 1931 2 degree observer, as bundled by colour-science."""
    table = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values.T
    assert np.abs(spectra.observer() - table).max() < 0.06  # peaks reach 1.06, 1.0 and 1.78


def test_a_black_body_of_2856_kelvin_is_illuminant_a() -> None:
    """CIE 15: illuminant A is a black body of about 2856 K with chromaticity 0.4476, 0.4074."""
    assert spectra.chromaticity(spectra.planck(2856)) == pytest.approx((0.4476, 0.4074), abs=0.004)


def test_planck_agrees_with_colour_science() -> None:
    ours = spectra.planck(3000)
    theirs = colour.sd_blackbody(3000, SHAPE).values
    assert ours == pytest.approx(theirs / theirs[spectra.NM == 560], rel=1e-3)


def test_daylight_is_near_d65() -> None:
    assert spectra.chromaticity(spectra.daylight()) == pytest.approx(D65, abs=0.008)


def _signal_colour(colour_name: str, x: float, y: float) -> bool:
    """ICAO Annex 14, volume I, Appendix 1, colours for aeronautical ground lights.

    The boundaries are lines; which side is inside follows from where the spectrum locus lies: red and green
    reach up to it.
    """
    if colour_name == "red":
        return y >= 0.980 - x and y <= 0.335
    if colour_name == "yellow":
        return y >= 0.382 and y >= 0.790 - 0.667 * x and y <= x - 0.120
    if colour_name == "green":
        return x <= 0.360 - 0.080 * y and x <= 0.650 * y and y >= 0.390 - 0.171 * x
    # White; its boundaries beyond x are from memory.
    return 0.285 <= x <= 0.500 and y <= min(0.440, 0.150 + 0.640 * x) and y >= min(0.050 + 0.750 * x, 0.382)


@pytest.mark.parametrize("source", ["led", "incandescent"])
@pytest.mark.parametrize("name", ["red", "yellow", "green", "lunar"])
def test_lamps_fall_within_the_signal_colours(name: GlowColour, source: Source) -> None:
    seen = [
        spectra.chromaticity(spectra.lamp_spectrum(name, source, np.random.default_rng(i))) for i in range(80)
    ]
    assert [c for c in seen if not _signal_colour(name, *c)] == []
    assert np.std(seen, 0).max() > 0.004  # and they do scatter


def test_old_diodes_of_models_are_no_signal_green() -> None:
    seen = [
        spectra.chromaticity(spectra.lamp_spectrum("green", "led", np.random.default_rng(i), model=True))
        for i in range(40)
    ]
    yellowish = [c for c in seen if not _signal_colour("green", *c)]
    assert 10 < len(yellowish) < 40


@pytest.mark.parametrize("name", GLOW_COLOURS)
@pytest.mark.parametrize("source", ["led", "incandescent"])
def test_every_lamp_gives_light(name: GlowColour, source: Source) -> None:
    light = spectra.lamp_spectrum(name, source, np.random.default_rng(1))
    assert light.shape == spectra.NM.shape
    assert light.min() >= 0
    assert light.max() > 0.1


def test_white_stays_white_through_every_camera() -> None:
    for i in range(20):
        camera = spectra.sensitivities(np.random.default_rng(i))
        daylight = spectra.luminance_one(spectra.daylight()[None])
        raw = spectra.balanced(daylight, camera)[0]
        assert raw == pytest.approx(np.ones(3), abs=1e-9)
        assert spectra.colour_matrix(camera) @ raw == pytest.approx(np.ones(3), abs=0.01)


def test_cameras_render_the_colour_checker() -> None:
    """The 24 patches as measured by the BabelColor average and bundled by colour-science: CIE 1976 Lab."""
    chart = colour.SDS_COLOURCHECKERS["BabelColor Average"]
    patches = np.stack([sd.copy().align(SHAPE).values for sd in chart.values()])
    lights = patches * spectra.daylight()
    observed = lights @ colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
    white = (
        spectra.daylight()
        @ colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
    )
    wanted = colour.XYZ_to_Lab(observed / white * spectra.SRGB_WHITE, D65)
    for i in range(12):
        camera = spectra.sensitivities(np.random.default_rng(i))
        raw = spectra.balanced(lights, camera) / (spectra.observer()[1] @ spectra.daylight())
        linear = raw @ spectra.colour_matrix(camera).T
        got = colour.XYZ_to_Lab(linear @ np.linalg.inv(spectra.XYZ_TO_SRGB).T, D65)
        error = np.linalg.norm(got - wanted, axis=1)
        assert error.mean() < 6  # a measured camera with a matrix of its own does about 3 to 5
        assert np.median(error) < 5


def test_a_measured_camera_lies_among_the_drawn_ones() -> None:
    """Raw of narrow lamps: the sensitivities NPL measured, bundled by colour-science, within the spread."""
    measured = _measured("Nikon 5100 (NPL)")
    lamps = spectra.luminance_one(
        np.stack([np.exp(-0.5 * ((spectra.NM - peak) / 9) ** 2) for peak in (510, 525, 592, 625)])
    )
    drawn = np.stack(
        [spectra.balanced(lamps, spectra.sensitivities(np.random.default_rng(i))) for i in range(300)]
    )
    real = spectra.balanced(lamps, measured)
    low, high = np.percentile(drawn, [0.5, 99.5], axis=0)
    assert (real > low * 0.9 - 0.01).all()
    assert (real < high * 1.1 + 0.01).all()


def test_a_warm_light_casts_red() -> None:
    camera = spectra.sensitivities(np.random.default_rng(0))
    warm, cold = spectra.cast(2500, camera), spectra.cast(9000, camera)
    assert warm[0] > 1.2 > warm[1] == 1.0 > 0.7 > warm[2]
    assert cold[0] < 1 < cold[2]


def test_one_seed_one_camera() -> None:
    a, b = (spectra.sensitivities(np.random.default_rng(3)) for _ in range(2))
    assert np.array_equal(a, b)
    assert not np.array_equal(a, spectra.sensitivities(np.random.default_rng(4)))
