"""What is done to lessons each time they are looked at again: mirrored, and developed by another hand.

All on the accelerator and at random, so that a lesson drawn once is not the same picture twice. `developed`
changes tone and colour a little; `other_colours` so far that a red can look like what another camera makes of
a yellow, which is to teach that colours as such do not tell.
"""

from __future__ import annotations

import math

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

    x = pixels[..., :3].float() / 255
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
    return _changed(pixels, x, some(share))


def other_colours(pixels: Tensor, share: float, dice: torch.Generator) -> Tensor:
    """That share of pictures as a camera might show them whose colours are its own; greys stay nearly grey.

    What is brightest is no longer white, hues are turned, and above all red leaks into green: an over-exposed
    red lamp turns orange with nothing in it clipped. `pixels` as for `developed`.
    """
    n, device = len(pixels), pixels.device

    def even(low: float, high: float) -> Tensor:
        return low + (high - low) * torch.rand(n, generator=dice, device=device)

    def normal(scale: float) -> Tensor:
        return torch.randn(n, generator=dice, device=device) * scale

    x = (pixels[..., :3].float() / 255).clamp(min=1e-3)
    bend = torch.stack([normal(0.1) for _ in range(3)], 1)
    x = x ** bend.exp().view(n, 1, 1, 3)
    mix = torch.zeros(n, 3, 3, device=device)
    leaks = {
        (0, 1): normal(0.05), (0, 2): normal(0.03), (1, 0): even(-0.08, 0.3), (1, 2): normal(0.05),
        (2, 0): even(-0.05, 0.12), (2, 1): normal(0.06),
    }  # fmt: skip
    for (to, of), leak in leaks.items():
        mix[:, to, of] = leak
        mix[:, to, to] -= leak
    # A turn about the greys: of hues, by radians.
    turn = normal(0.1) / math.sqrt(3)
    for to, of in ((0, 1), (1, 2), (2, 0)):
        mix[:, to, of] -= turn
        mix[:, of, to] += turn
    x = x + torch.einsum("nhwc,ndc->nhwd", x, mix)
    dimmed = torch.where(even(0.0, 1.0) < 0.5, even(0.55, 1.0), 1.0)
    x = x * dimmed.view(n, 1, 1, 1)
    return _changed(pixels, x, torch.rand((n, 1, 1, 1), generator=dice, device=device) < share)


def _changed(pixels: Tensor, rgb: Tensor, chosen: Tensor) -> Tensor:
    """The chosen pictures, bool (N, 1, 1, 1), with R G B of 0 to 1 in the place of theirs."""
    new = (rgb.clamp(0, 1) * 255).round().to(torch.uint8)
    out = torch.where(chosen, new, pixels[..., :3])
    return out if pixels.shape[3] == 3 else torch.cat([out, pixels[..., 3:]], 3)
