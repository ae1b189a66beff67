"""Scan rows: one distinct image content, one SHA-256."""

import json
import struct
import zlib
from dataclasses import dataclass

from catalogue.reading.model import Metadata, Note, Page, Picture, PictureHash, Reading, SegmentDigest, Stated
from catalogue.records import stale_rows, stated_facts
from catalogue.records.rows import Database, fetch, fetch_int, fetch_one, fetch_text, now, save_row
from catalogue.records.transactions import recompute, transaction

ROLES = ("master", "tile", "print file", "reference", "unsorted")


@dataclass(frozen=True, slots=True)
class Scan:
    id: int
    sha256: str
    pixel_digest: str
    bytes: int
    format: str
    width: int | None
    height: int | None
    bits: int | None
    samples: int | None
    photometric: str
    compression: str
    ppi_x: float | None
    ppi_y: float | None
    profile_name: str
    profile_digest: str
    role: str
    role_source: str
    piece_id: int | None
    piece_source: str
    title: str
    creator: str
    captured: str
    device: str
    has_preview: int
    first_indexed: str


@dataclass(frozen=True, slots=True)
class UnfiledScan:
    """A scan of no piece, and one of its files."""

    sha256: str
    role: str
    store: str
    path: str


COLUMNS = ", ".join(f"scan.{name}" for name in Scan.__dataclass_fields__)


def without_piece(db: Database) -> list[UnfiledScan]:
    """Scans that are filed under no piece, each with one file that holds it, by store and path."""
    return fetch(db, UnfiledScan, """
        SELECT s.sha256, s.role, t.name AS store, min(f.path) AS path
        FROM scan s JOIN file f ON f.scan_id = s.id JOIN store t ON t.id = f.store_id
        WHERE s.piece_id IS NULL AND f.state = 'present' AND t.forgotten IS NULL
        GROUP BY s.id ORDER BY t.name, path""")


def by_digest(db: Database, sha256: str) -> Scan | None:
    """The scan of that SHA-256; None if there is none."""
    return fetch_one(db, Scan, f"SELECT {COLUMNS} FROM scan WHERE sha256 = ?", [sha256])


def by_id(db: Database, scan_id: int) -> Scan | None:
    """The scan of that id; None if there is none."""
    return fetch_one(db, Scan, f"SELECT {COLUMNS} FROM scan WHERE id = ?", [scan_id])


def starting_with(db: Database, digits: str) -> list[Scan]:
    """Scans whose SHA-256 begins so; at most ten."""
    return fetch(db, Scan, f"SELECT {COLUMNS} FROM scan WHERE sha256 >= ? AND sha256 < ? || 'g' LIMIT 10",
                 [digits, digits])


def in_files_called(db: Database, name: str) -> list[tuple[str, Scan]]:
    """``(store:path, scan)`` for files of this path, ``store:path`` or bare name, one for each content; at most 50."""
    tail = name.replace("\\", "/").strip("/")
    rows = db.execute(f"""
        SELECT s.name || ':' || f.path AS place, {COLUMNS} FROM file f JOIN scan ON scan.id = f.scan_id
        JOIN store s ON s.id = f.store_id
        WHERE s.forgotten IS NULL AND (f.path = ?1 OR s.name || ':' || f.path = ?1
                                       OR substr(f.path, -length(?1) - 1) = '/' || ?1)
        GROUP BY scan.id ORDER BY place LIMIT 50""", [tail]).fetchall()
    return [(str(row[0]),
             Scan(**{key: row[key] for key in row.keys() if key != "place"})) for row in rows]  # noqa: SIM118


def of_piece(db: Database, piece_id: int) -> list[Scan]:
    """A piece's scans: current master first, then masters, tiles, print files, the rest."""
    return fetch(db, Scan, f"""
        SELECT {COLUMNS} FROM scan JOIN piece ON piece.id = scan.piece_id WHERE piece_id = ?
        ORDER BY scan.id IS NOT piece.current_scan_id,
                 CASE role WHEN 'master' THEN 0 WHEN 'tile' THEN 1 WHEN 'print file' THEN 2 ELSE 3 END,
                 captured DESC, scan.id""", [piece_id])


def save_reading(db: Database, reading: Reading) -> int:
    """Record a reading's content; returns the scan's id. Role and piece follow from guess and statements."""
    picture, meta = reading.picture, reading.metadata
    facts = {
        "pixel_digest": reading.pixel_digest, "format": reading.format, "title": meta.title, "creator": meta.creator,
        "captured": meta.captured, "device": " ".join(filter(None, (meta.make, meta.model))),
        **{name: getattr(picture, name, None) for name in ("width", "height", "bits", "samples", "ppi_x", "ppi_y")},
        **{name: getattr(picture, name, "") for name in (
            "photometric", "compression", "profile_name", "profile_digest")},
        "picture": _json(picture) if picture else "{}", "metadata": _json(meta), "notes": _json(reading.notes),
        **({"has_preview": 1} if reading.preview is not None else {})}  # one that was made before is kept
    save_row(db, "scan", {"sha256": reading.sha256}, facts, {"bytes": reading.size, "first_indexed": now()})
    scan_id = fetch_int(db, "SELECT id FROM scan WHERE sha256 = ?", [reading.sha256])
    stale_rows.mark_stale(db, "scan", [scan_id])  # a statement may have been made of these bytes before they came
    db.conn.executemany("INSERT OR REPLACE INTO picture_hash VALUES (?, ?, ?, ?, ?)",
                        [(scan_id, h.algorithm, h.orientation, h.value, h.library) for h in reading.hashes])
    if reading.segments:
        packed = b"".join(_SEGMENT.pack(s.offset, s.length, int(s.digest, 16), s.x, s.y, s.width, s.height)
                          for s in reading.segments)
        db.execute("INSERT OR REPLACE INTO segment VALUES (?, ?)", [scan_id, zlib.compress(packed)])
    return scan_id


def _json(value: object) -> str:
    """Dataclasses as JSON objects; their fields are not copied first, which took a tenth of the recording."""
    return json.dumps(value, default=lambda item: {name: getattr(item, name) for name in item.__dataclass_fields__})


def set_role(db: Database, scan_id: int, role: str | None) -> None:
    """State a scan's role; None leaves it to the guess again."""
    _state(db, scan_id, {"role": role})


def set_piece(db: Database, scan_id: int, piece_id: int | None) -> None:
    """State which piece a scan shows; None leaves it to guess and likeness again."""
    _state(db, scan_id, {"piece_id": piece_id})


def set_content_fault(db: Database, scan_id: int, fault: str) -> None:
    """What is wrong with the bytes themselves: ``truncated``, ``damaged``, ``undecoded`` or ""."""
    db.execute("UPDATE scan SET content_fault = ?1 WHERE id = ?2 AND content_fault <> ?1", [fault, scan_id])


def content_fault(db: Database, scan_id: int) -> str:
    """What is wrong with a scan's content, as a kind of finding; empty if it is sound."""
    return fetch_text(db, "SELECT content_fault FROM scan WHERE id = ?", [scan_id])


def set_capture(db: Database, scan_id: int, notes: dict[str, str]) -> None:
    """Capture notes: free fields with units."""
    _state(db, scan_id, {"capture": json.dumps(notes) if notes else None})


def _state(db: Database, scan_id: int, facts: dict[str, object]) -> None:
    with transaction(db):
        stated_facts.state_scan(db, fetch_text(db, "SELECT sha256 FROM scan WHERE id = ?", [scan_id]), facts)
        recompute(db)


def capture(db: Database, scan_id: int) -> dict[str, str]:
    """The capture notes of a scan."""
    return dict(json.loads(_field(db, scan_id, "capture")))


def picture(db: Database, scan_id: int) -> Picture | None:
    """How the scan is stored, as read."""
    values = json.loads(_field(db, scan_id, "picture"))
    if not values:
        return None
    white = values.pop("profile_white")
    pages = tuple(Page(**page) for page in values.pop("pages"))
    return Picture(**values, profile_white=tuple(white) if white else None, pages=pages)


def metadata(db: Database, scan_id: int) -> Metadata:
    """What the scan's tags say, conflicts included."""
    return metadata_of(_field(db, scan_id, "metadata"))


def metadata_of(text: str) -> Metadata:
    """Metadata from the JSON that a scan's row holds."""
    values = json.loads(text)
    stated = tuple(Stated(**fields) for fields in values.pop("stated", ()))
    return Metadata(**values | {"stated": stated, "conflicts": tuple(values.pop("conflicts", ()))})


def notes(db: Database, scan_id: int) -> list[Note]:
    """The judgements made at reading."""
    return [Note(**fields) for fields in json.loads(_field(db, scan_id, "notes"))]


def hashes(db: Database, scan_id: int) -> list[PictureHash]:
    """The picture hashes of a scan, by algorithm and orientation."""
    return fetch(db, PictureHash, """SELECT algorithm, orientation, value, library FROM picture_hash
                                     WHERE scan_id = ? ORDER BY algorithm, orientation""", [scan_id])


def segments(db: Database, scan_id: int) -> list[SegmentDigest]:
    """The digests of the file's stretches, in file order; empty if none were kept."""
    row = db.execute("SELECT packed FROM segment WHERE scan_id = ?", [scan_id]).fetchone()
    return [] if row is None else [
        SegmentDigest(offset, length, f"{digest:016x}", x, y, width, height)
        for offset, length, digest, x, y, width, height in _SEGMENT.iter_unpack(zlib.decompress(row[0]))]


_SEGMENT = struct.Struct("<QQQIIII")  # offset, length, digest, x, y, width, height


def _field(db: Database, scan_id: int, name: str) -> str:
    return fetch_text(db, f"SELECT {name} FROM scan WHERE id = ?", [scan_id]) or "{}"
