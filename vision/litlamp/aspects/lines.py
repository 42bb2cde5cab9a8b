"""Where in a TOML text each value stands: the standard reader gives values but no lines.

The text must already have been read without error by `tomllib`; this walks the same text once more and notes
the line of every table, key and array member.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

Path = tuple[str | int, ...]
"""A place in the parsed data: keys and list places, ("rule", 3, "aspects", 0, "heads")."""

_SPACE = re.compile(r"[ \t]+|#[^\n]*")
_ROOM = re.compile(r"[ \t\r\n]+|#[^\n]*")
_KEY_PART = re.compile(r"""[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*'""")
_STRING = re.compile(
    r'''"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\\n]|\\.)*"|'[^'\n]*\'''', re.DOTALL
)
_BARE = re.compile(r"[^,\]}#\n]+")


def lines_of(text: str) -> dict[Path, int]:
    """The line, from 1, of every table, key and array member of a valid TOML text."""
    return _Walk(text).document()


def line_of(lines: dict[Path, int], path: Path) -> int:
    """The line of that place, or of the nearest place that holds it; 1 for the whole text."""
    while path and path not in lines:
        path = path[:-1]
    return lines.get(path, 1)


@dataclass(slots=True)
class _Walk:
    text: str
    at: int = 0
    lines: dict[Path, int] = field(default_factory=dict)
    counts: dict[Path, int] = field(default_factory=dict)  # members so far of each array of tables

    def document(self) -> dict[Path, int]:
        table: Path = ()
        while self.skip(_ROOM) < len(self.text):
            if self.text.startswith("[[", self.at):
                self.at += 2
                table = self.header()
                self.counts[table] = self.counts.get(table, -1) + 1
                table = (*table, self.counts[table])
                self.note(table)
                self.at += 2
            elif self.text[self.at] == "[":
                self.at += 1
                table = self.header()
                self.note(table)
                self.at += 1
            else:
                self.pair(table)
        return self.lines

    def header(self) -> Path:
        """The table named by a header: under an array of tables, in its latest member."""
        table: Path = ()
        parts = self.key()
        for depth, part in enumerate(parts):
            table = (*table, part)
            if table in self.counts and depth < len(parts) - 1:
                table = (*table, self.counts[table])
        return table

    def key(self) -> list[str]:
        parts = []
        while True:
            self.skip(_SPACE)
            found = _KEY_PART.match(self.text, self.at)
            if found is None:
                raise ValueError(f"no key at line {self.line()}")
            parts.append(found[0].strip("\"'") if found[0][0] in "\"'" else found[0])
            self.at = found.end()
            self.skip(_SPACE)
            if self.at >= len(self.text) or self.text[self.at] != ".":
                return parts
            self.at += 1

    def pair(self, table: Path) -> None:
        line = self.line()
        path = (*table, *self.key())
        self.lines.setdefault(path, line)
        self.at += 1  # the equals sign
        self.value(path)

    def value(self, path: Path) -> None:
        self.skip(_SPACE)
        opening = self.text[self.at]
        if opening == "[":
            self.at += 1
            member = 0
            while self.text[self.skip(_ROOM)] != "]":
                self.note((*path, member))
                self.value((*path, member))
                member += 1
                if self.text[self.skip(_ROOM)] == ",":
                    self.at += 1
            self.at += 1
        elif opening == "{":
            self.at += 1
            while self.text[self.skip(_ROOM)] != "}":
                self.pair(path)
                if self.text[self.skip(_ROOM)] == ",":
                    self.at += 1
            self.at += 1
        else:
            found = (_STRING if opening in "\"'" else _BARE).match(self.text, self.at)
            self.at = found.end() if found else self.at + 1

    def note(self, path: Path) -> None:
        self.lines.setdefault(path, self.line())

    def line(self) -> int:
        return self.text.count("\n", 0, self.at) + 1

    def skip(self, what: re.Pattern[str]) -> int:
        """Move past blanks and comments; where that leads to."""
        while found := what.match(self.text, self.at):
            self.at = found.end()
        return self.at
