"""The view Read: a photo or clip comes in, its reading goes out, and may be corrected by hand."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from litlamp.aspects.aspect import COLOURS, MOUNTS, PLATES
from litlamp.page.answers import Held
from litlamp.page.correct import correction_of, read_corrected
from litlamp.page.pages import fault, page
from litlamp.page.samples import samples
from litlamp.page.security import BODY, TooLarge
from litlamp.page.settings import MB
from litlamp.page.settle import NOTHING_FOUND, advice
from litlamp.page.site import Site, over, site_of, texts
from litlamp.page.tasks import Answer, Shown, annotated, read_upload
from litlamp.page.uploads import BadUpload, shown_name
from litlamp.page.view import SignalView, signal_view
from litlamp.page.workers import Failed, Full

PATIENCE = 12.0
"""Seconds that a form waits for its answer before a page that says "wait" is shown."""
_SCRIPT_PATIENCE = 1.5
_DRAIN_SECONDS = 30.0
_STATE_QUEUED, _STATE_READING = 6.0, 1.0
_MOST_SIGNALS = 12


def routes() -> list[Route]:
    """Everything under this view."""
    return [
        Route("/", start),
        Route("/read", upload, methods=["POST"]),
        Route("/sample", sample, methods=["POST"]),
        Route("/read/{key}", answer),
        Route("/read/{key}/state", state),
        Route("/read/{key}/reading.json", as_json),
        Route("/read/{key}/{at:int}.jpg", picture),
        Route("/read/{key}/close{at:int}.jpg", close),
        Route("/read/{key}/annotated{at:int}.jpg", annotated_picture),
    ]


def start(request: Request) -> Response:
    """The page to begin with."""
    site = site_of(request)
    limits = site.settings.limits
    return page(
        "read.html",
        "/",
        samples=[s for s in samples().values() if s.clear and s.aspect is not None][:12],
        megabytes=limits.upload_bytes // MB,
        clip_seconds=int(limits.clip_seconds),
        book=site.book,
    )


async def upload(request: Request) -> Response:
    """Take in one photo or clip and queue it."""
    site = site_of(request)
    limits = site.settings.limits
    try:
        async with site.tray.place():
            if site.pool.full:
                raise Full
            if int(request.headers.get("content-length") or 0) > limits.upload_bytes:
                raise TooLarge
            async with asyncio.timeout(limits.upload_seconds):
                form = await request.form(max_files=1, max_fields=12)
            sent = form.get("file")
            if not isinstance(sent, UploadFile):
                raise BadUpload("No picture came with that: choose a photo or a clip first.")
            fields = texts(form)
            path = await site.tray.put(sent)
            name = shown_name(sent.filename)
            await form.close()
            held = queue(site, str(path), name, fields.get("mount"), clip=_is_clip(path))
    except Full:
        await _drain(request, limits.upload_bytes)
        return _busy(request)
    except TooLarge:
        await _drain(request, 2 * limits.upload_bytes)
        words = f"This file is larger than {limits.upload_bytes // MB} MB; that is the most this page takes."
        return _refused(request, 413, words)
    except BadUpload as error:
        return _refused(request, 400, str(error))
    except TimeoutError:
        return _refused(request, 408, "The file took too long to come in; try again on a better connection.")
    except ClientDisconnect:
        return Response(status_code=400)
    return await _sent_on(request, held)


def queue(site: Site, path: str, name: str, mount: str | None, *, clip: bool) -> Held:
    """Queue the reading of a private file. Raises Full, and then the file is gone."""
    from pathlib import Path

    limits = site.settings.limits
    expect = mount if mount in MOUNTS else None
    try:
        job = site.pool.submit(
            read_upload,
            path,
            name,
            site.settings.book,
            site.settings.edition,
            expect,
            limits.pixels,
            limits.clip_seconds,
            seconds=limits.clip_work_seconds if clip else limits.photo_seconds,
            after=lambda: Path(path).unlink(missing_ok=True),
        )
    except Full:
        Path(path).unlink(missing_ok=True)
        raise
    return site.answers.add(name, job)


def _is_clip(path: object) -> bool:
    from litlamp.media.sources import moves

    return moves(str(path))


async def sample(request: Request) -> Response:
    """Read one of the samples."""
    form = await request.form(max_files=0, max_fields=4)
    found = samples().get(texts(form).get("name", ""))
    if found is None:
        raise HTTPException(404)
    return await read_bytes(request, await run_in_threadpool(found.path.read_bytes), found.name)


async def read_bytes(request: Request, data: bytes, name: str) -> Response:
    """Read a picture of our own, and go to its answer."""
    site = site_of(request)
    path = site.tray.keep(data)
    try:
        held = queue(site, str(path), name, None, clip=False)
    except Full:
        return _busy(request)
    return await _sent_on(request, held)


async def _sent_on(request: Request, held: Held) -> Response:
    """To the answer, after a little waiting for it."""
    script = _by_script(request)
    await over(held.job, _SCRIPT_PATIENCE if script else PATIENCE)
    where = f"/read/{held.key}"
    return JSONResponse({"at": where}) if script else RedirectResponse(where, 303)


def _by_script(request: Request) -> bool:
    return "application/json" in request.headers.get("accept", "")


def _refused(request: Request, status: int, words: str) -> Response:
    if _by_script(request):
        return JSONResponse({"fault": words}, status)
    return fault(status, "This file was not taken", words)


def _busy(request: Request) -> Response:
    again = site_of(request).pool.come_again
    words = f"Many pictures are waiting to be read. Yours was not taken; send it again in {again} seconds."
    headers = {"retry-after": str(again)}
    if _by_script(request):
        return JSONResponse({"fault": words, "again": again}, 503, headers)
    return fault(503, "Please wait a moment", words, headers)


async def _drain(request: Request, most: int) -> None:
    await request.scope[BODY].drain(most, _DRAIN_SECONDS)


def held_or_404(request: Request) -> Held:
    """What is held under the key in the path."""
    held = site_of(request).answers.get(request.path_params["key"])
    if held is None:
        raise HTTPException(404, "This answer is no longer held: readings are forgotten when the page stops.")
    return held


def answer_or_404(request: Request) -> Answer:
    """The answer under the key in the path."""
    found = held_or_404(request).answer
    if found is None:
        raise HTTPException(404, "There is no answer here yet.")
    return found


async def state(request: Request) -> Response:
    """How far a reading is, for the script on the page that waits.

    The answer comes once there is something to tell, so that many who wait need not ask often.
    """
    held = held_or_404(request)
    pool = site_of(request).pool
    await over(held.job, _STATE_QUEUED if pool.place(held.job) else _STATE_READING)
    place = pool.place(held.job)
    return JSONResponse({"over": held.over, "share": round(held.job.share, 3), "place": place})


async def answer(request: Request) -> Response:
    """The answer, or the page that waits for it."""
    held = held_or_404(request)
    site = site_of(request)
    if not held.over:
        return page("wait.html", "/", held=held, place=site.pool.place(held.job), share=held.job.share)
    if held.failure is not None:
        return page(
            "failed.html",
            "/",
            status=422,
            name=held.name,
            words=_sentence(held.failure),
            advice=NOTHING_FOUND,
        )
    found = answer_or_404(request)
    said = texts(request.query_params)
    return page("answer.html", "/", **await run_in_threadpool(answer_values, held.key, found, site, said))


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:] + ("" if words.endswith(".") else ".")


def answer_values(key: str, found: Answer, site: Site, said: Mapping[str, str]) -> dict[str, Any]:
    """What the template of an answer needs; `said` holds a correction of one signal, if any was made."""
    reading = found.reading
    clip = reading.kind == "clip"
    chosen = int(said["s"]) if said.get("s", "").isdecimal() and len(said["s"]) < 4 else 0
    views = [
        view_of(found, site, at, said if at == chosen else {})
        for at in range(1, min(len(reading.signals), _MOST_SIGNALS) + 1)
    ]
    return {
        "key": key,
        "reading": reading,
        "clip": clip,
        "signals": views,
        "left_out": len(reading.signals) - len(views),
        "passages": reading.passages,
        "whole": None if clip or not found.pictures else found.pictures[0],
        "boxes": [seen.box for seen, _ in reading.signals],
        "nothing_found": NOTHING_FOUND,
        "taken": found.taken,
        "seconds": found.seconds,
        "chosen": chosen,
        "said": said,
        "colours": COLOURS,
        "plates": PLATES,
        "closes": [p.close[0 if clip else at] if p else None for at, p in enumerate(_pictures(found))],
        "book": site.book,
    }


def _pictures(found: Answer) -> list[Shown | None]:
    """For each signal the picture that shows it."""
    if found.reading.kind == "clip":
        return list(found.pictures)
    return [found.pictures[0] if found.pictures else None] * len(found.reading.signals)


def view_of(found: Answer, site: Site, number: int, said: Mapping[str, str]) -> SignalView:
    """One signal for the page, with the correction in these fields."""
    reading = found.reading
    clip = reading.kind == "clip"
    seen, own = reading.signals[number - 1]
    belief = seen.belief()
    correction = correction_of(said, len(belief.heads))
    corrected = read_corrected(belief, own, correction, site.book) if correction else None
    if corrected is None:
        todo = advice(belief, own, site.book, clip=clip)
    else:
        from litlamp.page.correct import corrected as applied

        todo = advice(applied(belief, correction), corrected.reading, site.book, clip=clip)
    pictures = found.pictures
    shown = pictures[number - 1 if clip else 0] if pictures else None
    return signal_view(
        number, seen, own, site.book, shown, todo, correction if corrected else None, corrected
    )


def _picture(request: Request) -> tuple[Answer, int]:
    found = answer_or_404(request)
    at = request.path_params["at"]
    if not (0 <= at < len(found.pictures)) or found.pictures[at] is None:
        raise HTTPException(404)
    return found, at


_HELD_BY_BROWSER = {"cache-control": "private, max-age=3600"}


def picture(request: Request) -> Response:
    """The picture that was read."""
    found, at = _picture(request)
    shown = found.pictures[at]
    assert shown is not None
    return Response(shown.jpeg, media_type="image/jpeg", headers=_HELD_BY_BROWSER)


def close(request: Request) -> Response:
    """What lies about one signal, in more detail."""
    found = answer_or_404(request)
    at = request.path_params["at"]
    clip = found.reading.kind == "clip"
    shown = (
        found.pictures[at if clip else 0]
        if at < len(found.pictures if clip else found.reading.signals)
        else None
    )
    part = None if shown is None or not shown.close else shown.close[0 if clip else at]
    if part is None:
        raise HTTPException(404)
    return Response(part.jpeg, media_type="image/jpeg", headers=_HELD_BY_BROWSER)


async def annotated_picture(request: Request) -> Response:
    """The annotated picture, to be saved."""
    from dataclasses import replace

    site = site_of(request)
    found, at = _picture(request)
    shown = found.pictures[at]
    reading = found.reading
    if reading.kind == "clip":
        reading = replace(
            reading, signals=reading.signals[at : at + 1], passages=reading.passages[at : at + 1]
        )
    try:
        job = site.pool.submit(annotated, shown, reading, seconds=site.settings.limits.draw_seconds)
        await over(job, site.settings.limits.draw_seconds + 5)
        data = job.done.result(0)
    except Full:
        return _busy(request)
    except (Failed, TimeoutError) as error:
        return fault(500, "The picture could not be drawn", str(error) or "It took too long.")
    name = "attachment; filename=litlamp-annotated.jpg"
    return Response(data, media_type="image/jpeg", headers={"content-disposition": name, **_HELD_BY_BROWSER})


def as_json(request: Request) -> Response:
    """The reading as the JSON that `litlamp read --json` prints."""
    from litlamp.report.record import encode, record

    found = answer_or_404(request)
    return Response(encode(record(found.reading)), media_type="application/json")
