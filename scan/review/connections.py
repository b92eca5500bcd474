"""Connections of browsers: how long each may take, and who makes room when there are too many.

The server's own limit counts connections, whoever holds them, and refuses everybody beyond it. Here a browser
that has not come in is only borrowing its connection: when they run out, the address that holds most of these
gives one up, the one longest idle first. Signed-in browsers are never closed to make room.

References
----------
OWASP Application Security Verification Standard 5.0, 7.3 (sessions). RFC 9112, 9.3 and 9.5 (connections that
idle, and time-outs). "Slow loris": headers or a body that arrive byte by byte to hold a connection.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Callable
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

from shortpencil.scan.review.patience import Lines, Patience

MOST_CONNECTIONS = 128
MOST_OF_ONE_STRANGER = 16  # a browser opens six


class Connections(Lines):
    """Those that are open now; used in the server's event loop only."""

    def __init__(self, patience: Patience | None = None, most: int = MOST_CONNECTIONS) -> None:
        super().__init__(patience)
        self._most = most
        self._open: dict[tuple[str, int], Connection] = {}

    def protocol(self) -> Callable[..., Connection]:
        """Return what the server makes for each connection."""

        def make(*args: Any, **more: Any) -> Connection:
            return Connection(self, *args, **more)

        return make

    def opened(self, connection: Connection) -> None:
        """Take a connection in, and have others closed where there are too many."""
        if connection.client is None:
            return
        self._open[connection.client] = connection
        strangers = [client for client, one in self._open.items() if not one.known]  # oldest first
        held = Counter(address for address, _ in strangers)
        if held[connection.client[0]] > MOST_OF_ONE_STRANGER:
            self._give_up(strangers, connection.client[0])
        elif len(self._open) > self._most and strangers:
            self._give_up(strangers, held.most_common(1)[0][0])

    def _give_up(self, strangers: list[tuple[str, int]], address: str) -> None:
        # Taken out at once: it is closed only when the loop comes to it, behind others that just opened.
        self._open.pop(next(client for client in strangers if client[0] == address)).abort()

    def closed(self, connection: Connection) -> None:
        """Forget a connection."""
        if connection.client is not None and self._open.get(connection.client) is connection:
            del self._open[connection.client]

    def begins(self, client: Any) -> None:
        """Say that the headers of a request are complete."""
        if (found := self._of(client)) is not None:
            found.head_is_complete()

    def is_known(self, client: Any, known: bool) -> None:
        """Say whether who sent the last request has come in."""
        if (found := self._of(client)) is not None:
            found.known = known

    def abort(self, client: Any) -> None:
        """Close a connection at once."""
        if (found := self._of(client)) is not None:
            found.abort()

    def _of(self, client: Any) -> Connection | None:
        return self._open.get((client[0], client[1])) if client else None


class Connection(H11Protocol):
    """One connection: the server's own, with a limit on how long its headers may take."""

    def __init__(self, all_: Connections, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self._all = all_
        self._late: asyncio.TimerHandle | None = None
        self.known = False

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for a request."""
        super().connection_made(transport)
        self._wait_for_head()
        self._all.opened(self)

    def data_received(self, data: bytes) -> None:
        """Take bytes; the first of a request start its time."""
        waits = self.cycle is None or self.cycle.response_complete
        if waits and self._late is None:
            self._wait_for_head()
        super().data_received(data)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self.head_is_complete()
        self._all.closed(self)
        super().connection_lost(exc)

    def head_is_complete(self) -> None:
        """Stop waiting for headers."""
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def abort(self) -> None:
        """Close at once, whatever is under way."""
        if self.transport is not None:
            self.transport.abort()

    def _wait_for_head(self) -> None:
        self._late = self.loop.call_later(self._all.patience.head, self.abort)
