"""Who may come in: secrets for links that work once, and a session for the cookie that each becomes.

The times are given by the caller, in seconds of a clock that never goes back. Nothing here is written down: a
server started anew lets nobody in who was in before.
"""

from __future__ import annotations

import secrets
import threading
from dataclasses import dataclass, replace
from typing import Literal

SECRET_BYTES = 32  # 256 bits; ASVS 7.2.3 asks for 128
FIRST_LINK_S = 12 * 3600.0  # the link in the terminal, which may wait for a while
PHONE_LINK_S = 15 * 60.0  # a link made on the page, for a phone at hand
SESSION_IDLE_S = 12 * 3600.0
SESSION_MOST_S = 48 * 3600.0  # a tournament's weekend; after that a browser comes in anew (ASVS 7.3.2)
MOST_LINKS, MOST_SESSIONS = 32, 64

Kind = Literal["laptop", "phone"]


@dataclass(frozen=True, slots=True)
class Session:
    """One browser that came in; `name` signs what is entered from it, `number` tells it from the others."""

    name: str
    kind: Kind
    used_s: float
    began_s: float = 0.0
    number: int = 0
    language: str = ""  # chosen on the page; "" goes by the browser


class Door:
    """Hands out links that work once, and remembers who came in by one. Safe from several threads."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._links: dict[str, tuple[float, Kind]] = {}
        self._sessions: dict[str, Session] = {}
        self._phones = 0
        self._came = 0
        self._lock = threading.Lock()

    def link(self, now_s: float, lasts_s: float, kind: Kind) -> str:
        """Return a new secret that lets one browser in until `now_s` + `lasts_s`."""
        with self._lock:
            self._links = {secret: link for secret, link in self._links.items() if link[0] > now_s}
            while len(self._links) >= MOST_LINKS:
                del self._links[next(iter(self._links))]
            secret = secrets.token_urlsafe(SECRET_BYTES)
            self._links[secret] = (now_s + lasts_s, kind)
            return secret

    def enter(self, secret: str, now_s: float) -> str | None:
        """Return the cookie of a new session for a secret that was not used before, or None."""
        with self._lock:
            until, kind = self._links.pop(secret, (0.0, "phone"))
            if until <= now_s:
                return None
            name = self._name
            if kind == "phone":
                self._phones += 1
                name = f"{self._name}, phone {self._phones}"
            while len(self._sessions) >= MOST_SESSIONS:
                oldest = min(self._sessions, key=lambda cookie: self._sessions[cookie].used_s)
                del self._sessions[oldest]
            cookie = secrets.token_urlsafe(SECRET_BYTES)
            self._came += 1
            self._sessions[cookie] = Session(name, kind, now_s, now_s, self._came)
            return cookie

    def session(self, cookie: str | None, now_s: float) -> Session | None:
        """Return who a cookie stands for, or None; a session that idles, or is old, ends."""
        with self._lock:
            found = self._sessions.get(cookie or "")
            if cookie is None or found is None:
                return None
            if _is_over(found, now_s):
                del self._sessions[cookie]
                return None
            self._sessions[cookie] = replace(found, used_s=now_s)
            return self._sessions[cookie]

    def inside(self, now_s: float) -> tuple[Session, ...]:
        """Return who is in, in the order they came."""
        with self._lock:
            return tuple(one for one in self._sessions.values() if not _is_over(one, now_s))

    def sign_out(self, number: int) -> None:
        """End a session by its number."""
        with self._lock:
            self._sessions = {
                cookie: session for cookie, session in self._sessions.items() if session.number != number
            }

    def sign_out_phones(self) -> None:
        """End the session of every phone, and the links that would let one in."""
        with self._lock:
            self._sessions = {c: one for c, one in self._sessions.items() if one.kind != "phone"}
            self._links = {secret: link for secret, link in self._links.items() if link[1] != "phone"}

    def rename(self, cookie: str, name: str) -> None:
        """Sign what this session enters with another name from now on."""
        with self._lock:
            if cookie in self._sessions:
                self._sessions[cookie] = replace(self._sessions[cookie], name=name)

    def speak(self, cookie: str, language: str) -> None:
        """Show this session its pages in another language from now on."""
        with self._lock:
            if cookie in self._sessions:
                self._sessions[cookie] = replace(self._sessions[cookie], language=language)


def _is_over(session: Session, now_s: float) -> bool:
    return now_s - session.used_s > SESSION_IDLE_S or now_s - session.began_s > SESSION_MOST_S
