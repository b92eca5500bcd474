"""Kills a writing process at every statement and in the middle of its writes, and looks at what is left.

Run as a script by `test_killed.py`, since forking wants a process without threads. It prints how often a
child was killed and which state was found; it stops with an error when the store is neither as before nor
as after.

Run by hand (`python -m tests.records.killed DIR`), it kills at every statement and every 3,300 bytes; the
suite gives it `--some`, which leaves out two of three places.

Two ways to die: SIGKILL after each SQL statement and before each commit; and SIGXFSZ, which the kernel sends
when a file grows beyond a limit: with the limit set ever higher, the process dies inside the writes of the
log and of the database itself, also half way through a page.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import signal
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import event

from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import reading as reading_from
from tests.records.cards import PLAYED, RECORDED_AT, reading, round_form

TABLES = tables.metadata.sorted_tables
STEP_BYTES = 3300  # less than a page of 4096, and no divisor of it: pages are cut in ever other places


def add(store: Store, serial: str, photo: str, flags: dict[str, str] | None = None, **marks: object) -> None:
    form = round_form()
    played = PLAYED | {name.replace("_", "."): value for name, value in marks.items()}
    card = reading(
        form, played, serial=serial, photo=photo * 64, flags=flags, pictures={"total": bytes(3000)}
    )
    round_ = round_from_reading(form, card, recorded_at=RECORDED_AT, player="Robin")
    store.add_reading(card, form, round_, form_text="3 m", evidence=bytes(2000))


WORKS: dict[str, Callable[[Store], object]] = {
    "a new card": lambda store: add(store, "NEW", "b"),
    "a better photo": lambda store: add(store, "OLD", "c"),
    "an answer": lambda store: store.answer("OLD", "total", 10, "Robin", RECORDED_AT),
    "an import": lambda store: store.add_rounds(_imported()),
    "another round on the sheet": lambda store: add(store, "OLD", "d", **ANOTHER),
    "a round set aside": lambda store: store.set_aside("OLD", RECORDED_AT, kept=True),
    "a round put back": lambda store: store.put_back("GONE"),
    "what was deleted": lambda store: store.empty_aside(),
    "a player forgotten": lambda store: store.forget("Robin"),
}

ANOTHER = {
    "date_day": 7,
    "h01_score": 5,
    "h01_putt1": "clean",
    "h02_drive": "clean",
    "h03_score": 4,
    "total": 12,
}

#: Those killed inside writes too; the others differ only in their statements.
CUT_IN_WRITES = ("a new card", "a better photo")

#: Not one transaction but two, so that a kill between them leaves a third state: the check must see that.
HALF = "two transactions"


def _imported():
    form = round_form()
    for number in range(3):
        card = reading(form, PLAYED, serial=f"F{number}", photo=f"{number}" * 64)
        yield round_from_reading(form, card, recorded_at=RECORDED_AT)


def _two_transactions(store: Store) -> None:
    add(store, "NEW", "b")
    add(store, "NEXT", "c")


def opened(path: Path) -> Store:
    return open_store(path, read_form=lambda text: round_form())


def state(path: Path) -> dict[str, list[tuple]]:
    """Everything in the store, opened as a player would; damaged stores raise here."""
    with opened(path) as store, reading_from(store._engine) as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalars().all() == ["ok"]
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
        # Rows as they lie there: what the types of SQLAlchemy make of them costs more than reading them.
        keys = {t.name: ", ".join(f'"{column.name}"' for column in t.primary_key) for t in TABLES}
        return {
            name: [tuple(row) for row in connection.exec_driver_sql(f"SELECT * FROM {name} ORDER BY {key}")]
            for name, key in keys.items()
        }


def die_at_event(number: int) -> Callable[[Store], None]:
    """Arm a store so that its process is killed at the so-manieth event."""

    def arm(store: Store) -> None:
        count = 0

        def tick(*_: object, **__: object) -> None:
            nonlocal count
            count += 1
            if count == number:
                os.kill(os.getpid(), signal.SIGKILL)

        # Nothing is written between the end of a statement and the beginning of the next.
        for name in ("after_cursor_execute", "commit"):
            event.listen(store._engine, name, tick)

    return arm


def die_at_size(limit: int) -> Callable[[Store], None]:
    """Arm a store so that its process is killed in the write that takes a file beyond a size."""

    def arm(store: Store) -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_DFL)  # Python ignores it, and SQLite would only see an error
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))

    return arm


def child(path: Path, work: Callable[[Store], object], arm: Callable[[Store], None]) -> tuple[bool, bool]:
    """Do the work in a process that may die; return whether it died, and whether it had said "done"."""
    read_end, write_end = os.pipe()
    pid = os.fork()
    if pid == 0:
        status = 1
        try:
            store = opened(path)
            arm(store)
            work(store)
            os.write(write_end, b"!")
            store.close()
            status = 0
        finally:
            os._exit(status)
    os.close(write_end)
    said = os.read(read_end, 1) == b"!"
    os.close(read_end)
    _, status = os.waitpid(pid, 0)
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0, "the child failed instead of dying"
    return os.WIFSIGNALED(status), said


def kill_everywhere(folder: Path, name: str, stride: int = 1) -> Counter[str]:
    """Kill one work everywhere, or at every so-manieth place; return how often each end was found."""
    work, found = WORKS.get(name, _two_transactions), Counter()
    base, path = folder / "base.sqlite", folder / "work.sqlite"

    def fresh() -> Path:
        for leftover in folder.glob("work.sqlite*"):
            leftover.unlink()
        shutil.copyfile(base, path)
        return path

    with opened(base) as store:
        if not store.rounds():
            add(store, "OLD", "a", {"total": "faint"})
            add(store, "GONE", "9")
            store.set_aside("GONE", RECORDED_AT, kept=False)
    before = state(fresh())
    assert child(fresh(), work, lambda store: None) == (False, True)
    after = state(path)
    assert before != after
    for arm in (die_at_event, die_at_size) if name in CUT_IN_WRITES else (die_at_event,):
        # The places left out differ from work to work.
        first = 1 + sorted(WORKS).index(name) % stride if name in WORKS else 1
        point, step = (first, stride) if arm is die_at_event else (0, STEP_BYTES * stride)
        while True:
            died, said = child(fresh(), work, arm(point))
            if not died:
                break
            left = state(path)
            assert left == after or (left == before and not said), f"{name}: {arm.__name__} {point}"
            found["after" if left == after else "before"] += 1
            found["after it was said to be done"] += said
            found[arm.__name__] += 1
            point += step
    return found


def main(folder: Path, stride: int = 1) -> None:
    found = {name: kill_everywhere(folder, name, stride) for name in WORKS}
    try:
        kill_everywhere(folder, HALF)
    except AssertionError as error:
        print(json.dumps({"found": found, "half": str(error)}))


if __name__ == "__main__":
    main(Path(sys.argv[1]), 3 if "--some" in sys.argv else 1)
