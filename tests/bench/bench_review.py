"""How fast the page is, and what twenty phones at once cost: run by hand, prints a table.

    python -m tests.bench.bench_review

Key to next question: from the key's event in the browser until the next question stands in the page and its
pictures are decoded. Clearing a card: the scripted browser presses a key as soon as a question stands there,
so the time is the program's share, not a person's. Twenty phones: each sends one photo at the same moment;
memory is the resident memory of the server and of all its reading processes together, looked at every 50 ms.
"""

from __future__ import annotations

import platform
import shutil
import statistics
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import httpx2
from playwright.sync_api import Page, sync_playwright
from sqlalchemy import text

from shortpencil.forms.catalog import Catalog
from shortpencil.scan.intake import keep, read_file, round_of
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing.database import reading
from tests.review.browser import ARGS, CHROMIUM, Server, come_in
from tests.review.conftest import SAMPLES, THREE

PHONES = 20
CLEARINGS = 7
MB = 2**20
UNREADABLE = "half_out_of_picture_blurred.jpg"  # refused and rightly not kept

_WATCH = """() => { document.addEventListener('keydown', () => {
  const before = location.href, t0 = performance.now();
  const look = async () => {
    if (location.href === before || !document.querySelector('main.question h1')) return setTimeout(look, 1);
    const found = [...document.querySelectorAll('svg image')].map(i => i.getAttribute('href'));
    const decoded = src => { const i = new Image(); i.src = src; return i.decode(); };
    await Promise.all([...new Set(found)].map(decoded));
    (window.took ??= []).push(performance.now() - t0);
  };
  look();
}, true); }"""


def make_store(folder: Path, names: list[str]) -> Path:
    place = folder / "rounds.sqlite"
    catalog = Catalog(folder / "forms")
    with open_store(place) as store:
        for name in names:
            for found in read_file(SAMPLES / name, catalog).readings:
                keep(found, round_of(found, catalog, datetime.now(UTC)), catalog, store)
    return place


def key_to_next(page: Page, base: str) -> list[float]:
    page.goto(f"{base}/ask")
    page.evaluate(_WATCH)
    for count in range(1, 41):
        page.keyboard.press("ArrowRight" if count % 2 else "ArrowLeft")
        page.wait_for_function("n => (window.took ?? []).length >= n", arg=count)
    return [float(ms) for ms in page.evaluate("window.took")]


def key_to_kept(page: Page, base: str, serial: str) -> list[float]:
    """Answer and take back in turn, so that each key writes."""
    page.goto(f"{base}/ask/{serial}/h05.drive")
    page.evaluate(_WATCH)
    for count in range(1, 21):
        page.keyboard.press("m" if count % 2 else "u")
        page.wait_for_function("n => (window.took ?? []).length >= n", arg=count)
    return [float(ms) for ms in page.evaluate("window.took")]


def clear_card(page: Page, base: str, serial: str) -> float:
    page.goto(f"{base}/ask/{serial}/h05.drive")
    begun = time.perf_counter()
    for keys, until in (
        (["m"], "h1:text('Distance of the first putt')"),
        (["1", "3", "Enter"], "h1:text('Why it missed')"),
        (["5"], "h1:text('Nothing to ask')"),
    ):
        for key in keys:
            page.keyboard.press(key)
        page.wait_for_selector(until)
    return time.perf_counter() - begun


def resident_mb(root: int) -> float:
    """Resident memory of a process and all its descendants."""
    children: dict[int, list[int]] = {}
    pages: dict[int, int] = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                parent = int((entry / "stat").read_text().rsplit(")", 1)[1].split()[1])
                pages[int(entry.name)] = int((entry / "statm").read_text().split()[1])
            except (OSError, IndexError):
                continue
            children.setdefault(parent, []).append(int(entry.name))
    total, todo = 0, [root]
    while todo:
        at = todo.pop()
        total += pages.get(at, 0)
        todo += children.get(at, [])
    return total * 4096 / MB


def twenty_phones(server: Server) -> tuple[list[float], float, float, int]:
    photos = [path.read_bytes() for path in sorted(SAMPLES.glob("*.jpg")) if path.name != UNREADABLE]
    laptop = httpx2.Client(base_url=server.base, headers={"origin": server.base}, timeout=300)
    laptop.post("/enter", data={"secret": server.link.split("secret=")[1]})
    cookies = dict(laptop.cookies)
    took: list[float] = []
    at_once = threading.Barrier(PHONES + 1)
    done = threading.Event()
    before, peak = resident_mb(server.process.pid), 0.0

    def phone(number: int) -> None:
        # Bytes behind the end of a JPEG make it another file with the same picture.
        data = photos[number % len(photos)] + f"phone {number}".encode()
        with httpx2.Client(
            base_url=server.base, headers={"origin": server.base}, cookies=cookies, timeout=300
        ) as c:
            at_once.wait()
            begun = time.perf_counter()
            answer = c.post("/capture", files={"photo": ("p.jpg", data, "image/jpeg")})
            took.append(time.perf_counter() - begun)
            assert answer.status_code == 200, answer.status_code

    def watch() -> None:
        nonlocal peak
        while not done.wait(0.05):
            peak = max(peak, resident_mb(server.process.pid))

    threads = [threading.Thread(target=phone, args=(number,)) for number in range(PHONES)]
    watcher = threading.Thread(target=watch)
    for thread in (*threads, watcher):
        thread.start()
    at_once.wait()
    waits = []
    while any(thread.is_alive() for thread in threads):  # meanwhile the laptop goes on answering
        begun = time.perf_counter()
        laptop.get("/ask")
        waits.append(time.perf_counter() - begun)
        time.sleep(0.1)
    for thread in threads:
        thread.join()
    done.set()
    watcher.join()
    with open_store(server.store) as store, reading(store._engine) as connection:
        kept = int(connection.execute(text("SELECT count(*) FROM photos")).scalar_one())
    middle, worst = statistics.median(waits) * 1e3, max(waits) * 1e3
    print(f"  laptop's page meanwhile   median {middle:5.0f} ms, worst {worst:.0f} ms")
    return took, before, peak, kept


def main() -> None:
    print(f"{platform.processor() or platform.machine()}, Python {platform.python_version()}")
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        base_store = make_store(folder, [THREE])
        with open_store(base_store) as store:
            serial = store.waiting_fields()[0][0]
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        viewport = {"viewport": {"width": 1280, "height": 800}}

        server = Server(Path(shutil.copy(base_store, folder / "keys.sqlite")), folder / "home")
        context = come_in(chromium, server, **viewport)
        for what, ms in (
            ("key to next question", key_to_next(context.pages[0], server.base)),
            ("key to kept and next", key_to_kept(context.pages[0], server.base, serial)),
        ):
            worst = sorted(ms)[int(0.95 * len(ms))]
            middle = statistics.median(ms)
            print(f"  {what:<25} median {middle:5.0f} ms, 95 % within {worst:.0f} ms, n {len(ms)}")
        context.close()
        server.stop()

        seconds = []
        for number in range(CLEARINGS):
            server = Server(Path(shutil.copy(base_store, folder / f"clear{number}.sqlite")), folder / "home")
            context = come_in(chromium, server, **viewport)
            seconds.append(clear_card(context.pages[0], server.base, serial))
            context.close()
            server.stop()
        middle = statistics.median(seconds)
        print(f"  a card with three flags   median {middle:5.2f} s, worst {max(seconds):.2f} s")
        chromium.close()

        server = Server(folder / "phones.sqlite", folder / "home")
        took, before, peak, kept = twenty_phones(server)
        server.stop()
        middle = statistics.median(took)
        print(f"  {PHONES} phones at once         median {middle:5.1f} s, last {max(took):.1f} s")
        print(f"  memory, server and all    before {before:.0f} MB, peak {peak:.0f} MB")
        print(f"  photos kept               {kept} of {PHONES}")


if __name__ == "__main__":
    main()
