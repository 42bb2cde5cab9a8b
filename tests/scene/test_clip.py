"""Rendered clips: their truth against their own pixels, seen without any part of the reader."""

import numpy as np
import pytest

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.clip import MOTIONS, draw_clip
from litlamp.scene.film import Shutter
from litlamp.scene.lamps_over_time import Filament, Flashing, Ripple

FLASHES = Aspect((Lamp("yellow", True), Lamp("red")), "mast", "vertical")
STEADY = Aspect((Lamp("green"), Lamp("red")), "mast", "vertical")
SIZE = (240, 160)
SMALL = {"size": SIZE, "seconds": 2.0, "fps": 15.0}


def core(rgb, head):
    """Mean codes of the middle of a lens, or None where it is out of the picture."""
    (x, y), r = head.centre, max(head.diameter / 5, 1.0)
    part = rgb[round(y - r) : round(y + r) + 1, round(x - r) : round(x + r) + 1].reshape(-1, 3)
    inside = r < x < rgb.shape[1] - r and r < y < rgb.shape[0] - r
    return part.mean(axis=0) if inside else None


def series(clip, signal=0, head=0):
    """Times, mean of the core's codes, and the truth's own light, of one head."""
    times, codes, lights = [], [], []
    for frame in clip.frames():
        there = clip.signals_at(frame.time.seconds).get(signal)
        if there is None:  # behind the camera
            continue
        there = there.heads[head]
        seen = core(frame.rgb, there)
        if seen is not None and there.visible > 0.9 and there.diameter > 3:
            times.append(frame.time.seconds)
            codes.append(float(seen.max()))
            lights.append(there.lit)
    return np.array(times), np.array(codes), np.array(lights)


@pytest.mark.parametrize("motion", MOTIONS)
def test_a_lamp_is_bright_when_the_truth_says_lit(motion):
    clip = draw_clip(
        FLASHES, seed=3, motion=motion, flashing=Flashing(60, 0.5, 0.2), kind="led",
        **{**SMALL, "size": (480, 300), "seconds": 3.0}, distance=24,
    )  # fmt: skip
    _, codes, lit = series(clip)
    assert 10 < lit.sum() < len(lit) - 10
    assert codes[lit].min() > codes[~lit].max() + 20


@pytest.mark.parametrize("motion", ["hand", "approach"])
def test_same_arguments_give_the_same_bytes_of_frames(motion):
    def made(seed):
        clip = draw_clip(FLASHES, seed=seed, motion=motion, **{**SMALL, "seconds": 0.4})
        return b"".join(f.rgb.tobytes() for f in clip.frames())

    clip = draw_clip(FLASHES, seed=5, motion=motion, **{**SMALL, "seconds": 0.4})
    twice = [b"".join(f.rgb.tobytes() for f in clip.frames()) for _ in range(2)]
    assert twice[0] == twice[1] == made(5) != made(6)


@pytest.mark.parametrize("kind", ["led", "searchlight"])
@pytest.mark.parametrize("rate", [40.0, 72.0])
def test_the_rate_of_a_flash_is_recovered_from_the_pixels(rate, kind):
    clip = draw_clip(
        FLASHES, seed=4, kind=kind, flashing=Flashing(rate, 0.5), filament=Filament(0.05, 0.05),
        size=(160, 120), seconds=6.0, fps=20.0, uneven=0.3, distance=18,
    )  # fmt: skip
    times, codes, _ = series(clip)
    tried = np.arange(20, 120, 0.25)
    waves = np.exp(-2j * np.pi * tried[:, None] * times / 60)
    assert tried[np.argmax(np.abs(waves @ (codes - codes.mean())))] == pytest.approx(rate, abs=2.0)


def test_an_uneven_clip_has_its_own_times_and_each_frame_its_own_moment():
    clip = draw_clip(STEADY, seed=2, uneven=0.4, **SMALL)
    assert [f.time for f in clip.frames()] == list(clip.times)
    steps = np.diff([t.seconds for t in clip.times])
    assert steps.std() > 0.005


def test_a_change_of_aspect_is_seen_and_told():
    then = Aspect((Lamp("red"), Lamp("green")))
    clip = draw_clip(STEADY, seed=1, motion="still", changes=[(1.0, then)], **{**SMALL, "distance": 18})
    shown = [(a.from_s, a.to_s, [h.colour for h in a.aspect.heads]) for a in clip.truth.signals[0].aspects]
    assert shown == [(0.0, 1.0, ["green", "red"]), (1.0, 2.0, ["red", "green"])]
    frames = list(clip.frames())
    for frame in (frames[2], frames[-2]):
        for head in clip.signals_at(frame.time.seconds)[0].heads:
            r, g, _ = core(frame.rgb, head)
            assert (g > r) == (head.lamp.colour == "green")
    assert clip.truth.signals[0].best.heads[0].lamp.colour == "red"  # at the last of equally good moments


def test_what_passes_hides_the_signal_in_truth_and_picture():
    clip = draw_clip(STEADY, seed=1, motion="still", hidden=[(1.0, 0.3)], **{**SMALL, "distance": 18})
    seen = {f.time.seconds: (f, clip.signals_at(f.time.seconds)[0].heads[0]) for f in clip.frames()}
    hidden, clear = seen[1.0], seen[0.0]
    assert hidden[1].visible < 0.2
    assert clear[1].visible == 1
    assert core(*hidden_core(hidden)).max() < core(*hidden_core(clear)).max() - 60


def hidden_core(pair):
    frame, head = pair
    return frame.rgb, head


def test_exposure_pumps_by_the_gain_that_is_told():
    calm, pumped = (draw_clip(None, seed=1, motion="still", pumping=p, **SMALL) for p in (0.0, 1.0))
    pairs = list(zip(calm.frames(), pumped.frames(), strict=True))
    ratio = np.array([b.rgb.mean() / a.rgb.mean() for a, b in pairs])
    gain = np.array([b.gain for _, b in pairs])
    assert gain.max() / gain.min() > 1.5
    assert np.corrcoef(np.log(ratio), np.log(gain))[0, 1] > 0.98
    assert {f.gain for f in calm.frames()} == {1.0}


def test_an_led_ripple_shows_under_a_short_shutter_only():
    def dark_frames(open_s):
        clip = draw_clip(
            STEADY, seed=1, motion="still", kind="led", ripple=Ripple(100, 0.3), shutter=Shutter(open_s, 0.0),
            size=SIZE, seconds=2.0, fps=29.0, distance=18,
        )  # fmt: skip
        _, codes, lit = series(clip)
        assert codes[lit].min() > codes[~lit].max() if (~lit).any() else True
        return (codes < 0.5 * codes.max()).mean()

    assert dark_frames(1 / 3000) > 0.4
    assert dark_frames(0.02) == 0


def test_rows_read_later_see_the_lamp_later():
    clip = draw_clip(FLASHES, seed=1, kind="led", shutter=Shutter(0.001, 0.03), **SMALL)
    key = next(k for k in clip.lights if k.colour == "yellow")
    edge = next(a for a, _ in clip.lights[key].spans if a > 0.5)
    assert clip.light(key, 0.0, edge - 0.01) == 0
    assert clip.light(key, SIZE[1] * 0.9, edge - 0.01) == pytest.approx(1)


@pytest.mark.parametrize("motion", ["still", "hand", "zoom"])
def test_a_signal_is_framed_well_to_the_end(motion):
    three = Aspect((Lamp("red"), Lamp("green"), Lamp("red")), "mast", "vertical")
    for seed in range(5):
        clip = draw_clip(three, seed=seed, motion=motion, **SMALL)
        for at in (0.0, 1.0, 1.9):
            signal = clip.signals_at(at)[0]
            assert min(h.visible for h in signal.heads) > 0.9
        assert min(h.diameter for h in signal.heads) > 2  # where a zoom has gone in
        assert signal.heads[2].box.y1 - signal.heads[0].box.y0 > 0.2 * SIZE[1]


def test_an_approach_grows_and_leaves_the_picture():
    clip = draw_clip(STEADY, seed=2, motion="approach", **{**SMALL, "seconds": 4.0})
    sizes = [
        clip.signals_at(t.seconds)[0].heads[0].diameter for t in clip.times if 0 in clip.signals_at(t.seconds)
    ]
    assert (np.diff(sizes) > 0).all()
    assert sizes[-1] > 8 * sizes[0]
    ends = clip.signals_at(clip.times[-1].seconds)
    assert 0 not in ends or max(h.visible for h in ends[0].heads) == 0
    signal = clip.truth.signals[0]
    assert signal.best.whole_in_view
    assert signal.span_s[0] <= signal.best_s <= signal.span_s[1] < clip.times[-1].seconds


def test_a_back_has_no_lit_lamp_and_an_empty_scene_no_signal():
    back = draw_clip(STEADY, seed=1, back=True, **SMALL)
    assert back.lights == {}
    assert not back.truth.signals[0].best.facing
    empty = draw_clip(None, seed=1, motion="approach", **SMALL)
    assert empty.truth.signals == ()
    assert next(empty.frames()).rgb.shape == (160, 240, 3)


def test_all_weathers_and_lights_can_be_filmed():
    for light, weather in (("night", "rain"), ("dusk", "snow"), ("low sun", "haze"), ("overcast", "fog")):
        for motion in ("hand", "approach"):
            clip = draw_clip(
                STEADY, seed=1, light=light, weather=weather, motion=motion, **{**SMALL, "seconds": 0.2}
            )
            factors = dict(clip.truth.factors)
            assert (factors["light"], factors["weather"]) == (light, weather)
            frames = [f.rgb for f in clip.frames()]
            assert frames[0].std() > 1
            assert (frames[0] != frames[1]).any()


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"light": "noon"}, "light must be"),
        ({"weather": "hail"}, "weather must be"),
        ({"motion": "fly"}, "motion must be"),
        ({"extra": "dragon"}, "must be one of"),
        ({"size": (240, 161)}, "both even"),
        ({"size": (20, 20)}, "at least 64"),
        ({"seconds": 0}, "must last"),
        ({"fps": 0}, "frames a second"),
        ({"changes": [(9.0, STEADY)]}, "changes must"),
        ({"changes": [(1.0, STEADY), (0.5, STEADY)]}, "changes must"),
        ({"changes": [(1.0, Aspect((Lamp("red"),)))]}, "2 heads cannot change"),
        ({"hidden": [(1.0, 50.0)]}, "hide"),
        ({"pumping": 9}, "pump"),
    ],
)
def test_what_cannot_be_is_refused(wrong, said):
    with pytest.raises(ValueError, match=said):
        draw_clip(STEADY, **{**SMALL, **wrong})


def test_a_scene_with_no_signal_cannot_change():
    with pytest.raises(ValueError, match="no signal"):
        draw_clip(None, changes=[(1.0, STEADY)], **SMALL)
