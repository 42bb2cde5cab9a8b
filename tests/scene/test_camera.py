"""The camera: what over-exposure does to lamps, metering, balance, noise, and that nothing is written to."""

import warnings
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import pytest

from litlamp.scene import spectra
from litlamp.scene.camera import Camera, draw_camera, expose, metered
from litlamp.scene.codec import Saving
from litlamp.scene.develop import Look, Sensor, develop, noise, sense, sharpened
from litlamp.scene.lens import Lens
from litlamp.scene.light import LIGHTS, Glow, GlowColour, Light, LitScene, Source, Weather

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

Array = np.ndarray[Any, Any]


def _curves(camera: str) -> Array:
    """A camera measured by NPL and bundled with colour-science, or one drawn here by its seed."""
    if camera.isdigit():
        return spectra.sensitivities(np.random.default_rng(int(camera)))
    shape = colour.SpectralShape(spectra.NM[0], spectra.NM[-1], spectra.STEP)
    return np.asarray(colour.MSDS_CAMERA_SENSITIVITIES[camera].copy().align(shape).values.T)


def _bell(peak: float, sigma: float) -> Array:
    return np.asarray(np.exp(-0.5 * ((spectra.NM - peak) / sigma) ** 2))


LAMPS = {
    "red": _bell(625, 8),
    "yellow": _bell(591, 8),
    "green": _bell(505, 14),
    "lunar": _bell(557, 60) + 1.4 * _bell(452, 11),
}


def _hue(rgb: Array) -> tuple[float, float]:
    """Hue, degrees from -90 to 270, and saturation of HSV of the mean of a picture."""
    one = rgb.reshape(-1, 3).mean(0).astype(np.float32).reshape(1, 1, 3) / 255
    h, s, _ = cv2.cvtColor(one, cv2.COLOR_RGB2HSV)[0, 0]
    return float((h + 90) % 360 - 90), float(s)


def _core(lamp: str, curves: Array, times: float) -> tuple[float, float]:
    """Hue and saturation of a lamp exposed so many times over the point at which its raw first clips."""
    raw = spectra.balanced(spectra.luminance_one(LAMPS[lamp][None]), curves)[0]
    flat = np.tile(np.asarray(raw / raw.max() * times, np.float32), (8, 8, 1))
    seen = sense(flat, Sensor(shot=0, read=0), np.random.default_rng(0))
    return _hue(develop(seen, spectra.colour_matrix(curves), Look()))


CAMERAS = ["Nikon 5100 (NPL)", "0", "1", "2", "3", "4"]


def test_a_measured_cameras_red_core_passes_for_yellow() -> None:
    """NPL's measured sensitivities: at 4x a red core has the hue of a well-exposed yellow, at 16x that of
    an over-exposed one."""
    curves = _curves("Nikon 5100 (NPL)")
    assert _core("red", curves, 4)[0] == pytest.approx(_core("yellow", curves, 1)[0], abs=8)
    assert _core("red", curves, 16)[0] == pytest.approx(_core("yellow", curves, 16)[0], abs=8)


def test_drawn_cameras_do_as_the_measured_one() -> None:
    """Half of them turn a red core as far as the measured one or further."""
    measured = _curves("Nikon 5100 (NPL)")
    drawn = [_curves(str(seed)) for seed in range(60)]
    for times in (2, 4, 8, 16):
        hues = [_core("red", curves, times)[0] for curves in drawn]
        assert np.median(hues) == pytest.approx(_core("red", measured, times)[0], abs=12)
        assert min(hues) < _core("red", measured, times)[0] < max(hues) + 1


@pytest.mark.parametrize("camera", CAMERAS)
def test_a_red_core_turns_from_red_towards_yellow_or_white(camera: str) -> None:
    cores = [_core("red", _curves(camera), t) for t in (0.5, 2, 4, 8, 16, 64)]
    turned = [abs(hue - cores[0][0]) + 60 * (1 - saturation) for hue, saturation in cores]
    assert turned[-1] > turned[2] > turned[0] == pytest.approx(0, abs=25)
    assert cores[0][0] < 10 and cores[0][1] > 0.75
    assert cores[-1][0] > 30 or cores[-1][1] < 0.3


@pytest.mark.parametrize("camera", CAMERAS)
def test_green_and_lunar_turn_white(camera: str) -> None:
    """The same source: green is white from 8x, lunar white from 2x."""
    curves = _curves(camera)
    assert _core("green", curves, 0.5)[1] > 0.8
    assert 140 < _core("green", curves, 0.5)[0] < 180
    assert _core("green", curves, 16)[1] < 0.12
    assert _core("lunar", curves, 2)[1] < 0.1
    if not camera.isdigit():
        assert _core("green", curves, 8)[1] < 0.05


@pytest.mark.parametrize("lamp", ["red", "yellow", "green"])
def test_below_clipping_the_hue_is_kept(lamp: str) -> None:
    curves = _curves("1")
    hues = [_core(lamp, curves, t)[0] for t in (0.06, 0.12, 0.25)]
    assert max(hues) - min(hues) < 4


def _lamp(
    colour_name: GlowColour = "red",
    luminance: float = 1.0,
    *,
    light: Light = "day",
    ground: float = 0.2,
    size: tuple[int, int] = (64, 64),
    source: Source = "led",
    weather: Weather = "clear",
    kelvin: float = 6500.0,
) -> LitScene:
    """A soft lamp some 5 px in radius in the middle of a grey field; nothing of it can be written to."""
    h, w = size
    y, x = np.mgrid[:h, :w].astype(np.float32)
    away = np.hypot(x - w / 2, y - h / 2)
    mask = np.asarray(np.exp(-((away / 5) ** 2)), np.float32)
    radiance = np.full((h, w, 3), ground, np.float32)
    radiance.setflags(write=False)
    mask.setflags(write=False)
    glow = Glow(w / 2, h / 2, mask, (0, 0), colour_name, source, luminance)
    return LitScene(radiance, (glow,), light, kelvin, weather)


def _plain(seed: int = 0, **other: Any) -> Camera:
    """A camera without noise, halo or blur."""
    curves = spectra.sensitivities(np.random.default_rng(seed))
    given: dict[str, Any] = {
        "curves": curves,
        "matrix": spectra.colour_matrix(curves),
        "adapt": 0.0,
        "sensor": Sensor(shot=0, read=0),
        "saving": Saving(()),
    }
    return Camera(**{**given, **other})


def test_the_ring_round_a_clipped_core_keeps_the_hue() -> None:
    for name, low, high in (("red", -25, 15), ("green", 110, 185), ("yellow", 15, 40)):
        picture = expose(_lamp(name, 15.0, ground=0.02), _plain(), np.random.default_rng(0), lamps=1)  # type: ignore[arg-type]
        y, x = np.mgrid[:64, :64]
        away = np.hypot(x - 32, y - 32)
        core = _hue(picture[away < 2])
        ring = [_hue(picture[(away >= r) & (away < r + 1)])[0] for r in (7, 9, 11)]
        assert any(low < hue < high for hue in ring), (name, ring)
        assert core[1] < 0.2 or not low < core[0] < high, (name, core)


def test_exposure_makes_brighter() -> None:
    scene = _lamp(luminance=0.5)
    means = [expose(scene, _plain(exposure=e), np.random.default_rng(0)).mean() for e in (-3, -2, -1, 0, 1)]
    assert means == sorted(means)
    assert means[-1] > 2 * means[0]


@pytest.mark.parametrize("light", LIGHTS)
def test_one_seed_one_picture(light: Light) -> None:
    def take(seed: int) -> Array:
        rng = np.random.default_rng(seed)
        return expose(_lamp(light=light, weather="rain"), draw_camera(rng, light), rng)

    for seed in range(8):
        assert np.array_equal(take(seed), take(seed))
    assert not np.array_equal(take(1), take(2))


@pytest.mark.parametrize("size", [(256, 256), (1, 1), (2, 3), (5, 64), (97, 33)])
def test_any_size_comes_back_as_it_was(size: tuple[int, int]) -> None:
    for seed in range(25):
        rng = np.random.default_rng(seed)
        light = LIGHTS[seed % len(LIGHTS)]
        scene = _lamp(light=light, weather="rain" if seed % 2 else "clear", size=size, luminance=30)
        picture = expose(scene, draw_camera(rng, light, fine=seed % 5 == 0), rng)
        assert picture.shape == (*size, 3)
        assert picture.dtype == np.uint8
        assert picture.flags.c_contiguous


def test_the_scene_is_never_written_to() -> None:
    scene = _lamp(luminance=50)  # its arrays refuse writing
    before = scene.radiance.copy()
    for seed in range(20):
        rng = np.random.default_rng(seed)
        expose(scene, draw_camera(rng, "night"), rng)
    assert np.array_equal(scene.radiance, before)


def test_a_scene_without_lamps_and_one_with_lamps_outside() -> None:
    scene = _lamp()
    none = replace(scene, glows=())
    outside = replace(scene, glows=(replace(scene.glows[0], origin=(500, -900)),))
    a, b = (expose(s, _plain(), np.random.default_rng(0), lamps=0) for s in (none, outside))
    assert np.array_equal(a, b)


def test_noise_grows_with_gain() -> None:
    scene = replace(_lamp(), glows=())

    def spread(gain: float, mosaic: int | None) -> float:
        camera = _plain(sensor=Sensor(gain=gain, read=0, shot=2e-4, mosaic=mosaic))
        return float(expose(scene, camera, np.random.default_rng(0)).std())

    for mosaic in (None, 0, 1, 2, 3):
        spreads = [spread(g, mosaic) for g in (1, 4, 16)]
        assert spreads[0] < spreads[1] < spreads[2]
        # Shot noise: four times the gain, twice the noise, within what rounding to codes leaves.
        assert spreads[2] / spreads[1] == pytest.approx(2, rel=0.2)


def test_noise_is_normal() -> None:
    field = noise((300, 300, 3), np.random.default_rng(0))
    assert abs(float(field.mean())) < 0.02
    assert float(field.std()) == pytest.approx(1, abs=0.02)
    assert not np.array_equal(field, noise((300, 300, 3), np.random.default_rng(1)))


@pytest.mark.parametrize("mosaic", [0, 1, 2, 3])
def test_the_mosaic_keeps_flat_colours(mosaic: int) -> None:
    flat = np.tile(np.array([0.2, 0.5, 0.8], np.float32), (16, 16, 1))
    seen = sense(flat.copy(), Sensor(shot=0, read=0, mosaic=mosaic), np.random.default_rng(0))
    assert np.abs(seen[2:-2, 2:-2] - flat[2:-2, 2:-2]).max() < 0.001


def test_a_merged_exposure_keeps_the_hue_of_a_bright_red() -> None:
    scene = _lamp("red", 1.5, ground=0.05)
    core = (slice(30, 34), slice(30, 34))
    single = expose(scene, _plain(), np.random.default_rng(0), lamps=1)[core]
    merged = _plain(sensor=Sensor(shot=0, read=0, headroom=8), look=Look(keep_hue=True))
    kept = expose(scene, merged, np.random.default_rng(0), lamps=1)[core]
    assert _hue(kept)[0] < _hue(single)[0] - 8


def test_balance_follows_the_light_as_far_as_it_can() -> None:
    lamplight = replace(_lamp(kelvin=2400.0), glows=())

    def warmth(**other: Any) -> float:
        r, _, b = expose(lamplight, _plain(**other), np.random.default_rng(0))[0, 0].astype(float)
        return float(r - b)

    full = warmth(adapt=1.0, reach=(2000.0, 9000.0))
    stopped = warmth(adapt=1.0, reach=(3500.0, 9000.0))
    none = warmth(adapt=0.0)
    assert abs(full) < 4
    assert 4 < stopped < none


def test_balance_turns_lunar_blue_under_warm_light() -> None:
    """A lamp of daylight's colour in a picture balanced for sodium light."""
    scene = _lamp("lunar", 0.5, ground=0.02, kelvin=2400.0)
    r, _, b = expose(scene, _plain(adapt=1.0), np.random.default_rng(0), lamps=3)[32, 32].astype(float)
    assert b > r + 40


def test_a_meter_brings_scenes_together_but_leaves_night_dark() -> None:
    dark, bright = _lamp(ground=0.1), _lamp(ground=0.8)
    assert metered(dark, 0.5) > metered(bright, 0.5)
    assert metered(dark, 0.5) * 0.1 < metered(bright, 0.5) * 0.8
    assert metered(dark, 0.0) == metered(bright, 0.0)
    assert metered(_lamp(light="night"), 0.5) < metered(_lamp(light="dusk"), 0.5) < metered(_lamp(), 0.5)


def test_lamps_of_a_clip_keep_their_colour() -> None:
    scene = _lamp("green", 0.4)
    a, b = (expose(scene, _plain(), np.random.default_rng(i), lamps=9) for i in range(2))
    assert np.array_equal(a, b)
    other = expose(scene, _plain(), np.random.default_rng(0), lamps=10)
    assert not np.array_equal(a, other)


def test_model_lamps_can_be_yellow_green() -> None:
    scene = _lamp("green", 0.3, ground=0.02)
    hues = [_hue(expose(scene, _plain(), np.random.default_rng(0), lamps=i, model=True)[30:34, 30:34])[0]
            for i in range(12)]  # fmt: skip
    assert min(hues) < 110 < max(hues)


def test_glare_reaches_far_and_is_the_lamps_colour() -> None:
    scene = _lamp("red", 40.0, ground=0.0)
    clean = expose(scene, _plain(), np.random.default_rng(0), lamps=1)
    greasy = _plain(lens=Lens(glare=(0.05, 0.03, 0.02, 0.01)))
    hazy = expose(scene, greasy, np.random.default_rng(0), lamps=1)
    assert clean[10:16, 10:16].max() == 0
    assert hazy[10:16, 10:16, 0].min() > 3
    hue = _hue(hazy[32:33, 14:18])[0]
    assert -40 < hue < 20


def test_saturation_and_tone_look() -> None:
    raw = np.tile(np.array([0.5, 0.3, 0.2], np.float32), (8, 8, 1))
    eye = np.eye(3)
    dull, plain, rich = (_hue(develop(raw.copy(), eye, Look(saturation=s)))[1] for s in (0.5, 1.0, 1.5))
    assert dull < plain < rich
    assert _hue(develop(raw.copy(), eye, Look(vibrance=0.8)))[1] > plain
    assert develop(raw * 0, eye, Look(lift=0.05)).min() >= 12
    # IEC 61966-2-1: linear 0.5 is code 188.
    assert develop(raw, eye, Look())[0, 0, 0] == 188


def test_smearing_colour_costs_small_lamps_theirs() -> None:
    raw = np.full((33, 33, 3), 0.05, np.float32)
    raw[15:18, 15:18] = (0.8, 0.05, 0.05)
    sharp = _hue(develop(raw.copy(), np.eye(3), Look())[15:18, 15:18])[1]
    smeared = _hue(develop(raw.copy(), np.eye(3), Look(smear=2.0))[15:18, 15:18])[1]
    assert smeared < 0.8 * sharp


def test_whitening_bleaches_bright_yellow_not_red() -> None:
    bright = np.tile(np.array([1.0, 0.95, 0.2], np.float32), (8, 8, 1))
    red = np.tile(np.array([0.9, 0.02, 0.02], np.float32), (8, 8, 1))
    for raw, faded in ((bright, True), (red, False)):
        before = _hue(develop(raw.copy(), np.eye(3), Look()))[1]
        after = _hue(develop(raw.copy(), np.eye(3), Look(whiten=0.8)))[1]
        assert (after < 0.6 * before) == faded


def test_sharpening_makes_halos() -> None:
    step = np.full((16, 16, 3), 80, np.uint8)
    step[:, 8:] = 160
    out = sharpened(step, 1.0, 1.0)
    assert out[8, 7, 0] < 75 and out[8, 8, 0] > 165
    assert sharpened(step, 0.0, 1.0) is step
