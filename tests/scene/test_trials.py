import numpy as np

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.canvas import Canvas, Sun
from litlamp.scene.compose import EASY, compose, draw_scenery
from litlamp.scene.trials import Trial, draw_trial, put_out

THREE = Aspect((Lamp("green"), Lamp("yellow"), Lamp("red")), "mast", "vertical")


def scene(trial):
    rng = np.random.default_rng(8)
    scenery = draw_scenery(
        rng, (160, 160), light="night", weather="clear", extras=(), lens=10.0, fit=True, back=False, cut=None
    )
    dark = Aspect((Lamp("dark"),), "mast", "vertical")
    return compose((dark,), scenery, rng, (), trial)


def test_no_trial_changes_nothing():
    a, truth_a = scene(EASY)
    b, truth_b = scene(Trial())
    np.testing.assert_array_equal(a.radiance, b.radiance)
    assert truth_a == truth_b


def test_gloom_takes_the_light_from_the_head_and_nothing_from_its_truth():
    a, truth_a = scene(EASY)
    b, truth_b = scene(Trial(gloom=0.05))
    box = truth_a.signals[0].heads[0].box
    cut = slice(int(box.y0) + 1, int(box.y1)), slice(int(box.x0) + 1, int(box.x1))
    assert b.radiance[cut].mean() < 0.4 * a.radiance[cut].mean()
    assert truth_a.signals[0].heads == truth_b.signals[0].heads


def test_a_rim_shows_along_one_side():
    plain, truth = scene(Trial(gloom=0.05))
    rimmed, _ = scene(Trial(gloom=0.05, rim=0.5, rim_way=0.0))
    more = (rimmed.radiance - plain.radiance).sum(axis=2)
    box = truth.signals[0].heads[0].box
    middle = int(box.centre[0])
    rows = slice(max(int(box.y0), 0), int(box.y1) + 1)
    assert more[rows, middle:].sum() > 5 * abs(more[rows, : middle - 2].sum())


def test_a_glow_brightens_what_is_behind():
    canvas = Canvas(np.full((60, 60, 3), 0.1, np.float32), Sun(0, 1, 0, 0, 1))
    Trial(behind=0.5, glow=1.0).darken(canvas, (30.0, 30.0), 8.0, (1.0, 0.8, 0.6))
    assert canvas.radiance[30, 30, 0] > 0.9
    assert canvas.radiance[0, 0, 0] < 0.06


def test_the_sun_is_brought_behind_the_camera():
    sun = Sun(0.5, 0.3, -0.8, 0.7, 0.3)
    assert Trial(frontal=True).turned(sun).z == 0.8
    assert Trial().turned(sun) == sun


def test_lamps_are_put_out_and_never_lit():
    rng = np.random.default_rng(2)
    after = [put_out(rng, THREE) for _ in range(400)]
    burning = [[h.colour for h in a.heads if h.colour != "dark"] for a in after]
    ones = sum(len(b) == 1 for b in burning)
    assert 0.6 < ones / 400 < 0.95
    assert any(not b for b in burning)
    alone = [b[0] for b in burning if len(b) == 1]
    assert 0.4 < alone.count("red") / len(alone) < 0.75
    dark = Aspect((Lamp("dark"),) * 2, "mast", "vertical")
    assert not any(h.flashing for h in put_out(rng, dark).heads)


def test_trials_by_night_are_dark_and_by_day_bright():
    rng = np.random.default_rng(5)
    night = [draw_trial(rng, (THREE,), "night", 10.0)[0] for _ in range(300)]
    day = [draw_trial(rng, (THREE,), "day", 1.0)[0] for _ in range(300)]
    assert 0.3 < np.mean([t.gloom < 1 for t in night]) < 0.7
    assert all(t.gloom == 1 and t.rim == 0 for t in day)
    assert 0.2 < np.mean([bool(t.phantoms) for t in day]) < 0.5
