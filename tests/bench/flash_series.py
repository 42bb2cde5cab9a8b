"""Errors of `litlamp.sight.flash` against the length of a clip, on series made here.

`python tests/bench/flash_series.py` prints, by kind of lamp and length, how many series were called flashing,
not flashing and "cannot tell", with exact 95 % intervals (Clopper and Pearson). The seeds begin at 2,000,000;
the numbers in flash.py were chosen on others, all below 1,001,000.
"""

from __future__ import annotations

import argparse
from collections import Counter

import numpy as np

from litlamp.collection.interval import clopper_pearson
from litlamp.sight.flash import flash
from litlamp.sight.lamp_series import Flash, LampSeries

FLASHING = ("flash, LED", "flash, filament")
STEADY = (
    "steady",
    "steady, caught dark at random",
    "steady, beat out of band",
    "steady, exposure pumping",
    "steady, hidden a while",
    "steady, growing",
    "one change",
    "dim and bright in turn",
)
# Beats at the rates of signals: of lamps fed by the mains filmed at an odd frame rate, and of lamps with a
# driver of any rate. With a short shutter the second can look exactly as an LED that flashes.
BEATS = ("steady, mains beat in band", "steady, driver's beat in band")
KINDS = (*FLASHING, *STEADY, *BEATS)
MIXED_RATES = (15.0, 20.0, 24.0, 25.0, 29.97, 30.0, 50.0, 59.94, 60.0)


def series(kind: str, seconds: float, seed: int) -> tuple[LampSeries, float]:
    """One lamp, filmed for so long, and the rate in Hz that it would flash at if it does."""
    dice = np.random.default_rng(seed)
    fps = float(dice.choice(MIXED_RATES) if dice.random() < 0.6 else dice.uniform(15, 60))
    hertz = 0.0
    if kind in BEATS:
        band = dice.uniform(0.5, 1.5) * dice.choice((-1, 1))
        if kind == BEATS[0]:
            hertz = float(dice.choice((100.0, 120.0))) * (1 + dice.uniform(-0.0015, 0.0015))
            fps = (hertz - band) / int(dice.integers(-(-hertz // 60), hertz // 15 + 1))
        else:
            hertz = round(dice.uniform(80, 400) / fps) * fps + band
    elif kind == "steady, beat out of band":
        hertz = round(dice.uniform(80, 400) / fps) * fps + dice.uniform(2.0, fps / 2) * dice.choice((-1, 1))
    # The last frame falls `seconds` after the first: the length is what was watched, not a count of frames.
    steps = np.full(int(np.ceil(seconds * fps)) + 1, 1 / fps)
    if dice.random() < 0.3 and kind not in BEATS:  # variable frame rate
        steps *= dice.uniform(0.7, 1.4, steps.size)
    times = dice.uniform(0, 50) + np.cumsum(steps)
    times = times[times <= times[0] + seconds + 1e-9]
    if times[-1] - times[0] < seconds - 1e-6:
        times = np.append(times, times[0] + seconds)
    keep = dice.random(times.size) > dice.choice((0.0, 0.03))  # frames that the camera dropped
    keep[[0, -1]] = True
    times = times[keep]

    shutter = min(1 / fps, 1 / float(np.exp(dice.uniform(np.log(60), np.log(4000)))))
    fine = np.linspace(0, shutter, 12, endpoint=False)
    moments = times[:, None] + fine
    light = np.ones_like(moments)
    common = None
    phase, rate, share = dice.random(), dice.uniform(0.5, 1.5), dice.uniform(0.3, 0.7)
    since = times - times[0]
    if kind == "flash, LED":
        light = ((moments * rate + phase) % 1 < share).astype(float)
    elif kind == "flash, filament":
        light = _filament(times[0], times[-1] + 0.1, moments, rate, phase, share, dice)
    elif hertz:
        turns = (moments * hertz + phase) % 1
        if dice.random() < 0.5:
            light = (turns < dice.uniform(0.2, 0.9)).astype(float)
        else:
            light = np.abs(np.sin(np.pi * turns)) ** dice.uniform(0.7, 2) * dice.uniform(0.6, 3)
            light = np.maximum(light - dice.uniform(0, 0.3), 0)
    light = light.mean(axis=1)
    if kind == "steady, caught dark at random":
        light = np.where(dice.random(light.size) < dice.uniform(0.02, 0.35), dice.uniform(0, 0.3), light)
    elif kind == "steady, exposure pumping":
        wave = np.sin(2 * np.pi * dice.uniform(0.3, 2) * since + 6 * dice.random())
        pump = np.exp(dice.uniform(0.1, 0.7) * wave)
        light = light * pump
        common = pump * np.exp(dice.normal(0, 0.03, pump.size)) if dice.random() < 0.5 else None
    elif kind == "steady, growing":
        light = light * np.exp(dice.uniform(-0.6, 0.6) * since)
    elif kind == "one change":
        at = dice.uniform(0.1, 0.9) * seconds
        light = np.where((since < at) == (dice.random() < 0.5), light, 0.0)
    elif kind == "dim and bright in turn":  # a failing lamp or a dim filament: not truly dark
        low = dice.uniform(0.3, 0.7)
        light = np.where((since * rate + phase) % 1 < share, 1.0, low)
    seen = np.ones(light.size, bool)
    if kind == "steady, hidden a while":
        at, lasts = dice.uniform(0, seconds), dice.uniform(0.1, 0.5)
        hidden = (since > at) & (since < at + lasts)
        light = np.where(hidden, 0.0, light)
        seen &= ~hidden | (dice.random() < 0.5)
    light = _filmed(light, dice)
    return LampSeries(times, light, seen, common), float(rate)


def _filament(
    start: float,
    end: float,
    moments: np.ndarray,
    rate: float,
    phase: float,
    share: float,
    dice: np.random.Generator,
) -> np.ndarray:
    """Light after a switched current, stepped at 1 ms: warms and cools at rates of its own."""
    clock = np.arange(start - 3, end, 0.001)
    on = (clock * rate + phase) % 1 < share
    rise, fall = dice.uniform(0.03, 0.12), dice.uniform(0.03, 0.1)
    level, heat = np.empty_like(clock), 0.0
    for i, lit in enumerate(on):
        heat += (1.0 - heat) * 0.001 / rise if lit else -heat * 0.001 / fall
        level[i] = heat
    return np.interp(moments, clock, level)


def _filmed(light: np.ndarray, dice: np.random.Generator) -> np.ndarray:
    """Clipping, scintillation, grain, wires across the lens, sun glints, and a unit that nobody knows."""
    if dice.random() < 0.5:
        light = np.minimum(light * dice.uniform(1.2, 3), light.max())  # a clipped core
    light = light * np.exp(dice.normal(0, dice.uniform(0.02, 0.1), light.size))
    light = light + dice.normal(0, dice.uniform(0.005, 0.03), light.size) + dice.uniform(0, 0.06)
    bad = dice.random(light.size) < dice.uniform(0, 0.1)
    light = np.where(bad, dice.uniform(0, 1.2, light.size), light)
    return light * dice.uniform(0.2, 200)


def verdict(found: Flash) -> str:
    """One of three words."""
    if found.flashing is None:
        return "cannot tell"
    return "flashing" if found.flashing >= 0.5 else "not"


def interval(count: int, total: int) -> tuple[float, float]:
    """Clopper and Pearson's exact 95 % interval of a share, in %."""
    low, high = clopper_pearson(count, total)
    return 100 * low, 100 * high


def _line(name: str, seconds: float, words: Counter[str]) -> str:
    total = sum(words.values())
    parts = [f"{name:32s} {seconds:5.2f} s  n {total:5d}"]
    for word in ("flashing", "not", "cannot tell"):
        low, high = interval(words[word], total)
        parts.append(f"{word} {100 * words[word] / total:6.2f} % [{low:.2f}, {high:.2f}]")
    return "  ".join(parts)


def main() -> None:
    """Print the curve."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100, help="series of each kind and length")
    parser.add_argument("--seed", type=int, default=2_000_000)
    parser.add_argument("--lengths", default="1.4,1.5,2,2.5,3,4,6,10")
    parser.add_argument("--kinds", default="")
    parser.add_argument("--worst", action="store_true", help="print the seeds that went wrong")
    asked = parser.parse_args()
    kinds = [kind for kind in KINDS if asked.kinds in kind]
    off: list[float] = []
    beyond = 0
    for seconds in (float(v) for v in asked.lengths.split(",")):
        sums = {
            "all that flash": Counter[str](),
            "all others": Counter[str](),
            "beats in band": Counter[str](),
        }
        for kind in kinds:
            words: Counter[str] = Counter()
            for index in range(asked.count):
                made, true_rate = series(kind, seconds, asked.seed + index)
                found = flash(made)
                word = verdict(found)
                words[word] += 1
                wrong = "not" if kind in FLASHING else "flashing"
                if word == wrong and asked.worst:
                    print(f"  {kind} {seconds} s seed {asked.seed + index}: {found}")
                if kind in FLASHING and found.per_minute is not None and found.per_minute_error is not None:
                    error = abs(found.per_minute - 60 * true_rate)
                    off.append(error)
                    beyond += error > 2 * found.per_minute_error
            print(_line(kind, seconds, words), flush=True)
            group = (
                "all that flash" if kind in FLASHING else "beats in band" if kind in BEATS else "all others"
            )
            sums[group] += words
        for name, words in sums.items():
            if words:
                print(_line(name, seconds, words))
    if off:
        median, share = float(np.median(off)), 100 * beyond / len(off)
        print(
            f"rate: {len(off)} told, median error {median:.2f} a minute; "
            f"over twice its stated error {share:.1f} %"
        )


if __name__ == "__main__":
    main()
