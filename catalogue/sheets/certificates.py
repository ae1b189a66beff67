"""The numbered list of an edition: for certificates, and for finding any one print."""

from collections import Counter
from dataclasses import dataclass, replace
from datetime import date

from catalogue.dates import shown_day
from catalogue.ledger import editions, values
from catalogue.ledger.whereabouts import Whereabouts, place_in_words, whereabouts_of
from catalogue.records import editions as recorded
from catalogue.records import pieces, print_moves
from catalogue.records.database import Database
from catalogue.records.editions import Edition, Issued
from catalogue.records.numbers import Number, roman
from catalogue.records.print_moves import LivingPrint
from catalogue.settings import Settings
from catalogue.sheets.page import render
from catalogue.spreadsheets import csv_table


@dataclass(frozen=True, slots=True)
class Row:
    """One print that is out. ``number`` is as it stands on the print: ``7/25``, ``AP II/III``."""

    number: str
    artist: str
    title: str
    year: str
    size: str
    medium: str
    order: str
    date: str
    shown_date: str
    buyer: str
    sha256: str
    remarks: str
    lost: bool
    where: str


@dataclass(frozen=True, slots=True)
class Certificates:
    rows: tuple[Row, ...]
    as_csv: str
    as_html: str


def certificates(db: Database, settings: Settings, edition_id: int) -> Certificates:
    """Every print of an edition that is out, numbers first, then proofs. Raises NotFound."""
    edition = editions.get_edition(db, edition_id)
    piece = pieces.get_piece(db, edition.piece_id)
    living = print_moves.prints(db, edition_id)
    prints = [whereabouts_of(print_) for print_ in living]
    known = {held.number: (print_, place_in_words(held)) for print_, held in zip(living, prints, strict=True)}
    rows = tuple(_row(print_, *known[Number(print_.series, print_.number)], piece, edition, settings)
                 for print_ in recorded.issued(db, edition_id))
    opened, closed = (shown_day(text, settings.dates) for text in (edition.opened, edition.closed))
    page = render("certificates.html", piece=piece, state=editions.state(db, edition), label=editions.label(edition),
                  rows=rows, counts=_counts(prints), remarked=any(row.remarks for row in rows), opened=opened,
                  closed=closed,
                  today=shown_day(date.today().isoformat(), settings.dates))
    names = ("number", "artist", "title", "year", "size", "medium", "order", "date", "buyer", "sha256", "where",
             "remarks")
    return Certificates(rows, csv_table(names, ([getattr(row, name) for name in names] for row in rows)), page)


def _row(print_: Issued, living: LivingPrint, where: str, piece: pieces.Piece, edition: Edition,
         settings: Settings) -> Row:
    """A number's row: size, medium, order, buyer and scan are those of its newest print, which may be a reprint."""
    number = (f"AP {roman(print_.number)}/{roman(edition.proofs)}" if print_.series == "proof"
              else f"{print_.number}/{edition.size_limit}")
    remarks = []
    if print_.destroyed:
        first = f" in order {print_.order_number}" if print_.replaced_in and print_.order_number else ""
        remarks.append(f"{f'printed{first}, ' * bool(first)}destroyed "
                       f"{shown_day(print_.destroyed, settings.dates)}: {print_.reason}")
    if print_.replaced_in:
        remarks.append(f"reprinted in order {print_.replaced_in}")
    size = values.shown_size(living.width_mm, living.height_mm)
    return Row(number, piece.artist, piece.title, piece.year, size, living.medium, living.order_number, living.placed,
               shown_day(living.placed, settings.dates), living.buyer, living.scan_sha256, "; ".join(remarks),
               print_.lost, where)


def _counts(prints: list[Whereabouts]) -> str:
    """``"2 with the buyer, 1 on consignment"``."""
    counts = Counter(place_in_words(replace(print_, holder="")) for print_ in prints)
    return ", ".join(f"{count} {words}" for words, count in counts.items())
