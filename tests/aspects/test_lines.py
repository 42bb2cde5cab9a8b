"""The lines of a TOML text, against what the standard library reads from the same text."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from litlamp.aspects.lines import line_of, lines_of
from litlamp.aspects.rulebook import book_names, book_text

TRICKY = '''# a comment with [brackets] and "quotes"
top = 1
"quoted key" = 'literal # not a comment'
a.b.c = [1, 2, # three
  3,
]
[table]   # a table
text = """
many
lines ] } = # """
after = true
[[rule]]
name = "one"
aspects = [
  { heads = "red", plates = ["A", "R"] },  # { a comment }
  { heads = "green" },
]
[rule.deep]
x = 2020-01-01T00:00:00Z
[[rule]]
name = "two"
[[rule.part]]
n = 1
[[rule.part]]
n = 2
'''


def values(data: Any, path: tuple[str | int, ...] = ()) -> list[tuple[tuple[str | int, ...], Any]]:
    if isinstance(data, dict):
        return [found for key, value in data.items() for found in values(value, (*path, key))]
    if isinstance(data, list):
        return [found for at, value in enumerate(data) for found in values(value, (*path, at))]
    return [(path, data)]


def test_places_in_a_tricky_text() -> None:
    lines = lines_of(TRICKY)
    expected = {
        ("top",): 2,
        ("quoted key",): 3,
        ("a", "b", "c"): 4,
        ("a", "b", "c", 2): 5,
        ("table", "text"): 8,
        ("table", "after"): 11,
        ("rule", 0, "aspects", 0, "plates", 1): 15,
        ("rule", 0, "aspects", 1, "heads"): 16,
        ("rule", 0, "deep", "x"): 19,
        ("rule", 1, "name"): 21,
        ("rule", 1, "part", 1, "n"): 25,
    }
    assert {path: lines[path] for path in expected} == expected
    assert {path for path, _ in values(tomllib.loads(TRICKY))} <= lines.keys()
    assert line_of(lines, ("rule", 1, "nothing", "here")) == lines["rule", 1]


@pytest.mark.parametrize("name", book_names())
def test_every_text_of_a_shipped_book_stands_on_its_line(name: str) -> None:
    text = book_text(name)
    lines, rows = lines_of(text), text.splitlines()
    for path, value in values(tomllib.loads(text)):
        said = str(value).lower() if isinstance(value, bool) else str(value).replace('"', '\\"')
        assert said in rows[lines[path] - 1], path
