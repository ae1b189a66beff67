#!/usr/bin/env python3
"""The demo, from a fresh checkout: makes an environment, installs, indexes the demo archive, opens the screens.

    python3 scripts/demo.py                 open the screens
    python3 scripts/demo.py --no-screens    print what was found and exit

Needs Python 3.11 or newer and nothing else. Everything lies in .demo/ beside this checkout's files; remove that
folder to be rid of it. The demo archive is copied there first, so nothing in demo_archive/ is touched.
"""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PLACE = ROOT / ".demo"


def main() -> int:
    venv = PLACE / "venv"
    programs = venv / "bin"
    wanted = (ROOT / "pyproject.toml").read_bytes()
    stamp = PLACE / "installed.toml"
    if not (stamp.exists() and stamp.read_bytes() == wanted):
        if not programs.exists():
            print(f"Making an environment in {venv} …", flush=True)
            subprocess.run([sys.executable, "-m", "venv", venv], check=True)
        print("Installing (a minute or two the first time) …", flush=True)
        subprocess.run([programs / "python", "-m", "pip", "install", "--quiet", "--disable-pip-version-check",
                        "--editable", ROOT], check=True)
        stamp.write_bytes(wanted)
    return subprocess.run([programs / "catalogue", "--catalogue", PLACE / "catalogue", "demo",
                           "--archive", ROOT / "demo_archive", *sys.argv[1:]], check=False).returncode


if __name__ == "__main__":
    if sys.version_info < (3, 11):  # noqa: UP036 - told before anything is installed
        sys.exit("This needs Python 3.11 or newer.")
    if {"-h", "--help"} & set(sys.argv[1:]):
        print(__doc__)
        sys.exit(0)
    sys.exit(main())
