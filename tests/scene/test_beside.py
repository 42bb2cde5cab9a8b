import numpy as np
import pytest

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.backdrop import SEASONS, draw_sun
from litlamp.scene.beside import poles_beside, signal_beside, woods_beside
from litlamp.scene.lamps_over_time import LampKey

SUN = draw_sun(np.random.default_rng(0), "day")
STOP = Aspect((Lamp("red"), Lamp("red")), "mast", "vertical", frozenset({"A"}), "12")
CLEAR = Aspect((Lamp("yellow", True), Lamp("dark")), "mast", "vertical", frozenset({"A"}), "12")


def standing(aspects, seed=1, u=2.8, **kw):
    return signal_beside(
        0, aspects, seed=seed, s=100.0, u=u, scale=40.0, sun=SUN, light="day", eye=2.6, **kw
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(6))
def test_a_signal_has_a_lamp_for_each_colour_it_ever_shows(seed):
    piece, truth = standing((STOP, CLEAR), seed)
    assert {lamp.key for lamp in piece.lamps} == {
        LampKey(0, 0, "red"), LampKey(0, 1, "red"), LampKey(0, 0, "yellow")
    }  # fmt: skip
    width, height = piece.piece.size
    for head in truth.heads:
        assert head.kind == "searchlight"
        assert 0 < head.box.x0 < head.box.x1 < width
        assert 0 < head.box.y0 < head.box.y1 < height
    assert {p.kind for p in truth.plates} == {"A", "number"}
    assert truth.foot == pytest.approx(piece.foot)


def test_a_lamp_lies_on_its_head():
    piece, truth = standing((STOP,), kind="led")
    for lamp in piece.lamps:
        head = truth.heads[lamp.key.head]
        mask, (x, y) = lamp.light.sizes.pictures[0], lamp.light.origin
        rows, columns = np.nonzero(mask > 0.3 * mask.max())
        assert columns.mean() + x == pytest.approx(head.centre[0], abs=2)
        assert rows.mean() + y == pytest.approx(head.centre[1], abs=2)
        assert lamp.source == "led"


def test_a_back_has_no_lamps():
    piece, truth = standing((STOP,), back=True)
    assert piece.lamps == ()
    assert not truth.facing


@pytest.mark.parametrize("seed", range(8))
def test_nothing_of_a_signal_stands_on_the_track(seed):
    piece, _ = standing((STOP,), seed, u=2.6)
    cover = piece.piece.pictures[0][..., 3]
    foot_x, foot_y = piece.foot
    # Up to the height of a train's floor, left of what stands 1.5 m off the middle of the track.
    low = cover[round(foot_y - 1.2 * 40) : round(foot_y), : round(foot_x - 1.1 * 40)]
    assert low.max() < 0.05


@pytest.mark.parametrize("season", SEASONS)
def test_woods_stand_clear_of_the_track_to_both_sides(season):
    woods = woods_beside(np.random.default_rng(1), 500, season, SUN, 8.0)
    assert len(woods) > 20
    assert min(abs(w.u) for w in woods) > 5
    assert {np.sign(w.u) for w in woods} == {-1, 1}
    for wood in woods:
        # The foot is the inner edge: woods begin at `u` and go outwards.
        assert wood.foot[0] == (0 if wood.u > 0 else wood.piece.size[0])


@pytest.mark.parametrize("wired", [True, False])
def test_poles_stand_in_even_steps(wired):
    poles = poles_beside(np.random.default_rng(1), 1000, SUN, 10.0, 3.4, wired)
    steps = np.diff([p.s for p in poles])
    assert steps == pytest.approx(steps[0])
    assert {p.u for p in poles} == {3.4}
    assert all(p.pole > 0 for p in poles)
