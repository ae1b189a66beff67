"""Orders from a CSV file: every row has a fate, a dry run shows it, and a second run records nothing twice."""

import re
from collections import Counter
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from catalogue.errors import CatalogueError, Refused
from catalogue.ledger import columns, editions, values
from catalogue.ledger.columns import Row, Table
from catalogue.progress import Cancelled, Progress, Report, never, unheard
from catalogue.records import files, numbers, orders, pieces
from catalogue.records.database import Database, transaction
from catalogue.records.files import Called
from catalogue.records.orders import NewLine, Order
from catalogue.settings import Settings

FATES = ("recorded", "known already", "no such piece", "not understood", "refused")
_STATUS_WORDS = {
    "asked": ("asked", "ordered", "requested", "quoted", "open", "new"),
    "approved": ("approved", "confirmed", "proofed", "accepted", "in work", "in progress"),
    "printed": ("printed", "ready", "done", "finished"),
    "collected": ("collected", "delivered", "shipped", "sent", "paid", "closed", "picked up"),
    "cancelled": ("cancelled", "canceled", "void"),
}


@dataclass(frozen=True, slots=True)
class Fate:
    """What became, or would become, of one row. ``remarks`` are doubts a person should see."""

    row: int
    fate: str
    text: str
    detail: str = ""
    remarks: tuple[str, ...] = ()
    line_id: int | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """A whole import. With ``dry_run`` nothing was recorded, and the fates are what would have been."""

    fates: tuple[Fate, ...]
    matched: Mapping[str, str]
    unused: tuple[str, ...]
    encoding: str
    dry_run: bool

    @property
    def counts(self) -> dict[str, int]:
        """How many rows met which fate."""
        found = Counter(f.fate for f in self.fates)
        return {fate: found[fate] for fate in FATES if found[fate]}

    @property
    def left_out(self) -> int:
        """Rows that were not taken and need a person."""
        return sum(1 for f in self.fates if f.fate not in ("recorded", "known already"))


class Undo(Exception):
    """Ends a dry run: the same work is done, then rolled back."""


class NoPiece(CatalogueError):
    """The row's piece is not known."""


@dataclass(frozen=True, slots=True)
class _Rules:
    """How the rows of one file are to be read."""

    settings: Settings
    units: Mapping[str, str]
    dates: str
    status: str
    make_pieces: bool
    called: Mapping[str, list[Called]]


def import_orders(db: Database, settings: Settings, path: Path, *, mapping: Mapping[str, str] | None = None,
                  dates: str = "", status: str = "collected", make_pieces: bool = False, dry_run: bool = False,
                  report: Report = unheard, cancelled: Cancelled = never) -> Outcome:
    """Take in order lines from a CSV file, all in one transaction.

    Args:
        mapping: our column → heading in the file, where the heading alone does not tell (``columns.ORDERS``).
        dates: the file's date form for strptime; ISO is always read, and the settings' form is the default.
        status: for rows that say none; old books are history, so the default is ``collected``.
        make_pieces: make artists and pieces that are not known; else such rows are left out and reported.

    A row is linked to the very bytes it was printed from when the file name it gives stands for one content only.

    Raises:
        CatalogueError: the file cannot be read or has no usable columns, or the import was stopped (nothing is kept).
    """
    if status not in orders.STATUSES:
        raise Refused(f"{status!r} is no status.", hint=f"Choose one of: {', '.join(orders.STATUSES)}.")
    table = columns.read_table(path, columns.ORDERS, mapping or {})
    _usable(table, path)
    names = {files.bare_name(row.get("file")) for row in table.rows if row.get("file")}
    rules = _Rules(settings, table.units, dates or settings.dates, status, make_pieces, files.called(db, names))
    seen: Counter[str] = Counter()
    fates: list[Fate] = []
    with suppress(Undo), transaction(db):
        for done, row in enumerate(table.rows):
            if cancelled():
                raise CatalogueError("The import was stopped; nothing of it was recorded.")
            report(Progress("Importing orders", done, len(table.rows)))
            digest = columns.digest(row)
            seen[digest] += 1
            fates.append(_taken(db, row, digest, seen[digest], rules))
        if dry_run:
            raise Undo
    return Outcome(tuple(fates), table.matched, table.unused, table.encoding, dry_run)


def _usable(table: Table, path: Path) -> None:
    missing = [name for name in ("piece", "date") if name not in table.matched]
    if "size" not in table.matched and not {"width", "height"} <= set(table.matched):
        missing.append("size (or width and height)")
    if missing:
        raise CatalogueError(f"The file has no column for: {', '.join(missing)}.",
                             hint="Say which it is, such as --map piece=Motif.", path=path)


def _taken(db: Database, row: Row, digest: str, nth: int, rules: _Rules) -> Fate:
    text = " · ".join(filter(None, (row.get("number"), row.get("date"), row.get("artist"), row.get("piece"))))
    known = orders.imported(db, digest, nth)
    if known is not None:
        return Fate(row.number, "known already", text, remarks=_linked_late(db, known, row, rules), line_id=known)
    try:
        with transaction(db):  # a savepoint: a row is taken whole or not at all
            return replace(_recorded(db, row, digest, nth, rules), text=text)
    except NoPiece as error:
        return Fate(row.number, "no such piece", text, str(error))
    except ValueError as error:
        return Fate(row.number, "not understood", text, str(error))
    except Refused as error:
        return Fate(row.number, "refused", text, str(error))


def _linked_late(db: Database, line_id: int, row: Row, rules: _Rules) -> tuple[str, ...]:
    """Tie a line taken in before its scan was indexed to that scan now."""
    line = orders.line(db, line_id)
    if line is None or line.scan_sha256 or not line.scan_name:
        return ()
    sha256, _ = _scan(row, line.piece_id, rules)
    if not sha256:
        return ()
    orders.set_scan(db, line_id, sha256)
    return ("now linked to its scan",)


def _recorded(db: Database, row: Row, digest: str, nth: int, rules: _Rules) -> Fate:
    remarks: list[str] = []
    width, height = _size(row, rules)
    placed = values.day(row.get("date"), rules.dates)
    status = _status(row.get("status"), rules.status)
    price = values.money(row.get("price"))
    wanted, stated = numbers.read(row.get("numbers"))
    quantity = _quantity(row.get("quantity"), len(wanted))
    piece_id = piece_of(db, row, rules.make_pieces)
    sha256, remark = _scan(row, piece_id, rules)
    remarks += filter(None, [remark])
    line = NewLine(
        piece_id, width, height, quantity, medium=row.get("medium"), edge=row.get("edge"), scan_sha256=sha256,
        border_mm=values.margin_mm(row.get("border"), rules.units.get("border", "mm")),
        wrap_mm=values.margin_mm(row.get("wrap"), rules.units.get("wrap", "mm")), scan_name=row.get("file"),
        profile=row.get("profile"), settings=row.get("settings"), price=price, notes=row.get("notes"))
    if wanted and status == "cancelled":
        remarks.append("cancelled, so its edition numbers stay free")
        wanted = []
    if wanted:
        line = replace(line, edition_id=_edition(db, line, quantity, len(wanted), stated))
    elif status != "cancelled" and editions.applying(db, piece_id, width, height, line.medium):
        remarks.append("within an edition, but no numbers given")
    order, fresh = _order(db, row, placed, status, rules)
    if not fresh:
        remarks += _disagreements(order, placed, row.get("buyer"), status if row.get("status") else order.status)
    same = orders.line_like(db, order.id, line)
    if same is not None and same not in orders.imported_lines(db, order.id):
        orders.note_imported(db, digest, nth, same)  # typed in by hand before
        return Fate(row.number, "known already", "", "entered by hand", tuple(remarks), same)
    line_id = orders.add_line(db, order.id, line)
    if line.edition_id is not None:
        editions.issue_these(db, line.edition_id, line_id, wanted, old=True)
    orders.note_imported(db, digest, nth, line_id)
    return Fate(row.number, "recorded", "", "", tuple(remarks), line_id)


def _size(row: Row, rules: _Rules) -> tuple[float, float]:
    if row.get("width") and row.get("height"):
        return (values.length_mm(row.get("width"), rules.units.get("width", "cm")),
                values.length_mm(row.get("height"), rules.units.get("height", "cm")))
    return values.size_mm(row.get("size"), rules.units.get("size", "cm"))


def _quantity(text: str, numbered: int) -> int:
    if not text:
        return max(numbered, 1)
    if not text.isdecimal() or int(text) < 1:
        raise ValueError(f"{text!r} is no quantity")
    return int(text)


def _status(text: str, otherwise: str) -> str:
    if not text:
        return otherwise
    word = pieces.folded(text)
    found = next((status for status, words in _STATUS_WORDS.items() if word in words), None)
    if found is None:
        raise ValueError(f"{text!r} is no status; ours are {', '.join(orders.STATUSES)}")
    return found


def piece_of(db: Database, row: Row, make_pieces: bool) -> int:
    artist, title = row.get("artist"), row.get("piece")
    if not title:
        raise ValueError("the row names no piece")
    if artist:
        known = pieces.known_piece(db, artist, title)
        if known is not None:
            return known
    else:
        titled = pieces.titled(db, title)
        if len(titled) == 1:
            return titled[0]
        if titled:
            raise NoPiece(f"{len(titled)} artists have a piece called {title!r}, and the row names none of them.")
    if artist and make_pieces:
        return pieces.piece_called(db, pieces.artist_called(db, artist).id, title, row.get("year"))
    raise NoPiece(f"No piece {title!r}{' by ' + artist if artist else ''} is known.", hint=_guess(db, artist, title))


def _guess(db: Database, artist: str, title: str) -> str:
    from rapidfuzz import fuzz, process

    wanted = pieces.folded(f"{artist} {title}")
    digits = sorted(re.findall(r"\d+", wanted))  # of a numbered series the next number is no slip of the pen
    names = {i: name for i, name in pieces.names(db).items() if sorted(re.findall(r"\d+", name)) == digits}
    near = process.extractOne(wanted, names, scorer=fuzz.token_sort_ratio, score_cutoff=80)
    piece = pieces.by_id(db, near[2]) if near else None
    return f"Perhaps {piece.title!r} by {piece.artist}?" if piece else "Index it, or import with --make-pieces."


def _scan(row: Row, piece_id: int, rules: _Rules) -> tuple[str, str]:
    """``(digest, remark)``: the content the row's file name stands for, where it stands for one only."""
    name, stated = row.get("file"), row.get("sha256").lower()
    if stated:
        if len(stated) != 64 or set(stated) - set("0123456789abcdef"):
            raise ValueError(f"{stated!r} is no SHA-256")
        return stated, ""
    if not name:
        return "", "names no file: cannot tell which scan was printed"
    found = rules.called.get(files.bare_name(name), [])
    tail = name.replace("\\", "/").strip("/")
    for chosen in ([f for f in found if "/" in tail and f"/{f.path}".endswith(f"/{tail}")],
                   [f for f in found if f.piece_id == piece_id], found):
        contents = {f.sha256: f for f in chosen}
        if len(contents) == 1:
            only = next(iter(contents.values()))
            other = only.piece_id is not None and only.piece_id != piece_id
            return only.sha256, f"the file {name!r} is filed under another piece" if other else ""
    return "", (f"{len({f.sha256 for f in found})} different files are called {name!r}: cannot tell which was printed"
                if found else f"no file called {name!r} is known")


def _edition(db: Database, line: NewLine, quantity: int, numbered: int, stated: int | None) -> int:
    edition = editions.applying(db, line.piece_id, line.width_mm, line.height_mm, line.medium)
    if edition is None:
        raise Refused("It gives edition numbers, but no edition of this piece and size is known.",
                      hint="Import the editions first, or set one with: catalogue edition set.")
    if stated is not None and stated != edition.size_limit:
        raise Refused(f"It says of {stated}, but the edition is of {edition.size_limit}.")
    if numbered != quantity:
        raise Refused(f"It has {quantity} prints but {numbered} edition numbers.")
    return edition.id


def _order(db: Database, row: Row, placed: str, status: str, rules: _Rules) -> tuple[Order, bool]:
    number = row.get("number") or f"{placed} {row.get('buyer')}".strip()
    known = orders.maybe(db, number)
    if known is not None:
        return known, False
    orders.save(db, number, placed, buyer=row.get("buyer"), status=status,
                currency=row.get("currency") or rules.settings.currency)
    return orders.by_number(db, number), True


def _disagreements(order: Order, placed: str, buyer: str, status: str) -> list[str]:
    pairs = (("date", order.placed, placed), ("buyer", order.buyer, buyer or order.buyer),
             ("status", order.status, status))
    return [f"the order's {name} is {ours!r}, this row says {theirs!r}" for name, ours, theirs in pairs
            if ours != theirs]
