"""Doubles within a store are freed only where nothing can be lost by it: one test for each guard."""

import json
import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import tifffile
from intake_pictures import TakeUp, Write

from catalogue.errors import CatalogueError, DiskFull
from catalogue.indexing.stores import add_store
from catalogue.intake import doubles, freeing
from catalogue.intake.moving import cut_short, finish_cut_short, undo_tidying
from catalogue.operations.correcting import confirm_pieces
from catalogue.operations.doubles import bring_back_doubles, free_doubles, list_doubles, summarize
from catalogue.operations.indexing import index_stores
from catalogue.records import copies, files, pieces, scans
from catalogue.records.database import Database, transaction
from catalogue.records.stores import Store
from catalogue.settings import Home, Settings
from tests import recorded
from tests.files import part_path


@dataclass
class Desk:
    """A store with one scan under three names, and a copy of it in a second store on the same disk."""

    db: Database
    home: Home
    store: Store
    second: Store

    def path(self, name: str) -> Path:
        return Path(self.store.root) / name

    def names(self) -> list[str]:
        return sorted(str(p.relative_to(self.store.root)) for p in Path(self.store.root).rglob("*.tif"))

    def free(self) -> list[str]:
        groups = list_doubles(self.db, "masters")[0].groups
        done = free_doubles(self.db, self.home, self.store, groups)
        return [item.why for item in done.skipped]


ALL = ["Ada Quill/Harbour (2).tif", "Ada Quill/Harbour.tif", "backup/old/Harbour.tif"]


@pytest.fixture
def desk(db: Database, home: Home, store: Store, write: Write, take_up: TakeUp, tmp_path: Path) -> Desk:
    (tmp_path / "nas").mkdir()
    second = add_store(db, "nas", tmp_path / "nas", "copy", consent=True)
    source = write("Harbour.tif", np.random.default_rng(1).integers(0, 255, (60, 80, 3), dtype=np.uint8),
                   folder="masters/Ada Quill")
    for name in ALL[:1] + ALL[2:]:
        target = Path(store.root) / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(source, target)
    shutil.copy2(source, tmp_path / "nas" / "Harbour.tif")
    take_up(store)
    take_up(second)
    return Desk(db, replace(home, settings=Settings(copies_on_one_disk=True)), store, second)


def test_listed_are_the_one_to_keep_and_the_others(desk: Desk) -> None:
    group, = list_doubles(desk.db, "masters")[0].groups
    assert group.keep.path == "Ada Quill/Harbour.tif"
    assert [file.path for file in group.others] == ["Ada Quill/Harbour (2).tif", "backup/old/Harbour.tif"]
    assert list_doubles(desk.db, "nas")[0].groups == ()


def test_kept_is_the_file_whose_path_names_artist_and_piece(desk: Desk, take_up: TakeUp) -> None:
    """Not the one that lies highest: "scan0034.tif" says nothing of what it shows."""
    desk.free()
    shutil.copy2(desk.path(ALL[1]), desk.path("scan0034.tif"))
    take_up(desk.store)
    group, = list_doubles(desk.db, "masters")[0].groups
    assert (group.keep.path, group.others[0].path) == (ALL[1], "scan0034.tif")


def test_freed_doubles_are_gone_on_record_and_brought_back_byte_for_byte(desk: Desk) -> None:
    before = {name: desk.path(name).read_bytes() for name in ALL}
    done = free_doubles(desk.db, desk.home, desk.store, list_doubles(desk.db, "masters")[0].groups)
    assert desk.names() == ["Ada Quill/Harbour.tif"] and not done.skipped and done.undo is not None
    assert files.by_path(desk.db, desk.store.id, ALL[0]) is None
    assert [e.path for e in recorded.events(desk.db) if e.type == "deletion"] == [ALL[0], ALL[2]]
    assert str(done.undo) in summarize(done)[-1]
    back = bring_back_doubles(desk.db, desk.home, done.undo)
    assert not back.skipped and {name: desk.path(name).read_bytes() for name in ALL} == before
    assert len(list_doubles(desk.db, "masters")[0].groups[0].others) == 2


def changed(desk: Desk) -> None:
    """Same size, other bytes, another time."""
    path = desk.path(ALL[2])
    path.write_bytes(bytes(path.stat().st_size))


def altered_in_silence(desk: Desk) -> None:
    """As a failing disk does it: bytes differ, size and time do not."""
    path = desk.path("Ada Quill/Harbour.tif")
    stat, data = path.stat(), bytearray(path.read_bytes())
    data[-1] ^= 1
    path.write_bytes(data)
    os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))


def no_other_store(desk: Desk) -> None:
    (Path(desk.second.root) / "Harbour.tif").unlink()


def with_a_sidecar(desk: Desk) -> None:
    desk.path(ALL[2]).with_suffix(".XMP").write_text("<x/>")


@pytest.mark.parametrize(("harm", "why", "left"), [
    (changed, freeing.Obstacle.CHANGED, [ALL[1], ALL[2]]),
    (altered_in_silence, doubles.KEPT_HAS_CHANGED, ALL),
    (no_other_store, "only 1 of the 2 places required", ALL),
    (with_a_sidecar, freeing.Obstacle.HAS_SIDECAR, [ALL[1], ALL[2]])])
def test_what_is_not_safe_stays_and_is_told(desk: Desk, harm: Callable[[Desk], None], why: str, left: list[str]
                                            ) -> None:
    groups = list_doubles(desk.db, "masters")[0].groups
    harm(desk)
    done = free_doubles(desk.db, desk.home, desk.store, groups)
    assert any(why in one.why for one in done.skipped)
    assert desk.names() == left


def test_a_run_killed_after_a_removal_is_completed_by_the_next(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(freeing, "_record_removal", killed)
    with pytest.raises(KeyboardInterrupt):
        desk.free()
    monkeypatch.undo()
    assert desk.names() == ALL[1:] and files.by_path(desk.db, desk.store.id, ALL[0]) is not None
    assert desk.free() == []
    assert desk.names() == ALL[1:2] and files.by_path(desk.db, desk.store.id, ALL[0]) is None


def killed(*_: object) -> None:
    raise KeyboardInterrupt


def test_a_removal_that_cannot_be_recorded_is_told_and_recorded_by_the_next_run(
        desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """The list went with the run, and the file stayed on record for good."""
    def full(*_: object) -> None:
        raise DiskFull()

    with monkeypatch.context() as patch:
        patch.setattr(files, "forget", full)
        whys = desk.free()
    assert len(whys) == 2 and all(DiskFull().message in why for why in whys)
    assert desk.names() == ["Ada Quill/Harbour.tif"]
    assert desk.free() == []
    assert [path for path in ALL if files.by_path(desk.db, desk.store.id, path)] == ["Ada Quill/Harbour.tif"]


def test_copies_on_one_disk_are_no_two_places_unless_the_shop_says_so(desk: Desk) -> None:
    desk.home = replace(desk.home, settings=Settings())
    assert any("its copies are on one disk or server; 2 disks must hold a verified copy" in why for why in desk.free())
    assert desk.names() == ALL


def test_a_second_name_of_one_file_is_no_double(desk: Desk) -> None:
    """A hard link: removing it would free nothing, and it is no copy either."""
    desk.free()
    os.link(desk.path("Ada Quill/Harbour.tif"), desk.path("Ada Quill/also.tif"))
    index_stores(desk.db, desk.home, ["masters"])
    assert list_doubles(desk.db, "masters")[0].groups == ()


def test_a_second_name_beside_a_true_double_is_not_counted_as_room(desk: Desk) -> None:
    """The list promised its bytes, and freeing said of it that the file to be kept had changed."""
    os.link(desk.path("Ada Quill/Harbour.tif"), desk.path("Ada Quill/also.tif"))
    index_stores(desk.db, desk.home, ["masters"])
    (group,) = list_doubles(desk.db, "masters")[0].groups
    assert {file.path for file in group.others} == {"Ada Quill/Harbour (2).tif", "backup/old/Harbour.tif"}
    assert desk.free() == []
    assert desk.names() == ["Ada Quill/Harbour.tif", "Ada Quill/also.tif"]


def test_the_file_in_its_artists_and_pieces_folder_is_kept(desk: Desk) -> None:
    """A copy in a folder of anything, called by the full name, lay higher and was kept in its stead."""
    desk.free()
    confirm_pieces(desk.db, [piece.id for piece in pieces.every(desk.db)])
    for name in ("Ada Quill/Harbour/Ada Quill - Harbour - master.tif", "sorted later/Ada Quill - Harbour - master.tif"):
        place = desk.path(name)
        place.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(desk.path("Ada Quill/Harbour.tif"), place)
    desk.path("Ada Quill/Harbour.tif").unlink()
    index_stores(desk.db, desk.home, ["masters"])
    (group,) = list_doubles(desk.db, "masters")[0].groups
    assert group.keep.path == "Ada Quill/Harbour/Ada Quill - Harbour - master.tif"


@pytest.mark.parametrize("of_a_piece", [True, False])
def test_the_file_that_lies_where_its_piece_lies_is_kept(desk: Desk, of_a_piece: bool) -> None:
    """Whatever its own path says: "to sort/A copy.tif" lies higher, and nothing names either."""
    scan_id = files.by_path(desk.db, desk.store.id, ALL[1]).scan_id  # type: ignore[union-attr]
    desk.free()
    for name in ("to sort/A copy.tif", "q1/a7/scan0034.tif", "q1/a7/master.tif", "to sort/b.tif"):
        desk.path(name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(desk.path("Ada Quill/Harbour.tif"), desk.path(name))
    for number, name in enumerate(("q1/a7/master.tif", "to sort/b.tif", "to sort/c.tif")):
        tifffile.imwrite(desk.path(name), np.full((40, 40, 3), 50 + number, np.uint8))
    desk.path("Ada Quill/Harbour.tif").unlink()
    index_stores(desk.db, desk.home, ["masters"])
    with transaction(desk.db):
        artist = pieces.artist_called(desk.db, "Ada Quill").id
        shelf, other = (pieces.piece_called(desk.db, artist, title, "") for title in ("Shelf", "Other"))
        for name, piece in (("q1/a7/master.tif", shelf), ("to sort/b.tif", other), ("to sort/c.tif", shelf)):
            scans.set_piece(desk.db, files.by_path(desk.db, desk.store.id, name).scan_id, piece)  # type: ignore[union-attr]
        scans.set_piece(desk.db, scan_id, shelf if of_a_piece else None)
    if of_a_piece:
        desk.path("to sort/c.tif").unlink()
        index_stores(desk.db, desk.home, ["masters"])
    (group,) = list_doubles(desk.db, "masters")[0].groups
    assert group.keep.path == "q1/a7/scan0034.tif"


def test_a_copy_that_freeing_found_damaged_counts_no_more(desk: Desk) -> None:
    """What it had just read and found wanting went on as a sound copy."""
    (copied,) = Path(desk.second.root).rglob("*.tif")
    data = bytearray(copied.read_bytes())
    data[-1] ^= 1
    times = copied.stat()
    copied.write_bytes(data)
    os.utime(copied, ns=(times.st_atime_ns, times.st_mtime_ns))
    scan = list_doubles(desk.db, "masters")[0].groups[0].keep.scan_id
    assert copies.of_scan(desk.db, scan).stores == 2
    assert any("1 of the 2 places" in why for why in desk.free())
    assert copies.of_scan(desk.db, scan).stores == 1
    assert desk.names() == ALL


def test_a_double_whose_own_bytes_are_others_by_now_stays(desk: Desk) -> None:
    """Size and time were compared, and the bytes of all copies but its own: what had taken its place was removed."""
    double = desk.path(ALL[0])
    times = double.stat()
    double.write_bytes(bytes(reversed(double.read_bytes())))
    os.utime(double, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert desk.free() == ["its bytes are not those on record: audit the store"]
    assert desk.names() == [ALL[0], ALL[1]]


@pytest.mark.parametrize("lost", ["moved", "damaged"])
def test_doubles_come_back_from_any_sound_copy(desk: Desk, lost: str) -> None:
    """Where the file that was kept has moved or is damaged by then."""
    done = free_doubles(desk.db, desk.home, desk.store, list_doubles(desk.db, "masters")[0].groups)
    assert done.undo is not None
    (kept,) = (desk.path(name) for name in desk.names())
    held = kept.read_bytes()
    if lost == "moved":
        kept.rename(kept.with_name("renamed.tif"))
    else:
        kept.write_bytes(held[:-1] + b"\0" + b"\0")
    back = bring_back_doubles(desk.db, desk.home, done.undo)
    assert back.skipped == ()
    assert all(desk.path(name).read_bytes() == held for name in ALL if desk.path(name) != kept)


def test_doubles_that_were_brought_back_are_no_tidying_cut_short(desk: Desk) -> None:
    """The list of freed doubles lies beside those of tidyings: completing one would drop the files brought back."""
    done = free_doubles(desk.db, desk.home, desk.store, list_doubles(desk.db, "masters")[0].groups)
    assert done.undo is not None
    bring_back_doubles(desk.db, desk.home, done.undo)
    assert not cut_short(desk.home, desk.store)
    assert finish_cut_short(desk.db, desk.home, desk.store) == []
    assert desk.names() == ALL
    with pytest.raises(CatalogueError, match="catalogue doubles --undo"):
        undo_tidying(desk.db, desk.home, done.undo)


def test_a_bringing_back_that_was_killed_between_two_names_leaves_one(desk: Desk) -> None:
    done = free_doubles(desk.db, desk.home, desk.store, list_doubles(desk.db, "masters")[0].groups)
    assert done.undo is not None
    entry = json.loads(done.undo.read_text().splitlines()[1])
    back = desk.path(entry["from"])
    back.parent.mkdir(parents=True, exist_ok=True)
    shutil.copy2(desk.path(entry["to"]), back)
    os.link(back, part_path(back))
    bring_back_doubles(desk.db, desk.home, done.undo)
    assert back.exists() and not part_path(back).exists()


def test_a_list_of_a_tidying_brings_no_doubles_back(desk: Desk, tmp_path: Path) -> None:
    path = tmp_path / "other.jsonl"
    path.write_text('{"store": "' + desk.store.marker + '"}\n')
    with pytest.raises(CatalogueError, match="not a list of freed doubles"):
        bring_back_doubles(desk.db, desk.home, path)
