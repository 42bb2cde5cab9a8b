"""Prints how the classical colour of a lamp fares on crops of real road lamps: right, wrong, cannot tell.

    python tests/bench/colour_real.py [REAL] [--level 0.95]      # REAL defaults to ../shared/real

Crops hold one whole signal with one lamp lit; the strongest place of the scan is taken for the lamp.
Nothing is fitted on them: the colour table comes from simulated lamps alone. Intervals are Clopper-Pearson,
95 %. "Wrong" also counts a lamp that the scan put in the wrong place. The crops were looked at once while
the simulation was made: haze, washed-out tone maps and reduced copies were added to it after that, and no
number was fitted to them.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter, defaultdict
from pathlib import Path

import cv2
import numpy as np

from litlamp.collection.interval import clopper_pearson
from litlamp.sight.colour import lamp_colour
from litlamp.sight.scan import scan

ORDER = ("red", "yellow", "green", "lunar")


def interval(k: int, n: int) -> str:
    """k of n with its exact 95 % interval."""
    low, high = clopper_pearson(k, n)
    return f"{k:4d}/{n} = {100 * k / n:5.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("real", nargs="?", type=Path)
    parser.add_argument("--level", type=float, default=0.95)
    parser.add_argument("--list", action="store_true", help="print each crop read wrong")
    asked = parser.parse_args()
    real = asked.real or Path(__file__).resolve().parents[3] / "shared" / "real"
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for line in (real / "truth.jsonl").read_text().splitlines():
        row = json.loads(line)
        truth = row.get("road_lamp")
        if truth not in ORDER:
            continue
        bgr = cv2.imdecode(np.fromfile(real / row["source"], np.uint8), cv2.IMREAD_COLOR)
        rgb = cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB)
        spots = scan(rgb, 1)
        if not spots:
            counts[truth]["no lamp proposed"] += 1
            continue
        belief = lamp_colour(rgb, spots[0].x, spots[0].y, spots[0].diameter)
        best = max(belief, key=lambda name: belief[name])
        if belief[best] < asked.level:
            counts[truth]["cannot tell"] += 1
        elif best == truth:
            counts[truth]["right"] += 1
        else:
            counts[truth][f"wrong: {best}"] += 1
            if asked.list:
                print(row["source"], {k: round(v, 3) for k, v in belief.items()}, spots[0])
    for truth, seen in counts.items():
        for answer, k in sorted(seen.items()):
            print(f"{truth:7s} {answer:18s} {interval(k, seen.total())}")
    n = sum(seen.total() for seen in counts.values())
    wrong = sum(k for seen in counts.values() for answer, k in seen.items() if answer.startswith("wrong"))
    print(f"all     right or cannot tell {interval(n - wrong, n)}")
    less = sum(k for answer, k in counts["red"].items() if answer.startswith("wrong"))
    print(f"red     believed another     {interval(less, counts['red'].total())}")


if __name__ == "__main__":
    main()
