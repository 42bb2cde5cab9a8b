"""Files that are not on this machine: paths like s3://, gs://, https:// and file://, by fsspec.

The extra `cluster` installs fsspec; a store other than plain files needs its own library beside it: s3fs for
s3://, gcsfs for gs://, aiohttp for https://.
"""

from __future__ import annotations

import contextlib
import hashlib
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path, PurePosixPath
from typing import Any

from litlamp.media.errors import MediaError


class FarError(Exception):
    """A store cannot be used; the message is one sentence."""


def is_far(path: str) -> bool:
    """Whether a path names a store: whether it has a scheme."""
    scheme, mark, _ = path.partition("://")
    return bool(mark) and scheme.replace("+", "").replace("-", "").isalnum()


def _store(path: str) -> tuple[Any, str]:
    """The file system, and the path within it. Raises FarError."""
    try:
        from fsspec.core import url_to_fs
    except ImportError as error:
        raise FarError(f"{path} needs fsspec: pip install 'litlamp[cluster]'") from error
    try:
        system, within = url_to_fs(path)
    except ImportError as error:
        raise FarError(f"{path}: {error}") from error
    except Exception as error:
        raise FarError(f"{path}: {_said(error)}") from error
    return system, within


def far_stamp(path: str) -> tuple[int | None, int | None]:
    """Size in bytes, and a number that changes when the file does; (None, None) where it is not to be had."""
    try:
        system, within = _store(path)
        told = system.info(within)
    except Exception:  # whatever a store raises: reading it will say what is wrong
        return None, None
    marks = ("ETag", "etag", "mtime", "LastModified", "last_modified", "updated", "created")
    mark = repr([told.get(name) for name in marks]).encode()
    changed = int.from_bytes(hashlib.sha256(mark).digest()[:7], "big")
    size = told.get("size")
    return (size if isinstance(size, int) else None), changed


@contextlib.contextmanager
def near(path: str, beat: Callable[[], None]) -> Iterator[str]:
    """A path on this machine of the same content, for as long as it is needed.

    Raises
    ------
    MediaError : it cannot be fetched.
    """
    if not is_far(path):
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="litlamp-") as folder:
        here = Path(folder) / ("source" + PurePosixPath(path).suffix[:12])
        try:
            system, within = _store(path)
            with system.open(within, "rb") as there, here.open("wb") as file:
                while part := there.read(1 << 22):
                    file.write(part)
                    beat()
        except FarError as error:
            raise MediaError(str(error)) from error
        except FileNotFoundError:
            raise MediaError("there is no such file") from None
        except IsADirectoryError:
            raise MediaError("this is a folder, not a file") from None
        except Exception as error:
            raise MediaError(f"this file could not be fetched: {_said(error)}") from error
        yield str(here)


def far_files(path: str) -> list[str] | None:
    """The files in a folder of a store and those in it, or that fit a pattern, by name; None: a single file.

    Raises
    ------
    FarError : the store cannot be used, or nothing fits the pattern.
    """
    system, within = _store(path)
    try:
        if set("*?[") & set(within):
            found = sorted(name for name in system.glob(within) if system.isfile(name))
            if not found:
                raise FarError(f"{path}: nothing fits this pattern")
        elif "http" in path.partition("://")[0] or not system.isdir(within):
            return None
        else:
            found = sorted(system.find(within))
        return [str(system.unstrip_protocol(name)) for name in found]
    except FarError:
        raise
    except Exception as error:
        raise FarError(f"{path}: {_said(error)}") from error


class FarFolder:
    """A folder of a store in which results are kept, worked on in a folder of this machine.

    What is there is brought here first; it is taken back now and then, and at the end. A run whose machine is
    lost goes on from what was last taken back.
    """

    def __init__(self, url: str, names: tuple[str, ...], every: float = 60.0) -> None:
        self._url, self._names, self._every = url.rstrip("/"), names, every
        self._system, self._within = _store(self._url)
        self.local = (
            Path(tempfile.gettempdir()) / f"litlamp-{hashlib.sha256(self._url.encode()).hexdigest()[:16]}"
        )
        self._next = time.monotonic() + every

    def fetch(self) -> None:
        """Bring what is there, unless a run on this machine is further. Raises FarError, OSError."""
        self.local.mkdir(parents=True, exist_ok=True)
        if all((self.local / name).exists() for name in self._names[:2]):
            return
        try:
            for name in self._names:
                if self._system.exists(f"{self._within}/{name}"):
                    self._system.get_file(f"{self._within}/{name}", str(self.local / name))
        except Exception as error:
            raise FarError(f"{self._url}: {_said(error)}") from error

    def deliver(self, *, now: bool) -> None:
        """Take the results there; unless `now`, only if that is due. Raises FarError."""
        began = time.monotonic()
        if not now and began < self._next:
            return
        try:
            self._system.makedirs(self._within, exist_ok=True)
            for name in self._names:
                if (self.local / name).exists():
                    self._system.put_file(str(self.local / name), f"{self._within}/{name}")
        except Exception as error:
            raise FarError(f"{self._url}: {_said(error)}; the results are in {self.local}") from error
        # Never more than a twentieth of the time.
        self._next = time.monotonic() + max(self._every, 20 * (time.monotonic() - began))


def _said(error: BaseException) -> str:
    words = " ".join(str(error).split()) or type(error).__name__
    return words[:200]
