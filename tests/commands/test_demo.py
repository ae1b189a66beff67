"""``catalogue demo`` on an archive of one scan, in a folder with all that a shell or pip may stumble over."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from catalogue.commands import demo
from catalogue.errors import CatalogueError, NotFound

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
    place = archive.parent / ("a rather long name for a folder, eighty columns broken " * 3)
    environ = os.environ | {"PYTHONPATH": str(PROJECT), "COLUMNS": "60", "PATH": "/usr/bin:/bin"}
    shown = subprocess.run([sys.executable, "-m", "catalogue", "--catalogue", place, "demo", "--archive", archive,
                            "--no-screens"], capture_output=True, text=True, check=True, cwd=tmp_path, env=environ)
    line = shown.stdout.splitlines()[-1]
    pasted_line = line.partition(": ")[2]
    pasted = subprocess.run(["sh", "-c", pasted_line], capture_output=True, text=True,
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


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A checkout of its own, with no painter in it yet."""
    monkeypatch.setattr(demo, "CHECKOUT", tmp_path)
    (tmp_path / "scripts").mkdir()
    return tmp_path


def test_the_archive_is_painted_by_the_checkouts_painter(checkout: Path) -> None:
    """The painter is asked every time; that it paints once is its own affair (tests/demo)."""
    (checkout / "scripts" / "paint_archive.py").write_text(
        "import pathlib, sys\n"
        "assert sys.argv[2:] == ['--unless-painted']\n"
        "pathlib.Path(sys.argv[1], 'main-disk').mkdir(parents=True)\n", encoding="utf-8")
    archive = demo.painted_archive()
    assert archive == checkout / ".demo" / "archive"
    assert (archive / "main-disk").is_dir()


def test_without_a_painter_or_with_one_that_fails_it_is_said(checkout: Path) -> None:
    with pytest.raises(NotFound, match="demo archive"):
        demo.painted_archive()
    (checkout / "scripts" / "paint_archive.py").write_text("raise SystemExit(2)", encoding="utf-8")
    with pytest.raises(CatalogueError, match="painted"):
        demo.painted_archive()


def test_what_happened_since_changes_content_but_no_times(tmp_path: Path) -> None:
    disk, since = tmp_path / "main-disk", tmp_path / "since"
    for name, content in (("main-disk/a/changed.tif", b"before"), ("main-disk/a/gone.tif", b"before"),
                          ("main-disk/whole.tif", b"before"), ("since/files/main-disk/a/changed.tif", b"beFore")):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(content)
        # a checkout gives files the time it is made
        os.utime(tmp_path / name, (1_600_000_000 + 5 * name.startswith("since"),) * 2)
    (since / "removed.txt").write_text("main-disk/a/gone.tif\n", encoding="utf-8")
    demo.damage_disks(tmp_path)
    assert {p.relative_to(disk).as_posix(): p.read_bytes() for p in disk.rglob("*.tif")} == {
        "a/changed.tif": b"beFore", "whole.tif": b"before"}
    assert (disk / "a/changed.tif").stat().st_mtime == 1_600_000_000
