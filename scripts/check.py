#!/usr/bin/env python3
"""Every check the project has, in an environment of its own: ruff, mypy --strict, import rules, pytest, package.

    python3 scripts/check.py            all checks; the environment is kept in .check/ for the next time
    python3 scripts/check.py --fresh    make the environment anew
    python3 scripts/check.py --only mypy,imports

Needs Python 3.11 or newer and nothing else; installs what pyproject.toml names. Exit 0 when all pass.
"""

import argparse
import os
import shutil
import subprocess
import sys
import time
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PLACE = ROOT / ".check"
CHECKS: dict[str, list[str]] = {
    "ruff": ["ruff", "check", "catalogue", "tests", "scripts"],
    "mypy": ["mypy"],
    "imports": ["lint-imports"],
    "pytest": ["pytest", "-q", "-n", "2", "--dist", "loadfile", "--durations", "8"],
    "package": ["python", "scripts/try_package.py"],
}


def environment(fresh: bool) -> Path:
    """The folder of the environment's programs, made or brought up to date as pyproject.toml says."""
    venv = PLACE / "venv"
    if fresh and venv.exists():
        shutil.rmtree(venv)
    programs = venv / "bin"
    wanted = (ROOT / "pyproject.toml").read_bytes()
    stamp = PLACE / "installed.toml"
    if programs.exists() and stamp.exists() and stamp.read_bytes() == wanted:
        return programs
    if not programs.exists():
        print(f"Making an environment in {venv} …", flush=True)
        subprocess.run([sys.executable, "-m", "venv", venv], check=True)
    dev = tomllib.loads(wanted.decode())["dependency-groups"]["dev"]
    subprocess.run([programs / "python", "-m", "pip", "install", "--quiet", "--disable-pip-version-check",
                    "--editable", ROOT, *dev], check=True)
    stamp.write_bytes(wanted)
    return programs


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fresh", action="store_true", help="make the environment anew")
    parser.add_argument("--only", default=",".join(CHECKS), help=f"some of: {', '.join(CHECKS)}")
    asked = parser.parse_args()
    chosen = asked.only.split(",")
    if unknown := set(chosen) - set(CHECKS):
        parser.error(f"unknown: {', '.join(sorted(unknown))}; choose from {', '.join(CHECKS)}")
    programs = environment(asked.fresh)
    environ = os.environ | {"PATH": f"{programs}{os.pathsep}{os.environ['PATH']}", "VIRTUAL_ENV": str(programs.parent)}
    failed = []
    for name in chosen:
        begun = time.monotonic()
        print(f"== {name}", flush=True)
        command = [str(programs / CHECKS[name][0]), *CHECKS[name][1:]]
        outcome = subprocess.run(command, cwd=ROOT, env=environ, check=False)
        print(f"== {name} {'passed' if outcome.returncode == 0 else 'FAILED'} in {time.monotonic() - begun:.0f} s",
              flush=True)
        if outcome.returncode != 0:
            failed.append(name)
    print("All checks passed." if not failed else f"Failed: {', '.join(failed)}.")
    return 1 if failed else 0


if __name__ == "__main__":
    if sys.version_info < (3, 11):  # noqa: UP036 - told before anything is installed
        sys.exit("This needs Python 3.11 or newer.")
    sys.exit(main())
