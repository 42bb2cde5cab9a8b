import numpy as np
import pytest

from litlamp.scene.backdrop import Lie
from litlamp.scene.canvas import Canvas, Sun
from litlamp.scene.clutter import KINDS, TOWN_KINDS, paint_distractor
from litlamp.scene.town import stamp_caption

LIE = Lie(60.0, 0.0, 1.6, 400.0, 60.0, 20.0)


def blank():
    return Canvas(np.full((128, 128, 3), 0.2, np.float32), Sun(0, 0.6, 0.8, 0.0, 0.9))


@pytest.mark.parametrize("kind", TOWN_KINDS)
@pytest.mark.parametrize("light", ["day", "night"])
def test_each_thing_is_seen_and_says_where(kind, light):
    seen = 0
    for seed in range(6):
        canvas = blank()
        found = paint_distractor(
            canvas, np.random.default_rng(seed), kind, LIE, light, 3.0, (64.0, 64.0), 22.0
        )
        assert found
        assert all(b.width > 0 and b.height > 0 for _, b in found)
        changed = np.abs(canvas.radiance - 0.2).max() > 0.02
        seen += changed or bool(canvas.glows)
    assert seen >= 5  # one may lie beside the picture


def test_what_is_drawn_by_training_alone_leaves_the_other_kinds_as_they_are():
    assert not set(TOWN_KINDS) & set(KINDS)
    assert len(KINDS) == 17


def test_a_caption_stays_at_the_edge():
    for seed in range(20):
        rgb = np.full((128, 128, 3), 90, np.uint8)
        stamp_caption(rgb, np.random.default_rng(seed))
        assert (rgb != 90).any()
        assert (rgb[48:80] == 90).all()
