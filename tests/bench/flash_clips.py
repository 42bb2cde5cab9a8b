"""Flashing told from steady on rendered clips, by the whole way of `litlamp read`: the file, not given boxes.

`python tests/bench/flash_clips.py --lamps 2000 --to FILE` renders one clip for each seed, writes it as H.264,
reads it with `litlamp.clip_reading.read_clip`, and prints by length and by kind of lamp how many lamps were
called flashing, steady and "cannot tell" (leaning to flashing, or not), with exact 95 % intervals (Clopper
and Pearson). FILE keeps each clip's rows: a run that was stopped goes on where it was. Seeds begin at
3,000,000.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import multiprocessing
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from litlamp.aspects.aspect import Aspect, Colour, Lamp
from litlamp.collection.interval import clopper_pearson
from litlamp.scene.clip import DrawnClip, draw_clip
from litlamp.scene.film import Shutter
from litlamp.scene.lamps_over_time import Filament, Flashing, LampKey, Ripple

FIRST_SEED = 3_000_000
SIZE = (320, 180)
LENGTHS = (1.0, 1.4, 1.6, 2.0, 2.5, 3.0, 4.0, 6.0)
RATES = (15.0, 20.0, 24.0, 25.0, 29.97, 30.0, 50.0, 59.94, 60.0)
# What befalls the lamps of a clip; "beat in band" is a ripple that comes and goes at the rates of signals.
EVENTS = ("nothing", "ripple", "beat in band", "pumping", "hidden", "change", "uneven", "zoom")
WORDS = ("flashing", "leans to flashing", "steady", "cannot tell", "not found")


@dataclass(frozen=True, slots=True)
class Row:
    """One lamp of one clip: what it was and what it was called."""

    seed: int
    head: int
    seconds: float
    fps: float
    flashes: bool
    source: str
    event: str
    light: str
    diameter: float
    per_minute: float | None
    verdict: str
    told_per_minute: float | None


@dataclass(frozen=True, slots=True)
class Case:
    """A clip to be read and what happens in it."""

    clip: DrawnClip
    event: str
    seconds: float
    per_minute: float


def case(seed: int) -> Case:
    """The clip of one seed."""
    dice = np.random.default_rng(seed)
    seconds, fps = float(dice.choice(LENGTHS)), float(dice.choice(RATES))
    event = str(dice.choice(EVENTS, p=[0.22, 0.12, 0.1, 0.12, 0.1, 0.12, 0.12, 0.1]))
    count = int(dice.choice([1, 2, 3], p=[0.25, 0.5, 0.25]))
    # A signal's flashing lamps flash together; of the events that could hide a flash none spares them.
    flashing = dice.random(count) < 0.5
    heads = tuple(Lamp(_colour(dice), bool(f)) for f in flashing)
    flash = Flashing(float(dice.uniform(30, 90)), float(dice.uniform(0.3, 0.7)), float(dice.random()))
    more: dict[str, Any] = {"motion": str(dice.choice(["hand", "hand", "still"]))}
    light = str(dice.choice(["day", "overcast", "low sun", "dusk", "night"], p=[0.35, 0.2, 0.15, 0.15, 0.15]))
    if event == "ripple":
        more |= _ripple(dice, fps, float(dice.uniform(2.0, fps / 2)))
    elif event == "beat in band":
        fps = float(dice.uniform(15, 60))
        more |= _ripple(dice, fps, float(dice.uniform(0.5, 1.5)))
        heads = tuple(Lamp(h.colour) for h in heads)  # asked of steady lamps
    elif event == "pumping":
        more["pumping"] = float(dice.uniform(0.2, 0.8))
    elif event == "hidden":
        more["hidden"] = [(float(dice.uniform(0.1, 0.9)) * seconds, float(dice.uniform(0.08, 0.35)))]
    elif event == "change":
        heads = tuple(Lamp(h.colour) for h in heads)
        then = tuple(Lamp(_colour(dice)) for _ in heads)
        more["changes"] = [(float(dice.uniform(0.2, 0.8)) * seconds, Aspect(then))]
    elif event == "uneven":
        more["uneven"] = float(dice.uniform(0.2, 0.4))
    elif event == "zoom":
        more |= {"motion": "zoom", "zoom": float(dice.uniform(1.2, 2.0))}
    arrangement = "staggered" if count > 1 and dice.random() < 0.4 else "vertical"
    clip = draw_clip(
        Aspect(heads, "mast" if dice.random() < 0.8 else "dwarf", arrangement),
        seed=seed, size=SIZE, seconds=seconds, fps=fps, light=light,  # type: ignore[arg-type]
        weather=str(dice.choice(["clear", "haze", "rain", "snow"], p=[0.7, 0.1, 0.12, 0.08])),  # type: ignore[arg-type]
        distance=float(np.exp(dice.uniform(np.log(12 + 5 * count), np.log(36)))), flashing=flash,
        filament=Filament(float(dice.uniform(0.03, 0.12)), float(dice.uniform(0.03, 0.1))), **more,
    )  # fmt: skip
    return Case(clip, event, seconds, flash.per_minute)


def _colour(dice: np.random.Generator) -> Colour:
    colours: tuple[Colour, ...] = ("red", "yellow", "green", "lunar")
    return colours[int(dice.choice(4, p=[0.4, 0.28, 0.28, 0.04]))]


def _ripple(dice: np.random.Generator, fps: float, beat: float) -> dict[str, Any]:
    """An LED's ripple that the frame rate turns into a beat of so many hertz, and a short shutter."""
    near = float(dice.choice([100.0, 120.0])) if dice.random() < 0.6 else float(dice.uniform(80, 300))
    hertz = round(near / fps) * fps + beat * float(dice.choice([-1, 1]))
    shape = "switched" if dice.random() < 0.5 else "rectified"
    share = float(dice.uniform(0.25, 0.9))
    shutter = Shutter(float(np.exp(dice.uniform(np.log(1 / 4000), np.log(1 / 200)))), 0.0)
    return {
        "ripple": Ripple(max(hertz, 25.0), share, float(dice.random()), shape),  # type: ignore[arg-type]
        "shutter": shutter, "kind": "led",
    }  # fmt: skip


def read(seed: int) -> list[Row]:
    """Render, write, read and judge one clip."""
    made = case(seed)
    clip = made.clip
    dice = np.random.default_rng((seed, 1))
    verdicts = _verdicts(clip, int(dice.integers(18, 29)))
    rows = []
    times = [clip.signals_at(time.seconds)[0].heads for time in clip.times]
    for head, lamp in enumerate(clip.shown[0][0].aspect.heads):
        # A lamp at the picture's edge is asked of in the frames that hold it, so it must be in most of them.
        if np.mean([heads[head].visible > 0.9 for heads in times]) < 0.9 - 0.4 / made.seconds:
            continue
        key = LampKey(0, head, lamp.colour)
        verdict, told = verdicts.get(head, ("not found", None))
        best = clip.truth.signals[0].best.heads[head]
        rows.append(
            Row(
                seed, head, made.seconds, round(clip.fps, 3), lamp.flashing, clip.lights[key].source,
                made.event, clip.scene.setting.light, round(best.diameter, 1),
                made.per_minute if lamp.flashing else None, verdict, told,
            )
        )  # fmt: skip
    return rows


@lru_cache(maxsize=1)
def _eyes() -> Any:
    from litlamp.sight.eyes import load_eyes

    return load_eyes(threads=1)


def _verdicts(clip: DrawnClip, quality: int) -> dict[int, tuple[str, float | None]]:
    """Head of the true signal -> what the reader called its lamp, and the rate that it told."""
    from litlamp.clip_reading import read_clip
    from litlamp.scene.clip_file import save_clip

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "clip.mp4"
        save_clip(clip.frames(), file, clip.size, clip.fps, quality=quality)
        answer = read_clip(str(file), eyes=_eyes())
    out: dict[int, tuple[str, float | None]] = {}
    for passage in answer.passages:
        true = clip.signals_at(passage.at)[0]
        for i, head in enumerate(true.heads):
            said = []
            for part in passage.stretches:
                # Boxes of a stretch are of its own moment, but a clip as short as these moves little.
                near = [h for h in part.seen.heads if _on(h.box, head)]
                said += sorted(near, key=lambda h: _apart(h.box, head))[:1]
            if not said:
                continue
            beliefs = [h.flashing for h in said]
            rates = [h.flash_per_min for h in said if h.flash_per_min is not None]
            word = "steady"
            if any(b is not None and b >= 0.5 for b in beliefs):
                word = "flashing"
            elif any(h.flashing is None and (h.leaning or 0.0) > 0.5 for h in said):
                word = "leans to flashing"
            elif any(b is None for b in beliefs):
                word = "cannot tell"
            # A lamp read twice is judged by the worse of both.
            if i not in out or WORDS.index(word) < WORDS.index(out[i][0]) or head.lamp.flashing:
                out[i] = (word, rates[-1] if rates else None)
    return out


def _apart(box: Any, head: Any) -> float:
    return float(np.hypot(box.centre[0] - head.box.centre[0], box.centre[1] - head.box.centre[1]))


def _on(box: Any, head: Any) -> bool:
    """Whether a head that was read is that true one: its middle within three quarters of a head's height."""
    (x, y), (tx, ty) = box.centre, head.box.centre
    reach = 0.75 * max(head.box.height, head.box.width, 6.0)
    return abs(x - tx) < reach and abs(y - ty) < reach / 1.3


def every(
    seeds: Iterator[int],
    file: Path,
    work: Callable[[int], list[Row]],
    workers: int,
    enough: Callable[[int], bool],
) -> list[Row]:
    """Rows of all seeds, from the file where they are known; stops where `enough` of so many rows is true."""
    rows: list[Row] = []
    known: dict[int, list[Row]] = {}
    with contextlib.suppress(FileNotFoundError):
        for line in file.read_text(encoding="utf-8").splitlines():
            record = json.loads(line)
            known[record["seed"]] = [Row(**r) for r in record["rows"]]
    for seed in sorted(known):
        rows += known[seed]
    with multiprocessing.get_context("spawn").Pool(workers) as pool, file.open("a", encoding="utf-8") as out:
        fresh = (s for s in seeds if s not in known)
        while not enough(len(rows)):
            batch = [next(fresh) for _ in range(4 * workers)]
            for seed, found in zip(batch, pool.map(work, batch, chunksize=1), strict=True):
                out.write(json.dumps({"seed": seed, "rows": [asdict(r) for r in found]}) + "\n")
                rows += found
            out.flush()
    return rows


def line(name: str, rows: list[Row]) -> str:
    """How lamps of one kind were called."""
    n, words = len(rows), Counter(r.verdict for r in rows)
    parts = [f"{name:26} n {n:5}"]
    for word in WORDS:
        low, high = clopper_pearson(words[word], n)
        if words[word] or word in WORDS[:3]:
            part = 100 * words[word] / n
            parts.append(f"{word} {words[word]:4} {part:6.2f} % [{100 * low:.2f}, {100 * high:.2f}]")
    return "  ".join(parts)


def report(rows: list[Row]) -> str:
    """The table."""
    out = []
    longer = [r for r in rows if r.seconds >= 2]
    for flashes, name in ((True, "flashing"), (False, "steady")):
        mine = [r for r in longer if r.flashes == flashes]
        if mine:
            out.append(line(f"{name}, 2 s and more", mine))
        for length in LENGTHS:
            if part := [r for r in rows if r.flashes == flashes and r.seconds == length]:
                out.append(line(f"  {name}, {length:g} s", part))
        for what in ("source", "event", "light"):
            for value in sorted({getattr(r, what) for r in mine}):
                out.append(line(f"  {name}, {value}", [r for r in mine if getattr(r, what) == value]))
        for low, high in ((0, 3), (3, 5), (5, 8), (8, 99)):
            if part := [r for r in mine if low <= r.diameter < high]:
                out.append(line(f"  {name}, {low}-{high} px", part))
    told = [r for r in rows if r.flashes and r.told_per_minute is not None and r.per_minute is not None]
    if told:
        off = [abs(float(r.told_per_minute or 0) - float(r.per_minute or 0)) for r in told]
        out.append(
            f"rate: {len(told)} told, median error {np.median(off):.2f} a minute, worst {max(off):.1f}"
        )
    wrong = [r for r in longer if r.verdict == ("steady" if r.flashes else "flashing")]
    out += [f"  wrong: {r}" for r in wrong[:40]]
    return "\n".join(out)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lamps", type=int, default=200, help="how many lamps at least")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--seed", type=int, default=FIRST_SEED)
    parser.add_argument("--to", type=Path, default=Path("flash_clips.jsonl"), help="where results are kept")
    asked = parser.parse_args()
    rows = every(iter(range(asked.seed, asked.seed + 10**6)), asked.to, read, asked.workers,
                 lambda n: n >= asked.lamps)  # fmt: skip
    print(report(rows))


if __name__ == "__main__":
    main()
