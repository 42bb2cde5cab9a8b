"""Truth must be exact: what is painted lies where the truth says, in the order and colour it says."""

import colorsys
import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.compose import Extra, Scenery, compose, draw_scenery, random_aspect, training_sample
from litlamp.scene.plain import plain_exposure
from litlamp.scene.truth import SceneTruth

SEEDS = st.integers(0, 10_000)


def plain_scenery(rng: np.random.Generator, **fixed: object) -> Scenery:
    from litlamp.scene.clutter import Before

    given_ = {
        "light": "day",
        "weather": "clear",
        "season": "summer",
        "lens": 9.0,
        "fit": True,
        "extras": (),
        "before": Before(),
        "cut": None,
        "back": False,
        "haze": 0.0,
        "snow": 0.0,
        "blur": 0.0,
        "place": (0.5, 0.5),
        "luminance": 1.2,
        "photo": None,
    }
    return draw_scenery(rng, (360, 360), **{**given_, **fixed})


def made(seed: int, aspect: Aspect, **fixed: object) -> tuple[np.ndarray, SceneTruth]:
    rng = np.random.default_rng(seed)
    scenery = plain_scenery(rng, **fixed)
    scene, truth = compose((aspect,), replace(scenery, lit=(True,) * len(aspect.heads)), rng)
    return plain_exposure(scene), truth


def test_same_seed_gives_the_same_bytes_and_another_seed_others():
    a, truth_a = training_sample(5, (128, 128))
    b, truth_b = training_sample(5, (128, 128))
    c, _ = training_sample(6, (128, 128))
    assert a.tobytes() == b.tobytes()
    assert truth_a == truth_b
    assert a.dtype == np.uint8
    assert a.shape == (128, 128, 3)
    assert a.tobytes() != c.tobytes()


def test_size_is_width_then_height():
    rgb, truth = training_sample(1, (192, 128))
    assert rgb.shape == (128, 192, 3)
    assert truth.size == (192, 128)


@settings(max_examples=40, deadline=None)
@given(SEEDS)
def test_geometry_of_random_signals(seed):
    rng = np.random.default_rng(seed)
    aspect = random_aspect(rng)
    scenery = draw_scenery(rng, (200, 200), back=False)
    _, truth = compose((aspect,), scenery, rng)
    signal = truth.signals[0]
    assert len(signal.heads) == len(aspect.heads)
    assert [h.lamp for h in signal.heads] == list(aspect.heads)
    assert signal.aspect == aspect
    heights = [h.box.centre[1] for h in signal.heads]
    assert heights == sorted(heights), "heads must run top to bottom"
    for head in signal.heads:
        x, y = head.centre
        assert head.box.x0 < x < head.box.x1
        assert head.box.y0 < y < head.box.y1
        assert head.diameter < head.box.width * 1.01
        assert not (head.lit and head.lamp.colour == "dark")
        assert 0.0 <= head.visible <= 1.0
        for outer in (signal.box.union(head.box), signal.box):
            assert outer.iou(signal.box) == pytest.approx(1.0)
    for plate in signal.plates:
        assert plate.box.area > 0
        assert 0.0 <= plate.visible <= 1.0


@settings(max_examples=25, deadline=None)
@given(SEEDS, st.sampled_from(["vertical", "staggered"]))
def test_stagger_is_wide_and_line_is_narrow(seed, arrangement):
    aspect = Aspect((Lamp("red"), Lamp("yellow"), Lamp("red")), "mast", arrangement)
    _, truth = made(seed, aspect, roll=0.0, yaw=0.0)
    heads = truth.signals[0].heads
    xs = [h.box.centre[0] for h in heads]
    widest = max(h.box.width for h in heads)
    steps = [b - a for a, b in itertools.pairwise(xs)]
    if arrangement == "staggered":
        assert steps[0] * steps[1] < 0, "sides alternate"
        assert all(abs(s) > 0.75 * widest for s in steps)
    else:
        assert all(abs(s) < 0.25 * widest for s in steps)


def test_both_ways_of_staggering_occur():
    aspect = Aspect((Lamp("red"), Lamp("red")), "mast", "staggered")
    signs = set()
    for seed in range(12):
        heads = made(seed, aspect)[1].signals[0].heads
        signs.add(heads[0].box.centre[0] < heads[1].box.centre[0])
    assert signs == {True, False}


@pytest.mark.parametrize("mount", ["mast", "dwarf"])
def test_given_plates_are_painted_and_recorded(mount):
    aspect = Aspect((Lamp("red"),), mount, "vertical", frozenset({"A", "DV"}), "104")
    _, truth = made(3, aspect, lens=30.0, snow_on_plate=False)
    plates = truth.signals[0].plates
    assert {p.kind for p in plates} == {"A", "DV", "number"}
    assert next(p.text for p in plates if p.kind == "number") == "104"
    assert truth.signals[0].aspect == aspect


def test_a_plate_is_of_its_colour_and_snow_takes_it_away():
    aspect = Aspect((Lamp("red"),), "mast", "vertical", frozenset({"R"}))

    def yellow_share(seed: int, snow: bool) -> float:
        rgb, truth = made(seed, aspect, lens=40.0, snow_on_plate=snow, light="overcast", yaw=0.0)
        plate = truth.signals[0].plates[0]
        assert plate.legible is not snow
        b = plate.box.clamp(360, 360)
        part = rgb[int(b.y0) + 1 : int(b.y1), int(b.x0) + 1 : int(b.x1)].astype(int)
        return float(np.mean(part[..., 0] - part[..., 2] > 40))

    clean = np.mean([yellow_share(s, False) for s in range(5)])
    covered = np.mean([yellow_share(s, True) for s in range(5)])
    assert clean > 0.5
    assert covered < clean / 2


def test_small_letters_are_not_legible():
    aspect = Aspect((Lamp("red"),), "mast", "vertical", frozenset({"A"}))
    _, truth = made(3, aspect, lens=4.0, snow_on_plate=False)
    assert truth.signals[0].plates[0].letter_px < 5
    assert not truth.signals[0].plates[0].legible


# Degrees of hue each lamp may take on screen; the words are everyday ones, no source.
HUES = {"red": [(0, 24), (345, 360)], "yellow": [(25, 62)], "green": [(130, 185)]}


@pytest.mark.parametrize("colour", sorted(HUES))
def test_a_lit_lamp_has_the_hue_of_its_colour(colour):
    right = 0
    for seed in range(10):
        rgb, truth = made(seed, Aspect((Lamp(colour),), "mast", "vertical"), lens=24.0, luminance=0.8)
        head = truth.signals[0].heads[0]
        x, y = head.centre
        yy, xx = np.mgrid[0:360, 0:360] + 0.5
        on_lens = np.hypot(xx - x, yy - y) < head.diameter * 0.5
        pixels = rgb[on_lens].astype(float) / 255
        pixels = pixels[pixels.max(1) > 0.35]
        assert len(pixels), f"no light on the lens, seed {seed}"
        hue = np.array([colorsys.rgb_to_hsv(*p)[0] * 360 for p in pixels])
        inside = np.any([(hue >= a) & (hue <= b) for a, b in HUES[colour]], axis=0)
        right += inside.mean() > 0.7
    assert right >= 9


def test_a_dark_head_sends_no_light_and_a_flash_in_its_off_phase_neither():
    rng = np.random.default_rng(8)
    dark = Aspect((Lamp("dark"), Lamp("dark")), "mast", "vertical")
    scene, truth = compose((dark,), plain_scenery(rng), rng)
    assert not scene.glows
    assert not any(h.lit for h in truth.signals[0].heads)
    flashing = Aspect((Lamp("yellow", True),), "mast", "vertical")
    for on in (True, False):
        rng = np.random.default_rng(8)
        scene, truth = compose((flashing,), replace(plain_scenery(rng), lit=(on,)), rng)
        assert bool(scene.glows) is on
        assert truth.signals[0].heads[0].lit is on
        assert truth.signals[0].heads[0].lamp == Lamp("yellow", True)


def test_a_steady_lamp_stays_lit_whatever_the_phase():
    rng = np.random.default_rng(8)
    steady = Aspect((Lamp("yellow"),), "mast", "vertical")
    _, truth = compose((steady,), replace(plain_scenery(rng), lit=(False,)), rng)
    assert truth.signals[0].heads[0].lit


@pytest.mark.parametrize("cut", ["top", "bottom"])
def test_a_cut_signal_is_not_whole(cut):
    aspect = Aspect((Lamp("green"), Lamp("red"), Lamp("red")), "mast", "vertical")
    for seed in range(8):
        _, truth = made(seed, aspect, cut=cut)
        signal = truth.signals[0]
        assert not signal.whole_in_view
        gone = signal.heads[0 if cut == "top" else -1]
        assert gone.visible < 0.7
    _, truth = made(1, aspect, cut=None)
    assert truth.signals[0].whole_in_view


def test_a_pole_before_a_head_hides_it():
    from litlamp.box import Box
    from litlamp.scene.canvas import Canvas
    from litlamp.scene.compose import _share

    rng = np.random.default_rng(2)
    aspect = Aspect((Lamp("red"),), "mast", "vertical")
    scene, truth = compose((aspect,), plain_scenery(rng, lens=20.0), rng)
    canvas = Canvas(scene.radiance, sun=_sun(), glows=list(scene.glows))
    canvas.watch_veil()
    before = sum(float(g.mask.sum()) for g in canvas.glows)
    x, y = truth.signals[0].heads[0].centre
    canvas.pipe((x, y - 60), (x, y + 60), 6.0, (0.1, 0.1, 0.1))
    assert sum(float(g.mask.sum()) for g in canvas.glows) < 0.6 * before
    assert _share(Box(x - 5, y - 5, x + 5, y + 5), canvas) < 0.1


def _sun():
    from litlamp.scene.canvas import Sun

    return Sun(0.0, 0.7, 0.7, 0.7, 0.3)


def test_from_behind_nothing_is_lit():
    aspect = Aspect((Lamp("red"), Lamp("green")), "mast", "vertical", frozenset({"A"}))
    rng = np.random.default_rng(1)
    scene, truth = compose((aspect,), plain_scenery(rng, back=True), rng)
    assert not scene.glows
    assert not truth.signals[0].facing
    assert not truth.signals[0].plates


def test_extras_are_recorded_as_no_signals():
    rng = np.random.default_rng(4)
    scenery = plain_scenery(
        rng, extras=(Extra("road light", (0.2, 0.3), 20.0), Extra("train", (0.8, 0.6), 30.0))
    )
    _, truth = compose((), scenery, rng)
    kinds = {k for k, _ in truth.distractors}
    assert {"road light", "train"} <= kinds
    assert truth.signals == ()


def test_random_aspects_cover_what_signals_can_be():
    rng = np.random.default_rng(0)
    drawn = [random_aspect(rng) for _ in range(1500)]
    assert {len(a.heads) for a in drawn} == {1, 2, 3}
    assert 0.18 < np.mean([a.mount == "dwarf" for a in drawn]) < 0.32
    masts = [a for a in drawn if a.mount == "mast" and len(a.heads) > 1]
    assert 0.4 < np.mean([a.arrangement == "staggered" for a in masts]) < 0.6
    assert {p for a in drawn for p in a.plates} == {"A", "R", "L", "DV"}
    assert {h.colour for a in drawn for h in a.heads} == {"red", "yellow", "green", "lunar", "dark"}
    assert any(h.flashing for a in drawn for h in a.heads)
    assert not any(h.flashing and h.colour == "dark" for a in drawn for h in a.heads)


def test_a_quarter_of_samples_has_no_readable_signal():
    empty = sum(not any(s.facing for s in training_sample(s, (64, 64))[1].signals) for s in range(120))
    assert 15 <= empty <= 55
