"""The page under load, and against hostile uploads; prints its figures.

    python tests/bench/page_load.py [--uploads 200] [--hostile] [--photo FILE]

Starts `litlamp page` on loopback, sends so many uploads at once, comes again where it was told to wait, and
counts what became of each. Memory is that of the server and its workers together (resident, from /proc).
With --hostile it sends what must not be read instead, one after another, and looks whether the page still
answers.
"""

from __future__ import annotations

import argparse
import asyncio
import io
import os
import secrets
import statistics
import struct
import subprocess
import sys
import tempfile
import threading
import time
import zlib
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx2 as httpx
import numpy as np
from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
PORT = 8391
HERE = f"http://127.0.0.1:{PORT}"
JSON = {"origin": HERE, "accept": "application/json"}
MOST_TRIES = 200


@contextmanager
def serving(workers: int) -> Iterator[subprocess.Popen[bytes]]:
    """The page in a process of its own."""
    env = {**os.environ, "PYTHONPATH": str(ROOT / "vision"), "OMP_NUM_THREADS": "1"}
    with tempfile.TemporaryDirectory() as data:
        command = [sys.executable, "-m", "litlamp", "page", "--port", str(PORT), "--data", data]
        process = subprocess.Popen([*command, "--workers", str(workers)], env=env, stderr=subprocess.PIPE)
        assert process.stderr is not None
        process.stderr.readline()
        try:
            yield process
        finally:
            process.terminate()
            process.wait(20)


def resident(process: int) -> int:
    """Bytes resident of a process and its children."""
    try:
        of_all = [
            process,
            *(int(c) for c in Path(f"/proc/{process}/task/{process}/children").read_text().split()),
        ]
        for thread in Path(f"/proc/{process}/task").iterdir():
            of_all += [int(c) for c in (thread / "children").read_text().split()]
    except OSError:
        return 0
    total = 0
    for one in set(of_all):
        try:
            total += int(Path(f"/proc/{one}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
        except (OSError, IndexError, ValueError):
            continue
    return total


class Peak:
    """The most that is resident while it watches."""

    def __init__(self, process: int) -> None:
        self.bytes = self.first = resident(process)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._watch, args=(process,), daemon=True)
        self._thread.start()

    def _watch(self, process: int) -> None:
        while not self._over.wait(0.1):
            self.bytes = max(self.bytes, resident(process))

    def stop(self) -> None:
        """Watch no longer."""
        self._over.set()
        self._thread.join()


async def one(client: httpx.AsyncClient, data: bytes, tally: Counter[str], took: list[float]) -> None:
    """Send one upload until it is taken, and wait for its answer."""
    began = time.perf_counter()
    for _ in range(MOST_TRIES):
        try:
            sent = await client.post("/read", headers=JSON, files={"file": ("a.jpg", data)})
        except httpx.HTTPError as error:
            tally[f"no answer: {type(error).__name__}"] += 1
            return
        if sent.status_code == 503:
            tally["told to wait"] += 1
            await asyncio.sleep(float(sent.headers["retry-after"]))
            continue
        break
    if sent.status_code != 200:
        tally[f"status {sent.status_code}"] += 1
        return
    where = sent.json()["at"]
    while not (await client.get(f"{where}/state")).json()["over"]:
        await asyncio.sleep(0.3)
    page = await client.get(where)
    tally["read" if 'class="reading"' in page.text else f"status {page.status_code}"] += 1
    took.append(time.perf_counter() - began)


async def load(uploads: int, data: bytes) -> tuple[Counter[str], list[float]]:
    """All of them at once."""
    tally: Counter[str] = Counter()
    took: list[float] = []
    limits = httpx.Limits(max_connections=uploads, max_keepalive_connections=uploads)
    async with httpx.AsyncClient(base_url=HERE, timeout=300, limits=limits) as client:
        await asyncio.gather(*(one(client, data, tally, took) for _ in range(uploads)))
    return tally, took


def large_photo() -> bytes:
    """A 12 MP JPEG with a sample in it."""
    small = Image.open(ROOT / "samples" / "hartsmere-home-red.jpg").resize((3000, 4000))
    grain = np.random.default_rng(1).normal(0, 6, (4000, 3000, 1))
    out = io.BytesIO()
    noisy = np.clip(np.asarray(small, np.float32) + grain, 0, 255).astype(np.uint8)
    Image.fromarray(noisy).save(out, "JPEG", quality=90)
    return out.getvalue()


def chunk(kind: bytes, data: bytes) -> bytes:
    """A chunk of a PNG."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width: int, height: int, rows: bytes) -> bytes:
    """A PNG with such a header and such data, whether they agree or not."""
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + header + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def hostile(photo: bytes) -> Iterator[tuple[str, bytes]]:
    """Names and bytes of what must not harm."""
    rng = np.random.default_rng(7)
    yield "empty", b""
    yield "pixels: 60000 x 60000 by header", png(60_000, 60_000, zlib.compress(b"\0" * 1000))
    yield (
        "pixels: 7000 x 8000, all zero, 170 MB in 160 kB",
        png(7000, 8000, zlib.compress(bytes(8000 * 21001), 9)),
    )
    yield "pixels: 13000 x 13000, all zero", png(13_000, 13_000, zlib.compress(bytes(200_000_000), 9))
    yield "text", b"hello " * 1000
    yield "html with script", b"<!DOCTYPE html><script>alert(1)</script>"
    yield "svg with script", b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
    yield "zip", b"PK\x03\x04" + secrets.token_bytes(5000)
    for at in (10, 500, 5000, len(photo) // 2, len(photo) - 3):
        yield f"JPEG cut at {at}", photo[:at]
    for trial in range(20):
        bad = bytearray(photo)
        for place in rng.integers(2, len(bad), 30):
            bad[place] = rng.integers(256)
        yield f"JPEG with 30 bytes changed, {trial}", bytes(bad)
    clip = (ROOT / "samples" / "hartsmere-home-clears.mp4").read_bytes()
    for trial in range(6):
        bad = bytearray(clip)
        for place in rng.integers(40, len(bad), 200):
            bad[place] = rng.integers(256)
        yield f"MP4 with 200 bytes changed, {trial}", bytes(bad)
    yield "MP4 cut in half", clip[: len(clip) // 2]
    for head in (
        b"\xff\xd8\xff\xe0",
        b"\x89PNG\r\n\x1a\n",
        b"GIF89a",
        b"RIFF\0\0\0\0WEBPVP8 ",
        b"II*\0",
        b"\x1aE\xdf\xa3",
    ):
        yield f"{head[:4]!r} and noise", head + secrets.token_bytes(20_000)
    yield "70 MB of noise", b"\xff\xd8\xff" + secrets.token_bytes(70_000_000)


def hostile_run(process: int, photo: bytes) -> None:
    """Send each in turn; print what became of it."""
    tally: Counter[str] = Counter()
    slowest = (0.0, "")
    with httpx.Client(base_url=HERE, timeout=300) as client:
        for name, data in hostile(photo):
            began = time.perf_counter()
            try:
                sent = client.post(
                    "/read", headers={"origin": HERE}, files={"file": (name, data)}, follow_redirects=True
                )
            except httpx.HTTPError as error:
                print(f"  {name}: {type(error).__name__}")
                tally["no answer"] += 1
                continue
            while "Being read" in sent.text:
                time.sleep(0.5)
                sent = client.get(sent.url)
            took = time.perf_counter() - began
            slowest = max(slowest, (took, name))
            outcome = "read" if sent.status_code == 200 else f"refused, {sent.status_code}"
            if "Traceback" in sent.text or "<script>alert" in sent.text:
                outcome = "SHOWS WHAT IT MUST NOT"
            tally[outcome] += 1
        good = client.post("/read", headers=JSON, files={"file": ("good.jpg", photo)})
        print(f"  the page answers after it: {good.status_code}")
    print(f"  {dict(tally)}; slowest {slowest[0]:.1f} s ({slowest[1]})")
    print(f"  resident after it {resident(process) / 1e6:.0f} MB")
    left = list(Path(tempfile.gettempdir()).glob("litlamp-page-*/*"))
    print(f"  files left in private folders: {len(left)}")


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--uploads", type=int, default=200)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--hostile", action="store_true")
    parser.add_argument("--large", action="store_true", help="12 MP photos in place of a sample")
    parser.add_argument("--photo", type=Path, default=ROOT / "samples" / "hartsmere-home-red.jpg")
    asked = parser.parse_args()
    photo = large_photo() if asked.large else asked.photo.read_bytes()
    with serving(asked.workers) as server:
        peak = Peak(server.pid)
        began = time.perf_counter()
        if asked.hostile:
            print("hostile uploads, one after another")
            hostile_run(server.pid, photo)
        else:
            tally, took = asyncio.run(load(asked.uploads, photo))
            seconds = time.perf_counter() - began
            lost = asked.uploads - tally["read"]
            print(f"{asked.uploads} uploads of {len(photo) / 1e6:.1f} MB at once, {asked.workers} worker(s)")
            print(f"  {dict(tally)}; lost: {lost}; {seconds:.1f} s, {asked.uploads / seconds:.1f} a second")
            if took:
                print(f"  waited: median {statistics.median(took):.1f} s, longest {max(took):.1f} s")
        peak.stop()
        print(f"  resident: {peak.first / 1e6:.0f} MB at first, {peak.bytes / 1e6:.0f} MB at most")


if __name__ == "__main__":
    main()
