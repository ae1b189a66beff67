"""Commands that only read need no right to write: a catalogue on a read-only disk can be searched and shown."""

import gc
import io
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256
from pathlib import Path

import pytest

from catalogue.commands import main
from catalogue.errors import CatalogueError
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.records import database
from catalogue.records.database import Database, looked_at, migrate, migrations
from catalogue.settings import Home

Scan = Callable[..., Path]
READING = [
    ["find", "harbour"], ["findings"], ["show", "harbour"], ["artist", "list"], ["artist", "show", "ada"],
    ["order", "list"], ["order", "list", "ada"], ["order", "show", "7"], ["order", "sheet", "7", "--text"],
    ["order", "repeat", "7", "--dry-run"], ["edition", "list"], ["edition", "show", "harbour"],
    ["edition", "certificates", "1"], ["rescan"], ["rescan", "harbour"], ["levels"], ["store", "list"],
    ["alike", "--as-is"], ["alike", "changes"], ["alike", "tiles", "harbour"], ["export", "csv", "orders", "{to}"],
    ["export", "holdings", "ada", "--to", "{to}"], ["doctor"],
]


@pytest.fixture
def shop(db: Database, home: Home, scan: Scan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Home:
    scan("main/Ada Quill/Harbour/master.tif", seed=1)
    index(db, home, [add_store(db, "main", tmp_path / "main", "primary", consent=True)], executors=ThreadPoolExecutor)
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    for words in (["edition", "set", "harbour", "--limit", "5"],
                  ["order", "add", "harbour", "--size", "20x30", "--medium", "rag", "--number", "7", "--yes"]):
        monkeypatch.setattr(sys, "argv", ["catalogue", "--catalogue", str(home.folder), *words])
        with pytest.raises(SystemExit) as ended:
            main()
        assert not ended.value.code
    db.close()
    gc.collect()  # what the commands had open to write is closed, its log played into the file
    return home


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
    older = database._prepared(database._connected(path))
    older.execute("BEGIN")  # not transaction(): it settles what schema 7 knows nothing of
    migrate(older, upto=7)
    older.execute("COMMIT")
    older.close()
    with monkeypatch.context() as patch:
        patch.setattr(database, "open_database", lambda path, **_: (_ for _ in ()).throw(CatalogueError("No.")))
        with pytest.raises(CatalogueError, match="older version"):
            looked_at(path)
    assert looked_at(path).execute("PRAGMA user_version").fetchone()[0] == migrations()[-1][0]
