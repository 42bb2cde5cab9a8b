"""What makes signals hard to read on purpose: phantom light in dark glass, heads that darkness swallows.

A picture without any trial is painted the same, byte for byte, as if there were none to give.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from litlamp.aspects.aspect import Aspect, Lamp
from litlamp.scene.canvas import Canvas, Colour3, Sun
from litlamp.scene.light import Light
from litlamp.scene.phantom import Phantom, draw_phantoms

_DARK, _RED = Lamp("dark"), Lamp("red")


@dataclass(frozen=True, slots=True)
class Trial:
    """What is made hard in one picture.

    Attributes
    ----------
    phantoms : for each signal and each of its heads, light sent back by unlit glass; () for none.
    gloom : light on the signals as a share of what their scene gives; 1 changes nothing.
    behind : light of all that stands behind them, as a share; 1 changes nothing.
    rim : radiance along one side of the heads' edges, 0 for none; `rim_way` its direction, radians.
    glow : strength of a glow in the air behind the heads, which then stand out black; 0 for none.
    frontal : the sun, if there is one, stands behind the camera.
    """

    phantoms: tuple[tuple[Phantom | None, ...], ...] = ()
    gloom: float = 1.0
    behind: float = 1.0
    rim: float = 0.0
    rim_way: float = 0.0
    glow: float = 0.0
    frontal: bool = False

    def of(self, signal: int, heads: int) -> tuple[Phantom | None, ...]:
        """The phantoms of a signal's heads."""
        return self.phantoms[signal] if signal < len(self.phantoms) else (None,) * heads

    def turned(self, sun: Sun) -> Sun:
        """The scene's sun, brought round behind the camera where it is to fall on the glass."""
        if not self.frontal or sun.direct <= 0:
            return sun
        return replace(sun, z=abs(sun.z))

    def dimmed(self, sun: Sun) -> Sun:
        """The light that falls on the signals."""
        return replace(sun, direct=sun.direct * self.gloom, sky=sun.sky * self.gloom)

    def darken(self, canvas: Canvas, at: tuple[float, float], reach: float, tint: Colour3) -> None:
        """Dim what is painted so far, and let the air glow about `at` px, `reach` px wide."""
        if self.behind != 1:
            canvas.radiance *= np.float32(self.behind)
            canvas.glows[:] = [replace(g, luminance=g.luminance * self.behind) for g in canvas.glows]
        if self.glow > 0:
            width, height = canvas.size
            x = (np.arange(width, dtype=np.float32) - np.float32(at[0])) / np.float32(reach)
            y = (np.arange(height, dtype=np.float32) - np.float32(at[1])) / np.float32(reach)
            board = np.exp(-(y * y))[:, None] * np.exp(-(x * x))[None, :]
            canvas.radiance += board[..., None] * (np.asarray(tint, np.float32) * np.float32(self.glow))


def draw_trial(
    rng: np.random.Generator, aspects: tuple[Aspect, ...], light: Light, luminance: float
) -> tuple[Trial, tuple[Aspect, ...]]:
    """A trial for a picture, and the aspects with lamps put out so that it has something to try."""
    phantoms = tuple(draw_phantoms(rng, len(a.heads), light, luminance) for a in aspects)
    bright = any(p is not None for shown in phantoms for p in shown)
    dark = light in ("night", "dusk") and rng.random() < (0.5 if light == "night" else 0.35)
    if (bright and rng.random() < 0.5) or (dark and rng.random() < 0.45):
        aspects = tuple(put_out(rng, a) for a in aspects)
    trial = Trial(phantoms if bright else (), frontal=bright and rng.random() < 0.8)
    if not dark:
        return trial, aspects
    gloom = math.exp(rng.uniform(math.log(0.03), math.log(1.0)))
    silhouette = rng.random() < 0.3
    behind = 1.0 if silhouette else math.exp(rng.uniform(math.log(0.04), math.log(1.0)))
    rim = 0.0
    if rng.random() < (0.9 if gloom < 0.2 and not silhouette else 0.3):
        rim = math.exp(rng.uniform(math.log(0.02), math.log(0.5)))
    glow = math.exp(rng.uniform(math.log(0.05), math.log(0.8))) if silhouette else 0.0
    return replace(
        trial, gloom=gloom, behind=behind, rim=rim, rim_way=float(rng.uniform(-math.pi, math.pi)), glow=glow
    ), aspects


def put_out(rng: np.random.Generator, aspect: Aspect) -> Aspect:
    """The aspect with some of its lamps dark, mostly all but one, which is often red."""
    n = len(aspect.heads)
    if n == 1:
        return replace(aspect, heads=(_DARK,)) if rng.random() < 0.5 else aspect
    kept: set[int] = set()
    kind = rng.random()
    if kind < 0.7:
        kept = {int(rng.integers(n))}
    elif kind < 0.85:
        kept = {i for i in range(n) if rng.random() < 0.5}
    shown = _RED if rng.random() < 0.3 else None
    return replace(
        aspect, heads=tuple((shown or h) if i in kept else _DARK for i, h in enumerate(aspect.heads))
    )


__all__ = ["Trial", "draw_trial", "put_out"]
