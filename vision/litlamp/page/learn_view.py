"""The view Learn: any aspect, in words or set by hand, drawn and read; and what a slip would make of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast, get_args

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from litlamp.aspects.aspect import COLOURS, PLATES, Aspect
from litlamp.aspects.explain import explain
from litlamp.aspects.words import AspectWordsError, describe, parse_aspect
from litlamp.page.aspect_form import DEFAULT, aspect_from, fields_of
from litlamp.page.diagram import diagram
from litlamp.page.drawings import Light, Weather, Wish
from litlamp.page.pages import page
from litlamp.page.read_view import read_bytes
from litlamp.page.site import over, site_of, texts
from litlamp.page.view import said_of
from litlamp.page.whatif import full, slips
from litlamp.page.workers import Failed, Full

LIGHTS = get_args(Light)
WEATHERS = get_args(Weather)
_WORDS = 200


def routes() -> list[Route]:
    """Everything under this view."""
    return [
        Route("/learn", learn),
        Route("/learn/picture.jpg", picture),
        Route("/learn/read", by_eye, methods=["POST"]),
    ]


def learn(request: Request) -> Response:
    """One aspect: its drawing, its reading, and its slips."""
    book = site_of(request).book
    fields = texts(request.query_params)
    aspect, problem = asked(fields)
    shown = full(aspect)
    words = describe(shown)
    reading = explain(describe(aspect), book)
    plates = {kind.kind: kind for kind in book.plates}
    return page(
        "learn.html",
        "/learn",
        status=200 if problem is None else 422,
        words=words,
        typed=fields.get("words", "")[:_WORDS],
        problem=problem,
        aspect=shown,
        fields=fields_of(shown),
        diagram=diagram(shown),
        said=said_of(reading, book),
        why=reading.why,
        slips=slips(shown, book),
        diagrams=lambda slip: diagram(slip.aspect),
        lights=LIGHTS,
        weathers=WEATHERS,
        light=fields["light"] if fields.get("light") in LIGHTS else "day",
        weather=fields["weather"] if fields.get("weather") in WEATHERS else "clear",
        flashes=any(lamp.flashing for lamp in shown.heads),
        colours=COLOURS,
        plates=PLATES,
        plate_kinds=plates,
        book=book,
    )


def asked(fields: Mapping[str, str]) -> tuple[Aspect, str | None]:
    """The aspect asked for, in words before controls; and what was wrong with it, if something was."""
    words = fields.get("words", "").strip()[:_WORDS]
    if words:
        try:
            return parse_aspect(words), None
        except AspectWordsError as error:
            said = str(error)
            return DEFAULT, f"{said[:1].upper()}{said[1:]}."
    aspect = aspect_from(fields)
    if aspect.heads:
        return aspect, None
    return DEFAULT, "Set at least one head." if fields else None


async def picture(request: Request) -> Response:
    """The aspect drawn as a photograph; `phase` dark shows a flashing lamp between two flashes."""
    fields = texts(request.query_params)
    aspect, problem = asked(fields)
    if problem is not None:
        raise HTTPException(404)
    light = fields.get("light", "day")
    weather = fields.get("weather", "clear")
    if light not in LIGHTS or weather not in WEATHERS:
        raise HTTPException(404)
    wish = Wish(full(aspect), 1, cast(Light, light), cast(Weather, weather))
    return await drawn(request, wish, 1 if fields.get("phase") == "dark" else 0)


async def by_eye(request: Request) -> Response:
    """Let the drawing be read as if it were a photograph: what the eyes make of it."""
    fields = texts(await request.form(max_files=0, max_fields=8))
    aspect, problem = asked(fields)
    light, weather = fields.get("light", "day"), fields.get("weather", "clear")
    if problem is not None or light not in LIGHTS or weather not in WEATHERS:
        raise HTTPException(404)
    wish = Wish(full(aspect), 1, cast(Light, light), cast(Weather, weather))
    picture = await drawn(request, wish, 0)
    return await read_bytes(request, bytes(picture.body), "drawing")


async def drawn(request: Request, wish: Wish, phase: int) -> Response:
    """One phase of a drawing, as soon as it is there."""
    site = site_of(request)
    try:
        job = site.drawings.job(wish)
        await over(job, site.settings.limits.draw_seconds + 5)
        pictures = job.done.result(0)
    except Full:
        raise HTTPException(503, "Many drawings are waiting; try again in a few seconds.") from None
    except (Failed, TimeoutError):
        raise HTTPException(500, "This could not be drawn.") from None
    headers = {"cache-control": "private, max-age=86400"}
    return Response(pictures[min(phase, len(pictures) - 1)], media_type="image/jpeg", headers=headers)
