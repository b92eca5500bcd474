"""Browsers that hold connections, send slowly or drop out keep nobody else from the page."""

from __future__ import annotations

import asyncio
import logging
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace

import pytest
import uvicorn

from shortpencil.scan.review.app import make_app
from shortpencil.scan.review.connections import MOST_CONNECTIONS, MOST_OF_ONE_STRANGER, Connections
from shortpencil.scan.review.door import SESSION_MOST_S
from shortpencil.scan.review.patience import Patience
from tests.review.conftest import HOST, ORIGIN, Page

QUICK = Patience(head=0.4, body=0.4, upload=1.0, answer=0.5, idle=5.0)


class Server:
    """The page behind a real server on a port of this machine."""

    def __init__(self, page: Page, patience: Patience) -> None:
        self.desk = replace(page.desk, lines=Connections(patience))
        self.cookie = self.desk.door.enter(self.desk.door.link(page.clock(), 60.0, "phone"), page.clock())
        config = uvicorn.Config(
            make_app(self.desk),
            http=self.desk.lines.protocol(),  # type: ignore[attr-defined, arg-type]
            access_log=False,
            log_config=None,
            lifespan="off",
        )
        self._server = uvicorn.Server(config)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._thread = threading.Thread(target=self._run)
        self._thread.start()
        while not self._server.started:
            time.sleep(0.01)

    def _run(self) -> None:
        asyncio.run(self._server.serve(sockets=[self._listener]))

    def stop(self) -> None:
        self._server.should_exit = self._server.force_exit = True
        self._thread.join()
        self._listener.close()

    def connect(self) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.port), timeout=10)

    def head(self, method: str = "GET", path: str = "/rounds", **more: str) -> bytes:
        headers = {"host": HOST, "cookie": f"{self.desk.cookie}={self.cookie}", **ORIGIN, **more}
        lines = [f"{method} {path} HTTP/1.1", *(f"{k}: {v}" for k, v in headers.items()), "", ""]
        return "\r\n".join(lines).encode()


@pytest.fixture
def patience() -> Patience:
    return Patience()


@pytest.fixture
def server(page: Page, patience: Patience, monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    # A server that another test ran in this process may have kept its words from the loggers above its own.
    for name in ("uvicorn", "uvicorn.error"):
        monkeypatch.setattr(logging.getLogger(name), "propagate", True)
    running = Server(page, patience)
    yield running
    running.stop()


def all_of(connection: socket.socket) -> bytes:
    """What comes until the other side closes."""
    parts = []
    with connection:
        try:
            while part := connection.recv(65536):
                parts.append(part)
        except ConnectionResetError:
            parts.append(b"(reset)")
    return b"".join(parts)


def test_idle_connections_of_strangers_shut_nobody_out(server: Server) -> None:
    phone = server.connect()
    phone.sendall(server.head())
    assert phone.recv(15).startswith(b"HTTP/1.1 200")
    strangers = [server.connect() for _ in range(MOST_CONNECTIONS + 2)]
    time.sleep(0.2)
    again = server.connect()
    again.sendall(server.head(connection="close"))
    assert all_of(again).startswith(b"HTTP/1.1 200")
    phone.recv(1 << 20)
    phone.sendall(server.head(connection="close"))
    assert b"HTTP/1.1 200" in all_of(phone)  # it is signed in: its idle connection was not given up
    still_open = 0
    for stranger in strangers:
        stranger.settimeout(0.01)
        try:
            still_open += stranger.recv(1) != b""
        except TimeoutError:
            still_open += 1
        except ConnectionResetError:
            pass
        stranger.close()
    assert still_open <= MOST_OF_ONE_STRANGER


@pytest.mark.parametrize("patience", [QUICK], ids=["quick"])
def test_headers_that_arrive_byte_by_byte_end_their_connection(server: Server) -> None:
    slow, silent = server.connect(), server.connect()
    sent = 0
    with suppress(OSError):  # reset, or a broken pipe
        for byte in server.head() * 10:
            slow.send(bytes([byte]))
            sent += 1
            time.sleep(0.02)
    assert sent < len(server.head())  # cut off before its headers were complete
    assert all_of(slow) in (b"", b"(reset)")
    assert all_of(silent) in (b"", b"(reset)")


@pytest.mark.parametrize("patience", [QUICK], ids=["quick"])
def test_a_body_that_stops_coming_is_answered_and_told_in_one_line(
    server: Server, caplog: pytest.LogCaptureFixture
) -> None:
    slow = server.connect()
    kind = "application/x-www-form-urlencoded"
    slow.sendall(server.head("POST", "/name", **{"content-type": kind, "content-length": "20"}) + b"name=Wr")
    assert all_of(slow).startswith(b"HTTP/1.1 408")
    (line,) = [record for record in caplog.records if record.levelno >= logging.WARNING]
    assert "phone 1 at 127.0.0.1 took too long to send (POST /name)." in line.getMessage()
    assert line.exc_info is None


def test_a_phone_that_drops_out_is_one_line(server: Server, caplog: pytest.LogCaptureFixture) -> None:
    phone = server.connect()
    kind = "multipart/form-data; boundary=x"
    head = server.head("POST", "/capture", **{"content-type": kind, "content-length": "500000"})
    phone.sendall(
        head + b'--x\r\ncontent-disposition: form-data; name="photos"; filename="a"\r\n\r\n' + b"x" * 9000
    )
    time.sleep(0.2)
    phone.close()
    for _ in range(100):
        if caplog.records:
            break
        time.sleep(0.02)
    (line,) = [record for record in caplog.records if record.levelno >= logging.WARNING]
    assert "was gone before all was sent (POST /capture)." in line.getMessage()
    assert line.exc_info is None
    other = server.connect()
    other.sendall(server.head(connection="close"))
    assert all_of(other).startswith(b"HTTP/1.1 200")


def test_a_phone_is_signed_out_on_the_laptops_page(page: Page) -> None:
    laptop, phone = page.browser("laptop"), page.browser("phone")
    shown = laptop.get("/phone").text
    assert "Who is in" in shown
    number = next(one.number for one in page.desk.door.inside(page.clock()) if one.kind == "phone")
    assert f'value="{number}"' in shown
    assert phone.post("/phone/out", data={"number": "1"}).status_code == 403
    assert "Who is in" not in phone.get("/phone").text
    assert laptop.post("/phone/out", data={"number": str(number)}).status_code == 200
    assert phone.get("/").status_code == 401
    assert laptop.get("/").status_code == 200


def test_a_browser_signs_itself_out(page: Page) -> None:
    phone = page.browser("phone")
    assert "signed out" in phone.post("/phone/out", data={}).text
    assert phone.get("/").status_code == 401


def test_a_session_ends_however_much_it_is_used(page: Page) -> None:
    browser = page.browser()
    for _ in range(int(SESSION_MOST_S // 3600)):
        assert browser.get("/static/page.css").status_code == 200
        assert browser.get("/phone").status_code == 200
        page.clock.now_s += 3600
    page.clock.now_s += 1
    assert browser.get("/phone").status_code == 401
