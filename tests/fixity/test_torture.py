"""The short form of ``scripts/torture.py``: kill -9 at a few points of everything that writes."""

import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).resolve().parents[2] / "scripts" / "torture.py"


@pytest.mark.skipif(not hasattr(__import__("os"), "fork"), reason="needs a system that forks")
def test_nothing_is_lost_and_the_next_run_completes() -> None:
    done = subprocess.run([sys.executable, str(SCRIPT), "--points", "3", "--seed", "7"], capture_output=True, text=True,
                          check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert int(done.stdout.splitlines()[-1].split()[0]) >= 12, "kills that come too late are no kills"
