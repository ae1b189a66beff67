"""Run the archive beside its plain reference model for as long as asked: ``python3 scripts/model.py --steps 20000``.

Steps are random acts on real small files and on the catalogue, through the services (``tests/model/machine.py``):
files changed, looked at, copied, restored, taken in, tidied; statements made, merged, split, undone; orders and
numbers; stores retired; backups, damage, recoveries and rebuilds; two seats in turn. After each of them everything
that can be known is compared with two plain references (``reference.py`` for what is observed, ``stated.py`` for what
is stated), and the event log with the tables. The first difference ends the run with the shortest sequence of steps
that shows it.
"""

import argparse
import sys
from pathlib import Path
from random import randrange
from time import process_time

ROUND_STEPS = 1000  # after so many it is told how far the run has come

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "model"))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--steps", type=int, default=20_000, help="how many steps in all")
    parser.add_argument("--length", type=int, default=50, help="steps from one empty archive on")
    parser.add_argument("--no-shrink", action="store_true", help="tell the first difference as it came")
    parser.add_argument("--seed", type=int, default=None, help="to have the same run again")
    chosen = parser.parse_args()

    from hypothesis import HealthCheck, Phase, seed, settings
    from hypothesis.stateful import run_state_machine_as_test
    from machine import ArchiveMachine

    taken = 0

    class Counted(ArchiveMachine):
        def check_invariants(self, *given: object, **named: object) -> None:
            nonlocal taken
            taken += 1
            super().check_invariants(*given, **named)  # type: ignore[misc]

    examples = max(1, min(chosen.steps, ROUND_STEPS) // chosen.length)
    wanted = settings(max_examples=examples, stateful_step_count=chosen.length,
                      deadline=None, database=None, suppress_health_check=list(HealthCheck), print_blob=False,
                      phases=(Phase.generate,) if chosen.no_shrink else (Phase.generate, Phase.shrink))
    begun, start = process_time(), chosen.seed if chosen.seed is not None else randrange(2 ** 32)
    first = start
    print(f"seed {start}", flush=True)
    while taken < chosen.steps:
        run_state_machine_as_test(seed(start)(Counted), settings=wanted)
        start += 1
        print(f"{taken:,} steps without a difference, {process_time() - begun:,.0f} s of processor time", flush=True)
    print(f"{taken:,} steps, seeds {first} to {start - 1}, differences: 0", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
