"""A rulebook for a person to read: every rule with its aspects in small text drawings."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest
from textwrap import wrap

from litlamp.aspects.aspect import PLATES, Lamp
from litlamp.aspects.cautions import LONG
from litlamp.aspects.rulebook import Rule, Rulebook, StandardAspect

WIDTH = 79
CELL = 18
ACROSS = 4

LETTERS = {"red": "R", "yellow": "Y", "green": "G", "lunar": "L", "dark": " "}
PLATE_SIGNS = {"A": "(A)", "R": "[R]", "L": "/L\\", "DV": "[DV]"}

LEGEND = (
    "(G) steady   *G* flashing   ( ) dark   R red  Y yellow  G green  L lunar\n"
    "(A) A plate  [R] R plate    /L\\ L plate  [DV] DV plate  [#] number plate\n"
    "'no A' that plate must be absent; a plate not named changes nothing there"
)


def draw_book(book: Rulebook) -> str:
    """The whole book in one edition, plain ASCII drawings at most 79 columns wide, no trailing newline."""
    sources = _Sources()
    rules = [line for rule in book.rules for line in (*_rule(rule, book, sources), "")]
    lines = [
        book.title,
        f"{book.name}, edition {book.edition} (editions here: {', '.join(book.editions)})",
        *wrap(book.note, WIDTH),
        "",
        *wrap(LONG, WIDTH),
        "",
        *LEGEND.splitlines(),
        "",
        *_speeds(book),
        *_plates(book),
        *rules,
        *_exceptions(book, sources),
        "",
        *_order(book),
        "",
        "Read in",
        *(line for at, text in sources.listed() for line in _hang(f"[{at}] ", text)),
    ]
    return "\n".join(line.rstrip() for line in lines)


class _Sources:
    """Numbers the sources in the order in which they are first named."""

    def __init__(self) -> None:
        self.numbers: dict[str, int] = {}

    def number(self, text: str) -> int:
        return self.numbers.setdefault(text, len(self.numbers) + 1)

    def listed(self) -> Iterator[tuple[int, str]]:
        return ((at, text) for text, at in self.numbers.items())


def _hang(label: str, text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent=label, subsequent_indent=" " * len(label))


def _speeds(book: Rulebook) -> list[str]:
    lines = ["Speeds, slowest first"]
    widest = max(len(speed.name) for speed in book.speeds)
    for speed in book.speeds:
        lines += _hang(f"  {speed.name:{widest}}  ", speed.means)
    return [*lines, ""]


def _plates(book: Rulebook) -> list[str]:
    if not book.plates:
        return []
    lines = ["Plates"]
    for plate in book.plates:
        lines += _hang(f"  {plate.kind:6}  ", f"{plate.looks}: {plate.effect}")
    return [*lines, ""]


def _rule(rule: Rule, book: Rulebook, sources: _Sources) -> Iterator[str]:
    yield f"{rule.number:<5} {rule.name}" + (f"  (speed now: {rule.speed})" if rule.speed else "")
    yield from _hang("      ", rule.permits)
    read = f"[{sources.number(rule.source)}] {rule.certainty}"
    yield from _hang("      ", f"{read}. {_cap(rule.note)}" if rule.note else read)
    cells = [_cell(aspect, sources) for aspect in rule.aspects]
    for start in range(0, len(cells), ACROSS):
        yield ""
        yield from _beside(cells[start : start + ACROSS])
    if rule.qualifier:
        yield "      (qualifies another rule; no heads of its own)"
    elif not rule.aspects:
        yield f"      (no aspect known in the edition of {book.edition})"


def _beside(cells: list[tuple[list[str], list[str]]]) -> Iterator[str]:
    """Cells side by side: drawings on one ground line, captions below it."""
    tallest = max(len(drawing) for drawing, _ in cells)
    standing = [[""] * (tallest - len(drawing)) + drawing for drawing, _ in cells]
    captions = zip_longest(*(caption for _, caption in cells), fillvalue="")
    for row in [*zip(*standing, strict=True), *captions]:
        yield "      " + "".join(f"{text:{CELL}}" for text in row)


def _cell(aspect: StandardAspect, sources: _Sources) -> tuple[list[str], list[str]]:
    """One aspect drawn, and what is written under it."""
    return draw_aspect(aspect), _caption(aspect, sources)


def draw_aspect(aspect: StandardAspect) -> list[str]:
    """One aspect as lines of text, top to bottom, down to the foot of its mast or dwarf."""
    signs = [PLATE_SIGNS[kind] for kind in PLATES if kind in aspect.plates]
    signs += ["[#]"] if aspect.number else []
    heads = [_head(lamp) for lamp in aspect.heads]
    if aspect.arrangement == "staggered" and len(heads) > 1:
        lines = [f"{head}|" if at % 2 == 0 else f"   |{head}" for at, head in enumerate(heads)]
        lines += [f"   |{sign}" for sign in signs]
        foot = ["   |", "  _|_"]
    else:
        lines = [f"  {head}" for head in heads] + [f"  {sign}" for sign in signs]
        foot = ["   |", "  _|_"]
    return [*lines, "  [_]"] if aspect.mount == "dwarf" else [*lines, *foot]


def _head(lamp: Lamp) -> str:
    letter = LETTERS[lamp.colour]
    return f"*{letter}*" if lamp.flashing else f"({letter})"


def _caption(aspect: StandardAspect, sources: _Sources) -> list[str]:
    mount = aspect.mount or "mast or dwarf"
    line = ""
    if len(aspect.heads) > 1:
        line = {"vertical": "in line", "staggered": "staggered", None: "any line"}[aspect.arrangement]
    absent: list[str] = [kind for kind in PLATES if kind in aspect.absent]
    absent += ["#"] if aspect.number is False else []
    caption = [mount, line] if len(mount) + len(line) > CELL - 3 else [f"{mount}, {line}" if line else mount]
    caption += [f"no {', '.join(absent)}"] if absent else []
    read = f"[{sources.number(_printed(aspect.source))}]"
    drawn = _drawn(aspect.source)
    caption.append(f"{read} {drawn}" if drawn else read)
    caption += {
        "from memory": ["FROM MEMORY"],
        "read in source; plate from memory": ["PLATE FROM", "MEMORY"],
    }.get(aspect.certainty, [])
    return [text for text in caption if text]


def _printed(source: str) -> str:
    """A source without the type of mast it was drawn for."""
    drawn = _drawn(source)
    return source.removesuffix(f" ({drawn})") if drawn else source


def _drawn(source: str) -> str:
    """The type of mast named at the end of a source, "2S-Hi", or ""."""
    if not source.endswith(")"):
        return ""
    last = source[source.rfind("(") + 1 : -1]
    return last if " " not in last and len(last) < 8 and not last.isdigit() else ""


def _exceptions(book: Rulebook, sources: _Sources) -> Iterator[str]:
    imperfect, dark = book.imperfect, book.partly_dark
    yield "Imperfectly displayed"
    read = f"[{sources.number(imperfect.source)}] {imperfect.certainty}"
    yield from _hang(f"  {imperfect.rule:6}  ", f"{imperfect.permits}: here {book.most_restrictive}. {read}")
    if dark is not None:
        lit = " or ".join(sorted(dark.lit))
        words = f"{dark.rule.name}: a head dark throughout a clip, another {lit}. {dark.rule.permits}"
        read = f"[{sources.number(dark.rule.source)}] {dark.rule.certainty}"
        yield from _hang(f"  {dark.rule.number:6}  ", f"{words} {_cap(dark.rule.note)}. {read}")


def _cap(words: str) -> str:
    return words[:1].upper() + words[1:]


def _order(book: Rulebook) -> Iterator[str]:
    yield "From the most to the least restrictive ('=' ranks alike)"
    yield from _hang("  ", "  ".join(" = ".join(group) for group in book.ranks))
    yield from _hang("  ", book.principle)
