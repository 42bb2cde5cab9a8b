"""What a lens does to light before the sensor clips it: blur, glare, fringes, rays and ghosts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from litlamp.scene.light import Radiance


@dataclass(frozen=True, slots=True)
class Lens:
    """A lens and how it was held. Lengths in px of the picture before any digital zoom.

    Attributes
    ----------
    soft : sigma of its softness; `defocus` radius of the disc a point becomes.
    motion : (length, angle in radians) of the shake.
    glare : share of all light thrown into halos of about 2, 4, 8, 16, 32 .. px; the sum stays below 1.
    fringe : (dx, dy) by which red lies off green; blue lies as far the other way.
    rays : (number, share of light, angle): the star that aperture blades make of bright points.
    ghost : (share, x, y, size): a faint picture of the lights, turned about (x, y) in shares of the picture.
    """

    soft: float = 0.0
    defocus: float = 0.0
    motion: tuple[float, float] = (0.0, 0.0)
    glare: tuple[float, ...] = ()
    fringe: tuple[float, float] = (0.0, 0.0)
    rays: tuple[int, float, float] = (0, 0.0, 0.0)
    ghost: tuple[float, float, float, float] = (0.0, 0.5, 0.5, 1.0)


def through(light: Radiance, lens: Lens, hot: float = 2.0) -> Radiance:
    """Light (H, W, 3), linear, as it falls on the sensor; rays and ghosts show of what is over `hot`.

    No light is lost or made but at the picture's edges; the array given is not written to.
    """
    out = light
    if lens.rays[1] > 0:
        out = out + _rays(_hot(light, hot), lens)
    if lens.ghost[0] > 0:
        out = out + _ghost(_hot(light, hot), lens)
    if sum(lens.glare) > 0:
        out = _glare(out, lens.glare)
    if lens.soft > 0.25:
        out = np.asarray(cv2.GaussianBlur(out, (0, 0), lens.soft), np.float32)
    if lens.defocus > 0.4:
        out = np.asarray(cv2.filter2D(out, -1, _disc(lens.defocus)), np.float32)
    if lens.motion[0] > 0.7:
        out = np.asarray(cv2.filter2D(out, -1, _stroke(*lens.motion)), np.float32)
    if max(abs(lens.fringe[0]), abs(lens.fringe[1])) > 0.05:
        out = _fringe(out, lens.fringe)
    return np.asarray(out, np.float32)


def _glare(light: Radiance, shares: tuple[float, ...]) -> Radiance:
    """Halos by ever smaller pictures: each is a wider blur at a quarter of the cost."""
    steps = [light]
    while len(steps) <= len(shares) and min(steps[-1].shape[:2]) >= 4:
        steps.append(np.asarray(cv2.pyrDown(steps[-1]), np.float32))
    halo = np.zeros_like(steps[-1])
    for step, share in reversed(list(zip(steps[1:], shares, strict=False))):
        halo = step * np.float32(share) + _enlarged(halo, step)
    kept = 1.0 - sum(shares[: len(steps) - 1])
    return np.asarray(cv2.scaleAdd(light, kept, _enlarged(halo, light)), np.float32)


def _enlarged(small: Radiance, like: Radiance) -> Radiance:
    if small.shape == like.shape:
        return small
    return np.asarray(cv2.resize(small, (like.shape[1], like.shape[0]), interpolation=cv2.INTER_LINEAR))


def _disc(radius: float) -> Radiance:
    reach = math.ceil(radius)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.clip(radius + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
    return np.asarray(disc / disc.sum(), np.float32)


def _stroke(length: float, angle: float) -> Radiance:
    mid = math.ceil(length / 2)
    stroke = np.zeros((2 * mid + 1, 2 * mid + 1), np.float32)
    dx, dy = math.cos(angle) * length / 2, math.sin(angle) * length / 2
    ends = [(round((mid + s * dx) * 16), round((mid + s * dy) * 16)) for s in (-1, 1)]
    cv2.line(stroke, ends[0], ends[1], (1.0,), 1, cv2.LINE_8, 4)
    return np.asarray(stroke / stroke.sum(), np.float32)


def _fringe(light: Radiance, by: tuple[float, float]) -> Radiance:
    h, w = light.shape[:2]
    planes = list(cv2.split(light))
    for i, way in ((0, 1.0), (2, -1.0)):
        shift = np.array([[1, 0, way * by[0]], [0, 1, way * by[1]]], np.float32)
        planes[i] = cv2.warpAffine(planes[i], shift, (w, h), borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(cv2.merge(planes), np.float32)


def _hot(light: Radiance, level: float) -> Radiance:
    return np.asarray(cv2.threshold(light, level, 0, cv2.THRESH_TOZERO)[1], np.float32)


def _rays(hot: Radiance, lens: Lens) -> Radiance:
    number, share, turn = lens.rays
    reach = 22
    star = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
    for i in range(number):
        a = turn + 2 * math.pi * i / number
        for d in range(2, reach):
            x, y = reach + d * math.cos(a), reach + d * math.sin(a)
            star[round(y), round(x)] += (1 - d / reach) / d
    star *= np.float32(share) / star.sum()
    return np.asarray(cv2.filter2D(hot, -1, star), np.float32)


def _ghost(hot: Radiance, lens: Lens) -> Radiance:
    share, cx, cy, size = lens.ghost
    h, w = hot.shape[:2]
    x, y = cx * w, cy * h
    turn = np.array([[-size, 0, x + size * x], [0, -size, y + size * y]], np.float32)
    ghost = cv2.warpAffine(hot, turn, (w, h))
    return np.asarray(cv2.GaussianBlur(ghost, (0, 0), 1.5) * np.float32(share / size**2), np.float32)
