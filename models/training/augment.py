"""What is done to lessons each time they are looked at again: mirrored, and developed by another hand.

All on the accelerator and at random, so that a lesson drawn once is not the same picture twice. Changes of
tone and colour stay small: a strong one would make a yellow of a red whose truth does not change with it.
"""

from __future__ import annotations

import torch
from torch import Tensor

from targets import FINDER_MAPS, READER_NAMES

_LETTERS = [READER_NAMES.index(f"plate_{kind}") for kind in ("R", "L", "DV")]
_K = {name: i for i, name in enumerate(FINDER_MAPS)}


def mirrored_lessons(rgb: Tensor, maps: Tensor, weight: Tensor, at: Tensor, chosen: Tensor) -> list[Tensor]:
    """Mirror the chosen pictures left to right, and the finder's answers with them.

    Parameters
    ----------
    rgb : uint8 (N, H, W, 3); maps, weight, at : (N, channels, H / 4, W / 4).
    chosen : bool (N,).
    """
    turned = maps.flip(3).clone()
    left, right = _K["left"], _K["right"]
    turned[:, [left, right]] = turned[:, [right, left]]
    turned[:, _K["vote_x"]].neg_()
    # A place within its cell, in cells, is measured from the cell's left edge: mirrored, from the other.
    where = (at.flip(3) > 0).to(maps.dtype)
    for name, part in (("dx", 0), ("plate_dx", 1)):
        turned[:, _K[name]] = (1 - turned[:, _K[name]]) * where[:, part]
    return [
        torch.where(chosen.view(-1, 1, 1, 1), new, old)
        for new, old in ((rgb.flip(2), rgb), (turned, maps), (weight.flip(3), weight), (at.flip(3), at))
    ]


def mirrored_windows(windows: Tensor, answers: Tensor, chosen: Tensor) -> Tensor:
    """Mirror the chosen reader windows, uint8 (N, H, W, 4), but for letters that mirroring spoils."""
    free = answers[:, _LETTERS].sum(1) == 0
    return torch.where((chosen & free).view(-1, 1, 1, 1), windows.flip(2), windows)


def developed(pixels: Tensor, share: float, dice: torch.Generator) -> Tensor:
    """Tone, colour, grain and sharpness changed a little in that share of pictures.

    `pixels` is uint8 (N, H, W, C), R G B first; any further channel is left as it is.
    """
    n, device = len(pixels), pixels.device

    def normal(scale: float, channels: int = 1) -> Tensor:
        return torch.randn((n, 1, 1, channels), generator=dice, device=device) * scale

    def some(chance: float) -> Tensor:
        return torch.rand((n, 1, 1, 1), generator=dice, device=device) < chance

    rgb = pixels[..., :3]
    x = rgb.float() / 255
    x = x.clamp(min=1e-3) ** normal(0.1).exp()
    x = x * (normal(0.12) + normal(0.025, 3)).exp()
    grey = x.mean(3, keepdim=True)
    x = grey + (x - grey) * normal(0.12).exp()
    middle = x.mean((1, 2), keepdim=True)
    x = middle + (x - middle) * normal(0.12).exp()
    soft = torch.nn.functional.avg_pool2d(x.permute(0, 3, 1, 2), 3, 1, 1).permute(0, 2, 3, 1)
    # Between a little softened and a little sharpened.
    x = x + (soft - x) * normal(0.35) * some(0.5)
    grain = torch.randn(x.shape, generator=dice, device=device)
    x = x + grain * normal(0.015).abs() * some(0.5)
    new = (x.clamp(0, 1) * 255).round().to(torch.uint8)
    out = torch.where(some(share), new, rgb)
    return out if pixels.shape[3] == 3 else torch.cat([out, pixels[..., 3:]], 3)
