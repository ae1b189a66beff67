"""What a key sends to the terminal, in bytes: over a slow line that is what a person waits for.

A key's bytes are all that comes until the program has been at rest for more than a second, the picture included.
"""

import os
import statistics
import sys
from collections.abc import Sequence
from pathlib import Path

from screens_terminal import Terminal

ROOT = Path(__file__).resolve().parent.parent
SIZE = (200, 60)
DOWNS = 10
PIECES = 3
LETTERS = "harbour evening 12"
QUIET = 0.6     # seconds; a picture is drawn a moment after the rest

Sent = dict[str, list[int]]


def sent_bytes(home: Path) -> Sent:
    """Bytes by kind of key, at 200×60: Down with a picture, a piece opened and left, each letter of a search."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    terminal = Terminal([sys.executable, "-m", "catalogue", "--catalogue", str(home)], *SIZE, environment)
    sent: Sent = {}

    def press(name: str, keys: Sequence[str]) -> None:
        for key in keys:
            terminal.press(key)
            count = terminal.count_until_rest(QUIET)
            if name:
                sent.setdefault(name, []).append(count)

    try:
        terminal.count_until_rest(4.0)
        press("Down with a picture", ["down"] * DOWNS)
        for _ in range(PIECES):
            press("a piece opened", ["enter"])
            press("back from a piece", ["escape"])
            press("Down with a picture", ["down"])
        press("the search opened", ["/"])
        press("a letter of a search", [*LETTERS, *["backspace"] * 6])
        press("the search left", ["escape"])
        press("the repeat panel opened", ["r"])
        press("the repeat panel left", ["escape"])
        press("to the orders and back", ["2", "1"])
    finally:
        terminal.close()
    return sent


def table(sent: Sent) -> list[str]:
    """As Markdown."""
    return ["| bytes to the terminal, 200×60 | p50 | max | keys |", "|---|---|---|---|",
            *(f"| {name} | {statistics.median(counts):,.0f} | {max(counts):,} | {len(counts)} |"
              for name, counts in sent.items())]
