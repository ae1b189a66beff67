"""Stores added, moved and retired: what follows for copies and findings, at once."""

from pathlib import Path

from catalogue.indexing.service import index
from catalogue.operations import stores as operations
from catalogue.records import findings, stores
from catalogue.records.database import Database, transaction
from catalogue.settings import Home, Settings
from tests import recorded
from tests.operations.shops import Archive


def opened(archive: Archive) -> Database:
    from catalogue.records.database import open_database

    return open_database(archive.home.database)


def of_kind(db: Database, kind: str) -> list[findings.Finding]:
    return findings.list_open(db, kind=kind)


def test_retiring_a_store_counts_copies_without_it(twins: tuple[Archive, Archive]) -> None:
    """Its files were the second copies: that they count no longer is found now, not by the next index run."""
    archive, _ = twins
    assert archive.call("copy", "--to", "nas", "--yes")[0] == 0
    (archive.folder / "spare").mkdir()
    db = opened(archive)
    operations.add_store(db, archive.home, "spare", archive.folder / "spare", "copy", consent=True)
    assert of_kind(db, "single copy") == []
    with transaction(db):
        findings.record(db, "missing", "gone", store_id=stores.by_name(db, "nas").id, path="x.tif")
    done = operations.retire_store(db, archive.home, "nas")
    assert len(of_kind(db, "single copy")) == 2
    assert done.lacking["single copy"] == 2 and done.findings_closed == 1
    assert [event.detail for event in recorded.events(db) if event.store == "nas" and "retired" in event.detail] == [
        "copy store retired"]
    assert operations.summarize(done)[0] == "nas is retired. Its files are untouched. 1 finding of it " \
                                            "closed."
    db.close()


def test_a_first_store_for_copies_turns_one_finding_into_one_for_each_master(tmp_path: Path, twins: object,
                                                                             db: Database, home: Home) -> None:
    """While there is one store, one finding says so for all masters; with a second each master has its own."""
    del twins
    one = tmp_path / "one" / "main"
    main = operations.add_store(db, home, "main", one, "primary", consent=False).store
    index(db, Home(home.folder, Settings(workers=1)), [main])
    operations.add_store(db, home, "nas", tmp_path / "one" / "nas", "copy", consent=False, one_reader=True)
    assert sorted(found.path for found in of_kind(db, "single copy")) == [
        "Ada Quill/Harbour/master.tif", "Ada Quill/Pier/master.tif"]
    assert stores.by_name(db, "nas").one_reader


def test_a_store_that_was_moved_is_not_offline_any_more(twins: tuple[Archive, Archive]) -> None:
    archive, _ = twins
    db = opened(archive)
    main = stores.by_name(db, "main")
    with transaction(db):
        findings.record(db, "offline", "seen elsewhere", store_id=main.id)
    (archive.folder / "main").rename(archive.folder / "new place")
    done = operations.move_store(db, archive.home, "main", archive.folder / "new place")
    assert of_kind(db, "offline") == []
    assert operations.summarize(done) == [f"The store main is now at {archive.folder / 'new place'}; it was at "
                                          f"{archive.folder / 'main'}."]
    db.close()
