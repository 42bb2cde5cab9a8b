"""Writes the trained networks as ONNX, checks them against PyTorch, and writes models/MANIFEST.json.

python models/training/export.py .data/run --version 1
"""

from __future__ import annotations

import argparse
import hashlib
import json
from pathlib import Path

import numpy as np
import onnx
import onnxruntime
import torch
from onnx import TensorProto, helper, numpy_helper
from torch import nn

from data import lesson
from litlamp.sight.crop import READER_HEIGHT, READER_WIDTH
from nets import Finder, PlateReader, Reader
from targets import FINDER_MAPS, PLATE_KINDS, READER_NAMES

MODELS = Path(__file__).resolve().parents[1]
PARTS = {
    "finder": (Finder, (160, 160, 3), list(FINDER_MAPS), True),
    "reader": (Reader, (READER_HEIGHT, READER_WIDTH, 4), READER_NAMES, False),
    "plates": (PlateReader, (40, 40, 3), list(PLATE_KINDS), False),
}

HALVED_FROM = 100_000
"""Weights of a layer from which they are kept in half precision."""


def pictures_hash(first_seed: int, count: int = 64) -> str:
    """SHA-256 over the first training pictures, drawn without photographs, for whoever draws them anew."""
    digest = hashlib.sha256()
    for seed in range(first_seed, first_seed + count):
        digest.update(lesson(seed)[0].tobytes())
    return digest.hexdigest()


def rounded(net: nn.Module) -> None:
    """Round the weights of full layers, which take most of the room, to the half precision kept of them."""
    for layer in net.modules():
        if isinstance(layer, nn.Linear):
            layer.weight.data = layer.weight.data.half().float()


def halved(model: onnx.ModelProto) -> None:
    """Keep large weights that lose nothing by it in half precision, widened when the network is loaded."""
    for at, stored in enumerate(model.graph.initializer):
        values = numpy_helper.to_array(stored)
        half = values.astype(np.float16)
        if values.dtype != np.float32 or values.size < HALVED_FROM or not np.array_equal(half, values):
            continue
        name = stored.name
        model.graph.initializer[at].CopyFrom(numpy_helper.from_array(half, f"{name}_half"))
        widen = helper.make_node("Cast", [f"{name}_half"], [name], to=TensorProto.FLOAT)
        model.graph.node.insert(0, widen)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("run", type=Path)
    parser.add_argument("--version", required=True)
    args = parser.parse_args()
    weights = torch.load(args.run / "weights.pt", map_location="cpu", weights_only=True)
    training = json.loads((args.run / "training.json").read_text())
    training["first_64_pictures_sha256"] = pictures_hash(training["first_seed"])
    old = json.loads((MODELS / "MANIFEST.json").read_text()) if (MODELS / "MANIFEST.json").exists() else {}
    entries = {}
    for part, (make, shape, names, any_size) in PARTS.items():
        net = make()
        net.load_state_dict(weights[part])
        rounded(net.eval())
        path = MODELS / f"{part}.onnx"
        example = torch.randint(0, 255, (2, *shape), dtype=torch.uint8)
        axes = {"pixels": {0: "n", **({1: "h", 2: "w"} if any_size else {})}}
        torch.onnx.export(
            net, (example,), str(path), input_names=["pixels"], output_names=["answers"],
            dynamic_axes={**axes, "answers": {0: "n"}}, opset_version=17, dynamo=False,
        )  # fmt: skip
        model = onnx.load(str(path))
        halved(model)
        for key, value in (("classes", ",".join(names)), ("version", args.version)):
            entry = model.metadata_props.add()
            entry.key, entry.value = key, value
        onnx.save(model, str(path))
        session = onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
        with torch.no_grad():
            gap = float(
                np.abs(session.run(None, {"pixels": example.numpy()})[0] - net(example).numpy()).max()
            )
        if gap > 1e-3:
            raise SystemExit(f"{part}: ONNX differs from PyTorch by {gap}")
        data = path.read_bytes()
        entries[part] = {
            "file": path.name, "sha256": hashlib.sha256(data).hexdigest(), "version": args.version,
            "input": [0, *shape], "outputs": names, "licence": "MIT", "training": training,
        }  # fmt: skip
        print(f"{part}: {len(data) / 1e6:.2f} MB, ONNX against PyTorch {gap:.1e}")
    calibration = old.get("calibration", {"fitted_on": "not fitted"})
    manifest = {"schema": 1, "models": entries, "calibration": calibration}
    (MODELS / "MANIFEST.json").write_text(json.dumps(manifest, indent=1) + "\n")


if __name__ == "__main__":
    main()
