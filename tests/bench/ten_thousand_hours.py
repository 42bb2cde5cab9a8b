"""What an hour of clip costs in processor time, and what 10,000 hours then cost.

    python tests/bench/ten_thousand_hours.py [--seconds 20]

Two 1080p clips at 8 Mbit/s are read as a worker of `litlamp label` reads them: a hand-held clip of one signal
at 30 frames a second, and the sample ride enlarged, at its 15 frames a second. Processor time of all threads
is what is counted, decoding included, so that other work on the machine matters less.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
from clip_cost import write

from litlamp.aspects.rulebook import load_book
from litlamp.collection.reading_work import Settings, Task

ROOT = Path(__file__).resolve().parents[2]
SIZE = 1920, 1080
HOURS = 10_000
MBIT = 8.0


def enlarge(source: Path, to: Path, seconds: float) -> None:
    """The beginning of a clip at 1080p."""
    with av.open(str(source)) as clip, av.open(str(to), "w") as out:
        rate = clip.streams.video[0].average_rate or Fraction(15)
        stream = out.add_stream("libx264", rate=rate, options={"preset": "veryfast"})
        stream.width, stream.height = SIZE
        stream.pix_fmt, stream.bit_rate = "yuv420p", int(MBIT * 1e6)
        for frame in _first(clip, seconds):
            rgb = cv2.resize(frame.to_ndarray(format="rgb24"), SIZE, interpolation=cv2.INTER_CUBIC)
            for packet in stream.encode(
                av.VideoFrame.from_ndarray(np.ascontiguousarray(rgb), format="rgb24")
            ):
                out.mux(packet)
        for packet in stream.encode(None):
            out.mux(packet)


def _first(clip: av.container.InputContainer, seconds: float) -> Iterator[av.VideoFrame]:
    for frame in clip.decode(video=0):
        if frame.time is None or frame.time >= seconds:
            return
        yield frame


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seconds", type=float, default=20.0)
    seconds = parser.parse_args().seconds
    how = Settings(load_book(), 0.99, None, None, "bench")
    read = how.start()
    with tempfile.TemporaryDirectory() as name:
        clips = {"one signal, hand-held, 30/s": Path(name) / "a.mp4", "ride, 15/s": Path(name) / "b.mp4"}
        one, ride = clips.values()
        write(one, SIZE, seconds, MBIT, "yellow over red", 1)
        enlarge(ROOT / "samples" / "alder-vale-ride.mp4", ride, seconds)
        read(Task(0, str(one), "first"), lambda: None)  # the first is left out: networks are planned in it
        for words, path in clips.items():
            began = time.process_time()
            done = read(Task(0, str(path), words), lambda: None)
            hour = (time.process_time() - began) / seconds  # core-hours for each hour of clip
            size = path.stat().st_size / seconds * 3600
            line = len(done.line) / seconds * 3600
            print(
                f"{words}: {hour:.2f} core-hours an hour; {size / 1e9:.1f} GB of clip and "
                f"{line / 1e3:.0f} kB of readings an hour"
            )
            print(
                f"  {HOURS:,} hours: {hour * HOURS:,.0f} core-hours, {size * HOURS / 1e12:.1f} TB, which is"
            )
            for cores in (2, 16, 64, 256, 1024):
                took = hour * HOURS / cores
                stream = size * HOURS / (took * 3600) / 1e6
                days = f"{took:>8,.1f} hours = {took / 24:>6.1f} days"
                print(f"  {cores:>5} cores: {days}, {stream:>7,.0f} MB a second")


if __name__ == "__main__":
    main()
