"""What is kept of a ride while it is read: the signals passed so far, and all that is needed to go on.

It is one file, written whole now and then. Its first part says what made it; work by anything else is not
gone on with.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import msgspec
from msgspec import Struct

from litlamp.report.footage_record import FootageSignal
from litlamp.report.whole_file import write_whole
from litlamp.sight.shades import Known

NAME = "footage.state"


class StateError(Exception):
    """What was kept cannot be gone on with; the message is one sentence."""


class Picture(Struct, frozen=True):
    """A small picture of a signal (JPEG), and when it was taken, seconds."""

    at_s: float
    jpeg: bytes


class Passed(Struct, frozen=True):
    """A signal that was passed.

    Attributes
    ----------
    signal : its record; its number and what depends on other signals are not settled yet.
    pictures : of each aspect it showed, in time order, and at `best` the one that its boxes are of.
    best : index into `pictures`; None where there are none.
    times, edges : where its heads were in each frame, seconds and whole px (four edges a moment).
    lamps : those that lamps of signals to come are held against.
    """

    signal: FootageSignal
    pictures: tuple[Picture, ...]
    best: int | None
    times: tuple[float, ...]
    edges: tuple[int, ...]
    lamps: tuple[Known, ...] = ()


class Place(Struct, frozen=True):
    """The last frame that was taken in: its ticks, seconds, number from 1, and a mark of its pixels."""

    pts: int
    time_base: tuple[int, int]
    first_pts: int
    first_time_base: tuple[int, int]
    at_s: float
    frames: int
    mark: int


class State(Struct, frozen=True, kw_only=True):
    """How far a ride was read.

    `place` and `watch` are None where it was read to its end; `size`, `duration_s`, `times_fault` and `notes`
    are the clip's.
    """

    made_by: dict[str, str]
    size: tuple[int, int]
    duration_s: float | None
    at_s: float
    cut: bool
    passed: tuple[Passed, ...]
    notes: tuple[str, ...]
    times_fault: str | None = None
    place: Place | None = None
    watch: bytes | None = None


def save_state(folder: Path, state: State) -> None:
    """Write it into the folder. Raises `litlamp.report.whole_file.WriteError`."""
    write_whole(folder / NAME, msgspec.msgpack.encode(state))


def load_state(folder: Path, made_by: Mapping[str, str]) -> State | None:
    """What was kept in the folder; None where there is nothing.

    Raises
    ------
    StateError : it cannot be read, or was made by something else; the first difference is named.
    """
    path = folder / NAME
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise StateError(f"{path}: {(error.strerror or 'cannot be read').lower()}") from error
    try:
        state = msgspec.msgpack.decode(data, type=State)
    except (msgspec.DecodeError, UnicodeDecodeError, ValueError) as error:
        raise StateError(f"{path} is damaged, or of another version: begin anew without --resume") from error
    for name in dict.fromkeys([*state.made_by, *made_by]):
        then, now = state.made_by.get(name, "not given"), made_by.get(name, "not given")
        if then != now:
            raise StateError(
                f"{path} was begun with {name} {then}, but now it is {now}: go on with what began it, or "
                f"begin anew without --resume"
            )
    return state


def unfinished(folder: Path) -> bool:
    """Whether the folder holds a ride that was not read to its end."""
    try:
        state = msgspec.msgpack.decode((folder / NAME).read_bytes(), type=State)
    except (OSError, msgspec.DecodeError, UnicodeDecodeError, ValueError):
        return False
    return state.watch is not None


def of_another(folder: Path, source: str) -> bool:
    """Whether the folder holds no work on this clip; what is damaged may be."""
    try:
        state = msgspec.msgpack.decode((folder / NAME).read_bytes(), type=State)
    except FileNotFoundError:
        return True
    except (OSError, msgspec.DecodeError, UnicodeDecodeError, ValueError):
        return False
    known = state.made_by.get("source"), state.made_by.get("length and date")
    return known != (Path(source).name, clip_mark(source))


def clip_mark(source: str) -> str:
    """What tells a source from another of the same name: how long it is and when it was last changed."""
    try:
        of = Path(source)
        if of.is_dir():
            files = sorted(p.name for p in of.iterdir())
            return f"{len(files)} files"
        status = of.stat()
    except OSError:
        return "not known"
    return f"{status.st_size} bytes of {status.st_mtime_ns}"
