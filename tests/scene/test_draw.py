import pytest

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.draw import draw, stage

GREEN_RED = Aspect((Lamp("green"), Lamp("red")), "mast", "vertical")
SIZE = (400, 300)


def test_same_arguments_give_the_same_bytes():
    a, truth = draw(GREEN_RED, seed=3, size=SIZE)
    b, again = draw(GREEN_RED, seed=3, size=SIZE)
    assert a.tobytes() == b.tobytes()
    assert truth == again
    assert draw(GREEN_RED, seed=4, size=SIZE)[0].tobytes() != a.tobytes()


@pytest.mark.parametrize("heads", [1, 2, 3])
@pytest.mark.parametrize("mount", ["mast", "dwarf"])
def test_the_signal_is_whole_and_large_enough(heads, mount):
    for seed in range(4):
        aspect = Aspect((Lamp("yellow"),) * heads, mount, "vertical", frozenset({"DV"}), "12")
        rgb, truth = draw(aspect, seed=seed, size=SIZE)
        assert rgb.shape == (300, 400, 3)
        signal = truth.signals[0]
        assert signal.whole_in_view
        assert signal.aspect == aspect
        assert all(h.lit and h.visible > 0.95 for h in signal.heads)
        assert min(h.diameter for h in signal.heads) > 4
        assert all(p.visible > 0.9 for p in signal.plates)


def test_what_is_left_unsaid_is_mast_and_vertical():
    _, truth = draw(Aspect((Lamp("red"),)), size=SIZE)
    assert (truth.signals[0].mount, truth.signals[0].arrangement) == ("mast", "vertical")


def test_farther_is_smaller_in_proportion():
    near = draw(GREEN_RED, seed=1, size=SIZE, distance=40, kind="searchlight")[1].signals[0].heads[0].diameter
    far = draw(GREEN_RED, seed=1, size=SIZE, distance=120, kind="searchlight")[1].signals[0].heads[0].diameter
    assert near / far == pytest.approx(3.0, rel=0.05)


def test_exposure_brightens():
    dim, _ = draw(GREEN_RED, seed=1, size=SIZE, exposure=-2.0)
    bright, _ = draw(GREEN_RED, seed=1, size=SIZE, exposure=1.0)
    assert dim.mean() < 0.7 * bright.mean()


def test_cut_and_snow_and_extra():
    three = Aspect((Lamp("green"), Lamp("red"), Lamp("red")), "mast", "vertical", frozenset({"L"}))
    assert not draw(three, size=SIZE, cut="top")[1].signals[0].whole_in_view
    assert not draw(three, size=SIZE, snow_on_plate=True)[1].signals[0].plates[0].legible
    assert "road light" in {k for k, _ in draw(three, size=SIZE, extra="road light")[1].distractors}


def test_no_signal_at_all():
    rgb, truth = draw(None, seed=2, size=SIZE)
    assert truth.signals == ()
    assert rgb.std() > 1


def test_night_and_day_differ():
    day, _ = draw(GREEN_RED, seed=5, size=SIZE, light="day")
    night, _ = draw(GREEN_RED, seed=5, size=SIZE, light="night")
    assert night.mean() < 0.6 * day.mean()


@pytest.mark.parametrize(
    "wrong", [{"light": "noon"}, {"weather": "hail"}, {"extra": "dragon"}, {"size": (4, 4)}]
)
def test_wrong_words_are_refused(wrong):
    with pytest.raises(ValueError, match="must be"):
        draw(GREEN_RED, **{"size": SIZE, **wrong})


def test_flashing_lamps_can_be_drawn_in_either_phase():
    aspect = Aspect((Lamp("yellow", True), Lamp("red")), "mast", "vertical")
    on = draw(aspect, seed=1, size=SIZE)[1].signals[0]
    off = draw(aspect, seed=1, size=SIZE, lit=(False, True))[1].signals[0]
    assert [h.lit for h in on.heads] == [True, True]
    assert [h.lit for h in off.heads] == [False, True]
    assert [h.box for h in on.heads] == [h.box for h in off.heads]


def test_between_phases_only_lamps_change():
    aspect = Aspect((Lamp("yellow", True), Lamp("red")), "mast", "vertical")
    how = (5, SIZE, "day", "clear", None, "searchlight", None, False, None, False)
    on, _, _ = stage(aspect, *how, (True, True))
    off, _, _ = stage(aspect, *how, (False, True))
    assert (on.radiance == off.radiance).all()
    assert len(on.glows) == 2
    assert len(off.glows) == 1
