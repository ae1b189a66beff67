"""What one row of an order book means: size, status, piece, and the scan it was printed from."""

import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass

from catalogue import money
from catalogue.errors import CatalogueError
from catalogue.filing.people import compatible, person_of
from catalogue.ledger import values
from catalogue.ledger.book_dates import BookDates
from catalogue.ledger.columns import Row
from catalogue.ledger.row_numbers import AFTER_PRINTING
from catalogue.records import files, orders, pieces
from catalogue.records.database import Database
from catalogue.records.files import FilenameMatch
from catalogue.records.numbers import MOST
from catalogue.records.pieces import Piece
from catalogue.settings import Settings
from catalogue.untrusted import shell_word

_STATUS_WORDS = {
    "requested": ("requested", "asked", "ordered", "quoted", "open", "new"),
    "approved": ("approved", "confirmed", "proofed", "accepted", "in work", "in progress"),
    "printed": ("printed", "ready", "done", "finished"),
    "collected": ("collected", "delivered", "shipped", "sent", "paid", "closed", "picked up"),
    "cancelled": ("cancelled", "canceled", "void", AFTER_PRINTING),
}
ALIKE = 5   # of 100: pieces whose names are as near to a row's as the nearest one's are all proposed


class NoPiece(CatalogueError):
    """The row's piece is unknown."""


@dataclass(frozen=True, slots=True)
class Rules:
    """How the rows of one file are read."""

    settings: Settings
    units: Mapping[str, str]
    dates: BookDates
    status: str
    make_pieces: bool
    matches_by_name: Mapping[str, list[FilenameMatch]]
    claimed: set[int]           # lines that a row of this file stands for already
    status_words: Mapping[str, str]  # what the book calls a status, folded, and ours
    statuses: Mapping[str, str]  # of each order of the file, by its number; of whole orders, not of single rows
    names: dict[int, str]       # known pieces, once a guess needed them
    own: bool                   # the file was written by this program
    decimal: str                # the sign before the cents in its prices, where they tell

    def currency(self, row: Row) -> str:
        """The currency a row names, else the shop's. Raises ValueError if it is none."""
        typed = row.get("currency")
        return typed if self.own and typed else money.currency_code(typed or self.settings.currency)


def number_of(row: Row, dates: BookDates) -> str:
    """The order's number; if the row has none, one made of date and buyer."""
    return row.get("number") or f"{dates.day(row.get('date'))} {row.get('buyer')}".strip()


def statuses_of(rows: Iterable[Row], dates: BookDates, otherwise: str,
                status_words: Mapping[str, str]) -> dict[str, str]:
    """Each order's status: its first row's that is not cancelled, for one row may be cancelled alone; nor collected by
    what was handed over of it, where another's was not."""
    statuses: dict[str, str] = {}
    by_handover: set[str] = set()     # orders whose status is so far that of such a row
    for row in rows:
        with suppress(ValueError):  # the row's own fate tells what is wrong with it
            number, status = number_of(row, dates), status_of(row.get("status"), otherwise, status_words)
            handed = status == "collected" and ":" in row.get("handed_over")
            if statuses.get(number, "cancelled") == "cancelled" or (
                    number in by_handover and status != "cancelled" and not handed):
                statuses[number] = status
                by_handover = by_handover | {number} if handed else by_handover - {number}
    return statuses


def size_of(row: Row, units: Mapping[str, str]) -> tuple[float, float]:
    if row.get("width") and row.get("height"):
        return (values.length_mm(row.get("width"), units.get("width", "cm")),
                values.length_mm(row.get("height"), units.get("height", "cm")))
    if not row.get("size"):
        raise ValueError("the row gives no size")
    return values.print_size_mm(row.get("size"), units.get("size", "cm"))


def quantity_of(text: str, numbered: int) -> int:
    if not text:
        return max(numbered, 1)
    if re.fullmatch(r"[-−–]\s*[1-9][0-9]*", text):
        raise ValueError(f"{text!r} is not a quantity; for a return, cancel the order line that was returned")
    if not text.isdecimal() or not 1 <= int(text[:9]) <= MOST:
        raise ValueError(f"{text!r} is not a quantity")
    return int(text)


def status_of(text: str, otherwise: str, status_words: Mapping[str, str]) -> str:
    if not text:
        return otherwise
    word = pieces.folded(text)
    meant = status_words.get(word) or next((status for status, words in _STATUS_WORDS.items() if word in words), None)
    if meant is None:
        raise ValueError(f"{text!r} is not a state of an order; say what it means, such as --map-status"
                         f" {text}=collected (ours are {', '.join(orders.STATUSES)})")
    return meant


def piece_of(db: Database, row: Row, make_pieces: bool, names: dict[int, str]) -> tuple[int, str]:
    """The piece a row names, and what a person should see of that; ``names`` keeps the known ones for a whole file,
    once a guess needed them.

    A name that no artist has ("H. Quill", "Quill, Hanna") means the only one of those with a piece of that title whose
    name can be written so.

    Raises NoPiece, with the nearest known piece where one is near.
    """
    artist, title = row.get("artist"), row.get("piece")
    if not title:
        raise ValueError("the row names no piece; perhaps it is a total")
    if artist:
        known = pieces.known_piece(db, artist, title)
        if known is not None:
            return known, ""
        same = _written_otherwise(db, artist, title)
        if same is not None:
            return same.id, f"{artist!r} was read as {same.artist!r}"
    else:
        titled = pieces.titled(db, title)
        if len(titled) == 1:
            return titled[0], ""
        if titled:
            raise NoPiece(f"{len(titled)} artists have a piece called {title!r}, and the row names none of them.")
    if artist and make_pieces:
        return pieces.piece_called(db, pieces.artist_called(db, artist).id, title, row.get("year")), ""
    by = f" by {artist}" if artist else ""
    raise NoPiece(f"No piece {title!r}{by} is known.", hint=_guess(db, artist, title, names))


def _written_otherwise(db: Database, artist: str, title: str) -> Piece | None:
    """The only piece of that title by an artist whose name can be written as ``artist``; None if an artist has that
    exact name."""
    person = person_of(artist)
    if person is None or pieces.artist_named(db, artist) is not None:
        return None
    titled = [piece for piece_id in pieces.titled(db, title) if (piece := pieces.by_id(db, piece_id))]
    fitting = [piece for piece in titled if (known := person_of(piece.artist)) and compatible(person, known)]
    return fitting[0] if len(fitting) == 1 else None


def _guess(db: Database, artist: str, title: str, names: dict[int, str]) -> str:
    from rapidfuzz import fuzz, process

    wanted = pieces.folded(f"{artist} {title}")
    digits = sorted(re.findall(r"\d+", wanted))  # in a numbered series the next number is not a misspelling
    if not names:
        names.update(pieces.names(db))
    fitting = {i: name for i, name in names.items() if sorted(re.findall(r"\d+", name)) == digits}
    titled = pieces.titled(db, title)
    piece = pieces.by_id(db, titled[0]) if len(titled) == 1 else None
    if artist and piece and pieces.artist_named(db, artist) is None:
        return (f"Is it by {piece.artist}? Then: catalogue artist also {shell_word(piece.artist)}"
                f" {shell_word(artist)}")
    near = process.extract(wanted, fitting, scorer=fuzz.token_sort_ratio, score_cutoff=80, limit=3)
    alike = [piece for _, score, i in near if score > near[0][1] - ALIKE and (piece := pieces.by_id(db, i))]
    meant = " or ".join(f"{piece.title!r} by {piece.artist}" for piece in alike)
    return f"Did you mean {meant}?" if meant else "Index it, or import with --make-pieces."


def scan_of(row: Row, piece_id: int, rules: Rules) -> tuple[str, str]:
    """``(digest, remark)``: the content the row's file name stands for, if it stands for exactly one."""
    name, stated = row.get("file"), row.get("sha256").lower()
    if stated:
        if len(stated) != 64 or set(stated) - set("0123456789abcdef"):
            raise ValueError(f"{stated!r} is not a SHA-256")
        return stated, ""
    if not name:
        return "", "names no file: cannot tell which scan was printed"
    matches = rules.matches_by_name.get(files.bare_name(name), [])
    tail = name.replace("\\", "/").strip("/")
    ours = [f for f in matches if f.piece_id == piece_id] or matches
    by_path = [f for f in matches if "/" in tail and f"/{f.path}".endswith(f"/{tail}")]
    in_primary = [f for f in ours if f.kind == "primary"]
    differ = f"copies called {name!r} differ; the one in the primary store is used"
    for chosen, remark in ((by_path, ""), (ours, ""), (in_primary, differ)):
        if len({f.sha256 for f in chosen}) == 1:
            other = chosen[0].piece_id not in (None, piece_id)
            return chosen[0].sha256, f"the file {name!r} is filed under another piece" if other else remark
    if not matches:
        return "", f"no file called {name!r} is known"
    return "", f"{len({f.sha256 for f in matches})} different files are called {name!r}: cannot tell which was printed"
