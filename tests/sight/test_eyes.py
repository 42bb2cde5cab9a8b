"""Weights are those of the manifest, or there are no eyes."""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.sight import eyes as e


def weights() -> bytes:
    """A network that answers with its pixels, as float32."""
    onnx = pytest.importorskip("onnx")
    kinds = onnx.TensorProto
    node = onnx.helper.make_node("Cast", ["pixels"], ["out"], to=kinds.FLOAT)
    shape = ["n", "h", "w", "c"]
    graph = onnx.helper.make_graph(
        [node], "same",
        [onnx.helper.make_tensor_value_info("pixels", kinds.UINT8, shape)],
        [onnx.helper.make_tensor_value_info("out", kinds.FLOAT, shape)],
    )  # fmt: skip
    model = onnx.helper.make_model(graph, opset_imports=[onnx.helper.make_opsetid("", 17)], ir_version=8)
    return model.SerializeToString()


def installed(folder: Path, data: bytes, **changes: object) -> Path:
    """A models folder of three networks of those bytes; `changes` go into the manifest."""
    models = {}
    for part in e.PARTS:
        (folder / f"{part}.onnx").write_bytes(data)
        models[part] = {
            "file": f"{part}.onnx", "sha256": hashlib.sha256(data).hexdigest(), "version": "7",
            "input": [0, 32, 32, 3], "outputs": ["out"], "licence": "MIT", "training": {"pictures": 3},
        }  # fmt: skip
    manifest = {"schema": 1, "models": models, "calibration": {"fitted_on": "nothing"}} | changes
    (folder / "MANIFEST.json").write_text(json.dumps(manifest))
    return folder


def test_sound_weights_run_and_are_named_by_version_and_hash(tmp_path):
    data = weights()
    eyes = e.load_eyes(installed(tmp_path, data))
    pixels = np.arange(2 * 3 * 4 * 3, dtype=np.uint8).reshape(2, 3, 4, 3)
    for net in (eyes.finder, eyes.reader, eyes.plates):
        out = net.run(pixels)
        assert out.dtype == np.float32
        assert (out == pixels).all()
    short = hashlib.sha256(data).hexdigest()[:12]
    assert eyes.names == {part: f"litlamp-{part}-7@{short}" for part in e.PARTS}
    assert eyes.calibration == e.Calibration("nothing")


@pytest.mark.parametrize("part", e.PARTS)
@pytest.mark.parametrize("blow", ["flip", "cut", "grow", "empty"])
def test_altered_weights_are_refused(tmp_path, part, blow):
    data = weights()
    place = installed(tmp_path, data)
    altered = {
        "flip": bytes([data[0] ^ 1]) + data[1:], "cut": data[:-1], "grow": data + b"\0", "empty": b"",
    }[blow]  # fmt: skip
    (place / f"{part}.onnx").write_bytes(altered)
    with pytest.raises(e.EyesError, match=f"{part}.onnx are not those the manifest names"):
        e.load_eyes(place)


def test_missing_weights_are_told_by_name(tmp_path):
    place = installed(tmp_path, b"x")
    (place / "reader.onnx").unlink()
    entry = e.read_manifest(place).models["reader"]
    with pytest.raises(e.EyesError, match=r"reader\.onnx cannot be read"):
        e.checked_bytes(place, entry)


def test_weights_that_are_no_network_are_refused_though_their_hash_is_right(tmp_path):
    with pytest.raises(e.EyesError, match="cannot be loaded"):
        e.load_eyes(installed(tmp_path, b"no network"))


def test_no_manifest_no_eyes(tmp_path):
    with pytest.raises(e.EyesError, match="missing from this installation"):
        e.models_folder(tmp_path)
    with pytest.raises(e.EyesError, match="missing from this installation"):
        e.load_eyes(tmp_path)
    with pytest.raises(e.EyesError, match="cannot be read"):
        e.read_manifest(tmp_path)


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "null", '{"schema": 1}', '{"schema": "one", "models": {}, "calibration": {}}',
             '{"schema": 1, "models": {}, "calibration": {}}', "\udcff"],
)  # fmt: skip
def test_a_manifest_that_is_none_is_refused(tmp_path, text):
    (tmp_path / "MANIFEST.json").write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(e.EyesError, match="manifest"):
        e.read_manifest(tmp_path)


def test_a_manifest_without_all_parts_is_refused(tmp_path):
    installed(tmp_path, b"x", models={})
    with pytest.raises(e.EyesError, match="lacks finder, reader, plates"):
        e.read_manifest(tmp_path)


def test_a_manifest_may_leave_out_what_calibration_has_by_default_and_carry_what_is_unknown(tmp_path):
    installed(tmp_path, b"x", calibration={"fitted_on": "seeds", "witness_colour": 0.25, "of_later": 3})
    tuned = e.read_manifest(tmp_path).calibration
    assert tuned.witness_colour == 0.25
    assert tuned.geometry_weight == e.Calibration("").geometry_weight


def test_a_given_folder_is_the_only_place_looked_at(tmp_path):
    assert e.models_folder(installed(tmp_path, b"x")) == tmp_path


LOGITS = st.lists(st.floats(-500, 500), min_size=2, max_size=6)


@given(logits=LOGITS, temperature=st.floats(0.05, 20))
def test_softmax_sums_to_one_and_keeps_the_order(logits, temperature):
    p = e.softmax(np.array(logits, np.float32), temperature)
    assert p.sum() == pytest.approx(1.0)
    assert (p >= 0).all()
    assert (np.diff(p[np.argsort(logits)]) >= 0).all()


@given(logits=LOGITS, shift=st.floats(-100, 100))
def test_softmax_knows_no_shift_and_is_scipys(logits, shift):
    special = pytest.importorskip("scipy.special")
    z = np.array(logits, np.float64)
    assert e.softmax(z) == pytest.approx(special.softmax(z), abs=1e-12)
    assert e.softmax(z + shift) == pytest.approx(e.softmax(z), abs=1e-9)


@given(logit=st.floats(-1e6, 1e6), temperature=st.floats(0.1, 10))
def test_logistic_is_a_probability_and_its_mirror(logit, temperature):
    p = e.logistic(logit, temperature)
    assert 0 < p <= 1
    assert e.logistic(-logit, temperature) == pytest.approx(1 - p, abs=1e-12)
    if abs(logit / temperature) < 30:
        assert math.log(p) - math.log1p(-p) == pytest.approx(logit / temperature, abs=1e-2, rel=1e-3)


@given(logit=st.floats(0.1, 30))
def test_a_higher_temperature_is_less_sure(logit):
    assert e.logistic(logit, 2.0) < e.logistic(logit, 1.0)
