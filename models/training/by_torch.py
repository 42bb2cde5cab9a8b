"""The eyes run by PyTorch on trained weights, for machines that have no onnxruntime."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import torch

from litlamp.sight.eyes import Eyes, Net, read_manifest
from nets import Finder, PlateReader, Reader


class Session:
    """Answers like an onnxruntime session."""

    def __init__(self, net: torch.nn.Module) -> None:
        self.net = net.eval()

    def run(self, _: object, given: dict[str, Any]) -> list[Any]:
        with torch.no_grad():
            return [self.net(torch.from_numpy(np.ascontiguousarray(given["pixels"]))).numpy()]


@cache
def eyes_by_torch(weights: Path, models: Path) -> Eyes:
    """Eyes with these weights and the calibration of the manifest in `models`."""
    torch.set_num_threads(1)
    state = torch.load(weights, map_location="cpu", weights_only=True)
    nets = {}
    for part, make in (("finder", Finder), ("reader", Reader), ("plates", PlateReader)):
        net = make()
        net.load_state_dict(state[part])
        nets[part] = Net(part, Session(net))
    return Eyes(nets["finder"], nets["reader"], nets["plates"], read_manifest(models).calibration, {})
