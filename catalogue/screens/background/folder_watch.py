"""A folder watched in a thread of its own while the scanner writes to it."""

import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path

from textual.message import Message

from catalogue.intake import watching
from catalogue.intake.subprocess_reading import read_in_subprocess
from catalogue.intake.watching import News, Watch
from catalogue.screens.background.threads import ensure_resource_tracker
from catalogue.settings import Settings

LOOK_SECONDS = 1.0  # between two looks at the folder


class FolderNews(Message):
    """Something to tell of the folder."""

    def __init__(self, watcher: "FolderWatch", news: News) -> None:
        super().__init__()
        self.watcher, self.news = watcher, news


class FolderWatchEnded(Message):
    """The watch has ended, on the person's word or because of ``error``."""

    def __init__(self, watcher: "FolderWatch", error: Exception | None) -> None:
        super().__init__()
        self.watcher, self.error = watcher, error


class FolderWatch:
    """One watch. Nobody waits for its thread: it ends within a moment, the file under way is left."""

    def __init__(self, folder: Path, settings: Settings, post: Callable[[Message], object]) -> None:
        self.folder, self._post = folder, post
        self._stop, self._left = threading.Event(), threading.Event()
        self.watch = Watch(folder, settings.ignore, settings.tile_overlap, settle=watching.SETTLE,
                           read=partial(read_in_subprocess, cancelled=self._stop.is_set), cancelled=self._stop.is_set)
        ensure_resource_tracker()
        self.thread = threading.Thread(target=self._run, name="catalogue-watch", daemon=True)

    @property
    def ending(self) -> bool:
        return self._stop.is_set()

    def stop(self) -> None:
        """End it; :class:`FolderWatchEnded` follows."""
        self._stop.set()

    def leave(self) -> None:
        """End it, and tell nothing any more: the screens are closing."""
        self._left.set()
        self._stop.set()

    def _run(self) -> None:
        try:
            while not self._stop.is_set():
                for news in self.watch.look():
                    self._tell(FolderNews(self, news))
                self._stop.wait(LOOK_SECONDS)
        except Exception as error:  # a worker's edge: the screen says what happened
            self._tell(FolderWatchEnded(self, error))
        else:
            self._tell(FolderWatchEnded(self, None))

    def _tell(self, message: Message) -> None:
        if not self._left.is_set():
            self._post(message)
