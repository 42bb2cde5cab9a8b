"""Lit lamps found and coloured on real photographs, readings where known, and false signals.

    python tests/bench/real_photos.py [FOLDER] [--only KIND]

FOLDER holds truth.jsonl and the pictures (by default the real pictures beside the checkout). Nothing in the
package is fitted on these pictures: the networks and their calibration know rendered scenes only. Figures are
given by scene source, with exact (Clopper-Pearson) 95 % intervals.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

from litlamp.aspects.interpret import interpret
from litlamp.aspects.rulebook import load_book
from litlamp.collection.interval import clopper_pearson
from litlamp.media.photo import read_photo
from litlamp.sight.look import look
from litlamp.sight.seen import SignalSeen

KINDS = ("cab", "stills", "layout", "negatives", "road")


def share(k: int, n: int) -> str:
    """k of n with its exact interval."""
    if n == 0:
        return "0 of 0"
    low, high = clopper_pearson(k, n)
    return f"{k} of {n} = {k / n:.1%} [{low:.1%}, {high:.1%}]"


def lit_lamps(signals: tuple[SignalSeen, ...]) -> list[tuple[float, float, float, str]]:
    """(x, y, head width, colour) of every lamp reported lit."""
    return [
        (h.lamp.x, h.lamp.y, h.box.width, max(h.colour, key=lambda c: h.colour[c]))
        for s in signals for h in s.heads if h.lamp
    ]  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser()
    root = Path(__file__).resolve().parents[2].parent / "shared" / "real"
    parser.add_argument("folder", type=Path, nargs="?", default=root)
    parser.add_argument("--only", help="one kind of scene")
    args = parser.parse_args()
    if not (args.folder / "truth.jsonl").is_file():
        sys.exit("no truth.jsonl there")
    book = load_book()
    tally: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for line in (args.folder / "truth.jsonl").read_text().splitlines():
        truth: dict[str, Any] = json.loads(line)
        kind = truth["source"].split("/")[0]
        if kind not in KINDS or (args.only and kind != args.only):
            continue
        frame = read_photo(args.folder / truth["source"])
        signals = look(frame)
        t = tally[kind]
        t["pictures"] += 1
        lamps = lit_lamps(signals)
        notes = []
        for signal in truth["signals"]:
            x0, y0, x1, y1 = signal["box"]
            tall = y1 - y0
            for lamp in signal["lamps"]:
                x, y = lamp["centre"]
                reach = max(4.0, lamp.get("diameter_px", 0.1 * tall) * 0.75)
                t["lamps"] += 1
                near = [p for p in lamps if math.hypot(p[0] - x, p[1] - y) <= reach]
                t["found"] += bool(near)
                right = any(p[3] == lamp["colour"] for p in near)
                t["coloured"] += right
                if not right:
                    said = near[0][3] if near else "missed"
                    notes.append(f"{lamp['colour']} at {lamp['centre']} (signal {tall:.0f} px tall): {said}")
                    t["red less restrictive"] += lamp["colour"] == "red" and said in (
                        "yellow",
                        "green",
                        "lunar",
                    )
            if not signal["lamps"]:
                inside = [p for p in lamps if x0 <= p[0] <= x1 and y0 <= p[1] <= y1]
                t["dark signals"] += 1
                t["dark called lit"] += bool(inside)
                if inside:
                    notes.append(f"dark signal at {signal['box']} called {[p[3] for p in inside]}")
            if signal.get("rule"):
                t["rules"] += 1
                mine = [s for s in signals if s.box.iou(_box(signal["box"])) > 0.3]
                reading = interpret(mine[0].belief(), book) if mine else None
                said = reading.reading.rule if reading and reading.reading else None
                guard = reading.guarded.rule if reading and reading.guarded else None
                t["rules right"] += said == signal["rule"]
                notes.append(f"rule {signal['rule']}: read {said}, guarded {guard}")
        if kind in ("negatives", "road"):
            t["false signals"] += len(signals)
            t["with lit lamp"] += sum(any(h.lamp for h in s.heads) for s in signals)
            t["pictures with any"] += bool(signals)
            if signals:
                notes.append(
                    f"{len(signals)} false: {[[round(v) for v in s.box.as_list()] for s in signals]}"
                )
        for note in notes:
            print(f"{truth['source']}: {note}")
    for kind, t in tally.items():
        print(f"\n{kind}: {t['pictures']} pictures")
        if t["lamps"]:
            print(f"  lit lamps found        {share(t['found'], t['lamps'])}")
            print(f"  coloured right of found {share(t['coloured'], t['found'])}")
            print(f"  red believed less restrictive {t['red less restrictive']}")
        if t["dark signals"]:
            print(f"  dark signals called lit {share(t['dark called lit'], t['dark signals'])}")
        if t["rules"]:
            print(f"  rule read exactly      {share(t['rules right'], t['rules'])}")
        if kind in ("negatives", "road"):
            print(
                f"  false signals          {t['false signals']} in {t['pictures']} pictures"
                f" ({t['with lit lamp']} lit)"
            )
            print(f"  pictures with any      {share(t['pictures with any'], t['pictures'])}")


def _box(edges: list[float]) -> Any:
    from litlamp.box import Box

    return Box(*edges)


if __name__ == "__main__":
    main()
