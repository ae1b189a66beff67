"""Lists, markers and backups that somebody else wrote: nothing is written outside, nothing waits, nothing crashes.

The ways out of a folder are those of RFC 8493, 5.1; pipes and devices behave as POSIX open(2) and mkfifo(3) say.
"""

import hashlib
import json
import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from fixity_shop import Shop, threads
from hypothesis import given
from hypothesis import strategies as st

from catalogue.errors import CatalogueError, Damaged
from catalogue.fixity import copies, manifest
from catalogue.fixity.backup import back_up
from catalogue.fixity.bag_check import check_bag
from catalogue.fixity.rebuild import rebuild
from catalogue.fixity.recovery import recover
from catalogue.fixity.restore import plan, restore
from catalogue.indexing.locating import read_marker
from catalogue.indexing.stores import add_store
from catalogue.intake.moving import apply_tidying, undo_tidying
from catalogue.intake.packets import Description
from catalogue.intake.sidecars import files_to_describe, write_sidecars
from catalogue.intake.tidy import plan_tidying
from catalogue.intake.undo_lists import NOT_AN_UNDO_FILE
from catalogue.operations.auditing import check_log, summarize_log
from catalogue.operations.correcting import confirm_pieces
from catalogue.operations.importing import import_table
from catalogue.records import files, findings, pieces
from catalogue.records.database import open_database, transaction
from catalogue.records.fixity import wanted_by
from catalogue.records.paths import escape_path, native_path, unsafe_escaped_path
from catalogue.settings import Home
from catalogue.storage.folders import MARKER
from catalogue.untrusted import open_regular, read_regular, unsafe_path

Scan = Callable[..., Path]
LEADING_AWAY = ["../x", "a/../../x", "/etc/passwd", "a//x", "a/./x", "", ".",
                "..", "a/..", "nul\0.tif", "\udc41", "a/"]


@pytest.mark.parametrize("path", LEADING_AWAY)
def test_paths_that_lead_away_are_refused(path: str) -> None:
    assert unsafe_path(path)


@given(st.binary(min_size=1, max_size=60).filter(lambda n: not set(n) & {0, 47} and n not in (b".", b"..")))
def test_a_name_that_a_disk_can_hold_is_accepted(name: bytes) -> None:
    for path in (os.fsdecode(name), f"folder/{os.fsdecode(name)}"):
        assert unsafe_path(path) == ""
        assert unsafe_escaped_path(escape_path(path)) == ""
        assert native_path(escape_path(path)) == path


@pytest.mark.parametrize("path", ["//41", "a//2e//2e/x", "//2e./x", "a///ff/..", "../x", "x\0", "caf\udce9.tif",
                                  "caf//c3//a9.tif", "//FF"])
def test_a_kept_path_that_no_name_gives_is_refused(path: str) -> None:
    """Bytes that are UTF-8 are kept as letters, others as escapes: a second spelling would be a second file."""
    assert unsafe_escaped_path(path)


@pytest.fixture
def pipe(tmp_path: Path) -> Path:
    os.mkfifo(tmp_path / "pipe")
    return tmp_path / "pipe"


def test_only_regular_files_are_opened(pipe: Path, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to("/dev/zero")
    (tmp_path / "loop").symlink_to("loop")
    for place in (pipe, tmp_path / "link", tmp_path / "loop", tmp_path, tmp_path / "none", "nul\0"):
        with pytest.raises(OSError):
            open_regular(place)
    with pytest.raises(OSError, match="not a regular file"):
        read_regular(tmp_path / "link", 10, follow=True)
    (tmp_path / "ten").write_bytes(b"0123456789")
    (tmp_path / "to ten").symlink_to("ten")
    assert read_regular(tmp_path / "ten", 10) == b"0123456789"
    assert read_regular(tmp_path / "to ten", 10, follow=True) == b"0123456789"
    with pytest.raises(OSError, match="larger"):
        read_regular(tmp_path / "ten", 9)


def _listing(root: Path, lines: list[bytes]) -> None:
    (root / manifest.NAME).write_bytes(b"# checksums of a scan store\n# store: main\n" + b"".join(lines))


def test_a_manifest_that_leads_out_of_its_store_is_not_followed(shop: Shop, scan: Scan, tmp_path: Path) -> None:
    """`recover --rebuild` and `restore` wrote where a store's manifest told them to."""
    master = scan("main/Ada Quill/Harbour/0.tif", seed=1)
    shop.index()
    (sha256,) = (row[0] for row in shop.db.execute("SELECT sha256 FROM scan"))
    names = (b"../../../evil.tif", bytes(tmp_path / "outside.tif"), b"nul\0.tif", b"a//41.tif", b"good.tif")
    _listing(master.parents[2], [manifest.line(sha256, name) for name in names])
    found = manifest.read(master.parents[2] / manifest.NAME)
    assert set(found.digests) == {"good.tif"}
    assert len(found.faults) == 4 and "line 3" in found.faults[0]
    home = Home(tmp_path / "new home")
    rebuild(home, [tmp_path / "main"], executors=threads)
    db = open_database(home.database)
    again = Shop(db, home, tmp_path)
    assert {row[0] for row in db.execute("SELECT path FROM file")} == {"Ada Quill/Harbour/0.tif", "good.tif"}
    assert again.audit().findings == {"missing": 1}
    (told,) = findings.list_open(db, kind="unusable manifest")
    assert "4 lines" in told.detail and "line 3" in told.detail
    db.close()


@pytest.mark.parametrize("kind", ["link", "dangling link", "pipe", "folder"])
def test_a_manifest_that_is_no_file_is_passed_over_and_said(shop: Shop, scan: Scan, tmp_path: Path, kind: str) -> None:
    """It stopped `recover --rebuild`, `recover` and `audit --log` altogether."""
    root = scan("main/Ada Quill/Harbour/0.tif", seed=1).parents[2]
    shop.index()
    place = root / manifest.NAME
    if kind == "pipe":
        os.mkfifo(place)
    elif kind == "folder":
        place.mkdir()
    else:
        if kind == "link":
            _listing(tmp_path, [])
        place.symlink_to(tmp_path / manifest.NAME)
    checked = check_log(shop.db, shop.home)
    assert checked.sound and "main was skipped" in checked.passed_over[0]
    assert checked.passed_over[0] in summarize_log(checked)
    assert shop.finding(manifest.UNUSABLE).path == manifest.NAME
    home = Home(tmp_path / "new home")
    rebuilt = rebuild(home, [root], executors=threads)
    assert [one.files for one in rebuilt.stores] == [1] and "main was skipped" in rebuilt.passed_over[0]
    db = open_database(home.database)
    assert len(findings.list_open(db, kind=manifest.UNUSABLE)) == 1
    db.close()
    place.rmdir() if kind == "folder" else place.unlink()
    assert not check_log(shop.db, shop.home).passed_over
    assert not findings.list_open(shop.db, kind=manifest.UNUSABLE)


@pytest.mark.parametrize("path", ["../evil.tif", "nul\0.tif", "//41.tif"])
def test_a_row_that_leads_out_of_its_store_is_never_followed(shop: Shop, scan: Scan, path: str) -> None:
    """A catalogue made by an earlier program, or brought from elsewhere, may hold such rows already."""
    scan("main/Ada Quill/Harbour/0.tif", seed=1)
    nas = shop.add("nas", "copy")
    shop.index()
    (scan_id,) = (row[0] for row in shop.db.execute("SELECT id FROM scan"))
    copies.copy_to(shop.db, shop.home, nas, wanted_by(shop.db, nas))
    with transaction(shop.db):
        file_id = files.save(shop.db, shop.store().id, path, 5, 0, scan_id, verified=False)
    before = sorted(p for p in shop.folder.rglob("*") if "catalogue home" not in p.parts)
    assert shop.audit().findings == {"missing": 1}
    with pytest.raises(CatalogueError, match=r"leads out|such a name"):
        restore(shop.db, plan(shop.db, file_id))
    assert sorted(p for p in shop.folder.rglob("*") if "catalogue home" not in p.parts) == before


@pytest.mark.parametrize("make", ["pipe", "device", "loop", "large"])
def test_a_marker_that_is_no_small_file_is_no_marker(shop: Shop, tmp_path: Path, make: str) -> None:
    folder = tmp_path / "other"
    folder.mkdir()
    _odd(folder / MARKER, make)
    assert read_marker(folder) is None
    with pytest.raises(CatalogueError, match="marker"):
        add_store(shop.db, "other", folder, "copy", consent=True)


def _odd(place: Path, make: str) -> None:
    if make == "pipe":
        os.mkfifo(place)
    elif make == "device":
        place.symlink_to("/dev/zero")
    elif make == "loop":
        place.symlink_to(place.name)
    else:
        with place.open("wb") as file:
            file.truncate(1 << 33)  # a hole: takes no room on the disk, 8 GiB in memory


@pytest.mark.parametrize("name", ["bagit.txt", "bag-info.txt", "manifest-sha256.txt", "fetch.txt", "tag.txt",
                                  "data/a.tif"])
@pytest.mark.parametrize("make", ["pipe", "device", "loop"])
def test_a_bag_with_pipes_devices_and_loops_is_told_and_never_waits(tmp_path: Path, name: str, make: str) -> None:
    bag = tmp_path / "bag"
    (bag / "data").mkdir(parents=True)
    empty = hashlib.sha256(b"").hexdigest()
    (bag / "data/a.tif").touch()
    (bag / "tag.txt").touch()
    (bag / "bagit.txt").write_text("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    (bag / "bag-info.txt").write_text("Payload-Oxum: 0.1\n")
    (bag / "manifest-sha256.txt").write_text(f"{empty}  data/a.tif\n")
    (bag / "tagmanifest-sha256.txt").write_text(
        f"{empty}  tag.txt\n"
        f"{hashlib.sha256((bag / 'manifest-sha256.txt').read_bytes()).hexdigest()}  manifest-sha256.txt\n")
    assert check_bag(bag) == []
    (bag / name).unlink(missing_ok=True)
    _odd(bag / name, make)
    assert name in {problem.path for problem in check_bag(bag)}


def test_an_undo_file_moves_nothing_out_of_its_store(shop: Shop, scan: Scan, tmp_path: Path) -> None:
    """`"from": "../../evil"` moved a master out of its store."""
    master = scan("main/Ada Quill/Harbour/0.tif", seed=1)
    shop.index()
    due = shop.due("Ada Quill/Harbour/0.tif")
    for number, source in enumerate(("../../evil.tif", str(tmp_path / "evil.tif"), "nul\0.tif", "//41", 7, None)):
        undo = tmp_path / f"undo {number}.jsonl"
        undo.write_text("\n".join(map(json.dumps, (
            {"store": shop.store().marker, "name": "main", "at": "2026-01-01T00:00:00Z"},
            {"from": source, "to": "Ada Quill/Harbour/0.tif", "sha256": due.sha256}, {"end": "x"}))) + "\n")
        with pytest.raises(CatalogueError, match="line 2"):
            undo_tidying(shop.db, shop.home, undo)
        assert master.exists()
    assert not list(tmp_path.glob("**/evil*"))


@pytest.mark.parametrize("text", ["[1]\n", "7\n", "{}\n", "null\n{}\n", '{"store": 7}\n', "\n"])
def test_any_other_json_is_no_undo_file(shop: Shop, tmp_path: Path, text: str) -> None:
    (tmp_path / "undo.jsonl").write_text(text)
    with pytest.raises(CatalogueError, match=NOT_AN_UNDO_FILE):
        undo_tidying(shop.db, shop.home, tmp_path / "undo.jsonl")


FOREIGN = {
    "trigger": "CREATE TRIGGER evil AFTER INSERT ON event BEGIN DELETE FROM file; END",
    "view": "CREATE VIEW evil AS SELECT * FROM file",
    "table": "CREATE TABLE evil (x)",
    "index": "CREATE UNIQUE INDEX evil ON file (size)",
    "column": "ALTER TABLE file ADD COLUMN evil TEXT",
    "no trigger": "DROP TRIGGER {trigger}",
}


@pytest.mark.parametrize("kind", FOREIGN)
def test_a_backup_with_a_schema_that_is_not_ours_is_refused(shop: Shop, scan: Scan, kind: str) -> None:
    scan("main/Ada Quill/Harbour/0.tif", seed=1)
    shop.index()
    made = back_up(shop.db, shop.home)
    shop.db.close()
    other = shop.folder / "from elsewhere.sqlite"
    other.write_bytes(made.path.read_bytes())
    with closing(sqlite3.connect(other)) as connection:
        (trigger,) = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger' LIMIT 1").fetchone()
        connection.executescript(FOREIGN[kind].format(trigger=trigger))
    with pytest.raises(Damaged, match=f"evil|'file'|{trigger}"):
        recover(shop.home, other)
    assert open_database(shop.home.database).execute("SELECT count(*) FROM file").fetchone()[0] == 1


@pytest.mark.parametrize("make", ["pipe", "device", "loop", "large"])
def test_a_table_to_take_in_is_a_file_of_sensible_size(shop: Shop, tmp_path: Path, make: str) -> None:
    _odd(tmp_path / "orders.csv", make)
    with pytest.raises(CatalogueError, match="cannot be read"):
        import_table(shop.db, shop.home.settings, tmp_path / "orders.csv")


@pytest.mark.parametrize("make", ["pipe", "device", "loop", "large"])
def test_a_sidecar_that_is_no_small_file_is_told_and_left(shop: Shop, scan: Scan, make: str) -> None:
    master = scan("main/Ada Quill/Harbour/0.tif", seed=1)
    shop.index()
    _odd(master.with_suffix(".tif.xmp"), make)
    (piece_id,) = (row[0] for row in shop.db.execute("SELECT id FROM piece"))
    (written,) = write_sidecars(shop.db, files_to_describe(shop.db, piece_id), Description(title="Harbour"))
    assert "cannot be read" in written.trouble
    assert sorted(p.name for p in master.parent.iterdir()) == ["0.tif", "0.tif.xmp"]


@pytest.mark.parametrize("text", ["", "{", "[]\n", '{"store": "x"}\n[]\n'])
def test_one_useless_undo_file_does_not_block_all_tidying(shop: Shop, scan: Scan, text: str) -> None:
    """An empty one is what a kill between making and writing it leaves."""
    scan("main/Ada Quill/Harbour/0.tif", seed=1)
    shop.index()
    confirm_pieces(shop.db, [piece.id for piece in pieces.every(shop.db)])
    useless = shop.home.folder / "undo" / "tidy-1-20260101T000000000.jsonl"
    useless.parent.mkdir(parents=True)
    useless.write_text(text)
    planned = plan_tidying(shop.db, shop.home.settings, shop.store())
    assert planned.moves
    done = apply_tidying(shop.db, shop.home, planned)
    assert len(done.moved) == len(planned.moves)
    assert [item.path for item in done.skipped] == ([useless] if text else [])
