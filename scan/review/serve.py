"""Runs the server: binds, makes the links, and stops by itself when nobody has asked for long."""

from __future__ import annotations

import asyncio
import socket
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.errors import InputError
from shortpencil.scan.records.store import Store
from shortpencil.scan.review.after_view import AfterOf, WorthOf, no_worth, nothing_after
from shortpencil.scan.review.app import make_app
from shortpencil.scan.review.chores import Chores
from shortpencil.scan.review.connections import Connections
from shortpencil.scan.review.desk import Desk
from shortpencil.scan.review.door import FIRST_LINK_S, Door
from shortpencil.scan.review.focus_view import FocusOf
from shortpencil.scan.review.readers import Readers

LOOPBACK = "127.0.0.1"
WATCH_S = 5.0


@dataclass(frozen=True, slots=True)
class Serving:
    """Where to serve: `lan` lets other machines in, else only this one; port 0 takes a free one."""

    port: int
    lan: bool
    name: str  # signs the answers
    stop_after_s: float
    plain_hands: bool = False  # read as any hand's, and keep nothing of it
    card_pictures: bool = True  # keep the picture of each whole flat card


@dataclass(frozen=True, slots=True)
class Opened:
    """What the person must know: the link for this machine and, on the local network, one for the phone."""

    laptop: str
    phone: str | None


class _Network:
    """Where phones reach this machine, and the switch that lets them: a second listener, made when asked."""

    def __init__(self, port: int, address: str | None, door: Door, everywhere: bool) -> None:
        self.address, self._port, self._door = address, port, door
        self._everywhere = everywhere  # the first listener hears the network already
        self.server: uvicorn.Server | None = None
        self._extra: asyncio.Server | None = None

    @property
    def url(self) -> str | None:
        """The address for a phone, or None while phones are kept out."""
        return f"http://{self.address}:{self._port}" if self.address else None

    async def switch(self, on: bool) -> None:
        """Let phones in, or keep them out and sign out those that are in."""
        if not on:
            self.address = None
            self._door.sign_out_phones()
            if self._extra is not None:
                self._extra.close()
                self._extra = None
            return
        found = lan_address()
        if found is None:
            raise InputError("expected this computer in a local network, found none. Join one first.")
        if not self._everywhere and self._extra is None:
            assert self.server is not None
            server, loop = self.server, asyncio.get_running_loop()
            config = server.config

            def connection() -> asyncio.Protocol:
                make: Callable[..., asyncio.Protocol] = config.http_protocol_class
                state = server.lifespan.state
                return make(config=config, server_state=server.server_state, app_state=state)

            self._extra = await loop.create_server(connection, sock=_listen(found, self._port))
            server.servers.append(self._extra)  # closed with the others
        self.address = found


def serve(
    store: Store,
    forms: Path,
    focus: FocusOf,
    how: Serving,
    tell: Callable[[Opened], None],
    chores: Chores | None = None,
    *,
    after: AfterOf = nothing_after,
    worth: WorthOf = no_worth,
) -> None:
    """Serve until stopped; `tell` is called once with the links, when they work.

    Raises
    ------
    InputError
        when the port is taken or this machine is in no network
    """
    listener = _listen("0.0.0.0" if how.lan else LOOPBACK, how.port)
    port = int(listener.getsockname()[1])
    address = lan_address() if how.lan else None
    if how.lan and address is None:
        listener.close()
        raise InputError(
            "--lan: expected this computer in a local network, found none. Join one, or leave --lan."
        )
    door = Door(how.name)
    network = _Network(port, address, door, everywhere=how.lan)
    readers = Readers(forms)
    lines = Connections()
    desk = Desk(
        store=store,
        readers=readers,
        catalog=Catalog(forms),
        door=door,
        focus=focus,
        cookie=f"shortpencil_{port}",  # browsers keep the cookies of all ports of a host together
        hosts=lambda: hosts_of(port, network.address),
        phone_address=lambda: network.url,
        chores=chores,
        switch_phone=network.switch,
        plain_hands=how.plain_hands,
        card_pictures=how.card_pictures,
        lines=lines,
        after=after,
        worth=worth,
    )
    server = network.server = uvicorn.Server(_config(desk, lines))
    now = time.monotonic()
    laptop = f"http://{LOOPBACK}:{port}/enter?secret={door.link(now, FIRST_LINK_S, 'laptop')}"
    phone = (
        f"http://{address}:{port}/enter?secret={door.link(now, FIRST_LINK_S, 'phone')}" if address else None
    )
    desk.last_request_s = now
    try:
        asyncio.run(_run(server, listener, desk, how.stop_after_s, lambda: tell(Opened(laptop, phone))))
    finally:
        readers.close()
        listener.close()


def _config(desk: Desk, lines: Connections) -> uvicorn.Config:
    """How the server treats who connects: it says little, trusts no header, and waits only so long."""
    return uvicorn.Config(
        make_app(desk),
        log_level="warning",
        access_log=False,  # it would write the one-time secrets down
        server_header=False,
        date_header=False,
        proxy_headers=False,  # nobody stands between; a header must not change who asks
        ws="none",
        http=lines.protocol(),  # type: ignore[arg-type]  # it takes any maker of a protocol
        timeout_keep_alive=int(lines.patience.idle),
        timeout_graceful_shutdown=3,
        h11_max_incomplete_event_size=32 * 1024,
    )


async def _run(
    server: uvicorn.Server, listener: socket.socket, desk: Desk, stop_after_s: float, told: Callable[[], None]
) -> None:
    running = asyncio.create_task(server.serve(sockets=[listener]))
    while not server.started and not running.done():
        await asyncio.sleep(0.02)
    if server.started:
        told()
    while not running.done():
        await asyncio.wait([running], timeout=WATCH_S)
        if desk.clock() - desk.last_request_s > stop_after_s:
            server.should_exit = True
    await running


def hosts_of(port: int, address: str | None) -> frozenset[str]:
    """Return the values of the Host header that are ours."""
    names = [LOOPBACK, "localhost"]
    if address is not None:
        names += [address, f"{socket.gethostname().split('.')[0].lower()}.local"]
    return frozenset(f"{name}:{port}" for name in names)


def lan_address() -> str | None:
    """Return this machine's address in the local network, or None when it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Sends nothing: the system only says from which of its addresses it would (RFC 5737 address).
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return None
        address = str(probe.getsockname()[0])
    return None if address.startswith("127.") or address == "0.0.0.0" else address


def _listen(host: str, port: int) -> socket.socket:
    # Named as TCP, else asyncio leaves Nagle's delay on and each answer waits 40 ms for the browser's word.
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError as error:
        listener.close()
        raise InputError(
            f"--port: expected port {port} to be free, found that it cannot be used: {error.strerror}. "
            "Is another shortpencil review running? Close it, or name another port."
        ) from error
    listener.listen(64)
    listener.setblocking(False)
    return listener
