"""Keys faster than answers: what comes of random bursts must be what a slow typist gets.

Two programs run over copies of one catalogue, each in a pseudo-terminal. One gets every burst with gaps of 0 to 100 ms,
the other key by key, waiting each time until nobody works. Then both tell where they stand: place, panels, focus, every
field, the row under every cursor. In the end what was recorded is compared as well.

    python scripts/bursts.py [--bursts 1000] [--seed 1] [--busy 2]
"""

import argparse
import json
import os
import pty
import random
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

KEYS = {"up": "\x1b[A", "down": "\x1b[B", "right": "\x1b[C", "left": "\x1b[D", "end": "\x1b[F", "home": "\x1b[H",
        "enter": "\r", "escape": "\x1b", "backspace": "\x7f", "tab": "\t", "space": " ", "pagedown": "\x1b[6~",
        "ctrl+t": "\x14", "shift+tab": "\x1b[Z"}
WORDS = ("harbour", "kites", "low wat", "tarnvik", "umberlow", "A-103", "tile 2", "harbuor", "marche", "50x70")
HANG = 60.0         # seconds of processor time that a program may spend on a burst; only a hang takes more
SILENT = 600.0      # seconds without a word from it, however little of the processor it gets
GAPS = (0.0, 0.0, 0.001, 0.004, 0.015, 0.04, 0.1)


def told(app: Any) -> dict[str, Any]:
    """Where the screens stand."""
    from textual.widgets import Input

    from catalogue.screens.widgets.row_table import RowTable

    screen = app.screen
    return {"mode": app.current_mode, "stack": [type(s).__name__ for s in app.screen_stack],
            "focus": app.focused.id if app.focused is not None else None,
            "fields": {field.id: field.value for field in screen.query(Input)},
            "rows": {table.id: str(table._held.identity(table.highlighted)) if table.highlighted is not None else None
                     for table in screen.query(RowTable)}}


def run_screens(home: Path, ask: int, reply: int) -> None:
    """The program, which tells where it stands for every byte that comes at ``ask``."""
    import asyncio

    from catalogue.screens import set_textual_defaults

    set_textual_defaults()
    from catalogue.screens.app import CatalogueApp
    from catalogue.screens.key_gate import KeyGate
    from catalogue.screens.textual_internals import has_messages, is_laid_out, tell_lone_escapes_apart
    from catalogue.settings import Home

    came = 0
    admits = KeyGate.admits

    def counted(gate: KeyGate, event: Any) -> bool:
        nonlocal came
        let_in = admits(gate, event)
        if type(event).__name__ in ("Key", "Paste") and not let_in:
            came += 1
        return let_in

    KeyGate.admits = counted  # type: ignore[method-assign]
    app = CatalogueApp(Home(home), ahead=False)

    def waits_for() -> list[str]:
        """What is still under way."""
        if not app.is_running or not app.screen_stack:
            return ["the first page"]
        return [*(() if app.gate.idle else ("keys",)), *(() if is_laid_out(app.screen) else ("layout",)),
                *(f"work {worker.group}" for worker in app.workers
                  if not worker.is_finished and worker.group != "drawing"),
                *(f"messages of {node}" for node in (app, *app.screen.walk_children(with_self=True))
                  if has_messages(node))]

    def answer() -> None:
        os.read(ask, 1)
        try:
            waits = waits_for()
            state = {} if waits else told(app)
        except Exception as error:  # else nothing would be answered, and the other side would wait in vain
            waits, state = [f"{type(error).__name__}: {error}"], {}
        said = {"came": came, "waits": waits, "state": state, "spent": time.process_time()}
        os.write(reply, (json.dumps(said) + "\n").encode())

    class Telling(CatalogueApp):
        """The app that answers."""

        def on_mount(self) -> None:  # beside the app's own: Textual calls the one of every class
            asyncio.get_running_loop().add_reader(ask, answer)

    app.__class__ = Telling
    tell_lone_escapes_apart()
    app.run()


class Program:
    """One program in a pseudo-terminal."""

    def __init__(self, home: Path) -> None:
        self.sent = 0
        ask, self._ask = os.pipe()
        self._reply, reply = os.pipe()
        for end in (ask, reply):
            os.set_inheritable(end, True)
        self.pid, self._terminal = pty.fork()
        if self.pid == 0:
            os.environ |= {"TERM": "xterm-256color", "COLORTERM": "truecolor", "COLUMNS": "120", "LINES": "40",
                           "PYTHONPATH": os.pathsep.join(sys.path)}
            os.execv(sys.executable, [sys.executable, __file__, "--screens", str(home), str(ask), str(reply)])
        os.close(ask)
        os.close(reply)
        self._lines = os.fdopen(self._reply, "rb")
        threading.Thread(target=self._discard, daemon=True).start()

    def _discard(self) -> None:
        try:
            while os.read(self._terminal, 65536):
                pass
        except OSError:  # so Linux says that the other side has closed
            return

    def send(self, keys: list[str], gaps: list[float]) -> None:
        for key, gap in zip(keys, gaps, strict=True):
            os.write(self._terminal, KEYS.get(key, key).encode())
            self.sent += 1
            if gap:
                time.sleep(gap)

    def tell(self) -> dict[str, Any]:
        """How many keys have come, what is still under way, where it stands, the processor time it has spent."""
        os.write(self._ask, b"?")
        if not select.select([self._reply], [], [], SILENT)[0]:
            raise TimeoutError(f"no word from the program for {SILENT:.0f} s")
        return dict(json.loads(self._lines.readline()))

    def state(self) -> dict[str, Any]:
        """Where it stands once every key sent is answered.

        Raises:
            TimeoutError: with what was still under way when it had spent ``HANG`` seconds of processor time. By the
                clock a sound program can take any time beside others.
        """
        begun: float | None = None
        twice: dict[str, Any] | None = None
        gap = 0.004
        while True:
            told = self.tell()
            begun = told["spent"] if begun is None else begun
            if not told["waits"] and told["came"] >= self.sent:
                if twice == told["state"]:
                    return twice
                twice = told["state"]
            else:
                twice = None
                gap = min(2 * gap, 0.064)   # asking, too, takes its time
            if told["spent"] - begun > HANG:
                raise TimeoutError(f"{self.sent} keys were sent, {told['came']} came, and there was no end to: "
                                   + (", ".join(told["waits"]) or "changes"))
            time.sleep(gap)

    def close(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self._terminal)


def random_burst(chance: random.Random) -> list[str]:
    """What somebody in a hurry types."""
    def letters(text: str) -> list[str]:
        return ["space" if letter == " " else letter for letter in text]

    kind = chance.randrange(6)
    if kind == 0:
        word = chance.choice(WORDS)
        wrong = ["z", "backspace"] if chance.random() < 0.4 else []
        return ["/", *letters(word), *wrong, *["down"] * chance.randrange(4), "enter",
                *chance.choice(([], ["r"], ["down", "down"], ["escape", "down"], ["r", "escape", "escape"]))]
    if kind == 1:
        fields = [chance.choice(("10", "2", "")), chance.choice(("40x30", "30 x 20")), chance.choice(("canvas", "rag")),
                  chance.choice(("5", "20")), chance.choice(("40", "0"))]
        typed = [key for field in fields[:chance.randrange(1, 6)] for key in (*letters(field), "tab")]
        return [*["down"] * chance.randrange(3), "r", *typed, *chance.choice((["escape"], [], ["backspace", "7"]))]
    if kind == 2:
        return [*["down"] * chance.randrange(3), *chance.choice((["r", "enter"], ["enter", "r", "enter"]))]
    if kind == 3:
        moves = ("down", "up", "left", "right", "end", "home", "enter", "tab")
        return [chance.choice("1234567"), *(chance.choice(moves) for _ in range(chance.randrange(1, 6)))]
    if kind == 4:
        return ["4", *["down"] * chance.randrange(3), "e", *letters("seen it"), "enter" if chance.random() < 0.2 else
                "escape", "down"]
    some = (*"1234567r/ysem?an", "down", "up", "left", "right", "enter", "escape", "tab", "pagedown", "home", "end",
            "space", "backspace")
    return [chance.choice(some) for _ in range(chance.randrange(2, 12))]


HOME = ["escape"] * 5 + ["1", "right", "home"]


@dataclass
class Outcome:
    """What came of it: how many bursts, and those that went differently."""

    bursts: int
    differing: list[str]


def compare(home: Path, bursts: int, seed: int, folder: Path) -> Outcome:
    """Send random bursts to two programs over copies of the catalogue in ``home``."""
    chance = random.Random(seed)
    differing: list[str] = []
    homes = [folder / name for name in ("fast", "slow")]
    for copy in homes:
        shutil.copytree(home, copy)
    fast, slow = programs = [Program(copy) for copy in homes]
    try:
        for program in programs:
            program.state()
        for number in range(bursts):
            keys = random_burst(chance)
            fast.send(keys, [chance.choice(GAPS) for _ in keys])
            for key in keys:
                slow.send([key], [0])
                slow.state()
            got, wanted = fast.state(), slow.state()
            if got != wanted:
                parts = {part: (got[part], wanted[part]) for part in wanted if got[part] != wanted[part]}
                differing.append(f"burst {number}, {' '.join(keys)}: {parts}")
            for program in programs:
                program.send(HOME, [0.0] * len(HOME))
            for program in programs:
                program.state()
            if len(differing) > 20:
                break
            print(f"{number + 1} of {bursts}, {len(differing)} went differently", file=sys.stderr, flush=True)
    finally:
        for program in programs:
            program.close()
    recorded = [_recorded(copy) for copy in homes]
    if recorded[0] != recorded[1]:
        differing.append(f"recorded: {set(recorded[0]) ^ set(recorded[1])}")
    return Outcome(bursts, differing)


def _recorded(home: Path) -> list[str]:
    """Every order line, and every finding that was closed."""
    from catalogue.records.database import read_only_database
    from catalogue.settings import Home

    db = read_only_database(Home(home).database)
    try:
        return [str(tuple(row)) for query in (
            "SELECT o.number, l.piece_id, l.quantity, l.width_mm, l.height_mm, l.medium, l.border_mm, l.wrap_mm,"
            " o.buyer, o.status FROM order_line l JOIN orders o ON o.id = l.order_id ORDER BY l.id",
            "SELECT id, kind, resolution FROM finding ORDER BY id") for row in db.execute(query)]
    finally:
        db.close()


def main() -> int:
    if sys.argv[1:2] == ["--screens"]:
        run_screens(Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
        return 0
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--bursts", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--busy", type=int, default=0, help="processes that keep the cores busy meanwhile")
    asked = parser.parse_args()
    sys.path.insert(0, str(Path(__file__).parent.parent))
    from tests.screens.shop import build

    load = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(asked.busy)]
    try:
        with tempfile.TemporaryDirectory() as name:
            outcome = compare(build(Path(name) / "shop").folder, asked.bursts, asked.seed, Path(name))
    finally:
        for process in load:
            process.kill()
    print("\n".join(outcome.differing), flush=True)
    print(f"{outcome.bursts} bursts, {len(outcome.differing)} went differently")
    return 1 if outcome.differing else 0


if __name__ == "__main__":
    sys.exit(main())
