"""Truth lines and readings made by hand: what a faultless reader would print."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from litlamp.aspects.aspect import ARRANGEMENTS, COLOURS, MOUNTS, PLATES
from litlamp.aspects.rulebook import Rulebook, load_book
from litlamp.collection.readings_file import parse_readings
from litlamp.collection.score import Score, score
from litlamp.collection.truth_file import parse_truth

Line = dict[str, Any]


def lines(of: list[Line]) -> bytes:
    return b"".join(json.dumps(each).encode() + b"\n" for each in of)


@dataclass(frozen=True)
class ByHand:
    """Builders; positions in px, one signal at `x` with heads 40 px apart."""

    book: Rulebook

    def signal(
        self,
        *heads: str,
        rule: str | None,
        x: float = 100.0,
        d: float = 8.0,
        mount: str = "mast",
        arrangement: str = "vertical",
        plates: tuple[str, ...] = (),
        **more: Any,
    ) -> Line:
        lamps = []
        for i, words in enumerate(heads):
            colour = words.split()[-1]
            lamps.append(
                {
                    "colour": colour, "flashing": "flashing" in words, "centre": [x, 50.0 + 40 * i],
                    "diameter_px": d, "lit": colour != "dark", "visible": 1.0,
                }
            )  # fmt: skip
        return {
            "box": [x - 15, 35, x + 15, 65 + 40 * (len(heads) - 1)],
            "heads": list(heads), "mount": mount, "arrangement": arrangement, "plates": list(plates),
            "number": None, "lamps": lamps, "whole_in_view": True, "rule": rule, "edition": "2025",
            "plate_boxes": [{"kind": p, "legible": True} for p in plates],
        } | more  # fmt: skip

    def picture(self, *signals: Line, source: str = "a.png", **more: Any) -> Line:
        return {"source": source, "signals": list(signals), "factors": {"light": "day"}} | more

    def read(self, signal: Line) -> Line:
        """A perfect reading of a signal of the truth."""

        def sure(words: Any, of: str) -> dict[str, float]:
            return {w: float(w == of) for w in words}

        heads = []
        for lamp in signal["lamps"]:
            x, y = lamp["centre"]
            d = lamp["diameter_px"]
            heads.append(
                {
                    "box": [x - d, y - d, x + d, y + d], "lamp": [x, y, d] if lamp["lit"] else None,
                    "colour": sure(COLOURS, lamp["colour"] if lamp["lit"] else "dark"),
                    "flash": None, "flash_per_min": None,
                }
            )  # fmt: skip
        return {
            "box": signal["box"], "span_s": None, "whole_in_view": True, "whole": 1.0,
            "mount": sure(MOUNTS, signal["mount"]), "arrangement": sure(ARRANGEMENTS, signal["arrangement"]),
            "heads": heads,
            "plates": {p: float(p in signal["plates"]) for p in PLATES},
            "plates_unknown": dict.fromkeys(PLATES, 0.0),
            "number": None, "aspect": "", "why": [], "cautions": [],
        } | self.said(signal["rule"])  # fmt: skip

    def said(self, rule: str | None, *, probability: float = 1.0, also: tuple[str, ...] = ()) -> Line:
        """reading, guarded and set of a signal, as a reader sure of that rule would print them."""

        def named(number: str | None) -> Line:
            name = "not a standard aspect" if number is None else self.book.rule(number).name
            return {"rule": number, "name": name}

        members = [rule, *also]
        guard = min(members, key=self.book.rank) or self.book.most_restrictive
        rest = (1 - probability) / max(len(also), 1)
        return {
            "reading": named(rule) | {"probability": probability},
            "guarded": named(guard) | {"level": 0.99},
            "set": [named(m) | {"probability": probability if m == rule else rest} for m in members],
        }

    def record(self, *signals: Line, source: str = "a.png", **more: Any) -> Line:
        return {
            "schema": 1, "litlamp": "0", "model": {"finder": "made-up@0"}, "source": source, "kind": "photo",
            "size": [640, 480], "duration_s": None, "rulebook": {"name": "CROR", "edition": "2025"},
            "caution": "", "failure": None, "signals": list(signals),
        } | more  # fmt: skip

    def perfect(self, picture: Line) -> Line:
        return self.record(*map(self.read, picture["signals"]), source=picture["source"])

    def score(self, truth: list[Line], readings: list[Line]) -> Score:
        known, read = parse_truth(lines(truth), "truth"), parse_readings(lines(readings), "readings")
        return score(known, read, self.book)

    def exam(self) -> list[Line]:
        """One picture for each aspect the book draws, sizes and lights in turn."""
        pictures = []
        for i, (rule, row) in enumerate(self.book.rows()):
            signal = self.signal(
                *(lamp.words() for lamp in row.heads),
                rule=rule.number,
                d=(3.0, 5.0, 8.0, 14.0)[i % 4],
                mount=row.mount or "mast",
                arrangement=row.arrangement or "vertical",
                plates=tuple(sorted(row.plates)),
            )
            light = ("day", "dusk", "night")[i % 3]
            pictures.append(self.picture(signal, source=f"{i}.png", factors={"light": light}))
        return pictures

    def write(self, folder: Path, truth: list[Line], readings: list[Line]) -> tuple[Path, Path]:
        t, r = folder / "truth.jsonl", folder / "readings.jsonl"
        t.write_bytes(lines(truth))
        r.write_bytes(lines(readings))
        return t, r


@pytest.fixture(scope="session")
def by_hand() -> ByHand:
    return ByHand(load_book("CROR", "2025"))
