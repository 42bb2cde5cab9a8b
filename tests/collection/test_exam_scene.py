import itertools
import json

import numpy as np
import pytest

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.aspects.rulebook import load_book
from litlamp.collection.exam_scene import SEEDS, exam_aspect, exam_scene, rule_of
from litlamp.collection.truth_file import parse_truth

BOOK = load_book("CROR", "2025")
FIRST = SEEDS["exam"].start


def aspects(seeds, book=BOOK):
    return [exam_aspect(s, book, np.random.default_rng((s, 31))) for s in seeds]


def test_seeds_of_different_purposes_never_meet_nor_reach_training():
    seeds = sorted(SEEDS.values(), key=lambda r: r.start)
    assert all(a.stop <= b.start for a, b in itertools.pairwise(seeds))
    assert seeds[-1].stop <= 1_000_000


@pytest.mark.parametrize("book", [BOOK, load_book("CROR", "2008"), load_book("NORAC"), load_book("UP")])
def test_every_rule_comes_in_turn_and_the_book_reads_it_back(book):
    shown = [r.number for r in book.rules if r.aspects]
    got = aspects(range(FIRST, FIRST + 5 * len(shown)), book)
    assert sorted(rule.number for rule, _ in got) == sorted(5 * shown)
    assert all(rule_of(aspect, book) == rule.number for rule, aspect in got)


def test_the_rows_mount_arrangement_and_plates_are_there():
    drawn = aspects(range(FIRST, FIRST + 2000))
    lone_red = {(a.mount, r.number): a for r, a in drawn if a.heads == (Lamp("red"),)}
    assert "A" in lone_red["mast", "439"].plates
    assert "R" in lone_red["mast", "436"].plates
    assert not {"A", "R"} & lone_red["mast", "437"].plates
    staggered = {r.number for r, a in drawn if a.heads == (Lamp("red"),) * 2 and a.arrangement == "staggered"}
    assert {"437", "436"} <= staggered  # CROR 437: heads staggered; with an R plate 436


def test_every_row_of_the_book_is_drawn_sooner_or_later():
    drawn = {(r.number, a.heads) for r, a in aspects(range(FIRST, FIRST + 3000))}
    assert drawn == {(rule.number, row.heads) for rule, row in BOOK.rows()}


def test_the_same_seed_is_the_same_scene():
    (one, line), (two, again) = exam_scene(FIRST + 7, BOOK), exam_scene(FIRST + 7, BOOK)
    assert np.array_equal(one, two)
    assert line == again
    assert line["source"] == f"{FIRST + 7}.png"
    assert not np.array_equal(one, exam_scene(FIRST + 8, BOOK)[0])


def test_the_truth_is_that_of_the_picture():
    for seed in range(FIRST, FIRST + 24):
        rgb, line = exam_scene(seed, BOOK)
        truth = parse_truth(json.dumps(line).encode(), "t")[0]
        signal = truth.signals[0]
        assert rgb.dtype == np.uint8
        assert line["size"] == [rgb.shape[1], rgb.shape[0]]
        assert sorted(rgb.shape[:2]) == [480, 640]
        assert len(truth.signals) == 1
        told = Aspect(
            signal.heads, signal.mount, line["signals"][0]["arrangement"], signal.plates,
            line["signals"][0]["number"],
        )  # fmt: skip
        assert rule_of(told, BOOK) == signal.rule


def test_lenses_are_of_every_size():
    sizes = []
    for seed in range(FIRST, FIRST + 60):
        line = exam_scene(seed, BOOK)[1]
        sizes += [lamp["diameter_px"] for lamp in line["signals"][0]["lamps"][:1]]
    # Thirds of log(3..24) end at 6 and 12. Of 60, fewer than 8 in a third of 20 expected has a chance under
    # 0.001; tall signals of the largest third are made smaller to fit.
    assert all(sum(a <= s < b for s in sizes) >= 8 for a, b in ((2.5, 6), (6, 12), (12, 26)))
