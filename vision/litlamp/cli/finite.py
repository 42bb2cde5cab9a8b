"""Numbers on a command line: none that is no number, none without end."""

from __future__ import annotations

import math
from typing import Any

import click


class Finite(click.FloatRange):
    """A number in a range, its bounds as for `click.FloatRange`, which itself lets nan pass."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number; nan and infinities are bad usage."""
        number: float = super().convert(value, param, ctx)
        if not math.isfinite(number):
            self.fail(f"{number:g} is no finite number", param, ctx)
        return number
