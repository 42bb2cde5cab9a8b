"""Signals handed out as they are passed, on painted clips with stand-ins for the networks."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator

import cv2
import numpy as np
import pytest

from litlamp.media.clip import Clip
from litlamp.sight.eyes import Eyes
from litlamp.sight.frozen import FORM, FrozenError, freeze, thaw
from litlamp.sight.passing import LIT_BEFORE, MOST_MOMENTS, VIEWS, Passing, moments, until
from litlamp.sight.signals import signals_in
from litlamp.sight.tracks import Track
from litlamp.sight.watch import REMEMBERED, Watched, seconds, watch

SIZE = (480, 360)
Film = Callable[..., Clip]


def ground() -> np.ndarray:
    noise = np.random.default_rng(11).normal(0, 1, (SIZE[1], SIZE[0])).astype(np.float32)
    soft = cv2.normalize(cv2.GaussianBlur(noise, (0, 0), 2.5), None, 16, 48, cv2.NORM_MINMAX)
    return np.dstack([np.asarray(soft, np.uint8)] * 3)


GROUND = ground()


def pictures(count: int, gone_from: int) -> Iterator[np.ndarray]:
    """A red lamp that grows, and is gone from some frame on."""
    for i in range(count):
        rgb = GROUND.copy()
        if i < gone_from:
            cv2.circle(rgb, (240, 150), round(6 + 0.08 * i), (255, 40, 24), -1, cv2.LINE_AA)
        yield rgb


def watched(film: Film, eyes: Eyes, count: int = 200, gone_from: int = 90) -> tuple[Passing, list, float]:
    looking, given, at = Passing(eyes), [], 0.0
    for frame, at in seconds(film(pictures(count, gone_from), fps=15)):
        looking.frame(frame, at)
        given += [(t, at) for t in looking.passed(at)]
    return looking, given, at


@pytest.fixture(scope="module")
def grown(film: Film, eyes_for: Callable[..., Eyes]) -> tuple[Passing, Track]:
    """A lamp in sight to the end, and its track."""
    looking, _, _ = watched(film, eyes_for(), 90, 90)
    return looking, max(looking.end(), key=lambda t: t.found)


def test_a_signal_is_handed_out_once_it_cannot_be_met_again(
    film: Film, eyes_for: Callable[..., Eyes]
) -> None:
    looking, given, end = watched(film, eyes_for(), 220)
    real = [(t, at) for t, at in given if t.found > 3]
    ((track, at),) = real
    assert at - track.last_seen > REMEMBERED
    assert at < end
    assert looking.views[track.number] and looking.ways[track.number].times
    looking.forget(track)
    assert track.number not in looking.views and track.number not in looking.ways
    assert all(t.number != track.number for t in looking.end())


def test_it_is_read_as_a_whole_clip_is(film: Film, eyes_for: Callable[..., Eyes]) -> None:
    eyes = eyes_for()
    looking, given, at = watched(film, eyes, 120, 120)
    tracks = [t for t, _ in given] + looking.end()
    ours = signals_in(Watched(tracks, SIZE, at, 0, None, ()), eyes.calibration)
    theirs = signals_in(watch(film(pictures(120, 120), fps=15), eyes), eyes.calibration)
    assert [s.stretches for s in ours] == [s.stretches for s in theirs]
    assert len(ours) == 1


def test_pictures_are_small_and_few_and_show_the_signal(grown: tuple[Passing, Track]) -> None:
    looking, track = grown
    views = looking.views[track.number]
    assert 0 < len(views) <= VIEWS
    for view in views:
        shown = cv2.imdecode(np.frombuffer(view.jpeg, np.uint8), cv2.IMREAD_COLOR_RGB)
        assert abs(shown.shape[1] - view.box.width) <= 2
        red = shown.astype(int)
        y, x = np.argwhere((red[..., 0] > 180) & (red[..., 1] < 120)).mean(axis=0)
        assert abs(x - shown.shape[1] / 2) < 12
        assert view.box.y0 < 150 < view.box.y1 and 0 < y < shown.shape[0]


def test_the_way_is_where_the_lamp_was(grown: tuple[Passing, Track]) -> None:
    looking, track = grown
    way = looking.ways[track.number]
    assert list(way.times) == sorted(way.times)
    for i in range(len(way.times)):
        x, y = way.box(i).centre
        assert abs(x - 240) < 4 and abs(y - 150) < 4


def test_what_was_known_then_knows_nothing_of_later(grown: tuple[Passing, Track]) -> None:
    _, track = grown
    for at in (0.0, 1.0, 3.5, 100.0):
        part = until(track, at)
        assert all(look.at <= at for look in part.looks)
        assert list(part.times) == [t for t in track.times if at - LIT_BEFORE <= t <= at]
        assert len(part.times) == len(part.seen) == len(part.common) == len(part.widths)
        for head, own in zip(part.heads, track.heads, strict=True):
            for lamp, whole in zip(head.lamps, own.lamps, strict=True):
                assert len(lamp.light) == len(lamp.red) == len(lamp.green)
                light = dict(zip(part.times[lamp.first :], lamp.light, strict=True))
                every = dict(zip(track.times[whole.first :], whole.light, strict=True))
                assert light == {t: every[t] for t in light}
                assert len(light) == sum(t in part.times for t in track.times[whole.first :])
    assert until(track, 100.0).looks == track.looks
    assert len(track.looks) > len(until(track, 1.0).looks)  # and the track itself is as it was


def test_moments_are_few_in_order_and_of_looks_that_saw_it(grown: tuple[Passing, Track]) -> None:
    _, track = grown
    chosen = moments(track, (2.0,))
    seen = [look.at for look in track.looks if look.glance is not None]
    assert set(chosen) <= set(seen)
    assert list(chosen) == sorted(chosen)
    assert chosen[0] == seen[0] and chosen[-1] == seen[-1]
    assert 3 <= len(chosen) <= MOST_MOMENTS + 4


@pytest.mark.parametrize("stop", [37, 150])
def test_laid_down_and_taken_up_it_goes_on_alike(
    film: Film, eyes_for: Callable[..., Eyes], stop: int
) -> None:
    eyes = eyes_for()
    whole, given, at = watched(film, eyes)
    looking, ours = Passing(eyes), []
    for i, (frame, now) in enumerate(seconds(film(pictures(200, 90), fps=15))):
        looking.frame(frame, now)
        ours += looking.passed(now)
        if i == stop:
            before = {n: list(v) for n, v in looking.views.items()}
            looking = thaw(freeze(looking), eyes)
            assert looking.views == before
    assert [t.number for t in ours] == [t.number for t, _ in given]
    tracks = lambda found: Watched(found, SIZE, at, 0, None, ())  # noqa: E731
    a = signals_in(tracks([*(t for t, _ in given), *whole.end()]), eyes.calibration)
    b = signals_in(tracks([*ours, *looking.end()]), eyes.calibration)
    assert [s.stretches for s in a] == [s.stretches for s in b]


class _Evil:
    def __reduce__(self) -> tuple[object, tuple[str]]:
        return eval, ("1 + 1",)


class _Ours:
    """A function of ours is not to be called either."""

    def __reduce__(self) -> tuple[object, tuple[float]]:
        from litlamp.sight.eyes import logistic

        return logistic, (0.0,)


@pytest.mark.parametrize("thing", [_Evil(), _Ours(), {"a": 1}, b"x", Passing])
def test_nothing_else_is_taken_up(eyes_for: Callable[..., Eyes], thing: object) -> None:
    with pytest.raises(FrozenError):
        thaw(pickle.dumps(thing), eyes_for())


@pytest.mark.parametrize("data", [b"", b"nonsense", b"\x80\x05"])
def test_damaged_bytes_are_refused(eyes_for: Callable[..., Eyes], data: bytes) -> None:
    with pytest.raises(FrozenError):
        thaw(data, eyes_for())


def test_a_watch_of_another_form_is_refused(eyes_for: Callable[..., Eyes]) -> None:
    """One that an earlier version laid down lacks what this one needs."""
    eyes = eyes_for()
    kept = freeze(Passing(eyes))
    assert isinstance(thaw(kept, eyes), Passing)
    earlier = kept.replace(pickle.dumps(FORM, 5)[2:-1], pickle.dumps(FORM - 1, 5)[2:-1], 1)
    assert earlier != kept
    with pytest.raises(FrozenError):
        thaw(earlier, eyes)
