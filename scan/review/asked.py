"""What all routes do with a request: take its form, say who asks, wait for the disk in a thread."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from shortpencil.scan.review.door import Session

LONGEST = 60  # of a name
T = TypeVar("T")
#: Renders a template for a request.
Page = Callable[..., Response]
Answer = Callable[[Request], Awaitable[Response]]


def get(address: str, answer: Answer) -> Route:
    """Return the route of a page that changes nothing."""
    return Route(address, answer, methods=["GET"])


def post(address: str, answer: Answer) -> Route:
    """Return the route of something that is done."""
    return Route(address, answer, methods=["POST"])


async def off(work: Callable[[], T]) -> T:
    """Do what waits for the disk in a thread, so that the other browsers are answered meanwhile."""
    return await run_in_threadpool(work)


async def form_of(request: Request, most: int = 40, part: int = 8192) -> FormData:
    """Return what a page's form sends: no file, `most` fields of `part` bytes each."""
    return await request.form(max_files=0, max_fields=most, max_part_size=part)


def text_of(form: FormData, name: str) -> str:
    """Return a field of a form as it was sent, "" where there is none."""
    value = form.get(name, "")
    return value if isinstance(value, str) else ""


def clean_text(form: FormData, name: str, most: int = LONGEST) -> str:
    """Return a field as it may be kept or printed: one line, no control characters."""
    return clean(text_of(form, name), most)


def clean(text: str, most: int = LONGEST) -> str:
    """Return a text as one line without control characters."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())[:most]


def laptop_only(request: Request, says: str) -> None:
    """Refuse what only the computer's own page may do; a phone is let in by others in the network, too."""
    if session_of(request).kind != "laptop":
        raise HTTPException(403, says)


def session_of(request: Request) -> Session:
    """Return who asks."""
    session = request.scope.get("session")
    assert isinstance(session, Session)  # the guard lets nobody else through
    return session
