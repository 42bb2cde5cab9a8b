"""The file that what a learner keeps lies in: one SQLite database in a private folder."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

SCHEMA = 1

_TABLES = """
CREATE TABLE IF NOT EXISTS tried (
    id INTEGER PRIMARY KEY, at REAL NOT NULL, item TEXT NOT NULL, source TEXT NOT NULL,
    truth TEXT, said TEXT, step TEXT, side TEXT NOT NULL
);
CREATE TABLE IF NOT EXISTS due (
    item TEXT PRIMARY KEY, box INTEGER NOT NULL, at REAL NOT NULL, missed INTEGER NOT NULL DEFAULT 0
);
CREATE TABLE IF NOT EXISTS kept (
    id INTEGER PRIMARY KEY, at REAL NOT NULL, name TEXT NOT NULL, note TEXT NOT NULL, place TEXT NOT NULL,
    date TEXT NOT NULL, latitude REAL, longitude REAL, aspect TEXT NOT NULL, rule TEXT, title TEXT NOT NULL,
    guarded TEXT, corrected TEXT NOT NULL, record TEXT NOT NULL, picture BLOB NOT NULL, thumb BLOB NOT NULL,
    settled INTEGER NOT NULL DEFAULT 0
);
"""


class StoreError(Exception):
    """The file cannot be used; the message is one sentence."""


class Store:
    """The database in a folder; every use opens it anew, so that any thread may."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "litlamp.sqlite3"
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            # Made before SQLite would make it, so that nobody else can read it at any moment.
            os.close(os.open(self.path, os.O_RDWR | os.O_CREAT, 0o600))
        except OSError as error:
            said = (error.strerror or "unknown fault").lower()
            raise StoreError(f"the file {self.path} cannot be used: {said}") from error
        with self.use() as base:
            (version,) = base.execute("PRAGMA user_version").fetchone()
            if version > SCHEMA:
                raise StoreError(f"the file {self.path} was made by a later litlamp; use that one")
            base.executescript(_TABLES)
            base.execute(f"PRAGMA user_version = {SCHEMA}")

    @contextlib.contextmanager
    def use(self) -> Iterator[sqlite3.Connection]:
        """The database for one piece of work, all of it done or none. Raises StoreError."""
        try:
            base = sqlite3.connect(self.path, timeout=10)
        except sqlite3.Error as error:
            raise StoreError(f"the file {self.path} cannot be opened: {error}") from error
        try:
            base.row_factory = sqlite3.Row
            base.execute("PRAGMA secure_delete = ON")
            with base:
                yield base
        except sqlite3.Error as error:
            raise StoreError(f"the file {self.path} cannot be used: {error}") from error
        finally:
            base.close()

    def shrink(self) -> None:
        """Give back the room of what was erased."""
        with self.use() as base:
            base.commit()
            base.execute("VACUUM")
