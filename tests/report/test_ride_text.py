from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import msgspec

from litlamp.aspects.cautions import LONG
from litlamp.footage import Made
from litlamp.report.ride_text import ride_text


def told(ride) -> str:
    return ride_text(Made(ride, (Path("to/index.html"), Path("to/ride.vtt")), ()))


def test_each_signal_has_its_line_and_the_caution_closes(ride_by_hand, by_hand) -> None:
    text = told(ride_by_hand(said=[by_hand.settled(), by_hand.guarded()]))
    assert "brindle.mp4, 10.0 s: 2 signals" in text
    assert "1.  1.0 s to 4.0 s  Clear to Stop, Rule 411: 98 %" in text
    assert "guarded: Stop, Rule 439" in text
    assert "Written into to: index.html, ride.vtt" in text
    assert " ".join(text.split()).endswith(LONG)
    assert all(len(line) <= 80 for line in text.splitlines())


def test_an_order_that_does_not_hold_is_told(ride_by_hand) -> None:
    assert "Order: Clear to Stop is" in told(ride_by_hand())


def test_none_found_and_notes_are_told(ride_by_hand) -> None:
    ride = ride_by_hand([])
    noted = msgspec.structs.replace(ride.record, notes=("this clip is cut off",))
    text = told(replace(ride, record=noted))
    assert "no signal found" in text and "does not mean that none is there" in text
    assert "Note: this clip is cut off." in text
