"""Print files that were made for order lines: recipe, digests, and where each was put."""

from dataclasses import asdict, dataclass

from catalogue.records.rows import Database, fetch, fetch_one, insert_row


@dataclass(frozen=True, slots=True)
class PrintFile:
    """A print file as made; ``id`` is 0 until it is on record. ``recipe`` and ``versions`` are JSON; ``folder`` is in
    the form of kept paths."""

    line_id: int
    made: str
    recipe: str
    versions: str
    width: int
    height: int
    size: int
    sha256: str
    pixel_digest: str
    folder: str
    name: str
    id: int = 0


@dataclass(frozen=True, slots=True)
class StoredPrintFile:
    """A file in a store that has the bytes of a print file on record, as last seen; ``print_file_id``: its newest."""

    file_id: int
    path: str
    size: int
    sha256: str
    print_file_id: int


def in_store(db: Database, store_id: int) -> list[StoredPrintFile]:
    """Print files on record that lie in a store, by path; none that is a master, a tile or a reference."""
    return fetch(db, StoredPrintFile, """
        SELECT f.id AS file_id, f.path, f.size, s.sha256, max(m.id) AS print_file_id
        FROM file f JOIN scan s ON s.id = f.scan_id JOIN print_file m ON m.sha256 = s.sha256
        WHERE f.store_id = ? AND f.state = 'present' AND s.role IN ('print file', 'unsorted')
        GROUP BY f.id ORDER BY f.path""", [store_id])


def add(db: Database, file: PrintFile) -> int:
    """Record a print file that is not on record; gives its id. Call within a transaction."""
    return insert_row(db, "print_file", {name: value for name, value in asdict(file).items() if name != "id"})


def by_id(db: Database, file_id: int) -> PrintFile | None:
    return fetch_one(db, PrintFile, "SELECT * FROM print_file WHERE id = ?", [file_id])


def of_line(db: Database, line_id: int) -> list[PrintFile]:
    """What was made for one order line, newest first."""
    return fetch(db, PrintFile, "SELECT * FROM print_file WHERE line_id = ? ORDER BY id DESC", [line_id])


def last_time(db: Database, line_id: int) -> PrintFile | None:
    """The newest print file of a line, or of the nearest line that it repeats for which one was made."""
    return fetch_one(db, PrintFile, """
        WITH RECURSIVE before (id, depth) AS (
            SELECT ?, 0
            UNION SELECT l.repeat_of, b.depth + 1 FROM before b JOIN order_line l ON l.id = b.id
            WHERE l.repeat_of IS NOT NULL AND b.depth < 1000)
        SELECT f.* FROM print_file f JOIN before b ON b.id = f.line_id
        ORDER BY b.depth, f.id DESC LIMIT 1""", [line_id])
