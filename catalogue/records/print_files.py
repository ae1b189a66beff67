"""Print files: made for order lines, with recipe, digests and place; and confirmed recipes of older ones."""

from dataclasses import asdict, dataclass

from catalogue.records.rows import Database, fetch, fetch_one, insert_row, save_row


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
    """A file in a store that has the bytes of a print file on record, as last seen; ``print_file_id``: its newest.
    ``printed_from``: an order line names these exact bytes as its scan."""

    file_id: int
    scan_id: int
    path: str
    size: int
    mtime_ns: int
    sha256: str
    print_file_id: int
    printed_from: int


@dataclass(frozen=True, slots=True)
class ConfirmedRecipe:
    """The recipe of an old print file as a person confirmed it. ``delta_e``: mean CIEDE2000 between the file and what
    the recipe makes."""

    sha256: str
    recipe: str
    delta_e: float
    confirmed: str


def confirm_recipe(db: Database, confirmed: ConfirmedRecipe) -> None:
    """Record what was confirmed, in the place of an earlier word on that file. Call within a transaction."""
    values = asdict(confirmed)
    save_row(db, "print_recipe", {"sha256": values.pop("sha256")}, values)


def confirmed_recipe(db: Database, sha256: str) -> ConfirmedRecipe | None:
    """The recipe a person confirmed of an old print file; None if nobody did."""
    return fetch_one(db, ConfirmedRecipe, "SELECT * FROM print_recipe WHERE sha256 = ?", [sha256])


def confirmed_of_piece(db: Database, piece_id: int) -> list[ConfirmedRecipe]:
    """Confirmed recipes of the print files that show a piece, newest first."""
    return fetch(db, ConfirmedRecipe, """
        SELECT r.* FROM print_recipe r JOIN scan s ON s.sha256 = r.sha256
        WHERE s.piece_id = ? ORDER BY r.confirmed DESC, r.sha256""", [piece_id])


def in_store(db: Database, store_id: int) -> list[StoredPrintFile]:
    """Print files on record that are in a store, by path; none that is a master, a tile or a reference."""
    return fetch(db, StoredPrintFile, """
        SELECT f.id AS file_id, s.id AS scan_id, f.path, f.size, f.mtime_ns, s.sha256, max(m.id) AS print_file_id,
               EXISTS (SELECT 1 FROM order_line l WHERE l.scan_sha256 = s.sha256) AS printed_from
        FROM file f JOIN scan s ON s.id = f.scan_id JOIN print_file m ON m.sha256 = s.sha256
        WHERE f.store_id = ? AND f.state = 'present' AND s.role IN ('print file', 'unsorted')
        GROUP BY f.id ORDER BY f.path""", [store_id])


def add(db: Database, file: PrintFile) -> int:
    """Record a print file that is not on record; returns its id. Call within a transaction."""
    return insert_row(db, "print_file", {name: value for name, value in asdict(file).items() if name != "id"})


def by_id(db: Database, file_id: int) -> PrintFile | None:
    """The print file of that id; None if there is none."""
    return fetch_one(db, PrintFile, "SELECT * FROM print_file WHERE id = ?", [file_id])


def of_line(db: Database, line_id: int) -> list[PrintFile]:
    """What was made for one order line, newest first."""
    return fetch(db, PrintFile, "SELECT * FROM print_file WHERE line_id = ? ORDER BY id DESC", [line_id])


def profiles_named(db: Database) -> list[str]:
    """SHA-256 of every profile that recipes on record convert to."""
    return [row[0] for row in db.execute("""
        SELECT DISTINCT json_extract(recipe, '$.profile_sha256') AS digest
        FROM (SELECT recipe FROM print_file UNION ALL SELECT recipe FROM print_recipe)
        WHERE digest <> '' ORDER BY digest""")]


def embedding(db: Database, profile_sha256: str) -> list[tuple[str, str]]:
    """Root and stored path of the files that should embed a profile: print files where they were put, newest first,
    then what is in stores."""
    made = db.execute("""SELECT folder, name FROM print_file WHERE json_extract(recipe, '$.profile_sha256') = ?
                         ORDER BY id DESC""", [profile_sha256])
    stored = db.execute("""SELECT t.root, f.path FROM file f JOIN scan s ON s.id = f.scan_id
                           JOIN store t ON t.id = f.store_id
                           WHERE s.profile_digest = ? AND f.state = 'present' AND t.forgotten IS NULL
                           ORDER BY f.size, f.id""", [profile_sha256])
    return [("/", f"{folder[1:]}/{name}") for folder, name in made] + [(root, path) for root, path in stored]


def newest_of_pixels(db: Database, pixel_digest: str) -> PrintFile | None:
    """The newest making that gave these pixels: for a file that is met in a store."""
    return fetch_one(db, PrintFile, "SELECT * FROM print_file WHERE pixel_digest = ? ORDER BY id DESC LIMIT 1",
                     [pixel_digest])


def last_time(db: Database, line_id: int) -> PrintFile | None:
    """The newest print file of a line, or of the nearest line that it repeats for which one was made."""
    return fetch_one(db, PrintFile, """
        WITH RECURSIVE before (id, depth) AS (
            SELECT ?, 0
            UNION SELECT l.repeat_of, b.depth + 1 FROM before b JOIN order_line l ON l.id = b.id
            WHERE l.repeat_of IS NOT NULL AND b.depth < 1000)
        SELECT f.* FROM print_file f JOIN before b ON b.id = f.line_id
        ORDER BY b.depth, f.id DESC LIMIT 1""", [line_id])
