"""What a catalogue of an older version had forgotten or never noted about its files."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from catalogue.fixity.advice import next_step
from catalogue.records import copies, database, files, findings, locations, stores
from catalogue.records.database import migrate, migrations, open_database, transaction
from catalogue.storage.devices import Device

A, B = "a1" * 32, "b2" * 32
T = "2026-01-02T03:04:05.000Z"


def older(path: Path) -> None:
    """A catalogue as the version before 0010 left it: one file whose digest a failed reading blanked, one whose edit
    an audit saw, one edited and read, one truncated from the start."""
    with closing(sqlite3.connect(path)) as db:
        for number, script in migrations():
            if number < 8:
                db.executescript(script)
        db.execute("PRAGMA user_version = 7")
        db.execute("INSERT INTO store (id, name, root, kind, marker, added)"
                   " VALUES (1, 'main', '/x', 'primary', 'm', ?)", [T])
        for scan_id, sha256 in enumerate((A, B, "c3" * 32, "d4" * 32), 1):
            db.execute("INSERT INTO scan (id, sha256, bytes, role, first_indexed) VALUES (?, ?, 100, 'master', ?)",
                       [scan_id, sha256, T])
        for path_, scan_id in (("blanked.tif", None), ("audited.tif", 1), ("edited.tif", 2), ("cut.tif", 4)):
            db.execute("INSERT INTO file (store_id, path, size, mtime_ns, scan_id, first_seen, read_at)"
                       " VALUES (1, ?, 50, 7, ?, ?, ?)", [path_, scan_id, T, T])
        for outcome, sha256 in (("success", "c3" * 32), ("fail", "")):
            db.execute("INSERT INTO event (at, type, outcome, agent, store, path, sha256, chain) VALUES"
                       " (?, 'message digest calculation', ?, 'x', 'main', 'blanked.tif', ?, 'x')",
                       [T, outcome, sha256])
        for kind, path_, scan_id, detail in (
                ("edited", "audited.tif", 1, "90 bytes where 50 were"),
                ("edited", "edited.tif", 2, f"was {A[:12]}…, its bytes and its time have changed"),
                ("truncated", "cut.tif", 4, "the file ends at 40 % of its picture")):
            db.execute("INSERT INTO finding (kind, store_id, path, scan_id, detail, first_seen, last_seen)"
                       " VALUES (?, 1, ?, ?, ?, ?, ?)", [kind, path_, scan_id, detail, T, T])
        db.commit()


def test_an_older_catalogue_gets_back_what_its_log_still_knows(tmp_path: Path) -> None:
    older(tmp_path / "catalogue.sqlite")
    db = open_database(tmp_path / "catalogue.sqlite")
    rows = {path: files.by_path(db, 1, path) for path in ("blanked.tif", "audited.tif", "edited.tif", "cut.tif")}
    held = {path: (row.scan_id, row.failed_at is not None) for path, row in rows.items() if row}
    assert held == {"blanked.tif": (3, True), "audited.tif": (1, True), "edited.tif": (2, False), "cut.tif": (4, False)}
    former = {f.path: f.former_sha256 for f in findings.list_open(db)}
    assert former == {"audited.tif": "", "edited.tif": A, "cut.tif": ""}
    assert {c.sha256: c.stores for c in copies.of_masters(db)} == {A: 0, B: 0, "c3" * 32: 0, "d4" * 32: 0}
    db.execute("UPDATE finding SET resolved = last_seen")
    assert copies.of_scan(db, 2).stores == 1, "an accepted edit is a sound file"
    assert copies.of_scan(db, 4).stores == 0, "no copy of a truncated picture is sound, whatever findings say"
    db.close()


@pytest.mark.parametrize(("kind", "hint", "cause"), [
    ("unreadable", "check its permissions", "access denied"),
    ("unreadable", "Check its permissions, then audit it again.", "access denied"),
    ("unreadable", "Restore it from a good copy, and replace this disk soon.", ""),
    ("offline", "Connect it; it was at /media/store move nas/it is there, but clone.", ""),
    ("offline", "Connect it, then index again.", ""),
    ("offline", "/media/nas is there, but .scan-store.json in it is gone. If it is this store: catalogue store move nas"
                " /media/nas writes it again.", "stand-in"),
    ("offline", "/media/b has its marker, but is not the disk last seen at /media/a: it may be a clone. If it is this"
                " store: catalogue store move 'a disk' /media/b.", "stand-in")])
def test_a_finding_of_an_older_program_keeps_its_next_step(tmp_path: Path, kind: str, hint: str, cause: str) -> None:
    older(tmp_path / "catalogue.sqlite")
    with closing(sqlite3.connect(tmp_path / "catalogue.sqlite")) as db:
        db.execute("INSERT INTO finding (kind, store_id, path, detail, hint, first_seen, last_seen)"
                   " VALUES (?, 1, 'of old.tif', 'x', ?, ?, ?)", [kind, hint, T, T])
        db.commit()
    with closing(open_database(tmp_path / "catalogue.sqlite")) as db:
        (finding,) = findings.open_at(db, 1, "of old.tif")
        assert finding.cause == cause
        step = next_step(db, finding, "YYYY-MM-DD")
        assert step.action == ("connect" if kind == "offline" and not cause else "look")
        assert (step.text == hint) == (step.action == "look")


def test_an_older_catalogue_learns_which_of_its_stores_are_shares_of_one_server(tmp_path: Path) -> None:
    """Also while they are away. Before 0030 the disks of all that are lost together stood behind the file system."""
    places = {"a": "share //Nas./scans", "b": "share nas:/export/b", "c": "share ada@nas:/prints/c", "d": "share hgfs",
              "e": "volume 12\ndisk naa.5 100", "f": "volume 34\ndisk naa.5 100", "g": "volume 34",
              "h": "share https://nas/dav", "i": "share [fe80::1]:/i"}
    (tmp_path / "catalogue.sqlite").touch()
    with closing(database._prepared(database._connected(tmp_path / "catalogue.sqlite"))) as db:
        db.execute("BEGIN")
        migrate(db, upto=29)
        db.execute("COMMIT")
    with closing(database._prepared(database._connected(tmp_path / "catalogue.sqlite"))) as db, transaction(db):
        for number, (name, place) in enumerate(places.items(), 1):
            stores.add(db, name, f"/{name}", "copy", name)
            db.execute("INSERT INTO store_place VALUES (?, ?, 2, ?)", [number, place, T])
    db = open_database(tmp_path / "catalogue.sqlite")
    assert locations.shared_disks(db) == [("a", "b", "nas"), ("a", "c", "nas"), ("b", "c", "nas"), ("e", "f", "")]
    disk = Device("volume 12", frozenset({"disk naa.5 100"}))
    assert locations.store_location(db, 5) == locations.StoreLocation(disk, 2)
    assert locations.store_location(db, 4) == locations.StoreLocation(Device("share hgfs"), 2)
    with db.conn:
        locations.note_store(db, 7, Device("volume 34"), 2)
        locations.note_store(db, 5, Device("volume 12", frozenset({"sdb 9 b7c4"})), 2)
    assert ("e", "g", "") in locations.shared_disks(db) and len(locations.shared_disks(db)) == 6
    noted = locations.store_location(db, 5)
    assert noted and noted.device.disks == {"disk naa.5 100", "sdb 9 b7c4"}, "a case without a number tells no other"
    db.close()
