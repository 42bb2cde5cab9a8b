"""What reading a clip costs beside decoding it alone.

`python tests/bench/clip_cost.py` renders a still, pans and zooms over it with a shaking hand and grain, and
writes that as H.264 at 8 Mbit/s in three sizes. Each clip is then decoded by PyAV alone (nothing looked at)
and read whole, in turn, on the same cores in the same run, so that a slower moment of the machine falls on
both. The first reading is left out of the figures, as is the loading of the networks. Printed besides: what
each part of the reading took, and what `litlamp read` takes in a process of its own and holds at most, beside
a process that only decodes. Where the cores are shared with others, the processor times tell more than those
of the clock. `--sizes 1920x1080 --seconds 3` is a short clip from the hand.

`--repeat N ...` reads the clip N times over as one clip, each in a process of its own, and prints how long
that took, the most memory that was held, and how much was held as it went on. `--clip FILE` takes that clip
instead of those drawn.
"""

from __future__ import annotations

import argparse
import atexit
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np

from litlamp.aspects.words import parse_aspect
from litlamp.clip_reading import read_clip
from litlamp.scene.draw import draw
from litlamp.sight import watch as watching
from litlamp.sight.exposure import Exposure
from litlamp.sight.eyes import load_eyes
from litlamp.sight.tracks import Track

SIZES = ("1280x720", "1920x1080", "3840x2160")
# Starts what it is told to and prints the seconds by the clock and of the processor that took, and its peak
# resident set. It does nothing else, for Linux hands a parent's peak on to its children.
_TIMED = """
import os, subprocess, sys, time
began = time.perf_counter()
_, _, used = os.wait4(subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL).pid, 0)
print(time.perf_counter() - began, used.ru_utime + used.ru_stime, used.ru_maxrss)
"""
_READS = ["-m", "litlamp", "read"]
_DECODES = ["-c", """
import av, sys
with av.open(sys.argv[1]) as container:
    stream = container.streams.video[0]
    stream.thread_type = "AUTO"
    for _ in container.decode(stream):
        pass
"""]  # fmt: skip
_READS_ON = ["-c", """
from pathlib import Path
import os, sys, time
from litlamp.clip_reading import read_clip
from litlamp.sight.eyes import load_eyes
said, began = 0.0, time.perf_counter()

def told(at, whole):
    global said
    if at - said >= 60:
        said = at
        pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
        held = pages * os.sysconf("SC_PAGE_SIZE") / 2**20
        gone = time.perf_counter() - began
        print(f"    at {at:5.0f} s of the clip, after {gone:5.1f} s: {held:.0f} MB held", file=sys.stderr)

read_clip(sys.argv[1], eyes=load_eyes(threads=1), progress=told)
"""]  # fmt: skip


def write(path: Path, size: tuple[int, int], seconds: float, mbit: float, words: str, seed: int) -> None:
    """A hand-held clip of one signal, which comes nearer; 30 frames a second."""
    width, height = size
    still, _ = draw(parse_aspect(words), seed=seed, size=(2560, 1920))
    dice = np.random.default_rng(seed)
    grain = [dice.normal(0, 2.5, (height, width)).astype(np.float32) for _ in range(4)]
    with av.open(str(path), "w") as container:
        options = {"preset": "veryfast", "bf": "2"}
        stream = container.add_stream("libx264", rate=30, options=options)
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        stream.bit_rate = int(mbit * 1e6)
        for index in range(round(30 * seconds)):
            at = index / 30
            zoom = height / 1900 * (1 + 0.25 * at / seconds)
            x = 1280 + 12 * np.sin(2.1 * at) + 3 * np.sin(17 * at)
            y = 960 + 9 * np.cos(1.7 * at) + 3 * np.sin(13 * at)
            back = np.array([[1 / zoom, 0, x - width / 2 / zoom], [0, 1 / zoom, y - height / 2 / zoom]])
            seen = cv2.warpAffine(
                still, back, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                borderMode=cv2.BORDER_REFLECT,
            )  # fmt: skip
            picture = av.VideoFrame.from_ndarray(seen, format="rgb24").reformat(format="yuv420p")
            plane = picture.planes[0]
            codes = np.frombuffer(plane, np.uint8).reshape(plane.height, plane.line_size)[:, :width]
            codes[:] = np.clip(codes + grain[index % 4], 16, 235).astype(np.uint8)
            picture.pts, picture.time_base = index, Fraction(1, 30)
            container.mux(stream.encode(picture))
        container.mux(stream.encode())


def alone(path: Path) -> int:
    """Decode and look at nothing."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        return sum(1 for _ in container.decode(stream))


class Clocks:
    """Time spent in the parts of watching, by wrapping them."""

    PARTS: tuple[tuple[Any, str, str], ...] = (
        (Exposure, "factor", "exposure"),
        (Track, "step", "following and lamps"),
        (Track, "anchor", "points to follow"),
        (watching, "spots_in", "scanning for spots"),
        (watching, "heads_at", "finder at spots"),
        (watching, "heads_in_whole", "finder on the whole"),
        (watching, "glance", "looks at signals"),
    )

    def __init__(self) -> None:
        self.spent: dict[str, float] = {}
        self.calls: dict[str, int] = {}
        self._kept = [(owner, name, getattr(owner, name)) for owner, name, _ in self.PARTS]

    def __enter__(self) -> Clocks:
        for owner, name, words in self.PARTS:
            setattr(owner, name, self._timed(getattr(owner, name), words))
        return self

    def __exit__(self, *_: object) -> None:
        for owner, name, call in self._kept:
            setattr(owner, name, call)

    def _timed(self, call: Callable[..., Any], words: str) -> Callable[..., Any]:
        def timed(*given: Any, **named: Any) -> Any:
            start = time.perf_counter()
            try:
                return call(*given, **named)
            finally:
                self.spent[words] = self.spent.get(words, 0.0) + time.perf_counter() - start
                self.calls[words] = self.calls.get(words, 0) + 1

        return timed


def measure(path: Path, rounds: int) -> None:
    """Print one clip's figures."""
    eyes = load_eyes(threads=1)
    count = alone(path)
    first = read_clip(path, eyes=eyes)
    told = ", ".join(said.aspect for _, said in first.signals) or "no signal"
    decode, whole, busy = [], [], []
    for _ in range(rounds):
        start, work = time.perf_counter(), time.process_time()
        alone(path)
        middle, done = time.perf_counter(), time.process_time()
        read_clip(path, eyes=eyes)
        decode.append(middle - start)
        whole.append(time.perf_counter() - middle)
        busy.append((done - work, time.process_time() - done))
    with Clocks() as clocks:
        read_clip(path, eyes=eyes)
    ratio = statistics.median(d / w for d, w in zip(decode, whole, strict=True))
    mbit = 8 * path.stat().st_size / seconds_of(path) / 1e6
    print(f"{path.stem}: {count} frames, {mbit:.1f} Mbit/s, read as: {told}")
    print(f"  decoding alone {1000 * min(decode) / count:6.2f} ms a frame")
    print(f"  reading        {1000 * min(whole) / count:6.2f} ms a frame")
    print(
        f"  rate of reading / rate of decoding: {ratio:.2f} (median), {min(decode) / min(whole):.2f} (best)"
    )
    alone_busy, busy_too = (1000 * min(b[i] for b in busy) / count for i in (0, 1))
    share = alone_busy / busy_too
    print(f"  processor time {alone_busy:.2f} and {busy_too:.2f} ms a frame, ratio {share:.2f}")
    for words, spent in sorted(clocks.spent.items(), key=lambda item: -item[1]):
        print(f"    {words:22s} {1000 * spent / count:6.3f} ms a frame, {clocks.calls[words]} calls")
    as_processes(path, rounds)


def child(path: Path, does: list[str]) -> tuple[float, float, float]:
    """Seconds by the clock, processor seconds, and peak memory in MB of a fresh process that does so."""
    done = subprocess.run(
        [sys.executable, "-c", _TIMED, sys.executable, *does, str(path)],
        stdout=subprocess.PIPE, text=True, check=True,
        env=_as_installed(),
    )  # fmt: skip
    wall, busy, peak = (float(number) for number in done.stdout.split())
    return wall, busy, peak / (2**20 if sys.platform == "darwin" else 2**10)


@cache
def _as_installed() -> dict[str, str]:
    """What a child finds about it: the same modules, compiled once as an installation has them."""
    kept = tempfile.mkdtemp(prefix="litlamp-compiled-")
    atexit.register(shutil.rmtree, kept, ignore_errors=True)
    found = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**found, "PYTHONPYCACHEPREFIX": kept, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}


def as_processes(path: Path, rounds: int) -> None:
    """Print what the command takes in a process of its own, beside one that only decodes."""
    for does in (_DECODES, _READS):  # compiles what is imported
        child(path, does)
    pairs = [(child(path, _DECODES), child(path, _READS)) for _ in range(rounds)]
    for name, own in (("decoding alone", 0), ("`litlamp read`", 1)):
        wall, busy, peak = (statistics.median(pair[own][k] for pair in pairs) for k in range(3))
        print(f"  {name} as a process: {wall:.2f} s, {busy:.2f} s of processor time, at most {peak:.0f} MB")
    ratio = statistics.median(read[0] / decode[0] for decode, read in pairs)
    print(f"  the second by the first, by the clock: {ratio:.2f}")


def repeated(path: Path, to: Path, times: int) -> None:
    """The same packets over and over, as one longer clip."""
    with av.open(str(path)) as given, av.open(str(to), "w") as taken:
        stream = given.streams.video[0]
        out = taken.add_stream_from_template(stream)
        assert stream.time_base is not None and stream.duration is not None
        packets = [p for p in given.demux(stream) if p.dts is not None]
        for again in range(times):
            for packet in packets:
                copy = av.Packet(bytes(packet))
                copy.pts = None if packet.pts is None else packet.pts + again * stream.duration
                copy.dts = None if packet.dts is None else packet.dts + again * stream.duration
                copy.time_base, copy.duration = stream.time_base, packet.duration
                copy.is_keyframe, copy.stream = packet.is_keyframe, out
                taken.mux(copy)


def seconds_of(path: Path) -> float:
    """How long its picture lasts, by its header."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        assert stream.time_base is not None and stream.duration is not None
        return float(stream.duration * stream.time_base)


def main() -> None:
    """Print times and ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", nargs="+", default=SIZES)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--mbit", type=float, default=8.0)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--words", default="flashing yellow over red")
    parser.add_argument("--seed", type=int, default=3)
    parser.add_argument("--repeat", type=int, nargs="+", default=())
    parser.add_argument("--clip", type=Path, help="A clip to take instead.")
    parser.add_argument("--keep", type=Path, help="Write the clips here and use those that are there.")
    asked = parser.parse_args()
    print(f"{os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as folder:
        place = asked.keep or Path(folder)
        place.mkdir(parents=True, exist_ok=True)
        clips = [asked.clip] if asked.clip else []
        for size in () if asked.clip else asked.sizes:
            path = place / f"{size}-{asked.seconds:g}s-{asked.mbit:g}mbit.mp4"
            if not path.exists():
                width, height = (int(v) for v in size.split("x"))
                write(path, (width, height), asked.seconds, asked.mbit, asked.words, asked.seed)
            clips.append(path)
        for path in clips:
            for times in asked.repeat:
                long = place / f"{path.stem}-{times}times.mp4"
                if not long.exists():
                    repeated(path, long, times)
                length = times * seconds_of(path)
                print(f"{long.stem}, {length:.0f} s:", flush=True)
                wall, busy, peak = child(long, _READS_ON)
                print(f"  read in {wall:.1f} s, {busy:.1f} s of processor time, ", end="")
                print(f"{1000 * busy / length:.1f} ms for each second; at most {peak:.0f} MB", flush=True)
            if not asked.repeat:
                measure(path, asked.rounds)


if __name__ == "__main__":
    main()
