"""Makes the colour table of litlamp.sight.colour: what lamps of each colour look like to cameras.

    python models/training/colour_table.py [OUT.npz]

Needs colour-science. Seeded: the same versions give the same table. No photograph is used. Regions: ICAO
Annex 14, Volume I, Appendix 1 (CIE 1931 x, y); observer, daylight and one camera's sensitivities from
colour-science. The cameras simulated are jittered copies of that camera and parametric ones; the others
that colour-science holds are left for the tests.
"""

from __future__ import annotations

import sys
import warnings
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

from litlamp.sight import colour as sight

SEED = 20_25
PER_COLOUR = 20_000
CAMERAS = 240
HIDDEN = (64, 48)
EPOCHS = 45
ANYTHING = 0.1
NM = np.arange(390.0, 731.0, 5.0)


def _inside(name, x, y):
    if name == "red":  # purple boundary y = 0.980 - x, yellow boundary y = 0.335
        return (y >= 0.980 - x) & (y <= 0.335)
    if name == "yellow":  # red boundary y = 0.382, white y = 0.790 - 0.667 x, green y = x - 0.120
        return (y >= 0.382) & (y >= 0.790 - 0.667 * x) & (y <= x - 0.120)
    if name == "green":  # yellow boundary x = 0.360 - 0.080 y, white x = 0.650 y, blue y = 0.390 - 0.171 x
        return (x <= 0.360 - 0.080 * y) & (x <= 0.650 * y) & (y >= 0.390 - 0.171 * x)
    # White. Yellow boundary x = 0.500, blue x = 0.285, green y = 0.440 and y = 0.150 + 0.640 x,
    # purple y = 0.050 + 0.750 x and y = 0.382. Lunar lamps are its bluish part.
    purple = np.minimum(0.050 + 0.750 * x, 0.382)
    return (x >= 0.285) & (x <= 0.500) & (y <= 0.440) & (y <= 0.150 + 0.640 * x) & (y >= purple)


def _on_grid(sd):
    return np.stack([np.interp(NM, sd.wavelengths, v, 0, 0) for v in np.atleast_2d(sd.values.T)])


def _planck(kelvin):
    nm = NM[None]
    return 1e14 / (nm**5 * (np.exp(1.4388e7 / (nm * np.asarray(kelvin)[:, None])) - 1))


def _bands(n, rng):
    s = np.zeros((n, len(NM)))
    for low, high in ((430, 480), (490, 570), (570, 650)):
        peak, width = rng.uniform(low, high, (n, 1)), np.exp(rng.uniform(np.log(6), np.log(60), (n, 1)))
        s += rng.random((n, 1)) * np.exp(-0.5 * ((NM - peak) / width) ** 2)
    return s


def spectra(name, n, observer, rng):
    """n spectra whose chromaticity lies in the region, spread evenly over it; (n, len(NM)), unit
    luminance."""
    kept, where = [], []
    while sum(len(k) for k in kept) < 6 * n:
        m = 40_000
        ranges = {"red": (608, 670), "yellow": (582, 602), "green": (490, 535), "lunar": (430, 480)}
        peak = rng.uniform(*ranges[name], m)[:, None]
        narrow = np.exp(-0.5 * ((NM - peak) / rng.uniform(5, 22, m)[:, None]) ** 2)
        planck = _planck(rng.uniform(2000, 9000 if name == "lunar" else 3000, m))
        planck /= planck.max(1, keepdims=True)
        edge = peak + rng.uniform(-30, 10, m)[:, None]
        glass = 1 / (1 + np.exp(-(NM - edge) / rng.uniform(3, 12, m)[:, None]))
        if name == "green":
            glass = np.exp(-0.5 * ((NM - peak) / rng.uniform(18, 50, m)[:, None]) ** 2)
        if name == "lunar":
            glass = 1 - rng.uniform(0, 0.8, m)[:, None] / (1 + np.exp(-(NM - 560) / 30))
        share = np.where(rng.random(m) < 0.5, 0, rng.uniform(0, 1, m))[:, None]
        white = rng.uniform(0, 0.06, m)[:, None] * planck
        s = share * narrow + (1 - share) * planck * glass + white
        if name != "lunar":
            pure = rng.random(m) < 0.35
            s[pure] = narrow[pure] + 0.2 * white[pure]
        else:  # white made of separate bands
            bands = rng.random(m) < 0.5
            s[bands] = _bands(int(bands.sum()), rng)
        xyz = s @ observer.T
        xy = xyz[:, :2] / xyz.sum(1, keepdims=True)
        good = _inside(name, xy[:, 0], xy[:, 1])
        kept.append((s / xyz[:, 1:2])[good])
        where.append(xy[good])
    s, xy = np.concatenate(kept), np.concatenate(where)
    _, inverse, counts = np.unique(
        np.floor(xy / 0.012).astype(int), axis=0, return_inverse=True, return_counts=True
    )
    p = 1 / np.sqrt(counts[inverse.ravel()])  # half-way to even: cells on the rim hold few
    return s[rng.choice(len(s), n, p=p / p.sum())]


def cameras(n, known, rng):
    """n sensitivities (n, 3, len(NM)): jittered copies of a measured camera, and parametric ones."""
    out = []
    for i in range(n):
        if i % 3 == 0:
            shift, stretch = rng.uniform(-8, 8, 3), rng.uniform(0.9, 1.12, 3)
            middle = (known * NM).sum(1) / known.sum(1)
            s = np.stack(
                [np.interp((NM - c - d) / k + c, NM, v, 0, 0)
                 for v, c, d, k in zip(known, middle, shift, stretch, strict=True)]
            )  # fmt: skip
        else:
            # Red dyes pass all that is longer than their edge; green and blue ones are bells.
            # Layers stacked in depth see far broader bands than dyes side by side.
            stacked = i % 3 == 2
            edge, soft = (
                (rng.uniform(550, 582), rng.uniform(8, 18))
                if stacked
                else (rng.uniform(568, 592), rng.uniform(4, 12))
            )
            peak = np.array([rng.uniform(522, 548), rng.uniform(446, 470)])[:, None]
            bells = np.exp(
                -0.5 * ((NM - peak) / rng.uniform(*((35, 60) if stacked else (22, 48)), 2)[:, None]) ** 2
            )
            s = np.stack([1 / (1 + np.exp(-(NM - edge) / soft)), *bells])
        mix = np.eye(3) + rng.uniform(0, rng.choice([0.1, 0.3]), (3, 3))
        cut = 1 / (1 + np.exp((NM - rng.uniform(640, 700)) / rng.uniform(4, 12)))  # infra-red filter
        out.append(mix @ s * cut)
    return np.stack(out)


def balance(camera, light):
    raw = camera @ light
    return raw[1] / raw


def matrix(camera, d65, chips, observer):
    """The 3x3 from balanced raw to linear sRGB that fits the colour chart's chips in daylight best."""
    raw = (chips * d65) @ camera.T * balance(camera, d65)
    to_srgb = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
    srgb = (chips * d65) @ observer.T / (observer[1] @ d65) @ to_srgb.T
    raw = raw / (camera[1] @ d65)
    fit = np.linalg.lstsq(raw, srgb, rcond=None)[0].T
    return fit / fit.sum(1, keepdims=True)  # white stays white


def patch(raw_lamp, gains, ccm, rng, exposure=None):
    """One picture (48, 48, 3) uint8 of a lamp, and (x, y, diameter) as a finder might report it."""
    d = float(np.exp(rng.uniform(np.log(3), np.log(20))))
    side = 48
    cx, cy = side / 2 + rng.uniform(-0.5, 0.5, 2)
    fine = 4
    g = (np.arange(side * fine) + 0.5) / fine
    r = np.hypot(g[None] - cx, g[:, None] - cy) / (d / 2)
    shape = (r <= 1) * ((1 - rng.uniform(0, 0.9)) + np.exp(-((r / rng.uniform(0.3, 1.2)) ** 2)))
    disc = cv2.resize(shape.astype(np.float32), (side, side), interpolation=cv2.INTER_AREA)
    disc = cv2.GaussianBlur(disc, (0, 0), rng.uniform(0.35, 0.8) + 0.06 * d * rng.random())
    halo = cv2.GaussianBlur(disc, (0, 0), d * rng.uniform(0.5, 1.0))
    disc = disc / disc.max() + rng.choice([0, 1]) * rng.uniform(0, 0.3) * halo
    lamp = raw_lamp * gains
    lamp = lamp / (np.maximum(ccm @ lamp, 0).max())  # exposure 1: the brightest channel just reaches 1
    if exposure is None:
        exposure = 2.0 ** rng.uniform(-2, 4 if rng.random() < 0.8 else 6)
    # The board round the lamp, what lies behind the board, and light scattered over all by haze and lens.
    rough = cv2.GaussianBlur(rng.normal(0, 1, (side, side)).astype(np.float32), (0, 0), 2)
    tint = np.exp(rng.normal(0, 0.15, 3))
    board = np.clip(r - rng.uniform(1.3, 4.0), 0, 1)
    board = cv2.resize(board.astype(np.float32), (side, side), interpolation=cv2.INTER_AREA)[..., None]
    dark, beyond = rng.choice([0.01, 0.05, 0.15]) * rng.random(), rng.choice([0.02, 0.3, 1.0]) * rng.random()
    scene = (dark * (1 - board) + beyond * board) * tint * (1 + 0.5 * np.clip(rough, -1, 1)[..., None])
    scene = scene + rng.choice([0, 0, 1]) * rng.uniform(0, 0.8) * np.exp(rng.normal(0, 0.08, 3))
    raw = scene + exposure * disc[..., None] * lamp
    raw = np.minimum(raw, rng.uniform(1.0, 1.3))
    raw = raw + rng.normal(0, 1, raw.shape) * np.sqrt(np.maximum(raw, 0) * rng.uniform(0, 4e-4) + 1e-6)
    linear = np.clip(raw @ ccm.T, 0, 1)
    # Many tone maps draw bright colours towards white.
    top = linear.max(axis=2, keepdims=True)
    linear = linear + rng.choice([0, 1]) * rng.uniform(0, 0.7) * top ** rng.uniform(1, 3) * (top - linear)
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    bend = rng.uniform(0, 0.5)
    code = (1 - bend) * code + bend * code * code * (3 - 2 * code)
    picture = np.rint(255 * np.clip(code, 0, 1)).astype(np.uint8)
    if rng.random() < 0.7:
        sampling = int(
            rng.choice([cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444])
        )
        flags = [
            cv2.IMWRITE_JPEG_QUALITY,
            int(rng.integers(60, 98)),
            cv2.IMWRITE_JPEG_SAMPLING_FACTOR,
            sampling,
        ]
        picture = cv2.imdecode(cv2.imencode(".jpg", picture[..., ::-1], flags)[1], 1)[..., ::-1]
    if rng.random() < 0.3 and d > 5:  # a reduced copy, perhaps sharpened
        by = rng.uniform(0.4, 0.9)
        picture = cv2.resize(picture, None, fx=by, fy=by, interpolation=cv2.INTER_AREA)
        if rng.random() < 0.5:
            picture = cv2.addWeighted(picture, 1.6, cv2.GaussianBlur(picture, (0, 0), 1.0), -0.6, 0)
        by = picture.shape[0] / side
        cx, cy, d = cx * by, cy * by, d * by
    off = rng.normal(0, 0.1, 2) * d
    told = d * (np.exp(rng.normal(0, 0.2)) if rng.random() < 0.7 else rng.uniform(0.4, 1.8))
    return picture, (cx + off[0], cy + off[1], float(told))


def fit(x, y, rng):
    """A classifier of the features into the four colours and "anything": weights and biases by layer."""
    import torch

    torch.manual_seed(SEED)
    mean, spread = x.mean(0), x.std(0) + 1e-3
    # "Anything" fills, thinly, a box three times as wide as all that was simulated, and its neighbourhood.
    low, high = x.min(0), x.max(0)
    n = int(ANYTHING * len(x))
    box = rng.uniform(low - (high - low), high + (high - low), (n, x.shape[1]))
    box[: n // 2] = x[rng.integers(0, len(x), n // 2)] + rng.normal(0, 2.5, (n // 2, x.shape[1])) * spread
    z = torch.tensor(np.concatenate([x, box]), dtype=torch.float32)
    label = torch.tensor(np.concatenate([y, np.full(n, len(sight.LIT))]))
    sizes = [x.shape[1], *HIDDEN, len(sight.LIT) + 1]
    layers = [torch.nn.Linear(a, b) for a, b in pairwise(sizes)]
    net = torch.nn.Sequential(
        *(part for layer in layers[:-1] for part in (layer, torch.nn.Tanh())), layers[-1]
    )
    z = (z - torch.tensor(mean, dtype=torch.float32)) / torch.tensor(spread, dtype=torch.float32)
    optimiser = torch.optim.AdamW(net.parameters(), 4e-3, weight_decay=3e-3)
    for epoch in range(EPOCHS):
        optimiser.param_groups[0]["lr"] = 4e-3 * (1 - epoch / EPOCHS) + 1e-5
        for part in torch.randperm(len(z)).split(512):
            loss = torch.nn.functional.cross_entropy(net(z[part]), label[part], label_smoothing=0.0005)
            optimiser.zero_grad()
            loss.backward()
            optimiser.step()
    weights = [layer.weight.detach().double().numpy().T for layer in layers]
    biases = [layer.bias.detach().double().numpy() for layer in layers]
    weights[0] = weights[0] / spread[:, None]
    biases[0] = biases[0] - mean @ weights[0]
    return weights, biases


def main() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    cv2.setNumThreads(1)
    rng = np.random.default_rng(SEED)
    observer = _on_grid(colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])
    known = _on_grid(colour.MSDS_CAMERA_SENSITIVITIES["Nikon 5100 (NPL)"])
    d65 = _on_grid(colour.SDS_ILLUMINANTS["D65"])[0]
    chips = np.concatenate([_on_grid(s) for s in colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()])
    made = cameras(CAMERAS, known, rng)
    tools = [(c, matrix(c, d65, chips, observer)) for c in made]
    lights = [_planck(np.array([k]))[0] for k in np.linspace(4500, 8500, 17)]
    seen = []
    for name in sight.LIT:
        rows = []
        for s in spectra(name, PER_COLOUR, observer, rng):
            camera, ccm = tools[rng.integers(len(tools))]
            # As often quite out as anywhere between.
            kelvin = rng.integers(len(lights)) if rng.random() < 0.5 else rng.choice([0, len(lights) - 1])
            gains = balance(camera, lights[kelvin])
            picture, (x, y, d) = patch(camera @ s, gains, ccm, rng)
            row = sight.features(picture, x, y, d)
            if row is not None:
                rows.append(row)
        seen.append(np.array(rows))
        print(name, len(rows), np.round(seen[-1].mean(0), 2), flush=True)
    x, y = np.concatenate(seen), np.repeat(np.arange(len(seen)), [len(v) for v in seen])
    weights, biases = fit(x, y, rng)
    out = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(sight.__file__).with_name("colour_table.npz")
    held = {f"weight{i}": w for i, w in enumerate(weights)} | {f"bias{i}": b for i, b in enumerate(biases)}
    np.savez(out, **{name: value.astype(np.float32) for name, value in held.items()})


if __name__ == "__main__":
    main()
