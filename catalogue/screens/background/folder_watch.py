"""A folder watched in a thread of its own while the scanner writes to it."""

import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path

from textual.message_pump import MessagePump

from catalogue.intake import watching
from catalogue.intake.subprocess_reading import read_in_subprocess
from catalogue.intake.watching import News, Watch
from catalogue.screens.background.threads import ensure_resource_tracker
from catalogue.settings import Settings

LOOK_SECONDS = 1.0  # between two looks at the folder


class FolderWatch:
    """One watch. Nobody waits for its thread, which ends within a moment, abandoning the file in progress.

    ``came`` receives each piece of news, ``ended`` the error that ended the watch, None if the person did; both receive
    the watch too, and are called as messages of ``page``.
    """

    def __init__(self, folder: Path, settings: Settings, page: MessagePump,
                 came: "Callable[[FolderWatch, News], object]",
                 ended: "Callable[[FolderWatch, Exception | None], object]") -> None:
        self.folder, self._page, self._came, self._ended = folder, page, came, ended
        self._stop, self._left = threading.Event(), threading.Event()
        self.watch = Watch(folder, settings.ignore, settings.tile_overlap, settle_seconds=watching.SETTLE,
                           read=partial(read_in_subprocess, cancelled=self._stop.is_set), cancelled=self._stop.is_set)
        ensure_resource_tracker()
        self.thread = threading.Thread(target=self._run, name="catalogue-watch", daemon=True)

    @property
    def ending(self) -> bool:
        return self._stop.is_set()

    def stop(self) -> None:
        """End it; ``ended`` follows."""
        self._stop.set()

    def leave(self) -> None:
        """End it silently: the screens are closing."""
        self._left.set()
        self._stop.set()

    def _run(self) -> None:
        error: Exception | None = None
        try:
            while not self._stop.is_set():
                for news in self.watch.look():
                    self._tell(self._came, news)
                self._stop.wait(LOOK_SECONDS)
        except Exception as fault:  # a worker's edge: the screen says what happened
            error = fault
        self._tell(self._ended, error)

    def _tell(self, hears: Callable[..., object], news: object) -> None:
        if not self._left.is_set():
            self._page.call_later(hears, self, news)
