"""What all tests run under.

One thread a library: threads that wait for each other by spinning cost more than these tests' work. Memory
that a picture took is kept for the next. Programs that tests start find the modules compiled, also where
Python is told to write no bytecode. And Ctrl-C works even where the tests were started in the background of a
script, whose children are deaf to it.
"""

import compileall
import os
import signal
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
IN_A_WORKER = "PYTEST_XDIST_WORKER" in os.environ

# Before numpy is imported, which reads them then. `setdefault`: who sets them has a reason.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OMP_THREAD_LIMIT"):
    os.environ.setdefault(name, "1")

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

if sys.dont_write_bytecode and not IN_A_WORKER:
    # Else each of the hundred programs that tests start compiles 80 modules anew, 0.2 s each time.
    for room in ("forms", "scan", "tests"):
        compileall.compile_dir(ROOT / room, quiet=2)

#: glibc's (mallopt(3)): without them each large array is fetched from the system and zeroed anew.
_KEEP_MEMORY = {"MALLOC_MMAP_THRESHOLD_": "1000000000", "MALLOC_TRIM_THRESHOLD_": "2000000000"}


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes() -> None:
    """Before the workers start, whose allocator reads this once."""
    os.environ.update(_KEEP_MEMORY)


if IN_A_WORKER:  # the programs that a test starts allocate as a user's do
    for name in _KEEP_MEMORY:
        os.environ.pop(name, None)
