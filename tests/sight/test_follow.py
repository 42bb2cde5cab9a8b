from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest

from litlamp.box import Box
from litlamp.sight import follow
from litlamp.sight.follow import Follower


def scenery(seed: int = 5) -> np.ndarray:
    noise = np.random.default_rng(seed).normal(0, 1, (480, 640)).astype(np.float32)
    return np.asarray(
        cv2.normalize(cv2.GaussianBlur(noise, (0, 0), 3), None, 20, 230, cv2.NORM_MINMAX), np.uint8
    )


def seen(
    picture: np.ndarray, dx: float, dy: float, growth: float = 1.0, about: tuple[float, float] = (320, 240)
):
    """The picture grown about a point and moved."""
    x, y = about
    way = np.array([[growth, 0, x - growth * x + dx], [0, growth, y - growth * y + dy]])
    way[:, 2] += (growth - 1) / 2  # OpenCV's px begin at -1/2
    return cv2.warpAffine(picture, way, (640, 480), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)


BOX = Box(260, 180, 380, 300)


@pytest.mark.parametrize("shift", [(0.0, 0.0), (3.4, -2.3), (-7.7, 6.1), (0.25, 0.25)])
def test_a_shift_is_followed_to_a_fraction_of_a_px(shift: tuple[float, float]) -> None:
    picture, follower = scenery(), Follower()
    follower.keep(picture, BOX)
    motion = follower.motion(seen(picture, *shift))
    assert motion.sure
    assert (motion.dx, motion.dy) == pytest.approx(shift, abs=0.2)
    assert motion.growth == pytest.approx(1.0, abs=0.004)


@pytest.mark.parametrize("growth", [0.96, 1.01, 1.05])
def test_growth_is_followed(growth: float) -> None:
    picture, follower = scenery(), Follower()
    follower.keep(picture, BOX)
    motion = follower.motion(seen(picture, 2.0, 1.0, growth))
    assert motion.sure
    assert motion.growth == pytest.approx(growth, abs=0.006)
    # The box's middle is (320, 240), about which it was grown.
    assert (motion.dx, motion.dy) == pytest.approx((2.0, 1.0), abs=0.4)


def test_a_long_way_is_followed_step_by_step() -> None:
    picture, follower = scenery(), Follower()
    x, y, size = 320.0, 240.0, 120.0
    follower.keep(picture, BOX)
    velocity = (0.0, 0.0)
    for i in range(1, 61):
        now = seen(picture, 1.7 * i, -0.9 * i, 1.0 + 0.004 * i)
        motion = follower.motion(now, velocity)
        assert motion.sure
        velocity = motion.dx, motion.dy
        x, y, size = x + motion.dx, y + motion.dy, size * motion.growth
        follower.keep(now, Box(x - size / 2, y - size / 2, x + size / 2, y + size / 2))
    assert (x, y) == pytest.approx((320 + 1.7 * 60, 240 - 0.9 * 60), abs=2.5)
    assert size == pytest.approx(120 * 1.24, rel=0.03)


def test_what_was_expected_carries_a_swift_motion() -> None:
    picture, follower = scenery(), Follower()
    follower.keep(picture, BOX)
    motion = follower.motion(seen(picture, 60.0, -40.0), (57.0, -38.0))
    assert motion.sure
    assert (motion.dx, motion.dy) == pytest.approx((60.0, -40.0), abs=0.5)


def test_nothing_to_hold_on_to_is_no_sure_motion() -> None:
    blank = np.full((480, 640), 90, np.uint8)
    follower = Follower()
    follower.keep(blank, BOX)
    motion = follower.motion(blank, (1.5, 0.5))
    assert (motion.dx, motion.dy, motion.growth, motion.sure) == (1.5, 0.5, 1.0, False)


def test_another_view_is_no_sure_motion() -> None:
    follower = Follower()
    follower.keep(scenery(5), BOX)
    assert not follower.motion(scenery(6)).sure


def test_something_small_that_moves_otherwise_does_not_mislead() -> None:
    picture, follower = scenery(), Follower()
    follower.keep(picture, BOX)
    now = seen(picture, 3.0, 0.0)
    now[180:300, 300:330] = scenery(9)[180:300, 300:330]  # a pole passes
    motion = follower.motion(now)
    assert motion.sure
    assert (motion.dx, motion.dy) == pytest.approx((3.0, 0.0), abs=0.7)


@pytest.mark.parametrize("box", [Box(-80, -60, 40, 60), Box(600, 440, 720, 560), Box(-300, -300, -200, -200)])
def test_parts_across_the_edge_do_not_fail(box: Box) -> None:
    picture, follower = scenery(), Follower()
    follower.keep(picture, box)
    follower.motion(seen(picture, 1.0, 1.0))
    follower.keep(picture, box.shift(1, 1))


@pytest.mark.parametrize("sway", [0.0, 8.0])
def test_a_steady_motion_is_followed_in_some_frames_only_and_no_less_truly(sway: float) -> None:
    picture, follower = scenery(), Follower()
    x, y, size = 320.0, 240.0, 120.0
    follower.keep(picture, BOX)
    velocity = (0.0, 0.0)
    looked = 0
    real = follow.sampled

    def counted(*given: Any) -> Any:
        nonlocal looked
        looked += 1
        return real(*given)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(follow, "sampled", counted)
        for i in range(1, 61):
            at = 1.7 * i + sway * np.sin(0.9 * i), -0.9 * i
            now = seen(picture, *at, 1.0 + 0.001 * i)
            before = looked
            motion = follower.motion(now, velocity)
            assert motion.sure
            velocity = motion.dx, motion.dy
            x, y, size = x + motion.dx, y + motion.dy, size * motion.growth
            assert (x, y) == pytest.approx((320 + at[0], 240 + at[1]), abs=2.5)
            if before == looked:  # what is expected is wrong here and there, and is put right
                x, y = x + 0.1, y - 0.1
            follower.keep(now, Box(x - size / 2, y - size / 2, x + size / 2, y + size / 2))
    assert size == pytest.approx(120 * 1.06, rel=0.03)
    assert looked < 45 if sway == 0 else looked >= 60
