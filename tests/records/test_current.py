"""Which scan is proposed as a piece's current master, and why. Common practice, no source."""

from dataclasses import replace

from catalogue.reading.model import Metadata, Picture, Reading
from catalogue.records import current, findings, pieces, stated_facts
from catalogue.records.current import Candidate, propose
from catalogue.records.database import Database, transaction
from tests import recorded

NUMBERS = {"a": 1, "b": 2, "tile": 3}


def scan(key: str, width: int = 8000, height: int = 6000, **facts: object) -> Candidate:
    plain = Candidate(NUMBERS[key], key, "master", width, height, 16, 1, "", 1, 1, 1)
    return replace(plain, **facts)  # type: ignore[arg-type]


def chosen(*known: Candidate) -> str:
    found = propose(known)
    assert found is not None
    return found.sha256


def test_most_true_pixels_then_depth_profile_age() -> None:
    assert chosen(scan("a"), scan("b", 12000, 9000, bits=8)) == "b"
    assert chosen(scan("a"), scan("b", 16000, 12000, genuine=0)) == "a"
    assert chosen(scan("a", bits=8), scan("b", 7900, 5900)) == "b"
    assert chosen(scan("a", profiled=0), scan("b")) == "b"
    assert chosen(scan("a", captured="2015-01-01"), scan("b", captured="2022-01-01")) == "b"
    assert chosen(scan("a"), scan("b", 30000, 20000, role="print file")) == "a"
    assert chosen(scan("a"), scan("tile", 30000, 20000, part=True)) == "a"
    assert chosen(scan("b"), scan("a")) == "a", "between equals the one known first"
    assert propose([]) is None


def test_what_is_there_and_sound_comes_before_all_pixels() -> None:
    assert chosen(scan("a", 20000, 15000, present=0), scan("b")) == "b"
    assert chosen(scan("a", 20000, 15000, sound=0), scan("b")) == "b"
    assert chosen(scan("a", present=0), scan("b", sound=0)) == "b"


def test_the_proposal_gives_its_reasons() -> None:
    found = propose([scan("a", 12000, 9000, captured="2022"), scan("b", bits=8, captured="2015")])
    assert found is not None
    assert found.reasons == ("12000 × 9000 px", "2.2 times the pixels of the next", "16 bit against 8", "newer")
    away = propose([scan("a", present=0), scan("b")])
    assert away is not None and away.reasons[1] == "the next one's files are missing"


def shop_with_two(db: Database) -> tuple[int, int, int]:
    """A piece with two masters, the first of more pixels, each with a file."""
    with transaction(db):
        db.execute("INSERT INTO store (name, root, kind, marker, added) VALUES ('main', '/', 'primary', 'm', '')")
        piece = pieces.piece_called(db, pieces.artist_called(db, "Ada Quill").id, "Harbour")
        made = []
        for number, width in ((1, 9000), (2, 5000)):
            picture = Picture(width, 6000, 16, "uint", 3, "RGB", "none", "strips")
            reading = Reading(f"{number}.tif", 1, 1, f"{number:064d}", picture=picture, metadata=Metadata())
            made.append(recorded.save_scan(db, reading, role="master", piece_id=piece))
            db.execute("""INSERT INTO file (store_id, path, size, mtime_ns, scan_id, first_seen, read_at)
                          VALUES (1, ?, 1, 1, ?, '', '')""", [f"{number}.tif", made[-1]])
    return piece, made[0], made[1]


def current_of(db: Database, piece_id: int) -> tuple[int | None, str]:
    piece = pieces.by_id(db, piece_id)
    assert piece is not None
    return piece.current_scan_id, piece.current_source


def test_a_master_whose_files_went_gives_way_and_comes_back(db: Database) -> None:
    """Whoever marks the file as missing: nothing has to ask for a new proposal."""
    piece, large, small = shop_with_two(db)
    assert current_of(db, piece) == (large, "proposed")
    with transaction(db):
        db.execute("UPDATE file SET state = 'missing' WHERE scan_id = ?", [large])
    assert current_of(db, piece) == (small, "proposed")
    with transaction(db):
        db.execute("UPDATE file SET state = 'present' WHERE scan_id = ?", [large])
    assert current_of(db, piece) == (large, "proposed")
    with transaction(db):
        findings.record(db, "damaged", "", store_id=1, path="1.tif", scan_id=large)
    assert current_of(db, piece) == (small, "proposed")


def test_a_chosen_master_stays_though_its_files_are_missing_and_this_is_said(db: Database) -> None:
    piece, large, small = shop_with_two(db)
    pieces.set_current(db, piece, large, "person")
    assert current.caution(db, piece) == ""
    with transaction(db):
        db.execute("UPDATE file SET state = 'missing' WHERE scan_id = ?", [large])
    assert current_of(db, piece) == (large, "person")
    assert "its files are missing" in current.caution(db, piece)
    pieces.set_current(db, piece, None, "proposed")
    assert current_of(db, piece) == (small, "proposed")
    row = stated_facts.stated_row(db, "piece_stated", piece)
    assert row is not None and row["current_sha256"] is None
