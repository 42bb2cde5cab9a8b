"""Lessons on their way from the renderer to the networks: blocks of bytes, and what is drawn of them."""

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from stream import Layout, Stream  # noqa: E402
from train import Store, fixed  # noqa: E402

PER = 4
LAYOUT = Layout((((2, 3), np.dtype(np.uint8)), ((5,), np.dtype(np.float16)), ((), np.dtype(np.int64))))


def block(number: int) -> np.ndarray:
    """A block whose lessons all say its number, in each part."""
    made = np.zeros(LAYOUT.size(PER), np.uint8)
    for part in LAYOUT.views(made, PER):
        part[...] = number
    return made


def store(rows: int, blocks: int) -> Store:
    made = Store(rows * PER, "cpu", Stream(LAYOUT, PER, (), iter(block(i) for i in range(blocks))))
    made.fill(blocks * PER)
    return made


def test_parts_of_a_block_share_no_byte_and_begin_where_their_numbers_may():
    used = np.zeros(LAYOUT.size(PER), int)
    for place, (_, dtype) in zip(LAYOUT.places(PER), LAYOUT.parts, strict=True):
        used[place] += 1
        assert place.start % dtype.itemsize == 0
    assert used.max() == 1


@pytest.mark.parametrize("blocks", [3, 5, 6, 13])
def test_what_is_drawn_is_whole_and_never_of_the_block_that_is_being_written(blocks):
    torch.manual_seed(blocks)
    drawn = store(5, blocks).draw(400)
    assert [tuple(part.shape) for part in drawn] == [(400, 2, 3), (400, 5), (400,)]
    said = drawn[2]
    assert bool((drawn[0] == said.view(-1, 1, 1)).all())
    assert bool((drawn[1] == said.view(-1, 1)).all())
    # The next block goes where the oldest of five is, once there are five.
    kept = range(max(blocks - 4, 0), blocks) if blocks >= 5 else range(blocks)
    assert set(said.tolist()) == set(kept)


@pytest.mark.parametrize("wanted", [[1, 0, 1, 1, 0, 0, 1], [0, 0, 0, 1], [1, 1]])
def test_as_many_as_asked_for_and_only_the_wanted(wanted):
    chosen = fixed(torch.tensor(wanted, dtype=torch.bool), 6).tolist()
    places = [i for i, w in enumerate(wanted) if w]
    assert len(chosen) == 6
    assert set(chosen) == set(places[:6])
