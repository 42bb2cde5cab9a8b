"""Painted clips through the watching of a clip, with stand-ins for the networks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
import pytest

from litlamp.media.clip import Clip
from litlamp.sight.eyes import Eyes
from litlamp.sight.find import WINDOW
from litlamp.sight.signals import SignalInClip, signals_in
from litlamp.sight.watch import Watched, seconds, watch

SIZE = (480, 360)
Film = Callable[..., Clip]


@pytest.fixture(scope="module")
def ground() -> np.ndarray:
    """Something grey for the eye to hold on to, fainter than any lamp; larger than the picture."""
    noise = np.random.default_rng(11).normal(0, 1, (SIZE[1] + 240, SIZE[0] + 240)).astype(np.float32)
    soft = cv2.normalize(cv2.GaussianBlur(noise, (0, 0), 2.5), None, 16, 48, cv2.NORM_MINMAX)
    return np.asarray(soft, np.uint8)


@pytest.fixture(scope="module")
def scene(ground: np.ndarray, lamp: type) -> Callable[..., np.ndarray]:
    """`scene(lamps, shift)`: lamps (x, y, diameter, colour) on the ground, all moved together."""

    def draw(
        lamps: Iterable[tuple[float, float, float, str]],
        shift: tuple[float, float] = (0.0, 0.0),
        grow: float = 1.0,
    ) -> np.ndarray:
        back = np.array([[1 / grow, 0, 120 - shift[0] / grow], [0, 1 / grow, 120 - shift[1] / grow]])
        grey = cv2.warpAffine(ground, back, SIZE, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
        rgb = np.dstack([grey] * 3)
        for x, y, d, colour in lamps:
            at = [round((grow * v + s - 0.5) * 16) for v, s in zip((x, y), shift, strict=True)]
            cv2.circle(rgb, at, round(grow * d * 8), PAINT[colour], -1, cv2.LINE_AA, 4)
        return rgb

    return draw


PAINT = {"red": (255, 40, 24), "yellow": (255, 190, 24), "green": (40, 255, 130), "off": (10, 10, 10)}


def sway(t: float) -> tuple[float, float]:
    return 20 * np.sin(2.2 * t), 12 * np.cos(1.6 * t)


def read(clip: Clip, eyes: Eyes) -> tuple[Watched, tuple[SignalInClip, ...]]:
    watched = watch(clip, eyes)
    return watched, signals_in(watched, eyes.calibration)


def lit_heads(signal: SignalInClip) -> list[str]:
    seen = signal.stretches[signal.last_clear].seen
    return [max(h.colour, key=lambda k: h.colour[k]) for h in seen.heads]


def test_a_swaying_signal_is_one_and_each_lamp_keeps_its_rhythm(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    def pictures() -> Iterator[np.ndarray]:
        for i in range(120):
            t = i / 30
            upper = "yellow" if (t * 55 / 60) % 1 < 0.5 else "off"
            yield scene([(240, 120, 14, upper), (240, 190, 14, "red")], sway(t))

    watched, found = read(film(pictures()), eyes_for())
    assert watched.frames == 120
    assert watched.seconds == pytest.approx(119 / 30, abs=0.01)
    (signal,) = found
    assert signal.span == pytest.approx((0, 119 / 30), abs=0.1)
    assert len(signal.stretches) == 1
    assert lit_heads(signal) == ["yellow", "red"]
    upper, lower = signal.stretches[0].seen.heads
    assert upper.flashing is not None and upper.flashing > 0.99
    assert upper.flash_per_min == pytest.approx(55, abs=1.5)
    assert lower.flashing is not None and lower.flashing < 0.01
    assert not upper.dark_throughout and not lower.dark_throughout


def test_the_same_clip_is_read_the_same_twice(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    pictures = [scene([(240, 120, 14, "green")], sway(i / 30)) for i in range(60)]
    first, again = (read(film(pictures), eyes_for())[1] for _ in range(2))
    assert [s.stretches for s in first] == [s.stretches for s in again]


def test_two_signals_are_two(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    lamps = [(120, 150, 12, "green"), (360, 120, 12, "red"), (360, 180, 12, "yellow")]
    _, found = read(film(scene(lamps, sway(i / 30)) for i in range(75)), eyes_for())
    assert sorted(map(tuple, map(lit_heads, found))) == [("green",), ("red", "yellow")]


def test_growth_is_followed(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    def pictures() -> Iterator[np.ndarray]:
        for i in range(90):
            grow = 1 + i / 60
            yield scene([(240, 150, 10, "red")], (240 * (1 - grow), 150 * (1 - grow)), grow)

    _, found = read(film(pictures()), eyes_for())
    (signal,) = found
    first, *_, last = [look.pose.width for look in signal.track.looks]
    assert last / first > 1.9
    told = signal.stretches[0].seen.heads[0].flashing
    assert told is not None and told < 0.01


@pytest.mark.parametrize("step", [20, 24, 28, 32, 36, 40])
def test_a_signal_that_came_near_in_one_bound_is_the_same(
    step: int, film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    lamps = [(150, 100, 10, "green"), (150, 150, 10, "red")]
    clip = film(scene(lamps, (40, -30), 1.7) if i >= step else scene(lamps) for i in range(75))
    watched, found = read(clip, eyes_for())
    assert [lit_heads(signal) for signal in found] == [["green", "red"]]
    assert watched.tracks[0].heads_box().centre == pytest.approx((295, 182.5), abs=3)


def test_a_signal_that_a_train_has_passed_is_not_the_next_one(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    def frame(i: int) -> np.ndarray:
        t = i / 30
        if t < 1.2:  # it comes near, and is gone
            grow = 1 / (1 - 0.42 * t)
            return scene([(150, 100, 8, "yellow"), (150, 130, 8, "red")], (60 * t, -20 * t), grow)
        if t < 5:
            return scene([])
        return scene([(420, 210, 18, "green")], (4 * (t - 5), 0))

    _, found = read(film(frame(i) for i in range(200)), eyes_for())
    assert [lit_heads(signal) for signal in found] == [["yellow", "red"], ["green"]]
    assert found[0].span[1] < 3 < found[1].span[0]


def test_a_change_of_aspect_is_two_stretches_and_no_flash(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    def pictures() -> Iterator[np.ndarray]:
        for i in range(165):
            upper = "green" if i < 75 else "red"
            yield scene([(240, 120, 14, upper), (240, 190, 14, "red")], sway(i / 30))

    _, found = read(film(pictures()), eyes_for())
    (signal,) = found
    before, after = signal.stretches
    assert before.span[1] == after.span[0] == pytest.approx(2.5, abs=0.07)
    names = [[max(h.colour, key=lambda k: h.colour[k]) for h in s.seen.heads] for s in signal.stretches]
    assert names == [["green", "red"], ["red", "red"]]
    assert signal.last_clear == 1
    for stretch in signal.stretches:
        assert all(h.flashing is not None and h.flashing < 0.01 for h in stretch.seen.heads)


def test_a_lamp_that_lights_up_beside_a_steady_one_is_looked_at_at_once(
    film: Film,
    scene: Callable[..., np.ndarray],
    eyes_for: Callable[..., Eyes],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(PAINT, "dark", (4, 4, 150))
    clip = film(
        scene([(240, 120, 14, "red"), (240, 190, 14, "dark" if i < 122 else "yellow")], sway(i / 30))
        for i in range(160)
    )
    _, (signal,) = read(clip, eyes_for())
    assert len([look for look in signal.track.looks if 122 / 30 < look.at < 5.3]) >= 2
    before, after = signal.stretches
    assert before.seen.heads[1].colour["dark"] > 0.5
    assert after.seen.heads[1].colour["yellow"] > 0.5
    assert after.span[0] == pytest.approx(122 / 30, abs=0.1)


def test_a_mast_is_searched_for_plates_now_and_then_but_those_known_are_read_at_each_look(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes], finder: Any
) -> None:
    def pictures() -> Iterator[np.ndarray]:
        for i in range(420):
            dx, dy = (round(v) for v in sway(i / 30))
            rgb = scene([(240, 100, 16, "red")], (dx, dy))
            rgb[190 + dy : 214 + dy, 228 + dx : 252 + dx] = (250, 40, 250)
            yield rgb

    (signal,) = read(film(pictures()), eyes_for(finder))[1]
    looks = [look for look in signal.track.looks if look.glance is not None]
    for look in looks:
        assert look.glance is not None
        (read_too,) = look.glance.seen.plates_seen
        assert read_too.letters["R"] > 0.5
        (board,) = look.glance.boards
        dx, dy = sway(look.at)
        assert board.box.centre == pytest.approx((240 + dx, 202 + dy), abs=4)
    searched = [look for look in looks if look.glance is not None and look.glance.searched]
    masts = [shape for shape in finder.asked if shape[1:3] != (WINDOW, WINDOW) and max(shape) < 640]
    assert len(looks) >= 6
    assert len(searched) <= len(masts) <= 0.7 * len(looks)
    assert len(signal.track.looks) - 1 > looks.index(searched[-1]) > 3  # never for good


def test_what_passes_before_a_signal_does_not_end_it(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    def pictures() -> Iterator[np.ndarray]:
        for i in range(120):
            rgb = scene([(240, 120, 14, "green"), (240, 190, 14, "red")])
            x = int(-160 + 9 * (i - 30))
            if x < SIZE[0]:  # a pole, for most of a second
                rgb[:, max(x, 0) : max(x + 160, 0)] = (60, 60, 60)
            yield rgb

    _, found = read(film(pictures()), eyes_for())
    (signal,) = found
    assert signal.span == pytest.approx((0, 119 / 30), abs=0.1)
    assert len(signal.stretches) == 1
    assert lit_heads(signal) == ["green", "red"]
    for head in signal.stretches[0].seen.heads:
        assert head.flashing is None or head.flashing < 0.5
    hidden = ~np.array(signal.track.seen, bool)
    assert 0.1 < hidden.mean() < 0.6


def test_a_head_dark_throughout_is_said_so_only_when_watched_for_long(
    film: Film,
    scene: Callable[..., np.ndarray],
    eyes_for: Callable[..., Eyes],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # A blue disc is what the stand-in takes for a dark head; this one gives next to no light.
    monkeypatch.setitem(PAINT, "dark", (4, 4, 106))
    for count, known in ((130, True), (60, False)):
        pictures = (
            scene([(240, 120, 14, "green"), (240, 190, 14, "dark")], sway(i / 30)) for i in range(count)
        )
        _, (signal,) = read(film(pictures), eyes_for())
        head = signal.stretches[0].seen.heads[1]
        assert head.colour["dark"] > 0.9
        assert head.dark_throughout is known


def test_a_lamp_caught_dark_in_most_looks_is_not_dark(
    film: Film,
    scene: Callable[..., np.ndarray],
    eyes_for: Callable[..., Eyes],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(PAINT, "dark", (30, 30, 200))

    def pictures() -> Iterator[np.ndarray]:
        for i in range(120):
            lit = (i / 30 * 50 / 60) % 1 < 0.35
            yield scene([(240, 120, 14, "green"), (240, 190, 14, "yellow" if lit else "dark")], sway(i / 30))

    _, (signal,) = read(film(pictures()), eyes_for())
    assert lit_heads(signal) == ["green", "yellow"]
    assert not signal.stretches[0].seen.heads[1].dark_throughout


@pytest.mark.parametrize(("rate", "looked_at"), [(25, 25), (30, 30), (40, 40), (50, 25), (60, 30), (120, 40)])
def test_of_very_many_frames_a_second_some_are_passed_over(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes], rate: int, looked_at: int
) -> None:
    def pictures() -> Iterator[np.ndarray]:
        for i in range(round(2.6 * rate)):
            lit = "yellow" if (i / rate * 75 / 60) % 1 < 0.5 else "off"
            yield scene([(240, 120, 14, lit), (240, 190, 14, "red")], sway(i / rate))

    times = [round(1000 * i / rate) for i in range(round(2.6 * rate))]
    watched, (signal,) = read(film(pictures(), times=times), eyes_for())
    assert watched.frames == round(2.6 * rate)
    assert len(signal.track.times) == pytest.approx(2.6 * looked_at, abs=3)
    upper, lower = signal.stretches[0].seen.heads
    assert upper.flashing is not None and upper.flashing > 0.95
    assert upper.flash_per_min == pytest.approx(75, abs=3)
    assert lower.flashing is not None and lower.flashing < 0.05


def test_a_look_waits_for_a_flashing_lamp_to_be_lit(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    def lit(at: float) -> bool:
        return (at * 70 / 60) % 1 < 0.5

    clip = film(
        scene([(240, 120, 14, "yellow" if lit(i / 30) else "off"), (240, 190, 14, "red")], sway(i / 30))
        for i in range(340)
    )
    _, (signal,) = read(clip, eyes_for())
    looks = [look for look in signal.track.looks if look.at > 1]
    assert len(looks) >= 3
    assert all(lit(look.at) for look in looks)
    flashing = signal.stretches[-1].seen.heads[0].flashing
    assert flashing is not None and flashing > 0.99


def test_while_all_lamps_are_steady_frames_are_looked_at_two_by_two(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    def steps(first_dark: float, seconds: float) -> tuple[np.ndarray, np.ndarray, SignalInClip]:
        """The times looked at and what lies between them; the upper lamp flashes from some moment on."""

        def pictures() -> Iterator[np.ndarray]:
            for i in range(round(30 * seconds)):
                t = i / 30
                upper = "off" if t >= first_dark and ((t - first_dark) * 60 / 60) % 1 < 0.5 else "yellow"
                yield scene([(240, 120, 14, upper), (240, 190, 14, "red")], sway(t))

        _, (signal,) = read(film(pictures()), eyes_for())
        times = np.array(signal.track.times)
        return times[1:], np.diff(times), signal

    times, apart, signal = steps(99.0, 6.0)
    assert (apart[times < 1.5] < 0.035).all()
    later = apart[times > 3]
    assert np.isclose(later, 1 / 30, atol=0.002).mean() == pytest.approx(0.5, abs=0.1)
    assert later.max() < 0.14
    assert all(h.flashing is not None and h.flashing < 0.01 for h in signal.stretches[0].seen.heads)

    times, apart, signal = steps(0.7, 6.0)
    assert (apart < 0.035).all()
    upper = signal.stretches[-1].seen.heads[0].flashing
    assert upper is not None and upper > 0.99

    times, apart, signal = steps(4.0, 9.0)
    assert apart[(times > 3) & (times < 4)].max() > 0.09
    assert (apart[times > 4.15] < 0.035).all()


def test_under_a_second_and_a_half_no_flash_is_told(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    _, (signal,) = read(film(scene([(240, 150, 14, "red")], sway(i / 30)) for i in range(42)), eyes_for())
    assert signal.stretches[0].seen.heads[0].flashing is None
    assert "1.5 s" in (signal.stretches[0].flashes[0].reason or "")


def test_times_that_do_not_increase_tell_no_flash_but_the_signal_is_read(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    pictures = [scene([(240, 150, 14, "red")], sway(i / 30)) for i in range(90)]
    times = [33 * i for i in range(90)]
    times[40] = times[39]
    watched, (signal,) = read(film(pictures, times=times), eyes_for())
    assert watched.times_fault is not None
    assert signal.stretches[0].seen.heads[0].flashing is None
    assert signal.stretches[0].flashes[0].reason == watched.times_fault


def test_one_frame_is_read_as_a_still(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    _, (signal,) = read(film([scene([(240, 150, 14, "red")])]), eyes_for())
    assert lit_heads(signal) == ["red"]
    assert signal.span == (0.0, 0.0)
    assert signal.stretches[0].seen.heads[0].flashing is None


def test_no_lamp_no_signal(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    watched, found = read(film(scene([], sway(i / 30)) for i in range(40)), eyes_for())
    assert found == ()
    assert watched.frames == 40


def test_a_light_seen_once_is_no_signal(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    pictures = (scene([(240, 150, 14, "red")] if i < 3 else [], sway(i / 30)) for i in range(90))
    assert read(film(pictures), eyes_for())[1] == ()


def test_a_new_size_in_mid_clip_is_gone_on_with(
    film: Film, scene: Callable[..., np.ndarray], eyes_for: Callable[..., Eyes]
) -> None:
    def pictures() -> Iterator[np.ndarray]:
        for i in range(90):
            rgb = scene([(240, 150, 16, "red")], sway(i / 30))
            yield rgb if i < 45 else cv2.resize(rgb, (240, 180), interpolation=cv2.INTER_AREA)

    watched, found = read(film(pictures()), eyes_for())
    (signal,) = found
    assert watched.size == SIZE
    x, y = signal.stretches[0].seen.heads[0].box.centre
    assert abs(x - 240) < 40 and abs(y - 150) < 40  # in px of the first frame


def test_seconds_run_on_where_times_cannot_be_trusted(film: Film) -> None:
    blank = np.zeros((8, 8, 3), np.uint8)
    times = [0, 33, 33, 10, 66, 99_000_000]
    at = [t for _, t in seconds(film([blank] * 6, times=times))]
    assert all(b > a for a, b in pairwise(at))
    assert at[-1] < 1
