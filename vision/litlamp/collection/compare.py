"""Two runs over the same sources: which readings changed, and how. The changes that matter most come first.

There is no truth here, so that no change is called right or wrong: one towards a less restrictive reading is
the kind that would be wrong-side if the first run was right.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import msgspec

from litlamp.aspects.cautions import SHORT
from litlamp.aspects.rulebook import Rulebook
from litlamp.box import Box
from litlamp.collection.label_line import LabelRecord, read_lines
from litlamp.collection.match import box_of, one_to_one
from litlamp.collection.truth_file import LinesError
from litlamp.report.record import SignalRecord

Kind = Literal[
    "guarded less restrictive",
    "reading less restrictive",
    "signal lost",
    "no longer read",
    "guarded more restrictive",
    "reading more restrictive",
    "signal gained",
    "read at last",
    "another rule of the same rank",
    "another set",
    "another aspect",
    "gone from the collection",
    "new in the collection",
]
KINDS: tuple[Kind, ...] = Kind.__args__  # type: ignore[attr-defined]
"""Every kind of change, the gravest first."""

_LEAST_IOU = 0.1


@dataclass(frozen=True, slots=True)
class Change:
    """One change: source, box (in the first run, or in the second if only there), from what to what."""

    kind: Kind
    source: str
    box: tuple[float, float, float, float] | None
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """All changes, the gravest first; `sources` in both, `signals` matched, `same` of them unchanged."""

    sources: int
    signals: int
    same: int
    changes: tuple[Change, ...]

    def counts(self) -> dict[Kind, int]:
        """Changes of each kind, the gravest first; kinds without any are left out."""
        found = Counter(change.kind for change in self.changes)
        return {kind: found[kind] for kind in KINDS if found[kind]}


class _Source(msgspec.Struct):
    source: str


def compare(before: Path, after: Path, book: Rulebook) -> Comparison:
    """What changed from one file of readings to another, both made by `book`.

    Raises
    ------
    LinesError : one cannot be read, a source comes twice in one, or the two follow different books.
    """
    places = _places(after)
    sources = signals = same = 0
    changes: list[Change] = []
    seen: set[str] = set()
    decoder = msgspec.json.Decoder(LabelRecord)
    with after.open("rb") as file:
        for old in read_lines(before):
            _check_book(before, old, book)
            if old.source in seen:
                raise LinesError(f"{before}: {old.source!r} stands there twice")
            seen.add(old.source)
            at = places.pop(old.source, None)
            if at is None:
                changes.append(Change("gone from the collection", old.source, None, _said_of(old), ""))
                continue
            file.seek(at)
            new = decoder.decode(file.readline())
            _check_book(after, new, book)
            sources += 1
            pairs, unchanged, found = _compare_source(old, new, book)
            signals += pairs
            same += unchanged
            changes += found
    changes += [Change("new in the collection", source, None, "", "") for source in places]
    return Comparison(
        sources, signals, same, tuple(sorted(changes, key=lambda change: KINDS.index(change.kind)))
    )


def _places(path: Path) -> dict[str, int]:
    """Source -> where its line begins in the file."""
    places: dict[str, int] = {}
    at = 0
    decoder = msgspec.json.Decoder(_Source)
    for _ in read_lines(path):
        break  # a file that cannot be read says so here
    with path.open("rb") as file:
        for number, line in enumerate(file, 1):
            if line.strip():
                try:
                    source = decoder.decode(line).source
                except (msgspec.DecodeError, UnicodeDecodeError) as error:
                    raise LinesError(f"{path}, line {number}: this is no reading ({error})") from error
                if source in places:
                    raise LinesError(f"{path}, line {number}: {source!r} stands there twice")
                places[source] = at
            at += len(line)
    return places


def _check_book(path: Path, of: LabelRecord, book: Rulebook) -> None:
    if (of.rulebook.name, of.rulebook.edition) != (book.name, book.edition):
        theirs = f"{of.rulebook.name} {of.rulebook.edition}"
        raise LinesError(f"{path}: {of.source!r} follows {theirs}, not {book.label}")


def _compare_source(old: LabelRecord, new: LabelRecord, book: Rulebook) -> tuple[int, int, list[Change]]:
    """Signals matched, those of them unchanged, and the changes."""
    if new.failure is not None and old.failure is None:
        return 0, 0, [Change("no longer read", old.source, None, _said_of(old), new.failure)]
    if old.failure is not None:
        if new.failure is not None:
            return 0, 0, []
        return 0, 0, [Change("read at last", old.source, None, old.failure, _said_of(new))]
    pairs = _match(old.signals, new.signals)
    changes = [
        change
        for i, j in pairs.items()
        if (change := _compare_signal(old.source, old.signals[i], new.signals[j], book)) is not None
    ]
    same = len(pairs) - len(changes)
    for i, signal in enumerate(old.signals):
        if i not in pairs:
            changes.append(Change("signal lost", old.source, signal.box, _said(signal), ""))
    for j, signal in enumerate(new.signals):
        if j not in pairs.values():
            changes.append(Change("signal gained", old.source, signal.box, "", _said(signal)))
    return len(pairs), same, changes


def _match(old: tuple[SignalRecord, ...], new: tuple[SignalRecord, ...]) -> dict[int, int]:
    """Old signal -> new signal, one to one, the best overlapping first; in a clip they share time too."""
    fits = ((_fit(a, b), i, j) for i, a in enumerate(old) for j, b in enumerate(new))
    return one_to_one((-fit, i, j) for fit, i, j in fits if fit >= _LEAST_IOU)


def _fit(a: SignalRecord, b: SignalRecord) -> float:
    if a.span_s is None or b.span_s is None:
        return box_of(a.box).iou(box_of(b.box))
    # In a clip each box is of one moment, and the two need not be the same: the time in view counts too.
    span = Box(a.span_s[0], 0, a.span_s[1], 1).iou(Box(b.span_s[0], 0, b.span_s[1], 1))
    return span + box_of(a.box).iou(box_of(b.box))


def _compare_signal(source: str, old: SignalRecord, new: SignalRecord, book: Rulebook) -> Change | None:
    """The gravest change of one signal."""

    def change(kind: Kind) -> Change:
        return Change(kind, source, old.box, _said(old), _said(new))

    if (old.reading is None) != (new.reading is None):
        # What was left open is now read, or the other way about: nothing read permits nothing.
        return change("guarded less restrictive" if old.reading is None else "guarded more restrictive")
    if old.reading is None or new.reading is None or old.guarded is None or new.guarded is None:
        return change("another aspect") if old.aspect != new.aspect else None
    guard = book.rank(new.guarded.rule) - book.rank(old.guarded.rule)
    first = book.rank(new.reading.rule) - book.rank(old.reading.rule)
    rules = (old.guarded.rule, old.reading.rule) != (new.guarded.rule, new.reading.rule)
    if guard > 0:
        return change("guarded less restrictive")
    if first > 0:
        return change("reading less restrictive")
    if guard < 0:
        return change("guarded more restrictive")
    if first < 0:
        return change("reading more restrictive")
    if rules:
        return change("another rule of the same rank")
    if {member.rule for member in old.set} != {member.rule for member in new.set}:
        return change("another set")
    return change("another aspect") if old.aspect != new.aspect else None


def _said(of: SignalRecord) -> str:
    from litlamp.report.subtitles import in_short

    members = " ".join(member.rule or "-" for member in of.set)
    return f"{in_short(of.reading, of.guarded)}; {of.aspect}" + (f" [{members}]" if members else "")


def _said_of(of: LabelRecord) -> str:
    if of.failure is not None:
        return of.failure
    return "; ".join(_said(signal) for signal in of.signals) or "no signal"


def comparison_text(of: Comparison, before: str, after: str, most: int = 20) -> str:
    """For a person: counts of every kind, then the gravest changes one by one, `most` of each kind."""
    lines = [
        f"From {before} to {after}: {of.sources:,} sources in both, {of.signals:,} signals in both, "
        f"{of.same:,} of them unchanged.",
        "",
    ]
    counts = of.counts()
    lines += [f"  {count:>7,}  {kind}" for kind, count in counts.items()] or ["  Nothing changed."]
    for kind in counts:
        chosen = [change for change in of.changes if change.kind == kind]
        lines += ["", f"{kind[:1].upper()}{kind[1:]}"]
        for change in chosen[:most]:
            at = "" if change.box is None else f" at {', '.join(f'{edge:.0f}' for edge in change.box)}"
            lines.append(f"  {change.source}{at}")
            if change.before:
                lines.append(f"    was  {change.before}")
            if change.after:
                lines.append(f"    is   {change.after}")
        if len(chosen) > most:
            lines.append(f"  and {len(chosen) - most:,} more (--json lists all)")
    lines += ["", "Less restrictive is not wrong, and unchanged not right: there is no truth in this.", SHORT]
    return "\n".join(lines)
