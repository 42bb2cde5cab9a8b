"""The page as an ASGI application, and the server that a learner starts."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import AsyncIterator, Callable

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Receive, Scope, Send

from litlamp.aspects.rulebook import load_book
from litlamp.page import keep_view, learn_view, practise_view, read_view
from litlamp.page.answers import Answers
from litlamp.page.collection import Collection
from litlamp.page.drawings import Drawings
from litlamp.page.pages import fault, page
from litlamp.page.progress import Progress
from litlamp.page.questions import Questions
from litlamp.page.security import BODY, DOOR, TooLarge, Wall, admitted, same
from litlamp.page.settings import MB, Settings
from litlamp.page.site import Site, site_of, texts
from litlamp.page.store import Store
from litlamp.page.tasks import warm
from litlamp.page.uploads import Tray
from litlamp.page.workers import WorkerPool

_WARM_SECONDS = 120.0
_DRAIN_SECONDS = 30.0


def create_app(settings: Settings) -> ASGIApp:
    """The application. It holds processes and a private folder while its lifespan lasts.

    Raises
    ------
    litlamp.aspects.rulebook.RulebookError : there is no such book.
    litlamp.page.store.StoreError : what is kept cannot be opened.
    """
    book = load_book(settings.book, settings.edition)
    limits = settings.limits
    store = Store(settings.data)

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        pool = WorkerPool(settings.workers, limits.waiting, limits.worker_bytes)
        tray = Tray(limits)
        app.state.site = Site(
            settings,
            book,
            pool,
            tray,
            Answers(limits),
            Drawings(pool, limits.draw_seconds),
            Progress(store),
            Collection(store),
            Questions(),
        )
        if settings.warm:
            pool.submit(warm, seconds=_WARM_SECONDS)
        try:
            yield
        finally:
            pool.close()
            tray.close()

    app = Starlette(
        routes=[
            *read_view.routes(),
            *learn_view.routes(),
            *practise_view.routes(),
            *keep_view.routes(),
            Route(DOOR, door, methods=["GET", "POST"]),
            Mount("/static", StaticFiles(packages=[("litlamp.page", "static")])),
        ],
        exception_handlers={HTTPException: told, TooLarge: too_large, Exception: broken},
        lifespan=lifespan,
    )
    return Wall(_Caught(app), settings)


async def door(request: Request) -> Response:
    """Where a visitor from another computer shows the token."""
    token = site_of(request).settings.token
    if token is None:
        return RedirectResponse("/", 303)
    if request.method == "GET":
        return page("door.html", "", wrong=False)
    form = await request.form(max_files=0, max_fields=2)
    if same(texts(form).get("token", "").strip(), token):
        return admitted(RedirectResponse("/", 303), token)
    return page("door.html", "", status=403, wrong=True)


_TITLES = {404: "Nothing is here", 405: "That cannot be done here", 503: "Please wait a moment"}


def told(request: Request, error: Exception) -> Response:
    """An error of HTTP as a page."""
    assert isinstance(error, HTTPException)
    words = error.detail if " " in error.detail and error.detail.endswith(".") else "Go back, or begin again."
    headers = {"retry-after": "5"} if error.status_code == 503 else None
    return fault(error.status_code, _TITLES.get(error.status_code, "That did not work"), words, headers)


async def too_large(request: Request, error: Exception) -> Response:
    """A body over the limit."""
    limits = site_of(request).settings.limits
    await request.scope[BODY].drain(2 * limits.upload_bytes, _DRAIN_SECONDS)
    most = limits.form_bytes / MB
    return fault(413, "Too large", f"That is more than {most:g} MB, the most that is taken here.")


def broken(request: Request, error: Exception) -> Response:
    """A fault of our own: a page without a trace."""
    return fault(500, "Something failed that should not", "Nothing you kept is lost; please report it.")


class _Caught:
    """What a handler tripped over has been answered with a page; the terminal gets one line, no trace."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await self.app(scope, receive, send)
        except Exception as error:
            if scope["type"] != "http" or os.environ.get("LITLAMP_DEBUG"):
                raise
            what = " ".join(f"{type(error).__name__} {error}".split())[:200]
            print(f"litlamp page: {scope['method']} {scope['path']!a}: {what}", file=sys.stderr)


def serve(settings: Settings, ready: Callable[[], None] | None = None) -> None:
    """Serve until interrupted; `ready` is called once the server listens."""
    import uvicorn

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[object] | None = None) -> None:  # type: ignore[override]
            await super().startup(sockets=None)
            if ready is not None and self.started:
                ready()

    config = uvicorn.Config(
        create_app(settings),
        host=settings.host,
        port=settings.port,
        log_level="error",
        access_log=False,
        server_header=False,
        lifespan="on",
        timeout_keep_alive=15,
        timeout_graceful_shutdown=5,
        limit_concurrency=1024,
        ws="none",
    )
    Server(config).run()
