"""Signal heads traced by mitsuba, as assets for training: layers of light from which any daylight adds up.

    python models/training/trace.py --count 300 --to .data/traced [--first 0]

Each seed is one head (`trace_build.py`) seen from one side; a seed that is there already is skipped. What
the layers are says `litlamp.scene.traced`.
"""

from __future__ import annotations

import argparse
import math
import tempfile
from pathlib import Path
from typing import Any, cast

import cv2
import mitsuba as mi
import numpy as np
from numpy.typing import NDArray

from litlamp.scene.canvas import noise
from litlamp.scene.heads import GLASS, Kind
from litlamp.scene.traced import About, save_traced
from trace_build import Mesh, Points, Solid, draw_solid

Array = NDArray[np.float32]
WIDTH = 112.0
TALLEST = 420.0
BRIGHTEST = 2.0
BOUNCES = 4


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--to", type=Path, required=True)
    parser.add_argument("--samples", type=int, default=16, help="paths a px under the sky, half of it else")
    parser.add_argument("--variant", default="scalar_rgb", help="of mitsuba; llvm_ad_rgb needs LLVM")
    args = parser.parse_args()
    args.to.mkdir(parents=True, exist_ok=True)
    mi.set_variant(args.variant)
    for seed in range(args.first, args.first + args.count):
        path = args.to / f"{seed:05d}.npz"
        if not path.exists():
            trace(seed, path, args.samples)
            print(path.name, path.stat().st_size, flush=True)


def trace(seed: int, path: Path, samples: int) -> None:
    """Draw, render and write one asset."""
    rng = np.random.default_rng((seed, 31))
    solid = draw_solid(rng)
    yaw, pitch = _turned(rng, solid.dwarf)
    head = solid.head
    across = np.array([math.cos(yaw), 0.0, math.sin(yaw)])
    viewer = np.array([-math.sin(yaw) * math.cos(pitch), math.sin(pitch), math.cos(yaw) * math.cos(pitch)])
    up = np.cross(viewer, across)
    every = np.concatenate([v for m in _meshes(solid) for v in m.vertices])
    flat = np.stack([every @ across, every @ up], -1)
    low, high = flat.min(0), flat.max(0)
    scale = min(WIDTH / head.width, TALLEST / (high[1] - low[1]))
    size = np.ceil((high - low) * scale).astype(int) + 6
    middle = (low + high) / 2

    def px(points: Points) -> Points:
        p = np.stack([points @ across, points @ up], -1) - middle
        return np.asarray(p * [scale, -scale] + size / 2, np.float64)

    eye = across * middle[0] + up * middle[1] + viewer * 5
    half = float(size[0] / scale / 2)
    look = mi.ScalarTransform4f().look_at(eye.tolist(), (eye - viewer).tolist(), up.tolist())
    sensor = {
        "type": "orthographic",
        "to_world": look @ mi.ScalarTransform4f().scale([half, half, 1.0]),
        "film": {
            "type": "hdrfilm", "width": int(size[0]), "height": int(size[1]), "pixel_format": "rgba",
            "rfilter": {"type": "box"},
        },
        "sampler": {"type": "independent", "sample_count": samples, "seed": seed},
    }  # fmt: skip
    fewer = {**sensor, "sampler": {"type": "independent", "sample_count": max(samples // 2, 4), "seed": seed}}
    sun = _sun(rng, viewer)
    with tempfile.TemporaryDirectory() as folder:
        shapes = _shapes(rng, solid, Path(folder))
        sky, cover = _render(sensor, shapes, {"sky": _sky(rng)})
        lit, _ = _render(
            fewer, shapes,
            {"sun": {"type": "directional", "direction": [-s for s in sun],
                     "irradiance": {"type": "rgb", "value": math.pi}}},
        )  # fmt: skip
        lamps = _lamps(rng, solid, fewer, shapes)
    for layer, lens in zip(lamps, solid.lenses, strict=True):
        _in_place(layer, px(np.array([lens.centre]))[0], 0.6 * head.lens * scale + 4, path.name)
    seen = cover > 0.02
    gains = tuple(float(min(max(x[seen].max(), 0.05), BRIGHTEST)) for x in (sky, lit))
    hull = cv2.convexHull(px(solid.outer).astype(np.float32))[:, 0]
    spots = [(float(x), float(y)) for x, y in px(np.array([lens.centre for lens in solid.lenses]))]
    x, y = px(np.zeros((1, 3)))[0]
    about = About(
        cast(Kind, str(head.kind)), [(float(x), float(y)) for x, y in np.round(head.outline, 5)],
        [(float(a.x), float(a.y), str(a.glass)) for a in head.apertures],
        head.lens, head.hood, head.reach, head.flare, head.body,
        head.paint, head.inside, head.wear, head.sky_in_glass, head.texture, head.source, solid.dwarf,
        float(scale), (float(x), float(y)), spots, [(float(x), float(y)) for x, y in np.round(hull, 2)],
        yaw, pitch, sun, (gains[0], gains[1]),
    )  # fmt: skip
    save_traced(
        path, about, _clean(sky, cover) / np.float32(gains[0]), _clean(lit, cover) / np.float32(gains[1]),
        cover, lamps,
    )  # fmt: skip


def _turned(rng: np.random.Generator, dwarf: bool) -> tuple[float, float]:
    yaw = float(rng.uniform(-0.3, 0.3) if rng.random() < 0.5 else rng.uniform(-0.9, 0.9))
    if dwarf:
        return yaw, float(rng.uniform(-0.08, 0.35))
    return yaw, float(-min(abs(rng.normal(0, 0.14)), 0.4) if rng.random() < 0.93 else rng.uniform(0, 0.12))


def _sun(rng: np.random.Generator, viewer: Points) -> tuple[float, float, float]:
    """A unit vector to a sun that stands before the head or on its flank."""
    while True:
        az, el = float(rng.uniform(-1.9, 1.9)), float(rng.uniform(0.08, 1.15))
        sun = math.sin(az) * math.cos(el), math.sin(el), math.cos(az) * math.cos(el)
        if np.dot(sun, viewer) > -0.15 and rng.random() < 0.35 + max(sun[2], 0):
            return sun


def _meshes(solid: Solid) -> list[Mesh]:
    return [m for m in solid.parts.values() if m.n] + [lens.mesh for lens in solid.lenses]


def _shapes(rng: np.random.Generator, solid: Solid, folder: Path) -> dict[str, Any]:
    """Every mesh with its surface, as mitsuba takes them; lenses are named lens0, lens1 .."""
    head = solid.head
    paint = _blotched(rng, head.paint, head.wear)
    rough = {"type": "roughplastic", "alpha": solid.gloss, "nonlinear": False}
    dark = {"type": "rgb", "value": [head.inside] * 3}
    metal = head.paint if rng.random() < 0.5 else tuple(float(rng.uniform(0.15, 0.45)) for _ in range(1)) * 3
    surfaces: dict[str, Any] = {
        "paint": {**rough, "diffuse_reflectance": paint},
        "inside": {"type": "diffuse", "reflectance": dark},
        "metal": {**rough, "diffuse_reflectance": {"type": "rgb", "value": list(metal)}},
        "slot": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.015}},
    }
    shapes: dict[str, Any] = {
        f"of_{name}": {"type": "twosided", "surface": surface} for name, surface in surfaces.items()
    }
    made = {"hood": "paint", "ring": "paint"}
    for name, mesh in solid.parts.items():
        if mesh.n:
            path = _write(mesh, folder / f"{name}.ply", 0.9)
            shapes[name] = {
                "type": "ply", "filename": str(path), "face_normals": True,
                "bsdf": {"type": "ref", "id": f"of_{made.get(name, name)}"},
            }  # fmt: skip
    deep = float(np.exp(rng.normal(0.0, 0.6)))
    clear = float(rng.uniform(0.02, 0.2))
    for i, lens in enumerate(solid.lenses):
        colour = [min(c * deep, 0.6) for c in GLASS[lens.glass]] if lens.glass != "clear" else [clear] * 3
        shapes[f"lens{i}"] = {
            "type": "ply", "filename": str(_write(lens.mesh, folder / f"lens{i}.ply", None)),
            "face_normals": False,
            "bsdf": {"type": "roughplastic", "alpha": 0.03 + 0.15 * head.sky_in_glass, "nonlinear": True,
                     "diffuse_reflectance": {"type": "rgb", "value": colour}},
        }  # fmt: skip
    return shapes


def _write(mesh: Mesh, path: Path, texture: float | None) -> Path:
    """A binary PLY; `texture` scales metres to texture places about the middle, None keeps the places."""
    xyz, uv = np.concatenate(mesh.vertices), np.concatenate(mesh.places)
    if texture is not None:
        uv = uv * texture + 0.5
    faces = np.concatenate(mesh.faces)
    rows = np.empty(len(faces), np.dtype([("n", "u1"), ("i", "<i4", 3)]))
    rows["n"], rows["i"] = 3, faces
    header = (
        f"ply\nformat binary_little_endian 1.0\nelement vertex {len(xyz)}\n"
        + "".join(f"property float {n}\n" for n in ("x", "y", "z", "u", "v"))
        + f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    path.write_bytes(header.encode() + np.hstack([xyz, uv]).astype("<f4").tobytes() + rows.tobytes())
    return path


def _bitmap(picture: Array) -> dict[str, Any]:
    return {"type": "bitmap", "bitmap": mi.Bitmap(np.ascontiguousarray(picture)), "raw": True,
            "wrap_mode": "mirror"}  # fmt: skip


def _blotched(rng: np.random.Generator, paint: tuple[float, float, float], wear: float) -> dict[str, Any]:
    """Paint that has stood outdoors: blotches, streaks that run down, rust, dust."""
    n = 256
    grain = noise(rng, n, n, float(rng.uniform(30, 160)))
    streaks = np.repeat(noise(rng, 8, n, 10.0), n // 8, 0)
    streaks = cv2.GaussianBlur(streaks, (1, 41), 0)
    shade = 1 + (0.05 + 0.28 * wear) * grain + 0.14 * wear * streaks
    albedo = np.asarray(paint, np.float32) * np.maximum(shade, 0.15)[..., None]
    if wear > 0.7:
        rust = np.clip(1.4 * grain - 1.4, 0, 1)[..., None]
        albedo = albedo + rust * (np.asarray((0.15, 0.065, 0.03), np.float32) - albedo)
    dust = float(rng.uniform(0, 0.05)) * wear
    return _bitmap(np.clip(albedo + dust, 0.004, 0.85).astype(np.float32))


def _sky(rng: np.random.Generator) -> dict[str, Any]:
    """A dome: sky, perhaps clouds, a skyline of trees, the ground; an upright white front gets 1."""
    h, w = 96, 192
    el = (0.5 - (np.arange(h, dtype=np.float32) + 0.5) / h)[:, None] * np.float32(math.pi)
    up = float(np.exp(rng.normal(0.1, 0.5)))  # zenith over horizon
    sky = 1 + (up - 1) * np.sin(np.maximum(el, 0))
    sky = sky * (1 + float(rng.uniform(0, 0.4)) * noise(rng, h, w, float(rng.uniform(20, 60))))
    ground = float(rng.uniform(0.12, 0.4)) * (1 + 0.2 * noise(rng, h, w, 30.0))
    line = float(rng.uniform(0.0, 0.3)) * (1 + 0.5 * noise(rng, 1, w, 24.0, 1.0)[0])
    trees = el < np.maximum(line, 0)[None, :]
    dome = np.where(el < 0, ground, np.where(trees, 0.1 * ground, np.maximum(sky, 0.05)))
    rgb = np.repeat(dome[..., None], 3, -1)
    rgb[np.broadcast_to(el[..., None] < 0, rgb.shape)] *= 1.0
    warm = np.where(
        (el < 0)[..., None], (1.1, 1.0, 0.85), np.where(trees[..., None], (0.95, 1.1, 0.8), (1, 1, 1))
    )
    rgb = (rgb * warm).astype(np.float32)
    # Of an upright front: the mean over azimuth of cos(az) before it is 1 / pi of the whole turn.
    step = math.pi / h
    row = rgb.mean((1, 2))
    given = float((row[:, None] * np.cos(el) ** 2 * step).sum() * 2 / math.pi)
    return {"type": "envmap", "bitmap": mi.Bitmap(rgb / np.float32(given))}


def _lamps(
    rng: np.random.Generator, solid: Solid, sensor: dict[str, Any], shapes: dict[str, Any]
) -> list[Array]:
    """Each lens burning alone, (h, w): three at once, as red, green and blue."""
    head, out = solid.head, []
    faces = _face(rng, head.texture)
    for first in range(0, len(solid.lenses), 3):
        burning = dict(shapes)
        some = range(first, min(first + 3, len(solid.lenses)))
        for channel, i in enumerate(some):
            rgb = np.zeros((*faces.shape, 3), np.float32)
            rgb[..., channel] = faces
            burning[f"lens{i}"] = {
                **shapes[f"lens{i}"],
                "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}},
                "emitter": {"type": "area", "radiance": _bitmap(rgb)},
            }  # fmt: skip
        light, _ = _render(sensor, burning, {})
        out += [_calm(light[..., channel]) for channel in range(len(some))]
    return out


def _face(rng: np.random.Generator, texture: str) -> Array:
    """A lens's own light over its face, 96 x 96, about 1 where it is brightest."""
    y, x = (np.mgrid[0:96, 0:96].astype(np.float32) + 0.5) / 48 - 1
    ox, oy = rng.normal(0, 0.12, 2)
    d2 = (x - np.float32(ox)) ** 2 + (y - np.float32(oy)) ** 2
    if texture == "even":
        light = 0.8 + 0.2 * np.exp(-2 * d2)
    elif texture == "hot":
        light = 0.3 + 0.7 * np.exp(-d2 * float(rng.uniform(2, 6)))
    elif texture == "rings":
        light = (0.6 + 0.35 * np.cos(np.sqrt(x * x + y * y) * float(rng.uniform(14, 26)))) * (
            0.45 + 0.55 * np.exp(-2 * d2)
        )
    else:
        k = float(rng.uniform(3.5, 7.5)) * math.pi
        light = 0.75 + float(rng.uniform(0.15, 0.5)) * np.cos(k * x) * np.cos(k * y)
    return np.asarray(np.clip(light, 0.05, 1), np.float32)


def _render(sensor: dict[str, Any], shapes: dict[str, Any], lights: dict[str, Any]) -> tuple[Array, Array]:
    """Radiance (h, w, 3), black beside the head, and what the head covers (h, w)."""
    scene = mi.load_dict({
        "type": "scene", "integrator": {"type": "path", "max_depth": BOUNCES, "hide_emitters": bool(lights)},
        "sensor": sensor, **shapes, **lights,
    })  # fmt: skip
    found = np.array(mi.render(scene), np.float32)
    return found[..., :3], np.clip(found[..., 3], 0, 1)


def _clean(light: Array, cover: Array) -> Array:
    """Grain taken off, and colours carried on beyond the edge, so that they can be scaled."""
    out = light
    rim, weight = out * cover[..., None], cover
    spread, near = out, cover
    for k in (3, 7, 21, 81):
        wide = cv2.blur(rim, (k, k)) / np.maximum(cv2.blur(weight, (k, k)), 1e-4)[..., None]
        use = (near < 0.5)[..., None] & (cv2.blur(weight, (k, k)) > 2e-3)[..., None]
        spread = np.where(use, wide, spread)
        near = np.where(use[..., 0], np.float32(1), near)
    return _calm(np.asarray(spread, np.float32))


def _calm(light: Array) -> Array:
    root = np.sqrt(np.maximum(light, 0)).astype(np.float32)
    return np.asarray(cv2.bilateralFilter(root, 5, 0.05, 1.2) ** 2, np.float32)


def _in_place(layer: Array, spot: Points, reach: float, name: str) -> None:
    """The light of a lens must lie where its centre is said to be, or the asset would teach a lie."""
    y, x = np.nonzero(layer > 0.3)
    far = np.hypot(x + 0.5 - spot[0], y + 0.5 - spot[1]) > reach
    if far.sum() > 0.05 * len(far) + 4:
        raise ValueError(f"{name}: {far.sum()} of {len(far)} lit px lie beside their lens")


if __name__ == "__main__":
    main()
