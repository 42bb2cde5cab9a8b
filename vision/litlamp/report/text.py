"""A reading as text for people: 80 columns, the guarded reading first where it differs from the reading."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from itertools import zip_longest
from typing import TYPE_CHECKING

from litlamp.aspects.cautions import LONG, SHORT, STILL, TRACK
from litlamp.aspects.why import places
from litlamp.report.record import outcome_name

if TYPE_CHECKING:
    from litlamp.aspects.reading import Reading, RuleChance
    from litlamp.photo_reading import Passage, SourceReading
    from litlamp.sight.seen import SignalSeen

WIDTH = 80
_MARGIN = 10


def percent(probability: float) -> str:
    """A probability for people: "93 %", "99.7 %"; never 0 % or 100 % of what is not quite so.

    The space is one that lines are not broken at.
    """
    if probability <= 1e-9 or probability >= 1 - 1e-9:
        number = f"{probability:.0%}".removesuffix("%")
    elif probability > 0.999:
        number = "over 99.9"
    elif probability < 0.001:
        number = "under 0.1"
    elif 0.02 <= probability < 0.985:
        number = f"{100 * probability:.0f}"
    else:
        number = f"{100 * probability:.1f}".removesuffix(".0")
    return f"{number}\u00a0%"


def confidence_words(probability: float) -> str:
    """How sure a reading is, in words: the same steps in every output."""
    for least, words in ((0.99, "very sure"), (0.95, "sure"), (0.8, "fairly sure"), (0.5, "unsure")):
        if probability >= least:
            return words
    return "a guess"


def titled(chance: RuleChance) -> str:
    """A rule as it is named: "Clear to Stop, Rule 411"; an outcome that is no rule in its own words."""
    name = outcome_name(chance)
    return name if chance.rule is None else f"{name}, Rule\u00a0{chance.rule}"


def headed(chance: RuleChance) -> str:
    """The same to begin a line with."""
    name = titled(chance)
    return name[:1].upper() + name[1:]


def differs(said: Reading) -> bool:
    """Whether the guarded reading is another than the reading."""
    return (
        said.reading is not None
        and said.guarded is not None
        and (said.reading.rule, said.reading.outcome) != (said.guarded.rule, said.guarded.outcome)
    )


def source_text(of: SourceReading) -> str:
    """All that is to be told of one source; several lines, without a line break at the end.

    The caution at its end is the short one; `foot_text` closes a listing of sources.
    """
    name = {"-": "standard input", "": "picture"}.get(of.source, of.source)
    if of.failure is not None:
        return "\n".join(_wrapped(f"{name}: not read: {of.failure}", ""))
    count = len(of.signals)
    order = "left to right" if of.duration_s is None else "as they came into sight"
    found = {0: "no\u00a0signal\u00a0found", 1: "1\u00a0signal"}.get(count, f"{count}\u00a0signals, {order}")
    size = "" if of.size is None else f", {of.size[0]} x {of.size[1]} px"
    length = "" if of.duration_s is None else f", {clock(of.duration_s)}"
    lines = _wrapped(f"{name}{size}{length}: {found}", "")
    for note in of.notes:
        # A note that begins with a file's name keeps it as it is.
        first = note if "." in note.split(" ")[0] else f"{note[:1].upper()}{note[1:]}"
        lines += _field("note", f"{first}.")
    if count == 0:
        lines += _wrapped(
            "That none was found does not mean that none is there: one may be too small, hidden or unlit.", ""
        )
    for number, ((seen, said), passage) in enumerate(zip_longest(of.signals, of.passages), 1):
        lead = f"{number}. " if count > 1 else ""
        lines += ["", *_signal_lines(said, lead, () if passage is None else _over_time(seen, passage))]
    lines += _wrapped(SHORT, "")
    return "\n".join(lines)


def foot_text(of: Iterable[SourceReading]) -> str:
    """What is told once below one or more sources: the cautions of every reading, and the book."""
    read = [source for source in of if source.failure is None]
    books = " and ".join(dict.fromkeys(f"{source.book} {source.edition}" for source in read))
    return "\n".join(_foot((said for source in read for _, said in source.signals), books))


def words_text(said: Reading, book: str, edition: str) -> str:
    """What an aspect stated in words says."""
    return "\n".join([*_signal_lines(said, ""), "", *_foot((said,), f"{book} {edition}")])


def clock(seconds: float) -> str:
    """A moment or a length of time: "4.2 s", "1:07:02"."""
    if seconds < 60:
        return f"{seconds:.1f}\u00a0s"
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def flash_words(seen: SignalSeen) -> str:
    """The flashes measured: "top head 55.0 a minute (give or take 0.2)"; "" where there are none."""
    names = places(len(seen.heads))
    return "; ".join(
        f"{name} {head.flash_per_min:.1f} a minute"
        + (f" (give or take {max(head.flash_per_min_error, 0.1):.1f})" if head.flash_per_min_error else "")
        for name, head in zip(names, seen.heads, strict=True)
        if head.flash_per_min is not None
    )


def _over_time(seen: SignalSeen, passage: Passage) -> tuple[str, ...]:
    """When a signal of a clip was seen, how its lamps flashed, and what it showed in turn."""
    lines = _field("seen", f"{clock(passage.span[0])} to {clock(passage.span[1])}.")
    flashes = flash_words(seen)
    if flashes:
        lines += _field("flash", f"{flashes}.")
    if len(passage.stretches) > 1:
        lines += _list(
            "it showed",
            (
                f"{clock(part.span[0])} to {clock(part.span[1])}: {part.said.aspect}; {_in_short(part.said)}."
                for part in passage.stretches
            ),
        )
    return tuple(lines)


def _in_short(said: Reading) -> str:
    if said.reading is None or said.guarded is None:
        return "no reading"
    if differs(said):
        return f"guarded reading {titled(said.guarded)} (likeliest {titled(said.reading)})"
    return titled(said.reading)


def _signal_lines(said: Reading, number: str, over_time: Iterable[str] = ()) -> list[str]:
    if said.reading is None or said.guarded is None:
        lines = _wrapped(f"{number}No reading", "")
    elif differs(said):
        lines = [
            *_wrapped(f"{number}Guarded reading: {titled(said.guarded)}", ""),
            *_field("but", f"{headed(said.reading)} is {_likely(said)}: {sureness(said.reading)}."),
            *_field("so", settling(said)),
        ]
    else:
        lines = [
            *_wrapped(f"{number}{headed(said.reading)}", ""),
        ]
        if said.reading.probability < 1 - 1e-9:  # words leave no doubt of what was seen
            lines += _field("how sure", f"{sureness(said.reading)}.")
    lines += _field("aspect", said.aspect)
    if len(said.set) > 1:
        lines += _field("may be", f"{may_be(said, 4)}.")
    lines += over_time
    lines += _list("why", said.why)
    lines += _list("mind", own_cautions(said))
    return lines


def tied(said: Reading) -> bool:
    """Whether another member of the set is as likely as the reading, as far as people are told."""
    if said.reading is None:
        return False
    own = percent(said.reading.probability)
    return sum(percent(c.probability) == own for c in said.set) > 1


def _likely(said: Reading) -> str:
    return "as likely as any" if tied(said) else "the most likely"


def may_be(said: Reading, most: int) -> str:
    """The likeliest members of the set, the guarded reading always among them; the rest are counted."""
    named = list(said.set[:most])
    named += [c for c in said.set[most:] if said.guarded is not None and c.rule == said.guarded.rule]
    rest = len(said.set) - len(named)
    members = "; ".join(f"{titled(c)}: {percent(c.probability)}" for c in named)
    return members if rest == 0 else f"{members}; and {rest} less likely"


def settling(said: Reading) -> str:
    """Why the guarded reading stands in place of the reading."""
    if said.reading is not None and said.reading.rule is None and len(said.set) == 1:
        return "What is no standard aspect counts as the most restrictive indication."
    return f"Not settled at {percent(said.level)}: the most restrictive it may be stands."


def own_cautions(said: Reading) -> tuple[str, ...]:
    """The cautions that are this reading's own, not those said of every reading."""
    return tuple(c for c in said.cautions if not _general(c))


def general_cautions(readings: Iterable[Reading]) -> tuple[str, ...]:
    """The cautions said of every reading by the core, each once; the training-aid caution not among them."""
    every = (c for said in readings for c in said.cautions if _general(c) and c != LONG)
    return tuple(dict.fromkeys(every))


def _general(caution: str) -> bool:
    return caution in (LONG, STILL, TRACK) or caution.startswith("Read by ")


def sureness(chance: RuleChance) -> str:
    """Confidence in words and number: "fairly sure, 93 %"."""
    return f"{confidence_words(chance.probability)}, {percent(chance.probability)}"


def _foot(readings: Iterable[Reading], book: str) -> list[str]:
    told = general_cautions(readings) or (f"Read by {book}.",)
    return [line for caution in (*told, LONG) for line in _wrapped(caution, "")]


def _field(label: str, words: str) -> list[str]:
    return _wrapped(words, f"  {label}".ljust(_MARGIN + 2))


def _list(label: str, items: Iterable[str]) -> list[str]:
    lines: list[str] = []
    for item in items:
        lead = f"  {label if not lines else ''}".ljust(_MARGIN + 2)
        lines += _wrapped(item, f"{lead}- ", " " * len(lead) + "  ")
    return lines


def _wrapped(words: str, lead: str, further: str | None = None) -> list[str]:
    further = " " * len(lead) if further is None else further
    lines = textwrap.wrap(
        words,
        WIDTH,
        initial_indent=lead,
        subsequent_indent=further,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace("\u00a0", " ") for line in lines] or [lead.rstrip()]
