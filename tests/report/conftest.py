"""Readings built by hand: what the report room is given, without eyes or rulebook."""

from __future__ import annotations

import base64
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import pytest

from litlamp.aspects.aspect import COLOURS, PLATES, Colour
from litlamp.aspects.belief import UNKNOWN_PLATE, PlateBelief
from litlamp.aspects.cautions import LONG, STILL
from litlamp.aspects.reading import Reading, RuleChance
from litlamp.aspects.rulebook import load_book
from litlamp.box import Box
from litlamp.footage_state import Passed, Picture
from litlamp.photo_reading import Passage, SourceReading, Stretch
from litlamp.report.footage_record import KnownRecord, PassedRecord, signal_of
from litlamp.report.record import record
from litlamp.ride import Ride, assembled
from litlamp.sight.seen import HeadSeen, LampSeen, PlateSeen, SignalSeen

CLEAR_TO_STOP = RuleChance("411", "Clear to Stop", 0.981)
SLOW_TO_STOP = RuleChance("427", "Slow to Stop", 0.012)
RESTRICTING = RuleChance("436", "Restricting", 0.83)
STOP = RuleChance("439", "Stop", 0.17)


@dataclass(frozen=True)
class ByHand:
    """Builders."""

    def head(self, colour: Colour, x: float, y: float, d: float = 40.0, sure: float = 0.96) -> HeadSeen:
        belief: dict[Colour, float] = {c: sure if c == colour else (1 - sure) / 4 for c in COLOURS}
        lamp = None if colour == "dark" else LampSeen(x, y, d / 2)
        return HeadSeen(Box(x - d / 2, y - d / 2, x + d / 2, y + d / 2), lamp, belief)

    def signal(
        self,
        *colours: Colour,
        x: float = 200.0,
        y: float = 60.0,
        d: float = 40.0,
        plate: str | None = None,
        sure: float = 0.96,
        stagger: float = 0.0,
    ) -> SignalSeen:
        heads = tuple(
            self.head(c, x + stagger * d * (-1) ** i, y + 2 * d * i, d, sure) for i, c in enumerate(colours)
        )
        box = heads[0].box
        for head in heads[1:]:
            box = box.union(head.box)
        low = y + 2 * d * len(colours)
        plates = ()
        if plate is not None:
            plates = (PlateSeen(Box(x - d / 4, low, x + d / 4, low + d / 2), {plate: 0.95, "other": 0.05}),)
        return SignalSeen(
            box=box,
            heads=heads,
            mount={"mast": 0.98, "dwarf": 0.02},
            arrangement={"vertical": 0.95, "staggered": 0.05},
            plates={k: PlateBelief(0.95, 0.02, 0.03) if k == plate else UNKNOWN_PLATE for k in PLATES},
            plates_seen=plates,
            number=None,
            whole=0.97,
            resolution=d,
            axis=(x, y, x, y + 2 * d * (len(colours) - 1)) if len(colours) > 1 else None,
        )

    def settled(self) -> Reading:
        return Reading(
            chances=(
                CLEAR_TO_STOP,
                SLOW_TO_STOP,
                RuleChance(None, "no standard aspect", 0.007, "not_standard"),
            ),
            reading=CLEAR_TO_STOP,
            guarded=CLEAR_TO_STOP,
            set=(CLEAR_TO_STOP,),
            level=0.98,
            aspect="yellow over red, vertical, mast",
            why=("Two heads in line on a mast: yellow over red.", "The lower red is a placeholder."),
            cautions=(LONG, STILL),
        )

    def guarded(self) -> Reading:
        return Reading(
            chances=(RESTRICTING, STOP),
            reading=RESTRICTING,
            guarded=STOP,
            set=(RESTRICTING, STOP),
            level=0.99,
            aspect="single red, mast, R plate",
            why=("A single red head on a mast.",),
            cautions=("A plate may be hidden: an A plate would make it Stop.",),
        )

    def nothing(self) -> Reading:
        dark = RuleChance(None, "not lit", 1.0, "not_lit")
        return Reading((dark,), None, None, (dark,), 0.99, "dark", ("No head is lit.",), ())

    def source(
        self,
        *signals: tuple[SignalSeen, Reading],
        size: tuple[int, int] = (400, 300),
        failure: str | None = None,
    ) -> SourceReading:
        failed = failure is not None
        return SourceReading(
            source="pictures/brindle-halt.jpg",
            kind=None if failed else "photo",
            size=None if failed else size,
            signals=signals,
            failure=failure,
            book="CROR",
            edition="2025",
            model={"finder": "litlamp-finder-1@0123456789ab"},
        )


@pytest.fixture(scope="session")
def by_hand() -> ByHand:
    return ByHand()


@pytest.fixture(scope="session")
def ride_by_hand(by_hand: ByHand) -> Callable[..., Ride]:
    """`ride_by_hand(spans, said=, source=, length=)`: a ride with a signal for each span of seconds.

    `said` are readings, as of `by_hand`, one for each; "settled" where not given.
    """

    def make(
        spans: Sequence[tuple[float, float]] = ((1.0, 4.0), (5.0, 9.0)),
        said: Sequence[Reading] = (),
        source: str = "rides/brindle.mp4",
        length: float = 10.0,
        whole: bool = True,
    ) -> Ride:
        passed = []
        for i, (a, b) in enumerate(spans):
            reading = said[i] if i < len(said) else by_hand.settled()
            seen = by_hand.signal("yellow", "red")
            passage = Passage((a, b), b, (Stretch((a, b), seen, reading),))
            of = replace(by_hand.source((seen, reading)), kind="clip", passages=(passage,), duration_s=length)
            signal = record(of).signals[0]
            moments = [a + share * (b - a) for share in (0.1, 0.5, 1.0)]
            known = tuple(
                KnownRecord(
                    at_s=round(at, 3), box=signal.box, head_px=10.0 * (j + 1), aspect=signal.aspect,
                    reading=signal.reading, guarded=signal.guarded, set=signal.set,
                )
                for j, at in enumerate(moments)
            )  # fmt: skip
            told = PassedRecord(
                number=0, ended="passed", side="right", faces="towards the train", track="", known=known
            )
            jpeg = Picture(round(b, 3), _JPEG)
            times = tuple(round(a + 0.1 * k, 4) for k in range(max(round((b - a) * 10), 1)))
            edges = tuple(v for k in range(len(times)) for v in (20 + k, 20, 60 + k, 120))
            passed.append(Passed(signal_of(signal, told), (jpeg,), 0, times, edges))
        clip = replace(by_hand.source(), kind="clip", source=source, duration_s=length)
        return assembled(passed, clip, load_book(), at=length, whole=whole, stopped=False)

    return make


# A grey pixel.
_JPEG = base64.b64decode(
    "/9j/4AAQSkZJRgABAQAAAQABAAD/2wBDAP//////////////////////////////////////////////////////////////////////"
    "////////////////wAALCAABAAEBAREA/8QAFAABAAAAAAAAAAAAAAAAAAAAA//EABQQAQAAAAAAAAAAAAAAAAAAAAD/2gAIAQEAAD8A"
    "N//Z"
)
