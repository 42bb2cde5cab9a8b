import numpy as np
import pytest

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.ride import LineScene, LineSignal, draw_ride
from litlamp.scene.sequence import Passed
from litlamp.scene.track import Run

CLEAR = Aspect((Lamp("green"), Lamp("red")), "mast", "vertical")
STOP = Aspect((Lamp("red"), Lamp("red")), "mast", "vertical")
DWARF = Aspect((Lamp("red"),), "dwarf", "vertical")
SMALL = {"size": (320, 180), "fps": 4.0}


@pytest.fixture(scope="module")
def ride():
    met = [Passed(CLEAR, pace=14), Passed(STOP, CLEAR, True, 10), Passed(DWARF, pace=8)]
    return draw_ride(met, seed=2, seconds=60, backs=1, **SMALL)


def test_every_signal_is_passed_in_its_turn(ride):
    facing = [s for s in ride.truth.signals if s.best.facing]
    assert [s.aspects[-1].aspect for s in facing] == [CLEAR, CLEAR, DWARF]
    ends = [s.span_s[1] for s in facing]
    assert ends == sorted(ends)
    assert ends[-1] < 60
    for signal in facing:
        assert signal.best.whole_in_view
        assert min(h.diameter for h in signal.best.heads) > 2.5
        assert signal.best_s > signal.span_s[1] - 4
    assert sum(not s.best.facing for s in ride.truth.signals) == 1


def test_one_at_stop_holds_the_train_until_it_clears(ride):
    held = [s for s in ride.truth.signals if s.best.facing][1]
    (stop, clear) = held.aspects
    assert (stop.aspect, clear.aspect) == (STOP, CLEAR)
    # While it shows stop the train comes to stand before it, and does not pass.
    near = [ride.signals_at(t)[1].heads[0].diameter for t in np.arange(stop.to_s - 1.5, stop.to_s, 0.25)]
    assert np.ptp(near) < 0.05 * near[0]
    assert held.span_s[1] > stop.to_s + 1


def test_lamps_are_where_the_truth_says(ride):
    for signal in (s for s in ride.truth.signals if s.best.facing):
        index = [t.seconds for t in ride.times].index(signal.best_s)
        rgb = ride.frame(index).rgb.astype(float)
        for head in signal.best.heads:
            x, y = (int(v) for v in head.centre)
            r, g, _ = rgb[max(y - 1, 0) : y + 2, max(x - 1, 0) : x + 2].reshape(-1, 3).mean(axis=0)
            assert (g > r) == (head.lamp.colour == "green"), (signal.best_s, head)


def test_masts_hide_signals_behind_them_in_truth_as_in_the_picture():
    run = Run((0.0, 20.0), (12.0, 12.0), 10.0)
    hidden = 0
    for seed in range(4):
        line = LineScene(
            [LineSignal((CLEAR,), 240.0, 3.0)], run, seed=seed, size=(320, 180), tightest=400.0, wires=True
        )
        for t in np.arange(0, 17, 0.5):
            spots = line.where(t)
            hidden += any(_overlaps(box, spot, line) for spot in spots for box in spot.hidden)
    assert hidden > 0


def test_things_beside_the_line_are_told_where_they_are():
    clip = draw_ride([Passed(CLEAR)], seed=1, seconds=12, extras=["crossing lamps", "road light"], **SMALL)
    seen = {kind for t in np.arange(0, 12, 0.5) for kind, _ in clip.scene.others(t)}
    assert {"crossing lamp", "road light"} <= {k.removesuffix("s") for k in seen} | seen
    with pytest.raises(ValueError, match="dragon"):
        draw_ride([Passed(CLEAR)], seconds=12, extras=["dragon"], **SMALL)


def _overlaps(box, spot, line):
    from litlamp.scene.cutout import moved_box

    head = moved_box(line.signals[spot.signal].heads[0].box, spot.affine)
    return min(box.x1, head.x1) > max(box.x0, head.x0) and min(box.y1, head.y1) > max(box.y0, head.y0)


def test_same_seed_same_bytes():
    def made(seed):
        clip = draw_ride([Passed(CLEAR)], seed=seed, seconds=8, size=(160, 90), fps=1.0)
        return b"".join(f.rgb.tobytes() for f in clip.frames())

    assert made(1) == made(1) != made(2)


def test_too_many_signals_for_the_time_are_refused():
    with pytest.raises(ValueError, match="too short"):
        draw_ride([Passed(CLEAR)] * 9, seconds=10, **SMALL)
    with pytest.raises(ValueError, match="at least one"):
        draw_ride([], seconds=10, **SMALL)
