"""A store with cards that wait, the page in process, and the page as a program of its own."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from shortpencil.forms.catalog import Catalog
from shortpencil.scan.intake import keep, read_file, round_of
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.review.app import make_app
from shortpencil.scan.review.desk import Desk
from shortpencil.scan.review.door import Door
from shortpencil.scan.review.focus_view import FocusView
from shortpencil.scan.review.guard import Limits
from shortpencil.scan.review.readers import Readers

SAMPLES = Path(__file__).parents[2] / "sample_scans"
HOST = "127.0.0.1:8467"
ORIGIN = {"origin": f"http://{HOST}"}
NOON = datetime(2026, 8, 1, 12, tzinfo=UTC)

#: Three cells of this sample are doctored: both bubbles filled, a digit written over, an unclear distance.
THREE = "three_to_review.jpg"


@pytest.fixture(scope="session")
def catalog(tmp_path_factory: pytest.TempPathFactory) -> Catalog:
    return Catalog(tmp_path_factory.mktemp("forms"))


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory, catalog: Catalog) -> Path:
    """A store with one card that asks three things and one that asks something, read once for all tests."""
    place = tmp_path_factory.mktemp("store") / "rounds.sqlite"
    with open_store(place) as store:
        for name in (THREE, "plain_good_light.jpg"):
            for reading in read_file(SAMPLES / name, catalog).readings:
                keep(reading, round_of(reading, catalog, NOON), catalog, store)
    return place


@pytest.fixture
def place(template: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(template, tmp_path / "rounds.sqlite"))


@pytest.fixture
def store(place: Path) -> Iterator[Store]:
    with open_store(place) as opened:
        yield opened


@pytest.fixture
def serial(store: Store) -> str:
    """The card that asks three things."""
    return next(card for card, fields in store.waiting_fields() if len(fields) == 3)


@dataclass(slots=True)
class Clock:
    """A clock that the test moves."""

    now_s: float = 1000.0

    def __call__(self) -> float:
        return self.now_s


def no_focus(player: str | None, minutes: int) -> FocusView | str:
    return f"No focus for {player} in {minutes} minutes."


@dataclass(slots=True)
class Page:
    """The page in process: its desk, and browsers that came in."""

    desk: Desk
    clock: Clock
    browser: Callable[..., TestClient]

    def stranger(self) -> TestClient:
        return TestClient(make_app(self.desk), base_url=f"http://{HOST}", follow_redirects=False)


@pytest.fixture(scope="session")
def readers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Readers]:
    """Reading processes for all tests: the one that waits warm after a test serves the next."""
    shared = Readers(tmp_path_factory.mktemp("forms"))
    yield shared
    shared.close()


@pytest.fixture
def page(store: Store, catalog: Catalog, readers: Readers) -> Page:
    clock = Clock()
    desk = Desk(
        store=store,
        readers=readers,
        catalog=catalog,
        door=Door("Wren"),
        focus=no_focus,
        cookie="shortpencil_8467",
        hosts=lambda: {HOST},
        phone_address=lambda: f"http://{HOST}",
        clock=clock,
        now=lambda: NOON,
        limits=Limits(upload_bytes=4 * 2**20),
    )
    app = make_app(desk)

    def browser(kind: str = "laptop", **more: bool) -> TestClient:
        client = TestClient(app, base_url=f"http://{HOST}", headers=ORIGIN, follow_redirects=True, **more)
        secret = desk.door.link(clock(), 60.0, kind)  # type: ignore[arg-type]
        assert client.post("/enter", data={"secret": secret}).status_code == 200
        return client

    return Page(desk, clock, browser)
