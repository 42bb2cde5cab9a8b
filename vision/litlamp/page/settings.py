"""What the page may take and how it is reached: every limit in one place."""

from __future__ import annotations

import ipaddress
import os
import sys
from dataclasses import dataclass
from pathlib import Path

MB = 1_000_000


@dataclass(frozen=True, slots=True)
class Limits:
    """What one request, one source and the server as a whole may cost.

    Attributes
    ----------
    upload_bytes : of one upload's body; form_bytes of any other.
    pixels : of a photograph, and of a clip's frame; judged before anything is decoded.
    clip_seconds : of a clip.
    waiting : jobs that may wait for a worker; whoever comes beyond is told to come again.
    waiting_bytes : of files that wait, on the disk.
    receiving : uploads that may be on their way in at the same time.
    photo_seconds, clip_work_seconds, draw_seconds : after which a worker is ended and the job has failed.
    upload_seconds : in which a request's body must have come in.
    answers : readings held in memory; the oldest are forgotten first.
    answer_bytes : of their pictures together.
    worker_bytes : of address space of one worker process.
    """

    upload_bytes: int = 60 * MB
    form_bytes: int = 1 * MB
    pixels: int = 60_000_000
    clip_seconds: float = 30.0
    waiting: int = 100
    waiting_bytes: int = 1_000 * MB
    receiving: int = 24
    photo_seconds: float = 40.0
    clip_work_seconds: float = 180.0
    draw_seconds: float = 40.0
    upload_seconds: float = 120.0
    answers: int = 256
    answer_bytes: int = 200 * MB
    worker_bytes: int = 6_000 * MB


@dataclass(frozen=True, slots=True)
class Settings:
    """How one page is served.

    Attributes
    ----------
    data : folder of what is kept (progress and collection).
    host, port : what the server binds.
    token : what a visitor must show, None where only this computer can come in.
    workers : processes that read and draw.
    warm : load all that a first photograph needs as soon as the page starts.
    """

    data: Path
    host: str = "127.0.0.1"
    port: int = 8077
    token: str | None = None
    workers: int = 1
    book: str = "CROR"
    edition: str | None = None
    warm: bool = True
    limits: Limits = Limits()

    @property
    def open_to_others(self) -> bool:
        """Whether other computers can reach it."""
        return not is_loopback(self.host)


def is_loopback(host: str) -> bool:
    """Whether a host that is bound can be reached from this computer only."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def default_data() -> Path:
    """The folder for what a person keeps, as this system has it; LITLAMP_DATA names another."""
    if given := os.environ.get("LITLAMP_DATA"):
        return Path(given)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "litlamp"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "litlamp"
    return Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share") / "litlamp"
