#!/usr/bin/env python3
"""The demo, from a fresh checkout: makes an environment, installs, indexes the demo archive, opens the screens.

    python3 scripts/demo.py                 open the screens
    python3 scripts/demo.py --no-screens    print what was found and exit

Needs Python 3.11 or newer and nothing else. Everything lies in .demo/ beside this checkout's files; remove that
folder to be rid of it. The demo archive is copied there first, so nothing in demo_archive/ is touched.
"""

import subprocess
import sys

if sys.version_info < (3, 11):  # noqa: UP036 - told before anything is imported or installed
    sys.exit("This needs Python 3.11 or newer.")

from environment import ROOT, Failed, install, speak_anywhere

PLACE = ROOT / ".demo"


def main() -> int:
    speak_anywhere()
    try:
        programs = install(PLACE, dev=False)
    except Failed as failure:
        print(failure, file=sys.stderr)
        return 2
    return subprocess.run([programs / "catalogue", "--catalogue", PLACE / "catalogue", "demo",
                           "--archive", ROOT / "demo_archive", *sys.argv[1:]], check=False).returncode


if __name__ == "__main__":
    if {"-h", "--help"} & set(sys.argv[1:]):
        print(__doc__)
        sys.exit(0)
    sys.exit(main())
