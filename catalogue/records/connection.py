"""A connection that speaks to people: locks, full disks and damage come out as errors of ours, never raw."""

import sqlite3
from typing import Any

from catalogue.errors import Busy, CatalogueError, Damaged, Refused


def spoken(error: sqlite3.DatabaseError) -> Exception:
    """What a person can do about it; the error itself where that is a fault of this program."""
    name = getattr(error, "sqlite_errorname", None) or ""  # none on errors made by the driver itself
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return Busy("Another program is writing to the catalogue.", hint="Try again in a moment.")
    if name.startswith("SQLITE_READONLY"):
        return Refused("This catalogue can only be looked at here.", hint="Change it on the seat that keeps it.")
    if name.startswith("SQLITE_FULL"):
        return CatalogueError("The disk of the catalogue is full.", hint="Make room; nothing was changed.")
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return Damaged(f"The catalogue is damaged: {error}.", hint="Run `catalogue recover`.")
    if name.startswith(("SQLITE_IOERR", "SQLITE_CANTOPEN")):
        return CatalogueError(f"The catalogue's file cannot be reached: {error}.",
                              hint="Is its disk still there, and may you read it?")
    return error


class Connection(sqlite3.Connection):
    """``sqlite3.Connection`` whose errors go through :func:`spoken`."""

    def execute(self, *given: Any) -> sqlite3.Cursor:
        """As ``sqlite3.Connection.execute``."""
        try:
            return super().execute(*given)
        except sqlite3.DatabaseError as error:
            raise spoken(error) from error

    def executemany(self, *given: Any) -> sqlite3.Cursor:
        """As ``sqlite3.Connection.executemany``."""
        try:
            return super().executemany(*given)
        except sqlite3.DatabaseError as error:
            raise spoken(error) from error

    def commit(self) -> None:
        """As ``sqlite3.Connection.commit``."""
        try:
            super().commit()
        except sqlite3.DatabaseError as error:
            raise spoken(error) from error
