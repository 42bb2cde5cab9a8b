"""Whether all heads were found: what speaks for one having been missed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import MOST_HEADS
from litlamp.box import Box
from litlamp.sight.count import faintly, light_about, may_be_cut, whole_belief, whole_evidence
from litlamp.sight.eyes import Calibration, load_eyes
from litlamp.sight.find import FAINTEST, HeadFound
from litlamp.sight.look import SignalRead

READ = SignalRead(np.array([0.0, 0.9, 0.05, 0.05]), np.full((3, 5), 0.2), 0.0, 0.0, 0.99, {})


def head(x: float, y: float, width: float = 20.0, score: float = 0.9) -> HeadFound:
    box = Box(x - width / 2, y - width / 2, x + width / 2, y + width / 2)
    return HeadFound(x, y, box, width / 3, np.zeros(5, np.float32), (x, y), score, 1.0)


def test_the_best_of_the_faint_ones_in_the_column_is_heard():
    heads = [head(300, 200)]
    assert faintly(heads, []) == FAINTEST
    assert faintly(heads, [head(302, 250, score=0.1), head(300, 120, score=0.2)]) == 0.2


@pytest.mark.parametrize(
    ("x", "y", "width"),
    [(400, 200, 20), (300, 500, 20), (302, 203, 20), (300, 260, 6), (300, 260, 70)],
    ids=["aside", "far below", "the head itself", "too small", "too large"],
)
def test_what_can_be_no_head_of_these_is_not(x, y, width):
    assert faintly([head(300, 200)], [head(x, y, width, 0.2)]) == FAINTEST


@given(st.floats(FAINTEST, 0.25), st.floats(FAINTEST, 0.25))
def test_the_surer_a_faint_one_is_the_less_sure_that_all_were_found(a, b):
    beliefs = [
        whole_belief(
            whole_evidence(
                [head(300, 200)], (640, 480), READ, Calibration(""), (), [head(300, 260, score=s)]
            ),
            Calibration(""),
        )
        for s in sorted((a, b))
    ]
    assert beliefs[0] >= beliefs[1]


def test_light_about_heads_is_that_of_the_middle_of_the_window():
    window = np.zeros((384, 144, 4), np.uint8)
    assert light_about(window) == pytest.approx(-7)
    window[:, 30:114, 1] = 255
    assert light_about(window) == pytest.approx(0.0, abs=0.02)
    window[:, 30:114, 1] = 128
    # sRGB 128 is linear 0.216 (IEC 61966-2-1).
    assert light_about(window) == pytest.approx(np.log2(0.216 + 2.0**-7), abs=0.01)
    window[..., 3] = 255  # the marks are no light
    assert light_about(window) == pytest.approx(np.log2(0.216 + 2.0**-7), abs=0.01)


@given(st.floats(-7, 0), st.integers(1, 3))
def test_evidence_has_a_weight_each(light, n):
    heads = [head(300, 200 + 60 * i) for i in range(n)]
    for tuned in (Calibration(""), load_eyes(threads=1).calibration):
        evidence = whole_evidence(heads, (640, 480), READ, tuned, (), (), light)
        assert len(evidence) == len(tuned.full_weights if n == MOST_HEADS else tuned.whole_weights)
        assert 0 <= whole_belief(evidence, tuned) <= 1


def test_by_the_installed_figures_the_edge_and_faint_heads_only_speak_against():
    tuned = load_eyes(threads=1).calibration
    heads = [head(300, 200)]
    best = whole_belief(whole_evidence(heads, (640, 480), READ, tuned), tuned)
    doubted = [
        whole_evidence([head(300, 12)], (640, 480), READ, tuned),
        whole_evidence(heads, (640, 480), READ, tuned, [head(310, 290)]),
        whole_evidence(heads, (640, 480), READ, tuned, (), [head(300, 260, score=0.2)]),
    ]
    assert all(whole_belief(one, tuned) < best for one in doubted)


@pytest.mark.parametrize(
    ("top", "low", "dwarf", "cut"),
    [(60, 400, 0.0, False), (12, 400, 0.0, False), (8, 400, 0.0, True), (8, 400, 1.0, True),
     (60, 430, 0.0, False), (60, 450, 0.0, True), (60, 450, 1.0, False)],
)  # fmt: skip
def test_a_mast_that_the_edge_may_cut(top: int, low: int, dwarf: float, cut: bool) -> None:
    heads = [head(300, top + 10), head(300, low - 10)]  # 20 px wide, in a picture 480 px high
    assert may_be_cut(heads, (640, 480), dwarf, Calibration("")) == cut
    assert not may_be_cut([*heads, head(300, 200)], (640, 480), dwarf, Calibration(""))
