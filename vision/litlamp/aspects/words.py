"""An aspect in words, both ways: what a person says becomes an `Aspect`, and an `Aspect` is said again."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from litlamp.aspects.aspect import MOST_HEADS, PLATES, Arrangement, Aspect, Colour, Lamp, Mount, Plate


class AspectWordsError(ValueError):
    """Words that are not an aspect; the message says what was understood and what was not."""


COLOUR_WORDS: dict[str, Colour] = {
    **dict.fromkeys(("red", "reds", "r"), "red"),
    **dict.fromkeys(("yellow", "yellows", "y", "amber"), "yellow"),
    **dict.fromkeys(("green", "greens", "g"), "green"),
    **dict.fromkeys(("lunar", "lunars", "l"), "lunar"),
    **dict.fromkeys(("dark", "unlit"), "dark"),
}
FLASHING = {"flashing", "flash", "flashes", "blinking", "f"}
STEADY = {"steady", "solid"}
OVER = {"over", "above", "/", "-"}
MOUNT_WORDS: dict[str, Mount] = {"mast": "mast", "high": "mast", "dwarf": "dwarf", "low": "dwarf"}
ARRANGEMENT_WORDS: dict[str, Arrangement] = {
    **dict.fromkeys(("vertical", "vertically", "inline", "in-line"), "vertical"),
    **dict.fromkeys(("staggered", "stagger", "offset"), "staggered"),
}
COUNTS = {
    "single": 1,
    "lone": 1,
    "one": 1,
    "1": 1,
    "two": 2,
    "double": 2,
    "2": 2,
    "three": 3,
    "triple": 3,
    "3": 3,
}
PLATE_NOUN = {"plate", "plates", "marker", "markers"}
HEAD_NOUN = {"head", "heads", "headed", "lamp", "lamps", "light", "lights"}
FILLERS = {
    "with", "and", "on", "the", "signal", "signals", "aspect", "bearing", "carrying", "showing", "shows",
    "has", "having", "plus", "its", "is", "of", "arranged",
}  # fmt: skip
ARTICLES = {"a", "an"}
BEARING = {"with", "and", "has", "having", "bearing", "carrying"}
_PLATE_LETTERS: dict[str, Plate] = {kind.lower(): kind for kind in PLATES}
_TOKEN = re.compile(r"in-line|[A-Za-z]+|[0-9][0-9A-Za-z.]*|[/,;:?\-]|\S")


@dataclass(slots=True)
class _Heard:
    """What has been understood so far, and what has not."""

    heads: list[Lamp] = field(default_factory=list)
    mount: Mount | None = None
    arrangement: Arrangement | None = None
    plates: set[Plate] = field(default_factory=set)
    number: str | None = None
    count: int | None = None
    flash: bool | None = None  # a flashing or steady said, waiting for its colour
    over: bool = False  # an "over" said, waiting for the next lamp
    problems: list[str] = field(default_factory=list)

    def aspect(self) -> Aspect:
        return Aspect(tuple(self.heads), self.mount, self.arrangement, frozenset(self.plates), self.number)


def parse_aspect(text: str) -> Aspect:
    """The aspect that the words say, heads top to bottom; what was not said stays None.

    Colours may be whole or R, Y, G, L (lunar), with "flashing" or f before them, joined by "over" or "/".
    A letter before or after "plate" is a plate: "R plate" is no red lamp, "L" alone is a lunar one.
    A number plate whose digits are not said is "?"; "no number plate" is "".

    Raises
    ------
    AspectWordsError
        Says what was understood and what was not.
    """
    heard = _Heard()
    words = _TOKEN.findall(text)
    at = 0
    while at < len(words):
        at = _hear(heard, words, at)
    if heard.flash is not None:
        heard.problems.append("a flashing or steady with no colour after it")
    if heard.over:
        heard.problems.append('an "over" with no lamp below it')
    if not heard.heads:
        heard.problems.append("no lamp named (say red, yellow, green, lunar or dark)")
    elif len(heard.heads) > MOST_HEADS:
        heard.problems.append(f"{len(heard.heads)} heads, where a signal has at most {MOST_HEADS}")
    elif heard.count not in (None, len(heard.heads)):
        heard.problems.append(f"{heard.count} head(s) said but {len(heard.heads)} named")
    if heard.problems:
        understood = describe(heard.aspect()) or "nothing"
        problems = "; ".join(dict.fromkeys(heard.problems))
        raise AspectWordsError(f"understood: {understood}. Not understood: {problems}")
    return heard.aspect()


def _hear(heard: _Heard, words: list[str], at: int) -> int:
    """Take in the words from `at` on; where the next begin."""
    word = words[at].lower()
    for phrase in (_number_plate, _no_plates, _plates):
        after = phrase(heard, words, at)
        if after:
            return after
    if word in _PLATE_LETTERS and word == "dv":
        heard.plates.add("DV")
    elif word in FLASHING or word in STEADY:
        if heard.flash is not None:
            heard.problems.append(f'"{words[at]}" after another flashing or steady')
        heard.flash = word in FLASHING
    elif word in COLOUR_WORDS:
        _lamp(heard, words[at], COLOUR_WORDS[word])
        if word == "lunar" and _word(words, at + 1) == "white":
            return at + 2
    elif len(word) == 2 and word[0] == "f" and word[1] in "rygl":
        heard.flash = True
        _lamp(heard, words[at], COLOUR_WORDS[word[1]])
    elif word in OVER:
        if word == "-" and (_word(words, at + 1) in HEAD_NOUN | OVER or heard.over or not heard.heads):
            return at + 1  # "two-head", "red-over-red", or a dash that opens a list
        if heard.over or not heard.heads:
            heard.problems.append(f'"{words[at]}" with no lamp above it')
        heard.over = True
    elif word in MOUNT_WORDS:
        _set_mount(heard, words[at], MOUNT_WORDS[word])
    elif word in ARRANGEMENT_WORDS:
        _set_arrangement(heard, words[at], ARRANGEMENT_WORDS[word])
    elif word == "in" and _word(words, at + 1) == "line":
        _set_arrangement(heard, "in line", "vertical")
        return at + 2
    elif word in COUNTS:
        heard.count = COUNTS[word]
    elif word in ARTICLES:
        if _word(words, at + 1) in ("", ",", ";"):
            heard.problems.append(f'"{words[at]}" (for a plate say "A plate")')
    elif word not in FILLERS and word not in HEAD_NOUN and word not in (",", ";", ":"):
        heard.problems.append(f'"{words[at]}"')
    return at + 1


def _word(words: list[str], at: int) -> str:
    return words[at].lower() if 0 <= at < len(words) else ""


def _lamp(heard: _Heard, said: str, colour: Colour) -> None:
    if heard.heads and not heard.over:
        hint = f', or for a plate "{said} plate"' if said.lower() in _PLATE_LETTERS else ""
        heard.problems.append(f'"{said}" after another lamp: say "over" between them{hint}')
    if heard.flash and colour == "dark":
        heard.problems.append("a dark head that flashes")
    heard.heads.append(Lamp(colour, bool(heard.flash) and colour != "dark"))
    heard.flash, heard.over = None, False


def _set_mount(heard: _Heard, said: str, mount: Mount) -> None:
    if heard.mount not in (None, mount):
        heard.problems.append(f'"{said}" against {heard.mount}')
    heard.mount = mount


def _set_arrangement(heard: _Heard, said: str, arrangement: Arrangement) -> None:
    if heard.arrangement not in (None, arrangement):
        heard.problems.append(f'"{said}" against {heard.arrangement}')
    heard.arrangement = arrangement


def _number_plate(heard: _Heard, words: list[str], at: int) -> int:
    """ "number plate 123", "plate number 123", "number 123", "no number plate"."""
    none = _word(words, at) in ("no", "without")
    here = at + none
    if none and _word(words, here) in ARTICLES:
        here += 1
    pair = {_word(words, here), _word(words, here + 1)}
    if "number" not in pair or not (pair & PLATE_NOUN or _word(words, here) == "number"):
        return 0
    here += 2 if pair & PLATE_NOUN else 1
    number = "" if none else "?"
    if not none and re.fullmatch(r"[0-9][0-9a-z.]*|\?", _word(words, here)):
        number = words[here].upper()
        here += 1
    if heard.number not in (None, number):
        heard.problems.append("two number plates")
    heard.number = number
    return here


def _no_plates(heard: _Heard, words: list[str], at: int) -> int:
    """ "no plates", "without plates", "no A plate": nothing is added."""
    if _word(words, at) not in ("no", "without"):
        return 0
    here = at + 1
    while _word(words, here) in _PLATE_LETTERS or _word(words, here) in ("or", "any", ","):
        here += 1
    if _word(words, here) not in PLATE_NOUN:
        return 0
    return here + 1


def _plates(heard: _Heard, words: list[str], at: int) -> int:
    """ "R plate", "DV-plate", "A and L plates", "plate R"."""
    if _word(words, at) in PLATE_NOUN:
        if _word(words, at + 1) in _PLATE_LETTERS and _word(words, at + 2) not in PLATE_NOUN | OVER:
            heard.plates.add(_PLATE_LETTERS[_word(words, at + 1)])
            return at + 2
        return 0
    if _word(words, at - 1) in OVER | FLASHING | STEADY | COUNTS.keys():
        return 0  # the letter is a lamp: "red over R, L plate"
    here, kinds = at, list[Plate]()
    if _word(words, at) in ARTICLES and _plates(_Heard(), words, at + 1):
        here += 1  # "a DV plate", "an A plate": the article is none of them
    while _word(words, here) in _PLATE_LETTERS:
        kinds.append(_PLATE_LETTERS[_word(words, here)])
        here += 1
        noun = here + (_word(words, here) == "-")
        if _word(words, noun) in PLATE_NOUN:
            if len(kinds) > 1 and not _word(words, noun).endswith("s"):
                return 0  # "R, L plate": a red lamp and one plate
            if kinds == ["A"] and _is_article(words, at):
                heard.problems.append(f'"{words[at]} plate": which, A, R, L or DV?')
            heard.plates.update(kinds)
            return noun + 1
        while _word(words, here) in ("and", ",", "&"):
            here += 1
    return 0


def _is_article(words: list[str], at: int) -> bool:
    """Whether the "a" of "with a plate" may be the article: a small a after such a word."""
    return words[at] == "a" and _word(words, at - 1) in BEARING


def describe(aspect: Aspect) -> str:
    """The aspect in words: "yellow over red, vertical, mast, A plate"; `parse_aspect` reads it back."""
    lamps = " over ".join(lamp.words() for lamp in aspect.heads)
    parts = [f"single {lamps}" if len(aspect.heads) == 1 else lamps]
    parts += [part for part in (aspect.arrangement, aspect.mount) if part]
    parts += [f"{kind} plate" for kind in PLATES if kind in aspect.plates]
    match aspect.number:
        case None:
            pass
        case "":
            parts.append("no number plate")
        case "?":
            parts.append("number plate")
        case number:
            parts.append(f"number plate {number}")
    return ", ".join(part for part in parts if part)


def agree(
    aspect: Aspect,
    mount: Mount | None = None,
    arrangement: Arrangement | None = None,
    plates: frozenset[Plate] = frozenset(),
) -> Aspect:
    """The aspect with what was said beside the words; AspectWordsError where the two disagree."""
    for said, beside in ((aspect.mount, mount), (aspect.arrangement, arrangement)):
        if said and beside and said != beside:
            raise AspectWordsError(f"the words say {said}, the option says {beside}")
    return replace(
        aspect,
        mount=aspect.mount or mount,
        arrangement=aspect.arrangement or arrangement,
        plates=aspect.plates | plates,
    )
