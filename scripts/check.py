#!/usr/bin/env python3
"""Every check the project has, in an environment of its own: ruff, mypy --strict, import rules, pytest, package.

    python3 scripts/check.py            all checks; the environment is kept in .check/ for the next time
    python3 scripts/check.py --fresh    make the environment anew
    python3 scripts/check.py --only mypy,imports

Needs Python 3.11 or newer and nothing else; installs what pyproject.toml names. The checks run side by side. Prints one
line a check and pytest's closing line; what a failed check said follows, the failed tests last. All that the checks
printed lies in .check/logs/, with the times of the slowest tests. Exit 0 when all pass, 1 when one fails, 2 when none
could be run.
"""

import argparse
import os
import re
import subprocess
import sys
import time

if sys.version_info < (3, 11):  # noqa: UP036 - told before anything is imported or installed
    sys.exit("This needs Python 3.11 or newer.")

from dataclasses import dataclass
from pathlib import Path

from environment import CHECKED, ROOT, Failed, environ, install, speak_anywhere

WORKERS = str((os.cpu_count() or 1) + 1)    # one more than there are cores: some tests wait for a process or a disk
# Each check's steps, one after the other. Tests are collected once before the workers do: in a new environment each
# would rewrite the assertions of every test and compile every library, 14 s of processor time.
CHECKS: dict[str, list[list[str]]] = {
    "pytest": [["pytest", "-qq", "--collect-only", "--color", "no"],
               ["pytest", "-q", "-rfE", "-n", WORKERS, "--dist", "loadfile", "--no-loadscope-reorder", "--durations",
                "20", "--color", "no"]],
    "ruff": [["ruff", "check", "catalogue", "tests", "scripts"]],
    "mypy": [["mypy"]],
    "imports": [["lint-imports"]],
    "package": [["python", "scripts/try_package.py"]],
}
SHOWN_LINES = 200   # of what a failed check said; the whole is in its log


@dataclass(frozen=True, slots=True)
class Running:
    """A check that was begun: its words go to ``log``. ``ahead`` are its steps after the one that runs."""

    name: str
    process: subprocess.Popen[bytes]
    log: Path
    begun: float
    ahead: list[list[str]]

    def finish(self) -> tuple[bool, str]:
        """Print the line of a check that has ended; gives whether it passed, and its words."""
        passed = self.process.wait() == 0
        print(f"{self.name:8} {'passed' if passed else 'FAILED'} in {time.monotonic() - self.begun:.0f} s", flush=True)
        said = self.log.read_text(encoding="utf-8", errors="replace")
        closing = re.findall(r"^.*\d+ (?:passed|failed|errors?)\b.* in [\d.]+s.*$", said, re.M)
        if self.name == "pytest" and closing:
            print(closing[-1], flush=True)
        return passed, said


def begin(name: str, programs: Path, steps: list[list[str]], begun: float) -> Running:
    """Start the first of a check's steps with the environment's programs; its log holds the words of that step."""
    log = CHECKED / "logs" / f"{name}.txt"
    log.parent.mkdir(parents=True, exist_ok=True)
    (program, *words), *ahead = steps
    with log.open("wb") as out:
        process = subprocess.Popen([str(programs / program), *words], cwd=ROOT, env=environ(programs),
                                   stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT)
    return Running(name, process, log, begun, ahead)


def explain(failed: dict[str, str]) -> None:
    """What the failed checks said, and last which they were, with the failed tests by name."""
    for name, said in failed.items():
        _, mark, rest = said.partition("=== FAILURES") if "=== FAILURES" in said else said.partition("=== ERRORS")
        lines = (mark + rest if mark else said).rstrip().splitlines()
        print(f"\n== {name}", *lines[-SHOWN_LINES:], sep="\n")
        if len(lines) > SHOWN_LINES:
            print(f"(the last {SHOWN_LINES} lines; all in {CHECKED / 'logs' / name}.txt)")
    print(f"\nFailed: {', '.join(failed)}.")
    print(*re.findall(r"^(?:FAILED|ERROR) .*$", failed.get("pytest", ""), re.M), sep="\n")


def main() -> int:
    speak_anywhere()
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fresh", action="store_true", help="make the environment anew")
    parser.add_argument("--only", default=",".join(CHECKS), help=f"some of: {', '.join(CHECKS)}")
    asked = parser.parse_args()
    chosen = asked.only.split(",")
    if unknown := set(chosen) - set(CHECKS):
        parser.error(f"unknown: {', '.join(sorted(unknown))}; choose from {', '.join(CHECKS)}")
    running = []
    try:
        programs = install(CHECKED, dev=True, fresh=asked.fresh)
        running = [begin(name, programs, CHECKS[name], time.monotonic()) for name in chosen]
        failed = {}
        pending = list(running)
        while pending:
            ended = [check for check in pending if check.process.poll() is not None]
            for check in ended:
                pending.remove(check)
                if check.process.returncode == 0 and check.ahead:
                    running.append(begin(check.name, programs, check.ahead, check.begun))
                    pending.append(running[-1])
                    continue
                passed, said = check.finish()
                if not passed:
                    failed[check.name] = said
            time.sleep(0 if ended else 0.2)
    except Failed as failure:
        print(failure, file=sys.stderr)
        return 2
    finally:
        for check in running:
            check.process.kill()
    if failed:
        explain(failed)
        return 1
    print("All checks passed.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
