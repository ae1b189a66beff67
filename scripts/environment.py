"""An environment beside this checkout's files, with what pyproject.toml names, for the scripts that a newcomer runs.

Needs the standard library alone. What pip says is shown only if it fails, so that a mirror's warnings hide nothing.
"""

import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
CHECKED = ROOT / ".check"   # the checks' environment and logs
# What a person's shell may say to Python, pip's caller or the checks, and what would make them behave otherwise.
FOREIGN = ("PYTHON", "PYTEST_", "TEXTUAL", "RUFF_", "MYPY", "CATALOGUE_", "VIRTUAL_ENV", "COLUMNS", "LINES", "NO_COLOR",
           "FORCE_COLOR", "CLICOLOR")


class Failed(Exception):
    """A step failed. The message holds all it printed."""


def speak_anywhere() -> None:
    """Print with a replacement for what the terminal's encoding cannot show, instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="replace", line_buffering=True)  # type: ignore[union-attr]


def environ(programs: Path | None) -> dict[str, str]:
    """The variables for a program of that environment: its folder first in PATH, nothing of ``FOREIGN``."""
    plain = {name: value for name, value in os.environ.items() if not name.startswith(FOREIGN)}
    if programs is None:
        return plain
    return plain | {"PATH": f"{programs}{os.pathsep}{os.environ.get('PATH', os.defpath)}",
                   "VIRTUAL_ENV": str(programs.parent)}


def install(folder: Path, *, dev: bool, fresh: bool = False, compiled: bool = False,
            python: str = sys.executable) -> Path:
    """The folder of programs of an environment in ``place``, made or brought up to date as pyproject.toml says.

    ``dev`` adds the dependency group of that name. Unless ``compiled``, modules are compiled when they are imported
    first: to compile all takes as long as the rest of the installation, and most are never used. For a user who may
    not write there everything is compiled. Raises Failed with pip's words.
    """
    venv, stamp = folder / "venv", folder / "installed.toml"
    programs = venv / "bin"
    wanted = (ROOT / "pyproject.toml").read_bytes()
    # the scripts in an environment name their own folder: a checkout that was moved needs a new one
    state = f"# {ROOT}\n".encode() + wanted
    current = stamp.exists() and stamp.read_bytes() == state and (programs / "python").exists()
    if current and not fresh:
        return programs
    moved = stamp.exists() and not stamp.read_bytes().startswith(f"# {ROOT}\n".encode())
    if venv.exists() and (fresh or moved or not (programs / "python").exists()):
        shutil.rmtree(venv)
    stamp.unlink(missing_ok=True)
    if not venv.exists():
        print(f"Making an environment in {venv} …", file=sys.stderr, flush=True)
        _quietly([python, "-m", "venv", str(venv)], "The environment could not be made.")
    print("Installing (a minute or two the first time) …", file=sys.stderr, flush=True)
    extra = tomllib.loads(wanted.decode())["dependency-groups"]["dev"] if dev else []
    # "." and not the folder's name: pip takes [1] at the end of a path for extras
    _quietly([str(programs / "python"), "-m", "pip", "install", "--quiet", "--disable-pip-version-check",
              *([] if compiled else ["--no-compile"]), "--editable", ".", *extra],
             "pip could not install what pyproject.toml names.", programs)
    stamp.write_bytes(state)
    return programs


def _quietly(words: Sequence[str], failure: str, programs: Path | None = None) -> None:
    done = subprocess.run(words, cwd=ROOT, env=environ(programs) if programs else None, check=False, text=True,
                          errors="replace", stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    if done.returncode:
        raise Failed(f"{done.stdout.rstrip()}\n{failure}")
