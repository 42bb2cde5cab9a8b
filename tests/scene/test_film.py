import numpy as np
import pytest

from litlamp.scene.camera import draw_camera, metered
from litlamp.scene.film import Film, Shutter, draw_pumping
from litlamp.scene.light import LitScene


def film(seed=1, **kw):
    return Film(draw_camera(np.random.default_rng(seed), "day", fine=True), 5500.0, 7, **kw)


def grey(level, size=(60, 80)):
    return np.full((*size, 3), level, np.float32)


def scene(radiance):
    return LitScene(radiance, (), "day", 5500.0, "clear")


def test_grey_stays_about_grey_and_more_light_is_brighter():
    rng = np.random.default_rng(0)
    dark, pale = (film().take(grey(v), 0.85, rng).astype(float) for v in (0.1, 0.4))
    assert pale.mean() > dark.mean() + 40
    for shot in (dark, pale):
        r, g, b = shot.mean(axis=(0, 1))
        assert abs(r - g) < 25
        assert abs(b - g) < 25


def test_the_meter_is_the_one_of_stills():
    light = grey(0.3)
    got = film().gain(light, scene(light))
    camera = film().camera
    assert got == pytest.approx(metered(scene(light), camera.metering) * 2.0**camera.exposure)


@pytest.mark.parametrize("source", ["led", "incandescent"])
def test_lamps_have_their_colours_and_keep_them(source):
    taken = film()
    shots = {}
    for colour in ("red", "yellow", "green"):
        light = grey(0.0) + taken.lamp_colour(colour, source) * np.float32(0.5)
        shots[colour] = taken.take(light, 0.85, np.random.default_rng(0)).mean(axis=(0, 1))
        assert (film().lamp_colour(colour, source) == taken.lamp_colour(colour, source)).all()
    r, g, b = shots["red"]
    assert r > g + 60
    assert r > b + 60
    r, g, b = shots["yellow"]
    assert r > g > b + 30
    r, g, b = shots["green"]
    assert g > r + 60


def test_a_lamp_over_the_sensor_loses_its_colour():
    taken = film()
    red = taken.lamp_colour("red", "led")
    little, much = (
        taken.take(grey(0.0) + red * np.float32(k), 0.85, np.random.default_rng(0)).mean(axis=(0, 1))
        for k in (0.5, 40)
    )
    assert much[1] - little[1] > 80


def test_the_light_given_is_not_written_to():
    light = grey(0.2)
    kept = light.copy()
    film().take(light, 1.0, np.random.default_rng(0), (5.0, 1.0))
    assert (light == kept).all()


def test_a_sweep_blurs_along_its_way():
    light = grey(0.05)
    light[:, 40] = 1.0

    def width(sweep):
        row = film().take(light, 0.85, np.random.default_rng(0), sweep).astype(float).mean(axis=(0, 2))
        return (row > row.min() + 20).sum()

    assert width((8.0, 0.0)) > width((0.0, 0.0)) + 4
    assert width((0.0, 8.0)) <= width((0.0, 0.0)) + 1


def test_pumping_stays_within_its_stops():
    pumping = draw_pumping(np.random.default_rng(1), 0.7)
    stops = np.array([pumping.stops(t) for t in np.linspace(0, 60, 3000)])
    assert 0.4 < np.abs(stops).max() <= 0.7
    assert draw_pumping(np.random.default_rng(1), 0).stops(3.0) == 0


@pytest.mark.parametrize("make", [lambda: Shutter(0), lambda: Shutter(3), lambda: Shutter(0.01, 1)])
def test_shutters_out_of_bounds_are_refused(make):
    with pytest.raises(ValueError, match="must be"):
        make()
    with pytest.raises(ValueError, match="pump"):
        draw_pumping(np.random.default_rng(0), -1)
