"""The wall round the page, as pure ASGI: who may come in, how much they may bring, what every answer says.

Four rules. A request must name this server as its host, so that a foreign name that has been pointed here
finds nothing. One that changes something must come from this page itself. Where other computers can reach
the server, a visitor must have shown the token. And a body may not be larger than the limit, whatever its
header says.
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import ipaddress
import socket
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl, urlencode, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from litlamp.page.settings import Settings

COOKIE = "litlamp_door"
DOOR = "/door"
UPLOAD = "/read"
"""The one path that takes large bodies."""
BODY = "litlamp.body"
"""Where in the scope the `Body` is."""
_STATIC = "/static/"
_SAFE_METHODS = frozenset({"GET", "HEAD"})
_METHODS = _SAFE_METHODS | {"POST"}

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; img-src 'self' blob:; media-src 'self' blob:; style-src 'self'; "
        "script-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), microphone=(), geolocation=(), payment=(), usb=()",
}


class TooLarge(Exception):
    """A body went over the limit while it was being read."""


class Wall:
    """Lets in what may come in, and puts the headers on everything that goes out."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                if "cache-control" not in headers:
                    headers["cache-control"] = "no-store"
            await send(message)

        refusal = self._refusal(scope)
        if refusal is not None:
            await refusal(scope, receive, sending)
            return
        limits = self.settings.limits
        body = Body(receive, limits.upload_bytes if scope["path"] == UPLOAD else limits.form_bytes)
        scope[BODY] = body
        await self.app(scope, body, sending)

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        method = scope["method"]
        if method not in _METHODS:
            return _plain(405, "This page knows GET and POST only.")
        host = headers.get("host", "")
        if not host_allowed(host, self.settings):
            return _plain(400, "This server does not answer to that name.")
        if method not in _SAFE_METHODS and not _own(headers, host):
            return _plain(403, "Only this page itself may send here.")
        return self._door(scope, headers)

    def _door(self, scope: Scope, headers: Headers) -> Response | None:
        """None for whoever may pass; a visitor who shows the token gets a cookie in its place."""
        token = self.settings.token
        path = scope["path"]
        if token is None or path.startswith(_STATIC) or path == DOOR:
            return None
        if same(cookie_of(headers), token):
            return None
        asked = parse_qsl(scope["query_string"].decode("latin-1"))
        if scope["method"] in _SAFE_METHODS and any(k == "token" and same(v, token) for k, v in asked):
            rest = urlencode([(k, v) for k, v in asked if k != "token"])
            # Two slashes at the front would lead to another host.
            onward = "/" + path.lstrip("/\\")
            return admitted(RedirectResponse(f"{onward}?{rest}" if rest else onward, 303), token)
        if scope["method"] in _SAFE_METHODS:
            return RedirectResponse(DOOR, 303)
        return _plain(403, "The token is missing; open the page by the address that litlamp printed.")


def admitted(answer: Response, token: str) -> Response:
    """The answer with the cookie that opens the door from now on."""
    answer.set_cookie(COOKIE, token, httponly=True, samesite="strict", path="/", max_age=30 * 86_400)
    return answer


def cookie_of(headers: Headers) -> str:
    """The door's cookie; empty where there is none."""
    try:
        morsel = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return "" if morsel is None else morsel.value


def same(given: str, token: str) -> bool:
    """Whether they are equal, in a time that does not tell how much of it is right."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), token.encode())


def host_allowed(host: str, settings: Settings) -> bool:
    """Whether a Host header names this server.

    Where other computers may come in any address in figures will do: a name pointed here by a stranger is
    no such address.
    """
    try:
        name = urlsplit(f"//{host}").hostname
    except ValueError:
        return False
    if not name:
        return False
    if name in ("localhost", settings.host.lower()):
        return True
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        own = socket.gethostname().lower()
        return settings.open_to_others and name in (own, f"{own}.local")
    return address.is_loopback or settings.open_to_others


def _own(headers: Headers, host: str) -> bool:
    """Whether a writing request comes from a page of this server: browsers say so in Origin or Referer."""
    site = headers.get("sec-fetch-site")
    if site is not None and site not in ("same-origin", "none"):
        return False
    came_from = headers.get("origin") or headers.get("referer")
    if came_from is None:
        return site == "same-origin"
    try:
        return urlsplit(came_from).netloc.lower() == host.lower()
    except ValueError:
        return False


class Body:
    """What is coming in of one request: counted, and ended at the limit."""

    def __init__(self, receive: Receive, limit: int) -> None:
        self._receive = receive
        self._limit = limit
        self.taken = 0
        self.more = True

    async def __call__(self) -> Message:
        """The next message. Raises TooLarge."""
        message = await self._next()
        if self.taken > self._limit:
            raise TooLarge
        return message

    async def drain(self, most: int, seconds: float) -> None:
        """Let fall what is still coming, so that the sender hears the answer; not without end."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                while self.more and self.taken < most:
                    await self._next()

    async def _next(self) -> Message:
        message = await self._receive()
        self.more = message["type"] == "http.request" and message.get("more_body", False)
        self.taken += len(message.get("body", b""))
        return message


def _plain(status: int, words: str) -> Response:
    return PlainTextResponse(words, status, {"connection": "close"})
