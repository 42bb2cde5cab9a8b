from __future__ import annotations

import hashlib
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from litlamp.aspects.aspect import COLOURS
from litlamp.box import Box
from litlamp.media.frame import Frame
from litlamp.report.marks import View, head_words, mark_signal, plate_words, ring
from litlamp.report.picture import PictureError, annotate, save_picture
from litlamp.report.sheet import Sheet, printable, text_width, wrap
from litlamp.sight.seen import HeadSeen, PlateSeen


def frame(width: int, height: int, seed: int = 0) -> Frame:
    rng = np.random.default_rng(seed)
    rgb = rng.integers(60, 120, (height, width, 3), np.uint8)
    rgb.setflags(write=False)
    return Frame(rgb)


def test_the_callers_picture_is_left_alone(by_hand: Any) -> None:
    of = frame(400, 300)
    before = hashlib.sha256(of.rgb.tobytes()).digest()
    out = annotate(of, by_hand.source((by_hand.signal("yellow", "red", plate="R"), by_hand.guarded())))
    assert hashlib.sha256(of.rgb.tobytes()).digest() == before
    assert not np.shares_memory(out, of.rgb)
    assert out.flags.writeable


def test_the_same_reading_gives_the_same_picture(by_hand: Any) -> None:
    reading = by_hand.source((by_hand.signal("yellow", "red"), by_hand.settled()))
    assert np.array_equal(annotate(frame(400, 300), reading), annotate(frame(400, 300), reading))


@pytest.mark.parametrize(
    "size", [(1, 1), (1, 900), (900, 1), (3, 2), (64, 64), (640, 480), (1200, 3000), (40000, 20)]
)
def test_any_size(by_hand: Any, size: tuple[int, int]) -> None:
    signal = by_hand.signal("yellow", "red", x=size[0] / 2, y=size[1] / 3, d=max(size[1] / 9, 0.2))
    out = annotate(frame(*size), by_hand.source((signal, by_hand.guarded()), size=size))
    assert out.dtype == np.uint8 and out.ndim == 3 and out.shape[2] == 3
    assert out.shape[1] >= 640


def test_twelve_megapixels_in_good_time(by_hand: Any) -> None:
    of = frame(4000, 3000)
    signal = by_hand.signal("yellow", "red", x=2000, y=1400, d=9)
    reading = by_hand.source((signal, by_hand.settled()), size=(4000, 3000))
    start = time.perf_counter()
    out = annotate(of, reading)
    assert time.perf_counter() - start < 3
    assert out.shape[1] == 1600


@pytest.mark.parametrize(
    ("x", "y"), [(0, 0), (399, 0), (0, 299), (399, 299), (-30, 150), (430, 150), (200, -40)]
)
def test_a_signal_at_the_border_or_past_it(by_hand: Any, x: float, y: float) -> None:
    for d in (2.0, 60.0):
        signal = by_hand.signal("green", "dark", "red", x=x, y=y, d=d, plate="A")
        annotate(frame(400, 300), by_hand.source((signal, by_hand.settled())))


def test_many_signals_each_get_their_line(by_hand: Any) -> None:
    one = annotate(frame(800, 400), by_hand.source(size=(800, 400)))
    signals = [(by_hand.signal("red", x=20 + 25 * i, y=100, d=12), by_hand.settled()) for i in range(30)]
    many = annotate(frame(800, 400), by_hand.source(*signals, size=(800, 400)))
    more = annotate(frame(800, 400), by_hand.source(*signals[:29], size=(800, 400)))
    assert many.shape[0] > more.shape[0] > one.shape[0]


def test_the_card_hides_nothing(by_hand: Any) -> None:
    """With small heads marked on the card, all of the picture but the signal's surroundings is as it was."""
    of = frame(1200, 900)
    signal = by_hand.signal("red", "green", x=400, y=300, d=5)
    out = annotate(of, by_hand.source((signal, by_hand.settled()), size=(1200, 900)))
    near = np.zeros((900, 1200), bool)
    near[260:350, 360:440] = True
    assert np.array_equal(out[:900, :1200][~near], of.rgb[~near])


def test_lamps_are_not_drawn_over(by_hand: Any) -> None:
    of = frame(1200, 1200)
    signal = by_hand.signal("red", "yellow", "green", x=300, y=150, d=80, stagger=0.4)
    out = annotate(of, by_hand.source((signal, by_hand.settled()), size=(1200, 1200)))
    for head in signal.heads:
        assert head.lamp is not None
        x, y = round(head.lamp.x), round(head.lamp.y)
        assert np.array_equal(out[y - 15 : y + 15, x - 15 : x + 15], of.rgb[y - 15 : y + 15, x - 15 : x + 15])


def test_colours_differ_in_shape_alone() -> None:
    """Seen without any colour, no two rings are the same."""
    shapes = []
    for colour in COLOURS:
        sheet = Sheet.blank(100, 100, (0, 0, 0))
        ring(sheet, colour, 50, 50, 30, 3)
        shapes.append(sheet.pixels.max(axis=2) > 60)
    for i, a in enumerate(shapes):
        assert a.sum() > 100
        for b in shapes[:i]:
            assert (a & b).sum() / (a | b).sum() < 0.7


def test_words_of_a_head(by_hand: Any) -> None:
    sure, doubtful = by_hand.head("lunar", 5, 5), by_hand.head("red", 5, 5, sure=0.71)
    assert head_words(sure) == "lunar"
    assert head_words(doubtful).replace("\u00a0", " ") == "red? 71 %"
    assert head_words(replace(sure, flashing=0.9)) == "flashing lunar"
    assert head_words(replace(sure, flashing=0.1)) == "lunar"


def test_words_of_a_plate() -> None:
    box = Box(0, 0, 1, 1)
    assert plate_words(PlateSeen(box, {"DV": 0.95, "other": 0.05}), None) == "DV plate"
    assert plate_words(PlateSeen(box, {"R": 0.6, "DV": 0.4}), None).replace("\u00a0", " ") == "R plate? 60 %"
    assert plate_words(PlateSeen(box, {"number": 0.9}), "1042") == "number 1042"
    assert plate_words(PlateSeen(box, {"other": 0.9}), None) == "plate, not legible"


def test_tags_never_cover_a_head_or_each_other(by_hand: Any) -> None:
    area = Box(0, 0, 600, 400)
    placed: list[Box] = []
    signals = [by_hand.signal("red", "green", x=x, y=100, d=40) for x in (60, 250, 540)]
    heads: list[HeadSeen] = [h for s in signals for h in s.heads]
    taken: list[Box] = []
    sheet = Sheet.blank(600, 400)
    for signal in signals:
        before = len(taken)
        others = [s.box for s in signals if s is not signal]
        if mark_signal(sheet, View(1, 0, 0, area), signal, 20, others, taken):
            placed += taken[before:]
    assert len(placed) >= 4
    for i, tag in enumerate(placed):
        assert tag.clamp(600, 400) == tag
        assert all(tag.iou(h.box) == 0 for h in heads)
        assert all(tag.iou(other) == 0 for other in placed[:i])


def test_no_line_leads_across_another_signal(by_hand: Any) -> None:
    """No room at the left, another signal at the right: the place beyond it is none."""
    sheet = Sheet.blank(600, 400)
    signal, other = by_hand.signal("red", "green", x=30, y=100), by_hand.signal("red", "green", x=110, y=100)
    view = View(1, 0, 0, Box(0, 0, 600, 400))
    assert not mark_signal(sheet, view, signal, 20, [other.box], [])
    assert mark_signal(sheet, view, signal, 20, [], [])


def test_no_room_for_tags_draws_nothing(by_hand: Any) -> None:
    sheet = Sheet.blank(60, 200)
    before = sheet.pixels.copy()
    signal = by_hand.signal("red", "green", x=30, y=50, d=40)
    assert not mark_signal(sheet, View(1, 0, 0, Box(0, 0, 60, 200)), signal, 30, [], [])
    assert np.array_equal(sheet.pixels, before)


def test_faults_of_the_caller(by_hand: Any) -> None:
    with pytest.raises(ValueError, match="max_side"):
        annotate(frame(10, 10), by_hand.source(), max_side=10)
    with pytest.raises(ValueError, match="could not be read"):
        annotate(frame(10, 10), by_hand.source(failure="empty"))


def test_words_the_font_lacks_are_made_plain() -> None:
    assert printable("Île d'Orléans") == "Ile d'Orleans"
    assert printable("9 × 5 – 3") == "9 x 5 - 3"
    assert printable("漢字") == "??"
    assert printable("a\nb") == "a b"


def test_wrapped_words_fit_and_none_is_lost() -> None:
    words = "the quick signal maintainer walks past a dwarf signal by Quarry Road"
    lines = wrap(words, 20, 160)
    assert " ".join(lines) == words
    assert all(text_width(line, 20) <= 160 for line in lines)


def test_saved_whole(tmp_path: Path) -> None:
    rgb = frame(30, 20).rgb
    for name in ("a.png", "a.jpg"):
        save_picture(rgb, tmp_path / name)
    with Image.open(tmp_path / "a.png") as png, Image.open(tmp_path / "a.jpg") as jpg:
        assert np.array_equal(np.asarray(png), rgb)
        assert jpg.format == "JPEG" and jpg.size == (30, 20)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.jpg", "a.png"]


def test_nothing_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "old.png").write_bytes(b"old")

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Image.Image, "save", full)
    with pytest.raises(PictureError, match="no space left"):
        save_picture(frame(5, 5).rgb, tmp_path / "old.png")
    assert (tmp_path / "old.png").read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["old.png"]


@pytest.mark.parametrize("name", ["missing/a.png", "folder", "a\0b.png"])
def test_unwritable(tmp_path: Path, name: str) -> None:
    (tmp_path / "folder").mkdir()
    with pytest.raises(PictureError):
        save_picture(frame(5, 5).rgb, tmp_path / name)
    assert [p.name for p in tmp_path.iterdir()] == ["folder"]
