"""The view Practise: a question, an answer, which step went wrong, and what comes again when."""

from __future__ import annotations

import random
import secrets
import time
from collections.abc import Mapping
from dataclasses import replace

import msgspec
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from litlamp.aspects.aspect import COLOURS, PLATES, Aspect
from litlamp.aspects.words import describe
from litlamp.page.aspect_form import aspect_from, fields_of
from litlamp.page.diagram import diagram
from litlamp.page.judge import STEP_WORDS, Verdict, judge
from litlamp.page.learn_view import drawn
from litlamp.page.pages import page
from litlamp.page.practise import (
    DISTANCES,
    chosen,
    level_of,
    pool,
    wish,
)
from litlamp.page.practise import fields_of as level_fields
from litlamp.page.progress import Try
from litlamp.page.questions import ORIGINS, Origin, Question
from litlamp.page.samples import samples
from litlamp.page.site import Site, site_of, texts
from litlamp.page.whatif import full, rule_of

NO_RULE = "none"


def routes() -> list[Route]:
    """Everything under this view."""
    return [
        Route("/practise", start),
        Route("/practise/ask", ask, methods=["POST"]),
        Route("/practise/progress.json", export),
        Route("/practise/erase", erase, methods=["POST"]),
        Route("/practise/{key}", question, methods=["GET"]),
        Route("/practise/{key}", answered, methods=["POST"]),
        Route("/practise/{key}/picture.jpg", picture),
    ]


def start(request: Request) -> Response:
    """Where practising begins, and how far one has come."""
    site = site_of(request)
    return page(
        "practise.html",
        "/practise",
        origins=ORIGINS,
        distances=DISTANCES,
        sums=site.progress.sums(),
        last=site.progress.last(12),
        step_words=STEP_WORDS,
        own=len(site.collection.settled()),
        samples=len(_sample_items()),
        empty=request.query_params.get("empty") == "yes",
        erased=request.query_params.get("erased") == "yes",
    )


def _sample_items() -> dict[str, Aspect]:
    return {f"sample {s.name}": s.aspect for s in samples().values() if s.aspect is not None and s.clear}


async def ask(request: Request) -> Response:
    """Choose a question and go to it."""
    fields = texts(await request.form(max_files=0, max_fields=16))
    made = await run_in_threadpool(next_question, site_of(request), fields, random.SystemRandom())
    return RedirectResponse("/practise?empty=yes" if made is None else f"/practise/{made.key}", 303)


def next_question(site: Site, fields: Mapping[str, str], rng: random.Random) -> Question | None:
    """The next question of that origin and level; None where the origin has nothing to ask."""
    level = level_of(fields)
    said = fields.get("origin")
    origin: Origin = "samples" if said == "samples" else "own" if said == "own" else "drawn"
    truths: dict[str, Aspect]
    if origin == "samples":
        truths = _sample_items()
    elif origin == "own":
        truths = {f"own {id_}": aspect for id_, aspect in site.collection.settled().items()}
    else:
        truths = {describe(aspect): aspect for aspect in pool(site.book, level)}
    progress = site.progress
    due = [one.item for one in progress.due()]
    item = chosen(list(truths), due, progress.known(), progress.weak(), site.questions.last(), rng)
    if item is None:
        return None
    truth = truths[item]
    how = wish(truth, level, rng) if origin == "drawn" else None
    return site.questions.put(Question(secrets.token_urlsafe(9), origin, item, full(truth), level, how))


def question(request: Request) -> Response:
    """The question; with its verdict once it was answered."""
    site = site_of(request)
    asked = site.questions.get(request.path_params["key"])
    flashes = asked.wish is not None and asked.wish.flashes
    return page(
        "question.html",
        "/practise",
        asked=asked,
        flashes=flashes,
        rules=sorted((r for r in site.book.rules if r.aspects), key=lambda r: r.number),
        colours=COLOURS,
        plates=PLATES,
        fields=fields_of(asked.seen) if asked.seen else {},
        verdict=asked.verdict,
        step_words=STEP_WORDS,
        truth=describe(asked.truth),
        diagram=diagram(asked.truth) if asked.verdict else None,
        again={"origin": asked.origin, **level_fields(asked.level)},
        origins=ORIGINS,
        problem=request.query_params.get("rule") == "missing",
    )


async def answered(request: Request) -> Response:
    """Judge an answer and keep it; a question is judged once."""
    site = site_of(request)
    asked = site.questions.get(request.path_params["key"])
    fields = texts(await request.form(max_files=0, max_fields=24))
    here = f"/practise/{asked.key}"
    rule = fields.get("rule", "")
    known = {r.number for r in site.book.rules}
    if asked.verdict is not None:
        return RedirectResponse(here, 303)
    if rule != NO_RULE and rule not in known:
        return RedirectResponse(f"{here}?rule=missing", 303)
    seen = aspect_from(fields)
    verdict = judge(seen, None if rule == NO_RULE else rule, asked.truth, site.book)
    await run_in_threadpool(_note, site, asked, verdict)
    site.questions.put(replace(asked, seen=seen, verdict=verdict))
    return RedirectResponse(here, 303)


def _note(site: Site, asked: Question, verdict: Verdict) -> None:
    truth = rule_of(asked.truth, site.book)
    site.progress.note(
        Try(
            time.time(),
            asked.item,
            asked.origin,
            None if truth is None else truth.number,
            None if verdict.said is None else verdict.said.number,
            verdict.step,
            verdict.side,
        )
    )


async def picture(request: Request) -> Response:
    """The picture of a question."""
    site = site_of(request)
    asked = site.questions.get(request.path_params["key"])
    if asked.wish is not None:
        return await drawn(request, asked.wish, 1 if request.query_params.get("phase") == "dark" else 0)
    if asked.origin == "own":
        found = await run_in_threadpool(site.collection.picture, int(asked.item.split()[1]))
        if found is None:
            raise HTTPException(404)
        return Response(found, media_type="image/jpeg")
    sample = samples()[asked.item.removeprefix("sample ")]
    data = await run_in_threadpool(sample.path.read_bytes)
    kind = "image/png" if data.startswith(b"\x89PNG") else "image/jpeg"
    return Response(data, media_type=kind, headers={"cache-control": "private, max-age=3600"})


def export(request: Request) -> Response:
    """All progress as JSON, to be saved."""
    data = msgspec.json.format(msgspec.json.encode(site_of(request).progress.export()), indent=1)
    name = "attachment; filename=litlamp-progress.json"
    return Response(data, media_type="application/json", headers={"content-disposition": name})


async def erase(request: Request) -> Response:
    """Forget all progress."""
    fields = texts(await request.form(max_files=0, max_fields=4))
    if fields.get("sure") != "yes":
        return RedirectResponse("/practise", 303)
    await run_in_threadpool(site_of(request).progress.erase)
    return RedirectResponse("/practise?erased=yes", 303)
