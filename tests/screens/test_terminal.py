"""The program on a terminal of its own, and where there is none."""

import os
import pty
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from catalogue.screens.textual_internals import LoneEscapes
from catalogue.settings import Home
from tests.waiting import HANG_SECONDS

COMMAND = [sys.executable, "-m", "catalogue"]
ROOT = Path(__file__).parent.parent.parent


@pytest.mark.parametrize("kind", ["dumb", "pipe"])
def test_without_a_terminal_it_says_so_and_ends(shop: Home, kind: str) -> None:
    """As in a pipe, in a cron job, or in an editor's shell: no screens, and an end."""
    environment = os.environ | {"TERM": {"dumb": "dumb", "pipe": "xterm-256color"}[kind]}
    master, terminal = pty.openpty()
    try:
        streams = subprocess.PIPE if kind == "pipe" else terminal
        done = subprocess.run([*COMMAND, "--catalogue", str(shop.folder)], stdin=terminal, stdout=streams,
                              stderr=subprocess.PIPE, env=environment, cwd=ROOT, timeout=HANG_SECONDS, check=False)
    finally:
        os.close(master)
        os.close(terminal)
    assert done.returncode == 2
    assert b"terminal" in done.stderr and b"catalogue --help" in done.stderr


def test_ctrl_z_sets_the_program_aside_and_it_comes_back(shop: Home) -> None:
    child, terminal = pty.fork()
    if child == 0:
        os.chdir(ROOT)
        os.environ |= {"TERM": "xterm-256color", "COLUMNS": "100", "LINES": "30"}
        os.execv(sys.executable, [*COMMAND, "--catalogue", str(shop.folder)])
    try:
        read_until(terminal, b"Three Kites")
        os.write(terminal, b"\x1a")
        assert os.WIFSTOPPED(wait_for(child, terminal))
        os.kill(child, signal.SIGCONT)
        read_until(terminal, b"Three Kites")    # drawn anew
        os.write(terminal, b"q")
        status = wait_for(child, terminal)
        assert os.WIFEXITED(status) and os.WEXITSTATUS(status) == 0
    except BaseException:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        raise
    finally:
        os.close(terminal)


def read_until(terminal: int, words: bytes) -> None:
    """Read what the program draws until it has drawn these words."""
    seen, end = b"", time.monotonic() + HANG_SECONDS
    while words not in seen:
        assert time.monotonic() < end, "what was waited for was never drawn"
        if select.select([terminal], [], [], 0.1)[0]:
            seen += os.read(terminal, 65536)


def wait_for(child: int, terminal: int) -> int:
    """The status with which a program stops or ends; what it draws until then is read."""
    end = time.monotonic() + HANG_SECONDS
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG | os.WUNTRACED)
        if done:
            return status
        if select.select([terminal], [], [], 0.05)[0]:
            try:
                os.read(terminal, 65536)
            except OSError:  # so Linux says that the other side has closed
                continue
    raise AssertionError("the program neither stopped nor ended")


@pytest.mark.parametrize(("sent", "keys"), [
    (["\x1bw"], ["escape", "w"]), (["\x1b1"], ["escape", "1"]), (["\x1b/"], ["escape", "slash"]),
    (["\x1b\r"], ["escape", "enter"]), (["\x1b\t"], ["escape", "tab"]), (["\x1b", "w"], ["escape", "w"]),
    (["\x1b\x1bw"], ["escape", "escape", "w"]), (["a\x1bb\x1b[Bc"], ["a", "escape", "b", "down", "c"]),
    (["\x1b", "[B"], ["down"]), (["\x1b[", "B"], ["down"]), (["\x1bOP"], ["f1"]),
    (["\x1b[200~ab", "c\x1b[201~", "\x1bd"], ["abc", "escape", "d"]),
    (["\x1bx\x1b"], ["escape", "x"])])
def test_esc_is_a_key_of_its_own(sent: list[str], keys: list[str]) -> None:
    """Sequences are those of ECMA-48 and xterm's list of control sequences; Esc before anything else is Esc."""
    parser = LoneEscapes()
    got = [event for data in sent for event in parser.feed(data)]
    assert [getattr(event, "key", None) or getattr(event, "text", None) for event in got] == keys
