"""``scripts/demo.py`` judges what it is asked for before a newcomer waits a minute for an environment."""

import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / "scripts" / "demo.py"


@pytest.mark.parametrize(("words", "said"), [
    (["--nonsense"], "--nonsense"), (["--no-screen"], "--no-screen"), (["main"], "main"),
    ([], "the screens need a terminal; --no-screens prints what was found")])
def test_what_cannot_be_done_is_said_before_anything_is_installed(tmp_path: Path, words: list[str], said: str) -> None:
    scripts = tmp_path / "scans & öl [1]" / "scripts"
    scripts.mkdir(parents=True)
    for name in ("demo.py", "environment.py"):
        (scripts / name).write_bytes(SCRIPT.with_name(name).read_bytes())
    done = subprocess.run([sys.executable, "-B", scripts / "demo.py", *words], stdin=subprocess.DEVNULL,
                          capture_output=True, text=True, encoding="utf-8", check=False)
    assert done.returncode == 2
    assert done.stdout == "" and said in done.stderr and "Traceback" not in done.stderr
    assert list(scripts.parent.iterdir()) == [scripts]
