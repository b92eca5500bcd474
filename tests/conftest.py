"""What all tests run under.

One thread a library: threads that wait for each other by spinning cost more than these tests' work. Memory
that a picture took is kept for the next. What is compiled is kept. And Ctrl-C works even where the tests were
started in the background of a script, whose children are deaf to it.
"""

import gc
import os
import signal
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

IN_A_WORKER = "PYTEST_XDIST_WORKER" in os.environ

# Before numpy is imported, which reads them then. `setdefault`: who sets them has a reason.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OMP_THREAD_LIMIT"):
    os.environ.setdefault(name, "1")

# Tests read the program's sentences; a test of another language says so itself.
os.environ["SHORTPENCIL_LANGUAGE"] = "en"

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# Also where Python is told to write no bytecode: else each process of pytest rewrites all tests anew, 4 s,
# and each of the hundred programs that they start compiles 80 modules, 0.2 s.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

#: glibc's (mallopt(3)): without them each large array is fetched from the system and zeroed anew.
_KEEP_MEMORY = {"MALLOC_MMAP_THRESHOLD_": "1000000000", "MALLOC_TRIM_THRESHOLD_": "2000000000"}


# No test measures time; Hypothesis would by itself, that of each example and that of making it.
settings.register_profile("any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any machine")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes() -> None:
    """Before the workers start, whose allocator reads this once."""
    os.environ.update(_KEEP_MEMORY)


if IN_A_WORKER:  # the programs that a test starts allocate as a user's do
    for name in _KEEP_MEMORY:
        os.environ.pop(name, None)


@contextmanager
def _one_first() -> Iterator[None]:
    """Let one process through first, then all others at once."""
    try:
        import fcntl
    except ImportError:  # Windows
        yield
        return
    place = Path(tempfile.gettempdir()) / f"shortpencil-{os.environ['PYTEST_XDIST_TESTRUNUID']}"
    with place.open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            fcntl.flock(lock, fcntl.LOCK_SH)
        yield
    place.unlink(missing_ok=True)


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Iterator[object]:
    """In a fresh checkout one process compiles the tests and the others load them: else each compiles all."""
    if not (IN_A_WORKER and "CI" in os.environ):
        return (yield)
    with _one_first():
        return (yield)


@settings(max_examples=1, database=None)
@given(st.none())
def _first_example(_: None) -> None:
    """Nothing: see below."""


def pytest_collection_finish() -> None:
    """What three thousand tests are made of is not looked through again at each search for garbage."""
    # At its first example Hypothesis looks who holds its random numbers, and sees nobody who is frozen.
    _first_example()
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)  # else looking for garbage is a twentieth of what tests cost
