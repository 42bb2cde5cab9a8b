"""A watch laid down as bytes in mid-clip, and taken up again so that it goes on as if it had never stopped.

What is taken up is a file of the user's, so nothing in it is run: only the plain values and the classes that
a watch is made of are let in.
"""

from __future__ import annotations

import io
import pickle
from typing import Any

from litlamp.sight.eyes import Eyes
from litlamp.sight.passing import Passing

FORM = 3
"""Counted up with every change of what a watch is made of: one of another form cannot be gone on with."""
_EYES = "eyes"
_OURS = ("litlamp.box", "litlamp.sight.", "litlamp.aspects.belief")
_OTHERS = frozenset(
    {
        ("array", "_array_reconstructor"),
        ("array", "array"),
        ("collections", "deque"),
        ("fractions", "Fraction"),
        ("numpy", "dtype"),
        ("numpy", "ndarray"),
        ("numpy._core.multiarray", "_reconstruct"),
        ("numpy._core.multiarray", "scalar"),
        ("numpy._core.numeric", "_frombuffer"),
    }
)


class FrozenError(Exception):
    """The bytes are no watch that this version of litlamp can go on with; the message is one sentence."""


class _Pickler(pickle.Pickler):
    def persistent_id(self, obj: Any) -> str | None:
        return _EYES if isinstance(obj, Eyes) else None


class _Unpickler(pickle.Unpickler):
    def __init__(self, data: bytes, eyes: Eyes) -> None:
        super().__init__(io.BytesIO(data))
        self._eyes = eyes

    def persistent_load(self, pid: Any) -> Eyes:
        if pid != _EYES:
            raise pickle.UnpicklingError("unknown reference")
        return self._eyes

    def find_class(self, module: str, name: str) -> Any:
        if (module, name) in _OTHERS:
            return super().find_class(module, name)
        if module.startswith(_OURS) and "." not in name:
            found = super().find_class(module, name)
            if isinstance(found, type) and found.__module__ == module:
                return found
        raise pickle.UnpicklingError(f"{module}.{name} has no place in it")


def freeze(watch: Passing) -> bytes:
    """All of the watch but the networks it looks with."""
    out = io.BytesIO()
    _Pickler(out, protocol=5).dump((FORM, watch))
    return out.getvalue()


def thaw(data: bytes, eyes: Eyes) -> Passing:
    """The watch that was laid down, looking with these eyes.

    Raises
    ------
    FrozenError : anything else than a watch, or one of another version.
    """
    try:
        form, watch = _Unpickler(data, eyes).load()
    except Exception as error:  # a pickle that was tampered with may raise anything
        raise FrozenError("what was kept of an earlier run cannot be gone on with") from error
    if form != FORM or not isinstance(watch, Passing):
        raise FrozenError("what was kept of an earlier run is something else")
    return watch
