"""What a person waits for each key: the program in a terminal, its keys pressed one by one, and fast."""

import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

from screens_terminal import Answer, Look, Terminal

STOPWATCH = Path(__file__).with_name("screens_stopwatch.py")
LOOKED = 6.0                        # seconds a person looks at the first list
AUTOREPEAT, TYPING = 0.033, 0.030   # seconds between keys held down, and of somebody who types very fast
PHRASES = ("harbour evening 12", "quarrel 50x70", "slipway frost", "B000400", "meadow rain", "tarnow 7")


@dataclass
class Timed:
    """Answers to one kind of key, in milliseconds."""

    pressed: int = 0
    first: list[float] = field(default_factory=list)
    settled: list[float] = field(default_factory=list)
    processor: list[float] = field(default_factory=list)


def p95(values: Sequence[float]) -> float:
    """95 in 100 are not above it."""
    return statistics.quantiles(values, n=20, method="inclusive")[-1] if len(values) > 1 else values[0]


class Sitting:
    """One sitting at the screens of a catalogue, in a terminal of this size."""

    def __init__(self, home: Path, columns: int, rows: int, *, brief: bool = False) -> None:
        self._times = 1 if brief else 5
        self.timed: dict[str, Timed] = {}
        self.lags: dict[str, list[float]] = {}
        self.longest: dict[str, float] = {}     # the longest turn of the event loop during keys of a kind
        self._spans: list[tuple[str, float, float]] = []
        self._columns, self._rows, self._home = columns, rows, home
        self.start = self._sit(lambda: self._first_times("the first time, in the first seconds"))
        self._sit(self._work)

    def _sit(self, work: Callable[[], None]) -> float:
        """Start the program, work, and leave; gives the milliseconds until the first row."""
        with tempfile.TemporaryDirectory() as folder:
            report = Path(folder) / "turns.json"
            self.terminal = Terminal([sys.executable, str(STOPWATCH), str(report), "--catalogue", str(self._home)],
                                     self._columns, self._rows, os.environ)
            try:
                shown = self.terminal.wait(lambda: self.terminal.line_of("Anchor") >= 0)
                self.terminal.rest()
                work()
                self._leave(report)
            finally:
                self.terminal.close()
            self._turns(json.loads(report.read_text()))
        return (shown - self.terminal.began) * 1000

    def _first_times(self, name: str) -> None:
        """What has not been shown yet: a piece, the search, five places, the repeat panel, the help."""
        for key, back in (("enter", "escape"), ("/", "escape"), ("2", ""), ("3", ""), ("4", ""), ("6", ""), ("7", "1"),
                          ("r", "escape"), ("?", "escape")):
            self._press(name, [key], self.terminal.area)
            if back:
                self._press("", [back], self.terminal.area, kept=False)

    def _work(self) -> None:
        whole = self.terminal.area
        half = self.terminal.columns // 2
        time.sleep(LOOKED)
        self.terminal.rest()
        self._first_times("the first time, later")
        times = self._times
        self._press("down through pieces", ["down"] * 12 * times, whole)
        self._press("up through pieces", ["up"] * 6 * times, whole)
        self._press("page down, pages loading", ["pagedown"] * 8 * times, whole)
        self._press("End and Home of 25,000 pieces", ["end", "home"] * 2 * times, whole)
        self._press("to the other list", ["left", "right"] * 2 * times, whole)
        self._press("artist after artist, pieces reloading", ["left", "down"], whole, kept=False)
        self._press("artist after artist, pieces reloading", ["down"] * 10 * times, whole)
        self._press("open a piece", ["home", "right"], whole, kept=False)   # all pieces again
        for _ in range(4 * times):
            self._press("open a piece", ["enter"], whole)
            self._press("back from a piece", ["escape"], whole)
            self._press("down through pieces", ["down"], whole)
        for _ in range(4 * times):
            self._press("down through pieces", ["down"], whole)
            self._press("open the repeat panel", ["r"], whole)
            self._press("leave a panel", ["escape"], whole)
            self._press("open the help", ["?"], whole)
            self._press("leave a panel", ["escape"], whole)
        self._press("to the orders and back", ["2", "1"] * 3 * times, whole)
        self._press("down through orders", ["2"], whole, kept=False)
        self._press("down through orders", ["down"] * 8 * times, whole)
        self._press("to the orders and back", ["1"], whole)
        for phrase in PHRASES[:1 + times]:
            self._press("open the search", ["/"], whole)
            self._letters([*phrase, *["backspace"] * (len(phrase) // 2)])
            self._press("leave a panel", ["escape"], whole)
        self._fast(half)

    def _press(self, name: str, keys: Sequence[str], look: Look, *, kept: bool = True) -> None:
        for key in keys:
            began = time.perf_counter()
            answer = self.terminal.answer(key, {name: look}, self.terminal.area)
            if kept:
                self._keep(answer, began)

    def _letters(self, keys: Sequence[str]) -> None:
        """Type into the search. Its box has a blinking cursor, so of its line only the signs count."""
        terminal = self.terminal
        box = terminal.line_of("╭") + 2

        def letter() -> object:
            return terminal.line(box)

        def found() -> object:
            return terminal.area(top=box + 1)

        # Blanks show nothing, and many a letter finds the same lines: those answers are not counted.
        looks = {"a letter of a search: the letter": letter, "a letter of a search: the lines found": found}
        for key in keys:
            began = time.perf_counter()
            self._keep(terminal.answer(key, looks, lambda: (terminal.area(bottom=box), letter(), found())), began)

    def _keep(self, answer: Answer, began: float) -> None:
        for name, first in answer.first.items():
            timed = self.timed.setdefault(name, Timed())
            self._spans.append((name, began, time.perf_counter()))
            timed.pressed += 1
            if first is None:
                continue
            timed.first.append(first)
            timed.settled.append(answer.settled or first)
            if answer.processor is not None:
                timed.processor.append(answer.processor)

    def _fast(self, half: int) -> None:
        """Keys faster than answers: how far behind is the last one?"""
        terminal = self.terminal

        def letter() -> object:
            return terminal.line(terminal.line_of("╭") + 2)

        def lists() -> object:
            return terminal.area(right=half)

        def found() -> object:
            return terminal.area(top=terminal.line_of("╭") + 3)

        for phrase in PHRASES[:1 + self._times]:
            for name, look in (("the letter", letter), ("the lines found", found)):
                began = time.perf_counter()
                terminal.press("/")
                terminal.rest()
                lag = terminal.lag(phrase, TYPING, look)
                self._lagged(f"typed 30 ms apart, last letter: {name}", lag, began)
                terminal.press("escape")
                terminal.rest()
        for name, key in [("arrow", "down"), ("arrow", "up"), ("page", "pagedown"), ("page", "pageup")] * self._times:
            began = time.perf_counter()
            lag = terminal.lag([key] * 40, AUTOREPEAT, lists)
            self._lagged(f"{name} key held, 33 ms apart: the last", lag, began)
            terminal.rest()

    def _lagged(self, name: str, lag: float, began: float) -> None:
        self.lags.setdefault(name, []).append(lag)
        self._spans.append((name, began, time.perf_counter()))

    def _leave(self, report: Path) -> None:
        self.terminal.press("q")
        end = time.perf_counter() + 10
        while not report.exists() and time.perf_counter() < end:
            self.terminal.rest()

    def _turns(self, turns: Sequence[Sequence[float]]) -> None:
        for name, since, until in self._spans:
            within = [took * 1000 for began, took, *_ in turns if since <= began <= until]
            self.longest[name] = max(self.longest.get(name, 0.0), *within, 0.0)

    def figures(self) -> dict[str, object]:
        """All of it, for other programs."""
        return {"size": [self.terminal.columns, self.terminal.rows], "start": self.start, "lags": self.lags,
                "longest turns": self.longest, "keys": {name: asdict(timed) for name, timed in self.timed.items()}}


HEAD = "first answer, median | p95 | at rest, p95 | processor, p95 | longest turn | answered |"
START = "from the command to the first row, imports and all"


def table(sittings: Sequence[Sitting]) -> list[str]:
    """A Markdown table of milliseconds, the sittings beside each other."""
    sizes = [f"{sitting.terminal.columns}×{sitting.terminal.rows}: {HEAD}" for sitting in sittings]
    lines = [f"| key | {' '.join(sizes)}", "|---" * (1 + 6 * len(sittings)) + "|"]
    for name in (START, *sittings[0].timed, *sittings[0].lags):
        lines.append(f"| {name} | " + " ".join(_cells(sitting, name) for sitting in sittings))
    return lines


def _cells(sitting: Sitting, name: str) -> str:
    if name == START:
        return f"{sitting.start:.0f} | | | | | once |"
    turn = f"{sitting.longest[name]:.0f}" if sitting.longest[name] else "< 10"
    if name in sitting.lags:
        lags = sitting.lags[name]
        return f"{statistics.median(lags):.0f} | most {max(lags):.0f} | | | {turn} | {len(lags)} times |"
    timed = sitting.timed[name]
    if not timed.first:
        return f"never | | | | {turn} | 0 of {timed.pressed} |"
    processor = f"{p95(timed.processor):.0f}" if timed.processor else "–"
    return (f"{statistics.median(timed.first):.0f} | {p95(timed.first):.0f} | {p95(timed.settled):.0f} | {processor} "
            f"| {turn} | {len(timed.first)} of {timed.pressed} |")
