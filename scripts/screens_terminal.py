"""A terminal for the bench of the screens.

A program runs on a pseudo-terminal; what it writes is kept with the moment it came, and a terminal model (pyte) tells
what was to be seen when.
"""

import fcntl
import os
import pty
import select
import signal
import struct
import termios
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import pyte

# What terminals send for these keys (ECMA-48, and xterm's list of control sequences).
KEYS = {"up": "\x1b[A", "down": "\x1b[B", "right": "\x1b[C", "left": "\x1b[D", "end": "\x1b[F", "home": "\x1b[H",
        "pageup": "\x1b[5~", "pagedown": "\x1b[6~", "enter": "\r", "escape": "\x1b", "backspace": "\x7f"}
QUIET = 0.25      # seconds without output after which a screen has come to rest
IDLE = 0.25       # share of the time in which a program at rest has a processor, or wants one, at most
LONGEST = 5.0     # seconds waited for a screen to come to rest

Cell = tuple[str, str, str]     # sign, ink and ground
Look = Callable[[], object]     # something of the screen that can be compared
Came = list[tuple[float, bytes]]


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of a key, in milliseconds from its press; None where nothing changed."""

    first: Mapping[str, float | None]   # when each thing looked at first looked different
    settled: float | None               # when it last did
    processor: float | None             # of the program's first thread, where the system tells


class Terminal:
    """A program on a pseudo-terminal of ``columns`` × ``rows``."""

    def __init__(self, command: Sequence[str], columns: int, rows: int, environment: Mapping[str, str]) -> None:
        self.columns, self.rows = columns, rows
        self._model = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self._model)
        self._seen: list[tuple[Cell, ...]] = [()] * rows
        names = {name: value for name, value in environment.items()
                 if name not in ("COLUMNS", "LINES", "TMUX", "STY", "NO_COLOR")}
        self.began = time.perf_counter()
        self.pid, self._master = pty.fork()
        if self.pid == 0:
            fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
            os.execvpe(command[0], list(command), names | {"TERM": "xterm-256color", "COLORTERM": "truecolor"})

    def close(self) -> None:
        """End the program if it still runs."""
        os.close(self._master)
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)

    # What is to be seen

    def area(self, left: int = 0, top: int = 0, right: int | None = None, bottom: int | None = None) -> object:
        """Signs and colours of an area."""
        return [row[left:right] for row in self._seen[top:bottom]]

    def line(self, y: int) -> str:
        """The signs of a line."""
        return "".join(sign for sign, _, _ in self._seen[y])

    def line_of(self, words: str) -> int:
        """The line that has these words; -1 if none."""
        return next((y for y in range(self.rows) if words in self.line(y)), -1)

    def _feed(self, data: bytes) -> None:
        self._stream.feed(data)
        buffer = self._model.buffer
        for y in self._model.dirty:
            self._seen[y] = tuple((cell.data, cell.fg, cell.bg) for cell in map(buffer[y].__getitem__,
                                                                                range(self.columns)))
        self._model.dirty.clear()

    # Keys and their answers

    def press(self, keys: str) -> float:
        """Press a key, or type words; gives the moment."""
        moment = time.perf_counter()
        os.write(self._master, KEYS.get(keys, keys).encode())
        return moment

    def answer(self, key: str, looks: Mapping[str, Look], rest: Look) -> Answer:
        """Press a key on a screen at rest. ``rest``: what must have stopped changing."""
        before, last = {name: look() for name, look in looks.items()}, rest()
        first: dict[str, float | None] = dict.fromkeys(looks)
        settled, processor = None, self._processor()
        pressed = self.press(key)
        came = self._read(pressed + LONGEST, LONGEST, once=True)   # every key brings something, if only a cursor
        came += self._read(pressed + LONGEST, QUIET)
        spent = (self._processor() or 0) - processor if processor is not None else None
        for moment, data in came:
            self._feed(data)
            after = (moment - pressed) * 1000
            for name, look in looks.items():
                if first[name] is None and look() != before[name]:
                    first[name] = after
            if (now := rest()) != last:
                last, settled = now, after
        return Answer(first, settled, spent)

    def lag(self, keys: Sequence[str], apart: float, look: Look) -> float:
        """Press keys so many seconds apart: milliseconds from the last one until its answer is to be seen."""
        came: Came = []
        moment = 0.0
        for key in keys:
            moment = self.press(key)
            came += self._read(moment + apart, apart)
        came += self._read(moment + LONGEST, QUIET)
        seen = []
        for when, data in came:
            self._feed(data)
            seen.append((when, look()))
        at = len(seen) - 1
        while at > 0 and seen[at - 1][1] == seen[-1][1]:
            at -= 1
        return max(0.0, seen[at][0] - moment) * 1000

    def wait(self, met: Callable[[], bool], seconds: float = 30.0) -> float:
        """Read until something is to be seen; gives the moment.

        Raises:
            TimeoutError: it never was.
        """
        end = time.perf_counter() + seconds
        while time.perf_counter() < end:
            for moment, data in self._read(time.perf_counter() + 0.02, 1):
                self._feed(data)
                if met():
                    return moment
        raise TimeoutError("the terminal never showed what was waited for")

    def first_written(self, words: str) -> tuple[float, float]:
        """Milliseconds by the clock and of the processor, in all threads, until words of one style were first written.

        The terminal model has no part in it: while it works, the program would go on. Raises TimeoutError where they
        never came.
        """
        written = b""
        while chunk := self._read(time.perf_counter() + 30, 30, once=True):
            moment, processor = chunk[0][0], self.processor_of_all()
            written += chunk[0][1]
            if words.encode() in written:
                return (moment - self.began) * 1000, processor
        raise TimeoutError(f"the terminal never got {words!r}")

    def count_until_rest(self, quiet: float) -> int:
        """The bytes that come until none has come for twice ``quiet`` seconds, in the last of which the program hardly
        worked or waited to: on a busy machine what a key causes comes late. What they show is not looked at."""
        def spent() -> float:   # on a processor, and waiting for one: schedstat's first two fields, nanoseconds
            total = 0
            for thread in Path(f"/proc/{self.pid}/task").glob("*/schedstat"):
                with suppress(OSError):     # a thread that has just ended
                    total += sum(map(int, thread.read_text().split()[:2]))
            return total / 1e9

        count, until, working = 0, time.perf_counter() + 60, True
        while working and time.perf_counter() < until:
            count += sum(len(data) for _, data in self._read(until, quiet))
            before = spent()
            late = sum(len(data) for _, data in self._read(until, quiet))
            count += late
            working = late > 0 or spent() - before > IDLE * quiet
        return count

    def rest(self) -> None:
        """Read until nothing comes any more."""
        for _, data in self._read(time.perf_counter() + LONGEST, 2 * QUIET):
            self._feed(data)

    def _read(self, until: float, quiet: float, *, once: bool = False) -> Came:
        """What comes until then, or until nothing has come for so long, or only what comes ``once``."""
        came: Came = []
        while (now := time.perf_counter()) < until:
            ready = select.select([self._master], [], [], min(quiet, until - now))[0]
            if not ready:
                break
            try:
                data = os.read(self._master, 65536)
            except OSError:  # so Linux says that the other side has closed
                break
            came.append((time.perf_counter(), data))
            if once:
                break
        return came

    def processor_of_all(self) -> float:
        """Milliseconds of processor time of all the program's threads until now. Raises OSError beyond Linux."""
        # the clock of a process's processor time, as Linux numbers them (clock_getcpuclockid(3)): to the nanosecond,
        # where proc(5) has hundredths of a second
        return time.clock_gettime((~self.pid << 3) | 2) * 1000

    def _processor(self) -> float | None:
        """Milliseconds of processor time of the program's first thread until now; Linux only."""
        path = Path(f"/proc/{self.pid}/task/{self.pid}/schedstat")
        return int(path.read_text().split()[0]) / 1e6 if path.exists() else None
