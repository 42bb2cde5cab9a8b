"""The trained networks and their calibration: found, checked against the manifest, and run on the CPU."""

from __future__ import annotations

import hashlib
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

PARTS = ("finder", "reader", "plates")
BESIDE = 2
"""Runs of networks that go on at once, at most: two halves of the work gain more than two threads on each."""


class EyesError(Exception):
    """Weights are missing, altered or not what the manifest says; the message is one sentence."""


class ModelEntry(msgspec.Struct, frozen=True):
    """One network in the manifest."""

    file: str
    sha256: str
    version: str
    input: list[int]
    outputs: list[str]
    licence: str
    training: dict[str, Any]


class Calibration(msgspec.Struct, frozen=True):
    """Numbers fitted on rendered scenes of their own seeds; `fitted_on` says which.

    Attributes
    ----------
    finder_colour, reader_colour : weights of the two networks' log-beliefs in the pool, for a lens of
        8 px; finder_size, reader_size : what each doubling of it adds.
    count, mount, arrangement, whole, plates : temperatures (logits are divided by them).
    head_score : a head fainter than this is not reported.
    dark_usual : log of how much seldomer, by odds, lamps are dark than in training, which has more of them.
    disagree : share of belief spread evenly for each unit of disagreement between the witnesses.
    floor, floor_score : least probability given to any colour of a lamp of usual score, and how much more it
        is the lower the finder scores the head.
    witness_colour : share of the leading colour's belief that a fully sure colour witness takes from it.
    witness_restrictive, witness_other : belief from which that witness is heard for a colour more
        restrictive than the leading one, and for any other.
    rim_red : share of another lit colour's belief that goes to red where the lamp's rim is plainly red.
    camera_red : how the log-odds for red against yellow rise for a lamp that looks far redder than another of
        the same picture that is read as yellow (see `one_camera.Bounds`).
    alike_red : by how much, at most, they rise for a lamp of a still that looks like one plainly red.
    dim_beside, dim_scene : belief that goes to dark for a lens far darker than another lit one of its signal,
        and than the bright parts of the picture.
    strange_widths : log2 of head widths, px, at which strange_usual and strange_least give the log-odds for a
        signal that three quarters, and 98 in 100, of drawn signals of that width pass; none: not used.
    strange_share : share of the belief in colours that is spread over all, and of that in every head having
        been found that is lost, for a wholly strange signal.
    geometry_weight : weight of the boxes' log-odds for staggered beside the reader's.
    geometry_jitter, geometry_px : how far a box's middle may be out, head widths and finder px.
    signal_bias, signal_heads, signal_reader : constant, and weights of the best head's and the reader's
        log-odds, in the log-odds that heads found are a signal at all.
    signal_least, unlit_least : belief in a signal below which nothing is reported, with a lit head, without.
    whole_weights, full_weights : of what speaks for all heads having been found; the second where there can
        be no more.
    head_weights : of what speaks for one found being a head of the signal; see `litlamp.sight.count`.
    edge_near : heads so near to the picture's edge, head widths, may themselves be cut.
    edge_top, edge_low : the distance from it that would still hide a head above, or below.
    plate_bias, plate_letters, plate_reader : constant, and weights of the log-odds of the letters read and of
        the reader's belief, in the log-odds that a plate of a kind is there.
    plate_usual : how often a plate of each kind, in the order of PLATES, is on a signal in training.
    plate_blank : share of the belief in an unreadable board that makes each kind unknown.
    number_shown : belief from which a number plate is said to be seen.
    """

    fitted_on: str
    finder_colour: float = 1.0
    reader_colour: float = 1.0
    finder_size: float = 0.0
    reader_size: float = 0.0
    count: float = 1.0
    mount: float = 1.0
    arrangement: float = 1.0
    whole: float = 1.0
    plates: float = 1.0
    head_score: float = 0.25
    dark_usual: float = 0.0
    disagree: float = 0.5
    floor: float = 0.001
    floor_score: float = 0.0
    witness_colour: float = 0.5
    witness_restrictive: float = 0.7
    witness_other: float = 0.9
    rim_red: float = 0.05
    camera_red: tuple[float, float, float] = (1.5, 1.0, 3.0)
    alike_red: float = 2.0
    dim_beside: float = 0.05
    dim_scene: float = 0.015
    strange_widths: tuple[float, ...] = ()
    strange_usual: tuple[float, ...] = ()
    strange_least: tuple[float, ...] = ()
    strange_share: float = 0.1
    geometry_weight: float = 1.0
    geometry_jitter: float = 0.15
    geometry_px: float = 1.0
    signal_bias: float = 0.0
    signal_heads: float = 1.0
    signal_reader: float = 1.0
    signal_least: float = 0.5
    unlit_least: float = 0.8
    whole_weights: tuple[float, ...] = (0.0, 1.0, 0.0, 0.0, -1.0, 1.0, -6.0, -3.0, -1.0, *[0.0] * 9)
    full_weights: tuple[float, ...] = (6.0, 1.0, 0.0, 0.0, -1.0)
    head_weights: tuple[float, float, float] = (1.0, 1.0, 1.0)
    edge_near: float = 0.3
    edge_top: float = 2.5
    edge_low: float = 2.0
    plate_bias: float = 0.0
    plate_letters: float = 0.7
    plate_reader: float = 0.7
    plate_usual: tuple[float, float, float, float] = (0.1, 0.1, 0.1, 0.1)
    plate_blank: float = 0.5
    number_shown: float = 0.5


class Manifest(msgspec.Struct, frozen=True):
    """models/MANIFEST.json."""

    schema: int
    models: dict[str, ModelEntry]
    calibration: Calibration


@dataclass(frozen=True, slots=True)
class Net:
    """One network: `run` takes uint8 (N, H, W, C) and returns float32."""

    name: str
    session: Any

    def run(self, pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
        """Raw answers for a batch."""
        out: NDArray[np.float32] = self.session.run(None, {"pixels": pixels})[0]
        return out


@dataclass(frozen=True, slots=True)
class Eyes:
    """All networks ready to run. `names` gives "part": "name@first twelve digits of its SHA-256".

    `beside` says how many runs may go on at once: a picture's windows are shared out among so many.
    """

    finder: Net
    reader: Net
    plates: Net
    calibration: Calibration
    names: Mapping[str, str]
    beside: int = 1


def models_folder(given: Path | None = None) -> Path:
    """Where the weights are: the argument, beside the installed code, or in the checkout.

    Raises EyesError if none of the three holds a MANIFEST.json.
    """
    here = Path(__file__).resolve()
    places = [given] if given else [here.parents[1] / "_models"]
    if not given:
        places += [p / "models" for p in here.parents if (p / "pyproject.toml").is_file()][:1]
    for place in places:
        if (place / "MANIFEST.json").is_file():
            return place
    raise EyesError("The trained networks are missing from this installation: no MANIFEST.json was found.")


def read_manifest(folder: Path) -> Manifest:
    """The manifest of that folder. Raises EyesError."""
    try:
        manifest = msgspec.json.decode((folder / "MANIFEST.json").read_bytes(), type=Manifest)
    except (OSError, msgspec.DecodeError) as error:
        raise EyesError(f"The manifest of the trained networks cannot be read: {error}.") from error
    missing = [part for part in PARTS if part not in manifest.models]
    if missing:
        raise EyesError(f"The manifest of the trained networks lacks {', '.join(missing)}.")
    return manifest


def checked_bytes(folder: Path, entry: ModelEntry) -> bytes:
    """The weights, if their SHA-256 is that of the manifest. Raises EyesError."""
    try:
        data = (folder / entry.file).read_bytes()
    except OSError as error:
        raise EyesError(f"The weights {entry.file} cannot be read: {error.strerror}.") from error
    if hashlib.sha256(data).hexdigest() != entry.sha256:
        raise EyesError(f"The weights {entry.file} are not those the manifest names; reinstall litlamp.")
    return data


@cache
def load_eyes(folder: Path | None = None, threads: int | None = None) -> Eyes:
    """Load and check every network once a process.

    Parameters
    ----------
    folder : of the weights and their manifest; see `models_folder` where not given.
    threads : processors that reading one picture may use; where not given, as the machine has, 4 at most.
        Where processes work side by side, give each 1.

    Raises
    ------
    EyesError
        where they are missing, altered or cannot be loaded.
    """
    threads = threads or min(os.cpu_count() or 1, 4)
    beside = min(threads, BESIDE)
    loaded = _loaded(folder, threads // beside)
    return loaded if beside == 1 else replace(loaded, beside=beside)


@cache
def _loaded(folder: Path | None, threads: int) -> Eyes:
    """Every network, each run on so many threads, one run at a time."""
    import onnxruntime

    place = models_folder(folder)
    manifest = read_manifest(place)
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = threads
    options.inter_op_num_threads = 1
    options.log_severity_level = 3
    # Idle threads that spin would steal the decoder's cores.
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    nets, names = {}, {}
    for part in PARTS:
        entry = manifest.models[part]
        data = checked_bytes(place, entry)
        try:
            session = onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])
        except Exception as error:
            raise EyesError(f"The weights {entry.file} cannot be loaded by onnxruntime.") from error
        if session.get_providers() != ["CPUExecutionProvider"]:
            raise EyesError("onnxruntime did not give the CPU to run on.")
        nets[part] = Net(part, session)
        names[part] = f"litlamp-{part}-{entry.version}@{entry.sha256[:12]}"
    return Eyes(nets["finder"], nets["reader"], nets["plates"], manifest.calibration, names)


def softmax(logits: NDArray[np.float32], temperature: float = 1.0) -> NDArray[np.float64]:
    """Probabilities along the last axis."""
    z = logits.astype(np.float64) / temperature
    z -= z.max(axis=-1, keepdims=True)
    e = np.exp(z)
    p: NDArray[np.float64] = e / e.sum(axis=-1, keepdims=True)
    return p


def logistic(logit: float, temperature: float = 1.0) -> float:
    """Probability of a yes."""
    z = min(max(logit / temperature, -40.0), 40.0)
    return 1.0 / (1.0 + math.exp(-z))


def log_odds(p: float, least: float = 1e-4) -> float:
    """Log of p against 1 - p, with p held off 0 and 1 by `least`."""
    p = min(max(p, least), 1.0 - least)
    return math.log(p / (1.0 - p))
