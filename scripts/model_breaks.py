"""Whether the model of the archive bites: breaks the program in one place, runs the model until it tells a difference.

    python scripts/model_breaks.py --steps 3000 --seed 1      # every break of scripts/breaks/model
    python scripts/model_breaks.py --only notes

Prints a table of how many steps each took. Exit 1 where one was not noticed. Each run has a copy of the tree.
"""

import argparse
import re
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from scripts.mutate import TABLES, broken, copy_tree, read_breaks, stale


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--steps", type=int, default=3000, help="after so many a break counts as not noticed")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="breaks whose words hold this")
    chosen = parser.parse_args()
    breaks = [one for one in read_breaks(TABLES / "model") if chosen.only in one.words]
    if told := stale(breaks):
        print(*told, sep="\n")
        return 2
    missed = 0
    print("| break | noticed after steps | by |\n|---|---:|---|", flush=True)
    with tempfile.TemporaryDirectory(prefix="model-breaks-") as folder:
        copy_tree(Path(folder))
        for one in breaks:
            with broken(Path(folder), one):
                done = subprocess.run(
                    [sys.executable, "scripts/model.py", "--steps", str(chosen.steps), "--seed", str(chosen.seed),
                     "--as-it-came"], cwd=folder, capture_output=True, text=True, check=False)
            steps = re.findall(r"^([\d,]+) steps, seeds", done.stdout, re.MULTILINE)
            noticed = done.returncode == 1 and bool(steps)
            told_as = re.search(r"^A difference in seed \d+, in (\w+)", done.stdout, re.MULTILINE)
            print(f"| {one.words} | {steps[0] if noticed else '**not in ' + (steps or ['0'])[0] + '**'} |"
                  f" {told_as[1].replace('_', ' ') if told_as else done.stderr[-300:]} |", flush=True)
            missed += not noticed
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
