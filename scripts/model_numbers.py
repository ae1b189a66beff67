"""Run the model of edition numbers (tests/ledger/test_editions.py) for long.

    python scripts/model_numbers.py --examples 5000 --steps 25
    python scripts/model_numbers.py --examples 2500 --steps 12 --seed 7      # a piece that can be had again
"""

import argparse
import sys
import time
from pathlib import Path
from random import randrange

from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis.stateful import run_state_machine_as_test

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.ledger.test_editions import Editions

BATCH = 250     # examples after each of which it tells how far it is


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--examples", type=int, default=5000)
    parser.add_argument("--steps", type=int, default=25)
    parser.add_argument("--seed", type=int, default=randrange(2 ** 32), help="to have the same run again")
    chosen = parser.parse_args()
    print(f"seed {chosen.seed}", flush=True)
    started = time.process_time()
    for done in range(0, chosen.examples, BATCH):
        count = min(BATCH, chosen.examples - done)
        run_state_machine_as_test(seed(chosen.seed + done // BATCH)(Editions), settings=settings(
            max_examples=count, stateful_step_count=chosen.steps, deadline=None, database=None,
            phases=(Phase.generate,), suppress_health_check=list(HealthCheck)))
        print(f"{done + count} examples of up to {chosen.steps} steps, no difference; "
              f"{time.process_time() - started:.0f} s of processor time", flush=True)


if __name__ == "__main__":
    main()
