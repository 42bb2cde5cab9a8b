"""What training does to lessons looked at again keeps their answers true."""

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from augment import developed, mirrored_lessons, mirrored_windows, other_colours  # noqa: E402
from between import between  # noqa: E402
from litlamp.scene.compose import training_sample  # noqa: E402
from litlamp.sight.crop import Window  # noqa: E402
from litlamp.sight.find import read_heads, read_plates  # noqa: E402
from targets import READER_NAMES, finder_target  # noqa: E402


def test_a_mirrored_lesson_points_at_the_mirrored_heads_and_plates():
    heads = plates = 0
    for seed in range(1, 40):
        rgb, truth = training_sample(seed, (128, 128))
        target = finder_target(truth)
        given = [torch.from_numpy(a[None]) for a in (rgb, target.maps, target.heat_weight, target.at)]
        kept = mirrored_lessons(*given, torch.tensor([False]))
        assert all(torch.equal(a, b) for a, b in zip(kept, given, strict=True))
        turned = mirrored_lessons(*given, torch.tensor([True]))
        assert np.array_equal(turned[0][0].numpy(), rgb[:, ::-1])
        before, after = ((m[0].numpy(), Window(p[0].numpy(), 0.0, 0.0, 1.0)) for p, m, *_ in (given, turned))
        was, now = (sorted(read_heads(*v, 0.999), key=lambda h: (h.y, h.x)) for v in (before, after))
        now = sorted(now, key=lambda h: (h.y, 128 - h.x))
        assert len(was) == len(now)
        for a, b in zip(was, now, strict=True):
            assert (128 - b.x, b.y, b.lens) == pytest.approx((a.x, a.y, a.lens), abs=0.01)
            assert (128 - b.box.x1, 128 - b.box.x0) == pytest.approx((a.box.x0, a.box.x1), abs=0.05)
            assert (128 - b.vote[0], b.vote[1]) == pytest.approx(a.vote, abs=0.1)
            assert np.array_equal(a.colours, b.colours)
        heads += len(was)
        boards = [
            sorted((x + p.box.centre[0] * s, p.box.centre[1]) for p in read_plates(*v, 0.999))
            for v, x, s in ((before, 0, 1), (after, 128, -1))
        ]
        assert np.allclose(boards[0], boards[1], atol=0.05)
        plates += len(boards[0])
    assert heads > 20 and plates > 5


def test_windows_with_letters_are_not_mirrored():
    windows = torch.arange(2 * 4 * 6 * 4, dtype=torch.uint8).reshape(2, 4, 6, 4)
    answers = torch.zeros(2, len(READER_NAMES))
    answers[1, READER_NAMES.index("plate_R")] = 1
    out = mirrored_windows(windows, answers, torch.tensor([True, True]))
    assert torch.equal(out[0], windows[0].flip(1)) and torch.equal(out[1], windows[1])


def test_developing_changes_tone_a_little_and_leaves_the_marks():
    dice = torch.Generator().manual_seed(4)
    pixels = torch.randint(40, 200, (64, 16, 16, 4), dtype=torch.uint8, generator=dice)
    out = developed(pixels, 0.5, dice)
    assert torch.equal(out[..., 3], pixels[..., 3]) and out.dtype == torch.uint8
    moved = (out[..., :3].float() - pixels[..., :3].float()).abs().mean((1, 2, 3))
    assert 15 < int((moved > 0).sum()) < 49
    assert float(moved.max()) < 80
    assert torch.equal(developed(pixels, 0.0, dice), pixels)


def test_other_colours_turn_a_red_towards_a_yellow_and_leave_greys_and_marks():
    dice = torch.Generator().manual_seed(5)
    red, grey = torch.tensor([250, 60, 20, 7]), torch.tensor([120, 120, 120, 7])
    pixels = torch.stack([red, grey]).to(torch.uint8).view(1, 1, 2, 4).repeat(400, 1, 1, 1)
    assert torch.equal(other_colours(pixels, 0.0, dice), pixels)
    out = other_colours(pixels, 0.5, dice)
    assert out.dtype == torch.uint8 and torch.equal(out[..., 3], pixels[..., 3])
    changed = (out != pixels).flatten(1).any(1)
    assert 150 < int(changed.sum()) < 250
    lamp, wall = (out[changed, 0, i, :3].double() for i in (0, 1))
    leaning = lamp[:, 1] / lamp[:, 0].clamp(min=1)
    # Some come out as orange as a yellow lamp, most do not, and none is another colour.
    assert 0.05 < float((leaning > 0.45).double().mean()) < 0.5
    assert bool((lamp.argmax(1) == 0).all())
    assert float((wall.amax(1) / wall.amin(1).clamp(min=1)).quantile(0.9)) < 1.5


def test_half_way_between_two_networks_is_their_mean():
    start = {"w": torch.tensor([0.0, 2.0]), "n": torch.tensor(3), "gone": torch.tensor([1.0])}
    end = {"w": torch.tensor([1.0, 4.0]), "n": torch.tensor(5)}
    half = between(start, end, 0.5)
    assert half.keys() == end.keys() and half["w"].tolist() == [0.5, 3.0] and int(half["n"]) == 5
    assert between(start, end, 0.0)["w"].tolist() == [0.0, 2.0]
    with pytest.raises(SystemExit, match="gone"):
        between(end, start, 0.5)
