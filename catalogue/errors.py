"""The errors a person can meet, and their words.

    CatalogueError            something could not be done; exit code 2
    ├── NotFound              no such store, piece, scan, order
    │   └── Gone              it was there a moment ago
    ├── Ambiguous             the words match more than one
    ├── Refused               a rule of the shop or of the archive forbids it
    │   ├── AlreadyExists     an artist, piece, buyer, order or store has the name already
    │   ├── NameTaken         a file already has the name; it is not overwritten
    │   ├── InsideStore       a folder is in a store, where this file must not be written
    │   └── ReadOnly          the catalogue may not be changed from here
    ├── Busy                  another program holds the catalogue
    ├── StoreAway             a store's disk is not where it was
    ├── DiskFull              the disk of the catalogue has no room
    └── Damaged               the catalogue, or a copy offered as good, fails its check

A bad *file* is none of these: it is a finding, recorded against the file.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

T = TypeVar("T")
MOST_CHARACTERS = 200   # of another library's message
GONE = "is no longer in the catalogue"


def one_line(error: BaseException) -> str:
    """An exception's message on one line, shortened if long; its class name if it has no message."""
    return " ".join(str(error).split())[:MOST_CHARACTERS] or type(error).__name__


def sentence(text: object) -> str:
    """Text or an exception's message as a sentence: capital letter, full stop."""
    words = str(text)
    return f"{words[:1].upper()}{words[1:]}."


class CatalogueError(Exception):
    """What happened, to which file, and what to do next."""

    exit_code = 2

    def __init__(self, message: str, *, hint: str = "", path: Path | str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint
        self.path = path

    def __str__(self) -> str:
        return " ".join(part for part in (self.message, self.hint) if part)


class NotFound(CatalogueError):
    """No such store, piece, scan or order."""


class Gone(NotFound):
    """What was shown a moment ago, ``subject``, was merged, undone or removed meanwhile."""

    def __init__(self, subject: str) -> None:
        super().__init__(f"{subject} {GONE}.", hint="It was merged or undone meanwhile. Nothing was changed.")


class Ambiguous(CatalogueError):
    """The words match more than one; the hint lists the matches."""


class Refused(CatalogueError):
    """A rule of the shop or of the archive forbids it."""


class AlreadyExists(Refused):
    """An artist, piece, buyer, order or store already has that name."""


class NameTaken(Refused):
    """A file already has that name; it is not overwritten."""

    def __init__(self, path: Path | str) -> None:
        super().__init__("A file with this name is already there; it is not overwritten.", path=path)


class InsideStore(Refused):
    """The folder is in a store, where this file must not be written."""

    def __init__(self, store: str, path: Path | str, *, message: str = "This folder is in the store {!r}.",
                 hint: str = "Choose a folder outside the stores.") -> None:
        super().__init__(message.format(store), hint=hint, path=path)


class ReadOnly(Refused):
    """The catalogue must not be changed from this workstation."""

    def __init__(self, path: Path | None = None, *, action: str = "Make changes") -> None:
        super().__init__("This catalogue is read-only here.",
                         hint=f"{action} on the workstation that holds the catalogue.", path=path)


class DiskFull(CatalogueError):
    """The catalogue's disk is full."""

    def __init__(self) -> None:
        super().__init__("The disk of the catalogue is full.", hint="Free some space, then run this again.")


class Busy(CatalogueError):
    """Another program holds the catalogue."""


class StoreAway(CatalogueError):
    """A store's disk was disconnected during the work, or another folder is in its place."""


class Damaged(CatalogueError):
    """The catalogue, or a copy offered as good, fails its check."""


def required(value: T | None, message: str, hint: str = "") -> T:
    """The value itself; raises NotFound with this message if it is None."""
    if value is None:
        raise NotFound(message, hint=hint)
    return value


@contextmanager
def refusing(outcome: str = "") -> Iterator[None]:
    """Turn a ValueError from parsing typed text into Refused, with ``outcome`` such as "Nothing was changed"."""
    try:
        yield
    except ValueError as error:
        raise Refused(f"{outcome}: {error}." if outcome else sentence(error)) from error
