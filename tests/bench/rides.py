"""Whole rides read by the way of `litlamp read`: signals found, counted once, and read right at their last.

`python tests/bench/rides.py --rides 40 --to FILE` renders seeded rides (aspects in the order in which each
announces the next), writes them as H.264, reads them with `litlamp.clip_reading.read_clip`, and prints shares
with exact 95 % intervals (Clopper and Pearson). FILE keeps each ride's rows: a run that was stopped goes on
where it was. Seeds begin at 3,500,000.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import multiprocessing
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from litlamp.aspects.rulebook import Rulebook, load_book
from litlamp.box import union_of
from litlamp.collection.interval import clopper_pearson
from litlamp.scene.clip import DrawnClip
from litlamp.scene.ride import draw_ride
from litlamp.scene.sequence import draw_sequence

FIRST_SEED = 3_500_000
SIZE = (960, 540)
_THINGS = ("road light", "crossing lamps", "street lamp", "sign", "switch lamp", "car lights", "lit sign")
SECONDS, FPS, SIGNALS = 48.0, 15.0, 4


@dataclass(frozen=True, slots=True)
class Met:
    """One true signal of a ride and how it was read.

    `times` is how often it was reported; `reading` and `guarded` are rules at its last clear sight (None: not
    read). `wrong` and `guard_wrong` say whether they are less restrictive than the truth. `back`: seen from
    behind, so that nothing should be read.
    """

    seed: int
    signal: int
    back: bool
    true: str
    heads: tuple[str, ...]
    times: int
    reading: str | None
    guarded: str | None
    wrong: bool
    guard_wrong: bool
    settled: str  # what the truth rests on that a clip can tell: "all", or "plate" where none could be read
    largest: float  # px of its lens at its best
    light: str


@dataclass(frozen=True, slots=True)
class Ride:
    """One ride: its signals, and signals that were reported where none stands."""

    seed: int
    met: tuple[Met, ...]
    false: int
    false_read: int
    seconds: float
    cost_s: float


def ride(seed: int) -> DrawnClip:
    """The ride of one seed."""
    dice = np.random.default_rng(seed)
    light = str(dice.choice(["day", "overcast", "low sun", "dusk", "night"], p=[0.4, 0.2, 0.15, 0.1, 0.15]))
    weather = str(dice.choice(["clear", "haze", "rain", "snow", "fog"], p=[0.65, 0.12, 0.12, 0.06, 0.05]))
    signals = draw_sequence(dice, load_book(), SIGNALS, stops=int(dice.random() < 0.5))
    return draw_ride(
        signals, seed=seed, size=SIZE, seconds=SECONDS, fps=FPS,
        light=light, weather=weather,  # type: ignore[arg-type]
        tightest=float(dice.uniform(500, 2500)), wires=bool(dice.random() < 0.3),
        backs=int(dice.integers(0, 2)),
        extras=[str(k) for k in dice.choice(_THINGS, int(dice.integers(0, 4)))],
        pumping=float(dice.choice([0.0, 0.3])), uneven=float(dice.choice([0.0, 0.3])),
    )  # fmt: skip


def read(seed: int) -> Ride:
    """Render, write, read and judge one ride."""
    from litlamp.clip_reading import read_clip
    from litlamp.scene.clip_file import save_clip
    from litlamp.sight.eyes import load_eyes

    book, clip = load_book(), ride(seed)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "ride.mp4"
        save_clip(clip.frames(), file, clip.size, clip.fps, quality=23)
        eyes = load_eyes(threads=1)
        start = time.perf_counter()
        answer = read_clip(str(file), book=book, eyes=eyes)
        cost = time.perf_counter() - start
    owners = [_owner(clip, passage) for passage in answer.passages]
    met = tuple(_met(seed, clip, number, owners, answer, book) for number in _seen(clip))
    stray = [i for i, owner in enumerate(owners) if owner is None]
    read_stray = sum(answer.signals[i][1].reading is not None for i in stray)
    return Ride(seed, met, len(stray), read_stray, clip.duration, cost)


def _seen(clip: DrawnClip) -> list[int]:
    """Numbers of the signals that can be seen at all, in the order in which they are met."""
    last = {}
    for at in clip.times:
        for number, signal in clip.signals_at(at.seconds).items():
            if min(h.diameter for h in signal.heads) >= 4 and signal.whole_in_view:
                last[number] = at.seconds
    return sorted(last, key=lambda n: last[n])


def _owner(clip: DrawnClip, passage: Any) -> int | None:
    """The true signal that a reported one lies on at the moment its boxes are of."""
    best: tuple[float, int] | None = None
    # The heads' own, for plates hang below them.
    box = union_of([head.box for head in passage.stretches[-1].seen.heads])
    near = min(clip.times, key=lambda t: abs(t.seconds - passage.at)).seconds
    for number, signal in clip.signals_at(near).items():
        whole = signal.heads[0].box
        for head in signal.heads[1:]:
            whole = whole.union(head.box)
        tall = max(whole.height, whole.width, 6.0)
        x, y = box.centre
        off = max(whole.x0 - x, x - whole.x1, 0.0) + max(whole.y0 - y, y - whole.y1, 0.0)
        if off < 0.5 * tall and (best is None or off < best[0]):
            best = (off, number)
    return None if best is None else best[1]


def _met(
    seed: int, clip: DrawnClip, number: int, owners: list[int | None], answer: Any, book: Rulebook
) -> Met:
    mine = [i for i, owner in enumerate(owners) if owner == number]
    signal = next(s for s in _told(clip) if s[0] == number)[1]
    aspect = clip.signals_at(signal.best_s)[number].aspect
    arrangement = aspect.arrangement if len(aspect.heads) > 1 else None
    found = book.find(aspect.heads, aspect.mount or "mast", arrangement, aspect.plates, bool(aspect.number))
    true = found[0].number if found is not None else "not standard"
    said = answer.signals[max(mine, key=lambda i: answer.passages[i].at)][1] if mine else None
    reading = said.reading.rule if said is not None and said.reading is not None else None
    guarded = said.guarded.rule if said is not None and said.guarded is not None else None
    rank = book.rank(true)
    back = not signal.best.facing

    def less(rule: str | None) -> bool:
        return rule is not None and (back or book.rank(rule) > rank)

    unread = any(not p.legible for p in signal.best.plates if p.kind != "number")
    return Met(
        seed, number, back, true, tuple(h.words() for h in aspect.heads), len(mine), reading, guarded,
        less(reading), less(guarded), "plate" if unread else "all",
        round(max(h.diameter for h in signal.best.heads), 1), clip.scene.setting.light,
    )  # fmt: skip


def _told(clip: DrawnClip) -> list[tuple[int, Any]]:
    """Each signal of the truth with its number in the scene."""
    out = []
    for signal in clip.truth.signals:
        numbers = clip.signals_at(signal.best_s)
        number = next(n for n, s in numbers.items() if s.box == signal.best.box)
        out.append((number, signal))
    return out


def all_rides(seeds: range, file: Path, work: Callable[[int], Ride], workers: int) -> list[Ride]:
    """Every ride, from the file where it is known."""
    rides: dict[int, Ride] = {}
    with contextlib.suppress(FileNotFoundError):
        for line in file.read_text(encoding="utf-8").splitlines():
            record = json.loads(line)
            met = tuple(Met(**{**m, "heads": tuple(m["heads"])}) for m in record.pop("met"))
            rides[record["seed"]] = Ride(met=met, **record)
    left = [s for s in seeds if s not in rides]
    with multiprocessing.get_context("spawn").Pool(workers) as pool, file.open("a", encoding="utf-8") as out:
        for one in pool.imap_unordered(work, left):
            out.write(json.dumps(asdict(one)) + "\n")
            out.flush()
            rides[one.seed] = one
    return [rides[s] for s in sorted(rides)]


def share(name: str, flags: list[bool]) -> str:
    """A share with its interval."""
    if not flags:
        return f"{name:48} none"
    low, high = clopper_pearson(sum(flags), len(flags))
    of = f"{sum(flags):4} of {len(flags):4} = {100 * np.mean(flags):6.2f} %"
    return f"{name:48} {of} [{100 * low:.2f}, {100 * high:.2f}]"


def report(rides: list[Ride]) -> str:
    """The table."""
    met = [m for r in rides for m in r.met if not m.back]
    backs = [m for r in rides for m in r.met if m.back]
    found = [m for m in met if m.times > 0]
    out = [
        f"{len(rides)} rides of {rides[0].seconds:g} s, {len(met)} signals met, {len(backs)} seen from behind"
    ]
    out.append(share("found", [m.times > 0 for m in met]))
    out.append(share("counted once, of those found", [m.times == 1 for m in found]))
    out.append(share("right rule at the last clear sight", [m.reading == m.true for m in met]))
    out.append(
        share("  of those whose plates can be read", [m.reading == m.true for m in met if m.settled == "all"])
    )
    out.append(share("no reading, of those found", [m.reading is None for m in found]))
    out.append(share("wrong-side reading", [m.wrong for m in met]))
    out.append(share("wrong-side guarded reading", [m.guard_wrong for m in met]))
    out.append(share("a reading of a signal seen from behind", [m.reading is not None for m in backs]))
    for light in sorted({m.light for m in met}):
        out.append(share(f"  right rule, {light}", [m.reading == m.true for m in met if m.light == light]))
    false, false_read = sum(r.false for r in rides), sum(r.false_read for r in rides)
    out.append(f"signals reported where none stands: {false} ({false_read} of them read)")
    cost = sum(r.cost_s for r in rides) / sum(r.seconds for r in rides)
    out.append(f"cost of reading: {cost:.2f} s a second of clip")
    out += [f"  {m}" for m in met if m.guard_wrong or m.reading != m.true or m.times != 1][:60]
    return "\n".join(out)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=int, default=40)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--seed", type=int, default=FIRST_SEED)
    parser.add_argument("--to", type=Path, default=Path("rides.jsonl"), help="where results are kept")
    asked = parser.parse_args()
    print(report(all_rides(range(asked.seed, asked.seed + asked.rides), asked.to, read, asked.workers)))


if __name__ == "__main__":
    main()
