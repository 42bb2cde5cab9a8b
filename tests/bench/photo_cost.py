"""What reading a 12 MP photograph costs beside decoding it alone: time and memory, in one run.

    python tests/bench/photo_cost.py [--times 9] [--threads N]

Draws a scene of 4000 x 3000 px with a signal, adds sensor noise so that the JPEG is as large as a telephone's
(3 to 6 MB), writes it to a temporary folder and measures, by turns, `cv2.imdecode` of its bytes and the whole
`litlamp.read_photo` of its path; the medians are compared. Peak memory is that of fresh processes
which do one or the other once.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

import litlamp
from litlamp.aspects.words import parse_aspect
from litlamp.scene.draw import draw
from litlamp.sight.eyes import load_eyes

SIZE = 4000, 3000
# A child does one thing and prints its peak resident set in kB. Linux hands a parent's ru_maxrss on to its
# children, even over exec, so that there the high-water mark of the child's own memory is read first.
_CHILD = """
import resource, sys
path = sys.argv[1]
{}
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // (1024 if sys.platform == "darwin" else 1)
try:
    with open("/proc/self/status") as status:
        peak = next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))
except OSError:
    pass
print(peak)
"""
_DOES = {
    "imports alone": "import cv2, litlamp; litlamp.read_photo",
    "decode alone": "import cv2, numpy as np; cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_COLOR)",
    "read_photo": "import litlamp; litlamp.read_photo(path)",
}


def write_photo(path: Path) -> None:
    """A 12 MP JPEG of a signal, 3 to 6 MB; the noise is raised until it is as large."""
    rgb, _ = draw(parse_aspect("green over red over red"), seed=14, size=SIZE, distance=60)
    dice = np.random.default_rng(12)
    bgr = rgb[:, :, ::-1].astype(np.float32)
    grain = dice.normal(0, 1, bgr.shape).astype(np.float32)
    for sigma in (0.0, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0):
        noisy = np.clip(bgr + sigma * grain, 0, 255).astype(np.uint8)
        done, data = cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 92])
        if done and data.nbytes >= 3e6:
            break
    if not 3e6 <= data.nbytes <= 6e6:
        sys.exit(f"the picture came out at {data.nbytes / 1e6:.1f} MB, not 3 to 6")
    path.write_bytes(data.tobytes())


def timed(work: Callable[[], object]) -> float:
    """Milliseconds that it takes."""
    began = time.perf_counter()
    work()
    return (time.perf_counter() - began) * 1e3


def peak(path: Path, does: str) -> float:
    """Peak memory in MB of a fresh process that does so."""
    done = subprocess.run(
        [sys.executable, "-c", _CHILD.format(does), str(path)],
        capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
    )  # fmt: skip
    return float(done.stdout) * 1024 / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description="What reading a 12 MP photograph costs beside decoding it.")
    parser.add_argument("--times", type=int, default=9, help="at least 7")
    parser.add_argument("--threads", type=int, help="OpenCV's threads; its own choice if not given")
    args = parser.parse_args()
    if args.times < 7:
        parser.error("a median of fewer than 7 says too little")
    if args.threads is not None:
        cv2.setNumThreads(args.threads)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "alder-junction.jpg"
        write_photo(path)
        data = np.fromfile(path, np.uint8)
        eyes = load_eyes()

        def decode() -> object:
            return cv2.imdecode(data, cv2.IMREAD_COLOR)

        def read() -> object:
            return litlamp.read_photo(path, eyes=eyes)

        decode()
        signals = len(litlamp.read_photo(path, eyes=eyes).signals)  # the warm-up too
        pairs = [(timed(decode), timed(read)) for _ in range(args.times)]
        decoding, reading = (sorted(column) for column in zip(*pairs, strict=True))
        print(f"{SIZE[0]} x {SIZE[1]} JPEG, {data.nbytes / 1e6:.1f} MB, one signal drawn, {signals} found")
        print(f"{os.cpu_count()} cores, {platform.machine()}; OpenCV {cv2.__version__}, ", end="")
        print(f"{cv2.getNumThreads()} threads; {', '.join(eyes.names.values())}")
        for name, column in (("cv2.imdecode", decoding), ("read_photo", reading)):
            median = statistics.median(column)
            print(f"{name:13} median of {args.times}: {median:6.1f} ms ({column[0]:.1f} to {column[-1]:.1f})")
        ratio = statistics.median(reading) / statistics.median(decoding)
        print(f"read_photo / decode: {ratio:.2f} (aim: at most 2)")
        memory = ", ".join(f"{name} {peak(path, does):.0f} MB" for name, does in _DOES.items())
        print(f"peak memory of a fresh process: {memory}")


if __name__ == "__main__":
    main()
