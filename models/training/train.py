"""Trains the finder, the reader and the plate reader together on one stream of rendered lessons.

    python models/training/train.py --minutes 9 --workers 15 --to .data/run --photos .data/backgrounds

Seeds: training uses 1_000_000 upward, checks use 1 to 99_999, calibration 100_000 to 199_999 and exams
200_000 to 299_999, so that none is ever seen twice.
"""

from __future__ import annotations

import argparse
import faulthandler
import json
import math
import threading
import time
from pathlib import Path
from typing import cast

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional

from augment import developed, mirrored_lessons, mirrored_windows
from litlamp.aspects.aspect import COLOURS
from litlamp.scene.traced import load_traced
from mine import Mine, barren
from nets import Finder, PlateReader, Reader
from stream import Stream, lessons
from targets import N_MAPS

FIRST_SEED = 1_000_000
DEVELOPED = 0.4
"""Share of pictures and windows whose tone is changed each time they are looked at."""
HUNG = 240
"""Seconds without steps after which it is printed where every thread is, and the run ends."""
DIG_EVERY, DUG_IN, DUG = 8, 24, 0.1
"""Steps from one to the next that asks what the finder takes for heads in pictures without a signal; of how
many pictures it asks; and the share of the reader's windows that are of such places."""


def heat_loss(logit: Tensor, truth: Tensor, weight: Tensor) -> Tensor:
    """Focal loss for Gaussian heat (Zhou, Wang, Kraehenbuehl 2019, Objects as Points), a mean per object."""
    p = logit.sigmoid().clamp(1e-4, 1 - 1e-4)
    hit = (truth > 0.999).float()
    good = hit * (1 - p) ** 2 * p.log()
    bad = (1 - hit) * (1 - truth) ** 4 * p**2 * (1 - p).log()
    return -((good + bad) * weight).sum() / hit.sum().clamp(min=8)


def finder_loss(y: Tensor, maps: Tensor, weight: Tensor, at: Tensor) -> tuple[Tensor, dict[str, Tensor]]:
    head = heat_loss(y[:, 0], maps[:, 0], weight[:, 0])
    plate = heat_loss(y[:, 15], maps[:, 15], weight[:, 1])
    a, p = at[:, :1], at[:, 1:]
    n, m = a.sum().clamp(min=8), p.sum().clamp(min=8)
    place = ((y[:, 1:8] - maps[:, 1:8]).abs() * a).sum() / n + (
        (y[:, 13:15] - maps[:, 13:15]).abs() * a
    ).sum() / n
    colour = (functional.cross_entropy(y[:, 8:13], maps[:, 8:13], reduction="none") * a[:, 0]).sum() / n
    size = ((y[:, 16:20] - maps[:, 16:20]).abs() * p).sum() / m
    return head + 0.7 * plate + 0.3 * place + colour + 0.3 * size, {
        "head": head, "plate": plate, "place": place, "colour": colour,
    }  # fmt: skip


def reader_loss(y: Tensor, answer: Tensor, weight: Tensor) -> tuple[Tensor, dict[str, Tensor]]:
    nc = len(COLOURS)
    n = weight[:, 0].sum().clamp(min=1)
    count = -(functional.log_softmax(y[:, :4], 1) * answer[:, :4]).sum(1)
    count = (count * weight[:, 0]).sum() / n
    colour = y.new_zeros(())
    for slot in range(3):
        s = slice(4 + slot * nc, 4 + (slot + 1) * nc)
        nll = -(functional.log_softmax(y[:, s], 1) * answer[:, s]).sum(1)
        colour = colour + (nll * weight[:, s.start]).sum() / n
    s = slice(4 + 3 * nc, y.shape[1])
    binary = (
        functional.binary_cross_entropy_with_logits(y[:, s], answer[:, s], weight[:, s], reduction="sum") / n
    )
    return count + colour + binary, {"count": count, "rcolour": colour, "rest": binary}


class Averaged:
    """An exponential mean of the weights: what is exported."""

    def __init__(self, net: nn.Module, keep: float = 0.999) -> None:
        self.keep = keep
        own = net.state_dict()  # its tensors are the network's own, changed in place as it learns
        self.state = {k: v.detach().clone() for k, v in own.items()}
        self._real = [k for k, v in own.items() if v.dtype.is_floating_point]
        self._own = [own[k].detach() for k in self._real]

    def update(self, step: int) -> None:
        keep = min(self.keep, (step + 1) / (step + 10))
        torch._foreach_lerp_([self.state[k] for k in self._real], self._own, 1 - keep)


class Store:
    """The latest lessons, kept on the accelerator; batches are drawn from it at random."""

    def __init__(self, keep: int, device: str, source: Stream) -> None:
        self.source, self.device, self.seen = source, device, 0
        self._rows = max(keep // source.n, 2)
        self._blocks = torch.empty(
            (self._rows, source.layout.size(source.n)), dtype=torch.uint8, device=device
        )
        self.parts = [
            self._blocks[:, place].view(torch.from_numpy(np.empty(0, dtype)).dtype).view(-1, source.n, *shape)
            for place, (shape, dtype) in zip(source.layout.places(source.n), source.layout.parts, strict=True)
        ]

    def fill(self, lessons: int) -> None:
        """Wait for so many lessons."""
        while self.seen < lessons:
            self._take(next(self.source.taken))

    def _take(self, block: NDArray[np.uint8]) -> None:
        row = self.seen // self.source.n % self._rows
        self._blocks[row].copy_(torch.from_numpy(block), non_blocking=True)
        if self.device != "cpu":
            torch.cuda.current_stream().synchronize()
        self.seen += self.source.n

    def feed(self) -> None:
        """Run for ever in a thread of its own.

        Whole blocks are copied, from memory the accelerator reads by itself and beside what it works at: many
        small copies keep an interpreter busy that is needed for the steps.
        """
        if self.device == "cpu":
            for block in self.source.taken:
                self._take(block)
        torch.cuda.set_device(self.device)
        for block in self.source.blocks:
            torch.cuda.cudart().cudaHostRegister(block.ctypes.data, block.nbytes, 0)  # type: ignore[attr-defined, no-untyped-call]
        with torch.cuda.stream(torch.cuda.Stream()):
            for block in self.source.taken:
                self._take(block)

    def draw(self, n: int) -> list[Tensor]:
        """`n` of the lessons kept, none of the block that is being written."""
        rows = self.seen // self.source.n
        row = torch.randint(min(rows, self._rows - 1), (n,), device=self.device)
        if rows >= self._rows:
            row = (row + rows + 1) % self._rows
        lesson = torch.randint(self.source.n, (n,), device=self.device)
        return [part[row, lesson] for part in self.parts]


def fixed(wanted: Tensor, n: int) -> Tensor:
    """Indices of `n` of the wanted, over again where there are fewer.

    The accelerator's convolutions are planned anew, in seconds, for every batch size, so it must not vary;
    and nothing here is asked back of the accelerator, which would have to end all its work first.
    """
    order = wanted.byte().argsort(descending=True, stable=True)
    return order[torch.arange(n, device=wanted.device) % wanted.sum().clamp(min=1)]


class Logits(nn.Module):
    """The finder as it is trained: without the sigmoids at its end."""

    def __init__(self, finder: Finder) -> None:
        super().__init__()
        self.finder = finder

    def forward(self, x: Tensor) -> Tensor:
        return self.finder.logits(x)


def recorded(net: nn.Module, like: Tensor) -> nn.Module:
    """The network with its steps recorded for inputs `like` this one, where an accelerator can play them.

    Of networks as small as these, telling an accelerator what to do takes longer than its doing it. Nothing
    else may be asked of any accelerator meanwhile.
    """
    if not like.is_cuda:
        return net
    torch.cuda.graph.default_capture_stream = None  # or it would be the first accelerator's for all
    with torch.cuda.device(like.device), autocast(like.device.type):
        return cast(nn.Module, torch.cuda.make_graphed_callables(net, (like,)))


def autocast(kind: str) -> torch.autocast:
    """Half the precision on an accelerator. Weights are turned anew each time: recorded steps need that."""
    return torch.autocast(kind, dtype=torch.bfloat16, enabled=kind != "cpu", cache_enabled=False)


def like(several: Tensor, n: int, device: str) -> Tensor:
    """`n` of what each lesson has several of, on that device."""
    every = several.flatten(0, 1)
    return every[torch.arange(n, device=every.device) % len(every)].to(device)


def accelerators() -> tuple[str, str]:
    """Where the finder learns and where the two others do: they have nothing in common but their lessons."""
    if not torch.cuda.is_available():
        return "cpu", "cpu"
    return "cuda:0", f"cuda:{torch.cuda.device_count() - 1}"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--minutes", type=float, default=9)
    parser.add_argument(
        "--until", type=float, default=0, help="minutes at which the learning rate reaches zero"
    )
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--batch", type=int, default=128)
    parser.add_argument("--to", type=Path, required=True)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--start", type=Path, help="weights.pt of an earlier run to begin from")
    parser.add_argument("--first", type=int, default=0, help="lessons an earlier run has used up")
    parser.add_argument("--photos", type=Path)
    parser.add_argument("--traced", type=Path, help="folder of traced heads (see trace.py)")
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--keep", type=int, default=30_000, help="lessons kept on the accelerator")
    parser.add_argument("--again", type=float, default=4, help="times each lesson may be looked at")
    args = parser.parse_args()
    args.to.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(20)
    saved = torch.load(args.resume, map_location="cpu", weights_only=True) if args.resume else None
    photos = (
        tuple(sorted(str(p) for p in args.photos.iterdir() if p.suffix in {".jpg", ".npy"}))
        if args.photos
        else ()
    )
    traced = load_traced(args.traced) if args.traced else ()
    faulthandler.dump_traceback_later(HUNG, exit=True)
    # The children are forked before anything touches the accelerator.
    source = lessons(FIRST_SEED + (saved["seen"] if saved else args.first), photos, args.workers, 16, traced)
    mine = Mine(6000)
    device, second = accelerators()
    finder = Finder()
    nets: dict[str, nn.Module] = {"finder": finder, "reader": Reader(), "plates": PlateReader()}
    places = {"finder": device, "reader": second, "plates": second}
    for k, net in nets.items():
        net.to(places[k]).train()
    seen, done = args.first, 0.0
    averaged = {k: Averaged(n) for k, n in nets.items()}
    optimiser = torch.optim.AdamW(
        [p for n in nets.values() for p in n.parameters()],
        lr=args.rate,
        weight_decay=0.02,
        fused=torch.cuda.is_available(),
    )
    if saved:
        for k, net in nets.items():
            net.load_state_dict(saved["raw"][k])
            averaged[k].state = {n: v.to(places[k]) for n, v in saved[k].items()}
        optimiser.load_state_dict(saved["optimiser"])
        seen, done = saved["seen"], saved["minutes"]
    if args.start:
        first = torch.load(args.start, map_location="cpu", weights_only=True)
        for k, net in nets.items():
            # Blocks that the earlier network did not have begin as nothing but their input; layers whose
            # width has changed learn anew.
            own = net.state_dict()
            fit = {n: v for n, v in first[k].items() if n not in own or own[n].shape == v.shape}
            if net.load_state_dict(fit, strict=False).unexpected_keys:
                raise SystemExit(f"{args.start} is not of a {k} like this one")
            print(f"{k}: {len(own) - len(fit)} of {len(own)} parts begin anew", flush=True)
            averaged[k] = Averaged(net)
    until = args.until or done + args.minutes
    store = Store(args.keep, device, source)
    first_dice = args.first + (saved["seen"] if saved else 0)
    dice = torch.Generator(device).manual_seed(first_dice)
    other_dice = torch.Generator(second).manual_seed(first_dice + 1)
    store.fill(8 * args.batch)
    asks = {
        "finder": recorded(Logits(finder), store.draw(args.batch)[0]),
        "reader": recorded(nets["reader"], like(store.draw(args.batch)[4], args.batch * 5 // 4, second)),
        "plates": recorded(nets["plates"], like(store.draw(args.batch)[7], args.batch * 3 // 4, second)),
    }
    mine.open(second)
    start, step, log = time.monotonic(), 0, {}
    threading.Thread(target=store.feed, daemon=True).start()
    while True:
        minutes = done + (time.monotonic() - start) / 60
        if minutes - done >= args.minutes:
            break
        # Each lesson is looked at `again` times at most: rendering, not the accelerator, sets the pace.
        if step * args.batch > args.again * store.seen:
            time.sleep(0.01)
            continue
        rate = (
            args.rate
            * min(1, (step + 1) / 300 if not args.resume else 1)
            * (0.5 + 0.5 * math.cos(math.pi * min(minutes / until, 1)))
        )
        for group in optimiser.param_groups:
            group["lr"] = max(rate, 1e-6)
        rgb, maps, weight, at, windows, answers, weights, plates, kinds, _ = store.draw(args.batch)
        used = fixed(weights.flatten(0, 1)[:, 0] > 0, args.batch * 5 // 4)
        pl = fixed(kinds.flatten() >= 0, args.batch * 3 // 4)
        asked = answers.flatten(0, 1)[used]
        turn = torch.rand(len(rgb), generator=dice, device=device) < 0.5
        rgb, maps, weight, at = mirrored_lessons(rgb, maps, weight, at, turn)
        turn = torch.rand(len(used), generator=dice, device=device) < 0.5
        seen_windows = mirrored_windows(windows.flatten(0, 1)[used], asked, turn)
        seen_windows, asked, heed, boards, letters = (
            t.to(second, non_blocking=True)
            for t in (
                seen_windows, asked, weights.flatten(0, 1)[used],
                plates.flatten(0, 1)[pl], kinds.flatten()[pl],
            )
        )  # fmt: skip
        taken = mine.draw(int(DUG * len(seen_windows)), other_dice)
        if taken is not None:
            # In the place of as many, for the batch size must not vary.
            n = len(taken)
            seen_windows, asked, heed = seen_windows.clone(), asked.clone(), heed.clone()
            seen_windows[:n], asked[:n], heed[:n] = taken, 0.0, 0.0
            asked[:n, 0], heed[:n, :4] = 1.0, 1.0
        with autocast(device.split(":")[0]):
            r = asks["reader"](developed(seen_windows, DEVELOPED, other_dice))
            q = asks["plates"](developed(boards, DEVELOPED, other_dice))
            y = asks["finder"](developed(rgb, DEVELOPED, dice))
        rloss, rparts = reader_loss(r.float(), asked, heed)
        ploss = functional.cross_entropy(q.float(), letters)
        loss, parts = finder_loss(y.float(), maps.float(), weight.float(), at.float())
        optimiser.zero_grad(set_to_none=True)
        (rloss + ploss).backward()
        loss.backward()
        for net in nets.values():
            nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        for mean in averaged.values():
            mean.update(step)
        if step % DIG_EVERY == 0:
            few = barren(maps, weight).nonzero()[:DUG_IN, 0]
            mine.look_at(rgb[few], y[few])
        step += 1
        if step % 50 == 0:
            faulthandler.dump_traceback_later(HUNG, exit=True)
            for k, v in {**parts, **rparts, "letters": ploss}.items():
                log[k] = 0.8 * log.get(k, v.item()) + 0.2 * v.item()
        if step % 250 == 0:
            print(
                f"{minutes:6.2f} min {seen + store.seen:8d} seen {step:6d} steps "
                + " ".join(f"{k} {v:.3f}" for k, v in log.items())
                + f" dug {mine.found}",
                flush=True,
            )
    begun = saved["first"] if saved else args.first
    seen += store.seen
    step += saved["steps"] if saved else 0
    dug = mine.found + (saved["dug"] if saved else 0)
    minutes = done + (time.monotonic() - start) / 60
    torch.save({
        **{k: a.state for k, a in averaged.items()}, "raw": {k: n.state_dict() for k, n in nets.items()},
        "optimiser": optimiser.state_dict(), "first": begun, "seen": seen, "steps": step, "dug": dug,
        "minutes": minutes,
    }, args.to / "state.pt")  # fmt: skip
    torch.save({k: a.state for k, a in averaged.items()}, args.to / "weights.pt")
    note = {
        "first_seed": FIRST_SEED + begun,
        "pictures": seen - begun,
        "steps": step,
        "dug": dug,
        "minutes": round(minutes, 1),
        "maps": N_MAPS,
        "loss": log,
    }
    (args.to / "training.json").write_text(json.dumps(note, indent=1))
    print("done", json.dumps(note))


if __name__ == "__main__":
    main()
