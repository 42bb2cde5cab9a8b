"""Frames of lines seen from a cab, to learn from."""

from __future__ import annotations

import numpy as np
import pytest

from litlamp.scene.lineside import Lineside

SIDE = 256


@pytest.fixture(scope="module")
def line() -> Lineside:
    return Lineside(3)


def test_the_same_seeds_give_the_same_picture(line):
    (a, truth), (b, same) = (Lineside(3).picture(21, SIDE), line.picture(21, SIDE))
    assert (a == b).all()
    assert truth == same
    assert not (a == line.picture(22, SIDE)[0]).all()


def test_what_is_told_lies_where_it_is_seen(line):
    """A lit lamp is the brightest and most coloured thing of its head; what is outside is not told."""
    apart = []
    for seed in range(40):
        rgb, truth = line.picture(seed, SIDE)
        assert rgb.shape == (SIDE, SIDE, 3)
        assert rgb.dtype == np.uint8
        assert truth.size == (SIDE, SIDE)
        for signal in truth.signals:
            assert any(head.box.clamp(SIDE, SIDE).area > 0 for head in signal.heads)
            for head in signal.heads:
                b = head.box.clamp(SIDE, SIDE)
                if not (head.lit and signal.facing and head.visible > 0.99 and head.diameter >= 5):
                    continue
                cut = rgb[int(b.y0) : int(b.y1) + 1, int(b.x0) : int(b.x1) + 1].astype(float)
                shown = cut.max(axis=2) + np.ptp(cut, axis=2)
                y, x = np.unravel_index(np.argmax(shown), shown.shape)
                off = np.hypot(x + int(b.x0) + 0.5 - head.centre[0], y + int(b.y0) + 0.5 - head.centre[1])
                apart.append(off / head.diameter)
    assert len(apart) > 20
    assert np.median(apart) < 0.6


def test_a_signal_is_whole_where_all_of_it_is_in_the_piece(line):
    for seed in range(40):
        for signal in line.picture(seed, SIDE)[1].signals:
            inside = [h.box.clamp(SIDE, SIDE).area >= 0.9 * h.box.area for h in signal.heads]
            assert signal.whole_in_view == all(inside)
