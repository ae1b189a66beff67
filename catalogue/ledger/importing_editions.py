"""Importing editions from a CSV file, by the same rules as orders."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from catalogue.ledger import columns, editions
from catalogue.ledger.book_dates import BookDates
from catalogue.ledger.columns import Row
from catalogue.ledger.importing import Fate, Outcome, RowFate, import_rows, need_columns, taken
from catalogue.ledger.rows import piece_of, size_of
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records import editions as recorded
from catalogue.records.database import Database
from catalogue.records.pieces import folded
from catalogue.settings import Settings

_ONE_SIZE = ("one size", "each size", "size", "this size", "per size", "single size")
_ALL_SIZES = ("", "all sizes", "all", "any", "any size")


def import_editions(db: Database, settings: Settings, path: Path, *, mapping: Mapping[str, str] | None = None,
                    dates: Sequence[str] = (), make_pieces: bool = False, dry_run: bool = False,
                    report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Outcome:
    """Import editions from a CSV file, all in one transaction; see :func:`catalogue.ledger.importing.import_orders`.

    A row without a scope is of one size when it gives a size, else of all sizes.
    """
    table = columns.read_table(path, columns.EDITIONS, mapping or {})
    need_columns(table, path, ("piece", "limit"), "limit=Auflage")
    names: dict[int, str] = {}
    written = (row.get(name) for row in table.rows for name in ("opened", "closed"))
    book_dates = BookDates(written, settings.dates, dates)

    def take(row: Row) -> Fate:
        text = " · ".join(filter(None, (row.get("artist"), row.get("piece"), f"of {row.get('limit')}")))
        return taken(db, row, text, lambda: replace(_defined(
            db, row, table.units, book_dates, make_pieces, names), text=text))

    done = import_rows(db, table, "Importing editions", table.rows, take, dry_run=dry_run, report=report,
                       cancelled=cancelled)
    return replace(done, notes=tuple(book_dates.notes))


def _defined(db: Database, row: Row, units: Mapping[str, str], dates: BookDates, make_pieces: bool,
             names: dict[int, str]) -> Fate:
    if not all(text.isdecimal() and len(text) < 9 for text in (row.get("limit"), row.get("proofs") or "0")):
        raise ValueError(f"{row.get('limit')!r} and {row.get('proofs')!r} are not an edition size and a number of "
                         "proofs")
    sized = row.get("size") or (row.get("width") and row.get("height"))
    width, height = size_of(row, units) if sized else (None, None)
    scope = folded(row.get("scope")) if row.get("scope") else ("one size" if width else "")
    if scope not in _ONE_SIZE + _ALL_SIZES:
        raise ValueError(f"{row.get('scope')!r} is not a scope; say one size or all sizes")
    single = scope in _ONE_SIZE
    piece_id, taken_for = piece_of(db, row, make_pieces, names)
    opened, closed = (dates.day(row.get(name)) if row.get(name) else "" for name in ("opened", "closed"))
    before = recorded.of_piece(db, piece_id)
    editions.define(db, piece_id, int(row.get("limit")), proofs=int(row.get("proofs") or 0),
                    scope="one size" if single else "all sizes", width_mm=width if single else None,
                    height_mm=height if single else None, medium=row.get("medium"), opened=opened, closed=closed,
                    notes=row.get("notes"))
    fate = RowFate.KNOWN if recorded.of_piece(db, piece_id) == before else RowFate.RECORDED
    return Fate(row.number, fate, "", remarks=(taken_for,) if taken_for else ())
