"""``catalogue demo`` on an archive of one scan, in a folder with all that a shell or pip may stumble over."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from catalogue.commands import demo

PROJECT = Path(__file__).parents[2]


@pytest.fixture
def archive(scan: Callable[..., Path], tmp_path: Path) -> Path:
    scan("scans & öl [1]/archive/main-disk/Ada Quill/Harbour/master.tif")
    archive = tmp_path / "scans & öl [1]" / "archive"
    (archive / "copy-disk").mkdir()
    for name in ("editions.csv", "orders.csv"):
        headings = (PROJECT / "demo_archive" / name).read_text(encoding="utf-8").splitlines()[0]
        (archive / name).write_text(headings + "\n", encoding="utf-8")
    return archive


def test_the_line_it_ends_with_works_when_pasted(archive: Path, tmp_path: Path) -> None:
    """By a shell, from a folder elsewhere, with a terminal much narrower than the line."""
    place = archive.parent / ("a rather long name, so that the line would be broken at eighty columns " * 2)
    environ = os.environ | {"PYTHONPATH": str(PROJECT), "COLUMNS": "60", "PATH": "/usr/bin:/bin"}
    shown = subprocess.run([sys.executable, "-m", "catalogue", "--catalogue", place, "demo", "--archive", archive,
                            "--no-screens"], capture_output=True, text=True, check=True, cwd=tmp_path, env=environ)
    line = shown.stdout.splitlines()[-1]
    assert line.startswith("To look around: ")
    pasted = subprocess.run(["sh", "-c", line.removeprefix("To look around: ")], capture_output=True, text=True,
                            check=False, cwd=tmp_path, env=environ)
    assert pasted.returncode == 0, pasted.stderr
    assert "Ada Quill: Harbour" in pasted.stdout


def test_the_name_alone_is_told_only_where_it_leads_here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ours, other = tmp_path / "my venv/bin/catalogue", tmp_path / "other/catalogue"
    for script in (ours, other):
        script.parent.mkdir(parents=True)
        script.touch(mode=0o755)
    monkeypatch.setattr(sys, "executable", str(ours.with_name("python")))
    monkeypatch.setenv("PATH", str(other.parent))
    assert demo.program_words() == [str(ours)]
    monkeypatch.setenv("PATH", os.pathsep.join(map(str, (ours.parent, other.parent))))
    assert demo.program_words() == ["catalogue"]
    ours.unlink()
    assert demo.program_words() == [sys.executable, "-m", "catalogue"]
    shutil.rmtree(other.parent)
    assert demo.program_words() == [sys.executable, "-m", "catalogue"]
