"""Importing artists, buyers and pieces from a CSV file, by the same rules as orders."""

from collections.abc import Callable, Mapping
from pathlib import Path

from catalogue.ledger import buyers, columns, values
from catalogue.ledger.columns import Row
from catalogue.ledger.importing import Fate, Outcome, RowFate, import_rows, need_columns, taken
from catalogue.ledger.rows import NoPiece, piece_of
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records import pieces
from catalogue.records.database import Database

Take = Callable[[Row], bool | str]  # whether the row was new; or that it was, with remarks


def import_artists(db: Database, path: Path, *, mapping: Mapping[str, str] | None = None, dry_run: bool = False,
                   report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Outcome:
    """Import artists with contact, terms and notes; an empty cell leaves what is known."""

    def take(row: Row) -> bool:
        if not row.get("artist"):
            raise ValueError("the row names no artist")
        count = pieces.counts(db)["artist"]
        known = pieces.artist_called(db, row.get("artist"))
        pieces.describe_artist(db, known.id, **{name: row.get(name) for name in ("contact", "terms", "notes")
                                                if row.get(name)})
        return known != pieces.artist_by_id(db, known.id) or pieces.counts(db)["artist"] > count

    return _imported(db, path, columns.ARTISTS, ("artist",), mapping, take, dry_run, report, cancelled)


def import_buyers(db: Database, path: Path, *, mapping: Mapping[str, str] | None = None, dry_run: bool = False,
                  report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Outcome:
    """Import buyers with contact, notes and other spellings; an empty cell leaves what is known.

    A spelling that is another buyer's already leaves the row out.
    """

    def take(row: Row) -> bool:
        if not pieces.folded(row.get("buyer")):
            raise ValueError("the row names no buyer")
        return buyers.take_in(db, row.get("buyer"), row.get("contact"), row.get("notes"),
                              [name.strip() for name in row.get("spellings").split("|") if name.strip()])

    return _imported(db, path, columns.BUYERS, ("buyer",), mapping, take, dry_run, report, cancelled)


def import_pieces(db: Database, path: Path, *, mapping: Mapping[str, str] | None = None, make_pieces: bool = False,
                  dry_run: bool = False, report: Report = ignore_progress,
                  cancelled: Cancelled = never_cancelled) -> Outcome:
    """Import what is known of originals; an empty cell leaves what is known. Sizes in cm unless the heading says."""
    units: dict[str, str] = dict(columns.read_table(path, columns.PIECES, mapping or {}).units)
    names: dict[int, str] = {}

    def take(row: Row) -> bool | str:
        count = pieces.counts(db)["piece"]
        piece_id, taken_for = piece_of(db, row, make_pieces, names)
        known = pieces.by_id(db, piece_id)
        if known is None:
            raise NoPiece("The piece no longer exists.")
        facts: dict[str, object] = {
            f"{name}_mm": values.length_mm(row.get(name), units.get(name, unit))
            for name, unit in (("width", "cm"), ("height", "cm"), ("relief", "mm")) if row.get(name)}
        if row.get("size") and not row.get("width"):
            facts["width_mm"], facts["height_mm"] = values.size_mm(row.get("size"), units.get("size", "cm"))
        facts |= {fact: row.get(name) for fact, name in (
            ("year", "year"), ("series", "series"), ("inventory_number", "inventory"), ("medium", "medium"),
            ("notes", "notes")) if row.get(name)}
        pieces.describe(db, piece_id, **facts)
        return (known != pieces.by_id(db, piece_id) or pieces.counts(db)["piece"] > count) and (taken_for or True)

    return _imported(db, path, columns.PIECES, ("piece",), mapping, take, dry_run, report, cancelled)


def _imported(db: Database, path: Path, ours: Mapping[str, tuple[str, ...]], needed: tuple[str, ...],
              mapping: Mapping[str, str] | None, take: Take, dry_run: bool, report: Report,
              cancelled: Cancelled) -> Outcome:
    table = columns.read_table(path, ours, mapping or {})
    need_columns(table, path, needed, f"{needed[0]}=Name")

    def fate_of(row: Row) -> Fate:
        text = " · ".join(filter(None, (row.get("artist"), row.get("piece"))))
        return taken(db, row, text, lambda: _fate(row, text, take(row)))

    return import_rows(db, table, "Importing", table.rows, fate_of, dry_run=dry_run, report=report, cancelled=cancelled)


def _fate(row: Row, text: str, news: bool | str) -> Fate:
    remarks = (news,) if isinstance(news, str) else ()
    return Fate(row.number, RowFate.RECORDED if news else RowFate.KNOWN, text, remarks=remarks)
