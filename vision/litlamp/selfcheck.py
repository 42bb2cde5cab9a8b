"""Proof that an installation works, without a network: OpenCV, weights, rulebook, and readings."""

from __future__ import annotations

import importlib.metadata
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import msgspec


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that was tried: whether it is as it should be, and what was found, in words."""

    sound: bool
    words: str


class _SignalTruth(msgspec.Struct, frozen=True):
    heads: tuple[str, ...]
    rule: str | None
    edition: str | None = None


class _Truth(msgspec.Struct, frozen=True):
    source: str
    signals: tuple[_SignalTruth, ...]


def samples_folder() -> Path | None:
    """Where the self-check's samples are: beside the installed code, or in the checkout; None if nowhere."""
    here = Path(__file__).resolve()
    places = [here.parent / "_samples"]
    places += [p / "samples" / "selfcheck" for p in here.parents if (p / "pyproject.toml").is_file()][:1]
    return next((place for place in places if (place / "truth.jsonl").is_file()), None)


def checks(samples: Path | None = None) -> Iterator[Check]:
    """Every check in turn; one that fails does not keep the next from being tried.

    Parameters
    ----------
    samples : a folder of pictures with their truth.jsonl; the packaged one where not given.
    """
    for name, check in (("OpenCV", _one_opencv), ("weights", _weights), ("rulebook", _explains)):
        yield _tried(name, check)
    folder = samples if samples is not None else samples_folder()
    if folder is None:
        yield Check(False, "samples: none are packaged with this installation")
        return
    try:
        lines = (folder / "truth.jsonl").read_bytes().splitlines()
        truths = [msgspec.json.decode(line, type=_Truth) for line in lines if line.strip()]
    except (OSError, msgspec.DecodeError) as error:
        yield Check(False, f"samples: truth.jsonl cannot be read ({error})")
        return
    if not truths:
        yield Check(False, "samples: truth.jsonl is empty")
    for truth in truths:
        yield _tried(truth.source, lambda truth=truth: _reads(folder, truth))  # type: ignore[misc]


def _tried(name: str, check: Callable[[], Check]) -> Check:
    try:
        return check()
    except Exception as error:
        # Whatever a broken installation throws is the finding itself.
        what = " ".join(f"{type(error).__name__}: {error}".split())
        return Check(False, f"{name}: {what}")


def _one_opencv() -> Check:
    found = sorted(
        {
            f"{d.metadata['Name']} {d.version}"
            for d in importlib.metadata.distributions()
            if re.fullmatch(
                r"opencv([-_.]contrib)?[-_.]python([-_.]headless)?", d.metadata["Name"] or "", re.I
            )
        }
    )
    if len(found) != 1:
        return Check(False, f"OpenCV: exactly one must be installed, found {', '.join(found) or 'none'}")
    import cv2

    return Check(True, f"OpenCV: {found[0]}, loads as {cv2.__version__}")


def _weights() -> Check:
    from litlamp.sight.eyes import EyesError, load_eyes

    try:
        names = load_eyes().names
    except EyesError as error:
        return Check(False, f"weights: {error}")
    return Check(True, f"weights: as the manifest names them ({', '.join(names.values())})")


def _explains() -> Check:
    from litlamp.aspects.explain import explain
    from litlamp.aspects.rulebook import load_book

    book = load_book()
    # CROR Rule 411, Clear to Stop: yellow over red, heads in line, on a mast.
    said = explain("yellow over red, vertical, mast", book)
    got = None if said.reading is None else said.reading.rule
    return Check(
        got == "411", f"rulebook: {book.label}, yellow over red on a mast is Rule {got} (should be 411)"
    )


def _reads(folder: Path, truth: _Truth) -> Check:
    from litlamp.aspects.rulebook import load_book
    from litlamp.photo_reading import read_photo

    edition = next((s.edition for s in truth.signals if s.edition), None)
    said = read_photo(folder / truth.source, book=load_book("CROR", edition))
    if said.failure is not None:
        return Check(False, f"{truth.source}: {said.failure}")
    want = [s.rule for s in truth.signals]
    got = [None if r.reading is None else r.reading.rule for _, r in said.signals]
    return Check(got == want, f"{truth.source}: read {_listed(got)}, truth {_listed(want)}")


def _listed(rules: list[str | None]) -> str:
    return ", ".join(f"Rule {r}" if r else "no rule" for r in rules) or "no signal"
