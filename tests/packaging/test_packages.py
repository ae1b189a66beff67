"""Wheel and sdist, built offline from a copy of the tree and used as a stranger would.

``pip`` and ``build`` are the builders; the wheel is unpacked by ``pip`` and run from outside the checkout, on the
libraries at hand. ``scripts/try_package.py`` does the same where only what the wheel names is installed.
"""

import os
import shutil
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the wheel and the sdist."""
    place = tmp_path_factory.mktemp("packages")
    tree = place / "tree"
    shutil.copytree(ROOT / "catalogue", tree / "catalogue", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, tree)
    subprocess.run([sys.executable, "-m", "build", "--no-isolation", "--outdir", place / "dist", tree], check=True,
                   capture_output=True)
    return place / "dist"


def data_files() -> set[str]:
    """All of the package that is not Python: schema, styles, templates, marker."""
    return {str(p.relative_to(ROOT)) for p in (ROOT / "catalogue").rglob("*")
            if p.is_file() and p.suffix not in (".py", ".pyc")}


def test_wheel_and_sdist_hold_every_file_of_the_package(built: Path) -> None:
    modules = {str(p.relative_to(ROOT)) for p in (ROOT / "catalogue").rglob("*.py")}
    assert {Path(name).suffix for name in data_files()} >= {".sql", ".tcss", ".html"}
    (wheel,) = built.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        inside = {name for name in archive.namelist() if name.startswith("catalogue/")}
        assert inside == modules | data_files()
        entry = next(name for name in archive.namelist() if name.endswith("entry_points.txt"))
        assert "catalogue = catalogue.commands:main" in archive.read(entry).decode()
    (sdist,) = built.glob("*.tar.gz")
    with tarfile.open(sdist) as archive:
        inside = {name.partition("/")[2] for name in archive.getnames()}
        assert modules | data_files() <= inside


def test_the_installed_program_runs_from_anywhere(built: Path, tmp_path: Path) -> None:
    (wheel,) = built.glob("*.whl")
    site = tmp_path / "site"
    subprocess.run([sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index", "--target", site,
                    "--disable-pip-version-check", wheel], check=True)
    (tmp_path / "masters").mkdir()

    def run(*words: str) -> str:
        done = subprocess.run([sys.executable, site / "bin" / "catalogue", *words], cwd=tmp_path, check=False,
                              env=os.environ | {"PYTHONPATH": str(site), "CATALOGUE_HOME": str(tmp_path / "home")},
                              capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        return done.stdout

    assert "catalogue" in run("--version")
    assert "masters" in run("store", "add", "masters", "masters", "--marker")
    assert "masters" in run("store", "list")
    where = subprocess.run([sys.executable, "-c", "import catalogue; print(catalogue.__file__)"], cwd=tmp_path,
                           env=os.environ | {"PYTHONPATH": str(site)}, check=True, capture_output=True, text=True)
    assert where.stdout.startswith(str(site))
