import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from tests.records import killed

ROOT = Path(__file__).parents[2]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are killed by POSIX signals")
def test_killed_at_any_write_the_store_is_as_before_or_as_after(tmp_path):
    # A killed process leaves what the kernel has taken, on a disk or in memory: the faster one will do.
    memory = Path("/dev/shm")
    place = tempfile.mkdtemp(dir=memory) if os.access(memory, os.W_OK) else str(tmp_path)
    run = subprocess.run(
        [sys.executable, "-m", "tests.records.killed", place, "--some"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    shutil.rmtree(place)
    assert run.returncode == 0, run.stderr
    result = json.loads(run.stdout)
    assert result["half"].startswith(killed.HALF), "a store half written was taken for whole"
    found = result["found"]
    assert set(found) == set(killed.WORKS)
    for name, ends in found.items():
        assert ends["die_at_event"] >= 1, name  # emptying what was deleted takes three statements
        assert ends["before"] >= 1, name
    for name in killed.CUT_IN_WRITES:
        # Only a kill in a write can come after the commit; both ends were met.
        assert found[name]["die_at_size"] >= 7, name
        assert found[name]["after it was said to be done"] >= 1, name
