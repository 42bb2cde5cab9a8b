"""The samples that come with litlamp, with their truth: to try the page and to practise with."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import msgspec

from litlamp.aspects.aspect import Arrangement, Aspect, Lamp, Mount, Plate
from litlamp.aspects.rulebook import lamp_of
from litlamp.selfcheck import samples_folder


class _SignalLine(msgspec.Struct, frozen=True):
    heads: tuple[str, ...]
    mount: Mount
    arrangement: Arrangement
    plates: tuple[Plate, ...] = ()
    number: str | None = None


class _Line(msgspec.Struct, frozen=True):
    source: str
    signals: tuple[_SignalLine, ...]
    clear: bool = True


@dataclass(frozen=True, slots=True)
class Sample:
    """A picture and what its one signal truly shows; None where it holds no signal.

    `clear`: a person can see all that the rule rests on.
    """

    name: str
    path: Path
    aspect: Aspect | None
    clear: bool

    @property
    def title(self) -> str:
        """Its name for a person: "hartsmere home red"."""
        return self.name.rsplit(".", 1)[0].replace("-", " ")


@cache
def samples() -> dict[str, Sample]:
    """Every sample of one signal or none, by name; empty where none is installed."""
    checks = samples_folder()
    if checks is None:
        return {}
    folder = checks.parent if (checks.parent / "truth.jsonl").is_file() else checks
    found = {}
    try:
        lines = (folder / "truth.jsonl").read_bytes().splitlines()
        for line in lines:
            if line.strip() and (sample := _sample(folder, msgspec.json.decode(line, type=_Line))):
                found[sample.name] = sample
    except (OSError, msgspec.DecodeError, ValueError):
        return {}
    return found


def _sample(folder: Path, line: _Line) -> Sample | None:
    path = folder / line.source
    if len(line.signals) > 1 or not path.is_file():
        return None
    aspect = None
    for signal in line.signals:
        heads: tuple[Lamp, ...] = tuple(lamp_of(words) for words in signal.heads)
        aspect = Aspect(heads, signal.mount, signal.arrangement, frozenset(signal.plates), signal.number)
    return Sample(line.source, path, aspect, line.clear)
