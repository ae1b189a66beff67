"""The catalogue database: migrations, transactions, the event chain, the rules it enforces itself."""

import sqlite3
import threading
from pathlib import Path

import pytest
from click.testing import CliRunner

from catalogue.commands import command
from catalogue.commands.session import Session
from catalogue.errors import CatalogueError, Damaged, NotFound
from catalogue.records import events, findings, pieces
from catalogue.records.database import Database, migrations, open_database, read_only_database, transaction
from catalogue.screens.app import open_screens
from catalogue.settings import Home
from tests import recorded


def test_migrations_are_numbered_without_gaps_or_twins() -> None:
    numbers = [number for number, _ in migrations()]
    assert numbers == sorted(set(numbers))


def test_opening_twice_changes_nothing(home: Home, db: Database) -> None:
    def schema(database: Database) -> list[tuple[object, ...]]:
        return [tuple(row) for row in database.execute("SELECT type, name, sql FROM sqlite_schema ORDER BY name")]

    before = schema(db)
    assert before
    assert schema(open_database(home.database)) == before


def test_a_file_that_is_no_catalogue_is_told(tmp_path: Path) -> None:
    (tmp_path / "c.sqlite").write_bytes(b"this is no database, only words" * 100)
    with pytest.raises(Damaged):
        open_database(tmp_path / "c.sqlite")


def test_a_newer_catalogue_is_left_alone(home: Home, db: Database) -> None:
    db.execute("PRAGMA user_version = 9999")
    with pytest.raises(CatalogueError, match="newer"):
        open_database(home.database)


def test_reading_only_needs_a_catalogue(tmp_path: Path) -> None:
    with pytest.raises(NotFound):
        read_only_database(tmp_path / "none.sqlite")


@pytest.mark.parametrize("left", ["catalogue.statements.jsonl", "backups/catalogue-000001-20260301T100000Z.sqlite"])
def test_no_empty_catalogue_is_begun_beside_what_is_left_of_a_lost_one(home: Home, left: str) -> None:
    """The screens would welcome the person to it, and recovery would call it sound."""
    (home.folder / left).parent.mkdir(parents=True, exist_ok=True)
    (home.folder / left).write_text("{}")
    for opening in (open_database, read_only_database):
        with pytest.raises(Damaged, match="catalogue recover"):
            opening(home.database)
    with pytest.raises(Damaged):
        open_screens(home)
    assert not home.database.exists()
    assert "! The catalogue is missing" in CliRunner().invoke(
        command, ["--catalogue", str(home.folder), "doctor"], obj=Session()).output


def test_a_failed_transaction_leaves_nothing(db: Database) -> None:
    with pytest.raises(ZeroDivisionError), transaction(db):
        pieces.artist_called(db, "Ada")
        1 / 0  # noqa: B018
    assert pieces.counts(db)["artist"] == 0


def test_two_writers_take_turns(home: Home, db: Database) -> None:
    def add(name: str) -> None:
        own = open_database(home.database)
        for n in range(25):
            with transaction(own):
                pieces.artist_called(own, f"{name} {n}")
        own.close()

    threads = [threading.Thread(target=add, args=[name]) for name in ("one", "two", "three")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert pieces.counts(db)["artist"] == 75


def test_the_event_log_is_append_only_and_chained(db: Database) -> None:
    with transaction(db):
        for n in range(5):
            events.append(db, "fixity check", "success", path=f"{n}.tif")
    assert not list(events.broken_links(db))
    with pytest.raises(sqlite3.IntegrityError):
        db.execute("UPDATE event SET detail = 'nothing happened'")
    with pytest.raises(sqlite3.IntegrityError):
        db.execute("DELETE FROM event WHERE id = 2")


@pytest.mark.parametrize("tamper", ["UPDATE event SET path = 'x' WHERE id = 3", "DELETE FROM event WHERE id = 3"])
def test_tampering_with_the_log_shows(db: Database, tamper: str) -> None:
    with transaction(db):
        for n in range(5):
            events.append(db, "fixity check", "success", path=f"{n}.tif")
    db.execute("DROP TRIGGER event_never_changed")
    db.execute("DROP TRIGGER event_never_deleted")
    db.execute(tamper)
    assert list(events.broken_links(db))


def test_a_finding_seen_again_is_one_finding(db: Database) -> None:
    first = findings.record(db, "missing", "gone", path="a.tif")
    assert findings.record(db, "missing", "still gone", path="a.tif") == first
    findings.resolve(db, "found", path="a.tif")
    assert findings.record(db, "missing", "gone anew", path="a.tif") != first


def test_a_resaved_master_does_not_take_the_place_of_the_one_known_first(db: Database) -> None:
    from catalogue.reading.model import Picture, Reading
    from catalogue.records import scans

    with transaction(db):
        piece = pieces.piece_called(db, pieces.artist_called(db, "Ada").id, "Harbour")
        for digest in ("a" * 64, "b" * 64):
            picture = Picture(900, 600, 16, "uint", 3, "RGB", "none", "strips")
            recorded.save_scan(db, Reading("x.tif", 1, 1, digest, picture=picture), role="master", piece_id=piece)
        pieces.propose_current(db, piece)
    found = pieces.by_id(db, piece)
    assert found is not None
    current = scans.by_id(db, found.current_scan_id or 0)
    assert current is not None and current.sha256 == "a" * 64
