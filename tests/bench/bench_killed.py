"""Kills the commands themselves at random times, and a PostgreSQL server under them; looks at what is left.

    python -m tests.bench.bench_killed --points 40 --of read,review,import,export,forget,backup,restore
    python -m tests.bench.bench_killed --server /usr/lib/postgresql/15/bin

After each kill the store must be sound and hold only whole cards, all that the command had told and nothing
twice; the same command, run again to its end, must leave what an undisturbed run leaves. The times of the
kills are uniform over an undisturbed run, libraries loaded before.
"""

from __future__ import annotations

import argparse
import http.client
import http.cookiejar
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import traceback
import urllib.error
import urllib.parse
import urllib.request
import zipfile
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path

import numpy as np
from sqlalchemy import select

from shortpencil.scan.cli.main import main as cli_main
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import reading
from tests.bench.mutations import COURSE

START = [sys.executable, "-c", "from shortpencil.scan.cli.main import run; run()"]
SEED = 20
#: What two runs of the same command may write differently: when it was.
TIMES = re.compile(r"20\d\d-\d\d-\d\d[T ]\d\d:\d\d:\d\d[.\d]*(Z|\+00:00)?")


def photos_into(folder: Path) -> list[str]:
    """Two photos of one round, one of another round on a copy of the sheet, one of another card.

    Made in a process of its own: OpenCV's threads would not outlive a fork.
    """
    code = "import sys, tests.bench.bench_killed as b, pathlib; b.make_photos(pathlib.Path(sys.argv[1]))"
    subprocess.run([sys.executable, "-c", code, str(folder)], check=True)
    return sorted(str(path) for path in folder.glob("*.jpg"))


def make_photos(folder: Path) -> None:
    """Draw them into a folder."""
    from tests.simulator.blanks import blank_card, small_bank
    from tests.simulator.lens import View
    from tests.simulator.scenario import Player, condition, fill, photograph, round_answers, some_writer

    folder.mkdir(parents=True)
    for name, serial_seed, seed, fills in (
        ("a", 1, 1, (0.95, 0.9)),
        ("b", 1, 2, (0.95,)),
        ("c", 2, 3, (0.95,)),
    ):
        blank = blank_card("round9", seed=serial_seed, px_per_mm=8.0)
        how = condition("clean", 0.0, seed, long_px=1600)
        answers = round_answers(blank.field_map, Player(), seed, date=(seed, 6, 2026))
        writer = some_writer(np.random.default_rng(seed), small_bank(), careful=0.9)
        sheet = fill(
            blank.page,
            8.0,
            blank.field_map,
            answers,
            writer,
            seed,
            bank=small_bank(),
            condition=how,
            serial=blank.serial,
        )
        for number, share in enumerate(fills):
            view = View(size_px=(1200, 1600), fill=share)
            photograph(sheet, replace(how, view=view), number).save(folder, f"{name}{number}")


def environment(home: Path) -> dict[str, str]:
    return {**os.environ, "SHORTPENCIL_HOME": str(home), "OMP_NUM_THREADS": "1"}


@dataclass(frozen=True, slots=True)
class Ended:
    """A command that ran to its end, or was killed."""

    returncode: int
    stdout: str
    stderr: str


def run(home: Path, *args: str, kill_after_s: float | None = None) -> Ended:
    """Run a command in a fork of this process, where all libraries are loaded; kill it if so asked."""
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        pid = os.fork()
        if pid == 0:
            code = 70
            try:
                os.environ.update(environment(home))
                os.dup2(out.fileno(), 1)
                os.dup2(err.fileno(), 2)
                code = cli_main(args)
                sys.stdout.flush()
            except BaseException:
                traceback.print_exc()
            finally:
                os._exit(code)
        if kill_after_s is not None:
            time.sleep(kill_after_s)
            os.kill(pid, signal.SIGKILL)
        _, status = os.waitpid(pid, 0)
        texts = []
        for stream in (out, err):
            stream.seek(0)
            texts.append(stream.read().decode())
    return Ended(os.waitstatus_to_exitcode(status), *texts)


def load_libraries() -> None:
    """Import what the commands import when they run, and run none of it: a fork takes no threads along."""
    for name in (
        "shortpencil.forms.field_map",
        "jsonschema",
        "shortpencil.scan.joining",
        "shortpencil.scan.records.backup",
        "shortpencil.scan.records.exchanging.export",
        "shortpencil.scan.records.exchanging.importing",
        "shortpencil.scan.vision.seeing.own_hand",
        "shortpencil.scan.vision.pipeline",
        "shortpencil.scan.vision.joining.together",
    ):
        import_module(name)


def state(place: str | Path) -> dict[str, list[str]]:
    """Everything in a store, times apart; a damaged store raises here."""
    with open_store(place) as store, reading(store._engine) as connection:
        if connection.dialect.name == "sqlite":
            assert connection.exec_driver_sql("PRAGMA integrity_check").scalars().all() == ["ok"]
            assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
        return {
            table.name: sorted(
                TIMES.sub("", repr([v for c, v in zip(row._fields, row, strict=True) if c != "recorded_at"]))
                for row in connection.execute(select(table))
            )
            for table in tables.metadata.sorted_tables
        }


def rounds_of(found: dict[str, list[str]]) -> set[str]:
    return {re.search(r"'([^']*)'", row)[1] for row in found["rounds"]}  # type: ignore[index]


def leftovers(home: Path) -> list[str]:
    """Files in a home that no command means to leave: half-written ones, and others than the known."""
    return [
        str(path.relative_to(home))
        for path in home.rglob("*")
        if path.is_file()
        and (
            any(part.startswith(".") for part in path.relative_to(home).parts)
            or (
                path.name not in ("rounds.sqlite", "all.zip")
                and not path.name.startswith("rounds-before-")
                and path.parent.name != "out"
                and "forms" not in path.parts
            )
        )
    ]


Check = Callable[[Path, str], str]


def bench(
    name: str,
    base: Path,
    work: Path,
    points: int,
    args: Callable[[Path], list[str]],
    check: Check,
    rng: random.Random,
) -> None:
    """Kill one command at random times; print how often each end was found."""

    def fresh() -> Path:
        shutil.rmtree(work, ignore_errors=True)
        shutil.copytree(base, work)
        return work

    run(fresh(), *args(work))  # the first one finds nothing in the disk's memory
    fresh()
    start = time.monotonic()
    done = run(work, *args(work))
    whole_s = time.monotonic() - start
    assert done.returncode in (0, 1), done.stderr
    reference = check(work, "reference")
    ends: Counter[str] = Counter()
    for _ in range(points):
        ended = run(fresh(), *args(work), kill_after_s=rng.uniform(0.0, 1.0) * whole_s)
        ends["killed" if ended.returncode < 0 else "ended before it"] += 1
        ends[check(work, ended.stdout)] += 1
        again = run(work, *args(work))
        # There is nobody to forget, or a backup or a store already: refused in words, nothing changed.
        refusable = name in ("forget", "backup", "restore")
        assert again.returncode in (0, 1) or refusable, again.stderr
        assert "Traceback" not in again.stderr, again.stderr
        after = check(work, "reference")
        assert after == reference, f"{name}: {after} instead of {reference}"
        assert not leftovers(work), f"{name}: left over: {leftovers(work)}"
    print(f"{name}: {whole_s:.1f} s, {dict(ends)}", flush=True)


def bench_commands(folder: Path, points: int, names: list[str], seed: int = SEED) -> None:
    """Kill each command that writes, and the page under answers."""
    load_libraries()
    rng = random.Random(seed)
    photos = photos_into(folder / "photos")
    empty, full, work = folder / "empty", folder / "full", folder / "work"
    empty.mkdir()
    run(empty, "rounds")
    plain = folder / "plain"
    done = run(plain, "read", *photos, "--jobs", "1")
    assert done.returncode in (0, 1), done.stderr
    reference = state(plain / "rounds.sqlite")
    assert len(reference["rounds"]) == 3
    # The same cards, printed for a player: with a hand to be learnt, and somebody to be forgotten.
    cards = full / "forms" / "cards"
    cards.mkdir(parents=True)
    for serial in {one.partition("-")[0] for one in rounds_of(reference)}:
        (cards / f"{serial}.json").write_text('{"player": "Wren"}')
    done = run(full, "read", *photos, "--jobs", "1")
    assert done.returncode in (0, 1), done.stderr
    assert state(full / "rounds.sqlite")["hand_boxes"]
    run(full, "export", str(full / "out"))
    course = folder / "course.toml"
    course.write_text(COURSE)
    printed = run(full, "print", "-o", str(folder / "card.pdf"), "--form", "round9", "--layout", str(course))
    assert printed.returncode == 0, printed.stderr
    assert list((full / "forms").glob("*.json"))
    exported = {path.name: path.read_bytes() for path in (full / "out").iterdir()}

    def read_check(home: Path, said: str) -> str:
        found = state(home / "rounds.sqlite")
        told = set(re.findall(r": card (\S+),", said))
        assert told <= rounds_of(found) <= rounds_of(reference), (told, rounds_of(found))
        for row in found["readings"]:
            assert row in reference["readings"]
        if said == "reference":
            assert found == reference, {name for name in found if found[name] != reference[name]}
        return f"{len(found['rounds'])} rounds"

    def import_check(home: Path, said: str) -> str:
        count = len(state(home / "rounds.sqlite")["rounds"])
        assert count in (0, 3)
        return f"{count} rounds"

    def export_check(home: Path, said: str) -> str:
        found = (
            {p.name: p.read_bytes() for p in (home / "out").iterdir() if not p.name.startswith(".")}
            if (home / "out").exists()
            else {}
        )
        assert all(exported[name] == data for name, data in found.items())
        hidden = (
            [p for p in (home / "out").iterdir() if p.name.startswith(".")] if (home / "out").exists() else []
        )
        return f"{len(found)} files" + (", parts of one left over" if hidden and said != "reference" else "")

    def forget_check(home: Path, said: str) -> str:
        found = state(home / "rounds.sqlite")
        counts = {len(found[name]) for name in ("rounds", "cards")}
        assert counts in ({0}, {len(reference["rounds"]), len(reference["cards"])}), counts
        return f"{len(found['rounds'])} rounds"

    without_out = folder / "bare"
    shutil.copytree(full, without_out, ignore=shutil.ignore_patterns("out"))
    for name, base, args, check in (
        ("read", empty, lambda home: ["read", *photos, "--jobs", "1"], read_check),
        ("import", empty, lambda home: ["import", str(full / "out" / "rounds.json")], import_check),
        ("export", without_out, lambda home: ["export", str(home / "out")], export_check),
        ("forget", without_out, lambda home: ["forget", "Wren", "--yes"], forget_check),
        *moves(folder, empty, without_out, photos),
    ):
        if name.split()[0] in names:
            bench(name, base, work, points, args, check, rng)
    if "review" in names:
        bench_page(without_out, work, points, rng)


Case = tuple[str, Path, Callable[[Path], list[str]], Check]


def moves(folder: Path, empty: Path, full: Path, photos: list[str]) -> list[Case]:
    """The commands that move house: `backup`, `restore` into an empty home, and in place of another store."""
    kept = folder / "all.zip"
    done = run(full, "backup", str(kept))
    assert done.returncode == 0, done.stderr
    whole = everything(full)
    other = folder / "other"
    other.mkdir()
    run(other, "read", photos[-1], "--jobs", "1")
    before = everything(other)
    assert before["rounds"]
    assert before != whole

    def backup_check(home: Path, said: str) -> str:
        found = everything(home)
        assert found == whole
        made = home / "all.zip"
        if made.exists():
            assert unpacked(made, folder / "unpacked") == whole
        else:
            assert said != "reference"
        return "a whole backup" if made.exists() else "no backup"

    def restore_check(home: Path, said: str) -> str:
        found = everything(home)
        empty_store = not found["rounds"] and not found["cards"]
        assert found == whole or (empty_store and said != "reference"), "half restored"
        return "as it was" if empty_store else "restored"

    def replace_check(home: Path, said: str) -> str:
        found = everything(home)
        stores = (without_forms(whole), without_forms(before))
        assert without_forms(found) in stores[: 1 if said == "reference" else 2], "half restored"
        for one in home.glob("rounds-before-*.zip"):  # what was there before, kept: whole or not there
            assert without_forms(unpacked(one, folder / "unpacked")) in stores
        return "restored" if without_forms(found) == stores[0] else "as it was"

    return [
        ("backup", full, lambda home: ["backup", str(home / "all.zip")], backup_check),
        ("restore", empty, lambda home: ["restore", str(kept)], restore_check),
        ("restore --replace", other, lambda home: ["restore", "--replace", str(kept)], replace_check),
    ]


def everything(home: Path) -> dict[str, list[str]]:
    """Every row of a home's store, the times too, and every file of its forms."""
    place = home / "rounds.sqlite"
    with open_store(place) as store, reading(store._engine) as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalars().all() == ["ok"]
        assert not store.damages()
        found = {
            table.name: sorted(repr(tuple(row)) for row in connection.execute(select(table)))
            for table in tables.metadata.sorted_tables
        }
    files = sorted((home / "forms").rglob("*.json"))
    return {**found, "files": [f"{p.relative_to(home)} {p.read_bytes()!r}" for p in files]}


def without_forms(found: dict[str, list[str]]) -> dict[str, list[str]]:
    """The rows alone: forms come before the store, and stay beside those that were there."""
    return {name: rows for name, rows in found.items() if name != "files"}


def unpacked(backup: Path, home: Path) -> dict[str, list[str]]:
    """What a backup holds, by any ZIP program."""
    shutil.rmtree(home, ignore_errors=True)
    with zipfile.ZipFile(backup) as archive:
        archive.extractall(home)
    return everything(home)


class Page:
    """The page as a program of its own, with a browser's cookie."""

    def __init__(self, home: Path, *more: str) -> None:
        self.child = subprocess.Popen(
            [*START, "review", "--no-browser", "--port", "0", *more],
            env=environment(home),
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert self.child.stdout is not None
        link = urllib.parse.urlsplit(self.child.stdout.readline().strip())
        self.origin = f"{link.scheme}://{link.netloc}"
        self.browser = urllib.request.build_opener(
            urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
        )
        self.post("/enter", secret=urllib.parse.parse_qs(link.query)["secret"][0])

    def post(self, path: str, **data: str) -> int:
        request = urllib.request.Request(
            self.origin + path, urllib.parse.urlencode(data).encode(), {"Origin": self.origin}
        )
        try:
            with self.browser.open(request, timeout=20) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            return error.code


def answer_on(page: Page, serial: str, stop: Callable[[int], bool]) -> int:
    """Answer one field again and again, each time another number; return how many were acknowledged."""
    done = 0
    with suppress(OSError, http.client.HTTPException):
        while not stop(done):
            if page.post(f"/ask/{serial}/total", value=str(done % 900), seen=str(done), then="card") != 200:
                break
            done += 1
    return done


def check_answers(place: str | Path, serial: str, done: int) -> None:
    """Every acknowledged answer is there, once, in order; at most the one under way is there too."""
    state(place)
    with open_store(place) as store:
        answers = [answer.value for answer in store.answers(serial)]
        assert done <= len(answers) <= done + 1, (done, len(answers))
        assert answers == [number % 900 for number in range(len(answers))]
        round_ = store.round(serial)
        assert round_ is not None
        assert not answers or round_.total.value == answers[-1]


def bench_page(base: Path, work: Path, points: int, rng: random.Random) -> None:
    """Kill the page while answers are given."""
    counts = []
    for _ in range(points):
        shutil.rmtree(work, ignore_errors=True)
        shutil.copytree(base, work)
        with open_store(work / "rounds.sqlite") as store:
            serial = store.rounds()[0].id
        page = Page(work)
        threading.Timer(rng.uniform(0.2, 3.0), page.child.kill).start()
        counts.append(answer_on(page, serial, lambda done: False))
        page.child.wait()
        check_answers(work / "rounds.sqlite", serial, counts[-1])
        assert not leftovers(work), leftovers(work)
    print(f"review: killed {points} times under {sum(counts)} answers, none lost, none twice", flush=True)


# -- the server of a database --------------------------------------------------------------------------------


class Server:
    """A PostgreSQL server of our own; root runs it as the user postgres."""

    def __init__(self, programs: Path, folder: Path, port: int = 54329) -> None:
        self._programs, self._folder, self._port = programs, folder, port
        folder.mkdir()
        if os.getuid() == 0:
            shutil.chown(folder, "postgres")
        self._run("initdb", "-D", str(folder / "data"), "-A", "trust", "-U", "postgres")
        self.start()
        self.url = ""

    def database(self, name: str) -> str:
        """Make a database; return its URL, which is also kept as `url`."""
        self._run("createdb", "-h", "127.0.0.1", "-p", str(self._port), "-U", "postgres", name)
        self.url = f"postgresql://postgres@127.0.0.1:{self._port}/{name}"
        return self.url

    def _run(self, program: str, *args: str) -> None:
        as_user = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
        subprocess.run(
            [*as_user, str(self._programs / program), *args],
            check=True,
            stdout=subprocess.DEVNULL,
            cwd=self._folder,
        )

    def start(self) -> None:
        options = f"-p {self._port} -k {self._folder} -c listen_addresses=127.0.0.1"
        log = str(self._folder / "log")
        self._run("pg_ctl", "-D", str(self._folder / "data"), "-o", options, "-l", log, "-w", "start")

    def kill(self) -> None:
        """Kill the server and all its children, as a power cut would."""
        first = int((self._folder / "data" / "postmaster.pid").read_text().split()[0])
        children = [int(pid) for pid in Path(f"/proc/{first}/task/{first}/children").read_text().split()]
        for pid in (first, *children):
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        while any(Path(f"/proc/{pid}").exists() for pid in (first, *children)):
            time.sleep(0.05)
        (self._folder / "data" / "postmaster.pid").unlink(missing_ok=True)


def bench_server(folder: Path, programs: Path, times: int = 5) -> None:
    """Kill the server under `read` and under the page; each time it is started again."""
    rng = random.Random(SEED)
    photos = photos_into(folder / "photos")
    home = folder / "home"
    server = Server(programs, folder / "server")
    try:
        reference = folder / "reference"
        run(reference, "read", *photos, "--jobs", "1")
        wanted = state(reference / "rounds.sqlite")
        codes = []
        for number in range(times):
            url = server.database(f"read{number}")
            read = ["read", *photos, "--jobs", "1", "--store", url]
            child = subprocess.Popen(
                [*START, *read],
                env=environment(home),
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
            )
            assert child.stdout is not None
            lines: list[str] = []
            while sum(": card " in line for line in lines) < min(number, 3):
                lines.append(child.stdout.readline())
                assert lines[-1], "it ended too early"
            time.sleep(rng.uniform(0.0, 0.2 if number else 1.0))
            server.kill()
            rest, errors = child.communicate(timeout=300)
            told = set(re.findall(r": card (\S+),", "".join(lines) + rest))
            assert "Traceback" not in errors, errors
            codes.append(child.returncode)
            server.start()
            found = state(url)
            assert told <= rounds_of(found) <= rounds_of(wanted), (told, rounds_of(found))
            done = run(home, *read)
            assert done.returncode in (0, 1), done.stderr
            ends = state(url)
            assert {name: len(rows) for name, rows in ends.items()} == {n: len(r) for n, r in wanted.items()}
            print(
                f"read: server killed, exit code {codes[-1]}, {len(told)} rounds told, none lost", flush=True
            )
        bench_server_under_page(server, home, times, rng)
    finally:
        with suppress(OSError, ValueError, IndexError):
            server.kill()


def bench_server_under_page(server: Server, home: Path, times: int, rng: random.Random) -> None:
    """Kill the server while answers are given on the page, which goes on when it is back."""
    with open_store(server.url) as store:
        serial = store.rounds()[0].id
    page = Page(home, "--store", server.url)
    done_before = 0
    for _ in range(times):
        killer = threading.Timer(rng.uniform(0.2, 2.0), server.kill)
        killer.start()
        given = answer_from(page, serial, done_before)
        killer.join()
        server.start()
        with open_store(server.url) as store:
            kept = len(store.answers(serial))
        assert given <= kept <= given + 1, (given, kept)
        check_answers(server.url, serial, kept)
        done_before = kept
        print(f"review: server killed, {kept} answers kept, of which {given} were acknowledged", flush=True)
    assert page.post(f"/ask/{serial}/total", value=str(done_before % 900), seen=str(done_before)) == 200
    page.child.send_signal(signal.SIGINT)
    assert page.child.wait(timeout=20) == 130


def answer_from(page: Page, serial: str, first: int) -> int:
    """Answer until the page says no; return how many answers stand by its word, those of before included."""
    number = first
    while True:
        code = page.post(f"/ask/{serial}/total", value=str(number % 900), seen=str(number), then="card")
        if code != 200:
            return number
        number += 1


def main() -> None:
    """Kill what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=40, help="kills of each command")
    parser.add_argument("--seed", type=int, default=SEED, help="of the times")
    parser.add_argument("--of", default="read,review,import,export,forget,backup,restore")
    parser.add_argument("--server", type=Path, help="folder of PostgreSQL's programs; kills a server instead")
    args = parser.parse_args()
    # A shell gives SIGINT to be ignored to what it starts in the background, and the page is stopped by it.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    folder = Path(tempfile.mkdtemp(prefix="killed-"))
    if os.getuid() == 0:
        folder.chmod(0o755)
    try:
        if args.server:
            bench_server(folder, args.server)
        else:
            bench_commands(folder, args.points, args.of.split(","), args.seed)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
