import numpy as np

from litlamp.scene.backdrop import Lie
from litlamp.scene.canvas import Canvas, Sun
from litlamp.scene.compose import Extra, compose, draw_scenery, training_sample
from litlamp.scene.road import street
from litlamp.scene.spots import Here


def painted(seed, light):
    canvas = Canvas(np.full((128, 160, 3), 0.3, np.float32), Sun(0, 0.6, 0.8, 0.0, 0.9))
    here = Here((80.0, 60.0), 20.0, Lie(60.0, 0.0, 1.6, 400.0, 60.0, 20.0), light, 3.0)
    return canvas, street(canvas, np.random.default_rng(seed), here)


def test_a_street_fills_the_ground_and_says_what_stands_in_it():
    kinds = set()
    for seed in range(40):
        canvas, found = painted(seed, "day")
        kinds |= {k for k, _ in found}
        assert np.abs(canvas.radiance[-8:] - 0.3).mean() > 0.005
        assert np.isfinite(canvas.radiance).all()
    assert {"car lights", "road light", "walker light", "street lamp", "sign"} <= kinds


def test_after_dark_it_shines_more():
    day, night = (sum(len(painted(s, light)[0].glows) for s in range(25)) for light in ("day", "night"))
    assert night > 1.5 * day


def test_a_street_holds_no_signal():
    rng = np.random.default_rng(6)
    scenery = draw_scenery(rng, (128, 128), extras=(Extra("street"),), back=False, room=False)
    scene, truth = compose((), scenery, rng)
    assert truth.signals == ()
    assert scene.radiance.min() >= 0


def test_streets_are_common_in_training_and_never_stand_behind_a_signal():
    street_of = [
        truth
        for s in range(150)
        if "street" in dict((truth := training_sample(s, (48, 48))[1]).factors)["extras"].split(", ")
    ]
    assert 6 <= len(street_of) <= 32
    assert all(t.signals == () for t in street_of)
