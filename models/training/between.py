"""Weights part of the way from those of one run to those of another that began from them.

    python models/training/between.py START END --share 0.5 --to .data/run

A network taught anew (`anew.py`) loses a little of what it knew elsewhere; half way it has kept that and
most of what it was taught (Wortsman and others 2022, "Robust fine-tuning of zero-shot models"). Only finder
and reader are moved; the plate reader is that of START.
"""

from __future__ import annotations

import argparse
import shutil
from pathlib import Path

import torch
from torch import Tensor

MOVED = ("finder", "reader")


def between(start: dict[str, Tensor], end: dict[str, Tensor], share: float) -> dict[str, Tensor]:
    """Each of END's weights, `share` of the way from START's to it."""
    if missing := end.keys() - start.keys():
        raise SystemExit(f"the weights to start from have no {sorted(missing)[0]}")
    return {
        name: torch.lerp(start[name].float(), own.float(), share) if own.is_floating_point() else own
        for name, own in end.items()
    }


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("start", type=Path, help="weights.pt that the other run began from")
    parser.add_argument("end", type=Path, help="folder of that run")
    parser.add_argument("--share", type=float, default=0.5)
    parser.add_argument("--to", type=Path, required=True)
    args = parser.parse_args()
    start, end = (
        torch.load(p, map_location="cpu", weights_only=True) for p in (args.start, args.end / "weights.pt")
    )
    args.to.mkdir(parents=True, exist_ok=True)
    moved = {net: between(start[net], own, args.share if net in MOVED else 0.0) for net, own in end.items()}
    torch.save(moved, args.to / "weights.pt")
    shutil.copy(args.end / "training.json", args.to)


if __name__ == "__main__":
    main()
