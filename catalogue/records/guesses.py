"""Artist, piece and role guessed for each scan from path and tags: derived, replaced at any time."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from catalogue.disjoint import tied_sets
from catalogue.reading.model import Metadata
from catalogue.records.folding import fold_name
from catalogue.records.rows import Database, exists, fetch, fetch_int, fetch_one, save_row
from catalogue.records.scans import metadata_of


@dataclass(frozen=True, slots=True)
class Guess:
    """Artist, title, year, inventory number, role and series as guessed; empty if nothing suggests it. ``reason``:
    from what, a line for each of them (see ``records.provenance``)."""

    artist: str = ""
    title: str = ""
    year: str = ""
    number: str = ""
    role: str = "unsorted"
    reason: str = ""
    series: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guessed(Guess):
    """A scan with a guess on record and one file it is in, present ones and primary stores first. ``upgraded``: 1
    where an older program left no word of where its values came from."""

    scan_id: int
    path: str
    format: str
    upgraded: int
    piece_id: int | None

    @property
    def guess(self) -> Guess:
        return Guess(self.artist, self.title, self.year, self.number, self.role, self.reason, self.series)


@dataclass(frozen=True, slots=True)
class Located:
    """A scan by the names of its files, as guessing needs it: those present in a primary store, where there are any,
    each name once. ``group``: scans of one group show one piece, as a person confirmed. ``width`` and ``height`` in
    pixels, None if nothing was decoded."""

    scan_id: int
    paths: tuple[str, ...]
    format: str
    width: int | None
    height: int | None
    metadata: Metadata
    group: int | None


_LISTED = """
    SELECT g.scan_id, f.path, c.format, g.artist, g.title, g.year, g.number, g.role, g.reason, g.upgraded, g.piece_id,
           g.series
    FROM scan_guess g JOIN scan c ON c.id = g.scan_id JOIN file f ON f.id = (
        SELECT f.id FROM file f JOIN store s ON s.id = f.store_id WHERE f.scan_id = g.scan_id
        ORDER BY s.forgotten IS NOT NULL, f.state = 'missing', s.kind <> 'primary', f.id LIMIT 1)"""


def of_scan(db: Database, scan_id: int) -> Guess | None:
    """What is guessed of a scan; None if nothing is."""
    return fetch_one(db, Guess, """SELECT artist, title, year, number, role, reason, series FROM scan_guess
                                WHERE scan_id = ?""", [scan_id])


def save(db: Database, scan_id: int, guess: Guess) -> None:
    """Keep a guess in place of the one before."""
    save_row(db, "scan_guess", {"scan_id": scan_id}, {
        "artist": guess.artist, "artist_key": fold_name(guess.artist), "title": guess.title,
        "title_key": fold_name(guess.title), "year": guess.year, "number": guess.number, "role": guess.role,
        "reason": guess.reason, "series": guess.series, "upgraded": 0})


def scans_without_guess(db: Database) -> list[int]:
    """Scans in some file that were never guessed."""
    return [int(row[0]) for row in db.execute("""
        SELECT c.id FROM scan c LEFT JOIN scan_guess g ON g.scan_id = c.id WHERE g.scan_id IS NULL
        AND EXISTS (SELECT 1 FROM file f WHERE f.scan_id = c.id)""")]


def count(db: Database) -> int:
    """How many scans are on record."""
    return fetch_int(db, "SELECT count(*) FROM scan")


def artists(db: Database) -> list[str]:
    """Names of guessed artists. Statements do not count: guesses follow from observed facts only."""
    return [str(row[0]) for row in db.execute("SELECT DISTINCT artist FROM scan_guess WHERE artist <> '' ORDER BY 1")]


def located(db: Database, *, near: Collection[int] | None = None) -> list[Located]:
    """Every scan that has a file, or those that are in the same folders as the scans ``near``, a level up included."""
    paths: dict[int, list[str]] = {}
    ranks: dict[int, int] = {}
    for scan_id, path, rank in db.execute("""
            SELECT f.scan_id, f.path,
                   4 * (s.forgotten IS NOT NULL) + 2 * (f.state = 'missing') + (s.kind <> 'primary') AS rank
            FROM file f JOIN store s ON s.id = f.store_id WHERE f.scan_id IS NOT NULL
            ORDER BY f.scan_id, rank, f.id"""):
        names = paths.setdefault(int(scan_id), [])
        if rank == ranks.setdefault(int(scan_id), rank) and path not in names:
            names.append(str(path))
    if near is not None:
        folders = {_around(path) for scan_id in near for path in paths.get(scan_id, ())}
        paths = {scan_id: names for scan_id, names in paths.items()
                 if scan_id in near or any(_around(path) in folders for path in names)}
    groups = _confirmed_groups(db)
    scans = []
    for scan_id, names in paths.items():
        row = db.execute("SELECT format, width, height, metadata FROM scan WHERE id = ?", [scan_id]).fetchone()
        scans.append(Located(scan_id, tuple(names), str(row[0]), row[1], row[2], metadata_of(str(row[3])),
                             groups.get(scan_id)))
    return scans


def _around(path: str) -> str:
    """The folder above a file's own: a piece's tiles and print files often are in folders beside each other."""
    return "/".join(path.split("/")[:-2])


def _confirmed_groups(db: Database) -> dict[int, int]:
    """A number for each set of scans that confirmed pairs tie together."""
    pairs = [(int(a), int(b)) for a, b in db.execute(
        "SELECT a_scan_id, b_scan_id FROM likeness WHERE verdict = 'confirmed' ORDER BY id")]
    sets = tied_sets((scan_id for pair in pairs for scan_id in pair), pairs)
    return {scan_id: tied[0] for tied in sets for scan_id in tied}


def listed(db: Database) -> Iterator[Guessed]:
    """Every scan that has a file, with its guess; read before anything is written."""
    yield from fetch(db, Guessed, _LISTED + " ORDER BY g.scan_id")


def upgraded(db: Database, limit: int) -> list[Guessed]:
    """Scans whose guess an older program left without a reason."""
    if not exists(db, "SELECT 1 FROM scan_guess WHERE upgraded = 1"):
        return []
    db.execute("""UPDATE scan_guess SET upgraded = 0 WHERE upgraded = 1
                  AND NOT EXISTS (SELECT 1 FROM file WHERE file.scan_id = scan_guess.scan_id)""")
    return fetch(db, Guessed, _LISTED + " WHERE g.upgraded = 1 ORDER BY g.scan_id LIMIT ?", [limit])


def upgraded_of_piece(db: Database, piece_id: int) -> list[Guessed]:
    """Those of :func:`upgraded` that were filed under one piece."""
    return fetch(db, Guessed, _LISTED + " WHERE g.upgraded = 1 AND g.piece_id = ? ORDER BY g.scan_id", [piece_id])


def accept_upgraded(db: Database, scan_id: int) -> None:
    """Record that a guess left by an older program was reviewed."""
    db.execute("UPDATE scan_guess SET upgraded = 0 WHERE scan_id = ?", [scan_id])
