"""Fits how the scan ranks its places, on rendered scenes alone: one hidden layer over the scan's ring
features.

    python models/training/scan_rank.py PHOTOS [OUT.npz]

PHOTOS is a folder of free photographs without signals (the models' backgrounds): texture is laid from them
over the renders, outside the heads, and pieces of them are pictures without lamps. Seeded: the same package
and photos give the same file. A place on a lit lamp is right; on other lights it is left out. Prints the
recall on rendered scenes held out.
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
import torch

from litlamp.scene.compose import training_sample
from litlamp.sight import scan as scanning

FIRST_SEED = 7_100_000
SIZES = (((640, 480), 800), ((1600, 1200), 200), ((256, 256), 300), ((960, 720), 200))
HIDDEN = 24
PIECES = 200
EPOCHS = 10
HELD_OUT = 5  # every fifth picture


def photographs(folder: Path):
    """Every photograph, uint8 R G B, its long side at most 2400 px."""
    found = []
    for path in sorted(folder.glob("*.jpg")):
        bgr = cv2.imread(str(path))
        scale = min(1.0, 2400 / max(bgr.shape[:2]))
        small = cv2.resize(bgr, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        found.append(cv2.cvtColor(small, cv2.COLOR_BGR2RGB))
    return found


def piece(photos, size, rng):
    """A random window of a random photograph, at a random scale, of that size (w, h)."""
    photo = photos[rng.integers(len(photos))]
    h, w = photo.shape[:2]
    share = rng.uniform(0.3, 1.0)
    ww, hh = int(w * share), min(int(w * share * size[1] / size[0]), h)
    x, y = int(rng.integers(0, w - ww + 1)), int(rng.integers(0, h - hh + 1))
    cut = cv2.resize(photo[y : y + hh, x : x + ww], size, interpolation=cv2.INTER_AREA)
    return cut[:, ::-1] if rng.random() < 0.5 else cut


def roughen(rgb, truth, photos, rng):
    """The picture after a hard life: texture outside the heads, haze, faded colours, sharpening, JPEG."""
    h, w = rgb.shape[:2]
    out = rgb.astype(np.float32)
    if truth is not None and rng.random() < 0.6:
        cut = piece(photos, (w, h), rng).astype(np.float32)
        texture = (cut - cv2.GaussianBlur(cut, (0, 0), rng.uniform(3, 20))) * rng.uniform(0.4, 1.5)
        keep = np.ones((h, w), np.float32)
        for signal in truth.signals:
            for head in signal.heads:
                box = head.box.grow(0.1 * head.box.width).clamp(w, h)
                keep[int(box.y0) : int(box.y1) + 1, int(box.x0) : int(box.x1) + 1] = 0
        out += texture * keep[..., None]
    if rng.random() < 0.5:
        grey = out.mean(axis=2, keepdims=True)
        out = grey + rng.uniform(0.35, 1.0) * (out - grey)
    if rng.random() < 0.4:
        haze = rng.uniform(0, 0.4)
        out = (1 - haze) * out + haze * rng.uniform(120, 230)
    out = np.clip(out, 0, 255)
    if rng.random() < 0.6:
        out += rng.uniform(0, 1.2) * (out - cv2.GaussianBlur(out, (0, 0), rng.uniform(0.7, 2)))
    done = np.clip(np.rint(out), 0, 255).astype(np.uint8)
    flags = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(50, 96))]
    return np.ascontiguousarray(cv2.imdecode(cv2.imencode(".jpg", done[..., ::-1], flags)[1], 1)[..., ::-1])


def samples(photos):
    """(features, label, kept, (x, y, size, lamps)) of each picture."""
    rng = np.random.default_rng(FIRST_SEED)
    nothing = np.zeros((0, 3))
    for _ in range(PIECES):
        rgb = roughen(
            piece(photos, (1600, 1200) if rng.random() < 0.5 else (960, 720), rng), None, photos, rng
        )
        pyramid = scanning._Pyramid(rgb)
        measured = scanning.measure(pyramid)
        none = np.zeros(len(measured))
        yield measured, none, none == 0, (*scanning.whereabouts(pyramid), nothing)
    seed = FIRST_SEED
    for size, n in SIZES:
        for _ in range(n):
            rgb, truth = training_sample(seed, size)
            seed += 1
            lamps = np.array(
                [(*h.centre, h.diameter) for s in truth.signals if s.facing for h in s.heads
                 if h.lit and h.visible > 0.5 and h.diameter >= 2.5]
            ).reshape(-1, 3)  # fmt: skip
            inside = (lamps[:, 0] < size[0]) & (lamps[:, 1] < size[1]) & (lamps[:, :2] >= 0).all(axis=1)
            lamps = lamps[inside]
            pyramid = scanning._Pyramid(roughen(rgb, truth, photos, rng))
            x, y, step = scanning.whereabouts(pyramid)
            label, left_out = labelled(x, y, step, lamps, truth)
            yield scanning.measure(pyramid), label, ~left_out | (label > 0), (x, y, step, lamps)


def labelled(x, y, step, lamps, truth):
    """Which places are right and which are left out: in the middle of a lamp, at the size that shows it
    whole."""
    label, left_out = np.zeros(len(x)), np.zeros(len(x), bool)
    for _, box in truth.distractors if truth else ():
        left_out |= (x > box.x0) & (x < box.x1) & (y > box.y0) & (y < box.y1)
    for cx, cy, d in lamps:
        apart = np.hypot(x - cx, y - cy)
        middle = apart < np.maximum(np.maximum(2.0, 0.2 * d), step)
        good = middle & (step < 2 * d) & (step > d / 8)
        near = apart < 1.5 * d
        # Rims and speckles of a lamp must not outrank its middle, unless they are all that was proposed.
        label[good if good.any() else middle] = 1
        left_out |= near & (label == 0) if not good.any() else near & (label == 0) & (apart > 0.8 * d)
    return label, left_out


def recall(kept, strength, ranks=(8, 16, 32, 48)):
    hits, n = np.zeros(len(ranks), int), 0
    reachable = 0
    for (_, _, _, (x, y, step, lamps)), s in zip(kept, strength, strict=True):
        best = scanning._distinct(x, y, step, s, max(ranks))
        for cx, cy, d in lamps:
            n += 1
            near = np.hypot(x - cx, y - cy) <= max(4.0, d)
            reachable += near.any()
            at = next((i for i, k in enumerate(best) if near[k]), 10**6)
            hits += [at < r for r in ranks]
    return dict(zip(ranks, (hits / n).round(4).tolist(), strict=True)), f"proposed {reachable}/{n}"


def main() -> None:
    out = Path(sys.argv[2]) if len(sys.argv) > 2 else Path(scanning.__file__).with_name("scan_rank.npz")
    cv2.setNumThreads(1)
    torch.manual_seed(1)
    data = list(samples(photographs(Path(sys.argv[1]))))
    print(sum(len(d[3][3]) for d in data), "lamps in", len(data), "pictures")
    train = [d for i, d in enumerate(data) if i % HELD_OUT]
    held = [d for i, d in enumerate(data) if not i % HELD_OUT]
    x = torch.tensor(np.concatenate([d[0][d[2]] for d in train]))
    y = torch.tensor(np.concatenate([d[1][d[2]] for d in train]), dtype=torch.float32)
    mean, std = x.mean(0), x.std(0) + 1e-3
    net = torch.nn.Sequential(
        torch.nn.Linear(x.shape[1], HIDDEN), torch.nn.Tanh(), torch.nn.Linear(HIDDEN, 1)
    )
    z = (x - mean) / std
    optimiser = torch.optim.AdamW(net.parameters(), 3e-3, weight_decay=1e-2)
    weight = torch.where(y > 0, (y == 0).sum() / y.sum() / 4, 1.0)
    for epoch in range(EPOCHS):
        optimiser.param_groups[0]["lr"] = 3e-3 * (1 - epoch / EPOCHS)
        order = torch.randperm(len(z))
        for part in order.split(4096):
            loss = torch.nn.functional.binary_cross_entropy_with_logits(
                net(z[part])[:, 0], y[part], weight[part]
            )
            optimiser.zero_grad()
            loss.backward()
            optimiser.step()
        print(epoch, loss.item())
    a, b = net[0].weight.detach() / std, net[0].bias.detach()
    b = b - (a * mean).sum(1)
    weights = {
        "inner": a.T.numpy(), "inner_bias": b.numpy(),
        "outer": net[2].weight.detach().numpy()[0],
    }  # fmt: skip
    np.savez(out, **{k: v.astype(np.float32) for k, v in weights.items()})
    strength = [np.tanh(d[0] @ weights["inner"] + weights["inner_bias"]) @ weights["outer"] for d in held]
    print("fitted", recall(held, strength))


if __name__ == "__main__":
    main()
