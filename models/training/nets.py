"""The three small networks. All take uint8 pictures, colour order R G B, and scale them inside the graph."""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

from targets import N_MAPS, PLATE_KINDS, READER_OUT


class Separable(nn.Module):
    """Depthwise then pointwise convolution with a residual where shapes allow."""

    def __init__(self, cin: int, cout: int, stride: int = 1, kernel: int = 3) -> None:
        super().__init__()
        self.depth = nn.Conv2d(cin, cin, kernel, stride, kernel // 2, groups=cin, bias=False)
        self.norm_d = nn.BatchNorm2d(cin)
        self.expand = nn.Conv2d(cin, cout, 1, bias=False)
        self.norm_e = nn.BatchNorm2d(cout)
        self.same = stride == 1 and cin == cout
        if self.same:
            # Begins as nothing but its input (Goyal et al. 2017, "Accurate, Large Minibatch SGD", 5.1): a
            # block added to trained networks leaves them as they were.
            nn.init.zeros_(self.norm_e.weight)

    def forward(self, x: Tensor) -> Tensor:
        y = functional.relu(self.norm_d(self.depth(x)))
        y = self.norm_e(self.expand(y))
        return functional.relu(x + y) if self.same else functional.relu(y)


def stem(cout: int) -> nn.Sequential:
    return nn.Sequential(nn.Conv2d(3, cout, 3, 2, 1, bias=False), nn.BatchNorm2d(cout), nn.ReLU())


def stage(cin: int, cout: int, depth: int, kernel: int = 3) -> nn.Sequential:
    return nn.Sequential(
        Separable(cin, cout, 2, kernel), *(Separable(cout, cout, 1, kernel) for _ in range(depth))
    )


def prepared(x: Tensor) -> Tensor:
    """uint8 (N, H, W, 3) to float (N, 3, H, W) about -1 to 1."""
    return x.permute(0, 3, 1, 2).float() * (2 / 255) - 1


FINEST = 64
"""Channels of the finder's finest maps."""


class Finder(nn.Module):
    """uint8 (N, H, W, 3), H and W multiples of 32 -> (N, N_MAPS, H/4, W/4); heats are after the sigmoid."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = stem(24)
        self.s4 = stage(24, 48, 2)
        self.s8 = stage(48, 96, 4)
        self.s16 = stage(96, 144, 7, 5)
        self.s32 = stage(144, 192, 6, 5)
        self.l32, self.l16, self.l8 = nn.Conv2d(192, 96, 1), nn.Conv2d(144, 96, 1), nn.Conv2d(96, 96, 1)
        self.f16, self.f8 = Separable(96, 96), Separable(96, 96)
        # The finest maps cost most, so they are the narrowest.
        self.n8, self.l4 = nn.Conv2d(96, FINEST, 1), nn.Conv2d(48, FINEST, 1)
        self.f4 = nn.Sequential(Separable(FINEST, FINEST), Separable(FINEST, FINEST))
        self.out = nn.Sequential(nn.Conv2d(FINEST, FINEST, 1), nn.ReLU(), nn.Conv2d(FINEST, N_MAPS, 1))
        with torch.no_grad():
            self.out[-1].bias.zero_()
            for i in (0, 15):
                self.out[-1].bias[i] = -4.0

    def features(self, x: Tensor) -> Tensor:
        s4 = self.s4(self.stem(prepared(x)))
        s8 = self.s8(s4)
        s16 = self.s16(s8)
        s32 = self.s32(s16)
        up = functional.interpolate
        p16 = self.f16(self.l16(s16) + up(self.l32(s32), scale_factor=2.0, mode="nearest"))
        p8 = self.f8(self.l8(s8) + up(p16, scale_factor=2.0, mode="nearest"))
        return self.f4(self.l4(s4) + up(self.n8(p8), scale_factor=2.0, mode="nearest"))

    def logits(self, x: Tensor) -> Tensor:
        return self.out(self.features(x))

    def forward(self, x: Tensor) -> Tensor:
        y = self.logits(x)
        return torch.cat([y[:, :1].sigmoid(), y[:, 1:15], y[:, 15:16].sigmoid(), y[:, 16:]], 1)


class Reader(nn.Module):
    """uint8 (N, 384, 144, 4): R G B and a mark where heads were found -> logits (N, READER_OUT)."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = nn.Sequential(nn.Conv2d(4, 32, 3, 2, 1, bias=False), nn.BatchNorm2d(32), nn.ReLU())
        self.body = nn.Sequential(
            Separable(32, 32),
            stage(32, 64, 3),
            stage(64, 112, 6),
            stage(112, 160, 6, 5),
            stage(160, 224, 5, 5),
        )  # (N, 224, 12, 5)
        self.squeeze = nn.Sequential(nn.Conv2d(224, 64, 1), nn.ReLU())
        self.out = nn.Sequential(
            nn.Flatten(), nn.Dropout(0.1), nn.Linear(64 * 60, 256), nn.ReLU(), nn.Linear(256, READER_OUT)
        )

    def forward(self, x: Tensor) -> Tensor:
        y: Tensor = self.out(self.squeeze(self.body(self.stem(prepared(x)))))
        return y


class PlateReader(nn.Module):
    """uint8 (N, 40, 40, 3) plate crops -> logits (N, kinds): A, R, L, DV, number, other or illegible."""

    def __init__(self) -> None:
        super().__init__()
        self.body = nn.Sequential(
            nn.Conv2d(3, 32, 3, 1, 1, bias=False), nn.BatchNorm2d(32), nn.ReLU(),
            Separable(32, 48, 2), Separable(48, 48), Separable(48, 96, 2), Separable(96, 96),
            Separable(96, 128, 2), Separable(128, 128),
        )  # fmt: skip
        self.out = nn.Sequential(nn.Flatten(), nn.Dropout(0.1), nn.Linear(128 * 25, len(PLATE_KINDS)))

    def forward(self, x: Tensor) -> Tensor:
        y: Tensor = self.out(self.body(prepared(x)))
        return y
