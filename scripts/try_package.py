#!/usr/bin/env python3
"""Build wheel and sdist and try the wheel in an environment that has what the wheel says it needs, and no more.

    python3 scripts/try_package.py [--keep FOLDER]

Needs Python 3.11 or newer. The libraries are those of the checks' environment, linked as far as the wheel's metadata
names them, and those name others. There, outside the checkout: the program starts, a store is added, the screens open
and close, a scan is indexed and found. Exit 0 when all holds.
"""

import argparse
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

from environment import CHECKED, ROOT, environ, install

LINK_LIBRARIES = """
import sys
from importlib.metadata import Distribution, distribution
from pathlib import Path
from packaging.requirements import Requirement

site = Path(sys.argv[1])
(package,) = Distribution.discover(name="master-scan-catalogue", path=[str(site)])
pending, linked = [(package, "")], set()
while pending:
    needed, extra = pending.pop()
    for requirement in map(Requirement, needed.requires or ()):
        if requirement.marker is None or requirement.marker.evaluate({"extra": extra}):
            library = distribution(requirement.name)
            assert library.version in requirement.specifier, (requirement, library.version)
            for name in {file.parts[0] for file in library.files or ()} - {"..", "__pycache__"}:
                if not (site / name).exists():
                    (site / name).symlink_to(library.locate_file(name))
            for asked in ("", *requirement.extras):
                if (requirement.name, asked) not in linked:
                    linked.add((requirement.name, asked))
                    pending.append((library, asked))
"""
SCREENS = """
import asyncio, sys
from pathlib import Path
from catalogue.screens.app import CatalogueApp
from catalogue.settings import find_home

import catalogue
assert Path(catalogue.__file__).is_relative_to(sys.prefix), catalogue.__file__

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
        folder = Path(name)
        packages = (asked.keep or folder / "dist").absolute()
        python = install(CHECKED, dev=True) / "python"
        run(python, "-m", "build", "--no-isolation", "--outdir", packages, ROOT)
        newest = max(packages.glob("*.whl"), key=lambda wheel: wheel.stat().st_mtime)
        venv.create(folder / "clean")
        clean = folder / "clean/bin"
        run(python, "-m", "pip", "--python", clean / "python", "--disable-pip-version-check", "install", "--quiet",
            "--no-deps", "--no-index", newest.as_uri())  # pip takes [1] in a path for extras
        site = run(clean / "python", "-c", "import sysconfig; print(sysconfig.get_path('purelib'))").strip()
        run(python, "-c", LINK_LIBRARIES, site)
        try_out(clean, folder)
    print("The package holds.")
    return 0


def try_out(programs: Path, folder: Path) -> None:
    """The installed program, used outside the checkout."""
    home, masters = folder / "home", folder / "masters/Ada Quill/Harbour"
    masters.mkdir(parents=True)
    catalogue = (programs / "catalogue", "--catalogue", home)
    run(*catalogue, "--version")
    run(programs / "python", "-c", SCAN, masters / "master.tif")
    run(*catalogue, "store", "add", "masters", folder / "masters", "--marker")
    run(*catalogue, "index", expect=(0, 1))  # a scan without a profile is a finding
    assert "Harbour" in run(*catalogue, "find", "harbor")
    assert "LZW: yes" in run(*catalogue, "doctor", expect=(0, 1))
    run(programs / "python", "-c", SCREENS, home)


def run(*words: object, expect: tuple[int, ...] = (0,)) -> str:
    """Run outside the checkout, so that nothing is imported from it by chance."""
    print("$", " ".join(str(word) for word in words if "\n" not in str(word)), flush=True)
    done = subprocess.run([str(word) for word in words], cwd=tempfile.gettempdir(), capture_output=True, text=True,
                          check=False, env=environ(None))
    if done.returncode not in expect:
        print(done.stdout + done.stderr)
        raise SystemExit(f"exit {done.returncode}")
    return done.stdout


if __name__ == "__main__":
    sys.exit(main())
