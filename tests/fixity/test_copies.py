"""Copies counted across stores, a store brought up to date, and good bytes put back."""

import errno
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import tifffile
from fixity_shop import Shop, rot

from catalogue.errors import Ambiguous, Busy, CatalogueError, Damaged, NotFound, Refused, StoreAway
from catalogue.fixity import copies, copying
from catalogue.fixity.advice import OpenFinding, accept, damage_of, next_step
from catalogue.fixity.copies import CopySummary, copy_to, review
from catalogue.fixity.copying import Stopped
from catalogue.fixity.restore import IS_SOUND, find_file, restore
from catalogue.fixity.restore import plan as plan_restore
from catalogue.indexing.exclusive_lock import exclusive_lock
from catalogue.indexing.stores import retire_store
from catalogue.operations import copying as copying_operation
from catalogue.progress import Progress
from catalogue.records import copies as copy_rows
from catalogue.records import findings, fixity, pieces, scans
from catalogue.records.database import Database, transaction
from catalogue.records.fixity import Wanted, wanted_by
from catalogue.settings import Settings
from catalogue.storage.folders import Entry
from catalogue.storage.medium import FOLDER_READ_ONLY
from tests import recorded
from tests.files import part_path

Scan = Callable[..., Path]
MASTER = "Ada Quill/Harbour/master.tif"


def open_findings(db: Database, *, kind: str) -> list[OpenFinding]:
    """What the audit screen shows of each open finding of a kind."""
    return [OpenFinding(finding, "", next_step(db, finding, "%Y-%m-%d"), damage_of(db, finding.file_id))
            for finding in findings.list_open(db, kind=kind)]


@pytest.fixture
def master(shop: Shop, scan: Scan) -> Path:
    path = scan(f"main/{MASTER}", seed=1, size=(64, 80))
    shop.add("nas", "copy")
    shop.add("away", "off-site")
    shop.index()
    with shop.db.conn:
        scans.set_role(shop.db, shop.due(MASTER).scan_id, "master")
    return path


def copy(shop: Shop, store: str, **options: object) -> CopySummary:
    target = shop.store(store)
    return copy_to(shop.db, shop.home, target, wanted_by(shop.db, target), **options)  # type: ignore[arg-type]


def kinds(shop: Shop) -> set[str]:
    return {f.kind for f in findings.list_open(shop.db) if f.kind != "no profile"}


@pytest.mark.usefixtures("master")
def test_copies_are_counted_by_store_not_by_file(shop: Shop) -> None:
    assert review(shop.db, Settings()) == {copies.SINGLE: 1, copies.NO_OFF_SITE: 1}
    twin = shop.folder / "main" / "Ada Quill" / "Harbour" / "twin.tif"
    twin.write_bytes((shop.folder / "main" / MASTER).read_bytes())
    shop.index()
    assert review(shop.db, Settings()) == {copies.SINGLE: 1, copies.NO_OFF_SITE: 1}
    copy(shop, "nas")
    assert kinds(shop) == {copies.NO_OFF_SITE}
    copy(shop, "away")
    assert kinds(shop) == set()


def test_what_no_decoder_reads_is_copied_on_but_no_sound_copy(shop: Shop, scan: Scan) -> None:
    """An unknown compression: its bytes are kept twice like any other's, yet nobody knows what they are worth."""
    master = scan(f"main/{MASTER}", seed=1, size=(64, 80))
    shop.add("nas", "copy")
    shop.add("away", "off-site")
    with tifffile.TiffFile(master, mode="r+b") as tif:
        tif.pages[0].tags[259].overwrite(65300)
    shop.index()
    with shop.db.conn:
        scans.set_role(shop.db, shop.due(MASTER).scan_id, "master")
    assert copy(shop, "nas").copied == 1 and copy(shop, "away").copied == 1
    review(shop.db, Settings())
    assert {"undecoded", copies.SINGLE, copies.NO_OFF_SITE} <= kinds(shop)
    assert "no sound copy" in shop.finding(copies.SINGLE).detail


def test_a_corrupt_master_is_not_copied_on(shop: Shop, scan: Scan) -> None:
    """Its only strip, of Deflate, is refused by zlib."""
    path = scan(f"main/{MASTER}", seed=1, size=(64, 80))
    picture = tifffile.imread(path)
    tifffile.imwrite(path, picture, photometric="rgb", compression="zlib", rowsperstrip=len(picture), metadata=None)
    data = bytearray(path.read_bytes())
    with tifffile.TiffFile(path) as tif:
        data[tif.pages[0].dataoffsets[0] + 20] ^= 1
    path.write_bytes(data)
    shop.add("nas", "copy")
    shop.index()
    assert shop.kinds(MASTER) >= {"damaged"}
    assert not wanted_by(shop.db, shop.store("nas")) and copy(shop, "nas").copied == 0


def test_where_no_store_could_hold_a_copy_one_finding_says_so(shop: Shop, scan: Scan) -> None:
    """Not one a master: a shop with one disk would drown in them."""
    for n in range(4):
        scan(f"main/Ada Quill/Harbour {n}/master.tif", seed=n)
    shop.index()
    with shop.db.conn:
        for n in range(4):
            scans.set_role(shop.db, shop.due(f"Ada Quill/Harbour {n}/master.tif").scan_id, "master")
    assert review(shop.db, Settings()) == {copies.SINGLE: 4, copies.NO_OFF_SITE: 4}
    assert "4 of 4 masters" in shop.finding(copies.SINGLE).detail
    assert "--kind off-site" in shop.finding(copies.NO_OFF_SITE).hint
    shop.add("nas", "copy")
    review(shop.db, Settings())
    assert len(findings.list_open(shop.db, kind=copies.SINGLE)) == 4
    assert len(findings.list_open(shop.db, kind=copies.NO_OFF_SITE)) == 1
    copy(shop, "nas")
    assert findings.list_open(shop.db, kind=copies.SINGLE) == []


@pytest.mark.usefixtures("master")
def test_a_damaged_copy_is_no_copy(shop: Shop) -> None:
    copy(shop, "nas")
    rot(shop.folder / "nas" / MASTER, 900)
    shop.audit("nas")
    assert kinds(shop) == {"changed", copies.SINGLE, copies.NO_OFF_SITE}


@pytest.mark.usefixtures("master")
def test_three_copies_when_the_shop_wants_three(shop: Shop) -> None:
    copy(shop, "nas")
    assert review(shop.db, Settings(copies_wanted=3))[copies.SINGLE] == 1
    copy(shop, "away")
    assert review(shop.db, Settings(copies_wanted=3))[copies.SINGLE] == 0


def test_a_store_is_brought_up_to_date_once(shop: Shop, master: Path) -> None:
    done = copy(shop, "nas")
    assert (done.outcome, done.copied, done.bytes) == ("finished", 1, master.stat().st_size)
    assert (shop.folder / "nas" / MASTER).read_bytes() == master.read_bytes()
    assert wanted_by(shop.db, shop.store("nas")) == []
    last = [e for e in recorded.events(shop.db) if e.type == "replication"][-1]
    assert (last.store, last.path, last.sha256) == ("nas", MASTER, shop.due(MASTER).sha256)
    shop.index("nas")
    assert shop.due(MASTER, "nas").sha256 == shop.due(MASTER).sha256


def test_what_lies_there_already_is_adopted_and_leftovers_go(shop: Shop, master: Path) -> None:
    place = shop.folder / "nas" / MASTER
    place.parent.mkdir(parents=True)
    place.write_bytes(master.read_bytes())
    os.link(place, part_path(place))  # as after a kill between the new name and the end of the temporary one
    done = copy(shop, "nas")
    assert (done.copied, done.adopted) == (0, 1)
    assert place.read_bytes() == master.read_bytes()
    assert not part_path(place).exists()


def test_sidecars_are_copied_with_their_picture_also_later_and_never_over_another(shop: Shop, master: Path) -> None:
    """By either name they have in practice; of another program's facts the sidecar is the only carrier."""
    for name in ("master.xmp", "master.tif.XMP", "notes.xmp", ".hidden.xmp"):
        (master.parent / name).write_text(f"facts of {name}")
    place = shop.folder / "nas" / MASTER
    place.parent.mkdir(parents=True)
    place.write_bytes(b"another picture of that name")
    plan = copying_operation.plan_copy(shop.db, "nas")
    assert (len(plan.wanted), plan.sidecars) == (1, 1)
    done = copying_operation.copy_to_store(shop.db, shop.home, plan)
    assert (done.copied, done.sidecars, done.not_copied) == (1, 2, [])
    stem = f"master.{shop.due(MASTER).sha256[:8]}"
    assert {p.name for p in place.parent.iterdir()} == {
        "master.tif", f"{stem}.tif", f"{stem}.xmp", f"{stem}.tif.XMP"}
    assert (place.parent / f"{stem}.xmp").read_text() == "facts of master.xmp"
    logged = [e for e in recorded.events(shop.db) if e.type == "replication" and "sidecar" in e.detail]
    assert [e.detail for e in logged] == [f"its sidecar {stem}.tif.XMP copied from main",
                                          f"its sidecar {stem}.xmp copied from main"]
    (place.parent / f"{stem}.tif.XMP").unlink()
    (place.parent / f"{stem}.xmp").write_text("written there since")
    plan = copying_operation.plan_copy(shop.db, "nas")
    assert (len(plan.wanted), plan.sidecars) == (0, 1)
    done = copying_operation.copy_to_store(shop.db, shop.home, plan)
    assert (done.copied, done.sidecars) == (0, 1) and (place.parent / f"{stem}.tif.XMP").exists()
    assert [item.path.rpartition("/")[2] for item in done.not_copied] == [f"{stem}.xmp"]
    assert "says something else" in done.not_copied[0].reason
    assert (place.parent / f"{stem}.xmp").read_text() == "written there since"
    assert not copying_operation.complete(done)


def test_a_restore_brings_the_sidecar_of_a_lost_picture_back(shop: Shop, master: Path) -> None:
    sidecar = master.with_suffix(".xmp")
    sidecar.write_text("facts")
    copying_operation.copy_to_store(shop.db, shop.home, copying_operation.plan_copy(shop.db, "nas"))
    for lost in (sidecar, master):
        lost.unlink()
    shop.index()
    done = restore(shop.db, shop.home.settings, plan_restore(shop.db, shop.due(MASTER).id))
    assert sidecar.read_text() == "facts" and done.sidecars == (sidecar,)
    sidecar.write_text("newer facts")
    master.unlink()
    shop.index()
    done = restore(shop.db, shop.home.settings, plan_restore(shop.db, shop.due(MASTER).id))
    assert sidecar.read_text() == "newer facts" and done.left[0][0] == sidecar


def test_a_file_met_while_it_was_being_copied_is_no_edit_and_a_copy_cut_short_is_restored_from_its_whole(
        shop: Shop, master: Path, scan: Scan) -> None:
    """The first was asked about as an edit and copied on by nobody; of the second no sound copy was said to be left."""
    whole = scan("spare/whole.tif", seed=5, size=(300, 400)).read_bytes()
    for store in ("main", "nas"):
        place = shop.folder / store / "Ada Quill/Pier/master.tif"
        place.parent.mkdir(parents=True)
        place.write_bytes(whole[:90000])
        shop.index(store)
    (shop.folder / "main/Ada Quill/Pier/master.tif").write_bytes(whole)
    shop.index()
    assert shop.kinds("Ada Quill/Pier/master.tif") == set()
    step = next_step(shop.db, shop.finding("truncated"), "%Y-%m-%d")
    sha256 = shop.due("Ada Quill/Pier/master.tif").sha256
    assert (step.action, step.source, step.sha256) == ("restore", "main", sha256)
    due = shop.due("Ada Quill/Pier/master.tif", "nas")
    restore(shop.db, shop.home.settings, plan_restore(shop.db, due.id, shop.store(), sha256=sha256))
    assert (shop.folder / "nas/Ada Quill/Pier/master.tif").read_bytes() == whole
    assert shop.kinds("Ada Quill/Pier/master.tif", "nas") == set()


@pytest.mark.usefixtures("master")
def test_beside_a_damaged_copy_no_second_one_is_made(shop: Shop) -> None:
    copy(shop, "nas")
    place = shop.folder / "nas" / MASTER
    rot(place, 900)
    bad = place.read_bytes()
    shop.audit("nas")
    done = copy(shop, "nas")
    assert (done.copied, done.adopted) == (0, 0)
    assert "catalogue restore" in done.not_copied[0].reason
    assert [p.name for p in place.parent.iterdir()] == ["master.tif"] and place.read_bytes() == bad


@pytest.mark.usefixtures("master")
def test_copies_are_made_from_primary_stores_unless_another_is_named(shop: Shop, scan: Scan) -> None:
    scan("nas/Ada Quill/Meadow/master.tif", seed=9)
    shop.index("nas")
    nas, away = shop.store("nas"), shop.store("away")
    assert [one.path for one in wanted_by(shop.db, away)] == [MASTER]
    assert [one.path for one in wanted_by(shop.db, away, nas)] == ["Ada Quill/Meadow/master.tif"]


@pytest.mark.usefixtures("master")
def test_a_retired_store_holds_no_copy(shop: Shop) -> None:
    copy(shop, "nas")
    assert copy_rows.of_scan(shop.db, shop.due(MASTER).scan_id).stores == 2
    retire_store(shop.db, shop.store("nas"))
    assert copy_rows.of_scan(shop.db, shop.due(MASTER).scan_id).stores == 1
    assert review(shop.db, Settings())[copies.SINGLE] == 1


@pytest.mark.usefixtures("master")
def test_a_scan_that_a_file_holds_is_not_dropped(shop: Shop) -> None:
    due = shop.due(MASTER)
    assert fixity.drop_fileless_scan(shop.db, due.scan_id) is None
    assert shop.due(MASTER) == due and scans.by_id(shop.db, due.scan_id) is not None


@pytest.mark.usefixtures("master")
def test_a_run_is_stopped_also_while_it_finds_all_in_place(shop: Shop) -> None:
    copy(shop, "nas")
    wanted = wanted_by(shop.db, shop.store("away"))
    (shop.folder / "away" / MASTER).parent.mkdir(parents=True)
    (shop.folder / "away" / MASTER).write_bytes((shop.folder / "nas" / MASTER).read_bytes())
    done = copy_to(shop.db, shop.home, shop.store("away"), wanted, cancelled=lambda: True)
    assert (done.outcome, done.adopted, done.copied) == ("cancelled", 0, 0)


@pytest.mark.parametrize("other", ["Ada Quill/Harbour/master (2).tif", "A copy.tif"])
def test_of_two_files_with_the_same_bytes_the_copy_has_the_name_that_says_what_it_is(
        shop: Shop, master: Path, other: str) -> None:
    """Both others come first by their spelling."""
    (shop.folder / "main" / other).write_bytes(master.read_bytes())
    shop.index()
    with transaction(shop.db):
        artist = pieces.artist_called(shop.db, "Ada Quill").id
        scans.set_piece(shop.db, shop.due(MASTER).scan_id, pieces.piece_called(shop.db, artist, "Harbour", ""))
    copy(shop, "nas")
    assert [path.name for path in (shop.folder / "nas").rglob("*.tif")] == ["master.tif"]
    assert (shop.folder / "nas" / MASTER).read_bytes() == master.read_bytes()


@pytest.mark.parametrize("size", ["another", "the same"])
def test_another_file_of_the_same_name_is_left_and_the_copy_gets_its_own(shop: Shop, master: Path, size: str) -> None:
    place = shop.folder / "nas" / MASTER
    place.parent.mkdir(parents=True)
    before = b"the version before".ljust(master.stat().st_size if size == "the same" else 0)
    place.write_bytes(before)
    done = copy(shop, "nas")
    assert (done.copied, done.renamed) == (1, 1)
    assert place.read_bytes() == before
    other = place.with_name(f"master.{shop.due(MASTER).sha256[:8]}.tif")
    assert other.read_bytes() == master.read_bytes()
    assert wanted_by(shop.db, shop.store("nas")) == []


def test_a_name_that_is_no_text_keeps_its_bytes_also_beside_another(shop: Shop, scan: Scan) -> None:
    """The catalogue writes such bytes as ``//e9``; taken for an empty part of a path they were lost."""
    name = os.fsdecode(b"latin \xe9.tif")
    shop.add("nas", "copy")
    source = scan("main/Ada Quill/x.tif", seed=3)
    source.rename(source.with_name(name))
    taken = shop.folder / "nas" / "Ada Quill" / name
    taken.parent.mkdir()
    taken.write_bytes(b"another picture")
    shop.index()
    done = copy(shop, "nas")
    assert (done.copied, done.renamed) == (1, 1)
    (other,) = [p for p in taken.parent.iterdir() if p != taken]
    assert os.fsencode(other.name).startswith(b"latin \xe9.")
    assert other.read_bytes() == source.with_name(name).read_bytes()


def test_a_source_that_fails_its_check_is_not_copied_and_another_is_found(shop: Shop, master: Path) -> None:
    copy(shop, "nas")
    rot(shop.folder / "nas" / MASTER, 900)   # the copy checked last, so it is tried first
    done = copy(shop, "away")
    assert done.copied == 1
    assert (shop.folder / "away" / MASTER).read_bytes() == master.read_bytes()


@pytest.mark.usefixtures("master")
def test_without_any_sound_source_it_says_why(shop: Shop) -> None:
    rot(shop.folder / "main" / MASTER, 900)
    done = copy(shop, "nas")
    assert done.copied == 0
    assert copying.FAILS_CHECK in done.not_copied[0].reason
    assert not (shop.folder / "nas" / MASTER).exists()


@pytest.mark.usefixtures("master")
def test_a_full_disk_ends_the_run_whole(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(copying, "SPARE_BYTES", 1 << 60)
    done = copy(shop, "nas")
    assert (done.outcome, done.copied) == ("full", 0)
    monkeypatch.undo()
    assert copy(shop, "nas").copied == 1


def test_a_truly_full_file_system(shop: Shop, master: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A tmpfs of 64 kB where this runs as root; a limit on the size of files elsewhere."""
    small = shop.folder / "nas"
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(small)]
    mounted = os.geteuid() == 0 and subprocess.run(mount, check=False, capture_output=True).returncode == 0
    if not mounted:
        pytest.skip("no tmpfs to be had here; test_copying fills a file by RLIMIT_FSIZE")
    try:
        monkeypatch.setattr(copying, "SPARE_BYTES", -(1 << 40))  # so that the write itself meets the end of the disk
        (shop.folder / "main" / "big.tif").write_bytes(master.read_bytes() + bytes(200_000))
        target = small / "big.tif"
        with pytest.raises(copying.NoRoom, match="full"):
            copying.copy_verified(shop.folder / "main" / "big.tif", target, sha256=None, report=lambda _: None,
                                  cancelled=lambda: False)
        assert list(small.iterdir()) == []
    finally:
        subprocess.run(["umount", str(small)], check=True)


def test_a_read_only_store_is_said_to_be_so(shop: Shop, master: Path) -> None:
    """Mounted read-only where this runs as root, for root heeds no permissions."""
    nas = shop.folder / "nas"
    if os.geteuid() == 0:
        subprocess.run(["mount", "--bind", str(nas), str(nas)], check=False, capture_output=True)
        made = subprocess.run(["mount", "-o", "remount,bind,ro", str(nas)], check=False, capture_output=True)
        if made.returncode:
            subprocess.run(["umount", str(nas)], check=False)
            pytest.skip("no read-only mount to be had here")
    else:
        nas.chmod(0o555)
    try:
        done = copy(shop, "nas")
        assert done.copied == 0
        assert FOLDER_READ_ONLY in done.not_copied[0].reason
    finally:
        if os.geteuid() == 0:
            subprocess.run(["umount", str(nas)], check=True)
        else:
            nas.chmod(0o755)
    assert master.exists()


@pytest.mark.usefixtures("master")
def test_a_target_pulled_mid_run_then_carried_on(shop: Shop, scan: Scan) -> None:
    for n in range(6):
        scan(f"main/Ada Quill/Other/{n}.tif", seed=10 + n)
    shop.index()
    pulled: list[int] = []

    def report(progress: Progress) -> None:
        if progress.done == 3 and not pulled:
            (shop.folder / "nas").rename(shop.folder / "pulled")
            pulled.append(1)

    done = copy(shop, "nas", report=report)
    assert done.outcome == "failed"
    assert not (shop.folder / "nas").exists()
    (shop.folder / "pulled").rename(shop.folder / "nas")
    again = copy(shop, "nas")
    assert again.outcome == "finished"
    assert done.copied + again.copied == 7


@pytest.mark.usefixtures("master")
def test_stopped_then_carried_on(shop: Shop, scan: Scan) -> None:
    for n in range(3):
        scan(f"main/Ada Quill/Other/{n}.tif", seed=10 + n)
    shop.index()
    seen: list[int] = []
    done = copy(shop, "nas", report=lambda p: seen.append(p.done), cancelled=lambda: bool(seen) and seen[-1] >= 2)
    assert done.outcome == "cancelled"
    assert copy(shop, "nas").copied == 4 - done.copied


@pytest.mark.usefixtures("master")
def test_an_offline_target_and_a_second_copy_run_are_refused(shop: Shop) -> None:
    with exclusive_lock(shop.home, "copy"), pytest.raises(Busy):
        copy(shop, "nas")
    (shop.folder / "nas").rename(shop.folder / "gone")
    with pytest.raises(StoreAway, match="offline"):
        copy(shop, "nas")


def test_restore_puts_good_bytes_back_and_keeps_the_bad_aside(shop: Shop, master: Path) -> None:
    copy(shop, "nas")
    good = master.read_bytes()
    rot(master, 900)
    bad = master.read_bytes()
    shop.audit()
    assert fixity.damage(shop.db, shop.due(MASTER).id) is not None
    done = restore(shop.db, shop.home.settings, plan_restore(shop.db, shop.due(MASTER).id, shop.store("nas")))
    assert master.read_bytes() == good
    assert fixity.damage(shop.db, shop.due(MASTER).id) is None
    assert done.aside is not None
    assert done.aside.read_bytes() == bad
    assert shop.kinds(MASTER) == set()
    assert [e.type for e in recorded.events(shop.db)][-2:] == ["quarantine", "recovery"]
    assert shop.audit().findings == {}
    shop.index()
    assert kinds(shop) == {copies.NO_OFF_SITE}, "the aside file must not be taken for a scan"


def test_restore_brings_a_missing_file_back(shop: Shop, master: Path) -> None:
    copy(shop, "nas")
    master.unlink()
    shop.audit()
    done = restore(shop.db, shop.home.settings, plan_restore(shop.db, shop.due(MASTER).id))
    assert done.aside is None
    assert shop.audit().findings == {}


def test_restore_refuses_a_bad_source_and_leaves_all_as_it_was(shop: Shop, master: Path) -> None:
    copy(shop, "nas")
    rot(shop.folder / "nas" / MASTER, 100)   # not audited since: still believed sound
    rot(master, 900)
    bad = master.read_bytes()
    with pytest.raises(Damaged, match=copying.FAILS_CHECK):
        restore(shop.db, shop.home.settings, plan_restore(shop.db, shop.due(MASTER).id, shop.store("nas")))
    assert master.read_bytes() == bad
    assert [p.name for p in master.parent.iterdir()] == ["master.tif"]
    with pytest.raises(NotFound, match="in 'nas'"):   # one that failed as a source is not offered again
        plan_restore(shop.db, shop.due(MASTER).id, shop.store("nas"))


def test_restore_refuses_when_the_disk_lacks_room(shop: Shop, master: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    copy(shop, "nas")
    rot(master, 900)
    monkeypatch.setattr(copying, "SPARE_BYTES", 1 << 60)
    with pytest.raises(copying.NoRoom):
        restore(shop.db, shop.home.settings, plan_restore(shop.db, shop.due(MASTER).id))
    assert [p.name for p in master.parent.iterdir()] == ["master.tif"]


def test_a_sound_file_is_not_restored(shop: Shop, master: Path) -> None:
    copy(shop, "nas")
    with pytest.raises(Refused, match=IS_SOUND):
        plan_restore(shop.db, shop.due(MASTER).id)
    rot(master, 900)
    with pytest.raises(NotFound, match="in 'away'"):
        plan_restore(shop.db, shop.due(MASTER).id, shop.store("away"))


def test_a_refusal_names_every_place_and_what_is_wrong_there(shop: Shop, master: Path) -> None:
    copy(shop, "nas")
    copy(shop, "away")
    (shop.folder / "nas" / MASTER).unlink()
    master.unlink()
    rot(shop.folder / "away" / MASTER, 100)
    for name in ("main", "nas", "away"):
        shop.audit(name)
    with pytest.raises(NotFound) as told:
        plan_restore(shop.db, shop.due(MASTER).id)
    assert f"nas: {MASTER} is missing" in told.value.message and f"away: {MASTER} is in doubt (" in told.value.message
    shop.add("fourth", "copy")
    due = shop.due(MASTER)
    (refused,) = copy_to(shop.db, shop.home, shop.store("fourth"),
                         [Wanted(due.scan_id, due.sha256, due.size, MASTER)]).not_copied
    for place in (f"main: {MASTER} is missing", f"nas: {MASTER} is missing", f"away: {MASTER} is in doubt ("):
        assert place in refused.reason


def test_an_edit_nobody_meant_is_undone_by_its_old_digest(shop: Shop, master: Path) -> None:
    copy(shop, "nas")
    old, was = master.read_bytes(), shop.due(MASTER).sha256
    master.write_bytes(old[:-1] + b"?")
    shop.index()
    assert shop.due(MASTER).sha256 != was
    (edited,) = open_findings(shop.db, kind="edited")
    assert (edited.next.action, edited.next.sha256, edited.next.source) == ("restore", was, "nas")
    assert f"--digest {was[:12]}" in edited.next.command
    restore(shop.db, shop.home.settings, plan_restore(shop.db, shop.due(MASTER).id, sha256=was))
    assert master.read_bytes() == old
    assert shop.due(MASTER).sha256 == was
    assert "edited" not in shop.kinds(MASTER)


def test_restore_that_fails_at_the_switch_on_a_disk_without_links_gives_the_name_back(
        shop: Shop, master: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    copy(shop, "nas")
    rot(master, 900)
    bad = master.read_bytes()

    def no_links(self: Entry, other: Entry) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    def failing(part: Entry, target: Entry) -> None:
        assert not master.exists()   # the name was given up for a moment
        raise CatalogueError("no switch")

    monkeypatch.setattr(Entry, "link_to", no_links)
    monkeypatch.setattr(copying, "rename_over", failing)
    with pytest.raises(CatalogueError, match="no switch"):
        restore(shop.db, shop.home.settings, plan_restore(shop.db, shop.due(MASTER).id))
    assert [p.name for p in master.parent.iterdir()] == ["master.tif"]
    assert master.read_bytes() == bad


def test_restore_stopped_leaves_the_bad_file_in_place(shop: Shop, master: Path) -> None:
    copy(shop, "nas")
    rot(master, 900)
    with pytest.raises(Stopped):
        restore(shop.db, shop.home.settings, plan_restore(shop.db, shop.due(MASTER).id), cancelled=lambda: True)
    assert [p.name for p in master.parent.iterdir()] == ["master.tif"]


@pytest.mark.parametrize("switch", ["quarantine", "recovery"])
def test_a_restore_killed_around_the_switch_loses_nothing(shop: Shop, master: Path, switch: str) -> None:
    """kill -9 as the event is about to be written, just before and just after the names are switched."""
    copy(shop, "nas")
    good = master.read_bytes()
    rot(master, 900)
    bad = master.read_bytes()
    shop.audit()
    child = """
import os, signal, sys
from pathlib import Path
from catalogue.fixity.restore import plan, restore
from catalogue.records import events
from catalogue.records.database import open_database
db = open_database(Path(sys.argv[1]))
real = events.append
def append(db, kind, *args, **options):
    if kind == sys.argv[3]:
        os.kill(os.getpid(), signal.SIGKILL)
    real(db, kind, *args, **options)
events.append = append
restore(db, again.home.settings, plan(db, int(sys.argv[2])))
"""
    number = str(shop.due(MASTER).id)
    subprocess.run([sys.executable, "-c", child, str(shop.home.database), number, switch], check=False)
    assert master.read_bytes() in (good, bad)
    held = {p.read_bytes() for p in master.parent.iterdir()}
    assert bad in held
    shop.audit()
    if shop.kinds(MASTER):
        restore(shop.db, shop.home.settings, plan_restore(shop.db, shop.due(MASTER).id))
    assert master.read_bytes() == good
    assert shop.kinds(MASTER) == set()


def test_a_file_is_found_by_what_people_call_it(shop: Shop, master: Path, scan: Scan) -> None:
    for words in (str(master), f"main:{MASTER}", MASTER, "master.tif", "Harbour/master.tif"):
        assert find_file(shop.db, words).id == shop.due(MASTER).id
    with pytest.raises(NotFound):
        find_file(shop.db, "aster.tif")
    scan("main/Bo Ek/Harbour/master.tif", seed=9)
    shop.index()
    with pytest.raises(Ambiguous, match="Ada Quill"):
        find_file(shop.db, "master.tif")


@pytest.mark.usefixtures("master")
def test_every_finding_has_a_next_step(shop: Shop) -> None:
    copy(shop, "nas")
    rot(shop.folder / "main" / MASTER, 900)
    shop.audit()
    (changed,) = open_findings(shop.db, kind="changed")
    assert changed.next.action == "restore"
    assert changed.next.source == "nas"
    assert changed.next.command == f"catalogue restore 'main:{MASTER}' --from nas"
    assert changed.damage is not None
    (off_site,) = open_findings(shop.db, kind=copies.NO_OFF_SITE)
    assert off_site.next.command == "catalogue copy --to away --from nas"
    (shop.folder / "nas" / MASTER).unlink()
    shop.audit("nas")
    assert next_step(shop.db, changed.finding, "%Y-%m-%d").action == "look"
    with pytest.raises(Refused):
        accept(shop.db, shop.home.settings, changed.finding.id, "never mind")
    (missing,) = open_findings(shop.db, kind="missing")
    accept(shop.db, shop.home.settings, missing.finding.id, "the disk was thinned out")
    assert open_findings(shop.db, kind="missing") == []
    assert shop.audit("nas").checked == 0


@pytest.mark.usefixtures("master")
def test_a_scan_that_is_no_master_any_more_needs_no_copies(shop: Shop) -> None:
    review(shop.db, Settings())
    with shop.db.conn:
        scans.set_role(shop.db, shop.due(MASTER).scan_id, "reference")
    assert review(shop.db, Settings()) == {copies.SINGLE: 0, copies.NO_OFF_SITE: 0}
    assert kinds(shop) == set()


def test_the_advice_to_copy_names_stores_between_which_there_is_something_to_copy(shop: Shop, master: Path) -> None:
    """Three copies are wanted: the store that has one already is never named, and what lies in no primary store is
    fetched from where it lies."""
    wanting = replace(shop.home.settings, copies_wanted=3)
    copy(shop, "nas")
    copies.review(shop.db, wanting)
    (single,) = open_findings(shop.db, kind=copies.SINGLE)
    assert single.next.command == "catalogue copy --to away"
    master.unlink()
    shop.audit("main")
    copies.review(shop.db, wanting)
    told = [found.next.command for found in open_findings(shop.db, kind=copies.NO_OFF_SITE)]
    assert told == ["catalogue copy --to away --from nas"]
    (single,) = open_findings(shop.db, kind=copies.SINGLE)
    away, nas = shop.store("away"), shop.store("nas")
    copies.copy_to(shop.db, shop.home, away, wanted_by(shop.db, away, nas))
    assert (shop.folder / "away" / MASTER).exists()
    (shop.folder / "nas" / MASTER).unlink()
    (shop.folder / "away" / MASTER).unlink()
    shop.audit("nas")
    shop.audit("away")
    assert {found.next.command for found in open_findings(shop.db, kind=copies.SINGLE)} <= {""}


def test_an_end_that_cannot_be_recorded_does_not_hide_what_was_copied(shop: Shop, master: Path,
                                                                      monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(*_: object) -> None:
        raise CatalogueError("disk I/O error")

    with monkeypatch.context() as patch:
        patch.setattr(copies.runs, "end", failing)
        done = copy(shop, "nas")
    assert done.copied == 1 and "disk I/O error" in done.trouble and not copying_operation.complete(done)
    assert any("disk I/O error" in line for line in copying_operation.summarize(done))
    assert copying_operation.complete(copy(shop, "nas"))
