"""Thousands of spoilt inputs of all kinds through the real commands: refused or read, and at what cost.

Run by hand: ``python -m tests.bench.bench_mutated --inputs 20000 --seed 1 --out FILE.json``. Each input goes
through the command line's own `main`, photos through the child process that reads them, one input a call. A
row of the table is one kind: how many were taken, refused, or ended their reader; the longest processor time
and the most memory of any one (the greater of the two processes); and of photos that were read, how many gave
a value other than the sound photo's in a field that nobody is asked about.

On a machine of many cores, ``--shard 1/16`` to ``--shard 16/16`` take every sixteenth round each, one process
and one file a shard; together they run what one process would. ``--minutes 8`` stops between two inputs, and
the same command goes on there. ``--show FILE FILE ... --out ALL.json`` adds their files up. ``--keep DIR``
keeps inputs that cost or told something worth a look.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import random
import re
import shutil
import sys
import tempfile
import time
import traceback
from collections.abc import Iterable, Iterator
from contextlib import redirect_stderr, redirect_stdout, suppress
from dataclasses import asdict, dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

from shortpencil.scan import crew
from shortpencil.scan.cli import main as main_module
from tests.bench.mutations import PHOTO_SHARES, TEXT_SHARES, Kind, kinds, spoilt


@dataclass(slots=True)
class Row:
    """What became of the inputs of one kind."""

    kind: str
    photo: bool = False
    inputs: int = 0
    taken: int = 0
    read: int = 0
    refused: int = 0
    ended: int = 0
    other_values: int = 0
    tracebacks: int = 0
    mistakes: int = 0
    longest_s: float = 0.0
    most_mb: float = 0.0
    seconds: float = 0.0
    examples: list[str] = field(default_factory=list)
    #: The longest and the greatest: round and number of the input, which with the seed make it again.
    longest: str = ""
    greatest: str = ""

    def add(self, other: Row) -> None:
        """Enter what another process found of the same kind."""
        if other.longest_s > self.longest_s:
            self.longest_s, self.longest = other.longest_s, other.longest
        if other.most_mb > self.most_mb:
            self.most_mb, self.greatest = other.most_mb, other.greatest
        for name in COUNTS:
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.examples += other.examples


COUNTS = (
    "inputs", "taken", "read", "refused", "ended", "other_values", "tracebacks", "mistakes", "seconds",
)  # fmt: skip
#: What the issue asks of every input, and what is kept as worth a look.
MOST_S, MOST_MB = 10.0, 512.0
WHOLE = sum(PHOTO_SHARES.values()) + sum(TEXT_SHARES.values())


def cpu_s(pid: int) -> float:
    """Processor time of a process so far."""
    with suppress(OSError, IndexError, ValueError):
        parts = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")
    return 0.0


def peak_mb(pid: int) -> float:
    """Greatest resident memory of a process since `forget_peak`."""
    with suppress(OSError):
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("VmHWM"):
                return int(line.split()[1]) / 1024
    return 0.0


def forget_peak(pid: int) -> None:
    """Let the greatest memory count from now on (proc(5), clear_refs)."""
    with suppress(OSError):
        Path(f"/proc/{pid}/clear_refs").write_text("5")


class Watched(crew._Child):
    """A child whose time and memory are looked at for each file."""

    cost_s = 0.0
    cost_mb = 0.0
    ended = False

    def read(self, *args: Any) -> Any:
        pid = self._process.pid
        forget_peak(pid)
        before = cpu_s(pid)
        result = super().read(*args)
        died = result[1] is None
        Watched.ended |= died
        # Of one that is gone nothing can be asked: it had all that it may have.
        Watched.cost_s += float(crew.CPU_S) if died else cpu_s(pid) - before
        Watched.cost_mb = max(Watched.cost_mb, peak_mb(pid))
        return result


def values(out: str) -> dict[str, Any] | None:
    """Values of the fields that nobody is asked about, by field; None when no card was read."""
    with suppress(ValueError, KeyError, IndexError):
        card = json.loads(out)["cards"][0]
        if card["status"] == "read":
            fields = card["fields"].items()
            return {card["serial"] + name: f["value"] for name, f in fields if f["flag"] is None}
    return None


def run(words: list[str]) -> tuple[int, str, str, str | None]:
    """Run a command; return its code, what it printed, and the traceback if it had one."""
    out, err, broke = io.StringIO(), io.StringIO(), None
    code = -1
    with redirect_stdout(out), redirect_stderr(err):
        try:
            code = main_module.main(words)
        except SystemExit as stopped:
            code = int(stopped.code or 0)
        except BaseException:
            broke = traceback.format_exc()
    return code, out.getvalue(), err.getvalue(), broke


def one(
    kind: Kind,
    data: bytes,
    place: Path,
    row: Row,
    sound: dict[str, Any],
    name: str = "",
    keep: Path | None = None,
) -> None:
    """Run one spoilt input and enter what became of it."""
    file = place / kind.file
    file.write_bytes(data)
    words = kind.words(place, file)
    Watched.cost_s = Watched.cost_mb = 0.0
    Watched.ended = False
    forget_peak(os.getpid())
    began = time.process_time()
    code, out, err, broke = run(words)
    spent = time.process_time() - began + Watched.cost_s
    memory = max(peak_mb(os.getpid()), Watched.cost_mb)
    row.inputs += 1
    row.seconds += spent
    if spent > row.longest_s:
        row.longest_s, row.longest = spent, name
    if memory > row.most_mb:
        row.most_mb, row.greatest = memory, name
    why = "long" * (spent > MOST_S) + "large" * (memory > MOST_MB) + "ended" * Watched.ended
    said = out + err
    if broke is not None or "Traceback" in said:
        row.tracebacks += 1
        why += "traceback"
        row.examples.append((broke or said)[-700:])
    if "mistake of the program" in said:
        row.mistakes += 1
        why += "mistake"
        row.examples.append(said[-400:])
    row.ended += Watched.ended
    row.taken += code in (0, 1)
    row.refused += code == 2
    if code == 2 and not err.strip():
        row.examples.append(f"refused without a word: {words}")
    if kind.photo:
        found = values(out)
        row.read += found is not None
        if found is not None and any(sound.get(name, value) != value for name, value in found.items()):
            row.other_values += 1
            why += "other"
    if why and keep is not None:
        keep.mkdir(parents=True, exist_ok=True)
        (keep / re.sub(r"\W+", "-", f"{kind.name} {name} {why}")).write_bytes(data)


def measure(args: argparse.Namespace) -> list[Row]:
    """Run `args.inputs` spoilt inputs, shared out over all kinds, in rounds over all of them.

    With `args.out`, what was found is written there, and a run that was stopped goes on where it stopped.
    """
    until = time.monotonic() + 60 * args.minutes
    shard, shards = map(int, args.shard.split("/"))
    crew._Child = Watched  # type: ignore[misc]
    parser = main_module.build_parser()  # it takes half the time of a small input, and is always the same
    main_module.build_parser = lambda: parser
    folder = Path(tempfile.mkdtemp(prefix="bench-mutated-"))
    try:
        every = [kind for kind in kinds(folder) if args.only in kind.name]
        rows, done = _before(args.out, every)
        sound = {kind.name: _sound(kind, folder / "place", rows[kind.name]) for kind in every if kind.photo}
        for kind, turn, number in islice(_plan(every, args, shard, shards), done, None):
            if time.monotonic() > until:
                print(f"shard {args.shard}: stopped after {done} inputs for the time", file=sys.stderr)
                break
            shutil.rmtree(folder / "place", ignore_errors=True)
            (folder / "place").mkdir()
            data = spoilt(kind, random.Random(f"{args.seed} {kind.name} {turn} {number}"))
            name = f"{args.seed}/{turn}/{number}"
            one(kind, data, folder / "place", rows[kind.name], sound.get(kind.name, {}), name, args.keep)
            done += 1
            if done % 50 == 0:
                _write(args.out, done, rows.values())
        _write(args.out, done, rows.values())
        return list(rows.values())
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _plan(
    every: list[Kind], args: argparse.Namespace, shard: int, shards: int
) -> Iterator[tuple[Kind, int, int]]:
    """Yield the kind, the round and the number in it of each input of a shard."""
    for turn in range(args.rounds):
        if turn % shards != shard - 1:
            continue
        for kind in every:
            share = args.inputs * kind.share / WHOLE
            many = round(share * (turn + 1) / args.rounds) - round(share * turn / args.rounds)
            yield from ((kind, turn, number) for number in range(many))


def _write(out: Path | None, done: int, rows: Iterable[Row]) -> None:
    """Write what was found so far, whole or not at all."""
    if out is not None:
        fresh = out.with_suffix(".part")
        fresh.write_text(json.dumps({"done": done, "rows": [asdict(row) for row in rows]}, indent=1))
        fresh.replace(out)


def _before(out: Path | None, every: list[Kind]) -> tuple[dict[str, Row], int]:
    rows = {kind.name: Row(kind.name, kind.photo) for kind in every}
    if out is None or not out.exists():
        return rows, 0
    found = json.loads(out.read_text())
    return rows | {row["kind"]: Row(**row) for row in found["rows"]}, found["done"]


def _sound(kind: Kind, place: Path, row: Row) -> dict[str, Any]:
    """Return what the sound examples say."""
    sound: dict[str, Any] = {}
    place.mkdir(exist_ok=True)
    for base in kind.bases:
        (place / kind.file).write_bytes(base)
        found = values(run(kind.words(place, place / kind.file))[1])
        if found is None:
            row.examples.append("a sound example was not read")
        sound |= found or {}
    return sound


def line_of(row: Row) -> str:
    """Return a row of the table."""
    counts = f"{row.inputs:,} | {row.taken:,} | {row.read} | {row.refused:,} | {row.ended}"
    other = row.other_values if row.photo else ""
    return (
        f"| {row.kind} | {counts} | {row.longest_s:.1f} | {row.most_mb:.0f} | {other} | "
        f"{row.tracebacks + row.mistakes} |"
    )


def main() -> None:
    """Measure and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=2000, help="in all, over all shards")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="kinds whose name has this in it")
    parser.add_argument("--rounds", type=int, default=320, help="over all kinds; a shard takes some of them")
    parser.add_argument("--shard", default="1/1", metavar="K/N", help="this process's share of the rounds")
    parser.add_argument(
        "--minutes", type=float, default=float("inf"), help="stop then, and write what is done"
    )
    parser.add_argument("--keep", type=Path, help="folder for inputs that are worth a look")
    parser.add_argument("--out", type=Path)
    parser.add_argument("--show", type=Path, nargs="+", help="print the table of files that --out wrote")
    args = parser.parse_args()
    if args.show:
        rows, done = together(args.show)
        _write(args.out, done, rows)
    else:
        rows = measure(args)
    print(
        "| kind | inputs | taken | cards read | refused | ended their reader | longest, s | "
        f"most memory, MB | other values | mistakes |\n{'| --- ' * 10}|"
    )
    print("\n".join(map(line_of, rows)))
    print(f"{sum(row.inputs for row in rows):,} inputs, {sum(row.seconds for row in rows):.0f} s")
    for row in rows:
        for example in row.examples[:5]:
            print(f"--- {row.kind}: {example}", file=sys.stderr)


def together(files: list[Path]) -> tuple[list[Row], int]:
    """Return the rows of several files added up, and how many inputs they had."""
    rows: dict[str, Row] = {}
    for file in files:
        for found in json.loads(file.read_text())["rows"]:
            rows.setdefault(found["kind"], Row(found["kind"], found["photo"])).add(Row(**found))
    return list(rows.values()), sum(row.inputs for row in rows.values())


if __name__ == "__main__":
    main()
