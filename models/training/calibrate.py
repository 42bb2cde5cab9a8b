"""Fits sight's calibration on rendered scenes of their own seeds, and writes it in the manifest.

    python models/training/calibrate.py --scenes 1500 --workers 2 [--photos FOLDER] [--traced FOLDER]

Seeds run from 100_000 up. The even ones are fitted on, the odd ones reported on. Of each half the scenes have
none of the trials that training has in all, for lamps are dark more seldom than there; in one of four the
signals stand as few do (`scene/stands.py`). What is fitted:
whether heads found are a signal at all, temperatures of the reader's answers, and weights of the colour pool.
The other numbers of the calibration are set by hand.
"""

from __future__ import annotations

import argparse
import itertools
import json
import multiprocessing
import pickle
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import msgspec
import numpy as np
from numpy.typing import NDArray

from by_torch import eyes_by_torch
from litlamp.aspects.aspect import COLOURS, MOST_HEADS, PLATES
from litlamp.box import Box
from litlamp.media.frame import Frame
from litlamp.scene.compose import training_sample
from litlamp.scene.traced import load_traced
from litlamp.scene.truth import HeadTruth, SceneTruth, SignalTruth
from litlamp.sight.asked import ask_reader
from litlamp.sight.count import head_belief, head_evidence, whole_belief, whole_evidence
from litlamp.sight.crop import LETTERS, plate_window
from litlamp.sight.eyes import Calibration, load_eyes, log_odds, logistic, read_manifest, softmax
from litlamp.sight.find import HeadFound, distinct_plates, find, plates_below, usual_width
from litlamp.sight.group import group
from litlamp.sight.look import (
    FLOORS,
    clear_and_faint,
    colour_witness,
    pool_colour,
    signal_belief,
    signal_evidence,
    signal_odds,
    signal_read,
)
from litlamp.sight.plates import LEAST_SHOWN, belongs, plate_present, read_letters, shown_kinds
from litlamp.sight.rejoin import rejoined
from litlamp.sight.seen import DARK
from litlamp.sight.strange import unlike
from targets import READER_NAMES, head_point, reader_target

OTHER_STANDS = 0.25
MODELS = Path(__file__).resolve().parents[1]
FIRST = 100_000
SIZES = ((640, 480), (480, 640), (960, 720))
Array = NDArray[np.float64]
LEAST_FLOOR = FLOORS[0]
SAME_BOX = 0.35
"""Boxes that lie on each other by this intersection over union are of one head."""
WIDTHS = (3.0, 3.5, 4.0, 4.5, 5.0, 6.0)
"""Log2 of head widths, px, between which the usual odds for a signal are taken."""
USUAL, LEAST = 0.25, 0.02
"""The quantiles of these odds that are usual, and hardly ever met."""
PLACES = {
    name: READER_NAMES.index(answer)
    for name, answer in (
        ("arrangement", "staggered"), ("mount", "dwarf"), ("whole", "whole"),
    )
}  # fmt: skip
"""Where in the reader's answers the single probabilities stand, by their temperatures' names."""


@dataclass(frozen=True)
class Case:
    """One group of heads found, what the networks said of it, and the truth; `answers` None: no signal.

    `colours` are the true ones of the heads, -1 for one that is no head of the signal; `whole` says that
    every head of it was found. `partly`: a head of it is hidden or cut, so that only `whole` is plain.
    `faint` is what scored too low for a head in the picture, `light` how light it is about the heads.
    """

    seed: int
    size: tuple[int, int]
    heads: tuple[HeadFound, ...]
    logits: Array
    witness: list[Array]
    colours: list[int]
    answers: Array | None
    weights: Array | None
    shown: list[float]  # how surely each kind of plate was read, in the order of PLATES
    whole: bool = False
    partly: bool = False
    faint: tuple[HeadFound, ...] = ()
    light: float = 0.0

    @property
    def score(self) -> float:
        return max(h.score for h in self.heads)

    @property
    def lit(self) -> bool:
        return any(int(np.argmax(h.colours)) != DARK for h in self.heads)


@dataclass(frozen=True)
class Board:
    """One plate found: the plate reader's logits, and the place in LETTERS of what it truly is."""

    seed: int
    logits: Array
    letter: int


def cases(
    seed: int, weights: Path | None = None, photos: tuple[str, ...] = (), traced: Path | None = None
) -> tuple[list[Case], list[Board]]:
    """Every group of heads found in the scene of that seed, and every plate found."""
    cv2.setNumThreads(1)
    eyes = eyes_by_torch(weights, MODELS) if weights else load_eyes(threads=1)
    size = SIZES[seed % len(SIZES)]
    assets = load_traced(traced) if traced else ()
    rgb, truth = training_sample(seed, size, photos, assets, trials=seed % 4 < 2, stands=OTHER_STANDS)
    out = []
    found = find(Frame(rgb), eyes)
    boards = [
        Board(seed, eyes.plates.run(plate_window(rgb, p.box).pixels[None])[0].astype(np.float64), letter)
        for p in found.plates
        if (letter := _letter(p.box, truth)) is not None
    ]
    clear, faint = clear_and_faint(found.heads, eyes.calibration)
    answered = [ask_reader(rgb, heads, eyes) for heads in group(clear)]
    for one in rejoined(answered, lambda shown: ask_reader(rgb, shown, eyes), eyes.calibration):
        heads, light = one.heads, one.light
        logits = one.answer.astype(np.float64)
        signal = next((s for s in truth.signals if any(_match(h, s) for h in heads)), None)
        if signal and not signal.facing:
            continue  # no rule says how to judge it
        plates = distinct_plates([*found.plates, *plates_below(rgb, heads, eyes)]) if signal else []
        shown, _ = shown_kinds(read_letters(rgb, [p for p in plates if belongs(p, heads)], eyes))
        true = [_match(h, signal) if signal else None for h in heads]
        answers = of = None
        if signal:
            answers, of = (a.astype(np.float64) for a in reader_target(signal, size))
        out.append(Case(
            seed, size, heads, logits,
            [colour_witness(rgb, h) for h in heads],
            [COLOURS.index(t.lamp.colour if t.lit else "dark") if t else -1 for t in true],
            answers, of, [shown[kind] for kind in PLATES],
            signal is not None and all(any(t is hd for t in true) for hd in signal.heads),
            signal is not None and any(hd.visible <= 0.35 for hd in signal.heads),
            tuple(faint), light,
        ))  # fmt: skip
    return out, boards


def _letter(box: Box, truth: SceneTruth) -> int | None:
    """What a plate found truly is; "other" where it is none or no one could read it; None on the verge."""
    for plate in (p for s in truth.signals for p in s.plates):
        if plate.box.iou(box) > 0.3:
            if plate.legible != (plate.visible > 0.6):
                return None
            return LETTERS.index(plate.kind if plate.legible else "other")
    return LETTERS.index("other")


def _match(head: HeadFound, signal: SignalTruth) -> HeadTruth | None:
    """The head of the signal that this is: its lamp is where it was found, or its box is."""
    for true in signal.heads:
        x, y = head_point(true)
        if np.hypot(head.x - x, head.y - y) < 0.6 * true.box.width:
            return true
    best = max(signal.heads, key=lambda true: true.box.iou(head.box))
    return best if best.box.iou(head.box) > SAME_BOX else None


def plain(case: Case) -> bool:
    """A signal with every head to be seen."""
    return case.answers is not None and not case.partly


def log_loss(p: Array) -> float:
    """Mean of -log of the probability given to what was true."""
    return float(-np.log(np.clip(p, 1e-9, 1)).mean())


def fit_temperature(logits: Array, truth: Array, least: float = 0.7) -> float:
    """The temperature with the least log loss; logits (n, k) with class numbers, or (n,) with 0 and 1."""

    def loss(t: float) -> float:
        z = logits / t
        if z.ndim == 1:
            return float(np.logaddexp(0, np.where(truth > 0.5, -z, z)).mean())
        return log_loss(softmax(z.astype(np.float32))[np.arange(len(z)), truth.astype(int)])

    grid = np.exp(np.linspace(np.log(least), np.log(6), 60))
    return float(grid[int(np.argmin([loss(float(t)) for t in grid]))])


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--scenes", type=int, default=1500)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--report-only", action="store_true")
    parser.add_argument("--weights", type=Path, help="run the networks by PyTorch with these weights")
    parser.add_argument("--photos", type=Path, help="backgrounds that no network was trained on")
    parser.add_argument("--traced", type=Path, help="traced heads that no network was trained on")
    parser.add_argument("--keep", type=Path, help="what was seen goes in this file, or is taken from it")
    args = parser.parse_args()
    if args.keep and args.keep.exists():
        parts = pickle.loads(args.keep.read_bytes())
    else:
        with multiprocessing.get_context("spawn").Pool(args.workers) as pool:
            photos = tuple(sorted(str(p) for p in args.photos.glob("*.jpg"))) if args.photos else ()
            asked = partial(cases, weights=args.weights, photos=photos, traced=args.traced)
            parts = list(pool.imap(asked, range(FIRST, FIRST + args.scenes), 8))
        if args.keep:
            args.keep.write_bytes(pickle.dumps(parts))
            if args.weights:
                return  # the fit has its needs, which such a machine may lack
    found = [c for part, _ in parts for c in part]
    boards = [b for _, part in parts for b in part]
    fit, held = ([c for c in found if c.seed % 2 == i] for i in (0, 1))
    tuned = read_manifest(MODELS).calibration
    print(f"{len(fit)} groups to fit on, {len(held)} held out; {sum(plain(c) for c in held)} real")
    report("before", held, tuned)
    tuned = fitted(fit, tuned, args.scenes)
    letters = [(np.array([b.logits for b in boards if b.seed % 2 == i]),
                np.array([b.letter for b in boards if b.seed % 2 == i])) for i in (0, 1)]  # fmt: skip
    tuned = msgspec.structs.replace(tuned, plates=round(fit_temperature(*letters[0]), 4))
    report("after", held, tuned)
    logits, letter = letters[1]
    own = softmax(logits.astype(np.float32), tuned.plates)[np.arange(len(letter)), letter]
    print(
        f"letters: {(logits.argmax(1) == letter).mean():.3f} of {len(letter)}, log loss {log_loss(own):.3f}"
    )
    if not args.report_only:
        manifest = read_manifest(MODELS)
        done = msgspec.to_builtins(msgspec.structs.replace(manifest, calibration=tuned))
        (MODELS / "MANIFEST.json").write_text(json.dumps(done, indent=1) + "\n")


def fitted(cs: list[Case], old: Calibration, scenes: int) -> Calibration:
    """A calibration fitted on these cases."""
    lit = [c for c in cs if c.lit and not c.partly]
    x = np.array([signal_evidence(c.score, c.logits.astype(np.float32)) for c in lit])
    y = np.array([c.answers is not None for c in lit], float)

    def loss(w: Array) -> float:
        z = w[0] + x @ w[1:]
        return float(np.logaddexp(0, np.where(y > 0.5, -z, z)).mean() + 1e-3 * (w**2).sum())

    bias, heads, reader = minimised(loss, np.array([0.0, 1.0, 1.0]))
    real = [c for c in cs if plain(c)]
    logits, answers, weights = (
        np.array([getattr(c, k) for c in real]) for k in ("logits", "answers", "weights")
    )
    one = {
        name: fit_temperature(logits[weights[:, i] > 0, i], answers[weights[:, i] > 0, i])
        for name, i in PLACES.items()
    }
    shown, told, there = plate_evidence(real)
    boards = [[log_odds(s, LEAST_SHOWN), log_odds(r)] for s, r in zip(shown, told, strict=True)]

    def plate_loss(w: Array) -> float:
        z = w[0] + np.array(boards) @ w[1:]
        return float(np.logaddexp(0, np.where(there > 0.5, -z, z)).mean() + 1e-4 * (w**2).sum())

    plate = minimised(plate_loss, np.array([0.0, 0.5, 0.5]))
    usual = there.reshape(-1, len(PLATES)).mean(0)
    tuned = msgspec.structs.replace(
        old,
        plate_bias=round(float(plate[0]), 4), plate_letters=round(float(plate[1]), 4),
        plate_reader=round(float(plate[2]), 4), plate_usual=tuple(round(float(u), 4) for u in usual),
        # A little more likely than not: on 331 pictures drawn by others this spared a third of the false
        # signals and lost no true one.
        signal_least=0.7,
        fitted_on=f"{scenes // 2} rendered scenes, even seeds from {FIRST}",
        signal_bias=round(float(bias), 4), signal_heads=round(float(heads), 4),
        signal_reader=round(float(reader), 4),
        count=round(fit_temperature(logits[:, :4], answers[:, :4].argmax(1)), 4),
        **{k: round(v, 4) for k, v in one.items()},
    )  # fmt: skip

    tuned = counted(cs, with_usual_odds(real, tuned))
    names = (
        "finder_colour", "reader_colour", "finder_size", "reader_size", "disagree", "witness_colour", "floor",
        "floor_score", "dark_usual",
    )  # fmt: skip
    # Drawn scenes may ask for no doubt at all where those heard differ; pictures of another make need it.
    low = [0.1, 0.1, -0.3, -0.3, 0.15, 0.05, LEAST_FLOOR, 0.0, -2.0]
    high = [2, 2, 0.3, 0.3, 1, 1, 0.01, 2.0, 0.0]
    some = [c for i, c in enumerate(real) if i % max(len(real) // 1500, 1) == 0]

    def with_weights(w: Array) -> Calibration:
        values = dict(zip(names, np.clip(w, low, high), strict=True))
        return msgspec.structs.replace(tuned, **{k: round(float(v), 5) for k, v in values.items()})

    start = np.array([0.6, 0.6, 0.0, 0.0, 0.2, 0.1, 0.0005, 0.8, -0.5])
    steps = np.vstack([start, start + np.diag([0.2, 0.2, 0.1, 0.1, 0.1, 0.1, 0.0005, 0.4, 0.3])])
    best = minimised(
        lambda w: log_loss(colour_beliefs(some, with_weights(w))[0]), start, method="Nelder-Mead",
        options={"maxfev": 280, "xatol": 1e-4, "fatol": 1e-5, "initial_simplex": steps},
    )  # fmt: skip
    return with_weights(best)


def with_usual_odds(real: list[Case], tuned: Calibration) -> Calibration:
    """The same, with how surely signals of each size are taken for signals."""
    lit = [c for c in real if c.lit]
    width = np.log2([usual_width(c.heads) for c in lit])
    odds = np.array([signal_odds(c.score, c.logits.astype(np.float32), tuned) for c in lit])
    edges = [-np.inf, *WIDTHS, np.inf]
    rows = []
    for low, high in itertools.pairwise(edges):
        own = (width >= low) & (width < high)
        if own.sum() >= 50:
            rows.append((width[own].mean(), *np.quantile(odds[own], (USUAL, LEAST))))
    at, usual, least = (tuple(round(float(v), 3) for v in column) for column in zip(*rows, strict=True))
    return msgspec.structs.replace(tuned, strange_widths=at, strange_usual=usual, strange_least=least)


def counted(cs: list[Case], tuned: Calibration) -> Calibration:
    """The same with the weights of the beliefs in how many heads there are fitted."""
    real = [c for c in cs if c.answers is not None]
    reads = [signal_read(c.logits.astype(np.float32), tuned) for c in real]
    told = [(len(c.heads), e, c.whole) for e, c in zip(wholes(cs, real, tuned), real, strict=True)]
    fewer = [(e, found) for n, e, found in told if n < MOST_HEADS]
    full = [(e, found) for n, e, found in told if n == MOST_HEADS]
    # The picture's edge, other heads close by and faint ones may speak against a whole signal, never for it,
    # whatever chance made of these scenes.
    whole = list(weighed(*map(list, zip(*fewer, strict=True)), never_for=(4, 6, 7, 8, 14)))
    whole[6] = min(whole[6:8])  # nearest the edge no weaker than a little away from it
    of_full = weighed(*map(list, zip(*full, strict=True)), never_for=(4,))
    several = [(c, r) for c, r in zip(real, reads, strict=True) if len(c.heads) > 1]
    of_heads = [head_evidence(h, len(c.heads), r) for c, r in several for h in c.heads]
    heads = weighed(of_heads, [colour >= 0 for c, _ in several for colour in c.colours])
    return msgspec.structs.replace(
        tuned, whole_weights=tuple(whole), full_weights=of_full, head_weights=heads
    )


def minimised(loss: Any, start: Array, **how: Any) -> Array:
    """Where the loss is least; scipy is imported here, for machines that only see and do not fit."""
    from scipy.optimize import minimize

    return np.asarray(minimize(loss, start, **how).x, np.float64)


def wholes(cs: list[Case], of: list[Case], tuned: Calibration) -> list[tuple[float, ...]]:
    """What speaks for each of these having been found whole; `cs` are all groups of the same scenes."""
    by_seed: dict[int, list[Case]] = {}
    for c in cs:
        by_seed.setdefault(c.seed, []).append(c)
    return [
        whole_evidence(
            c.heads, c.size, signal_read(c.logits.astype(np.float32), tuned), tuned,
            [h for other in by_seed[c.seed] if other is not c for h in other.heads],
            c.faint, c.light,
        )
        for c in of
    ]  # fmt: skip


def weighed(
    evidence: list[tuple[float, ...]], true: list[bool], never_for: tuple[int, ...] = ()
) -> tuple[float, ...]:
    """Weights of a logistic belief with the least log loss, held down a little; evidence begins with 1."""
    x, y = np.array(evidence), np.array(true, float)

    def loss(w: Array) -> float:
        z = x @ w
        return float(np.logaddexp(0, np.where(y > 0.5, -z, z)).mean() + 1e-4 * (w[1:] ** 2).sum())

    bounds = [(None, 0.0 if i in never_for else None) for i in range(x.shape[1])]
    best = minimised(loss, np.zeros(x.shape[1]), method="L-BFGS-B", bounds=bounds)
    return tuple(round(float(v), 4) for v in best)


def plate_evidence(cs: list[Case]) -> tuple[Array, Array, Array]:
    """Of every signal and kind of plate: letters read, the reader's belief, and whether it is there."""
    first = READER_NAMES.index("plate_A")
    shown = [s for c in cs for s in c.shown]
    reader = [logistic(float(c.logits[first + i])) for c in cs for i in range(len(PLATES))]
    there = [float(c.answers[first + i]) for c in cs if c.answers is not None for i in range(len(PLATES))]
    return np.array(shown), np.array(reader), np.array(there)


def colour_beliefs(cs: list[Case], tuned: Calibration) -> tuple[Array, Array, Array]:
    """Of every matched head: belief in its true colour, whether that led, and its true colour."""
    p, right, true = [], [], []
    for c in cs:
        read = signal_read(c.logits.astype(np.float32), tuned)
        agrees = float(read.count[len(c.heads)] / max(1 - read.count[0], 1e-6))
        for slot, colour in enumerate(c.colours):
            if colour < 0:
                continue
            head = c.heads[slot]
            finder, witness = softmax(head.colours), c.witness[slot]
            belief, _ = pool_colour(finder, read.colours[slot], witness, agrees, tuned, head.lens, head.score)
            p.append(belief[colour])
            right.append(int(belief.argmax()) == colour)
            true.append(colour)
    return np.array(p), np.array(right), np.array(true)


def report(when: str, cs: list[Case], tuned: Calibration) -> None:
    """Print how good the beliefs are on these cases."""
    lit = [c for c in cs if c.lit and not c.partly]
    p = np.array([signal_belief(c.score, c.logits.astype(np.float32), tuned) for c in lit])
    y = np.array([c.answers is not None for c in lit])
    real = [c for c in cs if plain(c)]
    parts: dict[str, Any] = {}
    for least in (tuned.signal_least, 0.5, 0.9):
        parts[f"signals kept at {least}"] = f"{(p[y] >= least).mean():.3f}"
        parts[f"others kept at {least}"] = f"{int((p[~y] >= least).sum())} of {int((~y).sum())}"
    own, right, true = colour_beliefs(real, tuned)
    odd = [unlike(signal_odds(c.score, c.logits.astype(np.float32), tuned), usual_width(c.heads), tuned)
           for c in real if c.lit]  # fmt: skip
    parts["strange by half or more"] = f"{(np.array(odd) >= 0.5).mean():.3f}"
    parts["colour log loss"] = f"{log_loss(own):.4f}"
    for i, name in enumerate(COLOURS):
        at = true == i
        parts[name] = f"{int(right[at].sum())} of {int(at.sum())}"
    counts = np.array([signal_read(c.logits.astype(np.float32), tuned).count for c in real])
    n = np.array([c.answers[:4].argmax() for c in real if c.answers is not None])
    parts["count"] = (
        f"{(counts.argmax(1) == n).mean():.3f} log loss {log_loss(counts[np.arange(len(n)), n]):.3f}"
    )
    found = np.array([len(c.heads) for c in real])
    parts["heads grouped right"] = f"{(found == n).mean():.3f} (fewer {(found < n).mean():.3f})"
    for name, i in PLACES.items():
        t = getattr(tuned, name)
        used = [c for c in real if c.weights is not None and c.weights[i] > 0 and c.answers is not None]
        q = np.array([logistic(float(c.logits[i]), t) for c in used])
        a = np.array([c.answers[i] for c in used if c.answers is not None])
        parts[name] = (
            f"{((q > 0.5) == (a > 0.5)).mean():.3f} log loss {log_loss(np.where(a > 0.5, q, 1 - q)):.3f}"
        )
    every = [c for c in cs if c.answers is not None]
    reads = [signal_read(c.logits.astype(np.float32), tuned) for c in every]
    w = np.array([whole_belief(e, tuned) for e in wholes(cs, every, tuned)])
    truly = np.array([c.whole for c in every])
    parts["all heads found"] = f"log loss {log_loss(np.where(truly, w, 1 - w)):.3f}, {truly.mean():.3f} are"
    for least in (0.98, 0.995, 0.999):
        sure = w > least
        not_so = int((~truly[sure]).sum())
        parts[f"whole by over {least}"] = f"{sure.mean():.3f}, not so {not_so} of {sure.sum()}"
    there = [(head_belief(h, len(c.heads), r, tuned), colour >= 0) for c, r in zip(every, reads, strict=True)
             for h, colour in zip(c.heads, c.colours, strict=True) if len(c.heads) > 1]  # fmt: skip
    q, yes = (np.array(v) for v in zip(*there, strict=True))
    sure = q > 0.995
    parts["heads that are"] = (
        f"log loss {log_loss(np.where(yes, q, 1 - q)):.3f}; over 0.995 {sure.mean():.3f}, "
        f"not so {int((~yes[sure]).sum())} of {sure.sum()}"
    )
    for least in (0.98, 0.995, 0.999):
        sure = own > least
        parts[f"true colour held over {least}"] = f"{sure.mean():.3f}"
    shown, reader, there = plate_evidence(real)
    p = np.array([plate_present(s, r, tuned) for s, r in zip(shown, reader, strict=True)])
    yes = there > 0.5
    parts["plates"] = f"{((p > 0.5) == yes).mean():.3f} log loss {log_loss(np.where(yes, p, 1 - p)):.3f}"
    parts["plates held under 1 %"] = (
        f"{(p < 0.01).mean():.3f} of kinds; of those there {int(yes[p < 0.01].sum())}"
    )
    print(when, json.dumps(parts, indent=1))


if __name__ == "__main__":
    main()
