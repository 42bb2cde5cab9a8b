"""Turns exported networks back into weights that training can begin from.

    python models/training/thaw.py --to .data/start

An exported network has its normalisations folded into the convolutions before them. Here each fold is undone
for pictures of the training kind: the normalisation is given the mean and spread that its inputs truly have,
and the scale and shift that cancel them, so the network answers as before, and learns on.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch import Tensor, nn

from data import lesson
from nets import Finder, PlateReader, Reader

MODELS = Path(__file__).resolve().parents[1]
CHECKS = 160


def folded(path: Path) -> list[tuple[Tensor, Tensor | None]]:
    """Weight and bias of every convolution and full layer, in the order in which they run."""
    graph = onnx.load(str(path)).graph
    stored = {t.name: torch.from_numpy(numpy_helper.to_array(t).copy()) for t in graph.initializer}
    for node in graph.node:
        if node.op_type == "Cast" and node.input[0] in stored:  # kept in half precision
            stored[node.output[0]] = stored[node.input[0]].float()
    out = []
    for node in graph.node:
        if node.op_type in ("Conv", "Gemm"):
            out.append((stored[node.input[1]], stored[node.input[2]] if len(node.input) > 2 else None))
    return out


def thaw(net: nn.Module, layers: list[tuple[Tensor, Tensor | None]], example: Tensor) -> None:
    """Fill a new network; layers whose shape has changed since keep their fresh weights."""
    order: list[nn.Module] = []
    hooks = [
        m.register_forward_hook(lambda m, *_: order.append(m))
        for m in net.modules()
        if isinstance(m, (nn.Conv2d, nn.Linear, nn.BatchNorm2d))
    ]
    net.eval()
    with torch.no_grad():
        net(example[:2])
    for hook in hooks:
        hook.remove()
    shifts: dict[nn.Module, Tensor] = {}
    left = iter(layers)
    for at, module in enumerate(order):
        if isinstance(module, nn.BatchNorm2d):
            continue
        weight, bias = next(left)
        if weight.shape != module.weight.shape:
            print(f"fresh: {tuple(module.weight.shape)}, was {tuple(weight.shape)}")
            continue
        module.weight.data.copy_(weight)
        after = order[at + 1] if at + 1 < len(order) else None
        if module.bias is not None and bias is not None:
            module.bias.data.copy_(bias)
        elif isinstance(after, nn.BatchNorm2d) and bias is not None:
            shifts[after] = bias

    def settle(module: nn.Module, inputs: tuple[Tensor, ...]) -> None:
        assert isinstance(module, nn.BatchNorm2d)
        mean, spread = inputs[0].mean((0, 2, 3)), inputs[0].var((0, 2, 3))
        module.running_mean.copy_(mean)  # type: ignore[union-attr]
        module.running_var.copy_(spread)  # type: ignore[union-attr]
        module.weight.data.copy_((spread + module.eps).sqrt())
        module.bias.data.copy_(mean + shifts[module])

    settling = [m.register_forward_pre_hook(settle) for m in order if m in shifts]
    with torch.no_grad():
        net(example)
    for one in settling:
        one.remove()


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--to", type=Path, required=True)
    args = parser.parse_args()
    args.to.mkdir(parents=True, exist_ok=True)
    drawn = [lesson(seed) for seed in range(1, CHECKS + 1)]
    rgb, windows, plates = (np.stack([d[i] for d in drawn]) for i in (0, 4, 7))
    examples = {"finder": rgb, "reader": windows[:, 0], "plates": plates[:, 0]}
    state = {}
    for part, make in (("finder", Finder), ("reader", Reader), ("plates", PlateReader)):
        net = make()
        thaw(net, folded(MODELS / f"{part}.onnx"), torch.from_numpy(examples[part]))
        state[part] = net.state_dict()
    torch.save(state, args.to / "weights.pt")


if __name__ == "__main__":
    main()
