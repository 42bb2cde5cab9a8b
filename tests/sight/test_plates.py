"""Plates: what was read, and what could not have been."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.aspects.aspect import PLATES
from litlamp.box import Box
from litlamp.sight.crop import LETTERS
from litlamp.sight.eyes import Calibration, log_odds
from litlamp.sight.find import HeadFound, PlateFound
from litlamp.sight.plates import LEAST_SHOWN, belongs, number_read, plate_beliefs, read_letters
from litlamp.sight.seen import PlateSeen

TUNED = Calibration("nothing")
BOX = Box(0, 0, 10, 10)
CHANCE = st.floats(0, 1)
NONE = dict.fromkeys(PLATES, 0.0)
EVEN = dict.fromkeys(PLATES, 0.5)


def board(**letters: float) -> PlateSeen:
    rest = 1.0 - sum(letters.values())
    return PlateSeen(BOX, {k: letters.get(k, 0.0) + (rest if k == "other" else 0.0) for k in LETTERS})


@st.composite
def boards(draw):
    shares = np.array(draw(st.lists(st.floats(0, 1), min_size=6, max_size=6))) + 1e-9
    return PlateSeen(BOX, dict(zip(LETTERS, (shares / shares.sum()).tolist(), strict=True)))


SEEN = st.lists(boards(), max_size=3)
READER = st.fixed_dictionaries(dict.fromkeys(PLATES, CHANCE))


@given(seen=SEEN, reader=READER, blank=CHANCE)
def test_belief_of_each_kind_sums_to_one(seen, reader, blank):
    tuned = Calibration("nothing", plate_blank=blank)
    beliefs = plate_beliefs(seen, reader, tuned)
    assert tuple(beliefs) == PLATES
    for belief in beliefs.values():
        parts = (belief.present, belief.absent, belief.unknown)
        assert sum(parts) == pytest.approx(1.0)
        assert min(parts) >= 0


@given(usual=st.floats(0.02, 0.5))
def test_where_nothing_moves_belief_a_plate_is_unknown_never_absent(usual):
    """The reader's weight is 1 and nothing is read: belief stays what it was in training."""
    letters = 0.7 * log_odds(0.0, LEAST_SHOWN)
    tuned = Calibration("nothing", plate_bias=-letters, plate_reader=1.0, plate_usual=(usual,) * 4)
    for belief in plate_beliefs([], dict.fromkeys(PLATES, usual), tuned).values():
        assert belief.present == pytest.approx(usual, abs=1e-6)
        assert belief.absent == pytest.approx(0.0, abs=1e-6)


@given(seen=SEEN, reader=READER, low=CHANCE, high=CHANCE)
def test_the_likelier_a_plate_the_less_is_it_believed_absent(seen, reader, low, high):
    low, high = sorted((low, high))
    for kind in PLATES:
        likely = plate_beliefs(seen, reader | {kind: high}, TUNED)[kind].absent
        hardly = plate_beliefs(seen, reader | {kind: low}, TUNED)[kind].absent
        assert likely <= hardly + 1e-9


@pytest.mark.parametrize("kind", PLATES)
def test_letters_read_surely_raise_their_own_kind(kind):
    beliefs = plate_beliefs([board(**{kind: 0.99})], EVEN, TUNED)
    assert beliefs[kind].present > 0.9
    assert all(b.present < 0.1 for k, b in beliefs.items() if k != kind)


def test_a_board_that_cannot_be_read_may_be_any_of_the_four():
    clear = plate_beliefs([], NONE, TUNED)
    blank = plate_beliefs([board()], NONE, TUNED)
    for kind in PLATES:
        assert clear[kind].absent > 0.99
        assert blank[kind].unknown >= 0.4


def test_the_reader_may_raise_a_plate_whose_letter_was_not_read():
    beliefs = plate_beliefs([board()], NONE | {"A": 0.999}, TUNED)
    assert beliefs["A"].present > 0.5
    assert beliefs["R"].present < 0.1


def test_a_number_plate_is_said_to_be_seen_and_none_is_not_said_to_be_absent():
    assert number_read([], TUNED) is None
    assert number_read([board(number=0.4)], TUNED) is None
    assert number_read([board(), board(number=0.9)], TUNED) == "?"


@given(score=CHANCE, letters=st.sampled_from(LETTERS))
def test_letters_are_weighed_by_the_finders_doubt_of_the_plate(score, letters, eyes_for):
    rgb = np.zeros((40, 40, 3), np.uint8)
    (plate,) = read_letters(rgb, [PlateFound(BOX, score, 1.0)], eyes_for(letters=letters))
    assert tuple(plate.letters) == LETTERS
    assert sum(plate.letters.values()) == pytest.approx(1.0)
    if letters != "other":
        assert plate.letters[letters] <= score
        assert plate.letters["other"] >= 1 - score - 1e-9


def test_no_plates_no_letters(eyes_for):
    assert read_letters(np.zeros((4, 4, 3), np.uint8), [], eyes_for()) == []


def heads(width: float = 20.0, n: int = 2) -> list[HeadFound]:
    out = []
    for i in range(n):
        y = 100 + 2.5 * width * i
        box = Box(100 - width / 2, y - width / 2, 100 + width / 2, y + width / 2)
        out.append(HeadFound(100, y, box, width / 3, np.zeros(5, np.float32), (100, y), 0.9, 1.0))
    return out


def plate(x: float, y: float, side: float = 12.0, score: float = 0.8) -> PlateFound:
    return PlateFound(Box(x - side / 2, y - side / 2, x + side / 2, y + side / 2), score, 1.0)


@pytest.mark.parametrize("width", [6.0, 20.0, 90.0])
def test_plates_on_the_post_belong_and_others_do_not(width):
    mast = heads(width)
    low = mast[-1].box.y1
    assert belongs(plate(100, low + 2 * width, 0.8 * width), mast)
    assert belongs(plate(100 + 0.9 * width, low + width, 0.5 * width), mast)
    assert belongs(plate(100 + 1.9 * width, low + 6 * width, 0.5 * width), mast)  # the post leans
    assert not belongs(plate(100 + 4 * width, low + width, 0.8 * width), mast)
    assert not belongs(plate(100, low + 12 * width, 0.8 * width), mast)
    assert not belongs(plate(100, 100 - 4 * width, 0.8 * width), mast)
    assert not belongs(plate(100, low + width, 5 * width), mast)
    assert not belongs(plate(100, low + width, 0.05 * width), mast)


def test_what_lies_on_a_head_is_what_the_finder_takes_it_for_more_surely():
    mast = heads(20.0)
    for head in mast:
        x, y = head.box.centre
        assert not belongs(plate(x + 2, y, 19.0, head.score - 0.1), mast)
        assert belongs(plate(x + 2, y, 19.0, head.score + 0.05), mast)
        assert belongs(plate(x, y + 8, 9.0, head.score - 0.1), mast)  # over a part of it
