"""What the door for clips costs beside decoding alone.

`python tests/bench/decode_cost.py` writes a clip of H.264 to a temporary folder and reads it in turn by PyAV
alone (demux, decode, nothing looked at) and by `open_clip` with the luma plane of every frame as a view; the
same cores, the same run, alternating, so that a slower moment of the machine falls on both.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import time
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

from litlamp.box import Box
from litlamp.media.clip import open_clip


def write(path: Path, size: tuple[int, int], count: int, rate_mbit: float) -> None:
    """A view that moves, with grain: it costs a decoder about what a camera's picture does."""
    width, height = size
    dice = np.random.default_rng(7)
    field = cv2.GaussianBlur(dice.normal(0, 1, (height + 400, width + 400)).astype(np.float32), (0, 0), 5)
    field = cv2.normalize(field, None, 30, 200, cv2.NORM_MINMAX)
    grain = dice.normal(0, 3, (8, height, width)).astype(np.float32)
    with av.open(str(path), "w") as container:
        options = {"preset": "veryfast", "b": str(int(rate_mbit * 1e6)), "bf": "2"}
        stream = container.add_stream("libx264", rate=30, options=options)
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        for index in range(count):
            picture = av.VideoFrame(width, height, "yuv420p")
            at = 2 * index % 400
            luma = np.clip(field[at : at + height, at : at + width] + grain[index % 8], 16, 235)
            for plane, codes in zip(picture.planes, (luma, 118, 140), strict=True):
                rows = np.frombuffer(plane, np.uint8).reshape(plane.height, plane.line_size)
                rows[:, : plane.width] = codes
            picture.pts, picture.time_base = index, Fraction(1, 30)
            container.mux(stream.encode(picture))
        container.mux(stream.encode())


def alone(path: Path) -> int:
    """Decode and look at nothing."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        return sum(1 for _ in container.decode(stream))


def with_luma(path: Path) -> int:
    """Every luma plane, as a view."""
    count = 0
    with open_clip(path) as clip:
        for frame in clip:
            assert frame.luma.base is not None
            count += 1
    return count


def with_crops(path: Path) -> int:
    """Every luma plane and the RGB of two crops of 128 px, as following two signals takes."""
    count = 0
    with open_clip(path) as clip:
        for frame in clip:
            assert frame.luma.base is not None
            for x in (200, 600):
                frame.rgb(Box(x, 200, x + 128, 328))
            count += 1
    return count


def main() -> None:
    """Print times and ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", default="1920x1080")
    parser.add_argument("--frames", type=int, default=200)
    parser.add_argument("--mbit", type=float, default=8.0)
    parser.add_argument("--rounds", type=int, default=7)
    asked = parser.parse_args()
    width, height = (int(v) for v in asked.size.split("x"))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "clip.mp4"
        write(path, (width, height), asked.frames, asked.mbit)
        ways = {"decoding alone": alone, "luma views": with_luma, "luma views and two crops": with_crops}
        for way in ways.values():
            assert way(path) == asked.frames
        spent: dict[str, list[float]] = {name: [] for name in ways}
        for _ in range(asked.rounds):
            for name, way in ways.items():
                start = time.perf_counter()
                way(path)
                spent[name].append(time.perf_counter() - start)
        mbit = 8 * path.stat().st_size / (asked.frames / 30) / 1e6
    print(f"{asked.frames} frames of {asked.size} H.264 at {mbit:.1f} Mbit/s, {os.cpu_count()} cores")
    base = spent["decoding alone"]
    for name, times in spent.items():
        ratio = statistics.median(t / b for t, b in zip(times, base, strict=True))
        best = min(times)
        print(
            f"{name:26s} best {best:.3f} s, {1000 * best / asked.frames:.2f} ms a frame, "
            f"median of ratios {ratio:.3f}, ratio of bests {best / min(base):.3f}"
        )


if __name__ == "__main__":
    main()
