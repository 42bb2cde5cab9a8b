"""What a result was made by: everything that changes it, so that work by two makers is never mixed."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping, Set
from importlib.metadata import PackageNotFoundError, version
from importlib.resources import files

import msgspec

from litlamp import __version__
from litlamp.aspects.aspect import Mount
from litlamp.aspects.rulebook import Rulebook
from litlamp.sight.eyes import models_folder, read_manifest

LIBRARIES = ("av", "numpy", "onnxruntime", "opencv-python", "pillow", "scikit-image")
"""Whose version can change a reading by a last digit or more."""

_ROOMS = ("aspects", "media", "report", "sight")
_FILES = ("clip_reading.py", "photo_reading.py", "source_reading.py")


def made_by(book: Rulebook, level: float, expect: Mount | None, fps: float | None) -> dict[str, str]:
    """Name -> version of everything that changes a reading: program, networks, book, options, libraries.

    Raises
    ------
    litlamp.sight.eyes.EyesError : the networks are missing.
    """
    manifest = read_manifest(models_folder())
    return {
        "litlamp": __version__,
        **{
            f"network {part}": f"{entry.version}@{entry.sha256[:12]}"
            for part, entry in manifest.models.items()
        },
        "calibration": digest(msgspec.json.encode(manifest.calibration)),
        "rulebook": f"{book.label} {digest(repr(_plain(book)).encode())}",
        "level": f"{level:g}",
        "expect": expect or "not given",
        "fps": "not given" if fps is None else f"{fps:g}",
        "code": _digest_of_code(),
        **{name: library_version(name) for name in LIBRARIES},
    }


def run_name(by: Mapping[str, str]) -> str:
    """Names a maker; the same for every session of a run, so that its lines are the same."""
    return digest(msgspec.json.encode(by, order="sorted"))


def library_version(name: str) -> str:
    """The version of an installed library, or "not installed"."""
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


def digest(data: bytes) -> str:
    """The first twelve digits of the SHA-256."""
    return hashlib.sha256(data).hexdigest()[:12]


def _digest_of_code() -> str:
    """Of all code that a reading passes through, since one version may be under work."""
    package = files("litlamp")
    parts = [package.joinpath(name) for name in _FILES]
    for room in _ROOMS:
        held = (part for part in package.joinpath(room).iterdir() if part.is_file())
        parts += sorted(held, key=lambda part: part.name)
    return digest(b"".join(part.name.encode() + b"\0" + part.read_bytes() for part in parts))


def _plain(of: object) -> object:
    """The same value without anything whose order differs from one process to the next."""
    if dataclasses.is_dataclass(of) and not isinstance(of, type):
        return [(each.name, _plain(getattr(of, each.name))) for each in dataclasses.fields(of)]
    if isinstance(of, Mapping):
        return sorted(((_plain(key), _plain(value)) for key, value in of.items()), key=repr)
    if isinstance(of, Set):
        return sorted(map(_plain, of), key=repr)
    if isinstance(of, (tuple, list)):
        return [_plain(each) for each in of]
    return of
