"""The catalogue's own safety: backups in generations, recovery, and a rebuild from what the stores hold.

SQLite's integrity check and its online backup are SQLite's own.
"""

import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from fixity_shop import Shop, rot, spoil, threads
from hypothesis import given
from hypothesis import strategies as st

from catalogue.errors import CatalogueError, Damaged, NotFound, Refused
from catalogue.fixity import backup, copies, log, manifest
from catalogue.fixity.backup import Generation, back_up, back_up_if_due, generations, to_keep
from catalogue.fixity.rebuild import rebuild
from catalogue.fixity.recovery import recover
from catalogue.fixity.restore import plan, restore
from catalogue.records import backup as copying
from catalogue.records import events, files, findings, scans, stores
from catalogue.records.backup import condition
from catalogue.records.connection import Connection
from catalogue.records.database import Database, open_database
from catalogue.records.fixity import wanted_by
from catalogue.settings import Home, Settings, find_home
from catalogue.storage.atomic import part_name
from tests import recorded

Scan = Callable[..., Path]


@pytest.fixture
def archive(shop: Shop, scan: Scan) -> Shop:
    for n in range(4):
        scan(f"main/Ada Quill/Harbour/{n}.tif", seed=n)
    shop.index()
    return shop


def test_a_backup_is_a_sound_catalogue_of_its_own(archive: Shop) -> None:
    made = back_up(archive.db, archive.home)
    found = condition(made.path)
    assert (found.faults, found.files, found.scans) == ((), 4, 4)
    with closing(sqlite3.connect(made.path)) as other:
        assert other.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert other.execute("SELECT count(*) FROM file").fetchone()[0] == 4
    assert [p.name for p in archive.home.backups.iterdir()] == [made.path.name]


def test_a_backup_whose_index_does_not_fit_its_rows_is_not_sound(archive: Shop) -> None:
    """Every row can be read and every reference holds: only SQLite's integrity check sees it."""
    path = back_up(archive.db, archive.home).path
    data = bytearray(path.read_bytes())
    size, name = int.from_bytes(data[16:18], "big"), b"ada quill"
    leaves = [at for at in range(size, len(data), size) if data[at] == 10 and name in data[at:at + size]]
    assert leaves, "an index holds the name; 10 is a leaf of one (SQLite's file format, 1.6)"
    for at in leaves:
        found = data.index(name, at)
        data[found:found + len(name)] = b"ada quilt"
    path.write_bytes(data)
    faults = condition(path).faults
    assert faults and "index" in " ".join(faults)


def test_it_is_taken_while_another_connection_writes(archive: Shop) -> None:
    other = open_database(archive.home.database)
    try:
        other.execute("BEGIN IMMEDIATE")
        other.execute("UPDATE store SET root = 'half written'")
        assert condition(_while_writing(archive).path).faults == ()
        other.conn.rollback()
    finally:
        other.close()


def _while_writing(shop: Shop) -> Generation:
    from catalogue.records.backup import copy_database

    target = shop.folder / "copy.sqlite"
    copy_database(shop.db, target)
    with closing(sqlite3.connect(target)) as copy:
        assert copy.execute("SELECT root FROM store").fetchone()[0] != "half written"
    return Generation(1, "", target)


def test_a_second_copy_goes_to_another_disk(archive: Shop) -> None:
    made = back_up(archive.db, archive.home, also=archive.folder / "usb")
    assert (archive.folder / "usb" / made.path.name).read_bytes() == made.path.read_bytes()


def test_what_a_killed_backup_left_in_the_other_folder_goes(archive: Shop) -> None:
    killed = back_up(archive.db, archive.home)
    left = archive.folder / "usb" / part_name(killed.path.name)
    left.parent.mkdir()
    left.write_bytes(b"half a copy")
    made = back_up(archive.db, archive.home, also=left.parent)
    assert {path.name for path in left.parent.glob("*catalogue-*")} == {made.path.name}


def test_a_copy_that_fails_does_not_hide_that_the_backup_is_made(archive: Shop) -> None:
    other = archive.folder / "usb"
    other.write_bytes(b"a file, and no folder")
    with pytest.raises(CatalogueError) as told:
        back_up(archive.db, archive.home, also=other)
    made = generations(archive.home)[-1]
    assert f"The backup itself is made and checked: {made.path.name}." in str(told.value)


def test_old_generations_go_by_number_not_by_clock(archive: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    home = Home(archive.home.folder, Settings(backups_kept=3))
    for year in (2030, 2031, 2001, 2002, 2003):   # the clock is set back in between
        monkeypatch.setattr(backup, "now", lambda year=year: f"{year}-05-05T00:00:00.000Z")
        back_up(archive.db, home)
    assert [g.number for g in generations(home)] == [1, 2, 3, 4, 5], "one a month is kept besides"
    monkeypatch.setattr(backup, "now", lambda: "2003-05-06T00:00:00.000Z")
    for _ in range(4):
        back_up(archive.db, home)
    assert [g.number for g in generations(home)] == [1, 2, 3, 4, 7, 8, 9]


@given(st.lists(st.integers(2000, 2003), min_size=1, max_size=60), st.integers(1, 20))
def test_the_newest_are_always_kept(years: list[int], newest: int) -> None:
    known = [Generation(n, f"{year}{n % 12 + 1:02}01T000000", Path()) for n, year in enumerate(years)]
    kept = to_keep(known, newest)
    assert set(range(max(0, len(known) - newest), len(known))) <= kept
    assert len(kept) <= newest + backup.MONTHS_KEPT


def test_one_a_day_is_made_by_itself(archive: Shop) -> None:
    assert back_up_if_due(archive.db, archive.home) is not None
    assert back_up_if_due(archive.db, archive.home) is None


def test_a_damaged_catalogue_is_not_backed_up_over_good_ones(archive: Shop) -> None:
    back_up(archive.db, archive.home)
    archive.db.close()
    spoil(archive.home)
    raw = sqlite3.connect(archive.home.database, factory=Connection)
    with closing(raw), pytest.raises(Exception, match=r"integrity|malformed|damaged|disk image"):
        back_up(Database(raw), archive.home)
    assert len(generations(archive.home)) == 1
    assert [p.name for p in archive.home.backups.iterdir()] == [generations(archive.home)[0].path.name]


def test_a_catalogue_whose_rows_refer_to_nothing_is_not_backed_up_over_good_ones(archive: Shop) -> None:
    """SQLite copies it without a word; only the check of the copy tells."""
    good = back_up(archive.db, archive.home)
    with closing(sqlite3.connect(archive.home.database)) as raw, raw:
        raw.execute("PRAGMA foreign_keys = OFF")
        raw.execute("UPDATE run SET store_id = 999 WHERE id = (SELECT min(id) FROM run)")
    with pytest.raises(Damaged, match="integrity check"):
        back_up(archive.db, archive.home)
    assert [p.name for p in archive.home.backups.iterdir()] == [good.path.name]


def test_recover_brings_the_newest_sound_backup_and_keeps_the_bad_file(archive: Shop) -> None:
    back_up(archive.db, archive.home)
    good = back_up(archive.db, archive.home)
    worse = back_up(archive.db, archive.home)
    worse.path.write_bytes(worse.path.read_bytes()[:5000])
    archive.db.close()
    bad = spoil(archive.home)
    with pytest.raises(Damaged):
        open_database(archive.home.database)
    done = recover(archive.home)
    assert done.source == good.path
    assert done.aside is not None and done.aside.read_bytes() == bad
    assert condition(archive.home.database).faults == ()
    db = open_database(archive.home.database)
    assert recorded.events(db)[-1].type == "recovery"
    assert log.verify_chain(db, archive.home).sound
    db.close()


def test_recover_tells_which_events_are_lost(archive: Shop) -> None:
    """Nothing of the file can be read, and the journal has no checks: four and the end of the audit are gone."""
    back_up(archive.db, archive.home)
    archive.audit()
    archive.db.close()
    archive.home.database.write_bytes(b"\x55" * archive.home.database.stat().st_size)
    done = recover(archive.home)
    assert done.lost == 5, "the note of the backup itself is no loss"
    assert done.put_back is not None and not done.put_back.statements
    db = open_database(archive.home.database)
    assert log.verify_chain(db, archive.home, tuple(manifest.heads(db))).sound, "the loss is told in the log itself"
    assert log.head(db).id > done.put_back.last, "no event's number is given again"
    db.close()


def test_recover_keeps_the_events_the_damaged_file_still_gives(archive: Shop) -> None:
    back_up(archive.db, archive.home)
    archive.audit()
    before = [e.chain for e in recorded.events(archive.db)]
    archive.db.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
    (page,) = archive.db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'scan'").fetchone()
    archive.db.close()
    with archive.home.database.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\x55" * 4096)
    done = recover(archive.home)
    assert done.lost == 0 and done.put_back is not None and done.put_back.carried_on == 6
    db = open_database(archive.home.database)
    assert [e.chain for e in recorded.events(db)][: len(before)] == before and not list(events.broken_links(db))
    db.close()


def test_recover_right_after_a_backup_loses_nothing(archive: Shop) -> None:
    back_up(archive.db, archive.home)
    archive.db.close()
    spoil(archive.home)
    assert recover(archive.home).lost == 0


def test_the_settings_go_with_a_backup_and_come_back_where_there_are_none(archive: Shop) -> None:
    chosen = b'dates = "%d.%m.%Y"\ncurrency = "CHF"\n'
    archive.home.settings_file.write_bytes(chosen)
    made = back_up(archive.db, archive.home, also=archive.folder / "usb")
    archive.db.close()
    other = Home(archive.folder / "another machine")
    other.folder.mkdir()
    done = recover(other, archive.folder / "usb" / made.path.name)
    assert done.settings and other.settings_file.read_bytes() == chosen
    assert find_home(other.folder).settings.currency == "CHF"
    own = b'currency = "GBP"\n'
    other.settings_file.write_bytes(own)
    assert not recover(other, made.path).settings and other.settings_file.read_bytes() == own
    other.settings_file.unlink()
    (archive.home.backups / "settings.toml").write_bytes(b'currency = 7\n')
    done = recover(other, made.path)
    assert not done.settings and not other.settings_file.exists()
    assert done.put_back and any("settings" in doubt for doubt in done.put_back.doubts)


def test_recover_leaves_a_sound_catalogue_alone_unless_a_backup_is_named(archive: Shop) -> None:
    made = back_up(archive.db, archive.home)
    archive.db.close()
    with pytest.raises(Refused, match="sound"):
        recover(archive.home)
    assert recover(archive.home, made.path).source == made.path
    made.path.write_bytes(b"no database at all")
    with pytest.raises(Damaged):
        recover(archive.home, made.path)


def test_without_a_backup_it_says_what_else_can_be_done(archive: Shop) -> None:
    archive.db.close()
    spoil(archive.home)
    with pytest.raises(NotFound, match="--rebuild"):
        recover(archive.home)


@pytest.mark.parametrize("step", ["connect", "rename", "link", "unlink"])
def test_a_backup_killed_on_the_way_leaves_whole_ones_only(archive: Shop, step: str) -> None:
    back_up(archive.db, archive.home)
    child = """
import os, signal, sys
from pathlib import Path
from catalogue.fixity import backup
from catalogue.records.connection import Connection
from catalogue.records.database import Database, open_database
from catalogue.settings import Home
home = Home(Path(sys.argv[1]))
db = open_database(home.database)
def hook(event, args):
    if event.endswith("." + sys.argv[2]) or (sys.argv[2] == "unlink" and event == "os.remove"):
        os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(hook)
backup.back_up(db, home)
"""
    killed = subprocess.run([sys.executable, "-c", child, str(archive.home.folder), step], check=False)
    assert killed.returncode == -signal.SIGKILL
    assert generations(archive.home)
    assert all(condition(g.path).faults == () for g in generations(archive.home))
    made = back_up(archive.db, archive.home)
    assert made.path.exists()
    assert all(p.name.startswith("catalogue-") for p in archive.home.backups.iterdir())


def test_a_lost_catalogue_comes_back_from_stores_and_manifests(archive: Shop, scan: Scan) -> None:
    """Damage and loss that happened while no catalogue watched are found, and repaired from the other store."""
    scan("main/Ada Quill/Harbour/unlisted.tif", seed=77).rename(archive.folder / "later.tif")
    nas = archive.add("nas", "copy")
    copies.copy_to(archive.db, archive.home, nas, wanted_by(archive.db, nas))
    for name in ("main", "nas"):
        manifest.export_into(archive.db, archive.store(name), consent=True)
    ended = max(head.id for head in manifest.heads(archive.db))
    archive.db.close()
    harbour = archive.folder / "main/Ada Quill/Harbour"
    whole = (harbour / "0.tif").read_bytes()
    rot(harbour / "0.tif", 900)
    (harbour / "1.tif").unlink()
    (archive.folder / "later.tif").rename(harbour / "unlisted.tif")

    home = Home(archive.folder / "new home")
    done = rebuild(home, [archive.folder / "main", archive.folder / "nas"], executors=threads)
    main, other = done.stores
    assert (main.store, main.listed, main.differ, main.missing, main.unlisted) == ("main", 4, 1, 1, 1)
    assert (other.store, other.differ, other.missing) == ("nas", 0, 0)

    db = open_database(home.database)
    again = Shop(db, home, archive.folder)
    assert [s.kind for s in stores.listed(db)] == ["primary", "copy"]
    assert again.kinds("Ada Quill/Harbour/0.tif") >= {"changed"}
    assert again.due("Ada Quill/Harbour/0.tif").checked_at is None, "what was read there just now is other content"
    assert again.kinds("Ada Quill/Harbour/1.tif") >= {"missing"}
    gone = files.by_path(db, again.store("main").id, "Ada Quill/Harbour/1.tif")
    assert gone is not None and gone.state == "missing"
    assert f"reached event {ended}" in " ".join(e.detail for e in recorded.events(db))
    assert again.audit().findings == {"changed": 1, "missing": 1}
    for n in range(2):
        restore(db, again.home.settings, plan(db, again.due(f"Ada Quill/Harbour/{n}.tif").id))
    assert (harbour / "0.tif").read_bytes() == whole
    assert again.audit().findings == {}
    assert len({row[0] for row in db.execute("SELECT sha256 FROM scan")}) == 5, "damaged bytes are no scan"
    db.close()


def test_a_rebuild_without_a_manifest_says_so(archive: Shop) -> None:
    archive.db.close()
    home = Home(archive.folder / "new home")
    (one,) = rebuild(home, [archive.folder / "main"], executors=threads).stores
    assert one.listed is None
    assert one.files == 4


def test_a_rebuild_does_not_replace_a_sound_catalogue(archive: Shop) -> None:
    with pytest.raises(Refused, match="sound catalogue"):
        rebuild(archive.home, [archive.folder / "main"], executors=threads)


def test_a_rebuild_uses_the_manifest_kept_beside_the_catalogue(archive: Shop) -> None:
    manifest.export(archive.db, archive.home, archive.store())
    archive.db.close()
    spoil(archive.home)
    rot(archive.folder / "main/Ada Quill/Harbour/2.tif", 900)
    done = rebuild(archive.home, [archive.folder / "main"], executors=threads)
    assert done.aside is not None
    assert done.stores[0].differ == 1
    db = open_database(archive.home.database)
    (one,) = findings.list_open(db, kind="changed")
    file = files.by_id(db, one.file_id or 0)
    assert file is not None and scans.by_id(db, file.scan_id or 0) is not None
    db.close()


def test_a_backup_whose_log_stays_beside_it_is_none(archive: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the disk fails as the log is brought into the file, SQLite names the mode it stays in and raises nothing
    (sqlite.org, PRAGMA journal_mode: "if the journal mode could not be changed, the original journal mode")."""
    class Staying(sqlite3.Connection):
        def execute(self, sql: str, *given: object) -> sqlite3.Cursor:  # type: ignore[override]
            return super().execute("SELECT 'wal'" if "journal_mode" in sql else sql, *given)  # type: ignore[arg-type]

    real = sqlite3.connect
    with monkeypatch.context() as patch:
        patch.setattr(copying.sqlite3, "connect", lambda place, **more: real(place, factory=Staying, **more))
        with pytest.raises(CatalogueError, match="stays in the log"):
            back_up(archive.db, archive.home)
    assert list(archive.home.backups.iterdir()) == []
    assert back_up(archive.db, archive.home).path.exists()
