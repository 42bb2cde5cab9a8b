"""What a learner sends, on its way to a worker: into a private folder, under a name of our own."""

from __future__ import annotations

import asyncio
import contextlib
import os
import secrets
import shutil
import tempfile
import unicodedata
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path

from starlette.datastructures import UploadFile

from litlamp.page.settings import Limits
from litlamp.page.workers import Full

_PIECE = 1 << 20
_NAME = 60
_TURN = 20.0  # seconds that an upload waits for its turn to come in


class BadUpload(Exception):
    """What was sent cannot be used; the message is one sentence for a person."""


@dataclass(slots=True)
class Tray:
    """The private folder, and the count of uploads that are on their way in.

    Nothing a client sends is ever part of a path. `close` removes the folder with all that is in it.
    """

    limits: Limits
    folder: Path = field(default_factory=lambda: Path(tempfile.mkdtemp(prefix="litlamp-page-")))  # mode 0700
    places: asyncio.Semaphore = field(init=False)

    def __post_init__(self) -> None:
        self.places = asyncio.Semaphore(self.limits.receiving)

    @contextlib.asynccontextmanager
    async def place(self) -> AsyncIterator[None]:
        """One place among the uploads that may come in at once; until then nothing of it is read.

        Raises Full where none becomes free in time, or too much waits already.
        """
        try:
            async with asyncio.timeout(_TURN):
                await self.places.acquire()
        except TimeoutError:
            raise Full from None
        try:
            if self.waiting() > self.limits.waiting_bytes:
                raise Full
            yield
        finally:
            self.places.release()

    def waiting(self) -> int:
        """Bytes that wait in the folder."""
        total = 0
        for entry in os.scandir(self.folder):
            with contextlib.suppress(OSError):  # a worker has just taken it
                total += entry.stat().st_size
        return total

    async def put(self, upload: UploadFile) -> Path:
        """The upload as a file of the private folder; whoever takes it removes it. Raises BadUpload."""
        path = self.folder / secrets.token_hex(16)
        size = 0
        try:
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "wb") as file:
                while piece := await upload.read(_PIECE):
                    size += len(piece)
                    file.write(piece)
        except OSError as error:
            path.unlink(missing_ok=True)
            raise BadUpload(
                f"There is no room for this file here ({(error.strerror or 'no reason').lower()})."
            ) from error
        if size == 0:
            path.unlink(missing_ok=True)
            raise BadUpload("No picture came with that: choose a photo or a clip first.")
        return path

    def keep(self, data: bytes) -> Path:
        """Bytes of our own as a file of the private folder."""
        path = self.folder / secrets.token_hex(16)
        path.write_bytes(data)
        return path

    def close(self) -> None:
        """Remove the folder."""
        shutil.rmtree(self.folder, ignore_errors=True)


def shown_name(given: str | None) -> str:
    """The client's name of a file as it may be shown: the last part, printable, not long; never a path."""
    last = (given or "").replace("\\", "/").rsplit("/", 1)[-1]
    printable = "".join(c for c in unicodedata.normalize("NFC", last) if c.isprintable()).strip()
    if len(printable) > _NAME:
        printable = f"{printable[: _NAME - 10]}…{printable[-9:]}"
    return printable or "picture"
