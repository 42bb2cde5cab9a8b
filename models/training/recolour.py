"""Teaches finder and reader anew what colours are, in pictures of cameras that see them differently.

    python models/training/recolour.py --start weights.pt --first 14000000 --minutes 9 --to .data/run

What the two networks say of everything but colour they are to say as before: of that the weights given are
the teacher, which sees each picture as it was drawn while the pupil sees it in other colours. The statistics
that their layers are normalised by stay as they are, and so does the plate reader.
"""

from __future__ import annotations

import argparse
import copy
import faulthandler
import json
import math
import threading
import time
from pathlib import Path

import torch
from torch import Tensor, nn
from torch.nn import functional

from augment import developed, mirrored_lessons, mirrored_windows, other_colours
from litlamp.aspects.aspect import COLOURS
from litlamp.scene.traced import load_traced
from nets import Finder, PlateReader, Reader
from stream import lessons
from train import (
    DEVELOPED,
    FIRST_SEED,
    HUNG,
    Averaged,
    Logits,
    Store,
    accelerators,
    autocast,
    fixed,
    like,
    recorded,
)

OTHER = 0.5
"""Share of pictures and windows that are shown in other colours."""
_COLOUR = slice(8, 13)
_READ = slice(4, 4 + 3 * len(COLOURS))


def finder_loss(y: Tensor, told: Tensor, maps: Tensor, at: Tensor) -> tuple[Tensor, dict[str, Tensor]]:
    """Colours by the truth, all else by the teacher's logits `told`; shapes as `Finder.logits` gives them."""
    a, p = at[:, :1], at[:, 1:]
    n, m = a.sum().clamp(min=8), p.sum().clamp(min=8)
    colour = (functional.cross_entropy(y[:, _COLOUR], maps[:, _COLOUR], reduction="none") * a[:, 0]).sum() / n
    heat = [0, 15]
    sure = told[:, heat].sigmoid()
    kept = functional.binary_cross_entropy_with_logits(y[:, heat], sure, reduction="sum") / n
    kept = kept - functional.binary_cross_entropy_with_logits(told[:, heat], sure, reduction="sum") / n
    apart = (y - told).abs()
    place = ((apart[:, 1:8] * a).sum() + (apart[:, 13:15] * a).sum()) / n + (apart[:, 16:20] * p).sum() / m
    return colour + kept + place, {"colour": colour, "heat": kept, "place": place}


def reader_loss(y: Tensor, told: Tensor, answer: Tensor, heed: Tensor) -> tuple[Tensor, dict[str, Tensor]]:
    """The same for the reader's logits, (N, READER_OUT)."""
    nc = len(COLOURS)
    colour = y.new_zeros(())
    for at in range(_READ.start, _READ.stop, nc):
        s = slice(at, at + nc)
        nll = -(functional.log_softmax(y[:, s], 1) * answer[:, s]).sum(1)
        colour = colour + (nll * heed[:, at]).sum() / heed[:, 0].sum().clamp(min=1)
    count = functional.kl_div(
        functional.log_softmax(y[:, :4], 1), functional.log_softmax(told[:, :4], 1),
        reduction="batchmean", log_target=True,
    )  # fmt: skip
    rest = slice(_READ.stop, None)
    sure = told[:, rest].sigmoid()
    kept = functional.binary_cross_entropy_with_logits(y[:, rest], sure, reduction="sum")
    kept = kept - functional.binary_cross_entropy_with_logits(told[:, rest], sure, reduction="sum")
    return colour + count + kept / len(y), {"rcolour": colour, "count": count, "rest": kept / len(y)}


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--minutes", type=float, default=9)
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--batch", type=int, default=128)
    parser.add_argument("--to", type=Path, required=True)
    parser.add_argument("--start", type=Path, required=True, help="weights.pt of the teacher")
    parser.add_argument("--first", type=int, required=True, help="lessons used up before")
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--traced", type=Path, required=True)
    parser.add_argument("--rate", type=float, default=5e-4)
    parser.add_argument("--keep", type=int, default=30_000, help="lessons kept on the accelerator")
    parser.add_argument("--again", type=float, default=4, help="times each lesson may be looked at")
    args = parser.parse_args()
    args.to.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(20)
    faulthandler.dump_traceback_later(HUNG, exit=True)
    photos = tuple(sorted(str(p) for p in args.photos.iterdir() if p.suffix in {".jpg", ".npy"}))
    source = lessons(FIRST_SEED + args.first, photos, args.workers, 16, load_traced(args.traced))
    device, second = accelerators()
    finder, reader, plates = Finder(), Reader(), PlateReader()
    first = torch.load(args.start, map_location="cpu", weights_only=True)
    nets: dict[str, nn.Module] = {"finder": finder, "reader": reader, "plates": plates}
    places = {"finder": device, "reader": second, "plates": second}
    for name, net in nets.items():
        net.load_state_dict({k: v for k, v in first[name].items() if k in net.state_dict()})
        net.to(places[name]).eval()
    teachers = Logits(copy.deepcopy(finder)), copy.deepcopy(reader)
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
        rgb, maps, weight, at, windows, answers, weights, *_ = store.draw(args.batch)
        used = fixed(weights.flatten(0, 1)[:, 0] > 0, many)
        asked, heed = answers.flatten(0, 1)[used], weights.flatten(0, 1)[used]
        turn = torch.rand(len(rgb), generator=dice, device=device) < 0.5
        rgb, maps, _, at = mirrored_lessons(rgb, maps, weight, at, turn)
        turn = torch.rand(len(used), generator=dice, device=device) < 0.5
        shown = mirrored_windows(windows.flatten(0, 1)[used], asked, turn)
        shown, asked, heed = (t.to(second, non_blocking=True) for t in (shown, asked, heed))
        rgb, shown = developed(rgb, DEVELOPED, dice), developed(shown, DEVELOPED, other_dice)
        with autocast(device.split(":")[0]):
            with torch.no_grad():
                told, other_told = teachers[0](rgb).float(), teachers[1](shown).float()
            r = ask_reader(other_colours(shown, OTHER, other_dice))
            y = ask_finder(other_colours(rgb, OTHER, dice))
        loss, parts = finder_loss(y.float(), told, maps.float(), at.float())
        rloss, rparts = reader_loss(r.float(), other_told, asked, heed)
        optimiser.zero_grad(set_to_none=True)
        rloss.backward()  # type: ignore[no-untyped-call]
        loss.backward()  # type: ignore[no-untyped-call]
        for net in (finder, reader):
            nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        for mean in averaged.values():
            mean.update(step)
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
        "minutes": round((time.monotonic() - start) / 60, 1), "recoloured": True, "loss": log,
    }  # fmt: skip
    (args.to / "training.json").write_text(json.dumps(note, indent=1))
    print("done", json.dumps(note))


if __name__ == "__main__":
    main()
