"""What a start costs: the screens beside an empty Textual app, reading commands beside ``--help``, by processor time.

Everything is measured in one run, in turns, and as a ratio, so that a busy or slow machine tells the same. The bytecode
cache is warm, as after an installation.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from screens_terminal import Terminal

ROOT = Path(__file__).resolve().parent.parent
SIZE = (200, 60)
TIMES = 15
READY = "Ready."
# The least that Textual can show: one line of text.
EMPTY = f"""
from textual.app import App
from textual.widgets import Static

class Empty(App):
    def compose(self):
        yield Static({READY!r})

Empty().run()
"""
COMMANDS = (("find", "harbour"), ("show", "1"), ("order", "list"))


@dataclass(frozen=True, slots=True)
class Start:
    """Milliseconds, medians: of the processor in all threads, and by the clock. ``ratio`` compares processor time with
    the plainest program of its kind."""

    name: str
    processor: float
    clock: float
    ratio: float


def starts(home: Path, first_row: str) -> list[Start]:
    """From the command to the first row, which has the words ``first_row``, and each command that reads."""
    with tempfile.TemporaryDirectory() as cache:
        environment = {**os.environ, "PYTHONPYCACHEPREFIX": cache, "PYTHONPATH": str(ROOT)}
        environment.pop("PYTHONDONTWRITEBYTECODE", None)

        def shown(words: Sequence[str], line: str) -> Callable[[], tuple[float, float]]:
            return lambda: _until_shown([sys.executable, *words], line, environment)

        def ended(words: Sequence[str]) -> Callable[[], tuple[float, float]]:
            return lambda: _until_ended([sys.executable, "-m", "catalogue", "--catalogue", str(home), *words],
                                        environment)

        screens = _in_turns({"an empty Textual app, to its first line": shown(["-c", EMPTY], READY),
                             "the screens, to the first row": shown(["-m", "catalogue", "--catalogue", str(home)],
                                                                    first_row)})
        commands = _in_turns({"catalogue --help": ended(["--help"]),
                              **{f"catalogue {' '.join(words)}": ended(words) for words in COMMANDS}})
    return [*_compared(screens), *_compared(commands)]


def _in_turns(runs: dict[str, Callable[[], tuple[float, float]]]) -> dict[str, tuple[float, float]]:
    """Medians of processor time and clock for each, run one after the other; the first round fills the caches."""
    seen: dict[str, list[tuple[float, float]]] = {name: [] for name in runs}
    for turn in range(TIMES + 1):
        for name, run in runs.items():
            figures = run()
            if turn:
                seen[name].append(figures)
    return {name: (statistics.median(p for p, _ in figures), statistics.median(c for _, c in figures))
            for name, figures in seen.items()}


def _compared(figures: dict[str, tuple[float, float]]) -> list[Start]:
    """Beside the first of them."""
    least = next(iter(figures.values()))[0]
    return [Start(name, processor, clock, processor / least) for name, (processor, clock) in figures.items()]


def _until_shown(command: Sequence[str], line: str, environment: dict[str, str]) -> tuple[float, float]:
    terminal = Terminal(command, *SIZE, environment)
    try:
        clock, processor = terminal.first_written(line)
        return processor, clock
    finally:
        terminal.close()


def _until_ended(command: Sequence[str], environment: dict[str, str]) -> tuple[float, float]:
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=True)
    clock, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    return (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) * 1000, clock * 1000


def table(figures: Sequence[Start]) -> list[str]:
    """As Markdown."""
    return ["| start, 200×60 | processor, ms | ratio | clock, ms |", "|---|---|---|---|",
            *(f"| {start.name} | {start.processor:.0f} | {start.ratio:.2f} | {start.clock:.0f} |" for start in figures)]
