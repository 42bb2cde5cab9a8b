"""A sample of a collection for people to check: drawn by chance within strata, the same for the same seed.

A stratum is what has the same rule, light and so on. Each gets its share of the sample, two at least, so that
rare rules are looked at too; those too small for that are put together.
"""

from __future__ import annotations

import random
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec
from msgspec import UnsetType

from litlamp.collection.exporting import Readings
from litlamp.collection.judge import DIAMETERS
from litlamp.collection.label_line import LabelRecord, text_of
from litlamp.collection.truth_file import LinesError

LEAST = 2
"""Sources of each stratum: with one alone nothing could be told of how they differ."""

OTHERS = "others"
_NOT_KNOWN = "not known"


class Member(msgspec.Struct, frozen=True):
    """A line of the file of weights: a source that was drawn, and how many of its stratum it stands among."""

    source: str
    stratum: str
    stratum_size: int
    drawn: int
    weight: float


@dataclass(frozen=True, slots=True)
class Sample:
    """What was drawn, in the order of the readings.

    Attributes
    ----------
    sources : of the collection that could be read; `failed` could not, and none of them is drawn.
    """

    members: tuple[Member, ...]
    records: tuple[LabelRecord, ...]
    sources: int
    failed: int


def _rule(of: LabelRecord) -> str:
    rules = {
        "nothing read" if signal.reading is None else signal.reading.rule or signal.reading.name
        for signal in of.signals
    }
    return "no signal" if not rules else rules.pop() if len(rules) == 1 else "several"


def _guarded(of: LabelRecord) -> str:
    rules = {
        "nothing read" if signal.guarded is None else signal.guarded.rule or signal.guarded.name
        for signal in of.signals
    }
    return "no signal" if not rules else rules.pop() if len(rules) == 1 else "several"


def _light(of: LabelRecord) -> str:
    """By the picture's brightness: how light it was cannot be told from it, but night is dark."""
    if not isinstance(of.brightness, (int, float)):
        return _NOT_KNOWN
    return "dark" if of.brightness < 40 else "dim" if of.brightness < 90 else "bright"


def _sure(of: LabelRecord) -> str:
    least = min((s.reading.probability for s in of.signals if s.reading is not None), default=None)
    if least is None:
        return "nothing read"
    return "under 0.5" if least < 0.5 else "0.5 to 0.9" if least < 0.9 else "0.9 and more"


def _size(of: LabelRecord) -> str:
    lit = [head.lamp[2] for s in of.signals for head in s.heads if isinstance(head.lamp, tuple)]
    if not lit:
        return DIAMETERS[-1]
    ends = (3, 5, 7, 10)  # the bins of a score
    return DIAMETERS[sum(min(lit) >= end for end in ends)]


KEYS: Mapping[str, Callable[[LabelRecord], str]] = {
    "rule": _rule,
    "guarded": _guarded,
    "light": _light,
    "sure": _sure,
    "size": _size,
    "kind": lambda of: of.kind or _NOT_KNOWN,
}
"""By what strata can be made, besides the researcher's own columns."""


def stratum_of(record: LabelRecord, by: Sequence[str]) -> str:
    """The stratum that a record belongs to: its keys' words, "439, dark"."""
    columns = {} if isinstance(record.columns, UnsetType) else record.columns
    return ", ".join(
        KEYS[key](record) if key in KEYS else text_of(columns.get(key)) or _NOT_KNOWN for key in by
    )


def draw_sample(readings: Path, count: int, by: Sequence[str], seed: int) -> Sample:
    """Draw `count` sources, or all where there are fewer.

    Parameters
    ----------
    by : of `KEYS`, or names of the researcher's columns.

    Raises
    ------
    LinesError : the readings cannot be used, there is nothing to draw from, or no record has such a column.
    """
    source = Readings(readings)
    unknown = [key for key in by if key not in KEYS]
    if unknown:
        own = source.columns()
        missing = [key for key in unknown if key not in own]
        if missing:
            raise LinesError(
                f"strata can be made by {', '.join(KEYS)}"
                f"{' and by ' + ', '.join(own) if own else ''}, not by {', '.join(missing)}"
            )
    strata: list[str | None] = [
        None if record.failure is not None else stratum_of(record, by) for record in source
    ]
    sizes = Counter(stratum for stratum in strata if stratum is not None)
    if not sizes:
        raise LinesError(f"{readings} holds no source that could be read")
    home = put_together(sizes, count)
    places: defaultdict[str, list[int]] = defaultdict(list)
    for n, stratum in enumerate(strata):
        if stratum is not None:
            places[home[stratum]].append(n)
    shares = allot({stratum: len(held) for stratum, held in places.items()}, count)
    drawn: dict[int, Member] = {}
    chosen = {
        stratum: random.Random(f"{seed} {stratum}").sample(held, shares[stratum])
        for stratum, held in sorted(places.items())
    }
    where = {n: stratum for stratum, numbers in chosen.items() for n in numbers}
    records = []
    for n, record in enumerate(source):
        if n in where:
            size, share = len(places[where[n]]), shares[where[n]]
            drawn[n] = Member(record.source, where[n], size, share, size / share)
            records.append(record)
    return Sample(
        tuple(drawn[n] for n in sorted(drawn)), tuple(records), sum(sizes.values()), strata.count(None)
    )


def put_together(sizes: Mapping[str, int], count: int) -> dict[str, str]:
    """Stratum -> the one that its sources are drawn in: itself, or OTHERS for the smallest of many."""
    kept = sorted(sizes, key=lambda stratum: (sizes[stratum] < LEAST, -sizes[stratum], stratum))
    most = max(count // LEAST, 1)
    small = [stratum for stratum in kept if sizes[stratum] < LEAST]
    if len(kept) > most or len(small) > 1:
        keep = [stratum for stratum in kept if sizes[stratum] >= LEAST][: most - 1]
        return {stratum: stratum if stratum in keep else OTHERS for stratum in sizes}
    return {stratum: stratum for stratum in sizes}


def allot(sizes: Mapping[str, int], count: int) -> dict[str, int]:
    """How many to draw of each stratum: LEAST of each, the rest by size, never more than there are.

    They sum to `count`, or to all there are; fewer than LEAST only where `count` does not reach.
    """
    total = sum(sizes.values())
    count = min(count, total)
    order = sorted(sizes, key=lambda stratum: (-sizes[stratum], stratum))
    shares = dict.fromkeys(order, 0)
    for _ in range(LEAST):
        for stratum in order:
            if sum(shares.values()) < count and shares[stratum] < sizes[stratum]:
                shares[stratum] += 1
    while sum(shares.values()) < count:
        # One more to the stratum that is furthest behind its share.
        behind = max(
            (stratum for stratum in order if shares[stratum] < sizes[stratum]),
            key=lambda stratum: sizes[stratum] / total - shares[stratum] / count,
        )
        shares[behind] += 1
    return shares


def load_weights(path: Path) -> tuple[Member, ...]:
    """A file of weights, as a sample is written with. Raises LinesError."""
    from litlamp.collection.truth_file import numbered_lines, read_bytes

    members = []
    for number, line in numbered_lines(path, read_bytes(path)):
        try:
            members.append(msgspec.json.decode(line, type=Member))
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            raise LinesError(f"{path}, line {number}: this is no line of weights ({error})") from error
    return tuple(members)
