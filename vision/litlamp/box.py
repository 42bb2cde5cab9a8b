"""A rectangle in a picture: pixels, origin top left, right and bottom edges exclusive."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import reduce


@dataclass(frozen=True, slots=True)
class Box:
    """An axis-aligned rectangle, x0 <= x1 and y0 <= y1, px in the upright picture."""

    x0: float
    y0: float
    x1: float
    y1: float

    def __post_init__(self) -> None:
        if not (self.x0 <= self.x1 and self.y0 <= self.y1):
            raise ValueError(f"box edges out of order: {self}")

    @property
    def width(self) -> float:
        """Width in px."""
        return self.x1 - self.x0

    @property
    def height(self) -> float:
        """Height in px."""
        return self.y1 - self.y0

    @property
    def area(self) -> float:
        """Area in px squared."""
        return self.width * self.height

    @property
    def centre(self) -> tuple[float, float]:
        """Centre (x, y)."""
        return (self.x0 + self.x1) / 2, (self.y0 + self.y1) / 2

    def clamp(self, width: float, height: float) -> Box:
        """The part of this box inside a picture of that size (perhaps empty)."""
        x0, x1 = min(max(self.x0, 0.0), width), min(max(self.x1, 0.0), width)
        y0, y1 = min(max(self.y0, 0.0), height), min(max(self.y1, 0.0), height)
        return Box(x0, y0, x1, y1)

    def overlap(self, other: Box) -> float:
        """Area that both cover, px."""
        w = min(self.x1, other.x1) - max(self.x0, other.x0)
        h = min(self.y1, other.y1) - max(self.y0, other.y0)
        return w * h if w > 0 and h > 0 else 0.0

    def iou(self, other: Box) -> float:
        """Intersection over union, 0 to 1; 0 where both are empty."""
        both = self.overlap(other)
        return both / (self.area + other.area - both) if both > 0 else 0.0

    def union(self, other: Box) -> Box:
        """The smallest box holding both."""
        return Box(
            min(self.x0, other.x0), min(self.y0, other.y0), max(self.x1, other.x1), max(self.y1, other.y1)
        )

    def grow(self, by: float) -> Box:
        """This box with every edge moved out by so many px (never inside out)."""
        cx, cy = self.centre
        w, h = max(self.width + 2 * by, 0.0) / 2, max(self.height + 2 * by, 0.0) / 2
        return Box(cx - w, cy - h, cx + w, cy + h)

    def shift(self, dx: float, dy: float) -> Box:
        """This box moved."""
        return Box(self.x0 + dx, self.y0 + dy, self.x1 + dx, self.y1 + dy)

    def scale(self, by: float) -> Box:
        """This box in a picture resized by that factor."""
        return Box(self.x0 * by, self.y0 * by, self.x1 * by, self.y1 * by)

    def as_list(self) -> list[float]:
        """[x0, y0, x1, y1], rounded to a tenth of a pixel; plain floats whatever the edges were made of."""
        return [round(float(v), 1) for v in (self.x0, self.y0, self.x1, self.y1)]


def union_of(boxes: Iterable[Box]) -> Box:
    """The smallest box that holds them all. TypeError: there are none."""
    return reduce(Box.union, boxes)
