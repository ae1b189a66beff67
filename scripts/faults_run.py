"""One run of a command in a child process, one of its calls struck by the preloaded library."""

import ctypes
import gc
import importlib
import io
import multiprocessing
import os
import pkgutil
import shutil
import subprocess
import sys
import tempfile
import traceback
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

SOURCE = Path(__file__).with_name("faults_preload.c")
LIBRARY = "CATALOGUE_FAULTS_LIBRARY"
CRASHED = 99
PR_SET_CHILD_SUBREAPER = 36  # linux/prctl.h


@dataclass(frozen=True)
class Strike:
    """Which call fails and how: ``error`` an errno or -1 for a kill; ``lasting`` as in faults_preload.c."""

    point: int = 0
    error: int = 0
    lasting: int = 0


@dataclass(frozen=True)
class Run:
    """One run of a command: exit code (negative: killed), what it printed, and which call was struck.

    ``calls`` are all that were made, each as ``write /home/catalogue.sqlite-wal``; none where the program was killed.
    """

    code: int
    out: str
    err: str
    calls: tuple[str, ...]
    struck: str

    @property
    def told(self) -> str:
        return self.out + self.err


def build(folder: Path) -> Path | None:
    """The library, or None where it cannot be built."""
    compiler = shutil.which("cc")
    if compiler is None or sys.platform != "linux":
        return None
    made = folder / "faults.so"
    done = subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", str(made), str(SOURCE), "-ldl"], check=False)
    return made if done.returncode == 0 else None


def warm_up() -> None:
    """Import the program, so that each child starts at its work, and reap what children leave behind.

    What its libraries load late is loaded once a child has told of it (:func:`run`). They are held to one thread:
    threads do not live on in a fork, and are all that a run on a few pixels would spend its time with.
    """
    import cv2
    import numpy as np

    import catalogue

    for module in pkgutil.walk_packages(catalogue.__path__, "catalogue."):
        if ".screens" not in module.name and not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    cv2.setNumThreads(1)
    cv2.cvtColor(np.zeros((2, 2, 3), np.float32), cv2.COLOR_RGB2LAB)  # its tables are made at the first call
    cv2.cvtColor(np.zeros((2, 2, 3), np.uint8), cv2.COLOR_RGB2LAB)
    ctypes.CDLL(None).prctl(PR_SET_CHILD_SUBREAPER, 1, 0, 0, 0)


def _load(names: Sequence[str]) -> None:
    for name in names:
        if name not in sys.modules:
            with suppress(Exception):  # one that cannot be had by its name alone is loaded by each child
                importlib.import_module(name)
    gc.freeze()


def run(arguments: Sequence[str], home: Path, root: Path, strike: Strike = Strike()) -> Run:
    """Run one command in a child of this process, a call below ``root`` struck; its workers have ended too."""
    folder = Path(tempfile.mkdtemp(prefix="faults-said-"))
    pid = os.fork()
    if pid == 0:
        _child(arguments, home, root, strike, folder)
    _, status = os.waitpid(pid, 0)
    while True:  # a worker left behind still holds the locks it was given
        try:
            os.waitpid(-1, 0)
        except ChildProcessError:
            break
    calls = tuple(_text(folder / "calls").splitlines())
    _load(_text(folder / "modules").split())
    told = Run(os.waitstatus_to_exitcode(status), _text(folder / "out"), _text(folder / "err"), calls,
               _text(folder / "struck"))
    shutil.rmtree(folder)
    return told


def _text(path: Path) -> str:
    return path.read_text(errors="replace") if path.exists() else ""


def _child(arguments: Sequence[str], home: Path, root: Path, strike: Strike, folder: Path) -> None:
    code = CRASHED
    library = ctypes.CDLL(os.environ[LIBRARY])
    library.faults_call.restype = library.faults_trace.restype = ctypes.c_char_p
    try:
        for number, name in ((1, "out"), (2, "err")):
            fd = os.open(folder / name, os.O_WRONLY | os.O_CREAT)
            os.dup2(fd, number)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        sys.stdout, sys.stderr = io.TextIOWrapper(io.FileIO(1, "w"), encoding="utf-8"), io.TextIOWrapper(
            io.FileIO(2, "w"), encoding="utf-8")
        os.environ["CATALOGUE_HOME"] = str(home)
        sys.argv = ["catalogue", *arguments]
        contexts = multiprocessing.get_context
        # workers only read: forked they start at once, where spawned ones would import everything anew
        multiprocessing.get_context = lambda method=None: contexts("fork" if method == "spawn" else method)
        from catalogue.commands import main

        loaded = set(sys.modules)
        library.faults_arm(os.fsencode(root), ctypes.c_long(strike.point), strike.error, strike.lasting)
        try:
            main()
            code = 0
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 0
        except BaseException:
            traceback.print_exc()
        gc.collect()  # as at the end of any program: what is still open is closed, the catalogue too
        library.faults_disarm()
        (folder / "calls").write_bytes(library.faults_trace())
        (folder / "struck").write_bytes(library.faults_call())
        (folder / "modules").write_text("\n".join(sorted(sys.modules.keys() - loaded)))
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
    finally:
        os._exit(code)
