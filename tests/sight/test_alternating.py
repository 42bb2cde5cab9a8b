from __future__ import annotations

from array import array

import numpy as np
import pytest

from litlamp.aspects.aspect import COLOURS, PLATES
from litlamp.aspects.belief import UNKNOWN_PLATE
from litlamp.box import Box
from litlamp.sight.alternating import in_turn
from litlamp.sight.glance import Glance
from litlamp.sight.seen import HeadSeen, LampSeen, SignalSeen
from litlamp.sight.traces import LampTrace
from litlamp.sight.tracks import Track

FPS = 30
T = np.arange(150) / FPS


def track_of(number: int, x: float, y: float, light: np.ndarray, width: float = 20.0) -> Track:
    belief = {c: 0.96 if c == "red" else 0.01 for c in COLOURS}
    box = Box(x - width / 2, y - width / 2, x + width / 2, y + width / 2)
    heads = (HeadSeen(box, LampSeen(x, y, width / 3), belief),)
    seen = SignalSeen(box, heads, {"mast": 1.0}, {"vertical": 1.0}, dict.fromkeys(PLATES, UNKNOWN_PLATE),
                      (), None, 1.0, width)  # fmt: skip
    track = Track(number, 0.0, Glance(seen, 3.0, 0.5, ((x, y, width / 3),), (0.9,)), (640, 480))
    n = len(light)
    track.times, track.seen, track.common = array("d", T[:n]), array("b", [1] * n), array("f", [1.0] * n)
    track.widths = array("f", [20.0] * n)
    lamp = LampTrace(0.0, 0.0, 0.33, 0)
    lamp.light, lamp.red, lamp.green = (array("f", light) for _ in range(3))
    track.heads[0].lamps[:] = [lamp]
    return track


def flashing(phase: float, per_minute: float = 50.0, share: float = 0.5) -> np.ndarray:
    return np.where((T * per_minute / 60 + phase) % 1 < share, 1.0, 0.1)


def test_lamps_side_by_side_that_light_in_turn_are_a_crossing() -> None:
    pair = [track_of(3, 200, 100, flashing(0.0)), track_of(5, 260, 104, flashing(0.5))]
    assert in_turn(pair) == {3, 5}
    alone = track_of(6, 500, 100, flashing(0.2))
    assert in_turn([*pair, alone]) == {3, 5}


@pytest.mark.parametrize(
    "other",
    [
        track_of(2, 260, 104, flashing(0.05)),  # together
        track_of(2, 260, 104, flashing(0.25)),  # neither together nor in turn
        track_of(2, 260, 104, np.ones(150)),  # steady
        track_of(2, 260, 104, np.full(150, 0.1)),  # dark
        track_of(2, 200, 200, flashing(0.5)),  # above one another
        track_of(2, 600, 104, flashing(0.5)),  # far apart
        track_of(2, 260, 104, flashing(0.5), 50.0),  # much larger
        track_of(2, 260, 104, flashing(0.5)[:20]),  # not watched for long
    ],
)
def test_others_are_none(other: Track) -> None:
    assert in_turn([track_of(1, 200, 100, flashing(0.0)), other]) == set()


def test_no_tracks() -> None:
    assert in_turn([]) == set()
