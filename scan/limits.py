"""What a process that reads photos gives up: memory, time, large files. One place for `read` and `review`.

A photo is made by strangers' programs and decoded by large libraries in C: a file made to break one, or one
that merely promises a million megapixels, must end a process that knows nothing and is gone at once.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from pathlib import Path

import shortpencil

#: Without the pages of the libraries themselves, some 60 MB. 12 megapixels take 220 MB with all libraries; 48
#: megapixels, as JPEG, PNG or HEIC, fit.
MEMORY_BYTES = 448 * 2**20
CPU_S = 10
#: What each page that shows a card may take beyond that: a club scans its whole stack into one PDF.
CPU_S_A_CARD = 2
LARGEST_FILE_BYTES = 32 * 2**20  # Tesseract, asked for a card's plain number, passes its picture in a file


def python_path() -> str:
    """Return the PYTHONPATH with which a child finds this package wherever this process found it."""
    package = Path(shortpencil.__path__[0])
    # A checkout's folders are put together by the installation, which a child finds by itself.
    own = [str(package.parent)] if (package / "scan").is_dir() else []
    return os.pathsep.join([*own, *filter(None, [os.environ.get("PYTHONPATH")])])


def limit(cpu_s: int | None = CPU_S) -> None:
    """Give up what reading one photo does not need; what the system does not know is left as it is.

    Parameters
    ----------
    cpu_s : processor time for this process's whole life; None leaves it to `allow_cpu`
    """
    try:
        import resource
    except ImportError:  # not on Windows
        return
    for name, most in (
        ("RLIMIT_DATA", MEMORY_BYTES),  # not RLIMIT_AS: libraries reserve much that they never touch
        ("RLIMIT_CPU", cpu_s),
        ("RLIMIT_FSIZE", LARGEST_FILE_BYTES),
        ("RLIMIT_CORE", 0),
        ("RLIMIT_NOFILE", 64),
    ):
        kind = getattr(resource, name, None)
        if kind is None or most is None:
            continue
        _, hard = resource.getrlimit(kind)
        wanted = most if hard == resource.RLIM_INFINITY else min(most, hard)
        with suppress(ValueError):  # macOS knows the name of the memory limit and refuses to set it
            resource.setrlimit(kind, (wanted, wanted))


def allow_cpu(seconds: float) -> None:
    """Let this process live for so much more processor time from now on; the system ends it after that."""
    try:
        import resource
    except ImportError:
        return
    used = resource.getrusage(resource.RUSAGE_SELF)
    _, hard = resource.getrlimit(resource.RLIMIT_CPU)
    soft = int(used.ru_utime + used.ru_stime + seconds) + 1
    if hard != resource.RLIM_INFINITY:
        soft = min(soft, hard)
    with suppress(ValueError):
        resource.setrlimit(resource.RLIMIT_CPU, (soft, hard))


def not_limited(platform: str = sys.platform) -> tuple[str, ...]:
    """Return what a reading process cannot be made to give up on a system; the clock ends it anyway."""
    if platform == "win32":
        return ("memory", "processor time", "large files")
    return ("memory",) if platform == "darwin" else ()


def not_limited_said(platform: str = sys.platform) -> str:
    """Return a sentence about what is not limited on a system, "" where everything is."""
    missing = not_limited(platform)
    if not missing:
        return ""
    what = missing[0] if len(missing) == 1 else f"{', '.join(missing[:-1])} or {missing[-1]}"
    return (
        f"This system sets no limit to the {what} of the processes that read photos; one that takes too long "
        "is ended by the clock. Read photos from people you know."
    )
