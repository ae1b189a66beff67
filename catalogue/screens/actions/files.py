"""Path, opening and folder of a scan's file: the same three actions on every page that shows scans."""

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from catalogue.errors import CatalogueError
from catalogue.screens.page import Page
from catalogue.screens.texts.formats import safe

if TYPE_CHECKING:
    from catalogue.operations.file_locations import FileLocation
    from catalogue.records.database import Database

DISK_PATIENCE = 2.0     # seconds for which keys wait until the disks have answered


def text_of(path: Path) -> str:
    """A path as text that can be shown: undecodable bytes as backslash escapes."""
    return safe(os.fsencode(path).decode("utf-8", "backslashreplace"))


class FileActions(Page):
    """The three actions, for a page that knows which scan is meant."""

    def scan_meant(self) -> str | None:
        """SHA-256 of the scan under the cursor, as drawn; None if there is none."""
        raise NotImplementedError

    def _with_locations(self, then: Callable[["list[FileLocation]"], object]) -> None:
        sha256 = self.scan_meant()
        if sha256 is None:
            self.app.say("No scan selected.", "warning")
            return

        def locate(db: "Database") -> "list[FileLocation]":
            from catalogue.operations.file_locations import file_locations  # not needed for the first list

            return file_locations(db, sha256)

        self.ask(locate, then, group="locations", thread="disks", holds=self.app,
                 patience=DISK_PATIENCE)

    def action_copy_path(self) -> None:
        from catalogue.screens.dialogs.confirm import MessageDialog

        def show(locations: "list[FileLocation]") -> None:
            if not locations:
                self.app.say("No file of this scan is on record.", "warning")
                return
            self.app.copy_to_clipboard(text_of(locations[0].path))
            text = "\n\n".join(f"{safe(location.store)}{'' if location.reachable else ' (not connected)'}\n"
                               f"{text_of(location.path)}" for location in locations)
            self.app.push_screen(MessageDialog("Where the file is", text,
                                       "The first path was sent to your terminal's clipboard. Not every terminal "
                                       "accepts it; if it is not there, select it here with the mouse."))

        self._with_locations(show)

    def action_open_file(self) -> None:
        self._with_reachable(self._open)

    def action_reveal(self) -> None:
        from catalogue.screens.system_viewer import revealer

        self._with_reachable(lambda location: self._start(revealer(location.path), location))

    def _with_reachable(self, then: Callable[["FileLocation"], object]) -> None:
        def first(locations: "list[FileLocation]") -> None:
            reachable = [location for location in locations if location.reachable]
            if reachable:
                then(reachable[0])
            else:
                named = ", ".join(dict.fromkeys(location.store for location in locations))
                self.app.say(f"No copy can be reached now. Connect: {named}." if named else
                              "No file of this scan is on record.", "warning")

        self._with_locations(first)

    def _open(self, location: "FileLocation") -> None:
        from catalogue.screens.dialogs.confirm import confirm
        from catalogue.screens.system_viewer import viewer

        command = viewer(location.path, self.app.home.settings.open_with)
        if location.role in ("master", "tile"):
            confirm(self.app, f"Open the {location.role} itself?",
                    f"{text_of(location.path)}\n\nSaving in that program would change it. Save any changes elsewhere.",
                    lambda: self._start(command, location), yes="Open", careful=True)
        else:
            self._start(command, location)

    def _start(self, command: list[str], location: "FileLocation") -> None:
        from catalogue.screens.system_viewer import start_program

        try:
            start_program(command)
        except CatalogueError as error:
            self.app.failed(error)
        else:
            self.app.say(f"Started {command[0]} for\n{text_of(location.path)}")
