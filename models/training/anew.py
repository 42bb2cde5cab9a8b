"""Teaches finder and reader one thing anew and leaves all else as it was.

    python models/training/anew.py colours --start weights.pt --first 14000000 --minutes 9 --to .data/run

`colours`: what colours are, in pictures of cameras that see them differently. `stands`: where signals are
and what they stand on, in pictures of signals that stand as few do, and there alone. What else the two
networks say they are to say as before: of that the weights given are the teacher, which sees each picture as
it was drawn, while the pupil may see it in other colours. The statistics that their layers are normalised by
stay as they are, and so does the plate reader.
"""

from __future__ import annotations

import argparse
import copy
import faulthandler
import json
import math
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import torch
from torch import Tensor, nn
from torch.nn import functional

from augment import developed, mirrored_lessons, mirrored_windows, other_colours
from data import LINE
from litlamp.aspects.aspect import COLOURS
from litlamp.scene.traced import load_traced
from mine import Mine, barren
from nets import Finder, PlateReader, Reader
from stream import lessons
from train import (
    DEVELOPED,
    DIG_EVERY,
    DUG,
    DUG_IN,
    FIRST_SEED,
    HUNG,
    Averaged,
    Logits,
    Store,
    accelerators,
    autocast,
    fixed,
    heat_loss,
    like,
    recorded,
)

_COLOUR = slice(8, 13)
_HEATS = [0, 15]
_READ = slice(4, 4 + 3 * len(COLOURS))
_SLOTS = [slice(at, at + len(COLOURS)) for at in range(_READ.start, _READ.stop, len(COLOURS))]
_REST = slice(_READ.stop, None)
Parts = dict[str, Tensor]

KEPT = 2.0
"""What the teacher's word counts for where stands are taught, beside the truth's."""


@dataclass(frozen=True)
class Told:
    """What the finder is told of a batch: the truth (see `finder_target`) and the teacher's logits.

    `rare` is 1 for a picture of signals that stand as few do, and 0 for others, (N,).
    """

    maps: Tensor
    weight: Tensor
    at: Tensor
    rare: Tensor
    before: Tensor


@dataclass(frozen=True)
class Heard:
    """The same for the reader: answers, what each counts, and the teacher's logits, (N, READER_OUT).

    `rare` is also 1 for what the finder took for a head where no signal stands: the truth tells that too.
    """

    answer: Tensor
    heed: Tensor
    rare: Tensor
    before: Tensor


def colours_at_heads(y: Tensor, told: Told) -> Parts:
    """The finder's colours by the truth, all else by the teacher."""
    a = told.at[:, :1]
    n = a.sum().clamp(min=8)
    colour = functional.cross_entropy(y[:, _COLOUR], told.maps[:, _COLOUR], reduction="none") * a[:, 0]
    return {
        "colour": colour.sum() / n,
        "heat": _yes(y[:, _HEATS], told.before[:, _HEATS]) / n,
        "place": _apart(y, told.before, told.at),
    }


def places_of_heads(y: Tensor, told: Told) -> Parts:
    """The finder's heads and plates by the truth where signals stand as few do, all else by the teacher."""
    rare, n = told.rare[:, None, None], told.at[:, 0].sum().clamp(min=8)
    kept = _which(y[:, _COLOUR], told.before[:, _COLOUR]) * told.at[:, 0]
    heads, plates = (
        heat_loss(y[:, heat], told.maps[:, heat] * rare, told.weight[:, i] * rare)
        for i, heat in enumerate(_HEATS)
    )
    usual, at = 1 - rare[:, None], told.at * rare[:, None]
    place = 0.3 * _apart(y, told.maps, at) + _apart(y, told.before, told.at * usual)
    return {
        "colour": KEPT * kept.sum() / n,
        "heat": KEPT * _yes(y[:, _HEATS], told.before[:, _HEATS], usual) / n,
        "rare": heads + 0.7 * plates,
        "place": place,
    }


def colours_read(y: Tensor, heard: Heard) -> Parts:
    """The reader's colours by the truth, all else by the teacher."""
    colour = y.new_zeros(())
    for s in _SLOTS:
        nll = -(functional.log_softmax(y[:, s], 1) * heard.answer[:, s]).sum(1)
        colour = colour + (nll * heard.heed[:, s.start]).sum() / heard.heed[:, 0].sum().clamp(min=1)
    count = _which(y[:, :4], heard.before[:, :4]).mean()
    return {"rcolour": colour, "count": count, "rest": _yes(y[:, _REST], heard.before[:, _REST]) / len(y)}


def stands_read(y: Tensor, heard: Heard) -> Parts:
    """The reader's count, mount, arrangement and plates by the truth where signals stand as few do, all else
    by the teacher."""
    rare, n = heard.rare[:, None], heard.heed[:, 0].sum().clamp(min=1)
    colour = y.new_zeros(())
    for s in _SLOTS:
        colour = colour + (_which(y[:, s], heard.before[:, s]) * heard.heed[:, s.start]).sum() / n
    count = -(functional.log_softmax(y[:, :4], 1) * heard.answer[:, :4] * heard.heed[:, :1] * rare).sum()
    rest = functional.binary_cross_entropy_with_logits(
        y[:, _REST], heard.answer[:, _REST], heard.heed[:, _REST] * rare, reduction="sum"
    )
    usual = (_which(y[:, :4], heard.before[:, :4]) * (1 - heard.rare)).sum()
    usual = usual + _yes(y[:, _REST], heard.before[:, _REST], 1 - rare)
    return {
        "rcolour": KEPT * colour,
        "rrare": (count + rest) / rare.sum().clamp(min=8),
        "rest": KEPT * usual / len(y),
    }


def _apart(y: Tensor, told: Tensor, at: Tensor) -> Tensor:
    """How far places and sizes of heads and plates are from those told."""
    a, p = at[:, :1], at[:, 1:]
    apart = (y - told).abs()
    heads = (apart[:, 1:8] * a).sum() + (apart[:, 13:15] * a).sum()
    return heads / a.sum().clamp(min=8) + (apart[:, 16:20] * p).sum() / p.sum().clamp(min=8)


def _yes(y: Tensor, told: Tensor, weight: Tensor | None = None) -> Tensor:
    """How far yes and no are from what the teacher says of them, summed."""
    sure = told.sigmoid()
    own = functional.binary_cross_entropy_with_logits(y, sure, weight, reduction="sum")
    return own - functional.binary_cross_entropy_with_logits(told, sure, weight, reduction="sum")


def _which(y: Tensor, told: Tensor) -> Tensor:
    """The same for one of several, which are the second axis, one number for each of the others."""
    sure = functional.log_softmax(told, 1)
    return (sure.exp() * (sure - functional.log_softmax(y, 1))).sum(1)


@dataclass(frozen=True)
class Lesson:
    """One thing to teach anew: its losses for finder and reader, whose sums count, and what is shown.

    `other_colours`, `stands` and `lines` are shares of pictures: in other colours, of signals that stand as
    few do, and of lines seen from a cab.
    """

    finder: Callable[[Tensor, Told], Parts]
    reader: Callable[[Tensor, Heard], Parts]
    other_colours: float
    stands: float
    lines: float
    mined: bool
    """Whether the reader is shown what the finder takes for heads where no signal stands."""


SHARES = "other_colours", "stands", "lines"
WHAT = {
    "colours": Lesson(colours_at_heads, colours_read, 0.5, 0.0, 0.0, mined=False),
    "stands": Lesson(places_of_heads, stands_read, 0.25, 0.5, 0.0, mined=True),
}


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("what", choices=sorted(WHAT))
    parser.add_argument("--minutes", type=float, default=9)
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--batch", type=int, default=128)
    parser.add_argument("--to", type=Path, required=True)
    parser.add_argument("--start", type=Path, required=True, help="weights.pt of the teacher")
    parser.add_argument("--on", type=Path, help="weights.pt to go on from, that it taught before")
    parser.add_argument("--first", type=int, required=True, help="lessons used up before")
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--traced", type=Path, required=True)
    parser.add_argument("--rate", type=float, default=5e-4)
    parser.add_argument("--other-colours", type=float, help="instead of the lesson's own share of pictures")
    parser.add_argument("--stands", type=float, help="likewise")
    parser.add_argument("--lines", type=float, help="likewise")
    parser.add_argument("--keep", type=int, default=30_000, help="lessons kept on the accelerator")
    parser.add_argument("--again", type=float, default=4, help="times each lesson may be looked at")
    args = parser.parse_args()
    args.to.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(20)
    faulthandler.dump_traceback_later(HUNG, exit=True)
    photos = tuple(sorted(str(p) for p in args.photos.iterdir() if p.suffix in {".jpg", ".npy"}))
    given = {name: own for name in SHARES if (own := getattr(args, name)) is not None}
    what = replace(WHAT[args.what], **given)
    traced = load_traced(args.traced)
    source = lessons(FIRST_SEED + args.first, photos, args.workers, LINE, traced, what.stands, what.lines)
    mine = Mine(6000) if what.mined else None
    device, second = accelerators()
    finder, reader, plates = Finder(), Reader(), PlateReader()
    first = torch.load(args.start, map_location="cpu", weights_only=True)
    nets: dict[str, nn.Module] = {"finder": finder, "reader": reader, "plates": plates}
    places = {"finder": device, "reader": second, "plates": second}
    for name, net in nets.items():
        net.load_state_dict({k: v for k, v in first[name].items() if k in net.state_dict()})
        net.to(places[name]).eval()
    teachers = Logits(copy.deepcopy(finder)), copy.deepcopy(reader)
    if args.on is not None:
        learnt = torch.load(args.on, map_location="cpu", weights_only=True)
        for name in ("finder", "reader"):
            nets[name].load_state_dict(learnt[name])
    averaged = {name: Averaged(net) for name, net in nets.items()}
    learning = [*finder.parameters(), *reader.parameters()]
    optimiser = torch.optim.AdamW(learning, lr=args.rate, weight_decay=0.0, fused=device != "cpu")
    store = Store(args.keep, device, source)
    dice = torch.Generator(device).manual_seed(args.first)
    other_dice = torch.Generator(second).manual_seed(args.first + 1)
    store.fill(8 * args.batch)
    many = args.batch * 5 // 4
    ask_finder = recorded(Logits(finder), store.draw(args.batch)[0])
    ask_reader = recorded(reader, like(store.draw(args.batch)[4], many, second))
    if mine is not None:
        mine.open(second)
    log: dict[str, float] = {}
    start, step = time.monotonic(), 0
    threading.Thread(target=store.feed, daemon=True).start()
    while (minutes := (time.monotonic() - start) / 60) < args.minutes:
        if step * args.batch > args.again * store.seen:
            time.sleep(0.01)
            continue
        fall = 0.5 + 0.5 * math.cos(math.pi * minutes / args.minutes)
        for group in optimiser.param_groups:
            group["lr"] = max(args.rate * min(1, (step + 1) / 300) * fall, 1e-6)
        rgb, maps, weight, at, windows, answers, weights, _, _, rare = store.draw(args.batch)
        used = fixed(weights.flatten(0, 1)[:, 0] > 0, many)
        asked, heed = answers.flatten(0, 1)[used], weights.flatten(0, 1)[used]
        turn = torch.rand(len(rgb), generator=dice, device=device) < 0.5
        rgb, maps, weight, at = mirrored_lessons(rgb, maps, weight, at, turn)
        turn = torch.rand(len(used), generator=dice, device=device) < 0.5
        shown = mirrored_windows(windows.flatten(0, 1)[used], asked, turn)
        whose = rare[:, None].expand(-1, windows.shape[1]).flatten()[used]
        shown, asked, heed, whose = (t.to(second, non_blocking=True) for t in (shown, asked, heed, whose))
        taken = None if mine is None else mine.draw(int(DUG * len(shown)), other_dice)
        if taken is not None:
            n = len(taken)
            shown, asked, heed, whose = (t.clone() for t in (shown, asked, heed, whose))
            shown[:n], asked[:n], heed[:n], whose[:n] = taken, 0.0, 0.0, 1.0
            asked[:n, 0], heed[:n, :4] = 1.0, 1.0
        rgb, shown = developed(rgb, DEVELOPED, dice), developed(shown, DEVELOPED, other_dice)
        with autocast(device.split(":")[0]):
            with torch.no_grad():
                before, other_before = teachers[0](rgb).float(), teachers[1](shown).float()
            r = ask_reader(other_colours(shown, what.other_colours, other_dice))
            y = ask_finder(other_colours(rgb, what.other_colours, dice))
        told = Told(maps.float(), weight.float(), at.float(), rare, before)
        heard = Heard(asked, heed, whose, other_before)
        parts, rparts = what.finder(y.float(), told), what.reader(r.float(), heard)
        optimiser.zero_grad(set_to_none=True)
        for of in (rparts, parts):
            torch.stack(list(of.values())).sum().backward()  # type: ignore[no-untyped-call]
        for net in (finder, reader):
            nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        for mean in averaged.values():
            mean.update(step)
        if mine is not None and step % DIG_EVERY == 0:
            few = barren(maps, weight).nonzero()[:DUG_IN, 0]
            mine.look_at(rgb[few], y[few])
        step += 1
        if step % 50 == 0:
            faulthandler.dump_traceback_later(HUNG, exit=True)
            for k, v in {**parts, **rparts}.items():
                log[k] = 0.8 * log.get(k, v.item()) + 0.2 * v.item()
        if step % 250 == 0:
            words = " ".join(f"{k} {v:.3f}" for k, v in log.items())
            print(f"{minutes:6.2f} min {store.seen:8d} seen {step:6d} steps {words}", flush=True)
    torch.save({name: mean.state for name, mean in averaged.items()}, args.to / "weights.pt")
    note = {
        "first_seed": FIRST_SEED + args.first, "pictures": store.seen, "steps": step,
        "minutes": round((time.monotonic() - start) / 60, 1), "anew": args.what, **given, "loss": log,
    }  # fmt: skip
    (args.to / "training.json").write_text(json.dumps(note, indent=1))
    print("done", json.dumps(note))


if __name__ == "__main__":
    main()
