"""Two seats on one catalogue: no raw lock error reaches a person, nothing is lost, a copy can be looked at.

Yardstick: SQLite's own error names (sqlite.org, "Result and Error Codes"), provoked by a second plain connection.
"""

import gc
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner

from catalogue.commands import command
from catalogue.commands.session import Session
from catalogue.errors import Busy, CatalogueError, Damaged, ReadOnly, Refused
from catalogue.indexing.stores import add_store
from catalogue.records import database, pieces
from catalogue.records.database import open_database, open_seat, read_only_database, transaction
from catalogue.records.health import examine
from catalogue.settings import Home, find_home
from tests.rights import heeding_permissions


@contextmanager
def held(path: Path) -> Iterator[None]:
    """The write lock in the hands of another program."""
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(database, "BUSY_SECONDS", 0.05)


@pytest.mark.usefixtures("impatient")
def test_a_lock_that_is_not_to_be_had_is_said_in_words(home: Home) -> None:
    open_database(home.database).close()
    with held(home.database), closing(open_database(home.database)) as db:
        with pytest.raises(Busy), transaction(db):
            pieces.artist_called(db, "Ada Quill")
        with pytest.raises(Busy):
            pieces.artist_called(db, "Ada Quill")  # outside a transaction too
        assert pieces.counts(db)["artist"] == 0, "reading goes on meanwhile"


@pytest.mark.usefixtures("impatient")
def test_the_command_line_says_it_and_exits_2(home: Home, tmp_path: Path) -> None:
    open_database(home.database).close()
    (tmp_path / "masters").mkdir()
    with held(home.database):
        result = CliRunner().invoke(command, ["--catalogue", str(home.folder), "store", "add", "masters",
                                              str(tmp_path / "masters"), "--no-marker"], obj=Session())
    assert isinstance(result.exception, Busy)
    assert "locked" not in str(result.exception)


@pytest.mark.parametrize("folder", ["masters", "nowhere"])
def test_a_command_leaves_all_it_wrote_in_the_one_file(home: Home, tmp_path: Path, folder: str) -> None:
    """SQLite writes its log into the database and removes it when the last connection is closed (sqlite.org/wal.html),
    be the command carried out or refused."""
    (tmp_path / "masters").mkdir()
    gc.disable()  # the collector would close it, some time
    try:
        CliRunner().invoke(command, ["--catalogue", str(home.folder), "store", "add", "masters",
                                     str(tmp_path / folder), "--no-marker"], obj=Session())
        assert not list(home.folder.glob("catalogue.sqlite-*"))
    finally:
        gc.enable()


def test_two_seats_writing_at_once_lose_nothing(home: Home) -> None:
    open_database(home.database).close()

    def write(seat: int) -> None:
        with closing(open_database(home.database)) as db:
            for number in range(25):
                with transaction(db):
                    artist = pieces.artist_called(db, f"Artist {seat}")
                    pieces.piece_called(db, artist.id, f"Piece {number}")

    with ThreadPoolExecutor(4) as seats:
        list(seats.map(write, range(4)))
    with closing(open_database(home.database)) as db:
        assert (pieces.counts(db)["artist"], pieces.counts(db)["piece"]) == (4, 100)
    assert not examine(home.database).troubles


def test_a_seat_that_only_looks_is_refused_changes_in_words(home: Home, tmp_path: Path) -> None:
    with closing(open_database(home.database)) as db:
        add_store(db, "masters", _folder(tmp_path / "masters"), "primary", consent=True)
        with transaction(db):
            pieces.artist_called(db, "Ada Quill")
    copy = Home(tmp_path / "copy")
    copy.folder.mkdir()
    shutil.copy(home.database, copy.database)
    (copy.folder / "settings.toml").write_text("read_only = true\n")
    seat = find_home(copy.folder)
    before = copy.database.read_bytes()
    with closing(open_seat(seat)) as db:
        assert pieces.counts(db)["artist"] == 1
        with pytest.raises(ReadOnly), transaction(db):
            pieces.artist_called(db, "Ben Ashe")
    runner = CliRunner()
    shown = runner.invoke(command, ["--catalogue", str(copy.folder), "store", "list"], obj=Session())
    assert shown.exit_code == 0, shown.output
    refused = runner.invoke(command, ["--catalogue", str(copy.folder), "intake", str(tmp_path)], obj=Session())
    assert isinstance(refused.exception, Refused)
    assert copy.database.read_bytes() == before


def test_a_copy_in_a_folder_that_cannot_be_written_is_still_read(home: Home, tmp_path: Path) -> None:
    """SQLite cannot lay its lock file beside it."""
    with closing(open_database(home.database)) as db, transaction(db):
        pieces.artist_called(db, "Ada Quill")
    place = tmp_path / "copy"
    place.mkdir()
    shutil.copy(home.database, place / "catalogue.sqlite")
    place.chmod(0o555)
    script = ("import os, sys; from pathlib import Path; from catalogue.records import pieces;"
              "from catalogue.records.database import read_only_database; place = Path(sys.argv[1]);"
              "print(os.access(place.parent, os.W_OK));"
              "counts = pieces.counts(read_only_database(place / 'catalogue.sqlite'));"
              "print(os.access(place, os.W_OK), counts['artist'])")
    done = subprocess.run(heeding_permissions("-c", script, str(place)), capture_output=True, text=True, check=False,
                          cwd=Path(__file__).parents[2])
    place.chmod(0o755)
    assert done.stdout.splitlines() == ["True", "False 1"], done.stderr


def test_no_database_and_a_damaged_one_are_said(home: Home, tmp_path: Path) -> None:
    (tmp_path / "x.sqlite").write_bytes(b"this is no database, " * 100)
    for opening in (open_database, read_only_database):
        with pytest.raises(Damaged, match="damaged") as caught:
            opening(tmp_path / "x.sqlite")
        assert caught.value.path == tmp_path / "x.sqlite"
    with pytest.raises(CatalogueError):
        open_database(Path("/dev/null/nowhere/catalogue.sqlite"))
    assert not home.database.exists()


def test_health_sees_what_was_tampered_with(home: Home) -> None:
    from catalogue.records import events

    with closing(open_database(home.database)) as db, transaction(db):
        pieces.artist_called(db, "Ada Quill")
        for _ in range(3):
            events.append(db, "fixity check", "success", path="a.tif")
    assert examine(home.database).troubles == ()
    with closing(sqlite3.connect(home.database)) as other:
        other.execute("DROP TRIGGER event_never_changed")
        other.execute("UPDATE event SET outcome = 'fail' WHERE id = 2")
        other.execute("INSERT INTO artist_words (artist_words, rowid, name) VALUES ('delete', 1, 'ada quill')")
        other.execute("PRAGMA foreign_keys = OFF")
        other.execute("DROP TRIGGER piece_words_in")  # calls a function that this connection has not
        other.execute("INSERT INTO piece (artist_id, title, key) VALUES (99, 'x', 'x')")
        other.commit()
    troubles = " | ".join(examine(home.database).troubles)
    assert "entry 2 of " in troubles
    assert "search index artist_words" in troubles
    assert "a row of piece refers to nothing in artist" in troubles
    data = bytearray(home.database.read_bytes())
    data[4096:12288] = bytes(8192)
    home.database.write_bytes(data)
    assert any("damaged" in t for t in examine(home.database).troubles)


def _folder(path: Path) -> Path:
    path.mkdir()
    return path
