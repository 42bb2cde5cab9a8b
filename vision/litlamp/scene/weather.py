"""What weather does at the camera: drops, wiped wet and mist on the glass before the lens.

Streaks of rain and flakes in the air belong to the scene (clutter).
"""

from __future__ import annotations

import math

import cv2
import numpy as np

from litlamp.scene.light import Radiance


def drops(light: Radiance, rng: np.random.Generator, count: int, radius: tuple[float, float]) -> Radiance:
    """Light (H, W, 3) seen through glass with drops on it; a new array.

    Each drop is a small strong lens: it shows a wide piece of the scene upside down, and is out of focus.
    `radius` is the smallest and largest, px.
    """
    out = light.copy()
    h, w = light.shape[:2]
    for _ in range(count):
        r = float(np.exp(rng.uniform(math.log(radius[0]), math.log(radius[1]))))
        cx, cy = float(rng.uniform(0, w)), float(rng.uniform(0, h))
        pull, long = float(rng.uniform(1.5, 4)), float(rng.uniform(1, 1.3))
        soft = float(rng.uniform(0.1, 0.45))
        reach = math.ceil(r * long * 1.3)
        x0, y0, x1, y1 = max(int(cx) - reach, 0), max(int(cy) - reach, 0), int(cx) + reach, int(cy) + reach
        x1, y1 = min(x1, w), min(y1, h)
        if x1 - x0 < 2 or y1 - y0 < 2:
            continue
        y, x = np.mgrid[y0:y1, x0:x1].astype(np.float32)
        u, v = (x - np.float32(cx)) / np.float32(r), (y - np.float32(cy)) / np.float32(r * long)
        away = np.sqrt(u * u + v * v)
        bend = np.float32(-pull * r) * (1 + away * away)
        turned = cv2.remap(
            light, cx + u * bend, cy + v * bend, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101
        )
        seen = np.asarray(cv2.GaussianBlur(turned, (0, 0), max(soft * r / 2, 0.5)), np.float32)
        # The rim bends light from nowhere bright: darker.
        dim = rng.uniform(0.7, 1.05) * (1 - 0.35 * np.clip(away, 0, 1) ** 6)
        seen *= np.asarray(dim, np.float32)[:, :, None]
        cover = np.clip((1 - away) / np.float32(soft) + np.float32(0.5), 0, 1)[:, :, None]
        out[y0:y1, x0:x1] += cover * (seen - out[y0:y1, x0:x1])
    return out


def wiped(light: Radiance, rng: np.random.Generator, amount: float) -> Radiance:
    """Light through glass wiped while wet: long streaks across the wiper's path; a new array.

    `amount` 0 to 1 is the share of light that goes into the streaks.
    """
    length = 31
    angle = float(rng.normal(math.pi / 2, 0.4))
    kernel = np.zeros((length, length), np.float32)
    mid = length // 2
    dx, dy = math.cos(angle) * mid, math.sin(angle) * mid
    cv2.line(kernel, (round(mid - dx), round(mid - dy)), (round(mid + dx), round(mid + dy)), (1.0,), 1)
    h, w = light.shape[:2]
    small = cv2.resize(light, (max(w // 2, 1), max(h // 2, 1)), interpolation=cv2.INTER_AREA)
    streaks = cv2.filter2D(small, -1, kernel / kernel.sum())
    wide = cv2.resize(streaks, (w, h), interpolation=cv2.INTER_LINEAR)
    return np.asarray(cv2.addWeighted(light, 1 - amount, wide, amount, 0), np.float32)


def veiled(light: Radiance, amount: float, air: tuple[float, float, float]) -> Radiance:
    """Light with a share `amount` lost in mist and the light of `air` in its place; a new array."""
    return np.asarray(light * np.float32(1 - amount) + np.asarray(air, np.float32) * np.float32(amount))
