"""An aspect as a small drawing (SVG): its heads top to bottom, each lamp with its letter, for any eyes."""

from __future__ import annotations

from html import escape

from litlamp.aspects.aspect import Aspect, Colour
from litlamp.aspects.words import AspectWordsError, parse_aspect

_PAINT: dict[Colour, tuple[str, str, str]] = {
    "red": ("#e5352b", "#ffffff", "R"),
    "yellow": ("#ffc21f", "#1b1f27", "Y"),
    "green": ("#19b36b", "#08130d", "G"),
    "lunar": ("#e6edff", "#1b1f27", "L"),
    "dark": ("#3b414d", "#c3c8d1", ""),
}


def glyph(words: str) -> str:
    """The aspect of these words; "" where they name no heads. A flashing lamp has rays."""
    try:
        aspect = parse_aspect(words)
    except AspectWordsError:
        return ""
    return _drawn(aspect, words) if aspect.heads else ""


def _drawn(aspect: Aspect, words: str) -> str:
    aside = 7 if aspect.arrangement == "staggered" and len(aspect.heads) > 1 else 0
    wide, high = 30 + 2 * aside, 8 + 24 * len(aspect.heads)
    parts = []
    for i, lamp in enumerate(aspect.heads):
        x = wide / 2 + (aside if i % 2 else -aside)
        y = 4 + 24 * i + 12
        paint, ink, letter = _PAINT[lamp.colour]
        parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="11.5" fill="#11141a" stroke="#7d8592"/>')
        if lamp.flashing:
            parts.append(
                f'<circle cx="{x:g}" cy="{y:g}" r="9.6" fill="none" stroke="{paint}" stroke-width="3" '
                f'stroke-dasharray="3 3"/>'
            )
        parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="7.4" fill="{paint}"/>')
        if letter:
            parts.append(
                f'<text x="{x:g}" y="{y + 3.6:g}" text-anchor="middle" font-size="10" font-weight="700" '
                f'font-family="sans-serif" fill="{ink}">{letter}</text>'
            )
    return (
        f'<svg class="glyph" role="img" aria-label="{escape(words)}" width="{wide}" height="{high}" '
        f'viewBox="0 0 {wide} {high}"><title>{escape(words)}</title>{"".join(parts)}</svg>'
    )
