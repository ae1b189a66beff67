"""Sources of an intake are removed only when nothing can be lost by it: one test for each guard."""

import os
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from intake_pictures import Write

from catalogue.errors import CatalogueError, DiskFull, InsideStore, Refused
from catalogue.indexing.stores import add_store, retire_store
from catalogue.intake import applying, removing
from catalogue.intake.applying import Outcome, apply
from catalogue.intake.proposals import Plan, propose, with_answers
from catalogue.intake.removing import CopyLocation, copies_required, independent_copies
from catalogue.records import files
from catalogue.records.database import Database
from catalogue.records.stores import Store
from catalogue.settings import Home, Settings
from catalogue.storage.devices import Device
from catalogue.storage.identity import FileId
from tests import recorded


@dataclass
class Desk:
    """A key with one scan, a primary store, a second one; the disk they lie on counts as two."""

    db: Database
    home: Home
    store: Store
    second: Store
    source: Path

    def plan(self) -> Plan:
        plan = propose(self.db, self.home, self.source.parent, self.store)
        for number, proposal in enumerate(plan.proposals):
            if proposal.take:
                plan = with_answers(self.db, self.home, plan, number, artist="Ada Quill", piece="Harbour",
                                    role="master")
        return plan

    def take_in(self, *, remove: bool = True, second: bool = True) -> Outcome:
        return apply(self.db, self.home, self.plan(), also=[self.second] if second else [], delete_sources=remove)

    def copy_in(self, store: Store) -> Path:
        return next(Path(store.root).rglob("*.tif"))


@pytest.fixture
def desk(db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> Desk:
    (tmp_path / "nas").mkdir()
    second = add_store(db, "nas", tmp_path / "nas", "copy", consent=True)
    source = write("one.tif", np.random.default_rng(1).integers(0, 255, (60, 80, 3), dtype=np.uint8))
    return Desk(db, replace(home, settings=Settings(copies_on_one_disk=True)), store, second, source)


@pytest.fixture
def bind() -> Iterator[Callable[[Path, Path], None]]:
    mounted: list[Path] = []

    def make(folder: Path, place: Path) -> None:
        place.mkdir()
        if os.geteuid() != 0 or subprocess.run(["mount", "--bind", str(folder), str(place)], capture_output=True,
                                               check=False).returncode:
            pytest.skip("mounting needs the rights of root")
        mounted.append(place)

    yield make
    for place in mounted:
        subprocess.run(["umount", "-l", str(place)], check=False)


def why(outcome: Outcome) -> str:
    assert not outcome.removed
    return outcome.not_removed[0].why


def test_with_two_verified_copies_the_source_goes(desk: Desk) -> None:
    assert desk.take_in().removed == (desk.source,)
    assert not desk.source.exists()


def test_a_sidecar_is_copied_to_every_place_before_its_picture_goes(desk: Desk) -> None:
    sidecar = desk.source.with_name("one.tif.xmp")
    sidecar.write_text("facts")
    done = desk.take_in()
    assert done.removed == (desk.source,) and sidecar.exists()
    for store in (desk.store, desk.second):
        copy = desk.copy_in(store)
        assert copy.with_name(f"{copy.name}.xmp").read_text() == "facts"
    assert [item.sidecars for item in done.taken] == [1, 1]


def test_a_source_whose_sidecar_could_not_be_copied_stays(desk: Desk) -> None:
    desk.take_in(remove=False)
    sidecar = desk.source.with_suffix(".xmp")
    sidecar.write_text("written after the first intake")
    assert "sidecar" in why(desk.take_in()) and desk.source.exists() and sidecar.exists()


def test_two_copies_on_one_disk_are_not_two_places(desk: Desk) -> None:
    desk.home = replace(desk.home, settings=Settings())
    assert "on one disk" in why(desk.take_in())
    assert desk.source.exists()


def test_one_copy_is_never_enough_even_where_the_shop_wants_one(desk: Desk) -> None:
    desk.home = replace(desk.home, settings=Settings(copies_wanted=1, copies_on_one_disk=True))
    assert copies_required(desk.home.settings) == 2
    assert "1 of the 2" in why(desk.take_in(second=False))


def test_as_many_places_as_the_shop_wants(desk: Desk) -> None:
    desk.home = replace(desk.home, settings=Settings(copies_wanted=3, copies_on_one_disk=True))
    assert "2 of the 3" in why(desk.take_in())


def test_copies_are_read_back_then_and_there(desk: Desk) -> None:
    desk.take_in(remove=False)
    copy = desk.copy_in(desk.second)
    stat = copy.stat()
    data = bytearray(copy.read_bytes())
    data[300] ^= 1
    copy.write_bytes(data)
    os.utime(copy, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    assert "1 of the 2" in why(desk.take_in())


def test_a_copy_that_is_a_link_counts_for_nothing(desk: Desk) -> None:
    desk.take_in(remove=False)
    copy = desk.copy_in(desk.second)
    copy.unlink()
    copy.symlink_to(desk.copy_in(desk.store))
    assert "1 of the 2" in why(desk.take_in())


def test_a_copy_that_is_a_hard_link_of_another_counts_once(desk: Desk) -> None:
    desk.take_in(remove=False)
    copy = desk.copy_in(desk.second)
    copy.unlink()
    copy.hardlink_to(desk.copy_in(desk.store))
    assert "1 of the 2" in why(desk.take_in())


def test_the_source_is_not_its_own_copy(desk: Desk) -> None:
    desk.take_in(remove=False)
    copy = desk.copy_in(desk.second)
    copy.unlink()
    copy.hardlink_to(desk.source)
    assert "own file" in why(desk.take_in())


def test_a_source_changed_since_is_kept(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.take_in(remove=False)
    plan = desk.plan()
    with desk.source.open("r+b") as file:
        file.seek(300)
        file.write(b"\1\2\3")
    assert "changed" in why(apply(desk.db, desk.home, plan, delete_sources=True))
    assert desk.source.exists()


def test_a_source_changed_while_its_copies_are_read_is_kept(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.take_in(remove=False)
    plan, real = desk.plan(), removing.why_not_safe

    def meddling(*given: object) -> str:
        with desk.source.open("ab") as file:
            file.write(b"more")
        return real(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(removing, "why_not_safe", meddling)
    assert "changed" in why(apply(desk.db, desk.home, plan, delete_sources=True))


def test_a_source_that_is_a_link_is_kept(desk: Desk, tmp_path: Path) -> None:
    desk.take_in(remove=False)
    plan = desk.plan()
    desk.source.rename(tmp_path / "real.tif")
    desk.source.symlink_to(tmp_path / "real.tif")
    assert "link" in why(apply(desk.db, desk.home, plan, delete_sources=True))
    assert (tmp_path / "real.tif").exists()


def test_nothing_is_removed_after_a_run_with_trouble(desk: Desk, write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    write("two.tif", np.zeros((60, 80, 3), np.uint8), at="2026-03-02T10:00:00")
    plan, real = desk.plan(), applying.copy_verified

    def failing(source: Path, *given: object, **more: object) -> str:
        if source.name == "two.tif":
            raise Refused("It changed.")
        return real(source, *given, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(applying, "copy_verified", failing)
    outcome = apply(desk.db, desk.home, plan, also=[desk.second], delete_sources=True)
    assert outcome.taken
    assert why(outcome) == applying.NOT_COMPLETED


def test_nothing_is_removed_after_a_run_that_was_stopped(desk: Desk, write: Write) -> None:
    """Not even the source that was imported to both stores before."""
    write("two.tif", np.zeros((60, 80, 3), np.uint8), at="2026-03-02T10:00:00")
    outcome = apply(desk.db, desk.home, desk.plan(), also=[desk.second], delete_sources=True,
                    cancelled=lambda: bool(list(Path(desk.second.root).rglob("[!.]*.tif"))))
    assert outcome.stopped
    assert len(outcome.taken) == 2
    assert why(outcome) == applying.NOT_COMPLETED
    assert desk.source.exists()


def test_a_copy_in_a_retired_store_counts_for_nothing(desk: Desk) -> None:
    desk.take_in(remove=False)
    retire_store(desk.db, desk.second)
    assert "1 of the 2" in why(desk.take_in(second=False))
    assert desk.source.exists()


def test_a_removal_is_in_the_event_log(desk: Desk) -> None:
    sha256 = desk.plan().proposals[0].items[0].arrival.reading.sha256
    desk.take_in()
    told = [event for event in recorded.events(desk.db) if event.type == "deletion"]
    assert [(event.outcome, event.path, event.sha256) for event in told] == [("success", str(desk.source), sha256)]


@pytest.mark.parametrize("way", ["link", "spelling", "bound", "bound below"])
def test_a_stores_own_folder_is_never_taken_in(desk: Desk, tmp_path: Path, bind: Callable[[Path, Path], None],
                                               way: str) -> None:
    desk.take_in(remove=False)
    root = Path(desk.store.root)
    folder = {"link": tmp_path / "lnk", "spelling": tmp_path / "nas" / ".." / "masters" / "Ada Quill",
              "bound": tmp_path / "mounted", "bound below": tmp_path / "mounted"}[way]
    if way == "link":
        folder.symlink_to(root)
    elif way != "spelling":
        bind(root if way == "bound" else root / "Ada Quill", folder)
    with pytest.raises(InsideStore):
        propose(desk.db, desk.home, folder, desk.store)
    assert desk.copy_in(desk.store).exists()


def test_a_folder_that_becomes_a_link_into_a_store_after_the_plan_is_refused(desk: Desk, tmp_path: Path) -> None:
    desk.take_in(remove=False)
    plan = desk.plan()
    desk.source.parent.rename(tmp_path / "key was")
    desk.source.parent.symlink_to(desk.copy_in(desk.store).parent)
    with pytest.raises(InsideStore):
        apply(desk.db, desk.home, plan, delete_sources=True)
    assert desk.copy_in(desk.store).exists()


def test_a_source_that_lies_in_a_store_is_kept_whoever_asks(desk: Desk) -> None:
    """The guard at the moment of removal itself, past the one on the folder."""
    desk.take_in(remove=False)
    inside = desk.copy_in(desk.store)
    reading = desk.plan().proposals[0].items[0].arrival.reading
    assert files.present_files(desk.db, reading.sha256)
    assert (removing._remove_source(desk.db, desk.home.settings, inside, reading.sha256)
            == "it is in the store 'masters'")
    assert inside.exists()


@pytest.mark.parametrize(("places", "one_disk", "count"), [
    ([(1, 1, "a"), (2, 2, "b")], False, 2),
    ([(1, 1, "a"), (2, 2, "a")], False, 1),   # one disk
    ([(1, 1, "a"), (2, 2, "a")], True, 2),
    ([(1, 1, "a"), (2, 1, "b")], True, 1),    # one file
    ([(1, 1, "a"), (1, 2, "b")], True, 1),    # one store
    ([(1, 1, "a"), (2, 2, "a"), (3, 3, "c")], False, 2),
    ([], False, 0),
])
def test_different_places(places: list[tuple[int, int, str]], one_disk: bool, count: int) -> None:
    found = [CopyLocation(store, FileId(0, file), Device(disk)) for store, file, disk in places]
    assert len(independent_copies(found, one_disk=one_disk)) == count


def test_two_partitions_of_one_disk_are_one_place() -> None:
    found = [CopyLocation(1, FileId(0, 1), Device("a", frozenset({"sda"}))),
             CopyLocation(2, FileId(1, 1), Device("b", frozenset({"sda", "sdb"}))),
             CopyLocation(3, FileId(2, 1), Device("c", frozenset({"sdc"}))),
             CopyLocation(4, FileId(3, 1), Device("d"))]
    assert [place.device.filesystem for place in independent_copies(found, one_disk=False)] == ["a", "c", "d"]
    assert len(independent_copies(found, one_disk=True)) == 4


def test_an_end_that_cannot_be_recorded_hides_nothing_and_removes_nothing(desk: Desk, monkeypatch: pytest.MonkeyPatch
                                                                          ) -> None:
    def failing(*_: object) -> None:
        raise CatalogueError("disk I/O error")

    monkeypatch.setattr(applying.runs, "end", failing)
    outcome = apply(desk.db, desk.home, desk.plan(), also=[desk.second], delete_sources=True)
    assert len(outcome.taken) == 2 and desk.source.exists()
    assert "disk I/O error" in outcome.trouble and why(outcome) == applying.NOT_COMPLETED


def test_a_removal_that_cannot_be_recorded_is_told_with_all_that_was_done(desk: Desk, monkeypatch: pytest.MonkeyPatch
                                                                           ) -> None:
    def failing(db: Database, kind: str, *given: object, **more: object) -> None:
        if kind == "deletion":
            raise DiskFull()

    monkeypatch.setattr(removing.events, "append", failing)
    outcome = apply(desk.db, desk.home, desk.plan(), also=[desk.second], delete_sources=True)
    assert len(outcome.taken) == 2 and outcome.removed == (desk.source,) and not desk.source.exists()
    assert DiskFull().message in outcome.trouble
