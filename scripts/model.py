"""Run the archive beside its plain reference model for as long as asked: ``python3 scripts/model.py --steps 20000``.

Steps are random acts on real small files and on the catalogue, through the services (``tests/model/machine.py``):
files changed, looked at, copied, restored, imported, tidied; statements made, merged, split, undone; orders and
numbers; stores retired; backups, damage, recoveries and rebuilds; two seats. After each of them everything that can be
known is compared with two plain references (``reference.py`` for what is observed, ``stated.py`` for what is stated),
and the event log with the tables. The first difference ends the run with the few steps that it takes.

A run of one seed is the same again, so a long one can be made of pieces. A folder in memory (``TMPDIR=/dev/shm``)
spares the disk.
"""

import argparse
import sys
import traceback
from datetime import date
from pathlib import Path
from random import randrange
from time import process_time

ROUND_STEPS = 1000  # after so many it is told how far the run has come

sys.path[:0] = [str(Path(__file__).resolve().parents[1] / "tests" / "model"), str(Path(__file__).resolve().parents[1])]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--steps", type=int, default=20_000, help="how many steps in all")
    parser.add_argument("--length", type=int, default=50, help="steps from one empty archive on")
    parser.add_argument("--seed", type=int, default=None, help="to have the same run again")
    parser.add_argument("--as-it-came", action="store_true", help="do not cut a difference down to its steps")
    parser.add_argument("--table", type=Path, help="a file to which a line about this run is added")
    chosen = parser.parse_args()

    from hypothesis import HealthCheck, Phase, seed, settings
    from hypothesis.stateful import run_state_machine_as_test
    from machine import ArchiveMachine
    from shortening import difference_of, shortened, steps_in

    taken = 0

    class Counted(ArchiveMachine):
        def check_invariants(self, *given: object, **named: object) -> None:
            nonlocal taken
            taken += 1
            super().check_invariants(*given, **named)  # type: ignore[misc]

    examples = max(1, min(chosen.steps, ROUND_STEPS) // chosen.length)
    wanted = settings(max_examples=examples, stateful_step_count=chosen.length, deadline=None, database=None,
                      suppress_health_check=list(HealthCheck), print_blob=False, phases=(Phase.generate,))
    begun, start = process_time(), chosen.seed if chosen.seed is not None else randrange(2 ** 32)
    first, differences = start, 0
    print(f"seed {start}", flush=True)
    while taken < chosen.steps and not differences:
        try:
            run_state_machine_as_test(seed(start)(Counted), settings=wanted)
        except Exception as error:
            differences = 1
            where = next((frame.name for frame in traceback.extract_tb(error.__traceback__)
                          if "/tests/model/" in frame.filename), "?")
            print(f"A difference in seed {start}, in {where}: {type(error).__name__}: {error}", flush=True)
            if not chosen.as_it_came:
                steps = shortened(steps_in("\n".join(getattr(error, "__notes__", ()))))
                again = difference_of(steps)
                print(*(f"  {step}" for step in steps), again.told if again else "It did not come again.", sep="\n")
        start += 1
        print(f"{taken:,} steps, {process_time() - begun:,.0f} s of processor time", flush=True)
    print(f"{taken:,} steps, seeds {first} to {start - 1}, differences: {differences}", flush=True)
    if chosen.table:
        with chosen.table.open("a") as table:
            table.write(f"| {date.today()} | {first} to {start - 1} | {taken:,} | {differences} | "
                        f"{process_time() - begun:,.0f} s |\n")
    return differences


if __name__ == "__main__":
    sys.exit(main())
