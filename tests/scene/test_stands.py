import numpy as np
import pytest

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.compose import training_sample
from litlamp.scene.posts import draw_post
from litlamp.scene.stands import other_stand

TWO = (Lamp("green"), Lamp("red"))


def posts(mount, plates=frozenset(), back=False):
    for seed in range(60):
        rng = np.random.default_rng(seed)
        post = draw_post(rng, Aspect(TWO, mount, "vertical", plates), back=back)
        yield post, other_stand(np.random.default_rng((seed, 1)), post)


def lowest_head(post):
    return min(y - head.height / 2 for head, (_, y) in post.heads)


def test_no_share_of_other_stands_changes_nothing():
    plain, truth = training_sample(5, (128, 128))
    same, same_truth = training_sample(5, (128, 128), stands=0.0)
    np.testing.assert_array_equal(plain, same)
    assert truth == same_truth
    assert any(
        training_sample(s, (64, 64), stands=1.0)[1] != training_sample(s, (64, 64))[1] for s in range(9)
    )


def test_dwarfs_stay_low_and_masts_high():
    assert all(lowest_head(moved) <= 1.3 for _, moved in posts("dwarf"))
    assert all(lowest_head(moved) >= 2.2 - 1e-9 for _, moved in posts("mast"))


@pytest.mark.parametrize("mount", ["mast", "dwarf"])
def test_heads_keep_their_order_and_do_not_overlap(mount):
    for post, moved in posts(mount):
        assert [h for h, _ in moved.heads] == [h for h, _ in post.heads]
        (upper, (_, y)), (lower, (_, below)) = moved.heads
        assert y - upper.height / 2 >= below + lower.height / 2 - 1e-9


@pytest.mark.parametrize("mount", ["mast", "dwarf"])
def test_plates_hang_above_the_ground_and_some_above_the_heads(mount):
    above = 0
    for post, moved in posts(mount, frozenset({"DV"})):
        assert len(moved.plates) == len(post.plates) == 1
        board, (_, y) = moved.plates[0]
        assert y - board.height / 2 >= -1e-9
        above += y > moved.heads[0][1][1]
    assert above >= 10


def test_what_is_seen_from_behind_is_left_as_it_is():
    assert all(moved is post for post, moved in posts("mast", back=True))
