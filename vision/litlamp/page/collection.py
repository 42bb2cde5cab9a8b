"""A learner's collection: own photos with their readings and notes, and what of them can be taken away.

A picture is kept as it is shown: smaller, and with nothing in the file but the picture. Date and place of the
taking are kept only where they are handed in here, which the view does only with the learner's consent.
"""

from __future__ import annotations

import re
import time
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import IO, Any

import msgspec

from litlamp.aspects.aspect import Aspect
from litlamp.aspects.words import AspectWordsError, parse_aspect
from litlamp.page.store import Store

NOTE, PLACE, DATE = 2000, 120, 40
"""Most letters of each."""


@dataclass(frozen=True, slots=True)
class Item:
    """One kept picture.

    Attributes
    ----------
    rule, title : the reading, with what was corrected by hand.
    guarded : the guarded reading in words.
    aspect : what it shows, in words; `settled` where the learner says that this is so.
    corrected : what was stated by hand, in words, or "".
    record : the JSON of the reading as the picture alone gave it.
    """

    name: str
    aspect: str
    rule: str | None
    title: str
    guarded: str
    corrected: str
    record: str
    note: str = ""
    place: str = ""
    date: str = ""
    latitude: float | None = None
    longitude: float | None = None
    settled: bool = False
    id: int = 0
    at: float = 0.0


_FIELDS = (
    "name", "aspect", "rule", "title", "guarded", "corrected", "record", "note", "place", "date", "latitude",
    "longitude", "settled",
)  # fmt: skip


class Collection:
    """The kept pictures in a store."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def add(self, item: Item, picture: bytes, thumb: bytes, now: float | None = None) -> int:
        """Keep one; its number."""
        now = time.time() if now is None else now
        columns = ", ".join((*_FIELDS, "at", "picture", "thumb"))
        marks = ", ".join("?" * (len(_FIELDS) + 3))
        values = [getattr(item, name) for name in _FIELDS]
        with self._store.use() as base:
            made = base.execute(
                f"INSERT INTO kept ({columns}) VALUES ({marks})", (*values, now, picture, thumb)
            )
            return int(made.lastrowid or 0)

    def find(self, words: str = "", most: int = 500) -> tuple[Item, ...]:
        """Those that hold every word, in whatever field, the newest first."""
        where, values = [], []
        for word in words.split()[:8]:
            held = re.sub(r"([\\%_])", r"\\\1", word)
            where.append(
                "(name || ' ' || note || ' ' || place || ' ' || date || ' ' || aspect || ' ' || "
                "COALESCE(rule, '') || ' ' || title || ' ' || guarded) LIKE ? ESCAPE '\\'"
            )
            values.append(f"%{held}%")
        clause = f"WHERE {' AND '.join(where)}" if where else ""
        columns = ", ".join((*_FIELDS, "id", "at"))
        with self._store.use() as base:
            rows = base.execute(
                f"SELECT {columns} FROM kept {clause} ORDER BY id DESC LIMIT ?", (*values, most)
            ).fetchall()
        return tuple(_item(row) for row in rows)

    def get(self, id_: int) -> Item | None:
        """One by its number."""
        with self._store.use() as base:
            columns = ", ".join((*_FIELDS, "id", "at"))
            row = base.execute(f"SELECT {columns} FROM kept WHERE id = ?", (id_,)).fetchone()
        return None if row is None else _item(row)

    def picture(self, id_: int, *, thumb: bool = False) -> bytes | None:
        """Its JPEG."""
        column = "thumb" if thumb else "picture"
        with self._store.use() as base:
            row = base.execute(f"SELECT {column} FROM kept WHERE id = ?", (id_,)).fetchone()
        return None if row is None else bytes(row[0])

    def change(self, id_: int, note: str, place: str, date: str) -> None:
        """Other words beside a picture."""
        with self._store.use() as base:
            base.execute(
                "UPDATE kept SET note = ?, place = ?, date = ? WHERE id = ?",
                (note[:NOTE], place[:PLACE], date[:DATE], id_),
            )

    def drop(self, id_: int) -> None:
        """Erase one, on the disk too."""
        with self._store.use() as base:
            base.execute("DELETE FROM kept WHERE id = ?", (id_,))
            base.execute("DELETE FROM due WHERE item = ?", (f"own {id_}",))
        self._store.shrink()

    def settled(self) -> dict[int, Aspect]:
        """What each picture shows of those whose reading the learner has settled."""
        found = {}
        with self._store.use() as base:
            rows = base.execute("SELECT id, aspect FROM kept WHERE settled = 1").fetchall()
        for row in rows:
            try:
                found[int(row["id"])] = parse_aspect(row["aspect"])
            except AspectWordsError:
                continue
        return found

    def zip_to(self, file: IO[bytes], items: Sequence[Item], sheet: str, caution: str) -> None:
        """Write a ZIP: `collection.jsonl`, the pictures, and the sheet to be printed."""
        with zipfile.ZipFile(file, "w") as archive:
            lines = []
            for item in items:
                data = self.picture(item.id)
                if data is not None:
                    archive.writestr(f"pictures/{picture_name(item)}", data)  # a JPEG does not shrink further
                    lines.append(msgspec.json.encode(line_of(item, caution)))
            archive.writestr(
                "collection.jsonl", b"".join(line + b"\n" for line in lines), zipfile.ZIP_DEFLATED
            )
            archive.writestr("sheet.html", sheet, zipfile.ZIP_DEFLATED)


def picture_name(item: Item) -> str:
    """The name of its picture in an export: our own, never the client's."""
    return f"{item.id:05}.jpg"


def line_of(item: Item, caution: str) -> Mapping[str, Any]:
    """One line of an export: what was kept, and under `reading` what `litlamp read --json` says."""
    return {
        "format": "litlamp collection 1",
        "caution": caution,
        "picture": f"pictures/{picture_name(item)}",
        "name": item.name,
        "kept": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(item.at)),
        "aspect": item.aspect,
        "rule": item.rule,
        "title": item.title,
        "guarded": item.guarded,
        "corrected": item.corrected or None,
        "settled": item.settled,
        "note": item.note,
        "place": item.place or None,
        "date": item.date or None,
        "position": None if item.latitude is None else [item.latitude, item.longitude],
        "reading": msgspec.Raw(item.record.encode()),
    }


def _item(row: Any) -> Item:
    return Item(
        **{name: row[name] for name in (*_FIELDS, "id", "at") if name != "settled"},
        settled=bool(row["settled"]),
    )
