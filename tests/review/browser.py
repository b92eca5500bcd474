"""A real browser and the server that it asks, for the tests of the pages; no test stands here."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from shortpencil.scan.cli.after import after_of_store, worth_of_store
from shortpencil.scan.cli.chores import DeskChores
from shortpencil.scan.cli.review import focus_of_store
from shortpencil.scan.records.store import open_store
from shortpencil.scan.review import serve
from shortpencil.scan.review.readers import Readers

ROOT = Path(__file__).parents[2]
#: The shell first: the same engine without windows, where a page costs a third.
SHELL = shutil.which("chromium-headless-shell")
CHROMIUM = SHELL or shutil.which("chromium") or shutil.which("chromium-browser")
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-software-rasterizer",  # nothing here is drawn in three dimensions
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
LAPTOP = {"viewport": {"width": 1280, "height": 800}}
PHONE = {"viewport": {"width": 390, "height": 760}, "is_mobile": True, "has_touch": True}
WAIT_S = 60  # nothing takes so long, but a machine with other work stood still for more than 20 s

pytestmark = pytest.mark.skipif(
    CHROMIUM is None and "CI" not in os.environ, reason="no chromium: Debian packs chromium-headless-shell"
)


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    # Not for longer than a file: while it runs, its thread can run no loop of asyncio, which other tests do.
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        yield browser
        browser.close()
    KeptReaders.end()


class Server:
    """`shortpencil review` on a store of its own, on a free port, as a program of its own."""

    def __init__(self, store: Path, home: Path) -> None:
        self.store = store
        code = "import sys; from shortpencil.scan.cli.main import main; sys.exit(main(sys.argv[1:]))"
        words = ["review", "--store", str(store), "--port", "0", "--no-browser", "--by", "Wren"]
        self.process = subprocess.Popen(
            [sys.executable, "-c", code, *words],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            env={**os.environ, "SHORTPENCIL_HOME": str(home), "OMP_NUM_THREADS": "1"},
        )
        assert self.process.stdout is not None
        self.link = self.process.stdout.readline().strip()
        self.base = self.link.split("/enter")[0]

    def stop(self, sign: int = signal.SIGTERM) -> None:
        if self.process.poll() is None:
            self.process.send_signal(sign)
            self.process.wait(WAIT_S)
        assert self.process.stdout is not None
        self.process.stdout.close()


class KeptReaders(Readers):
    """Readers of photos whose process that waits warm, unused, waits for the next server's photo."""

    _waiting: ClassVar[list[KeptReaders]] = []

    def __init__(self, forms: Path) -> None:
        super().__init__(forms)
        if self._waiting:
            before = self._waiting.pop()
            self._spare, before._spare = before._spare, None

    def close(self) -> None:
        with self._lock:
            self._closed = True
            if self._spare is not None and self not in self._waiting:  # a server closes them twice
                self._waiting.append(self)

    @classmethod
    def end(cls) -> None:
        while cls._waiting:
            Readers.close(cls._waiting.pop())


class ThreadServer:
    """The same server in a thread of this process, which has loaded what it needs."""

    def __init__(self, store: Path, home: Path) -> None:
        self.store, self._forms = store, home / "forms"
        self._server: uvicorn.Server | None = None
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()
        assert self._ready.wait(WAIT_S)

    def _run(self) -> None:
        kept = self

        class Kept(uvicorn.Server):
            def __init__(self, config: uvicorn.Config) -> None:
                super().__init__(config)
                kept._server = self

        def tell(opened: serve.Opened) -> None:
            self.link = opened.laptop
            self.base = self.link.split("/enter")[0]
            self._ready.set()

        how = serve.Serving(0, False, "Wren", 600.0)
        with pytest.MonkeyPatch.context() as patch, open_store(self.store) as store:
            patch.setattr(serve.uvicorn, "Server", Kept)
            patch.setattr(serve, "Readers", KeptReaders)
            serve.serve(
                store,
                self._forms,
                focus_of_store(store),
                how,
                tell,
                DeskChores(store, self._forms),
                after=after_of_store(store),
                worth=worth_of_store(store),
            )

    def stop(self) -> None:
        assert self._server is not None
        self._server.should_exit = True
        self._thread.join(WAIT_S)
        assert not self._thread.is_alive()


def come_in(chromium: Browser, server: Server | ThreadServer, **how: Any) -> BrowserContext:
    """A browser that came in by the link; every complaint of the page is an error."""
    context = chromium.new_context(**how)
    context.set_default_timeout(1000 * WAIT_S)
    complaints: list[str] = []
    context.on(
        "console", lambda message: complaints.append(message.text) if message.type == "error" else None
    )
    context.on("weberror", lambda error: complaints.append(str(error.error)))
    context.complaints = complaints  # type: ignore[attr-defined]
    page = context.new_page()
    page.goto(server.link)
    if how.get("java_script_enabled") is False:
        page.get_by_role("button", name="Come in").click()
    page.wait_for_url(f"{server.base}/")
    return context


def press(page: Page, key: str) -> None:
    """Press a key and wait for the page that follows."""
    before = page.url
    page.keyboard.press(key)
    page.wait_for_function("before => location.href !== before && document.querySelector('h1')", arg=before)


def faults_of(page: Page, *rules: str) -> list[tuple[str, list[str]]]:
    """What the program axe-core finds against accessibility on a page: its rule and where, two places each.

    Of these rules alone, where any are named: what does not change with the colours is looked at once.

    The page's context needs `bypass_csp`: the tool's injection, not the page, has to evaluate a script.
    """
    from axe_playwright_python.sync_playwright import Axe

    only = {"runOnly": list(rules)} if rules else {}
    loaded = page.evaluate("'axe' in window")  # half a megabyte of script, once a page
    axe = Axe("'loaded'") if loaded else Axe()
    faults = axe.run(page, options={"resultTypes": ["violations"], **only}).response["violations"]
    return [(fault["id"], [node["html"][:90] for node in fault["nodes"]][:2]) for fault in faults]


_ARRIVED = """() => {
  for (const one of document.getAnimations()) { try { one.finish() } catch { one.cancel() } }
}"""


def dressed(page: Page, *looks: tuple[str, int]) -> Iterator[tuple[str, int]]:
    """The page that is open in each colour scheme and width in CSS pixels, one after the other."""
    for scheme, width in looks:
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        page.set_viewport_size({"width": width, "height": 800})
        # Colours that pass from one scheme to the other arrive now; what would go on for ever stops.
        page.evaluate(_ARRIVED)
        yield scheme, width
