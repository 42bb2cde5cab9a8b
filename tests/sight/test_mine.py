"""What the finder takes for heads where no signal stands becomes lessons for the reader."""

import time

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from litlamp.scene.compose import training_sample  # noqa: E402
from litlamp.sight.crop import READER_HEAD, READER_TOP, READER_WIDTH  # noqa: E402
from mine import Mine, barren, taken_for_heads  # noqa: E402
from targets import finder_target  # noqa: E402


def answer(*at: tuple[int, int], score: float = 0.9) -> np.ndarray:
    """The finder's answer for 128 x 128 px: a head 16 px wide in each of those cells."""
    maps = np.zeros((20, 32, 32), np.float32)
    for x, y in at:
        maps[0, y, x] = score
    return maps


def test_a_lesson_is_barren_that_holds_no_head_to_be_seen():
    lessons = [training_sample(seed, (128, 128))[1] for seed in range(1, 120)]
    targets = [finder_target(truth) for truth in lessons]
    found = barren(
        *(torch.from_numpy(np.stack([getattr(t, k) for t in targets])) for k in ("maps", "heat_weight"))
    )
    facing = [any(s.facing and any(h.visible > 0.5 for h in s.heads) for s in t.signals) for t in lessons]
    shown = [float(t.maps[0].max()) > 0.999 for t in targets]
    assert not any(b and s for b, s in zip(found.tolist(), shown, strict=True))
    assert all(b for b, t in zip(found.tolist(), lessons, strict=True) if not t.signals)
    assert any(facing) and not all(facing)


def test_a_window_is_cut_as_the_reader_would_be_asked():
    rgb = np.full((128, 128, 3), 90, np.uint8)
    rgb[60:68, 60:68] = (255, 40, 30)
    (window,) = taken_for_heads(rgb, answer((16, 16)))
    assert window.shape == (384, 144, 4)
    # Boxes of zero log size are 16 px wide; the reader's windows show heads READER_HEAD px wide.
    reds = np.argwhere(window[..., 0] > 200)
    y, x = reds.mean(0)
    assert (x, y) == pytest.approx((READER_WIDTH / 2, READER_TOP), abs=1.5)
    assert np.ptp(reds[:, 1]) + 1 == pytest.approx(8 * READER_HEAD / 16, abs=2)


@pytest.mark.parametrize("maps", [answer((1, 16)), answer((16, 31)), answer((16, 16), score=0.1)])
def test_what_the_edge_cuts_and_what_is_too_faint_is_no_lesson(maps):
    assert taken_for_heads(np.zeros((128, 128, 3), np.uint8), maps) == []


def test_windows_are_drawn_once_there_are_enough():
    mine, dice = Mine(20, diggers=1), torch.Generator().manual_seed(1)
    mine.open("cpu")
    assert mine.draw(2, dice) is None
    logits = torch.full((4, 20, 32, 32), -9.0)
    logits[:, 1:] = 0
    logits[:, 0, 16, 16] = 3.0
    rgb = torch.arange(4, dtype=torch.uint8).view(4, 1, 1, 1).expand(4, 128, 128, 3) * 60
    until = time.monotonic() + 20
    while mine.found < 8 and time.monotonic() < until:
        mine.look_at(rgb, logits)
        time.sleep(0.01)
    drawn = mine.draw(2, dice)
    assert drawn is not None
    assert drawn.shape == (2, 384, 144, 4)
    assert set(drawn[:, 100, 20, 0].tolist()) <= {0, 60, 120, 180}
    assert float(logits[0, 0, 16, 16]) == 3.0  # the trainer's own are left as they are
