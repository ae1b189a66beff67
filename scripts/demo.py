#!/usr/bin/env python3
"""The demo, from a fresh checkout: makes an environment, installs, paints an archive, indexes it, opens the screens.

    python3 scripts/demo.py                 open the screens
    python3 scripts/demo.py --no-screens    print what was found and exit

Needs Python 3.11 or newer and nothing else. Everything lies in .demo/ beside this checkout's files; remove that
folder to be rid of it. The archive is painted at the first start and copied at every one, so break what you like.
"""

import argparse
import os
import subprocess
import sys

if sys.version_info < (3, 11):  # noqa: UP036 - told before anything is imported or installed
    sys.exit("This needs Python 3.11 or newer.")

from environment import ROOT, Failed, install, speak_anywhere

FOLDER = ROOT / ".demo"


def main() -> int:
    speak_anywhere()
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter,
                                     allow_abbrev=False)
    parser.add_argument("--screens", action=argparse.BooleanOptionalAction, default=True,
                        help="open the screens, or print what was found and exit")
    parser.add_argument("--json", action="store_true", help="print what was found as JSON and exit")
    asked = parser.parse_args()
    screens = asked.screens and not asked.json
    # told before a minute is spent on installing
    if screens and (not sys.stdin.isatty() or not sys.stdout.isatty() or os.environ.get("TERM") in ("dumb", "unknown")):
        parser.error("the screens need a terminal; --no-screens prints what was found")
    try:
        programs = install(FOLDER, dev=False)
    except Failed as failure:
        print(failure, file=sys.stderr)
        return 2
    words = ["--no-screens"] * (not screens) + ["--json"] * asked.json
    return subprocess.run([programs / "catalogue", "--catalogue", FOLDER / "catalogue", "demo", *words],
                          check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
