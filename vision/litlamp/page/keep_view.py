"""The view Keep: own photos with readings, notes, place and date; search, export, a sheet to print."""

from __future__ import annotations

import tempfile
from typing import IO

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from litlamp.aspects.cautions import LONG
from litlamp.page.collection import DATE, NOTE, PLACE, Item, picture_name
from litlamp.page.correct import correction_of, outcome, read_corrected
from litlamp.page.pages import fault, html, page
from litlamp.page.site import Site, site_of, texts
from litlamp.page.tasks import Answer, cut, small
from litlamp.report.record import encode, outcome_name, record

_KEPT_SIDE = 1600
_THUMB_SIDE = 560
_PIECE = 1 << 18
_ON_SHEET = 200


def routes() -> list[Route]:
    """Everything under this view."""
    return [
        Route("/keep", listing, methods=["GET"]),
        Route("/keep", add, methods=["POST"]),
        Route("/keep/export.zip", export),
        Route("/keep/sheet", sheet),
        Route("/keep/{id:int}", one, methods=["GET"]),
        Route("/keep/{id:int}", change, methods=["POST"]),
        Route("/keep/{id:int}/drop", drop, methods=["POST"]),
        Route("/keep/{id:int}/picture.jpg", picture),
        Route("/keep/{id:int}/thumb.jpg", thumb),
    ]


def _asked(request: Request) -> str:
    return request.query_params.get("find", "")[:200]


def listing(request: Request) -> Response:
    """The collection, or what of it holds the words asked for."""
    find = _asked(request)
    return page("keep.html", "/keep", items=site_of(request).collection.find(find), find=find)


async def add(request: Request) -> Response:
    """Keep one signal of an answer that is held."""
    site = site_of(request)
    fields = texts(await request.form(max_files=0, max_fields=48))
    held = site.answers.get(fields.get("key", ""))
    found = None if held is None else held.answer
    number = int(fields["s"]) if fields.get("s", "").isdecimal() and len(fields["s"]) < 4 else 0
    if found is None or not 1 <= number <= len(found.reading.signals):
        return fault(404, "Not kept", "This answer is no longer held: send the picture again, then keep it.")
    id_ = await run_in_threadpool(_keep, site, found, number, fields)
    if id_ is None:
        return fault(422, "Not kept", "There is no picture of this signal to keep.")
    return RedirectResponse(f"/keep/{id_}", 303)


def _keep(site: Site, found: Answer, number: int, fields: dict[str, str]) -> int | None:
    at = found.pictures[number - 1 if found.reading.kind == "clip" else 0] if found.pictures else None
    if at is None:
        return None
    seen, own = found.reading.signals[number - 1]
    belief = seen.belief()
    correction = correction_of(fields, len(belief.heads))
    said, stated = own, ""
    if correction:
        corrected = read_corrected(belief, own, correction, site.book)
        said, stated = corrected.reading, "; ".join(c.stated for c in corrected.changes)
    # Date and position leave the answer only where the learner has ticked them.
    date = fields.get("date", "").strip()
    if fields.get("usedate") == "yes" and not date:
        date = found.taken.date or ""
    position = found.taken.place if fields.get("useplace") == "yes" else None
    item = Item(
        name=found.reading.source,
        aspect=said.aspect,
        rule=None if said.reading is None else said.reading.rule,
        title="no reading" if said.reading is None else outcome_name(said.reading),
        guarded=outcome(said),
        corrected=stated,
        record=encode(record(found.reading)).decode(),
        note=fields.get("note", "").strip()[:NOTE],
        place=fields.get("place", "").strip()[:PLACE],
        date=date[:DATE],
        latitude=None if position is None else position[0],
        longitude=None if position is None else position[1],
        settled=fields.get("settled") == "yes",
    )
    close = at.close[0 if found.reading.kind == "clip" else number - 1]
    near = small(at.jpeg, _THUMB_SIDE, cut(seen.box, at)) if close is None else small(close.jpeg, _THUMB_SIDE)
    return site.collection.add(item, small(at.jpeg, _KEPT_SIDE), near)


def _item(request: Request) -> Item:
    found = site_of(request).collection.get(request.path_params["id"])
    if found is None:
        raise HTTPException(404, "No such picture is kept.")
    return found


def one(request: Request) -> Response:
    """One kept picture."""
    return page("kept.html", "/keep", item=_item(request), note_length=NOTE)


async def change(request: Request) -> Response:
    """Change the words beside a picture."""
    item = await run_in_threadpool(_item, request)
    fields = texts(await request.form(max_files=0, max_fields=8))
    words = (fields.get("note", ""), fields.get("place", ""), fields.get("date", ""))
    await run_in_threadpool(site_of(request).collection.change, item.id, *(w.strip() for w in words))
    return RedirectResponse(f"/keep/{item.id}", 303)


async def drop(request: Request) -> Response:
    """Erase one picture."""
    fields = texts(await request.form(max_files=0, max_fields=4))
    if fields.get("sure") == "yes":
        await run_in_threadpool(site_of(request).collection.drop, request.path_params["id"])
        return RedirectResponse("/keep", 303)
    return RedirectResponse(f"/keep/{request.path_params['id']}", 303)


def picture(request: Request) -> Response:
    """The picture itself."""
    return _jpeg(site_of(request).collection.picture(request.path_params["id"]))


def thumb(request: Request) -> Response:
    """What lies about the signal, for lists and sheets."""
    return _jpeg(site_of(request).collection.picture(request.path_params["id"], thumb=True))


def _jpeg(data: bytes | None) -> Response:
    if data is None:
        raise HTTPException(404)
    return Response(data, media_type="image/jpeg", headers={"cache-control": "private, max-age=3600"})


def sheet(request: Request) -> Response:
    """A sheet for a class, to be printed or saved as PDF by the browser."""
    items = site_of(request).collection.find(_asked(request), _ON_SHEET)
    answers = request.query_params.get("answers") != "no"
    return page("sheet.html", "/keep", items=items, answers=answers, find=_asked(request), alone=False)


def export(request: Request) -> Response:
    """The collection as a ZIP of JSON Lines, pictures and a sheet."""
    collection = site_of(request).collection
    items = collection.find(_asked(request), 10_000)
    words = html("sheet_alone.html", "", items=items, name=picture_name)
    file = tempfile.TemporaryFile()  # noqa: SIM115 - it is closed when the last piece was sent
    collection.zip_to(file, items, words, LONG)
    size = file.tell()
    file.seek(0)
    headers = {
        "content-disposition": "attachment; filename=litlamp-collection.zip",
        "content-length": str(size),
    }
    pieces = iter(lambda: file.read(_PIECE), b"")
    return StreamingResponse(
        pieces, media_type="application/zip", headers=headers, background=BackgroundTask(_shut, file)
    )


def _shut(file: IO[bytes]) -> None:
    file.close()
