"""The journal beside the catalogue: what was acknowledged is in it, and whatever happens to it is noticed."""

import errno
import json
import os
import signal
import subprocess
import sys

import pytest

from catalogue.errors import CatalogueError, Refused
from catalogue.records import journal, orders
from catalogue.records.database import Database, former, open_database, transaction
from catalogue.settings import Home


def _order(db: Database, number: str) -> None:
    with transaction(db, f"order {number}"):
        orders.save(db, number, "2026-02-03", buyer="Bo Rand")


def _numbers(home: Home) -> list[str]:
    found = journal.read(journal.path_of(home.database))
    assert not found.faults
    return [change["after"]["number"] for entry in found.entries for change in json.loads(entry.event.change)]


def test_what_was_recorded_is_in_the_journal(home: Home, db: Database) -> None:
    for number in "123":
        _order(db, number)
    assert _numbers(home) == ["1", "2", "3"] and not journal.check(db, home.database)


def test_a_line_left_out_by_a_kill_is_written_with_the_next(home: Home, db: Database) -> None:
    """Killed between the commit and the journal, and again in the middle of a line."""
    child = """
import os, signal, sys
from pathlib import Path
from catalogue.records import journal, orders
from catalogue.records.database import open_database, transaction
db = open_database(Path(sys.argv[1]))
journal.append_new = lambda *given: os.kill(os.getpid(), signal.SIGKILL)
with transaction(db):
    orders.save(db, "2", "2026-01-01")
"""
    _order(db, "1")
    killed = subprocess.run([sys.executable, "-c", child, str(home.database)], check=False)
    assert killed.returncode == -signal.SIGKILL
    path = journal.path_of(home.database)
    with path.open("ab") as file:
        file.write(b'{"agent":"torn in the mid')
    assert any("1 of 2 statements are not in" in words for words in journal.check(db, home.database))
    _order(db, "3")
    assert _numbers(home) == ["1", "2", "3"] and not journal.check(db, home.database)


@pytest.mark.parametrize("at", [0.1, 0.5, 0.99])
def test_a_flipped_bit_is_noticed_and_only_its_line_lost(home: Home, db: Database, at: float) -> None:
    for number in "123":
        _order(db, number)
    path = journal.path_of(home.database)
    data = bytearray(path.read_bytes())
    start = data.index(b"\n") + 1
    data[start + int(at * (data.index(b"\n", start) - start))] ^= 1
    path.write_bytes(bytes(data))
    found = journal.read(path)
    assert found.faults[0].startswith("line 2 of") and len(found.entries) == 2
    assert journal.check(db, home.database)


def test_a_line_taken_out_is_noticed(home: Home, db: Database) -> None:
    for number in "1234":
        _order(db, number)
    path = journal.path_of(home.database)
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:1] + lines[2:]))
    assert "missing" in journal.read(path).faults[0]
    path.unlink()
    assert journal.check(db, home.database) == [f"{path.name} is gone"]


def test_the_journal_of_a_catalogue_replaced_by_an_older_one_is_kept(home: Home, db: Database) -> None:
    _order(db, "1")
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
    older = home.database.read_bytes()
    _order(db, "2")
    db.close()
    home.database.write_bytes(older)
    again = open_database(home.database)
    _order(again, "3")
    assert _numbers(home) == ["1", "3"]
    (aside,) = journal.set_aside_ones(home.database)
    assert [e.event.detail for e in journal.read(aside).entries] == ["order 1", "order 2"]
    assert any("order 2" in words for words in journal.check(again, home.database))
    again.close()


def test_a_journal_that_cannot_be_written_does_not_hide_that_it_is_recorded(home: Home, db: Database) -> None:
    path = journal.path_of(home.database)
    path.mkdir()
    with pytest.raises(CatalogueError, match="The change is recorded"):
        _order(db, "1")
    path.rmdir()
    _order(db, "2")
    assert _numbers(home) == ["1", "2"]


def test_a_file_put_in_the_catalogues_place_is_not_written_past(home: Home, db: Database) -> None:
    _order(db, "1")
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
    copy = home.folder / "copy"
    copy.write_bytes(home.database.read_bytes())
    os.replace(copy, home.database)
    with pytest.raises(Refused, match="replaced"):
        _order(db, "2")
    assert not db.conn.in_transaction
    for tail in ("-wal", "-shm"):
        home.database.with_name(home.database.name + tail).unlink(missing_ok=True)
    again = open_database(home.database)
    assert orders.find_by_number(again, "2") is None
    again.close()


def test_the_catalogue_is_kept_before_an_upgrade(home: Home, db: Database) -> None:
    _order(db, "1")
    db.execute("PRAGMA user_version = 7")
    db.close()
    with pytest.raises(Exception, match="duplicate column"):  # its schema is 8 already
        open_database(home.database)
    assert former(home.database).exists() and not list(home.folder.glob("*.part"))


def test_a_disk_without_locks_keeps_a_journal_all_the_same(home: Home, db: Database,
                                                            monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(journal.fcntl, "flock", refuse)
    _order(db, "1")
    assert _numbers(home) == ["1"]
