"""An artist's holdings as one self-contained HTML page: pictures, sizes, editions; no buyers and no prices."""

from dataclasses import dataclass
from datetime import date

from catalogue.dates import shown_day
from catalogue.ledger import editions, values
from catalogue.progress import Progress, Report, ignore_progress
from catalogue.reading.printsize import PrintSize, prints_up_to
from catalogue.records import browsing, copies, orders, pieces, scans
from catalogue.records import editions as recorded
from catalogue.records.database import Database
from catalogue.records.pieces import Piece
from catalogue.records.scans import Scan
from catalogue.settings import Home, Settings
from catalogue.sheets.page import picture_uri, render

PICTURE_SIDE = 480  # pixels: sharp on a telephone, some 30 kB each
PAGE = 500          # pieces asked for at a time


@dataclass(frozen=True, slots=True)
class EditionShown:
    label: str
    left: str


@dataclass(frozen=True, slots=True)
class Work:
    """One piece as an artist sees it."""

    title: str
    year: str
    original: str
    picture: str
    scan: str
    sizes: tuple[PrintSize, ...]
    editions: tuple[EditionShown, ...]
    printed: str


def holdings(db: Database, home: Home, artist_id: int, *, report: Report = ignore_progress) -> str:
    """The page, as HTML. Raises NotFound."""
    artist = pieces.get_artist(db, artist_id)
    works, page = [], browsing.pieces(db, artist_id, None, PAGE)
    while page:
        for row in page:
            piece = pieces.by_id(db, row.id)
            if piece is not None:
                works.append(_work(db, home, piece))
            report(Progress("Holdings", len(works)))
        page = browsing.pieces(db, artist_id, page[-1], PAGE)
    return render("holdings.html", artist=artist, works=works,
                  today=shown_day(date.today().isoformat(), home.settings.dates))


def _work(db: Database, home: Home, piece: Piece) -> Work:
    scan = scans.by_id(db, piece.current_scan_id) if piece.current_scan_id else None
    sizes = (prints_up_to(scan.width, scan.height, home.settings.print_ppi)
             if scan and scan.width and scan.height else ())
    shown = tuple(EditionShown(editions.label(edition), _left(editions.state(db, edition), home.settings.dates))
                  for edition in recorded.of_piece(db, piece.id))
    return Work(piece.title, piece.year, _original(db, piece, scan),
                picture_uri(home, scan.sha256, PICTURE_SIDE) if scan else "", _kept(db, scan, home.settings),
                sizes, shown, _printed(db, piece, home.settings.dates))


def _original(db: Database, piece: Piece, scan: Scan | None) -> str:
    """The original's size: measured by a person, else as the scan states it."""
    if size := values.shown_size(piece.width_mm, piece.height_mm):
        return size
    picture = scans.picture(db, scan.id) if scan else None
    if picture and picture.width_mm and picture.height_mm:
        return f"{values.measured_size(picture.width_mm, picture.height_mm)} by its scan"
    return ""


def _kept(db: Database, scan: Scan | None, settings: Settings) -> str:
    if scan is None:
        return "No master scan yet."
    held = copies.of_scan(db, scan.id)
    size = f"{scan.width} × {scan.height} pixels, {scan.bits} bit" if scan.width else "Not decoded"
    count = held.counted(one_disk=settings.copies_on_one_disk)
    return (f"{size}, kept in {count} {'copy' if count == 1 else 'copies'}"
            + (f", last checked {shown_day(held.checked_at, settings.dates)}." if held.checked_at else "."))


def _left(state: editions.State, dates: str) -> str:
    if state.edition.closed:
        return f"closed {shown_day(state.edition.closed, dates)}, {state.numbers_out} issued"
    proofs = f"; {state.proofs_left} AP left" if state.edition.proofs else ""
    return f"{state.numbers_out} issued, {state.numbers_left} left{proofs}"


def _printed(db: Database, piece: Piece, dates: str) -> str:
    lines = [line for line in orders.lines_of_piece(db, piece.id) if line.status in orders.MADE]
    if not lines:
        return ""
    count = sum(line.quantity for line in lines)
    last = shown_day(lines[0].placed, dates)
    return f"{count} {'print' if count == 1 else 'prints'} so far, the last ordered {last}."
