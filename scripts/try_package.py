#!/usr/bin/env python3
"""Build wheel and sdist and try the wheel in an environment made from nothing.

    python3 scripts/try_package.py [--keep FOLDER]

Needs Python 3.11 or newer and a package index. In the clean environment: the program starts, a store is added, the
screens open and close, a scan is indexed and found. Exit 0 when all holds.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SCREENS = """
import asyncio, sys
from pathlib import Path
from catalogue.screens.app import CatalogueApp
from catalogue.settings import find_home

async def look():
    app = CatalogueApp(find_home(Path(sys.argv[1])))
    async with app.run_test() as pilot:
        await pilot.pause()
        assert app.stylesheet.rules, "no styles came with the package"

asyncio.run(look())
"""
SCAN = """
import sys, numpy, tifffile
tifffile.imwrite(sys.argv[1], numpy.random.default_rng(0).integers(0, 255, (60, 80, 3), dtype="u1"), photometric="rgb")
"""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--keep", type=Path, help="leave the packages in this folder")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        packages = (asked.keep or place / "dist").absolute()
        venv.create(place / "builder", with_pip=True)
        pip(place / "builder", "install", "build")
        run(place / "builder/bin/python", "-m", "build", "--outdir", packages, ROOT)
        newest = max(packages.glob("*.whl"), key=lambda wheel: wheel.stat().st_mtime)
        venv.create(place / "clean", with_pip=True)
        pip(place / "clean", "install", newest.as_uri())  # pip takes [1] in a path for extras
        try_out(place / "clean" / "bin", place)
    print("The package holds.")
    return 0


def try_out(programs: Path, place: Path) -> None:
    """The installed program, used outside the checkout."""
    home, masters = place / "home", place / "masters/Ada Quill/Harbour"
    masters.mkdir(parents=True)
    catalogue = (programs / "catalogue", "--catalogue", home)
    run(*catalogue, "--version")
    run(programs / "python", "-c", SCAN, masters / "master.tif")
    run(*catalogue, "store", "add", "masters", place / "masters", "--marker")
    run(*catalogue, "index", expect=(0, 1))  # a scan without a profile is a finding
    assert "Harbour" in run(*catalogue, "find", "harbor")
    assert "LZW: yes" in run(*catalogue, "doctor", expect=(0, 1))
    run(programs / "python", "-c", SCREENS, home)


def pip(environment: Path, *words: object) -> None:
    run(environment / "bin/python", "-m", "pip", "--disable-pip-version-check", *words, "--quiet")


def run(*words: object, expect: tuple[int, ...] = (0,)) -> str:
    """Run outside the checkout, so that nothing is imported from it by chance."""
    print("$", " ".join(str(word) for word in words if "\n" not in str(word)), flush=True)
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "CATALOGUE_", "VIRTUAL_ENV"))}
    done = subprocess.run([str(word) for word in words], cwd=tempfile.gettempdir(), capture_output=True, text=True,
                          check=False, env=environment)
    if done.returncode not in expect:
        print(done.stdout + done.stderr)
        raise SystemExit(f"exit {done.returncode}")
    return done.stdout


if __name__ == "__main__":
    sys.exit(main())
