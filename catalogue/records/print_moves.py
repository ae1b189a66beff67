"""Where the prints of an edition are: stated moves, and the default where none was stated."""

from dataclasses import asdict, dataclass

from catalogue.records.database import Database, fetch
from catalogue.records.order_states import LINE_STATUS
from catalogue.records.rows import insert_row

PLACES = ("shop", "artist", "buyer", "consigned")


@dataclass(frozen=True, slots=True)
class PrintMove:
    """A print that went to a place on an ISO day. ``holder`` says who has it, where the place alone does not."""

    edition_id: int
    series: str
    number: int
    nth: int
    day: str
    place: str
    holder: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LivingPrint(PrintMove):
    """The newest print of an edition's number, the order it was made for, and its last move, empty if none is."""

    artist: str
    title: str
    state: str          # reserved, printed or destroyed
    destroyed: str
    order_number: str
    placed: str
    status: str
    buyer: str
    width_mm: float | None
    height_mm: float | None
    medium: str
    scan_sha256: str


def add(db: Database, move: PrintMove) -> int:
    """Keep a move; returns its id. Call within a transaction."""
    return insert_row(db, "print_move", asdict(move))


def prints(db: Database, edition_id: int | None = None) -> list[LivingPrint]:
    """The newest print of each number of an edition, or of all of them, by artist, title and number."""
    return fetch(db, LivingPrint, f"""
        SELECT n.edition_id, a.name AS artist, p.title, n.series, n.number, n.nth, n.state, n.destroyed,
               coalesce(o.number, '') AS order_number, coalesce(o.placed, '') AS placed,
               coalesce({LINE_STATUS}, '') AS status,
               coalesce(s.name, o.buyer, '') AS buyer, l.width_mm, l.height_mm,
               coalesce(l.medium, '') AS medium, coalesce(l.scan_sha256, '') AS scan_sha256,
               coalesce(m.place, '') AS place,
               coalesce(m.holder, '') AS holder, coalesce(m.day, '') AS day, coalesce(m.notes, '') AS notes
        FROM edition_print n JOIN edition e ON e.id = n.edition_id JOIN piece p ON p.id = e.piece_id
        JOIN artist a ON a.id = p.artist_id
        LEFT JOIN order_line l ON l.id = n.line_id LEFT JOIN orders o ON o.id = l.order_id
        LEFT JOIN order_buyer b ON b.order_id = o.id LEFT JOIN buyer_stated s ON s.key = b.buyer
        LEFT JOIN print_move m ON m.id = (
            SELECT x.id FROM print_move x WHERE x.edition_id = n.edition_id AND x.series = n.series
                   AND x.number = n.number AND x.nth = n.nth ORDER BY x.day DESC, x.id DESC LIMIT 1)
        WHERE (?1 IS NULL OR n.edition_id = ?1) AND NOT EXISTS (
            SELECT 1 FROM edition_print y WHERE y.edition_id = n.edition_id AND y.series = n.series
                   AND y.number = n.number AND y.nth > n.nth)
        ORDER BY a.key, p.key, n.edition_id, n.series, n.number""", [edition_id])
