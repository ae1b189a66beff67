"""The short form of ``scripts/torture.py``: kill -9 at a few points of everything that writes."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).resolve().parents[2] / "scripts" / "torture.py"


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a system that forks")
def test_nothing_is_lost_and_the_next_run_completes() -> None:
    # kill -9 loses nothing that was written, flushed or not, so memory will do and spares thousands of flushes
    place = {"TMPDIR": "/dev/shm"} if os.access("/dev/shm", os.W_OK) else {}
    done = subprocess.run([sys.executable, str(SCRIPT), "--points", "3", "--seed", "7"], capture_output=True, text=True,
                          check=False, env=os.environ | place)
    assert done.returncode == 0, done.stdout + done.stderr
    assert int(done.stdout.splitlines()[-1].split()[0]) >= 12, "kills that come too late are no kills"
