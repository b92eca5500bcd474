"""Thousands of cards through a cluster into PostgreSQL, workers killed: complete, equal, memory flat.

    python -m tests.bench.bench_cluster make --cards 20000 --out DIR
    python -m tests.bench.bench_cluster read --out DIR --programs /usr/lib/postgresql/15/bin --kills 2
    python -m tests.bench.bench_cluster alone --out DIR --photos 2000
    python -m tests.bench.bench_cluster compare --out DIR

`make` draws cards with few questions and, one in forty, of nine holes, each with a serial of its own
(`cheap_cards`); of some there is a second photo, and some files are cut off. `read`, which goes on where it
was ended, runs a scheduler, two workers, a PostgreSQL server and `shortpencil read
--cluster`, kills workers, and writes the memory of all of them down. `alone` reads the first photos on one
machine into SQLite. `compare` looks whether every card is there, once, as it was written, and whether every
row is the same to the byte as on one machine, times apart.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import suppress
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, select

from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import reading
from tests.bench.bench_killed import START, TIMES, Server

if TYPE_CHECKING:
    from tests.bench.cheap_cards import Base

PX_PER_MM = 4.5
FEW = str(Path(__file__).parent / "few9.toml")
#: Of so many cards one is of nine holes, has a second photo (next to the first), or is a file cut off.
NINE_HOLES, TWICE, CUT_OFF = 40, 50, 500
BASES = 24
A_FOLDER = 1000
PORT = 8797
SAMPLE_S = 10.0


def make(out: Path, cards: int, jobs: int) -> None:
    """Draw the photos, the truth of each base, and register the form that is not built in."""
    from shortpencil.forms.catalog import Catalog, load_form
    from shortpencil.forms.layout import PAPERS, arrange
    from tests.bench.cheap_cards import base_sheet

    Catalog(out / "home" / "forms").register(arrange(load_form(FEW), PAPERS["a4"]).layout)
    few = [base_sheet(FEW, 1800 + i, PX_PER_MM) for i in range(BASES)]
    nine = [base_sheet("round9", 1900 + i, PX_PER_MM) for i in range(4)]
    truth = {name: [base.truth for base in bases] for name, bases in (("few", few), ("nine", nine))}
    (out / "truth.json").write_text(json.dumps(truth))
    photos_of = partial(make_some, few=few, nine=nine, cards=cards, out=out)
    # Not forked: a forked process lacks the threads of OpenCV that drawing the bases began, and one in 26 was
    # seen waiting for ever.
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        seconds = sum(pool.map(photos_of, range(0, cards, A_FOLDER)))
    print(f"{cards} cards, {1000 * seconds / cards:.1f} ms each")


def make_some(first: int, few: list[Base], nine: list[Base], cards: int, out: Path) -> float:
    """Draw the photos of one folder; return the processor's seconds."""
    from tests.bench.cheap_cards import card_jpeg, serial_of

    begun = time.process_time()
    folder = out / "photos" / f"{first // A_FOLDER:03}"
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(first, min(first + A_FOLDER, cards)):
        kind, at = kind_of(number)
        base = (nine if kind == "nine" else few)[at]
        for photo in range(1 + (number % TWICE == 7)):
            data = card_jpeg(base, serial_of(number), 2 * number + photo)
            if number % CUT_OFF == 11:
                data = data[: len(data) // 2]
            (folder / f"{number:06}{'ab'[photo]}.jpg").write_bytes(data)
    return time.process_time() - begun


def kind_of(number: int) -> tuple[str, int]:
    """Return which base the card of a number is printed on."""
    return ("nine", number // NINE_HOLES % 4) if number % NINE_HOLES == 3 else ("few", number % BASES)


# -- reading -------------------------------------------------------------------------------------------------


def environment(out: Path) -> dict[str, str]:
    top = str(Path(__file__).parents[2])
    return {
        **os.environ,
        "SHORTPENCIL_HOME": str(out / "home"),
        "PYTHONPATH": os.pathsep.join([top, *filter(None, [os.environ.get("PYTHONPATH")])]),
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
    }


def read(out: Path, programs: Path, kills: int, threads: int) -> None:
    """Read all photos by two workers; kill one now and then; write memory down."""
    if not (out / "url").exists():  # else it goes on with what is there
        (out / "url").write_text(Server(programs, out / "server", PORT + 1).database("cards"))
    url = (out / "url").read_text()
    address = f"tcp://127.0.0.1:{PORT}"
    dask = [sys.executable, "-m", "distributed.cli.dask_scheduler"]
    spec = [*dask, "--host", "127.0.0.1", "--port", str(PORT), "--no-dashboard"]
    log = (out / "cluster.log").open("w")
    started = [subprocess.Popen(spec, env=environment(out), stdout=log, stderr=log)]
    time.sleep(5)
    # The workers know nothing of the command's folder, as on other machines.
    elsewhere = {**environment(out), "SHORTPENCIL_HOME": str(out / "nothing")}
    worker = [
        sys.executable,
        "-m",
        "distributed.cli.dask_worker",
        address,
        "--nworkers",
        "1",
        "--nthreads",
        str(threads),
    ]
    workers = [
        subprocess.Popen([*worker, "--name", name, "--no-dashboard"], env=elsewhere, stdout=log, stderr=log)
        for name in ("one", "two")
    ]
    started += workers
    command = [*START, "read", str(out / "photos"), "--cluster", address, "--store", url, "--resume"]
    begun = time.monotonic()
    told = (out / "read.out").open("w")
    with (out / "read.err").open("w") as talk:
        child = subprocess.Popen(command, env=environment(out), stdout=told, stderr=talk)
    total = sum(1 for _ in (out / "photos").rglob("*.jpg"))
    wanted = [total * (k + 1) // (kills + 1) for k in range(kills)]
    killed: list[str] = []
    roles = {"client": child.pid, "scheduler": started[0].pid, "one": workers[0].pid, "two": workers[1].pid}
    try:
        with (out / "memory.csv").open("a", buffering=1) as memory:
            memory.write("seconds,photos," + ",".join([*roles, "postgres"]) + "\n")
            roles["postgres"] = int((out / "server" / "data" / "postmaster.pid").read_text().split()[0])
            while child.poll() is None:
                time.sleep(SAMPLE_S)
                done = progress(out / "read.err")
                used = [f"{rss_mb(pid):.0f}" for pid in roles.values()]
                memory.write(f"{time.monotonic() - begun:.0f},{done}," + ",".join(used) + "\n")
                if len(killed) < kills and done >= wanted[len(killed)]:
                    victim = worker_process(workers[len(killed) % 2].pid)
                    os.kill(victim, signal.SIGKILL)
                    killed.append(f"after {done} photos worker {('one', 'two')[len(killed) % 2]}")
                    print("killed:", killed[-1], flush=True)
        print(
            f"exit code {child.returncode}, {progress(out / 'read.err')} of {total} photos, "
            f"{time.monotonic() - begun:.0f} s by the clock, killed: {'; '.join(killed)}"
        )
    finally:
        for process in (child, *workers, *started):
            with suppress(ProcessLookupError):
                process.terminate()


def progress(err: Path) -> int:
    """Return how many photos the command has told of."""
    with err.open("rb") as stream:
        stream.seek(max(0, err.stat().st_size - 4000))
        lines = [line for line in stream.read().split(b"\n") if line.startswith(b"[") and b"/" in line]
    return int(lines[-1][1:].split(b"/")[0]) if lines else 0


def children(pid: int) -> Iterator[int]:
    """Yield a process and all that it started."""
    yield pid
    with suppress(OSError):
        for thread in Path(f"/proc/{pid}/task").iterdir():
            for child in (thread / "children").read_text().split():
                yield from children(int(child))


def worker_process(nanny: int) -> int:
    """Return the process that works, which the nanny starts anew when it ends."""
    found = []
    for pid in children(nanny):
        with suppress(OSError):
            words = Path(f"/proc/{pid}/cmdline").read_bytes()
            if pid != nanny and b"spawn_main" in words:
                found.append(pid)
    return found[0]


def rss_mb(pid: int) -> float:
    """Return what a process and its children hold in memory, what they share with others counted in parts."""
    kb = 0
    for one in set(children(pid)):
        with suppress(OSError, StopIteration):
            lines = Path(f"/proc/{one}/smaps_rollup").read_text().splitlines()
            kb += int(next(line for line in lines if line.startswith("Pss:")).split()[1])
    return kb / 1024


# -- comparing -----------------------------------------------------------------------------------------------


def alone(out: Path, photos: int, jobs: int) -> None:
    """Read the first photos on one machine into SQLite."""
    files = sorted((out / "photos").rglob("*.jpg"))[: photos or None]
    (out / "alone.txt").write_text("\n".join(map(str, files)))
    command = [
        *START,
        "read",
        "--list",
        str(out / "alone.txt"),
        "--store",
        str(out / "alone.sqlite"),
        "--resume",
    ]
    begun = time.monotonic()
    done = subprocess.run(
        [*command, "--jobs", str(jobs)], env=environment(out), capture_output=True, text=True, check=False
    )
    print(done.stderr.splitlines()[-3:], f"exit code {done.returncode}, {time.monotonic() - begun:.0f} s")


#: Which rows belong to a card, by the column that names it.
OF_A_CARD = {
    "cards": "serial",
    "readings": "serial",
    "pictures": "serial",
    "rounds": "id",
    "holes": "round",
    "throws": "round",
}


def rows_of(place: str, serials: list[str]) -> dict[str, Counter[str]]:
    """Return each table's rows of these cards as digests, times apart."""
    found: dict[str, Counter[str]] = {}
    with open_store(place) as store, reading(store._engine) as connection:
        for name, key in OF_A_CARD.items():
            table = tables.metadata.tables[name]
            rows: Counter[str] = Counter()
            for start in range(0, len(serials), 200):
                query = select(table).where(table.c[key].in_(serials[start : start + 200]))
                for row in connection.execute(query):
                    text = repr(
                        [v for c, v in zip(row._fields, row, strict=True) if c not in ("recorded_at", "seal")]
                    )
                    rows[hashlib.sha256(TIMES.sub("", text).encode()).hexdigest()] += 1
            found[name] = rows
    return found


def compare(out: Path, photos: int) -> None:
    """Print what is missing, doubled or other than written, and what differs from one machine.

    Where the run was ended, only the first photos, those that it told of, are meant to be there.
    """
    from tests.bench.cheap_cards import serial_of

    url = (out / "url").read_text()
    files = sorted((out / "photos").rglob("*.jpg"))[: photos or None]
    shown = Counter(int(path.stem[:-1]) for path in files)
    whole = [n for n in shown if n % CUT_OFF != 11]
    with open_store(url) as store, reading(store._engine) as connection:
        stored = Counter(connection.execute(select(tables.rounds.c.id)).scalars())
        readings = connection.execute(select(func.count()).select_from(tables.readings)).scalar_one()
        waiting = connection.execute(
            select(func.count()).select_from(tables.cards).where(tables.cards.c.waiting != "")
        ).scalar_one()
    wanted = {serial_of(n): n for n in whole}
    twice = sum(shown[n] - 1 for n in whole)
    print(
        f"cards: {len(wanted)} meant, {len(stored)} stored, {len(wanted.keys() - stored.keys())} missing, "
        f"{len(stored.keys() - wanted.keys())} not meant, {sum(stored.values()) - len(stored)} twice"
    )
    print(f"photos of cards: {len(whole) + twice} meant, {readings} stored; cards that ask: {waiting}")
    right = wrong = asked = 0
    truth: dict[str, list[dict[str, Any]]] = json.loads((out / "truth.json").read_text())
    with open_store(url) as store:
        for serial, number in list(wanted.items())[:: max(1, len(wanted) // 1000)]:
            if serial not in stored:
                continue
            kind, at = kind_of(number)
            read_ = store.card(serial).reading
            for cell, value in truth[kind][at].items():
                found = read_.cells.get(cell)
                if found is None:
                    continue
                doubtful = found.flag is not None or any(
                    cell.startswith(f"{name}.") for name in read_.flagged
                )
                same = found.value == value
                right, wrong, asked = (
                    right + same,
                    wrong + (not same and not doubtful),
                    asked + (not same and doubtful),
                )
    print(
        f"cells of one card in {max(1, len(wanted) // 1000)}: {right} as written, {asked} other and asked, "
        f"{wrong} other and unasked"
    )
    if (out / "alone.sqlite").exists():
        with open_store(out / "alone.sqlite") as store, reading(store._engine) as connection:
            serials = sorted(connection.execute(select(tables.cards.c.serial)).scalars())
        here, there = rows_of(str(out / "alone.sqlite"), serials), rows_of(url, serials)
        for name in OF_A_CARD:
            print(
                f"{name}: {sum(here[name].values())} rows on one machine, {sum(there[name].values())} of the "
                f"same cards by the cluster, {sum((here[name] - there[name]).values())} differ"
            )


def main() -> None:
    """Run one step."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("step", choices=("make", "read", "alone", "compare"))
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--cards", type=int, default=20000)
    parser.add_argument("--photos", type=int, default=0, help="only the first so many; all by default")
    parser.add_argument("--programs", type=Path, default=Path("/usr/lib/postgresql/15/bin"))
    parser.add_argument("--kills", type=int, default=2)
    parser.add_argument("--threads", type=int, default=1, help="photos that a worker reads at a time")
    parser.add_argument("--jobs", type=int, default=2, help="processes of make and alone")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    if args.step == "make":
        make(args.out, args.cards, args.jobs)
    elif args.step == "read":
        read(args.out, args.programs, args.kills, args.threads)
    elif args.step == "alone":
        alone(args.out, args.photos, args.jobs)
    else:
        compare(args.out, args.photos)


if __name__ == "__main__":
    main()
