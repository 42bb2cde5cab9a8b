"""Prints how many labelled lamps of the real photographs the scan proposes, and how long it takes.

    python tests/bench/scan_real.py [REAL]        # REAL defaults to ../shared/real beside the checkout

A lamp counts as proposed where a spot lies within max(4 px, its diameter) of the labelled centre; labels
without a diameter are given a quarter of the head's width (at least 4 px). Cab and layout pictures were
looked at while the scan was made, though nothing is fitted on them; stills and road were not: they stand
apart below.
"""

from __future__ import annotations

import json
import sys
import time
from collections import defaultdict
from pathlib import Path

import cv2
import numpy as np

from litlamp.scene.compose import training_sample
from litlamp.sight.scan import scan

DEVELOPED_ON = ("cab", "layout")
RANKS = (8, 16, 32, 48)


def lamps_of(row: dict) -> list[tuple[float, float, float]]:
    """(x, y, tolerance) of each labelled lamp of a truth line."""
    found = []
    for signal in row.get("signals", ()):
        x0, _, x1, _ = signal["box"]
        for lamp in signal.get("lamps", ()):
            diameter = lamp.get("diameter_px") or (x1 - x0) / 4
            found.append((*lamp["centre"], max(4.0, diameter)))
    for lamp in row.get("road_lamps", ()):
        if lamp["colour"] in ("red", "yellow", "green"):
            x0, y0, x1, y1 = lamp["box"]
            # Road boxes hold the lamp alone.
            found.append(((x0 + x1) / 2, (y0 + y1) / 2, max(4.0, ((x1 - x0) + (y1 - y0)) / 4)))
    return found


def on_renders(n: int = 60) -> None:
    """Prints recall by lit diameter on rendered scenes of seeds the ranking was not fitted on."""
    found: dict[str, list[int]] = defaultdict(list)
    for seed in range(n):
        w, h = 800, 600
        rgb, truth = training_sample(95_000 + seed, (w, h))
        spots = scan(rgb)
        for signal in truth.signals:
            for head in signal.heads:
                x, y = head.centre
                if not (signal.facing and head.lit and head.visible > 0.9 and head.diameter >= 3):
                    continue
                if not (0 <= x < w and 0 <= y < h):
                    continue
                near = max(4.0, head.diameter)
                at = next((i for i, s in enumerate(spots) if np.hypot(s.x - x, s.y - y) <= near), 10**6)
                size = next(k for k in (5, 7, 11, 10**6) if head.diameter < k)
                found[{5: "3-4 px", 7: "5-6 px", 11: "7-10 px"}.get(size, "> 10 px")].append(at)
    for size, ranks in sorted(found.items()):
        hits = "  ".join(f"@{k} {sum(r < k for r in ranks)}/{len(ranks)}" for k in RANKS)
        print(f"rendered {size:8s} {hits}")


def main() -> None:
    """Prints the table."""
    cv2.setNumThreads(1)
    real = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parents[3] / "shared" / "real"
    ranks: dict[str, list[int]] = defaultdict(list)
    missed = []
    for line in (real / "truth.jsonl").read_text().splitlines():
        row = json.loads(line)
        lamps = lamps_of(row)
        if not lamps:
            continue
        source = row["source"]
        bgr = cv2.imdecode(np.fromfile(real / source, np.uint8), cv2.IMREAD_COLOR)
        spots = scan(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB))
        for x, y, near in lamps:
            at = next((i for i, s in enumerate(spots) if np.hypot(s.x - x, s.y - y) <= near), 10**6)
            ranks[source.split("/")[0]].append(at)
            if at >= RANKS[-1]:
                missed.append(f"{source} ({x:.0f}, {y:.0f})")
    for group, found in sorted(ranks.items()):
        note = "looked at in development" if group in DEVELOPED_ON else "held apart"
        hits = "  ".join(f"@{k} {sum(r < k for r in found)}/{len(found)}" for k in RANKS)
        print(f"{group:12s} {hits}   {note}")
    for miss in missed:
        print("missed", miss)
    on_renders()
    rng = np.random.default_rng(0)
    for w, h in ((1920, 1080), (4000, 3000)):
        small = rng.integers(0, 255, (h // 8, w // 8, 3), np.uint8)
        picture = cv2.resize(small, (w, h), interpolation=cv2.INTER_CUBIC)
        times = []
        for _ in range(9):
            begin = time.perf_counter()
            scan(picture)
            times.append(1e3 * (time.perf_counter() - begin))
        print(f"{w}x{h}, one thread: median {np.median(times):.1f} ms, least {min(times):.1f} ms")


if __name__ == "__main__":
    main()
