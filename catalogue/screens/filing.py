"""Path, opening and folder of a scan's file: the same three actions on every page that shows scans."""

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import CatalogueError
from catalogue.indexing.stores import where
from catalogue.records import files, scans, stores
from catalogue.records.database import Database
from catalogue.records.paths import native
from catalogue.screens.dialogs import Question, Words
from catalogue.screens.opening import revealer, start, viewer
from catalogue.screens.page import Page
from catalogue.screens.wording import safe

DISK_PATIENCE = 2.0     # seconds for which keys wait until the disks have answered


@dataclass(frozen=True, slots=True)
class Place:
    """One file of a scan as it lies now. ``reachable``: its store is connected and the file is there."""

    path: Path
    store: str
    role: str
    reachable: bool


def places(db: Database, sha256: str) -> list[Place]:
    """Where a scan's files are, those within reach first."""
    scan = scans.by_digest(db, sha256)
    found = []
    for file in files.of_scan(db, scan.id) if scan else ():
        root = where(db, stores.by_id(db, file.store_id))
        path = (root or Path(file.root)) / native(file.path)
        found.append(Place(path, file.store, scan.role if scan else "", root is not None and path.is_file()))
    return sorted(found, key=lambda place: not place.reachable)


def text_of(path: Path) -> str:
    """A path as text that can be shown: undecodable bytes as backslash escapes."""
    return safe(os.fsencode(path).decode("utf-8", "backslashreplace"))


class FileActions(Page):
    """The three actions, for a page that knows which scan is meant."""

    def scan_meant(self) -> str | None:
        """SHA-256 of the scan under the cursor, as it is drawn; None where there is none."""
        raise NotImplementedError

    def _with_places(self, then: Callable[[list[Place]], object]) -> None:
        sha256 = self.scan_meant()
        if sha256 is None:
            self.shop.say("There is no scan here.", "warning")
            return
        self.ask_disks(lambda db: places(db, sha256), then, group="places", holds=self.shop, patience=DISK_PATIENCE)

    def action_copy_path(self) -> None:
        def show(found: list[Place]) -> None:
            if not found:
                self.shop.say("No file of this scan is known any more.", "warning")
                return
            self.app.copy_to_clipboard(text_of(found[0].path))
            text = "\n\n".join(f"{safe(place.store)}{'' if place.reachable else ' (not within reach now)'}\n"
                               f"{text_of(place.path)}" for place in found)
            self.app.push_screen(Words("Where the file is", text,
                                       "The first path was offered to your terminal's clipboard. Not every terminal "
                                       "takes it: if it does not arrive, select it here with the mouse."))

        self._with_places(show)

    def action_open_file(self) -> None:
        self._with_reachable(self._open)

    def action_reveal(self) -> None:
        self._with_reachable(lambda place: self._start(revealer(place.path), place))

    def _with_reachable(self, then: Callable[[Place], object]) -> None:
        def first(found: list[Place]) -> None:
            reachable = [place for place in found if place.reachable]
            if reachable:
                then(reachable[0])
            else:
                named = ", ".join(dict.fromkeys(place.store for place in found))
                self.shop.say(f"No copy is within reach now. Connect: {named}." if named else
                              "No file of this scan is known any more.", "warning")

        self._with_places(first)

    def _open(self, place: Place) -> None:
        command = viewer(place.path, self.shop.home.settings.open_with)
        if place.role not in ("master", "tile"):
            self._start(command, place)
            return

        def answered(yes: bool | None) -> None:
            if yes:
                self._start(command, place)

        self.app.push_screen(Question(
            f"Open the {place.role} itself?",
            f"{text_of(place.path)}\n\nA program that saves would change it. Look, but save elsewhere.",
            yes="Open", careful=True), answered)

    def _start(self, command: list[str], place: Place) -> None:
        try:
            start(command)
        except CatalogueError as error:
            self.shop.failed(error)
        else:
            self.shop.say(f"Started {command[0]} for\n{text_of(place.path)}")
