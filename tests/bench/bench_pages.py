"""What each page of lists costs the processor with many rounds stored: run by hand, prints a table.

    python -m tests.bench.bench_pages --rounds 1000 --sheets 100

Rounds come in by import, of three players on the invented courses of the tests; sheets that are no rounds are
added as readings. Each page is fetched in process; the figure is the middle of several fetches, in seconds of
processor time of this program, with the rendering.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from starlette.testclient import TestClient

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.field_map import layout_to_json
from shortpencil.forms.form import form_from_toml
from shortpencil.forms.layout import PAPERS, arrange
from shortpencil.scan.reading import CardReading, FieldReading
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.review.app import make_app
from shortpencil.scan.review.desk import Desk
from shortpencil.scan.review.door import Door
from shortpencil.scan.review.readers import Readers
from tests.practice.invented import Player, rounds_of
from tests.records.cards import ENDS
from tests.review.conftest import HOST, no_focus

PAGES = ("/", "/rounds", "/calendar", "/courses", "/course", "/notes", "/players", "/who", "/rounds/{round}")
FETCHES = 5
COURSES = ("Alder Meadow", "Birch Hill", "Cedar Brook", "Dune End")


def add_sheets(store: Store, count: int) -> None:
    """Add sheets that are no rounds."""
    layout = arrange(form_from_toml(ENDS, source="ends.toml"), PAPERS["a4"]).layout
    text = layout_to_json(layout)
    blank = {field.id: FieldReading(None, 0.999) for field in layout.form.fields}
    for number in range(count):
        day = {"date.day": number % 28 + 1, "date.month": number % 12 + 1, "date.year": 26}
        fields = blank | {name: FieldReading(value, 0.999) for name, value in day.items()}
        card = CardReading(
            "e.jpg", "read", serial=f"S{number:07d}", form="F", fields=fields, photo_sha256=f"{number:064x}"
        )
        store.add_reading(card, layout.form, None, form_text=text, player="Wren")


def main() -> None:
    """Make the store, fetch each page, print what it took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=1000)
    parser.add_argument("--sheets", type=int, default=100)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "rounds.sqlite") as store:
        third = -(-args.rounds // 3)
        for at, name in enumerate(("Wren", "Ash", "Plover")):
            found = rounds_of(Player(name=name), third, np.random.default_rng(at), prefix=f"{name}-")
            store.add_rounds(
                [replace(r, course=COURSES[i % 4], layout="long") for i, r in enumerate(found)][
                    : args.rounds - at * third
                ]
            )
        add_sheets(store, args.sheets)
        forms = Path(folder) / "forms"
        readers = Readers(forms)
        desk = Desk(
            store=store,
            readers=readers,
            catalog=Catalog(forms),
            door=Door("Wren"),
            focus=no_focus,
            cookie="shortpencil_8467",
            hosts=lambda: {HOST},
            phone_address=lambda: f"http://{HOST}",
            clock=time.monotonic,
            now=lambda: datetime.now(UTC),
        )
        browser = TestClient(make_app(desk), base_url=f"http://{HOST}")
        secret = desk.door.link(time.monotonic(), 60.0, "laptop")
        browser.post("/enter", data={"secret": secret}, headers={"origin": f"http://{HOST}"})
        print(f"{store.size()[0]} rounds, {args.sheets} sheets that are no rounds")
        for page in PAGES:
            path = page.format(round=store.summaries()[0].id)
            if page == "/course":
                path += f"?name={COURSES[0]}&layout=long&holes=18"
            took = []
            for _ in range(FETCHES):
                start = time.process_time()
                answer = browser.get(path)
                took.append(time.process_time() - start)
                assert answer.status_code == 200, (path, answer.status_code)
            size = len(answer.content) / 1000
            print(f"{page:20} {statistics.median(took):6.3f} s   first {took[0]:6.3f} s   {size:6.0f} kB")
        readers.close()


if __name__ == "__main__":
    main()
