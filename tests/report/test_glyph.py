from __future__ import annotations

import re

import pytest

from litlamp.report.glyph import glyph


@pytest.mark.parametrize(
    ("words", "letters"),
    [
        ("yellow over green over red, vertical, mast", ["Y", "G", "R"]),
        ("flashing yellow over red, staggered, mast", ["Y", "R"]),
        ("lunar, dwarf", ["L"]),
    ],
)
def test_each_lamp_has_its_letter(words: str, letters: list[str]) -> None:
    drawn = glyph(words)
    assert re.findall(r">([A-Z])</text>", drawn) == letters
    assert ("stroke-dasharray" in drawn) == ("flashing" in words)
    assert f'aria-label="{words}"' in drawn


def test_heads_that_are_staggered_stand_aside() -> None:
    xs = [
        set(re.findall(r'cx="([\d.]+)"', glyph(f"red over red, {how}"))) for how in ("vertical", "staggered")
    ]
    assert [len(x) for x in xs] == [1, 2]


def test_what_names_no_heads_is_not_drawn() -> None:
    assert glyph("") == glyph("something <else>") == ""
