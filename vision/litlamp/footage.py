"""The whole way for a ride: watched once, each signal read as it is passed, and written down for a reviewer.

Nothing is kept of frames but small pictures of the signals, so that an hour costs no more memory than a
minute. What was read is laid down every few seconds: a ride that was stopped goes on where it was.
"""

from __future__ import annotations

import contextlib
import signal as signals_of_the_system
import threading
import time
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

from litlamp.aspects.aspect import Mount
from litlamp.footage_state import (
    NAME,
    Passed,
    Picture,
    Place,
    State,
    StateError,
    clip_mark,
    load_state,
    of_another,
    save_state,
    unfinished,
)
from litlamp.photo_reading import DEFAULT_LEVEL, SourceReading, source_name
from litlamp.ride import TRACK_UNKNOWN, Ride, assembled

if TYPE_CHECKING:
    from litlamp.aspects.reading import Reading
    from litlamp.aspects.rulebook import Rulebook
    from litlamp.media.clip import Clip
    from litlamp.media.clip_frame import ClipFrame
    from litlamp.media.frame import Time
    from litlamp.report.footage_record import Ended, KnownRecord, Where
    from litlamp.sight.eyes import Eyes
    from litlamp.sight.passing import Passing, View, Way
    from litlamp.sight.signals import SignalInClip
    from litlamp.sight.tracks import Track

SAVED_EVERY = 15.0
"""Seconds of work between two savings of what was done."""
TOLD_EVERY = 0.2
"""Seconds between two words on how far it is."""
GROWN = 1.15
"""A signal that left the picture has grown by so much since it was first seen, if it was passed."""
COMING = 0.6
"""Seconds in which it may then leave the picture, going on as it went in so many before."""
NEAR_EDGE = -0.25
"""It leaves by an edge if it then reaches over it, or nearly so, in terms of its own size."""
MIDDLE = 0.1
"""Share of the picture's width from its middle within which it was passed above, not aside."""


class FootageError(Exception):
    """The ride cannot be read at all; the message is one sentence."""


@dataclass(frozen=True, slots=True)
class Made:
    """What was written of a ride.

    Attributes
    ----------
    faults : sentences on what was not read or written to its end.
    notes : sentences on what is otherwise not as one might expect.
    """

    ride: Ride
    files: tuple[Path, ...]
    faults: tuple[str, ...]
    notes: tuple[str, ...] = ()


def make_footage(
    source: str,
    folder: Path,
    *,
    book: Rulebook | None = None,
    level: float = DEFAULT_LEVEL,
    expect: Mount | None = None,
    eyes: Eyes | None = None,
    fps: Fraction | float | None = None,
    resume: bool = False,
    video: bool = True,
    progress: Callable[[str, float, float | None], None] | None = None,
) -> Made:
    """Read a ride and write all of `litlamp footage` into the folder.

    Parameters
    ----------
    video : write the ride with marks on it too, which takes longer than all else.
    progress : called now and then with what is being done, and how many seconds of how many.
    source, folder, book, level, expect, eyes, fps, resume, and what is raised : as for `read_ride`.
    """
    from litlamp.aspects.rulebook import load_book
    from litlamp.report.ride_files import VIDEO, write_ride

    book = book or load_book()
    kept = folder / NAME
    if source == "-":
        raise FootageError("a ride may be read more than once, so it must be a file, not standard input")
    if not resume and unfinished(folder):
        raise StateError(
            f"{folder} holds a ride that was not read to its end: go on with --resume, or remove {kept}"
        )

    _nothing_lost(source, folder)

    def told(label: str) -> Callable[[float, float | None], None]:
        return lambda seconds, length: progress(label, seconds, length) if progress is not None else None

    ride = read_ride(
        source, folder, book=book, level=level, expect=expect, eyes=eyes, fps=fps, resume=resume,
        progress=told("reading"),
    )  # fmt: skip
    files = write_ride(ride, folder, book, video=video and not ride.stopped)
    faults: list[str] = []
    notes: tuple[str, ...] = ()
    if video and not ride.stopped:
        from litlamp.media.errors import MediaError
        from litlamp.report.ride_video import write_video

        path = folder / VIDEO
        try:
            notes = write_video(
                source, path, ride.record, ride.passed, fps=fps, told=told("writing the video")
            )
            files = (*files, path)
        except MediaError as error:
            faults.append(f"{source}: {error.sentence}; the video was not written")
        except KeyboardInterrupt:
            ride = replace(ride, stopped=True)
            faults.append(f"interrupted: all but the video is in {folder}; --resume goes on with it")
    elif ride.stopped:
        at = ride.record.footage.read_to_s if ride.record.footage else 0.0
        faults.append(f"interrupted: the first {at:.0f} s are in {folder}; go on with --resume")
    if not ride.whole and not ride.stopped:
        why = ride.record.notes or ("this clip is cut off",)
        faults.append(f"{source}: {why[-1]}; what was read is kept")
    return Made(ride, files, tuple(faults), notes)


def _nothing_lost(source: str, folder: Path) -> None:
    """See to it that nothing that will be written replaces the clip, or what is not of this ride.

    Raises
    ------
    FootageError : the clip lies where something will be written.
    litlamp.footage_state.StateError : something else does.
    """
    from litlamp.report.ride_files import NAMES

    there = [folder / name for name in NAMES if (folder / name).exists()]
    for path in there:
        with contextlib.suppress(OSError):
            if path.samefile(source):
                raise FootageError("what is written would replace this clip: choose another folder")
    if there and of_another(folder, source):
        raise StateError(f"{there[0]} is not of this ride and would be lost: choose another folder")


def read_ride(
    source: str,
    folder: Path,
    *,
    book: Rulebook | None = None,
    level: float = DEFAULT_LEVEL,
    expect: Mount | None = None,
    eyes: Eyes | None = None,
    fps: Fraction | float | None = None,
    resume: bool = False,
    progress: Callable[[float, float | None], None] | None = None,
) -> Ride:
    """Read a ride; the state of the work is kept in `folder`, which must be there.

    Parameters
    ----------
    source : path of a file or of a folder of photographs taken one after another.
    book, level, expect, eyes, fps : as for `litlamp.clip_reading.read_clip`.
    resume : go on with what the folder holds of an earlier run; from the beginning where it holds nothing.
    progress : called now and then with the seconds read and the clip's length in seconds (None: unknown).

    Raises
    ------
    FootageError : the source is no clip that can be read.
    litlamp.footage_state.StateError : what was kept is of another clip or was made otherwise.
    litlamp.report.whole_file.WriteError : the folder is full or cannot be written to.
    """
    from litlamp.aspects.rulebook import load_book
    from litlamp.sight.eyes import load_eyes

    book = book or load_book()
    eyes = eyes or load_eyes(threads=1)
    made_by = _made_by(source, book, level, expect, eyes, fps)
    kept = load_state(folder, made_by) if resume else None
    reader = _Reader(source, folder, book, level, expect, eyes, fps, made_by, kept)
    if kept is None or kept.watch is not None:
        reader.read(progress)
    return reader.ride()


def _made_by(
    source: str, book: Rulebook, level: float, expect: Mount | None, eyes: Eyes, fps: Fraction | float | None
) -> dict[str, str]:
    from litlamp import __version__

    made_by = {
        "litlamp": __version__,
        "source": Path(source).name,
        "length and date": clip_mark(source),
        "rulebook": book.label,
        "level": f"{level:g}",
        "expect": expect or "nothing",
    }
    if fps is not None:
        made_by["fps"] = f"{float(fps):g}"
    return made_by | {f"model {part}": name for part, name in sorted(eyes.names.items())}


class _Reader:
    """Reads one ride, from its beginning or from what was kept."""

    def __init__(
        self,
        source: str,
        folder: Path,
        book: Rulebook,
        level: float,
        expect: Mount | None,
        eyes: Eyes,
        fps: Fraction | float | None,
        made_by: dict[str, str],
        kept: State | None,
    ) -> None:
        from litlamp.sight.frozen import FrozenError, thaw
        from litlamp.sight.passing import Passing

        self._source, self._folder = source, folder
        self._book, self._level, self._expect, self._eyes, self._fps = book, level, expect, eyes, fps
        self._made_by = made_by
        try:
            going_on = None if kept is None or kept.watch is None else thaw(kept.watch, eyes)
        except FrozenError as error:
            raise StateError(f"{folder / NAME}: {error}; begin anew without it") from error
        self._watch: Passing | None
        self._done: list[Passed] = []
        self._open: list[Passed] = []
        self._place: Place | None = None
        self._size, self._at = (1, 1), 0.0
        self._duration: float | None = None
        self._notes: tuple[str, ...] = ()
        self._fault: str | None = None
        self._cut = self.stopped = False
        if kept is None:
            self._watch = Passing(eyes)
            return
        self._watch = going_on
        self._done = list(kept.passed)
        self._place = kept.place
        self._size, self._duration, self._at = kept.size, kept.duration_s, kept.at_s
        self._notes, self._fault, self._cut = kept.notes, kept.times_fault, kept.cut and going_on is None

    def read(self, progress: Callable[[float, float | None], None] | None) -> None:
        """On to the clip's end, or to where it is interrupted."""
        from litlamp.media.ahead import ahead, frames_ready
        from litlamp.media.clip import MediaError
        from litlamp.sight.beside import one_thread
        from litlamp.sight.watch import seconds

        watch = self._watch
        assert watch is not None
        try:
            clip, frames = self._opened()
        except MediaError as error:
            raise FootageError(error.sentence) from error
        last = None if self._place is None else _time_of(self._place)
        saved = said = time.monotonic()
        frame: ClipFrame | None = None
        broke = False
        with clip, _Interruption() as stop, one_thread():
            try:
                coming = ahead(seconds(frames, self._at, last), frames_ready(clip.size))
                with contextlib.closing(coming) as timed:
                    for frame, at in timed:
                        watch.frame(frame, at)
                        self._took(frame, at)
                        for track in watch.passed(at):
                            self._finish(track, ended=False)
                            watch.forget(track)
                        now = time.monotonic()
                        if progress is not None and now - said >= TOLD_EVERY:
                            said = now
                            progress(at, self._duration)
                        if stop.asked or now - saved >= SAVED_EVERY:
                            self._save(clip, frame)
                            saved = now
                        if stop.asked:
                            self.stopped = True
                            break
            except MediaError as error:  # a drive that went away: it may be back later
                broke = self._cut = True
                if frame is not None:
                    self._save(clip, frame)
                self._notes = (*self._notes, error.sentence)
            self._notes = tuple(dict.fromkeys((*self._notes, *clip.notes)))
        tracks = watch.end()
        if self.stopped or broke:
            # What is still in view is told as far as it is known, but read anew when this is gone on with.
            before = len(self._done)
            for track in tracks:
                self._finish(track, ended=True)
            self._done, self._open = self._done[:before], self._done[before:]
            return
        for track in tracks:
            self._finish(track, ended=True)
        self._watch, self._place = None, None
        length = self._duration
        self._cut = self._cut or (length is not None and self._at < min(0.9 * length, length - 0.5))
        self._store(None, None)

    def ride(self) -> Ride:
        """What was read, as it is published."""
        return assembled(
            [*self._done, *self._open],
            self._clip_reading(),
            self._book,
            at=self._at,
            whole=not self._cut and not self.stopped,
            stopped=self.stopped,
        )

    def _opened(self) -> tuple[Clip, Iterator[ClipFrame]]:
        """The clip, and its frames from the one after that which was taken in last."""
        from litlamp.media.clip import open_clip
        from litlamp.media.clip_frame import Start
        from litlamp.media.frame import Time

        place = self._place
        if place is None:
            clip = open_clip(self._source, fps=self._fps, thin=True)
            self._size, self._duration = clip.size, clip.duration
            return clip, clip
        time_of = Time(place.pts, Fraction(*place.time_base))
        first = Time(place.first_pts, Fraction(*place.first_time_base))
        if self._fault is None:
            start = Start(time_of, first, place.frames)
            clip = open_clip(self._source, fps=self._fps, start=start, thin=True)
            clip.size = self._size
            if any(frame.time == time_of and _mark(frame) == place.mark for frame in _up_to(clip, time_of)):
                return clip, clip
            clip.close()
        # It cannot be wound forward to that very frame: decoded again, but not looked at.
        clip = open_clip(self._source, fps=self._fps, thin=True)
        for count, _ in enumerate(clip, 1):
            if count == place.frames:
                break
        return clip, clip

    def _took(self, frame: ClipFrame, at: float) -> None:
        self._at = at
        self._fault = frame.times_fault or self._fault
        time_of, before = frame.time, self._place
        base = (time_of.time_base.numerator, time_of.time_base.denominator)
        if before is None:
            self._place = Place(time_of.pts, base, time_of.pts, base, at, 1, 0)
        else:
            self._place = Place(
                time_of.pts, base, before.first_pts, before.first_time_base, at, before.frames + 1, 0
            )

    def _save(self, clip: Clip, frame: ClipFrame) -> None:
        from litlamp.sight.frozen import freeze

        assert self._place is not None and self._watch is not None
        self._notes = tuple(dict.fromkeys((*self._notes, *clip.notes)))
        p = self._place
        marked = Place(
            p.pts, p.time_base, p.first_pts, p.first_time_base, p.at_s, p.frames, _mark(frame)
        )  # fmt: skip
        self._store(marked, freeze(self._watch))

    def _store(self, place: Place | None, watch: bytes | None) -> None:
        save_state(
            self._folder,
            State(
                made_by=self._made_by,
                size=self._size,
                duration_s=self._duration,
                at_s=self._at,
                cut=self._cut,
                passed=tuple(self._done),
                notes=self._notes,
                times_fault=self._fault,
                place=place,
                watch=watch,
            ),
        )

    def _finish(self, track: Track, *, ended: bool) -> None:
        """Read a signal that will not be seen again; `ended`: because there is no more to see."""
        from litlamp.clip_reading import read_signal
        from litlamp.report.footage_record import PassedRecord, signal_of
        from litlamp.report.record import record

        watch = self._watch
        assert watch is not None
        one = self._signal(track)
        if one is None:
            return
        read = read_signal(one, self._book, self._level, self._expect)
        seen, said, passage = read
        of = record(
            SourceReading(
                "", "clip", self._size, ((seen, said),), None, self._book.name, self._book.edition,
                duration_s=self._at, passages=(passage,),
            )
        )  # fmt: skip
        way = watch.ways[track.number]
        left, side = _ending(track, way, one.span, self._size, self._at, ended=ended)
        lit = any(head.lamp is not None for part in one.stretches for head in part.seen.heads)
        passed = PassedRecord(
            number=0,
            ended=left,
            side=side,
            faces="towards the train" if lit else "not known",
            track=TRACK_UNKNOWN,
            known=self._known(track, one, way),
        )
        pictures, best = _pictures(watch.views.get(track.number, []), one)
        inside = [i for i, t in enumerate(way.times) if one.span[0] <= t <= one.span[1]]
        self._done.append(
            Passed(
                signal_of(of.signals[0], passed),
                pictures,
                best,
                tuple(round(way.times[i], 4) for i in inside),
                tuple(round(v) for i in inside for v in way.box(i).as_list()),
                one.known,
            )
        )

    def _signal(self, track: Track) -> SignalInClip | None:
        from litlamp.sight.signals import signals_in
        from litlamp.sight.watch import Watched

        watched = Watched([track], self._size, self._at, 0, self._fault, ())
        # Lamps to come cannot be known yet.
        before = [lamp for one in self._done for lamp in one.lamps]
        return next(iter(signals_in(watched, self._eyes.calibration, before)), None)

    def _known(self, track: Track, one: SignalInClip, way: Way) -> tuple[KnownRecord, ...]:
        """The reading as it could have been known, at a handful of moments."""
        from bisect import bisect_right

        from litlamp.clip_reading import read_signal
        from litlamp.sight.passing import moments, until

        known: list[KnownRecord] = []
        changes = [part.span[0] for part in one.stretches[1:]]
        chosen = [at for at in moments(track, changes) if one.span[0] <= at <= one.span[1]]
        for at in chosen:
            then = self._signal(until(track, at))
            if then is None:
                continue
            stretch = read_signal(then, self._book, self._level, self._expect)[2].stretches[-1]
            index = max(bisect_right(way.times, at) - 1, 0)
            known.append(_known_record(at, stretch.seen.resolution, stretch.said, way.box(index).as_list()))
        return tuple(known)

    def _clip_reading(self) -> SourceReading:
        return SourceReading(
            source_name(self._source),
            "clip",
            self._size,
            (),
            None,
            self._book.name,
            self._book.edition,
            dict(self._eyes.names),
            self._at,
            self._notes,
        )


def _known_record(at: float, width: float, said: Reading, edges: list[float]) -> KnownRecord:
    from litlamp.report.footage_record import KnownRecord
    from litlamp.report.record import GuardedRecord, RuleRecord, outcome_name, rounded

    x0, y0, x1, y1 = (round(v, 1) for v in edges)
    rules = {
        id(c): RuleRecord(c.rule, outcome_name(c), rounded(c.probability))
        for c in (*said.set, *([] if said.reading is None else [said.reading]))
    }
    guarded = said.guarded
    return KnownRecord(
        at_s=round(at, 3),
        box=(x0, y0, x1, y1),
        head_px=round(width, 1),
        aspect=said.aspect,
        reading=None if said.reading is None else rules[id(said.reading)],
        guarded=None if guarded is None else GuardedRecord(guarded.rule, outcome_name(guarded), said.level),
        set=tuple(rules[id(c)] for c in said.set),
    )


def _ending(
    track: Track, way: Way, span: tuple[float, float], size: tuple[int, int], at: float, *, ended: bool
) -> tuple[Ended, Where | None]:
    """How a signal went out of sight, and on which side; `span` is for how long it was followed surely."""
    from bisect import bisect_right

    from litlamp.sight.watch import PATIENCE

    first = next(look for look in track.looks if look.glance is not None)
    before, then = (max(bisect_right(way.times, t) - 1, 0) for t in (span[1] - COMING, span[1]))
    was, box = way.box(before), way.box(then)
    on = COMING / max(way.times[then] - way.times[before], 0.1) if then > before else 0.0
    dx, dy = (on * (b - a) for a, b in zip(was.centre, box.centre, strict=True))
    wide, high = max(box.width, 1.0), max(box.height, 1.0)
    over = max(
        -(box.x0 + dx) / wide,
        (box.x1 + dx - size[0]) / wide,
        -(box.y0 + dy) / high,
        (box.y1 + dy - size[1]) / high,
    )
    widths = [look.pose.width for look in track.looks if look.glance is not None and look.at <= span[1]]
    if over > NEAR_EDGE and max(widths, default=0.0) > GROWN * first.pose.width:
        aside = box.centre[0] / size[0] - 0.5
        return "passed", "left" if aside < -MIDDLE else "right" if aside > MIDDLE else "above"
    if ended and at - span[1] < PATIENCE and track.misses < 2:
        return "in view at the end", None
    return "lost from sight", None


def _pictures(views: list[View], one: SignalInClip) -> tuple[tuple[Picture, ...], int | None]:
    """One picture of each aspect, where there is one; and which shows it at its last clear sight."""
    chosen: list[View] = []
    best = None
    for i, part in enumerate(one.stretches):
        last = i == len(one.stretches) - 1
        own = [v for v in views if part.span[0] <= v.at < part.span[1] or (last and v.at >= part.span[0])]
        if not own:
            continue
        view = min(own, key=lambda v: (abs(v.at - part.at) > 1e-9, -v.worth))
        if i == one.last_clear:
            best = len(chosen)
        chosen.append(view)
    return tuple(Picture(round(v.at, 3), v.jpeg) for v in chosen), best


def _up_to(clip: Clip, time_of: Time) -> Iterator[ClipFrame]:
    """Frames until the one of that time; that one is the last."""
    for frame in clip:
        yield frame
        if frame.time.seconds >= time_of.seconds:
            return


def _mark(frame: ClipFrame) -> int:
    """A number that tells this frame's pixels from another's."""
    return zlib.crc32(frame.luma[3::7, 3::7].tobytes())


def _time_of(place: Place) -> Fraction:
    return place.pts * Fraction(*place.time_base)


class _Interruption:
    """While it holds, the first Ctrl-C is only noted, so that the frame at hand is finished."""

    def __init__(self) -> None:
        self.asked = False
        self._before: object = None

    def __enter__(self) -> _Interruption:
        if threading.current_thread() is threading.main_thread():
            self._before = signals_of_the_system.signal(signals_of_the_system.SIGINT, self._ask)
        return self

    def _ask(self, number: int, frame: FrameType | None) -> None:
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True

    def __exit__(self, *_: object) -> None:
        if self._before is not None:
            signals_of_the_system.signal(signals_of_the_system.SIGINT, self._before)  # type: ignore[arg-type]
