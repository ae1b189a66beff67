"""Commands that only read need no right to write: a catalogue on a read-only disk can be searched and shown."""

import gc
import io
import os
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from hashlib import sha256
from pathlib import Path

import click
import pytest

from catalogue.commands import command, main
from catalogue.errors import CatalogueError
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.records import database, stores
from catalogue.records.database import Database, migrate, migrations, open_for_reading
from catalogue.settings import Home
from tests.copies import copy_shop
from tests.files import write_scan

READING = [
    ["find", "harbour"], ["findings"], ["show", "harbour"], ["artist", "list"], ["artist", "show", "ada"],
    ["scan", "list"],
    ["order", "list"], ["order", "list", "ada"], ["order", "show", "7"], ["order", "sheet", "7", "--text"],
    ["buyer", "list"], ["buyer", "show", "ann"], ["artist", "terms", "ada"],
    ["statement", "ada", "--from", "2020-01-01", "--to", "2020-01-31"],
    ["order", "repeat", "7", "--dry-run"], ["edition", "list"], ["edition", "show", "harbour"],
    ["edition", "certificates", "1"],
    ["edition", "where"], ["rescan"], ["rescan", "harbour"],
    ["rescan", "--size", "90x90"], ["levels"], ["store", "list"],
    ["alike", "--as-is"], ["alike", "changes"], ["alike", "tiles", "harbour"], ["export", "csv", "orders", "{to}"],
    ["export", "holdings", "ada", "--to", "{to}"], ["doctor"], ["history"], ["doubles"],
]
# Every other command, with words that would make it write: into the catalogue, into a store, or beside them.
WRITING = [
    ["store", "add", "other", "{to}", "--marker"], ["store", "move", "main", "{to}"],
    ["store", "retire", "nas", "--yes"], ["index"], ["findings", "--accept", "1", "--why", "x"], ["alike"],
    ["alike", "confirm", "1"], ["alike", "reject", "1"],
    ["alike", "reopen", "1"], ["alike", "merge", "1", "2"], ["alike", "split", "1", "{digest}", "--title", "x"],
    ["alike", "undo", "1"],
    ["order", "add", "harbour", "--size", "20x30", "--yes"], ["order", "repeat", "7", "--yes"],
    ["order", "repeat", "7", "--check", "--dry-run"], ["order", "status", "7", "printed"],
    ["order", "handover", "7"],
    ["order", "change", "7", "--notes", "x"], ["buyer", "set", "ann", "--notes", "x"],
    ["buyer", "merge", "ann", "--into", "ben"],
    ["order", "correct", "7", "--buyer", "x"], ["order", "sheet", "7", "--check"], ["order", "sheet", "7", "--copy"],
    ["print", "7", "--to", "{to}"],
    ["recipe", "{digest}", "--record", "--yes"],
    ["edition", "set", "harbour", "--limit", "9"], ["edition", "close", "1"],
    ["edition", "move", "1", "1", "--to", "shop"],
    ["edition", "destroy", "1", "1", "--reason", "x"], ["artist", "set", "ada", "--notes", "x"],
    ["artist", "terms", "ada", "--percent", "30", "--since", "start"],
    ["statement", "ada", "--month", "2020-01", "--issue"],
    ["statement", "ada", "--month", "2020-01", "--to-file", "{to}/statement.html"],
    ["artist", "rename", "ada", "Ada Quay"], ["artist", "merge", "ada", "--into", "ben"],
    ["artist", "also", "ada", "A. Q."],
    ["piece", "set", "harbour", "--notes", "x"], ["piece", "confirm", "harbour"],
    ["piece", "merge", "harbour", "--into", "quay"],
    ["piece", "split", "harbour", "--scan", "{digest}", "--title", "x"], ["scan", "set", "{digest}", "--role", "tile"],
    ["refile", "--yes"], ["undo", "1"], ["rescan", "harbour", "--relief", "2"], ["import", "{table}"],
    ["intake", "{key}", "--yes"], ["tidy", "main", "--yes"],
    ["doubles", "main", "--free", "--yes"], ["audit"], ["audit", "--log"],
    ["restore", "Ada Quill/Harbour/master.tif", "--yes"], ["copy", "--to", "nas", "--yes"],
    ["levels", "--answer", "off_site", "yes"], ["backup"], ["recover", "--yes"], ["export", "manifest"],
    ["export", "manifest", "--into-store", "--yes"], ["export", "bag", "{to}/bag"], ["sidecar", "harbour", "--yes"],
]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a shop: one master, an edition, terms, an order."""
    folder = tmp_path_factory.mktemp("shop")
    home = Home(folder / "catalogue home")
    write_scan(folder / "main/Ada Quill/Harbour/master.tif", seed=1)
    with closing(database.open_database(home.database)) as db:
        index(db, home, [add_store(db, "main", folder / "main", "primary", consent=True)], executors=ThreadPoolExecutor)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdin", io.StringIO())
        for words in (["edition", "set", "harbour", "--limit", "5"], ["artist", "terms", "ada", "--percent", "40"],
                      ["order", "add", "harbour", "--size", "20x30", "--medium", "rag", "--number", "7", "--buyer",
                       "Ann", "--yes"]):
            patch.setattr(sys, "argv", ["catalogue", "--catalogue", str(home.folder), *words])
            with pytest.raises(SystemExit) as ended:
                main()
            assert not ended.value.code
    gc.collect()  # what the commands had open to write is closed, its log played into the file
    return folder


@pytest.fixture
def shop(built: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Home:
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    return copy_shop(built, tmp_path, Home(tmp_path / "catalogue home"))


@pytest.mark.parametrize("words", READING, ids=" ".join)
def test_it_reads_where_nothing_may_be_written(shop: Home, words: list[str], tmp_path: Path,
                                               monkeypatch: pytest.MonkeyPatch,
                                               capsys: pytest.CaptureFixture[str]) -> None:
    def refuse(path: Path, **_: object) -> Database:
        raise CatalogueError("The catalogue cannot be opened: attempt to write.", path=path)

    monkeypatch.setattr(database, "open_database", refuse)
    before = sha256(shop.database.read_bytes()).digest()
    monkeypatch.setattr(sys, "argv", ["catalogue", "--catalogue", str(shop.folder),
                                      *(word.format(to=tmp_path / "out") for word in words)])
    with pytest.raises(SystemExit) as ended:
        main()
    told = capsys.readouterr()
    assert "attempt to write" not in told.err
    assert ended.value.code in ((2,) if words[:2] == ["alike", "tiles"] else (0, 1, None)), told.err
    assert sha256(shop.database.read_bytes()).digest() == before


def test_an_older_catalogue_is_brought_up_to_date_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "catalogue.sqlite"
    path.touch()
    older = database._prepared(database._connected(path))
    older.execute("BEGIN")  # not transaction(): it settles what schema 7 knows nothing of
    migrate(older, upto=7)
    older.execute("COMMIT")
    older.close()
    with monkeypatch.context() as patch:
        patch.setattr(database, "open_database", lambda path, **_: (_ for _ in ()).throw(CatalogueError("No.")))
        with pytest.raises(CatalogueError, match="older version"):
            open_for_reading(path)
    assert open_for_reading(path).execute("PRAGMA user_version").fetchone()[0] == migrations()[-1][0]


def leaves(group: click.Group, before: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    context = click.Context(group)
    for name in group.list_commands(context):
        inner = group.get_command(context, name)
        assert inner is not None
        if isinstance(inner, click.Group):
            yield from leaves(inner, (*before, name))
        else:
            yield (*before, name)


def test_every_command_is_known_to_read_or_to_write() -> None:
    tried = {tuple(words[:depth]) for words in READING + WRITING for depth in (1, 2)}
    assert set(leaves(command)) - tried == {("completion",), ("demo",)}  # type: ignore[arg-type]


def everything_below(folder: Path) -> dict[str, bytes]:
    """Every file but those SQLite keeps beside a database while it is open."""
    return {os.path.relpath(path, folder): path.read_bytes() for path in folder.rglob("*")
            if path.is_file() and not path.name.endswith(("-shm", "-wal"))}


@pytest.fixture
def seat(shop: Home, tmp_path: Path) -> dict[str, Path | str]:
    """A seat that only looks, with something to do for every command: to copy, restore, take in, import, tidy."""
    (shop.folder / "settings.toml").write_text("read_only = true\n")
    with closing(database.open_database(shop.database)) as writable:
        main = tmp_path / "main" / "Ada Quill" / "Harbour" / "master.tif"
        copy = tmp_path / "nas" / "Ada Quill" / "Harbour" / "master.tif"
        copy.parent.mkdir(parents=True)
        copy.write_bytes(main.read_bytes())
        write_scan(tmp_path / "main/Ben Ashe/Quay/Img 7 master.tif", seed=2)
        index(writable, Home(shop.folder), [*stores.listed(writable), add_store(
            writable, "nas", tmp_path / "nas", "copy", consent=True)], executors=ThreadPoolExecutor)
        digest = sha256(main.read_bytes()).hexdigest()
        main.unlink()
        index(writable, Home(shop.folder), stores.listed(writable), executors=ThreadPoolExecutor)
    write_scan(tmp_path / "key/Ada Quill - Pier.tif", seed=3)
    table = tmp_path / "orders.csv"
    table.write_text("number,date,buyer,artist,piece,size,medium\n9,2020-01-02,B,Ada Quill,Harbour,20x30,rag\n")
    return {"to": tmp_path / "out", "key": tmp_path / "key", "table": table, "digest": digest}


def test_a_seat_that_only_looks_writes_nothing_anywhere(seat: dict[str, Path | str], shop: Home, tmp_path: Path,
                                                        monkeypatch: pytest.MonkeyPatch,
                                                        capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "out").mkdir()
    before = everything_below(tmp_path)
    for words in WRITING:
        monkeypatch.setattr(sys, "argv", ["catalogue", "--catalogue", str(shop.folder),
                                          *(word.format(**seat) for word in words)])
        with pytest.raises(SystemExit) as ended:
            main()
        told = capsys.readouterr()
        assert everything_below(tmp_path) == before, words
        if words == ["alike"]:  # shows what was compared before, and compares nothing
            assert ended.value.code in (0, 1)
        else:
            assert (ended.value.code, "on the workstation that holds the catalogue." in told.err) == (2, True), words
