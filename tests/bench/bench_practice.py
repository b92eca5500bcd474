"""Time of the whole analysis for many rounds, and its growth; run by hand.

Measured is everything a report needs from rounds in memory: columns, focus, plan, putting, luck, execution
and result, charts, changes, the screen of comparisons. Below it stands the whole command `focus` on 1,000
rounds in a store, in a process of its own, beside one that only starts and one that only loads the libraries
it needs. Given is CPU time of one process, which on an idle machine is the time one waits. Bytecode is kept,
as after any installation, also where the environment says not to: else each start would compile anew.
"""

from __future__ import annotations

import gc
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from importlib.resources import files
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.plan import drills_from_toml, plan_of
from shortpencil.scan.practice.putting import putting_of
from shortpencil.scan.practice.report import report_of
from tests.practice.invented import Player, rounds_of

SIZES = (10, 100, 1_000, 2_500, 5_000, 10_000)
REPEATS = 5


def main() -> None:
    """Print a line for each number of rounds."""
    text = files("shortpencil.scan.practice").joinpath("drills.toml").read_text(encoding="utf-8")
    drills = drills_from_toml(text, "drills.toml")
    rounds = rounds_of(Player(spread=0.3), max(SIZES), np.random.default_rng(1), every_days=1)
    print(f"{'rounds':>8} {'throws':>9} {'columns':>9} {'all':>9} {'per 1,000 rounds':>18}")
    for size in SIZES:
        columns, everything, throws = [], [], 0
        for _ in range(REPEATS):
            gc.collect()
            start = time.process_time()
            history = history_of(rounds[-size:])
            middle = time.process_time()
            focus = focus_of(history)
            assert focus is not None
            report_of(history, focus, plan_of(focus, 30, drills), putting=putting_of(history))
            end = time.process_time()
            columns.append(middle - start)
            everything.append(end - start)
            throws = len(history.throw_hole)
        one, two = statistics.median(columns), statistics.median(everything)
        print(f"{size:>8} {throws:>9} {one:>8.3f}s {two:>8.3f}s {two / size * 1000:>17.3f}s")


def whole_command(rounds: int = 1000) -> None:
    """Print the CPU time of `focus` with its store, and of loading its libraries alone."""
    from shortpencil.scan.records.store import open_store

    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "rounds.sqlite"
        with open_store(place) as store:
            store.add_rounds(rounds_of(Player(spread=0.3), rounds, np.random.default_rng(1)))
        run = f"from shortpencil.scan.cli.main import main; main(['focus', '--store', {str(place)!r}])"
        load = "import sqlalchemy, numpy, scipy.special"
        for name, code in (("focus, store included", run), ("its libraries alone", load), ("start", "")):
            spent = [_cpu_of(code, folder) for _ in range(REPEATS)][1:]  # the first writes bytecode
            print(f"{name}, {rounds} rounds: {min(spent):.2f} to {max(spent):.2f} s CPU")
    print(f"load: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


def _cpu_of(code: str, folder: str) -> float:
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPYCACHEPREFIX"] = str(Path(folder) / "bytecode")
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-c", code], check=True, stdout=subprocess.DEVNULL, env=environment)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


if __name__ == "__main__":
    main()
    whole_command()
