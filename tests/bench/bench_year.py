"""A scripted year: forty rounds on three courses, twenty-five practice sheets, two players, one phone.

    python -m tests.bench.bench_year --rounds 40 --sheets 25 --out DIR [--most 12]

Through the page and the terminal as people use them: courses are set up and cards printed on the page, filled
and photographed by the simulator, sent by a phone or read in the terminal; what is asked is answered with
what was written. One photo is lost and its round typed in, one date is wrong and put right, one card
is somebody else's and set aside, two rounds are of one day, and in autumn all moves to a new computer. At the
end every figure is held against what was written: scores, misses, dates, courses, players, sets of practice.
Each page is drawn, for a person to look at, by tests/review/test_year_browser.py with $SHORTPENCIL_PICTURES.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import pickle
import random
import re
import time
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import zxingcpp
from starlette.testclient import TestClient

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.field_map import layout_to_json
from shortpencil.forms.serials import split_code
from shortpencil.scan.cli.chores import DeskChores
from shortpencil.scan.cli.main import main as command
from shortpencil.scan.cli.review import focus_of_store
from shortpencil.scan.places import forms_folder
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.review.app import make_app
from shortpencil.scan.review.desk import Desk
from shortpencil.scan.review.door import Door
from shortpencil.scan.review.readers import Readers
from tests.simulator.blanks import small_bank
from tests.simulator.paper import rasterise
from tests.simulator.rounds import Answer
from tests.simulator.scenario import (
    Writer,
    condition,
    fill,
    photograph,
    round_answers,
    some_player,
    some_writer,
)
from tests.year.season import COURSES, FIRST_DAY, PLAYERS, pars

HOST = "127.0.0.1:8467"
PX_PER_MM = 10.0
LOST, WRONG_DATE, SAME_DAY, MOVE = 0.28, 0.43, 0.53, 0.75  # when in the year, as shares of its rounds
PHASES = ("drive", "approach", "putt")


@dataclass(slots=True)
class Written:
    """What a hand wrote on one round card."""

    player: str
    course: str
    day: date
    answers: dict[str, Answer]

    @property
    def score(self) -> int:
        """Sum of the scores."""
        return sum(v for k, v in self.answers.items() if k.endswith(".score") and isinstance(v, int))

    def misses(self, phase: str) -> int:
        """Count of the missed throws of a phase."""
        return sum(
            v == "miss" and k.split(".")[1].rstrip("123") == phase
            for k, v in self.answers.items()
            if "." in k
        )


@dataclass(slots=True)
class Year:
    """The two computers, the page, and what was written so far."""

    out: Path
    store: Store
    laptop: TestClient
    phone: TestClient
    writers: dict[str, Writer]
    rounds: dict[str, Written] = field(default_factory=dict)
    sets: dict[str, dict[str, int]] = field(default_factory=dict)
    count: int = 40
    asked: int = 0
    refused: int = 0

    def at(self, share: float) -> int:
        """Return the number of the round at a share of the year."""
        return int(share * self.count)


@dataclass(slots=True)
class SoFar:
    """How far the year has come, kept after each round so that it can be gone on with."""

    rounds: dict[str, Written] = field(default_factory=dict)
    sets: dict[str, dict[str, int]] = field(default_factory=dict)
    keys: dict[str, str] = field(default_factory=dict)
    dice: random.Random = field(default_factory=lambda: random.Random(1))
    day: date = FIRST_DAY
    number: int = 0
    sheets: int = 0
    asked: int = 0
    refused: int = 0
    other: str = ""
    moved: bool = False


def run(*words: str) -> tuple[int, str]:
    """Run a command as a person does; return its exit code and what it printed."""
    text = io.StringIO()
    with contextlib.redirect_stdout(text), contextlib.redirect_stderr(io.StringIO()):
        code = command(list(words))
    return code, text.getvalue()


def computer(home: Path, now: datetime) -> tuple[Store, TestClient, TestClient]:
    """Start the page over the store of a data folder; return it with a laptop's and a phone's browser."""
    os.environ["SHORTPENCIL_HOME"] = str(home)
    store = open_store(home / "rounds.sqlite")
    door = Door("Wren")
    desk = Desk(
        store=store,
        readers=Readers(forms_folder()),
        catalog=Catalog(forms_folder()),
        door=door,
        focus=focus_of_store(store),
        cookie="shortpencil_8467",
        hosts=lambda: {HOST},
        phone_address=lambda: f"http://{HOST}",
        now=lambda: now,
        chores=DeskChores(store, forms_folder()),
    )
    app = make_app(desk)

    def browser(kind: Any) -> TestClient:
        client = TestClient(app, base_url=f"http://{HOST}", headers={"origin": f"http://{HOST}"})
        secret = door.link(desk.clock(), 60.0, kind)
        client.post("/enter", data={"secret": secret}).raise_for_status()
        return client

    return store, browser("laptop"), browser("phone")


def printed(pdf: bytes, page: int) -> tuple[Any, str, dict[str, Any]]:
    """Return a printed page as a picture, with the serial and the field map that its code names."""
    picture = rasterise(pdf, page, PX_PER_MM)
    (code,) = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
    named = split_code(code.text)
    assert named is not None
    serial, fingerprint = named
    layout = Catalog(forms_folder()).find(fingerprint)
    assert layout is not None
    return picture, serial, json.loads(layout_to_json(layout))


def photo_of(
    picture: Any,
    field_map: dict[str, Any],
    answers: dict[str, Answer],
    writer: Writer,
    serial: str,
    seed: int,
) -> bytes:
    """Fill a printed page in and photograph it in good light."""
    how = condition("clean", 0.2, seed, long_px=2600)
    sheet = fill(
        picture, PX_PER_MM, field_map, answers, writer, seed, bank=small_bank(), condition=how, serial=serial
    )
    return photograph(sheet, how, seed).encoded()


def send(year: Year, photo: bytes, name: str, *, by_phone: bool) -> None:
    """Send a photo by the phone, or read it in the terminal."""
    if by_phone:
        got = year.phone.post("/capture", files={"photo": (f"{name}.jpg", photo)})
        why = re.search(r'please take it again</h1><p class="lead">(.*?)</p>', got.text, re.S)
        if why:
            year.refused += 1
            (year.out / f"{name}.jpg").write_bytes(photo)
            print(f"{name} refused: {why[1]}", flush=True)
        return
    path = year.out / f"{name}.jpg"
    path.write_bytes(photo)
    code, _ = run("read", str(path), "--store", str(year.out / "home" / "rounds.sqlite"))
    year.refused += code not in (0, 1)


def answer_all(year: Year, serial: str, answers: dict[str, Answer]) -> None:
    """Answer on the page whatever a card asks, with what was written."""
    for card, fields in year.store.waiting_fields():
        for name in fields if card == serial else ():
            value = answers.get(name)
            year.asked += 1
            texts = list(value) if isinstance(value, tuple) else ["" if value is None else str(value)]
            seen = sum(answer.field == name for answer in year.store.answers(card))
            got = year.laptop.post(f"/ask/{card}/{name}", data={"value": texts, "seen": str(seen)})
            assert got.status_code == 200, (name, value, got.text[:500])


def set_up_courses(year: Year) -> dict[str, str]:
    """Set the three courses up on the page; return the key of each."""
    keys = {}
    for name, layout, holes, unit in COURSES:
        given = {"name": name, "layout": layout, "unit": unit, "key": ""}
        given |= {f"par{n}": str(par) for n, par in enumerate(pars(name, holes), start=1)}
        given |= {f"length{n}": str(80 + 5 * n if unit == "m" else 260 + 12 * n) for n in range(1, holes + 1)}
        got = year.laptop.post("/print/course", data=given)
        keys[name] = str(got.url).rsplit("=", 1)[1]
    return keys


def play(year: Year, number: int, day: date, keys: dict[str, str]) -> None:
    """Print a card, play and write it, photograph and send it, answer what is asked."""
    name, _, holes, unit = COURSES[(0, 1, 0, 2, 1)[number % 5]]
    player = PLAYERS[number % 3 == 2]
    asked = {"form": f"round{holes}", "paper": "a4", "unit": unit, "hand": "right", "copies": "1"}
    pdf = year.laptop.post("/print", data=asked | {"players": player, "course": keys[name]})
    picture, serial, field_map = printed(pdf.content, 1)
    hole_pars = {f"h{n:02d}": par for n, par in enumerate(pars(name, holes), start=1)}
    rng = np.random.default_rng(number)
    answers = round_answers(
        field_map, some_player(rng), number, date=(day.day, day.month, day.year), pars=hole_pars, unit=unit
    )
    written = Written(player, name, day, dict(answers))
    if number == year.at(WRONG_DATE):
        answers["date.month"] = day.month % 12 + 1
    year.rounds[serial] = written
    if number == year.at(LOST):
        year.laptop.post("/safe/import", files={"file": ("typed.json", typed(serial, written, unit))})
        return
    photo = photo_of(picture, field_map, answers, year.writers[player], serial, 100 + number)
    send(year, photo, f"round{number}", by_phone=number % 2 == 0)
    answer_all(year, serial, answers)
    if number == year.at(WRONG_DATE):
        seen = sum(answer.field == "date.month" for answer in year.store.answers(serial))
        year.laptop.post(f"/ask/{serial}/date.month", data={"value": str(day.month), "seen": str(seen)})


def typed(serial: str, written: Written, unit: str) -> bytes:
    """Return a round as its player types it from the paper, in the short form."""
    holes = []
    for number in sorted({int(k[1:3]) for k in written.answers if k[0] == "h" and k[1:3].isdigit()}):
        row = f"h{number:02d}"
        columns = [(c, written.answers.get(f"{row}.{c}")) for c in
                   ("drive", "approach1", "approach2", "putt1", "putt2", "putt3")]  # fmt: skip
        throws = [{"phase": c.rstrip("123"), "execution": e} for c, e in columns if e]
        penalty = int(str(written.answers.get(f"{row}.penalty") or 0))
        holes.append(
            {
                "number": number,
                "score": written.answers.get(f"{row}.score"),
                "penalty": penalty,
                "throws": throws,
            }
        )
    record = {"id": serial, "played_on": written.day.isoformat(), "player": written.player, "unit": unit}
    return json.dumps({"rounds": [{**record, "course": written.course, "holes": holes}]}).encode()


def practise(year: Year, number: int, day: date, player: str) -> None:
    """Print a practice sheet on the page, fill it in, photograph and send it."""
    pdf = year.laptop.post("/print/practice", data={"player": player, "minutes": "30", "paper": "a4"})
    if pdf.headers["content-type"] != "application/pdf":
        return
    picture, serial, field_map = printed(pdf.content, 1)
    dice = random.Random(number)
    answers: dict[str, Answer] = {"date.day": day.day, "date.month": day.month, "date.year": day.year % 100}
    made = {}
    for name in field_map["fields"]:
        if name.startswith("made.") and dice.random() < 0.8:
            made[name] = dice.randint(0, int(name.split(".")[2]))
    answers |= made
    photo = photo_of(picture, field_map, answers, year.writers[player], serial, 500 + number)
    send(year, photo, f"practice{number}", by_phone=number % 2 == 1)
    answer_all(year, serial, answers)
    year.sets[serial] = made


def somebody_elses(year: Year) -> str:
    """Send a card of somebody else by mistake, and set it aside on the page."""
    asked = {
        "form": "round18",
        "paper": "a4",
        "unit": "m",
        "hand": "right",
        "copies": "1",
        "players": "Robin",
    }
    picture, serial, field_map = printed(year.laptop.post("/print", data=asked).content, 1)
    rng = np.random.default_rng(9)
    answers = round_answers(field_map, some_player(rng), 9, date=(1, 6, 2026))
    photo = photo_of(picture, field_map, answers, some_writer(rng, small_bank()), serial, 900)
    send(year, photo, "robin", by_phone=True)
    assert year.store.round(serial) is not None
    year.laptop.post(f"/rounds/{serial}/out", data={"how": "aside"})
    return serial


def move(year: Year, now: datetime) -> None:
    """Back up on the page, restore in the terminal of a new computer, go on there."""
    backup = year.out / "moved.zip"
    backup.write_bytes(year.laptop.post("/safe/backup").content)
    before = year.store.summaries()
    year.store.close()
    year.out = year.out / "second"
    home = year.out / "home"
    os.environ["SHORTPENCIL_HOME"] = str(home)
    code, _ = run("restore", str(backup))
    assert code == 0
    year.store, year.laptop, year.phone = computer(home, now)
    assert year.store.summaries() == before


def compare(year: Year, other: str) -> None:
    """Print what the store holds against what was written."""
    lines = {line.id: line for line in year.store.summaries()}
    wrong = []
    for serial, written in year.rounds.items():
        line = lines.pop(serial, None)
        if line is None:
            wrong.append(f"{serial}: not there")
            continue
        meant = (written.day, written.player, written.course, written.score, *map(written.misses, PHASES), 0)
        found = (line.played_on, line.player, line.course, line.score,
                 *(n for _, n in line.misses), line.waits)  # fmt: skip
        if meant != found:
            wrong.append(f"{serial}: written {meant}, found {found}")
    sets = {(done.card, done.drill, done.row): done.made.known for done in year.store.practice()}
    by_card: dict[str, list[object]] = {}
    for (card, _, _), made in sorted(sets.items()):
        by_card.setdefault(card, []).append(made)
    for serial, made in year.sets.items():
        if sorted(map(str, by_card.get(serial, []))) != sorted(map(str, made.values())):
            wrong.append(f"practice {serial}: written {made}, found {by_card.get(serial)}")
    amiss = sum(text.startswith("practice") for text in wrong)
    rounds, sheets = len(year.rounds), len(year.sets)
    print(f"rounds: {rounds} written, {rounds - len(wrong) + amiss} right")
    print(f"practice sheets: {sheets} written, {sheets - amiss} right")
    print(f"questions answered: {year.asked}; photos refused: {year.refused}")
    aside = [one.serial for one in year.store.aside()]
    print(f"others in the store: {sorted(lines)}; set aside is the other's: {aside == [other]}")
    for text in wrong:
        print("  wrong:", text)


def main() -> None:
    """Go through the year and print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=40)
    parser.add_argument("--sheets", type=int, default=25)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--most", type=int, help="stop after so many rounds; the next call goes on there")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    begun, end = time.monotonic(), datetime(2026, 12, 1, 12, tzinfo=UTC)
    kept = args.out / "so_far.pickle"
    so_far = pickle.loads(kept.read_bytes()) if kept.exists() else SoFar()
    out = args.out / "second" if so_far.moved else args.out
    store, laptop, phone = computer(out / "home", end)
    writers = {name: some_writer(np.random.default_rng(n), small_bank()) for n, name in enumerate(PLAYERS)}
    year = Year(out, store, laptop, phone, writers, so_far.rounds, so_far.sets, args.rounds,
                so_far.asked, so_far.refused)  # fmt: skip
    so_far.keys = so_far.keys or set_up_courses(year)
    last = min(args.rounds, so_far.number + (args.most or args.rounds))
    for number in range(so_far.number, last):
        if number != year.at(SAME_DAY):
            so_far.day += timedelta(days=so_far.dice.randint(6, 10))
        play(year, number, so_far.day, so_far.keys)
        if number >= 6 and so_far.sheets < args.sheets and number % 4 != 3:
            practise(year, so_far.sheets, so_far.day + timedelta(days=3), PLAYERS[number % 3 == 2])
            so_far.sheets += 1
        if number == args.rounds // 2:
            so_far.other = somebody_elses(year)
        if number == year.at(MOVE):
            move(year, end)
            so_far.moved = True
        so_far.number, so_far.asked, so_far.refused = number + 1, year.asked, year.refused
        kept.write_bytes(pickle.dumps(so_far))
        print(f"round {number + 1} of {args.rounds}, {time.monotonic() - begun:.0f} s", flush=True)
    if so_far.number < args.rounds:
        year.store.close()
        return
    compare(year, so_far.other)
    for words in (("season",), ("focus", "--minutes", "45"), ("check",)):
        player = () if words[0] == "check" else ("--player", PLAYERS[0])
        code, _ = run(*words, *player)
        print(f"{' '.join(words)}: exit code {code}")
    year.store.close()


if __name__ == "__main__":
    main()
