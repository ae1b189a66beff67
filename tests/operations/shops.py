"""Two ways to the same operation, from the command line and from the screens, on archives that are alike."""

import io
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from catalogue.commands import main
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.progress import Cancelled, ignore_progress, never_cancelled
from catalogue.records.database import open_database
from catalogue.settings import Home, Settings
from tests.files import write_scan


class Desk:
    """The screens' app as far as a long job needs it: runs the job at once, and keeps the notice."""

    def __init__(self, home: Home, cancelled: Cancelled = never_cancelled) -> None:
        self.home, self.cancelled = home, cancelled
        self.notice = ""

    def begin(self, name: str, job: Callable[..., Any], told: Callable[[Any], str],
              then: Callable[[Any], object] | None = None) -> bool:
        db = open_database(self.home.database)
        try:
            done = job(db, ignore_progress, self.cancelled)
        finally:
            db.close()
        self.notice = told(done)
        if then is not None:
            then(done)
        return True


class Archive:
    """A shop with a primary store ``main`` of two masters and an empty copy store ``nas``, indexed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.home = Home(folder / "home", Settings(workers=1))

    def prepare(self) -> None:
        write_scan(self.folder / "main/Ada Quill/Harbour/master.tif", seed=1)
        write_scan(self.folder / "main/Ada Quill/Pier/master.tif", seed=2)
        (self.folder / "nas").mkdir()
        db = open_database(self.home.database)
        stores = [add_store(db, "main", self.folder / "main", "primary", consent=True),
                  add_store(db, "nas", self.folder / "nas", "copy", consent=True)]
        index(db, self.home, stores, executors=ThreadPoolExecutor)
        db.close()

    def call(self, *words: object) -> tuple[int, str]:
        """Exit code and standard output of a command, run in this process."""
        argv, out, before = sys.argv, io.StringIO(), sys.stdout
        sys.argv, sys.stdout = ["catalogue", "--catalogue", str(self.home.folder), *map(str, words)], out
        try:
            main()
        except SystemExit as ended:
            return int(ended.code or 0), out.getvalue()
        finally:
            sys.argv, sys.stdout = argv, before
        raise AssertionError("a command ends with an exit code")
