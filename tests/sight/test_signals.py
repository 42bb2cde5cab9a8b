"""Which stretches of a signal are one: heads that left the picture, and heads that were none."""

from __future__ import annotations

from dataclasses import replace

import pytest

from litlamp.aspects.aspect import COLOURS, PLATES, Colour
from litlamp.aspects.belief import UNKNOWN_PLATE
from litlamp.box import Box
from litlamp.sight.eyes import Calibration
from litlamp.sight.glance import Glance
from litlamp.sight.pool import pool
from litlamp.sight.seen import HeadSeen, LampSeen, Shade, SignalSeen
from litlamp.sight.shades import Known
from litlamp.sight.signals import StretchSeen, _partly_gone, _same_shown, signals_in
from litlamp.sight.tracks import Track
from litlamp.sight.watch import Watched

SIZE = (640, 480)


def look_at(top: float, apart: float, *colours: Colour | None) -> Glance:
    """A look at heads of such colours, one below the other; None where one is out of the picture."""
    width = apart / 2
    heads, lenses = [], []
    for i, colour in enumerate(colours):
        if colour is None:
            continue
        belief: dict[Colour, float] = {c: 0.96 if c == colour else 0.01 for c in COLOURS}
        y = top + apart * i
        lamp = None if colour == "dark" else LampSeen(300, y, width / 3)
        heads.append(
            HeadSeen(Box(300 - width / 2, y - width / 2, 300 + width / 2, y + width / 2), lamp, belief)
        )
        lenses.append((300.0, y, width / 3))
    plates = dict.fromkeys(PLATES, UNKNOWN_PLATE)
    mount, arrangement = {"mast": 0.9, "dwarf": 0.1}, {"vertical": 0.9, "staggered": 0.1}
    seen = SignalSeen(heads[0].box, tuple(heads), mount, arrangement, plates, (), None, 1.0, width)
    return Glance(seen, 4.0, 0.5, tuple(lenses), (0.9,) * len(heads))


def stretches(*looks: Glance, until: int) -> tuple[Track, StretchSeen, StretchSeen]:
    """A track that was looked at each second, and its stretches of the first `until` looks and the rest."""
    track = Track(0, 0.0, looks[0], SIZE)
    for i, look in enumerate(looks[1:], 1):
        track.learn(float(i), look, SIZE)
    parts = []
    for a, b in ((0, until), (until, len(looks))):
        pooled = pool(track, track.looks[a:b], (float(a), float(b)), Calibration("by hand"))
        assert pooled is not None
        parts.append(StretchSeen((float(a), b - 0.5), pooled.at, pooled.seen, pooled.flashes, pooled.slots))
    return track, parts[0], parts[1]


def near(*last: Colour | None) -> list[Glance]:
    """A train comes up to a signal of three heads, whose top one leaves the picture, and sees `last` then."""
    coming = [(80.0, 60.0), (55.0, 66.0), (25.0, 73.0)]
    passing = [(-8.0, 80.0), (-30.0, 84.0), (-55.0, 88.0)]
    return [
        *(look_at(top, apart, "red", "yellow", "green") for top, apart in coming),
        *(look_at(top, apart, None, *last) for top, apart in passing),
    ]


def test_heads_that_left_the_picture_make_no_other_aspect() -> None:
    track, before, after = stretches(*near("yellow", "green"), until=3)
    assert len(after.seen.heads) < len(before.seen.heads) == 3
    assert _partly_gone(track, before, after)
    assert _same_shown(track, before, after)


@pytest.mark.parametrize("last", [("red", "green"), ("yellow", "red")])
def test_what_is_left_in_view_may_have_changed(last: tuple[Colour, Colour]) -> None:
    track, before, after = stretches(*near(*last), until=3)
    assert _partly_gone(track, before, after)
    assert not _same_shown(track, before, after)


def test_a_head_that_looks_did_not_see_where_it_was_in_view_has_not_left() -> None:
    far = [look_at(200, 20, "red", "red", "dark")] * 3
    later = [look_at(200, 20, "red", "red", None)] * 4
    track, before, after = stretches(*far, *later, until=3)
    assert len(before.slots) > len(after.slots)
    assert not _partly_gone(track, before, after)


def seen_so(number: int, red: float, yellow: float, shade: Shade) -> Track:
    """A signal of one lamp, looked at thrice, that may be red or yellow and looks so."""
    glance = look_at(200, 60, "yellow")
    rest = (1 - red - yellow) / 3
    belief = {c: {"red": red, "yellow": yellow}.get(c, rest) for c in COLOURS}
    heads = tuple(replace(head, colour=belief, shade=shade) for head in glance.seen.heads)
    glance = replace(glance, seen=replace(glance.seen, heads=heads))
    track = Track(number, 0.0, glance, SIZE)
    for at in (1.0, 2.0):
        track.learn(at, glance, SIZE)
    return track


def test_lamps_of_one_signal_are_held_against_those_of_others(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("litlamp.sight.signals.spans", lambda track: [(0.0, 2.0)])
    orange, yellow = seen_so(0, 0.38, 0.6, Shade(1.3, 0.9)), seen_so(1, 0.02, 0.95, Shade(0.7, 0.9))
    watched, tuned = Watched([orange], SIZE, 2.0, 3, None, ()), Calibration("by hand")
    alone = signals_in(watched, tuned)
    both = signals_in(replace(watched, tracks=[orange, yellow]), tuned)
    told = next(one for one in both if one.track is yellow).known
    assert told == (Known(False, Shade(0.7, 0.9)),)
    later = signals_in(watched, tuned, told)
    first, second, third = (
        next(one for one in found if one.track is orange).stretches[0].seen.heads[0].colour
        for found in (alone, both, later)
    )
    assert first["yellow"] > first["red"]
    assert second == third
    assert second["red"] > second["yellow"] > 0.02
    # What others are held against is how it was seen, not what was made of that.
    assert all(one.known == () for one in both if one.track is orange)
