"""Traced heads: laid where the truth says, in colours they have, and never felt where there are none."""

import math

import numpy as np
import pytest

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.canvas import Canvas, Sun
from litlamp.scene.compose import training_sample
from litlamp.scene.posts import draw_post, paint_post
from litlamp.scene.traced import About, cast_heads, load_traced, paint_traced, read_traced, save_traced
from litlamp.scene.view import View

SKY = (0.3, 0.4, 0.7)
H, W, SCALE = 180, 120, 200.0  # a plate of 0.5 m by 0.8 m about px 60, 90
GLASSES = ("green", "yellow", "red")


def make(folder, name="a", glasses=GLASSES, dwarf=False, yaw=0.4, sun=(0.6, 0.4, 0.7), hidden=()):
    """A pale plate with one lens for each glass, right of its middle, as if it had been traced."""
    y, x = np.mgrid[0:H, 0:W] + 0.5
    cover = ((np.abs(x - 60) < 50) & (np.abs(y - 90) < 80)).astype(np.float32)
    spots = [(70.0, 40.0 + 50 * i) for i in range(len(glasses))]
    lamps = [(np.hypot(x - u, y - v) < 18).astype(np.float32) * 0.9 for u, v in spots]
    for i in hidden:  # but for a sliver
        lamps[i][:, :84] = 0
    apertures = [((u - 60) / SCALE, (90 - v) / SCALE, g) for (u, v), g in zip(spots, glasses, strict=True)]
    corners = [(10.0, 10.0), (110.0, 10.0), (110.0, 170.0), (10.0, 170.0)]
    outline = [((u - 60) / SCALE, (90 - v) / SCALE) for u, v in corners]
    kind = "vertical" if len(glasses) > 1 else "searchlight"
    about = About(
        kind, outline, apertures, 36 / SCALE, 0.2, 3.5, 1.2, 0.3, (0.5, 0.5, 0.5), 0.05, 0.2, 0.1, "even",
        "led", dwarf, SCALE, (60.0, 90.0), spots, corners, yaw, -0.1, sun, (1.0, 1.0),
    )  # fmt: skip
    light = np.full((H, W, 3), 0.5, np.float32)
    save_traced(folder / f"{name}.npz", about, light, light, cover, lamps)
    return read_traced(folder / f"{name}.npz")


def blank(level=0.0, sun=None):
    return Canvas(np.full((240, 240, 3), level, np.float32), sun or Sun(0.5, 0.6, 0.6, 0.7, 0.3))


def painted(asset, view, lamp=None, lit=True, seed=1, at=(0.0, 0.0), sun=None):
    canvas = blank(sun=sun)
    rng = np.random.default_rng(seed)
    truth = paint_traced(canvas, view, asset, at, lamp or Lamp("yellow"), lit, 2.0, SKY, rng)
    return canvas, truth


def test_what_was_stored_is_what_is_read(tmp_path):
    asset = make(tmp_path)
    assert asset.head.width == pytest.approx(0.5)
    assert asset.head.height == pytest.approx(0.8)
    layers = asset.sizes[0]
    assert layers.shape == (H, W, 10)
    assert abs(float(layers[90, 60, 0]) / 255 - math.sqrt(0.5)) < 0.02
    assert layers[90, 60, 6] == 255
    assert layers[2, 2, 6] == 0
    assert layers[40, 70, 7] > 200 > layers[40, 70, 8]


@pytest.mark.parametrize("scale", [200.0, 90.0, 31.0, 12.0])
@pytest.mark.parametrize("roll", [0.0, 0.1])
@pytest.mark.parametrize("yaw", [0.4, -0.4])  # as traced, and mirrored
def test_box_and_lens_lie_where_they_are_painted(tmp_path, scale, roll, yaw):
    asset = make(tmp_path)
    view = View(scale, (120.3, 119.6), roll=roll, yaw=yaw)
    canvas, truth = painted(asset, view)
    seen = canvas.radiance[..., 1] > 0.5 * canvas.radiance[..., 1].max()
    ys, xs = np.nonzero(seen)
    box = truth.box
    found = (xs.min(), ys.min(), xs.max() + 1, ys.max() + 1)
    assert np.allclose(found, (box.x0, box.y0, box.x1, box.y1), atol=1.3)
    assert box.width == pytest.approx(scale * (0.5 * math.cos(roll) + 0.8 * abs(math.sin(roll))), rel=0.01)
    (glow,) = canvas.glows
    y, x = np.mgrid[0 : glow.mask.shape[0], 0 : glow.mask.shape[1]] + 0.5
    weight = glow.mask / glow.mask.sum()
    at = (weight * x).sum() + glow.origin[0], (weight * y).sum() + glow.origin[1]
    assert math.hypot(at[0] - truth.centre[0], at[1] - truth.centre[1]) < 0.12 * truth.diameter + 0.05
    assert truth.diameter == pytest.approx(36 / SCALE * scale)
    assert (truth.centre[0] > 120.3) == (yaw > 0)


def test_a_lens_keeps_its_weight_in_small(tmp_path):
    asset = make(tmp_path)
    sums = []
    for scale in (200.0, 12.0):
        canvas, _ = painted(asset, View(scale, (120.3, 119.6), yaw=0.4))
        sums.append(canvas.glows[0].mask.sum() / scale**2)
    assert sums[1] == pytest.approx(sums[0], rel=0.1)


def test_each_colour_burns_in_its_own_lens(tmp_path):
    asset = make(tmp_path)
    rows = {}
    for colour in GLASSES:
        canvas, truth = painted(asset, View(100.0, (120.0, 120.0)), Lamp(colour))
        assert canvas.glows[0].colour == colour
        rows[colour] = truth.centre[1]
    assert rows["green"] < rows["yellow"] < rows["red"]
    for lamp, lit in ((Lamp("dark"), True), (Lamp("red", True), False)):
        canvas, truth = painted(asset, View(100.0, (120.0, 120.0)), lamp, lit)
        assert not canvas.glows
        assert not truth.lit


def test_lit_or_not_only_the_lamp_differs(tmp_path):
    asset = make(tmp_path)
    on, _ = painted(asset, View(100.0, (120.0, 120.0)), Lamp("red", True), True)
    off, _ = painted(asset, View(100.0, (120.0, 120.0)), Lamp("red", True), False)
    assert np.array_equal(on.radiance, off.radiance)


def test_a_sun_behind_gives_less_than_one_before(tmp_path):
    asset = make(tmp_path)
    view = View(100.0, (120.0, 120.0))
    before, _ = painted(asset, view, sun=Sun(0.5, 0.4, 0.77, 0.8, 0.2))
    behind, _ = painted(asset, view, sun=Sun(0.5, 0.4, -0.77, 0.8, 0.2))
    assert before.radiance.mean() > 2 * behind.radiance.mean() > 0


def test_beside_the_picture_only_the_truth_is_left(tmp_path):
    asset = make(tmp_path)
    canvas, truth = painted(asset, View(100.0, (900.0, 120.0)))
    assert not canvas.glows
    assert not canvas.radiance.any()
    assert truth.box.x0 > 240


def test_heads_are_cast_by_colour_and_mount(tmp_path):
    three, two = make(tmp_path, "a"), make(tmp_path, "b", ("green", "red"))
    single, low = make(tmp_path, "c", ("clear",)), make(tmp_path, "d", dwarf=True)
    folder = (three, two, single, low)
    for seed in range(40):
        rng = np.random.default_rng(seed)
        assert set(cast_heads(rng, folder, ("lunar", "red"), False)) == {single}
        assert two not in cast_heads(rng, folder, ("yellow", "red"), False)
        assert set(cast_heads(rng, folder, ("dark", "red"), True)) == {low}
        assert set(cast_heads(rng, folder, ("lunar",), True)) == {None}
    some = [cast_heads(np.random.default_rng(s), folder, ("green", "red"), False) for s in range(60)]
    assert {a for pair in some for a in pair} == {three, two, single}
    assert sum(a is b for a, b in some) > 40


def test_a_lamp_behind_its_hood_is_not_asked_for(tmp_path):
    asset = make(tmp_path, hidden=(1,))
    assert asset.bare == pytest.approx((1.0, asset.bare[1], 1.0), abs=0.05)
    assert [asset.shows(c) for c in ("green", "yellow", "red", "lunar", "dark")] == [
        True,
        False,
        True,
        False,
        True,
    ]


def test_a_post_shows_its_assets_and_large_heads_are_drawn(tmp_path):
    asset = make(tmp_path)
    aspect = Aspect((Lamp("green"), Lamp("red")), "mast", "vertical")
    posts = [draw_post(np.random.default_rng(s), aspect, traced=(asset,)) for s in range(80)]
    cast = [p for p in posts if p.traced]
    assert 12 < len(cast) < 45
    for post in cast:
        assert all(h is asset.head for h, _ in post.heads)
    for scale, laid in ((30.0, True), (250.0, False)):
        canvas = blank(0.3)
        high = cast[0].heads[0][1][1]
        view = View(scale, (120.0, 120.0 + scale * high), yaw=0.3)
        truth = paint_post(canvas, view, cast[0], (True, True), (1.0, 1.0), SKY, np.random.default_rng(1))
        corners = asset.hull[:, 0]
        width = np.ptp(corners) / SCALE * scale
        assert (truth.heads[0].box.width == pytest.approx(width, rel=0.02)) == laid


def test_without_assets_pictures_stay_as_they_are(tmp_path):
    asset = make(tmp_path, glasses=("clear",))
    for seed in (5, 6):
        plain, truth = training_sample(seed, (128, 128))
        again, same = training_sample(seed, (128, 128), (), ())
        assert plain.tobytes() == again.tobytes()
        assert truth == same
    changed = [
        training_sample(s, (96, 96), (), (asset,))[0].tobytes() != training_sample(s, (96, 96))[0].tobytes()
        for s in range(6)
    ]
    assert any(changed)


def test_what_is_no_asset_is_refused(tmp_path):
    make(tmp_path, "good")
    whole = (tmp_path / "good.npz").read_bytes()
    assert len(load_traced(tmp_path)) == 1
    for name, content in (("cut", whole[: len(whole) // 2]), ("empty", b""), ("other", b"PK no archive")):
        (tmp_path / name).mkdir()
        (tmp_path / name / "x.npz").write_bytes(content)
        with pytest.raises(ValueError, match="no traced head"):
            load_traced(tmp_path / name)
    (tmp_path / "none").mkdir()
    with pytest.raises(ValueError, match="no traced heads"):
        load_traced(tmp_path / "none")
