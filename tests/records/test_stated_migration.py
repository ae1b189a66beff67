"""A catalogue made before statements and guesses were apart keeps every value, and tells which of them was stated."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from catalogue.indexing import corrections
from catalogue.likeness import merging
from catalogue.records import pieces, replay, scans, stated_facts
from catalogue.records.database import Database, migrations, open_database, transaction
from catalogue.records.folding import register_functions

T = "2026-01-02T03:04:05.000Z"
FACTS = """SELECT p.id, a.name, p.title, p.year, p.series, p.inventory_number, p.width_mm, p.height_mm, p.relief_mm,
                  p.notes, p.current_scan_id, p.current_source FROM piece p JOIN artist a ON a.id = p.artist_id"""
SCANS = "SELECT id, sha256, role, role_source, piece_id, piece_source, capture FROM scan"
ARTISTS = "SELECT id, name, contact, terms, notes FROM artist"


def older(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """A catalogue of schema 7; gives its facts as they were."""
    with closing(sqlite3.connect(path)) as db:
        for number, script in migrations():
            if number < 8:
                db.executescript(script)
        db.execute("PRAGMA user_version = 7")
        db.execute("INSERT INTO store VALUES (1, 'main', '/x', 'primary', 'm', ?, 0, NULL)", [T])
        for number, name, contact in ((1, "Ada Quill", ""), (2, "Ben Ashe", "12 Quay Lane"), (3, "Cy Dove", "")):
            db.execute("INSERT INTO artist (id, name, key, contact) VALUES (?, ?, ?, ?)",
                       [number, name, name.lower(), contact])
        for number, artist, title, year, notes, source in (
                (1, 1, "Harbour", "2019", "", "proposed"), (2, 1, "Meadow", "2003", "heavy frame", "person"),
                (3, 2, "Pier", "1999", "", "proposed"), (4, 1, "Dunes", "", "", "proposed")):
            db.execute("INSERT INTO piece (id, artist_id, title, key, year, notes, current_source) VALUES"
                       " (?, ?, ?, ?, ?, ?, ?)", [number, artist, title, title.lower(), year, notes, source])
        for number, piece, role, of_role, of_piece, capture in (
                (1, 1, "master", "guess", "guess", "{}"), (2, 2, "master", "guess", "guess", "{}"),
                (3, 2, "master", "person", "guess", "{}"), (4, 3, "tile", "guess", "person", '{"ppi": "600"}'),
                (5, 4, "master", "guess", "likeness", "{}"), (6, 4, "reference", "guess", "guess", "{}")):
            db.execute("INSERT INTO scan (id, sha256, bytes, role, role_source, piece_id, piece_source, capture,"
                       " first_indexed) VALUES (?, ?, 9, ?, ?, ?, ?, ?, ?)",
                       [number, f"{number:064x}", role, of_role, piece, of_piece, capture, T])
            db.execute("INSERT INTO file (store_id, path, size, mtime_ns, scan_id, first_seen, read_at)"
                       " VALUES (1, ?, 9, 9, ?, ?, ?)", [f"{number}.tif", number, T, T])
        db.execute("UPDATE piece SET current_scan_id = CASE id WHEN 1 THEN 1 WHEN 2 THEN 3 WHEN 4 THEN 5 END,"
                   " width_mm = CASE id WHEN 1 THEN 600 END")
        for one, other in ((5, 6), (1, 2)):
            db.execute("INSERT INTO likeness (a_scan_id, b_scan_id, relation, sure, evidence, found, verdict, judged)"
                       " VALUES (?, ?, 're-scan', .99, '{}', ?, ?, ?)",
                       [one, other, T, "confirmed" if one == 5 else "rejected", T])
        db.execute("INSERT INTO orders (id, number, placed) VALUES (1, 'A1', '2024-01-01')")
        db.execute("INSERT INTO order_line (order_id, piece_id, width_mm, height_mm, quantity) VALUES (1, 1, 3, 2, 1)")
        db.commit()
        return facts(db)


def facts(db: sqlite3.Connection | Database) -> dict[str, list[tuple[object, ...]]]:
    return {sql: [tuple(row) for row in db.execute(sql + " ORDER BY 1").fetchall()] for sql in (FACTS, SCANS, ARTISTS)}


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "catalogue.sqlite"


def test_every_value_is_kept_also_when_all_is_computed_anew(place: Path) -> None:
    before = older(place)
    with closing(open_database(place)) as db:
        assert facts(db) == before
        with transaction(db):
            for kind in ("artist", "piece", "scan"):
                db.execute(f"INSERT INTO unsettled SELECT '{kind}', id FROM {kind} WHERE true ON CONFLICT DO NOTHING")
        assert facts(db) == before
        assert not replay.differences(db), "what was stated before there was a log is in it"


def test_what_a_person_said_is_told_from_what_was_guessed(place: Path) -> None:
    older(place)
    with closing(open_database(place)) as db:
        def said(table: str, key: int | str) -> dict[str, object]:
            row = stated_facts.stated_row(db, table, key) or {}
            return {name: value for name, value in row.items() if value is not None and not name.startswith("known")}

        assert said("piece_stated", 1) == {"piece_id": 1, "width_mm": 600}, "the year may be a guess"
        assert said("piece_stated", 2) == {"piece_id": 2, "notes": "heavy frame", "current_sha256": f"{3:064x}"}
        assert said("piece_stated", 3) == {"piece_id": 3, "artist_id": 2, "title": "Pier", "year": "1999"}
        assert said("piece_stated", 4) == {}
        assert said("artist_stated", 2) == {"artist_id": 2, "contact": "12 Quay Lane"}
        assert said("artist_stated", 3) == {"artist_id": 3, "name": "Cy Dove"}, "no file can have suggested it"
        assert said("scan_stated", f"{3:064x}") == {"sha256": f"{3:064x}", "role": "master"}
        assert said("scan_stated", f"{4:064x}") == {"sha256": f"{4:064x}", "piece_id": 3, "capture": '{"ppi": "600"}'}


def test_a_merge_of_an_older_version_is_still_undone(place: Path) -> None:
    """Also after the title that went has come back by an index run."""
    older(place)
    with closing(sqlite3.connect(place)) as db:
        db.row_factory = sqlite3.Row
        rows = [dict(db.execute("SELECT * FROM piece WHERE id = ?", [i]).fetchone()) for i in (1, 2)]
        rows[1] |= {"series": "Fields", "height_mm": 300.0}
        before = {"pieces": rows, "removed": 2, "sources": {"2": "guess", "3": "guess"},
                  "moved": [{"table": "scan", "column": "piece_id", "rowids": [2, 3], "from": 2}]}
        db.execute("UPDATE scan SET piece_id = 1 WHERE piece_id = 2")
        db.execute("DELETE FROM piece WHERE id = 2")
        db.execute("INSERT INTO piece_change (at, kind, detail, before) VALUES (?, 'merge', 'Meadow into Harbour', ?)",
                   [T, json.dumps(before)])
        db.commit()
    with closing(open_database(place)) as opened:
        with transaction(opened):
            opened.execute("UPDATE scan_guess SET title = 'Meadow', title_key = 'meadow' WHERE scan_id = 6")
        merging.undo_older(opened, 1)
        back = pieces.by_id(opened, 2)
        assert back is not None
        assert (back.title, back.year, back.series, back.height_mm, back.notes) == (
            "Meadow", "2003", "Fields", 300, "heavy frame")
        assert {s.id for s in scans.of_piece(opened, 2)} >= {2, 3} and back.current_scan_id == 3
        assert {s.id for s in scans.of_piece(opened, 1)} == {1}


def test_a_piece_pinned_under_a_corrected_name_is_found_by_the_name_in_its_path_again(tmp_path: Path) -> None:
    """Until schema 18 it was noted under what the artist was called at that moment: renamed again, they lost it."""
    path = tmp_path / "catalogue.sqlite"
    with closing(sqlite3.connect(path)) as made:
        register_functions(made)
        for number, script in migrations():
            if number < 18:
                made.executescript(script)
        made.execute("PRAGMA user_version = 17")
        made.executescript("""
            INSERT INTO artist (id, name, key) VALUES (1, 'Jo Quil', 'jo quil'), (2, 'Bo Rand', 'bo rand');
            INSERT INTO piece (id, artist_id, title, key) VALUES (1, 1, 'Harbour', 'harbour'), (2, 2, 'Mill', 'mill');
            INSERT INTO artist_stated (artist_id, name, known_name, known_key) VALUES (1, 'Jo Quil', 'J Q', 'j q');
            INSERT INTO piece_stated (piece_id, notes, known_artist, known_artist_key, known_title, known_key)
                VALUES (1, 'large', 'Jo Quil', 'jo quil', 'Harbour', 'harbour'),
                       (2, 'small', 'Bo Rand', 'bo rand', 'Mill', 'mill');""")
        made.commit()
    db = open_database(path)
    corrections.rename_artist(db, 1, "Jo Quill")
    assert {(p.artist, p.title, p.notes) for p in pieces.every(db)} == {("Jo Quill", "Harbour", "large"),
                                                                       ("Bo Rand", "Mill", "small")}
    assert not replay.differences(db)
    db.close()
