"""No byte goes where it must not, and no copy counts that is none: links, mounts, clones, and a store added twice."""

import errno
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest
from fixity_shop import Shop, rot

from catalogue.errors import CatalogueError, NotFound, Refused, StoreAway
from catalogue.fixity import copies as fixity_copies
from catalogue.fixity import copying, restore
from catalogue.fixity.advice import next_step
from catalogue.fixity.audit import audit
from catalogue.fixity.bags import write_bag
from catalogue.fixity.copies import SINGLE, all_on_one_disk, copy_to, review
from catalogue.fixity.verdicts import link_on_the_way
from catalogue.indexing import corrections, locating, mount_points
from catalogue.indexing import locations as noted_locations
from catalogue.indexing import stores as on_disk
from catalogue.indexing.locating import locate_store, marked_elsewhere, read_marker
from catalogue.indexing.stores import add_store, move_store
from catalogue.operations import copying as copying_operation
from catalogue.operations import stores as moving
from catalogue.progress import Progress, ignore_progress, never_cancelled
from catalogue.records import copies, findings, scans
from catalogue.records import stores as store_rows
from catalogue.records.database import transaction
from catalogue.records.fixity import baggable, wanted_by
from catalogue.records.locations import disks_in_use, note_store, shared_disks
from catalogue.settings import Home, Settings, read_settings
from catalogue.sheets.writing import write_sheet
from catalogue.storage import devices, identity
from catalogue.storage.folders import MARKER, Entry
from catalogue.storage.medium import NoRoom
from tests.files import part_path

Scan = Callable[..., Path]


@pytest.fixture
def mount() -> Iterator[Callable[[Path, str], None]]:
    """Mounts what mount(8) is told: ``tmpfs`` for an empty disk, else the folder to bind."""
    mounted: list[Path] = []

    def make(place: Path, what: str) -> None:
        place.mkdir(exist_ok=True)
        how = ["-t", "tmpfs", "none"] if what == "tmpfs" else ["--bind", what]
        command = ["mount", *how, str(place)]
        if os.geteuid() != 0 or subprocess.run(command, capture_output=True, check=False).returncode:
            pytest.skip("mounting needs the rights of root")
        mounted.append(place)

    yield make
    for place in reversed(mounted):
        subprocess.run(["umount", "-l", str(place)], capture_output=True, check=False)


def copy(shop: Shop, name: str, report: Callable[[Progress], None] = lambda _: None):  # type: ignore[no-untyped-def]
    store = shop.store(name)
    return copy_to(shop.db, shop.home, store, wanted_by(shop.db, store), report=report)


def held(shop: Shop, path: str) -> copies.Copies:
    due = shop.due(path)
    found = scans.by_id(shop.db, due.scan_id)
    assert found is not None
    return copies.of_scan(shop.db, found.id)


def pictures(folder: Path) -> list[str]:
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*.tif"))


# --- stores that are one ---------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["link", "main/../main", "link/Ada", "bound", "bound ada"])
def test_a_folder_is_not_added_twice_by_whatever_path(shop: Shop, scan: Scan, mount: Callable[[Path, str], None],
                                                      path: str) -> None:
    scan("main/Ada/Harbour/0.tif")
    (shop.folder / "link").symlink_to(shop.folder / "main")
    if path == "bound":
        mount(shop.folder / "bound", str(shop.folder / "main"))
    if path == "bound ada":
        mount(shop.folder / "bound ada", str(shop.folder / "main" / "Ada"))
    with pytest.raises(Refused):
        add_store(shop.db, "twice", shop.folder / path, "copy", consent=False)
    assert [s.name for s in store_rows.listed(shop.db)] == ["main"]
    with pytest.raises(Refused, match="already the store 'main'"), transaction(shop.db):
        store_rows.add(shop.db, "twice", str(shop.folder / path), "copy", shop.store("main").marker)


def test_a_folder_without_marker_is_not_added_twice_either(shop: Shop) -> None:
    (shop.folder / "plain").mkdir()
    (shop.folder / "plain" / "x.tif").write_bytes(b"x")
    add_store(shop.db, "plain", shop.folder / "plain", "primary", consent=False)
    (shop.folder / "again").symlink_to(shop.folder / "plain")
    for path in ("plain", "again"):
        with pytest.raises(Refused, match="already"):
            add_store(shop.db, "again", shop.folder / path, "copy", consent=False)


def test_a_store_that_became_the_same_as_another_takes_no_copies(shop: Shop, scan: Scan) -> None:
    """Its root was made a link after it was added, marker and all: one folder under two names."""
    scan("main/Ada/Harbour/0.tif")
    shop.index()
    shop.add("nas", "copy")
    (shop.folder / "nas").rename(shop.folder / "nas was")
    (shop.folder / "nas").symlink_to(shop.folder / "main")
    shutil.copy(shop.folder / "nas was" / MARKER, shop.folder / "main" / MARKER)
    with pytest.raises(Refused, match="one folder"):
        copy(shop, "nas")


def test_a_folder_is_the_store_by_its_own_marker_alone(shop: Shop) -> None:
    main, nas = shop.store(), shop.add("nas", "copy")
    assert locating.is_at(main, Path(main.root))
    shutil.copy(Path(nas.root) / MARKER, Path(main.root) / MARKER)
    assert not locating.is_at(main, Path(main.root))
    (Path(main.root) / MARKER).unlink()
    assert not locating.is_at(main, Path(main.root))


def test_an_empty_folder_is_no_store_that_has_no_marker(shop: Shop) -> None:
    """An unmarked store's mount point looks so while its disk is away."""
    (shop.folder / "plain").mkdir()
    plain = add_store(shop.db, "plain", shop.folder / "plain", "primary", consent=False)
    assert not locating.is_at(plain, Path(plain.root)) and locate_store(shop.db, plain) is None
    (shop.folder / "plain" / "one.tif").touch()
    assert locating.is_at(plain, Path(plain.root))


# --- what counts as a copy -------------------------------------------------------------------------------


def test_a_linked_folder_is_no_copy(shop: Shop, scan: Scan) -> None:
    master = scan("main/Ada/Harbour/0.tif")
    shop.index()
    shop.add("nas", "copy")
    (shop.folder / "nas" / "Ada").symlink_to(shop.folder / "main" / "Ada")
    done = copy(shop, "nas")
    assert (done.copied, done.adopted) == (0, 0)
    assert "link" in done.not_copied[0].reason
    assert held(shop, "Ada/Harbour/0.tif").stores == 1
    assert review(shop.db, shop.home.settings)[SINGLE] == 1
    assert pictures(shop.folder / "main") == [str(master.relative_to(shop.folder / "main"))]


def test_a_hard_link_counts_once(shop: Shop, scan: Scan) -> None:
    master = scan("main/Ada/Harbour/0.tif")
    shop.add("nas", "off-site")
    (shop.folder / "nas" / "0.tif").hardlink_to(master)
    shop.index("main", "nas")
    found = held(shop, "Ada/Harbour/0.tif")
    assert (found.stores, found.off_site, found.disks) == (1, 0, 1)


def test_files_taken_for_copies_before_are_seen_through_by_the_next_audit(shop: Shop, scan: Scan) -> None:
    """A folder replaced by a link once its copies were on record."""
    scan("main/Ada/Harbour/0.tif")
    shop.index()
    shop.add("nas", "copy")
    assert copy(shop, "nas").copied == 1
    assert held(shop, "Ada/Harbour/0.tif").stores == 2
    shutil.rmtree(shop.folder / "nas" / "Ada")
    (shop.folder / "nas" / "Ada").symlink_to(shop.folder / "main" / "Ada")
    shop.audit("main", "nas")
    assert held(shop, "Ada/Harbour/0.tif").stores == 1


def test_two_stores_on_one_disk_are_told(shop: Shop, mount: Callable[[Path, str], None]) -> None:
    mount(shop.folder / "other disk", "tmpfs")
    shop.add("nas", "copy")
    shop.add("other disk", "off-site")
    assert shared_disks(shop.db) == [("main", "nas", "")]


# --- disks that go away ----------------------------------------------------------------------------------


def test_nothing_is_written_below_the_mount_point_of_a_disk_that_went_away(
        shop: Shop, scan: Scan, mount: Callable[[Path, str], None]) -> None:
    """umount -l between two files of a copy."""
    for n in range(6):
        scan(f"main/Ada/Harbour/{n}.tif", seed=n)
    shop.index()
    mount(shop.folder / "nas", "tmpfs")
    shop.add("nas", "copy")
    gone: list[bool] = []

    def report(progress: Progress) -> None:
        if progress.done == 2 and not gone:
            gone.append(not subprocess.run(["umount", "-l", str(shop.folder / "nas")], check=False).returncode)

    done = copy(shop, "nas", report)
    assert gone == [True]
    assert (done.outcome, done.copied) == ("failed", 2)
    assert "was disconnected" in done.trouble
    assert list((shop.folder / "nas").iterdir()) == []


def test_a_restore_after_an_unmount_writes_nothing_and_claims_nothing(
        shop: Shop, scan: Scan, mount: Callable[[Path, str], None]) -> None:
    mount(shop.folder / "nas", "tmpfs")
    nas = shop.add("nas", "copy")
    scan("main/Ada/Harbour/0.tif")
    shop.index()
    copy(shop, "nas")
    bad = shop.folder / "nas" / "Ada" / "Harbour" / "0.tif"
    rot(bad, 900)
    shop.audit("nas")
    planned = restore.plan(shop.db, shop.due("Ada/Harbour/0.tif", "nas").id)
    subprocess.run(["umount", "-l", str(shop.folder / "nas")], check=True)
    with pytest.raises(StoreAway):
        restore.restore(shop.db, shop.home.settings, planned)
    assert list((shop.folder / "nas").iterdir()) == []
    assert locate_store(shop.db, nas) is None


def test_a_restore_onto_a_disk_that_went_away_at_the_last_moment_is_not_recorded(
        shop: Shop, scan: Scan, monkeypatch: pytest.MonkeyPatch) -> None:
    scan("main/Ada/Harbour/0.tif")
    shop.add("nas", "copy")
    shop.index()
    copy(shop, "nas")
    rot(shop.folder / "nas" / "Ada" / "Harbour" / "0.tif", 900)
    shop.audit("nas")
    planned = restore.plan(shop.db, shop.due("Ada/Harbour/0.tif", "nas").id)
    real = copying.rename_over

    def pulled(part: Entry, target: Entry) -> None:
        real(part, target)
        (shop.folder / "nas").rename(shop.folder / "pulled")

    monkeypatch.setattr(copying, "rename_over", pulled)
    with pytest.raises(StoreAway, match="was disconnected while the file was put back"):
        restore.restore(shop.db, shop.home.settings, planned)
    assert held(shop, "Ada/Harbour/0.tif").stores == 1
    assert shop.kinds("Ada/Harbour/0.tif", "nas") == {"changed"}


def test_a_restored_file_is_known_as_the_new_file_it_is(shop: Shop, scan: Scan) -> None:
    """Its inode was that of the bad file, which may be a second name of a good one elsewhere."""
    scan("main/Ada/Harbour/0.tif")
    shop.add("nas", "copy")
    shop.index()
    copy(shop, "nas")
    lost = shop.folder / "nas" / "Ada" / "Harbour" / "0.tif"
    lost.unlink()
    lost.hardlink_to(shop.folder / "main" / "Ada" / "Harbour" / "0.tif")
    shop.audit("nas")
    assert held(shop, "Ada/Harbour/0.tif").stores == 1
    (shop.folder / "usb").mkdir()
    shop.add("usb", "copy")
    copy(shop, "usb")
    lost.unlink()
    shop.audit("nas")
    restore.restore(shop.db, shop.home.settings, restore.plan(shop.db, shop.due("Ada/Harbour/0.tif", "nas").id))
    assert held(shop, "Ada/Harbour/0.tif").stores == 3


def test_a_restore_never_takes_the_file_itself_for_its_source(shop: Shop, scan: Scan) -> None:
    master = scan("main/Ada/Harbour/0.tif")
    shop.index()
    shop.add("nas", "copy")
    copy(shop, "nas")
    (shop.folder / "nas" / "Ada" / "Harbour" / "0.tif").unlink()
    (shop.folder / "nas" / "Ada" / "Harbour" / "0.tif").hardlink_to(master)
    rot(master, 900)
    shop.audit()
    with pytest.raises(NotFound):
        restore.plan(shop.db, shop.due("Ada/Harbour/0.tif").id)


# --- clones ----------------------------------------------------------------------------------------------


@pytest.fixture
def volumes(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """Where disks appear."""
    place = tmp_path / "media"
    place.mkdir()
    monkeypatch.setattr(mount_points, "candidates", lambda _: iter(sorted(place.iterdir())))
    return place


def test_the_words_of_a_path_do_not_decide_what_to_do(shop: Shop) -> None:
    shop.add("store move", "copy")
    (shop.folder / "store move").rename(shop.folder / "unplugged")
    for look in (shop.index, shop.audit):
        look("store move")
        assert next_step(shop.db, shop.finding("offline"), "D Mon YYYY").action == "connect"


def test_a_clone_is_never_taken_for_the_disk(shop: Shop, volumes: Path) -> None:
    store = shop.add("nas", "copy")
    shutil.copytree(shop.folder / "nas", volumes / "clone")
    (shop.folder / "nas").rename(shop.folder / "unplugged")
    assert locate_store(shop.db, store) is None
    assert shop.store("nas").root == str(shop.folder / "nas")
    with pytest.raises(StoreAway, match=r"may be a clone.*store move nas"):
        copy(shop, "nas")
    move_store(shop.db, store, volumes / "clone")
    assert locate_store(shop.db, shop.store("nas")) == volumes / "clone"


@pytest.fixture
def disks(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """The serial number of the disk that each folder lies on, by the folder's name; of others the system tells none.
    All have one file system and one inode, as a disk has and what dd(1) makes of it."""
    serials: dict[str, str] = {}

    def device(place: Path | str) -> devices.Device:
        serial = serials.get(Path(place).name)
        return devices.Device("volume 7", frozenset([f"disk naa.{serial} 100"] if serial else []))

    def one_inode(place: Path) -> identity.FileId | None:
        real = identity.identity(place)
        return real and identity.FileId(real.inode, 2)

    for module in (noted_locations, locating):
        monkeypatch.setattr(module, "device_of", device)
        monkeypatch.setattr(module, "filesystem_id", lambda _: "volume 7")
    monkeypatch.setattr(locating, "identity", one_inode)
    monkeypatch.setattr(noted_locations, "identity", lambda place, **options: (
        one_inode(place) if Path(place).is_dir() else identity.identity(place, **options)))
    return serials


def test_a_clone_in_the_stores_place_is_known_by_its_serial_number(
        shop: Shop, scan: Scan, volumes: Path, disks: dict[str, str]) -> None:
    """Made by dd, with marker, UUID and inodes of the disk, and mounted where that was; then said to be the store."""
    scan("main/Ada/Harbour/0.tif")
    disks["nas"] = "1"
    store = shop.add("nas", "copy")
    shop.index()
    copy(shop, "nas")
    assert held(shop, "Ada/Harbour/0.tif").stores == 2
    disks["nas"] = "2"
    assert locate_store(shop.db, store) is None and not locating.is_same_disk(shop.db, store, Path(store.root))
    assert not locating.is_in_place(shop.db, store, Path(store.root))
    with pytest.raises(StoreAway, match=f"another serial number.*the same disk in.*store move nas {store.root}"):
        copy(shop, "nas")
    shop.index("nas")
    assert next_step(shop.db, shop.finding("offline"), "D Mon YYYY").action == "look"
    moved = moving.move_store(shop.db, shop.home, "nas", Path(store.root))
    assert moved.unread == 1 and held(shop, "Ada/Harbour/0.tif").stores == 1, "its bytes have not been read"
    assert moving.summarize(moved)[1] == "1 file there has to be read again before it counts as a copy."
    shop.index("nas")
    assert held(shop, "Ada/Harbour/0.tif").stores == 2 and not shop.kinds("", "nas")
    disks["nas"] = "1"
    assert locate_store(shop.db, store) is None, "the disk that was left is none either"


def test_of_a_disk_and_its_clone_the_serial_number_tells(shop: Shop, volumes: Path, disks: dict[str, str]) -> None:
    disks["nas"] = "1"
    store = shop.add("nas", "copy")
    for place in ("clone", "disk"):
        shutil.copytree(shop.folder / "nas", volumes / place)
    disks.update({"nas": "2", "clone": "2", "disk": "1"})
    assert locate_store(shop.db, store) == volumes / "disk", "a clone is in its place"
    disks.update({"nas": "1"})
    move_store(shop.db, store, shop.folder / "nas")
    shutil.rmtree(shop.folder / "nas")
    assert locate_store(shop.db, store) == volumes / "disk", "both are elsewhere"
    shop.add("nas2")
    move_store(shop.db, shop.store("nas"), volumes / "clone")
    disks.update({"clone": "", "disk": ""})
    assert locate_store(shop.db, shop.store("nas")) == volumes / "clone", "without numbers as ever: the place decides"
    shop.index("nas")
    disks["clone"] = "3"
    assert locate_store(shop.db, shop.store("nas")) == volumes / "disk", "the number is still known"


def test_a_clone_that_was_made_a_store_holds_copies_of_its_own(
        shop: Shop, scan: Scan, disks: dict[str, str]) -> None:
    """File systems and inodes are the same; where the disks have numbers, they are known to be two."""
    for store, kind in (("first", "primary"), ("vault", "off-site")):
        scan(f"{store}/Ada/Harbour/0.tif", seed=1)
        shop.add(store, kind)
        shop.index(store)
    with shop.db.conn:
        shop.db.execute("UPDATE file_place SET inode = 5")
    for numbers, counts in ((("1", "2"), (2, 1, 2)), (("1", "1"), (1, 0, 1)), (("3", ""), (1, 0, 1))):
        disks.update(zip(("first", "vault"), numbers, strict=True))
        with shop.db.conn:
            shop.db.execute("DELETE FROM store_place")
            for store in ("first", "vault"):
                note_store(shop.db, shop.store(store).id, locating.device_of(shop.folder / store), 2)
        copy_count = copies.of_scan(shop.db, shop.due("Ada/Harbour/0.tif", "first").scan_id)
        assert (copy_count.stores, copy_count.off_site, copy_count.disks) == counts, numbers


def test_an_unmarked_store_on_another_disk_is_offline(shop: Shop, disks: dict[str, str]) -> None:
    disks["plain"] = "1"
    (shop.folder / "plain" / "Ada").mkdir(parents=True)
    store = add_store(shop.db, "plain", shop.folder / "plain", "copy", consent=False)
    disks["plain"] = "2"
    assert locate_store(shop.db, store) is None
    assert f"store move plain {store.root}" in locating.offline(store).hint
    move_store(shop.db, store, shop.folder / "plain")
    assert locate_store(shop.db, store) == shop.folder / "plain"


def test_a_marker_that_is_gone_is_told_and_written_again_by_a_move_alone(shop: Shop) -> None:
    """Neither adding nor moving helped: the folder was the store already, and had no marker of it."""
    store = shop.add("nas", "copy")
    root = shop.folder / "nas"
    written = (root / MARKER).read_bytes()
    (root / MARKER).unlink()
    assert "is gone" not in locating.offline(store).hint, "an empty folder is a mount point"
    (root / "Ada").mkdir()
    shop.index("nas")
    step = next_step(shop.db, shop.finding("offline"), "D Mon YYYY")
    assert (step.text, step.action) == (locating.offline(store).hint, "look")
    assert f"store move nas {root} writes it again." in locating.offline(store).hint
    with pytest.raises(Refused, match=r"its marker is gone\..*store move nas.*store retire nas"):
        shop.add("nas", "copy")
    shutil.copytree(root, shop.folder / "another")
    with pytest.raises(Refused, match="does not have the marker"):
        move_store(shop.db, store, shop.folder / "another")
    move_store(shop.db, store, root)
    assert (root / MARKER).read_bytes() == written and locate_store(shop.db, store) == root


def test_the_disk_itself_is_known_at_a_new_place(shop: Shop, volumes: Path) -> None:
    store = shop.add("nas", "copy")
    (shop.folder / "nas").rename(volumes / "nas")
    assert locate_store(shop.db, store) == volumes / "nas"
    assert shop.store("nas").root == str(volumes / "nas")


def test_files_on_the_disk_that_replaced_a_stores_own_count_once_they_are_read(shop: Shop, scan: Scan,
                                                                               volumes: Path) -> None:
    """Nobody has read what the new disk holds, though size and time of each file are those on record."""
    for n in range(2):
        scan(f"main/Ada/Harbour/{n}.tif", seed=n)
    shop.add("nas", "copy")
    shop.index()
    copy(shop, "nas")
    shutil.copytree(shop.folder / "nas", volumes / "larger")
    rot(volumes / "larger" / "Ada" / "Harbour" / "1.tif", 900)
    moved = moving.move_store(shop.db, shop.home, "nas", volumes / "larger")
    assert moved.unread == 2
    assert moved.lacking[SINGLE] == 2
    assert moving.summarize(moved)[1].startswith("2 files there have to be read again")
    assert [held(shop, f"Ada/Harbour/{n}.tif").stores for n in range(2)] == [1, 1]
    shop.index("nas")
    assert [held(shop, f"Ada/Harbour/{n}.tif").stores for n in range(2)] == [2, 1]
    assert shop.kinds("Ada/Harbour/1.tif", "nas") == {"changed"}


def test_a_disk_that_replaced_another_holds_no_copies_before_it_is_read(shop: Shop, scan: Scan) -> None:
    """A clone of an earlier day, at the same mount point, with the same marker: it was told to be up to date."""
    scan("main/Ada/Harbour/0.tif")
    scan("main/Ada/Harbour/1.tif", seed=1)
    shop.add("nas", "copy")
    shop.index()
    copy(shop, "nas")
    (shop.folder / "nas").rename(shop.folder / "old")
    shutil.copytree(shop.folder / "old", shop.folder / "nas")
    (shop.folder / "nas/Ada/Harbour/0.tif").unlink()
    nas = shop.store("nas")
    assert moving.unread_files(shop.db, nas, shop.folder / "nas", store_rows.holding(shop.db, nas.id)) == 2, \
        "also for who cannot note it"
    plan = copying_operation.plan_copy(shop.db, "nas")
    assert [held(shop, f"Ada/Harbour/{n}.tif").stores for n in range(2)] == [1, 1]
    assert store_rows.holding(shop.db, shop.store("nas").id).unread == 2
    done = copying_operation.copy_to_store(shop.db, shop.home, plan)
    assert (done.copied, done.adopted) == (1, 1)
    assert [held(shop, f"Ada/Harbour/{n}.tif").stores for n in range(2)] == [2, 2]


@pytest.mark.parametrize("what", ["Ada", "Ada/Harbour/0.tif"])
def test_an_audit_follows_no_link_either(shop: Shop, scan: Scan, what: str) -> None:
    """An index run called the file missing, and the next audit intact, in turn."""
    scan("main/Ada/Harbour/0.tif")
    shop.index()
    (shop.folder / "main" / what).rename(shop.folder / "elsewhere")
    (shop.folder / "main" / what).symlink_to(shop.folder / "elsewhere")
    assert shop.audit().findings == {"missing": 1}
    shop.index()
    shop.audit()
    assert shop.kinds("Ada/Harbour/0.tif") >= {"missing"} and held(shop, "Ada/Harbour/0.tif").stores == 0
    assert link_on_the_way(shop.folder, f"{'n' * 300}/0.tif") == "", "a path that cannot be asked is no link"
    with pytest.raises(Refused, match="links are not followed"):
        restore.plan(shop.db, shop.due("Ada/Harbour/0.tif").id)


def test_a_disk_is_known_where_its_folder_is_spelled_with_other_capitals(
        shop: Shop, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    store = shop.add("Scans", "copy")
    real = mount_points._folders
    monkeypatch.setattr(mount_points, "_folders", lambda top: [tmp_path / "media"] if top == Path("/media") else (
        real(top) if top.is_relative_to(tmp_path) else []))
    (tmp_path / "media" / "VAULT").mkdir(parents=True)
    (shop.folder / "Scans").rename(tmp_path / "media" / "VAULT" / "scans")
    assert locate_store(shop.db, store) == tmp_path / "media" / "VAULT" / "scans"


@pytest.mark.parametrize("look", ["index", "audit"])
def test_a_disk_that_replaced_another_at_the_same_place_is_noticed(shop: Shop, scan: Scan, look: str) -> None:
    scan("main/Ada/Harbour/0.tif")
    shop.add("nas", "copy")
    shop.index()
    copy(shop, "nas")
    (shop.folder / "nas").rename(shop.folder / "old")
    shutil.copytree(shop.folder / "old", shop.folder / "nas")
    (shop.folder / "nas" / "Ada" / "Harbour" / "0.tif").unlink()
    (shop.folder / "nas" / "Ada" / "Harbour" / "0.tif").hardlink_to(shop.folder / "main" / "Ada" / "Harbour" / "0.tif")
    shop.index("nas") if look == "index" else shop.audit("nas")
    assert held(shop, "Ada/Harbour/0.tif").stores == 1


def test_a_store_that_moved_to_the_disk_of_another_is_no_copy_on_a_disk_of_its_own(
        shop: Shop, scan: Scan, volumes: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = devices.filesystem_id
    monkeypatch.setattr(devices, "physical_disks", lambda _: frozenset())
    for module in (devices, noted_locations):
        monkeypatch.setattr(module, "filesystem_id",
                            lambda place: "volume B" if "/nas" in os.fspath(place) else real(place))
    scan("main/Ada/Harbour/0.tif")
    shop.add("nas", "copy")
    (shop.folder / "nas" / "Ada" / "Harbour").mkdir(parents=True)
    shutil.copy2(shop.folder / "main" / "Ada" / "Harbour" / "0.tif", shop.folder / "nas" / "Ada" / "Harbour" / "0.tif")
    shop.index("main", "nas")
    assert held(shop, "Ada/Harbour/0.tif").disks == 2
    (shop.folder / "nas").rename(volumes / "here")
    move_store(shop.db, shop.store("nas"), volumes / "here")
    assert held(shop, "Ada/Harbour/0.tif").disks == 1
    shop.index("nas")
    assert held(shop, "Ada/Harbour/0.tif").disks == 1


def test_an_audit_notes_files_where_it_read_them(shop: Shop, scan: Scan, volumes: Path) -> None:
    """Two disks have changed places: a file at the former one is the other disk's."""
    scan("main/Ada/Harbour/0.tif")
    shop.add("nas", "copy")
    shop.index()
    copy(shop, "nas")
    (shop.folder / "main").rename(volumes / "0")
    (shop.folder / "nas").rename(shop.folder / "main")
    (volumes / "0").rename(shop.folder / "nas")
    moved = {"nas": shop.folder / "main", "main": shop.folder / "nas"}
    for name, place in moved.items():
        (volumes / name).symlink_to(place)
    places_before = [holder.true_file for holder in copies.holders(shop.db, shop.due("Ada/Harbour/0.tif").sha256)]
    stale = [shop.store("main"), shop.store("nas")]
    for store in stale:
        assert locate_store(shop.db, store) is not None
        audit(shop.db, shop.home, [store])
    places = [holder.true_file for holder in copies.holders(shop.db, shop.due("Ada/Harbour/0.tif").sha256)]
    assert sorted(places) == sorted(places_before)
    assert held(shop, "Ada/Harbour/0.tif").stores == 2
    by_store = {h.store: h.true_file for h in copies.holders(shop.db, shop.due("Ada/Harbour/0.tif").sha256)}
    assert by_store["main"].endswith(f" {(shop.folder / 'nas' / 'Ada' / 'Harbour' / '0.tif').stat().st_ino}")


def test_what_a_retired_store_has_lost_meanwhile_is_no_copy_when_it_returns(shop: Shop, scan: Scan) -> None:
    scan("main/Ada/Harbour/0.tif")
    nas = shop.add("nas", "copy")
    shop.index()
    copy(shop, "nas")
    on_disk.retire_store(shop.db, nas)
    (shop.folder / "nas" / "Ada" / "Harbour" / "0.tif").unlink()
    shop.add("nas", "copy")
    assert held(shop, "Ada/Harbour/0.tif").stores == 1


def test_what_was_wrong_in_a_retired_store_is_known_when_it_returns(shop: Shop, scan: Scan) -> None:
    """Index runs do not read unchanged files again, so nothing opened these findings any more."""
    nas = shop.add("nas", "copy")
    whole = scan("main/Ada/Harbour/0.tif")
    cut = shop.folder / "nas" / "Ada" / "Harbour" / "0.tif"
    cut.parent.mkdir(parents=True)
    cut.write_bytes(whole.read_bytes()[:-900])
    shop.index("main", "nas")
    assert shop.kinds("Ada/Harbour/0.tif", "nas") >= {"truncated"}
    for returns in (partial(shop.add, "nas", "copy"), partial(corrections.undo, shop.db)):  # of the second retirement
        on_disk.retire_store(shop.db, nas)
        assert not findings.open_at(shop.db, nas.id)
        returns()
        assert shop.kinds("Ada/Harbour/0.tif", "nas") >= {"truncated"}
    shop.index("nas")
    assert shop.kinds("Ada/Harbour/0.tif", "nas") >= {"truncated"}


def test_of_two_disks_with_one_marker_none_is_chosen(shop: Shop, volumes: Path) -> None:
    store = shop.add("nas", "copy")
    shutil.copytree(shop.folder / "nas", volumes / "clone")
    (shop.folder / "nas").rename(volumes / "nas")
    assert locate_store(shop.db, store) is None
    assert marked_elsewhere(store) == [volumes / "clone", volumes / "nas"]


def test_a_clone_is_not_added_as_if_it_were_the_store(shop: Shop) -> None:
    shop.add("nas", "copy")
    shutil.copytree(shop.folder / "nas", shop.folder / "clone")
    with pytest.raises(Refused, match=r"marker of the store .nas..*store move"):
        add_store(shop.db, "clone", shop.folder / "clone", "copy", consent=True)


# --- a folder that hides, a marker cut short, a file too large --------------------------------------------


def test_a_link_to_itself_does_not_hide_its_folder(shop: Shop, scan: Scan) -> None:
    scan("main/Ada/Harbour/0.tif")
    (shop.folder / "main" / "Ada" / "Harbour" / "loop").symlink_to("loop")
    shop.index()
    assert shop.due("Ada/Harbour/0.tif").state == "present"
    assert shop.kinds("Ada/Harbour/loop") <= {"link"}


def test_a_marker_on_a_full_disk_is_whole_or_not_there(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    (shop.folder / "nas").mkdir()

    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", full)
        with pytest.raises(CatalogueError, match="not added"):
            add_store(shop.db, "nas", shop.folder / "nas", "copy", consent=True)
    assert list((shop.folder / "nas").iterdir()) == []
    (shop.folder / "nas" / MARKER).touch()  # as an earlier version left it
    add_store(shop.db, "nas", shop.folder / "nas", "copy", consent=True)
    assert read_marker(shop.folder / "nas")


def test_a_file_too_large_for_the_disk_does_not_end_the_copying_of_others(
        shop: Shop, scan: Scan, monkeypatch: pytest.MonkeyPatch) -> None:
    for n, height in enumerate((60, 300, 60)):
        scan(f"main/Ada/Harbour/{n}.tif", seed=n, size=(height, 80))
    shop.index()
    shop.add("nas", "copy")
    real = os.write

    def limited(fd: int, data: memoryview) -> int:
        if len(data) > 50_000:
            raise OSError(errno.EFBIG, os.strerror(errno.EFBIG))
        return real(fd, data)

    monkeypatch.setattr(os, "write", limited)
    done = copy(shop, "nas")
    assert (done.outcome, done.copied) == ("finished", 2)
    assert "too large" in done.not_copied[0].reason
    assert pictures(shop.folder / "nas") == ["Ada/Harbour/0.tif", "Ada/Harbour/2.tif"]


def test_a_clone_put_in_the_stores_place_between_two_files_is_noticed(
        shop: Shop, scan: Scan, monkeypatch: pytest.MonkeyPatch) -> None:
    for n in range(4):
        scan(f"main/Ada/Harbour/{n}.tif", seed=n)
    shop.index()
    shop.add("nas", "copy")
    shutil.copytree(shop.folder / "nas", shop.folder / "clone")
    real = fixity_copies._note

    def swapped(*given: object) -> None:
        real(*given)  # type: ignore[arg-type]
        (shop.folder / "nas").rename(shop.folder / "pulled")
        (shop.folder / "clone").rename(shop.folder / "nas")

    monkeypatch.setattr(fixity_copies, "_note", swapped)
    done = copy(shop, "nas")
    assert (done.outcome, done.copied) == ("failed", 1)
    assert pictures(shop.folder / "nas") == []


def test_a_copy_on_a_disk_that_went_away_at_the_last_moment_is_not_recorded(
        shop: Shop, scan: Scan, monkeypatch: pytest.MonkeyPatch) -> None:
    scan("main/Ada/Harbour/0.tif")
    shop.index()
    shop.add("nas", "copy")
    real = copying.rename_exclusive

    def pulled(part: Entry, target: Entry) -> None:
        real(part, target)
        (shop.folder / "nas").rename(shop.folder / "pulled")

    monkeypatch.setattr(copying, "rename_exclusive", pulled)
    done = copy(shop, "nas")
    assert (done.outcome, done.copied) == ("failed", 0)
    assert held(shop, "Ada/Harbour/0.tif").stores == 1


def test_a_file_never_replaces_itself(shop: Shop, scan: Scan) -> None:
    master = scan("main/Ada/Harbour/0.tif")
    (shop.folder / "twin.tif").hardlink_to(master)
    with pytest.raises(Refused, match="are the same"):
        copying.copy_verified(master, shop.folder / "twin.tif", sha256=None, report=ignore_progress,
                              cancelled=never_cancelled,
                              replace=True)


# --- other writers ---------------------------------------------------------------------------------------


def test_bags_and_sheets_are_not_put_into_a_store_by_a_link(shop: Shop, scan: Scan) -> None:
    scan("main/Ada/Harbour/0.tif")
    shop.index()
    (shop.folder / "link").symlink_to(shop.folder / "main")
    with pytest.raises(Refused, match="store 'main'"):
        write_bag(shop.db, shop.folder / "link" / "bag", baggable(shop.db))
    with pytest.raises(Refused, match="store 'main'"):
        write_sheet(shop.db, shop.folder / "link" / "orders.csv", "x")
    assert pictures(shop.folder / "main") == ["Ada/Harbour/0.tif"]


def test_a_sheet_is_whole_or_not_there_and_can_be_asked_for_again(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(NoRoom):
            write_sheet(shop.db, shop.folder / "orders.csv", "number\n")
    write_sheet(shop.db, shop.folder / "orders.csv", "number\n")
    assert (shop.folder / "orders.csv").read_text() == "number\n"


@pytest.mark.parametrize("count", [0, -1])
def test_fewer_than_one_copy_cannot_be_wished_for(home: Home, count: int) -> None:
    home.folder.mkdir()
    (home.folder / "settings.toml").write_text(f"copies_wanted = {count}\n")
    with pytest.raises(CatalogueError, match="copies_wanted"):
        read_settings(home.folder / "settings.toml")
    assert Settings().copies_wanted == 2


def test_two_copies_on_one_disk_are_lacking_one_where_there_is_another(
        shop: Shop, scan: Scan, mount: Callable[[Path, str], None]) -> None:
    """Where all stores lie on one disk nothing is said master by master: the levels and the list of stores tell it."""
    scan("main/Ada/Harbour/0.tif", seed=1)
    shop.add("nas", "copy")
    shop.index()
    with shop.db.conn:
        scans.set_role(shop.db, shop.due("Ada/Harbour/0.tif").scan_id, "master")
    copy(shop, "nas")
    assert review(shop.db, Settings())["single copy"] == 0
    mount(shop.folder / "away", "tmpfs")
    shop.add("away", "copy")
    assert review(shop.db, Settings())["single copy"] == 1
    assert shop.finding("single copy").detail == "2 sound copies, all on one disk or server; 2 wanted, on 2 disks"
    assert review(shop.db, Settings(copies_on_one_disk=True))["single copy"] == 0
    copy(shop, "away")
    assert review(shop.db, Settings())["single copy"] == 0


def test_two_partitions_of_one_disk_count_as_one_also_once_it_is_away(
        shop: Shop, scan: Scan, mount: Callable[[Path, str], None], monkeypatch: pytest.MonkeyPatch) -> None:
    """By the function that decides about freeing doubles; only what the system says of its disks is made up."""
    for part in ("first", "second"):
        mount(shop.folder / part, "tmpfs")
        shop.add(part, "copy")  # nothing tells yet that both lie on one disk
    scan("main/Ada/Harbour/0.tif", seed=1)
    shop.index()
    with shop.db.conn:
        scans.set_role(shop.db, shop.due("Ada/Harbour/0.tif").scan_id, "master")
    copy(shop, "first")
    copy(shop, "second")
    three = Settings(copies_wanted=3)
    assert held(shop, "Ada/Harbour/0.tif").disks == 3 and review(shop.db, three)["single copy"] == 0
    disk = shop.folder / "devices" / "sdq"
    monkeypatch.setattr(devices, "_BLOCKS", shop.folder / "block")
    (shop.folder / "block").mkdir()
    for part in ("first", "second"):
        (disk / part / "partition").mkdir(parents=True)
        device = (shop.folder / part).stat().st_dev
        (shop.folder / "block" / f"{os.major(device)}:{os.minor(device)}").symlink_to(disk / part)
    assert locating.on_one_disk(shop.db) == [("first", "second", "")]
    shop.index("first", "second")
    for part in ("first", "second"):
        subprocess.run(["umount", "-l", str(shop.folder / part)], check=True)
    assert held(shop, "Ada/Harbour/0.tif").disks == 2 and disks_in_use(shop.db) == 2
    assert shared_disks(shop.db) == [("first", "second", "")]
    assert review(shop.db, Settings(copies_wanted=2))["single copy"] == 0
    assert locate_store(shop.db, shop.store("first")) is None


def test_two_shares_of_one_server_count_as_one_place(shop: Shop, scan: Scan, monkeypatch: pytest.MonkeyPatch) -> None:
    """As far as anybody knows they lie on the same disks; nothing else is made up here than what the system says."""
    names = {"first": ["nas", "192.168.1.5"], "second": ["192.168.1.5"], "main": []}

    def device(place: Path | str | int) -> devices.Device:
        name = Path(os.fsdecode(place) if not isinstance(place, int) else f"/proc/self/fd/{place}").resolve().name
        return devices.Device(f"share {name}" if names[name] else "id 7",
                              frozenset(f"server {host}" for host in names[name]))

    for module in (noted_locations, locating):
        monkeypatch.setattr(module, "device_of", device)
    for share in ("first", "second"):
        shop.add(share, "copy")
        scan(f"{share}/Ada/Harbour/0.tif", seed=1)
    shop.index("first", "second")
    with shop.db.conn:
        scans.set_role(shop.db, shop.due("Ada/Harbour/0.tif", "first").scan_id, "master")
    assert locating.on_one_disk(shop.db) == shared_disks(shop.db) == [("first", "second", "nas")]
    assert disks_in_use(shop.db) == 2 and review(shop.db, Settings())["single copy"] == 1
    assert shop.finding("single copy").detail == "2 sound copies, all on one disk or server; 2 wanted, on 2 disks"
    assert review(shop.db, Settings(copies_on_one_disk=True))["single copy"] == 0
    names["second"] = ["192.168.1.6"]  # the address was another machine's for a day
    shop.index("second")
    assert shared_disks(shop.db) == [] and disks_in_use(shop.db) == 3


def test_what_a_kill_left_beside_the_marker_goes_when_the_store_is_added_again(shop: Shop) -> None:
    """Killed between giving the marker its name and dropping the temporary one."""
    root = shop.folder / "nas"
    on_disk.retire_store(shop.db, shop.add("nas", "copy"))
    marker = read_marker(root)
    os.link(root / MARKER, part_path(root / MARKER))
    add_store(shop.db, "nas", root, "copy", consent=True)
    assert read_marker(root) == marker and [p.name for p in root.iterdir()] == [MARKER]


def test_that_all_stores_lie_on_one_disk_is_told_without_looking_at_them(
        shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """A share that does not answer would hold up the list of findings."""
    shop.add("nas", "copy")
    shop.index()

    def looked(*_: object) -> bool:
        raise AssertionError("a store was looked at")

    monkeypatch.setattr(locating, "is_in_place", looked)
    assert all_on_one_disk(shop.db, Settings()) and not all_on_one_disk(shop.db, Settings(copies_on_one_disk=True))
