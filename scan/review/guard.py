"""Refuses what must not reach a page, before anything is parsed; adds the headers that keep a page closed.

In this order: the Host must be one of ours (else a web page elsewhere could point its own name at this
machine), only GET, HEAD and POST are known, a POST must come from our own page, the body is counted while it
arrives, and all but the way in needs the cookie. Browsers send `Sec-Fetch-Site` only to secure origins,
loopback among them; a phone on the local network sends `Origin` alone, so either may speak for a POST and one
of them must.

References
----------
OWASP CSRF prevention cheat sheet (Fetch Metadata, then Origin). OWASP ASVS 5.0: 3.3.2, 3.3.4, 3.4.3 to 3.4.6,
3.5.1, 3.5.3, 5.2.1. W3C Fetch Metadata Request Headers; CSP Level 3.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Collection, Mapping, MutableMapping
from dataclasses import dataclass
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from time import monotonic
from typing import Any

from shortpencil.forms.called import calling
from shortpencil.forms.shown import one_line
from shortpencil.scan.language import carried, from_browser, speaking, spoken
from shortpencil.scan.review.door import Door
from shortpencil.scan.review.patience import Lines

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

MAX_FORM_BYTES = 64 * 1024  # an answer is a few hundred bytes
MAX_QUERY_BYTES = 2048
OPEN_PATHS = ("/enter", "/static/")
IMPORT_PATH, RESTORE_PATH = "/safe/import", "/safe/restore"

SAFE_HEADERS = (
    (
        "content-security-policy",
        "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; font-src 'self'; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    ),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(), microphone=(), geolocation=()"),
)


@dataclass(frozen=True, slots=True)
class Limits:
    """Most bytes of a body, by path; `uploads` lie in a list of their own since photos are large."""

    form_bytes: int = MAX_FORM_BYTES
    upload_bytes: int = 64 * 1024 * 1024
    upload_path: str = "/capture"
    backup_bytes: int = 2 * 1024**3  # some 10,000 cards with their pictures; goes to the disk as it comes

    def of(self, path: str) -> int:
        """Return the most bytes that a request to `path` may carry."""
        if path == RESTORE_PATH:
            return self.backup_bytes
        return self.upload_bytes if path in (self.upload_path, IMPORT_PATH) else self.form_bytes


class _TooLarge(Exception):
    pass


class _TooSlow(Exception):
    pass


class Guard:
    """Stands before an application; see the module."""

    def __init__(
        self,
        app: App,
        door: Door,
        *,
        hosts: Callable[[], Collection[str]],
        cookie: str,
        clock: Callable[[], float],
        limits: Limits,
        refuse: Callable[[int, str], tuple[str, bytes]],
        lines: Lines | None = None,
        called: Callable[[], Mapping[str, str]] = dict,
    ) -> None:
        self._app, self._door = app, door
        self._lines = lines or Lines()
        self._called = called
        self._hosts, self._cookie, self._clock = hosts, cookie, clock
        self._limits, self._refuse = limits, refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = _headers(scope)
        self._lines.begins(scope.get("client"))
        refused = self._why_not(scope, headers)
        session = scope.get("session")
        self._lines.is_known(scope.get("client"), session is not None)
        chosen = session.language if session is not None else ""
        # Who asks for none of ours is answered in the language of the computer that the page runs on.
        language = chosen or from_browser(",".join(headers.get("accept-language", []))) or spoken()
        with speaking(language), calling(self._called):
            if refused is not None:
                await self._answer(send, *refused)
            else:
                await self._pass_on(scope, receive, send)

    def _why_not(self, scope: Scope, headers: dict[str, list[str]]) -> tuple[int, str] | None:
        host = headers.get("host", [])
        if len(host) != 1 or host[0].lower() not in self._hosts():
            return 421, carried(
                "This address is not one that shortpencil answers to. Use the one it printed."
            )
        method, path = str(scope["method"]), str(scope["path"])
        if method not in ("GET", "HEAD", "POST"):
            return 405, carried("Pages are read, and their forms are sent. Nothing else is done here.")
        if len(scope.get("query_string", b"")) > MAX_QUERY_BYTES:
            return 414, carried("This address is longer than any that shortpencil makes.")
        origin = f"http://{host[0].lower()}"
        if method == "POST" and not _is_own(headers, origin):
            says = carried(
                "This was not sent from a page of shortpencil. Open the page and send it from there."
            )
            return 403, says
        if method != "POST" and _is_foreign_fetch(headers):
            return 403, carried("Another page asked for this. Only shortpencil's own pages may.")
        length = headers.get("content-length", ["0"])
        if len(length) != 1 or not (length[0].isascii() and length[0].isdigit()):
            return 400, carried("The length of the request is not a number.")
        if int(length[0][:15]) > self._limits.of(path):
            return 413, self._too_large(path)
        session = self._door.session(_cookie(headers, self._cookie), self._clock())
        if session is None and not path.startswith(OPEN_PATHS):
            return 401, carried(
                "This browser has not come in by a link yet. Use the one-time link that shortpencil printed, "
                "or make a new one on the page of the laptop."
            )
        scope["session"] = session
        scope["session_cookie"] = _cookie(headers, self._cookie)
        return None

    async def _pass_on(self, scope: Scope, receive: Receive, send: Send) -> None:
        left = self._limits.of(str(scope["path"]))
        patience = self._lines.patience
        begun, whole, dropped = False, False, ""
        until = monotonic() + patience.upload

        async def counted() -> Message:
            nonlocal left, whole, dropped
            if whole:
                return await receive()
            try:
                wait_s = max(min(patience.body, until - monotonic()), 0.0)
                message = await asyncio.wait_for(receive(), wait_s)
            except TimeoutError:
                dropped = "took too long to send"
                raise _TooSlow from None
            whole = not message.get("more_body", False)
            if message["type"] == "http.disconnect":
                dropped = "was gone before all was sent"
            left -= len(message.get("body", b""))
            if left < 0:
                raise _TooLarge
            return message

        async def closed(message: Message) -> None:
            nonlocal begun, dropped
            if (left < 0 or dropped) and not begun:
                return  # the application's own word for it, an error page, comes too late
            if message["type"] == "http.response.start":
                begun = True
                message["headers"] = [*message.get("headers", []), *_encoded(message.get("headers", []))]
            try:
                await asyncio.wait_for(send(message), patience.answer)
            except TimeoutError:
                dropped = "took too long to take the answer"
                raise _TooSlow from None

        try:
            await self._app(scope, counted, closed)
        except _TooLarge:
            if not begun:
                await self._answer(send, 413, self._too_large(str(scope["path"])))
        except Exception:
            if not dropped:
                raise
        if dropped:
            await self._let_go(scope, send, dropped, begun)

    async def _let_go(self, scope: Scope, send: Send, dropped: str, begun: bool) -> None:
        """Say in one line that the other side dropped out, and keep nothing open for it."""
        client, session = scope.get("client"), scope.get("session")
        who = session.name if session is not None else "somebody"
        where = f" at {client[0]}" if client else ""
        self._lines.tell(f"{who}{where} {dropped} ({scope['method']} {one_line(str(scope['path']))}).")
        if begun:
            self._lines.abort(client)
        else:
            await self._answer(send, 408, carried("This took too long to arrive. Come nearer to the router."))

    def _too_large(self, path: str) -> str:
        most = self._limits.of(path)
        if path == self._limits.upload_path:
            return carried(f"These photos are larger than {most // 2**20} MB together. Send fewer at once.")
        return carried("This is more than an answer can be.")

    async def _answer(self, send: Send, status: int, says: str) -> None:
        kind, body = self._refuse(status, says)
        headers = [(b"content-type", kind.encode()), (b"content-length", str(len(body)).encode())]
        # What was refused may still be sending its body: the connection ends here.
        headers += [(b"connection", b"close"), *_encoded([])]
        if status == HTTPStatus.METHOD_NOT_ALLOWED:
            headers.append((b"allow", b"GET, HEAD, POST"))
        await send({"type": "http.response.start", "status": status, "headers": headers})
        await send({"type": "http.response.body", "body": body})


def _headers(scope: Scope) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


def _is_own(headers: dict[str, list[str]], origin: str) -> bool:
    """Say whether a POST comes from a page of ours."""
    origins, sites = headers.get("origin"), headers.get("sec-fetch-site")
    if sites is not None and sites != ["same-origin"]:
        return False
    if origins is not None:
        return [o.lower() for o in origins] == [origin]
    return sites == ["same-origin"]


def _is_foreign_fetch(headers: dict[str, list[str]]) -> bool:
    """Say whether another site asks for a part of ours; following a link to a page is no such thing."""
    site = headers.get("sec-fetch-site", ["none"])
    if all(s in ("same-origin", "none") for s in site):
        return False
    mode, target = headers.get("sec-fetch-mode", [""]), headers.get("sec-fetch-dest", [""])
    return mode != ["navigate"] or target not in (["document"], [""])


def _cookie(headers: dict[str, list[str]], name: str) -> str | None:
    try:
        jar = SimpleCookie("; ".join(headers.get("cookie", [])))
    except CookieError:
        return None
    return jar[name].value if name in jar else None


def _encoded(present: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    there = {name.lower() for name, _ in present}
    added = [(name.encode(), value.encode()) for name, value in SAFE_HEADERS if name.encode() not in there]
    if b"cache-control" not in there:
        added.append((b"cache-control", b"no-store"))
    return added
