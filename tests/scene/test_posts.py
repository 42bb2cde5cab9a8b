import numpy as np
import pytest

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.posts import draw_post

THREE = (Lamp("green"), Lamp("red"), Lamp("yellow"))


def posts(mount, arrangement="vertical", heads=THREE, **kw):
    aspect = Aspect(heads, mount, arrangement, **kw)
    return [draw_post(np.random.default_rng(s), aspect) for s in range(60)]


def test_masts_stand_high_and_dwarfs_low():
    assert all(p.low > 2.0 for p in posts("mast"))
    assert all(0.0 < p.low < 0.7 for p in posts("dwarf"))
    eye_lines = [p.heads[-1][1][1] for p in posts("mast") if p.beam is None]
    assert min(eye_lines) >= 3.2
    assert max(eye_lines) <= 5.2


@pytest.mark.parametrize("mount", ["mast", "dwarf"])
@pytest.mark.parametrize("arrangement", ["vertical", "staggered"])
def test_heads_never_overlap(mount, arrangement):
    for post in posts(mount, arrangement):
        for (a, (_, ya)), (b, (_, yb)) in zip(post.heads, post.heads[1:], strict=False):
            assert ya - yb >= (a.height + b.height) / 2 - 1e-6


def test_stagger_alternates_about_the_mast_and_starts_on_either_side():
    starts = set()
    for post in posts("mast", "staggered"):
        xs = [x for _, (x, _) in post.heads]
        assert xs[0] * xs[1] < 0
        assert xs[1] * xs[2] < 0
        starts.add(xs[0] > 0)
        assert all(abs(x) >= 0.5 * h.width for h, (x, _) in post.heads)
    assert starts == {True, False}


def test_in_line_heads_may_all_stand_beside_the_mast():
    offsets = [np.mean([x for _, (x, _) in p.heads]) for p in posts("mast")]
    assert any(abs(o) < 0.05 for o in offsets)
    assert any(o > 0.15 for o in offsets)
    assert any(o < -0.15 for o in offsets)
    for post in posts("mast"):
        xs = [x for _, (x, _) in post.heads]
        assert np.ptp(xs) < 0.12


def test_dwarf_heads_are_close_together():
    for post in posts("dwarf"):
        for (a, (_, ya)), (b, (_, yb)) in zip(post.heads, post.heads[1:], strict=False):
            assert ya - yb - (a.height + b.height) / 2 < 0.2


def test_plates_hang_clear_of_the_heads():
    for post in posts("mast", plates=frozenset({"A", "L"}), number="12"):
        assert {p.kind for p, _ in post.plates} == {"A", "L", "number"}
        lowest = min(y - h.height / 2 for h, (_, y) in post.heads)
        assert all(y + p.height / 2 < lowest for p, (_, y) in post.plates)
        assert all(y - p.height / 2 > 0 for p, (_, y) in post.plates)
