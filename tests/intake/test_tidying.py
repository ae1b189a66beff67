"""Tidying: shown first, checked, never over another file, undone. Digests of the whole tree are the yardstick."""

import errno
import hashlib
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from intake_pictures import TakeUp, Write

from catalogue.errors import DiskFull
from catalogue.indexing.service import index
from catalogue.intake import moving, renaming, undo_lists
from catalogue.intake.moving import apply_tidying, undo_tidying
from catalogue.intake.tidy import Level, Move, Tidying, plan_tidying
from catalogue.intake.undo_lists import undo_folder
from catalogue.operations.correcting import confirm_pieces
from catalogue.records import copies, files, findings, intake, pieces, scans
from catalogue.records.database import Database, transaction
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.storage.folders import open_folder
from tests import recorded


def tree(folder: Path) -> dict[str, str]:
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
            for p in sorted(folder.rglob("*")) if p.is_file() and p.name != ".scan-store.json"}


@pytest.fixture
def untidy(db: Database, store: Store, write: Write, take_up: TakeUp, tmp_path: Path) -> Path:
    """A master and two tiles under names of their own, a print file without a master, and a name no Windows holds."""
    dice = np.random.default_rng(3)
    for n, name in enumerate(["Ada Quill/Harbour/scan0001.tif", "Ada Quill/Harbour/tiles/tile 7.tif",
                              "Ada Quill/Harbour/tiles/t_a.tif", "Ada Quill/Lost/print.tif",
                              "Ben Ashe/Noon: two/master?.tif"]):
        write(name, dice.integers(0, 255, (40, 50, 3), dtype=np.uint8), at=f"2026-03-01T10:0{n}:00", folder="masters")
    take_up(store)
    confirm(db)
    with transaction(db):
        for path, role in (("Ada Quill/Harbour/scan0001.tif", "master"), ("Ada Quill/Harbour/tiles/t_a.tif", "tile"),
                           ("Ada Quill/Harbour/tiles/tile 7.tif", "tile"), ("Ada Quill/Lost/print.tif", "print file")):
            file = files.by_path(db, store.id, path)
            assert file and file.scan_id
            scans.set_role(db, file.scan_id, role)
    return tmp_path / "masters"


def confirm(db: Database) -> None:
    """A person says of every piece that it is what was guessed."""
    confirm_pieces(db, [piece.id for piece in pieces.every(db)])


def targets(plan: Tidying) -> dict[str, str]:
    return {m.source: m.target for m in plan.moves}


def test_the_plan_says_from_where_to_where_and_why_and_changes_nothing(
        db: Database, home: Home, store: Store, untidy: Path) -> None:
    before = tree(untidy)
    plan = plan_tidying(db, home.settings, store)
    assert targets(plan) == {
        "Ada Quill/Harbour/scan0001.tif": "Ada Quill/Harbour/Ada Quill - Harbour - master - 2026-03-01.tif",
        "Ada Quill/Harbour/tiles/tile 7.tif": "Ada Quill/Harbour/Ada Quill - Harbour - tile 07 - 2026-03-01.tif",
        "Ada Quill/Harbour/tiles/t_a.tif": "Ada Quill/Harbour/Ada Quill - Harbour - tile 01 - 2026-03-01.tif",
        "Ada Quill/Lost/print.tif": "Ada Quill/Lost/Ada Quill - Lost - print file - 2026-03-01.tif",
        "Ben Ashe/Noon: two/master?.tif": "Ben Ashe/Noon- two/Ben Ashe - Noon- two - master - 2026-03-01.tif"}
    assert [(kind, path) for kind, path, _ in plan.remarks] == [
        ("print file without a master", "Ada Quill/Lost/print.tif")]
    assert tree(untidy) == before
    assert targets(plan_tidying(db, home.settings, store, Level.PORTABLE)) == {
        "Ben Ashe/Noon: two/master?.tif": "Ben Ashe/Noon- two/master-.tif"}
    assert targets(plan_tidying(db, home.settings, store, Level.PLACE))["Ada Quill/Harbour/tiles/tile 7.tif"] == \
        "Ada Quill/Harbour/tile 7.tif"


def test_nothing_is_renamed_after_a_guess_that_nobody_confirmed(
        db: Database, home: Home, store: Store, write: Write, take_up: TakeUp) -> None:
    """The old name may be all that tells the title; names that some system refuses are still put right."""
    dice = np.random.default_rng(5)
    for name in ("Ada Quill/Low Tide 30x24 final.tif", "Ben Ashe/Noon: two.tif"):
        write(name, dice.integers(0, 255, (40, 50, 3), dtype=np.uint8), folder="masters")
    take_up(store)
    plan = plan_tidying(db, home.settings, store)
    assert [kind for kind, _, _ in plan.remarks] == ["guessed", "guessed"]
    assert targets(plan) == {"Ben Ashe/Noon: two.tif": "Ben Ashe/Noon- two.tif"}
    confirm(db)
    plan = plan_tidying(db, home.settings, store)
    assert not plan.remarks and len(plan.moves) == 2


def test_tiles_keep_the_counter_of_their_own_names(
        db: Database, home: Home, store: Store, write: Write, take_up: TakeUp) -> None:
    dice = np.random.default_rng(6)
    names = ["Ada Quill/Harbour/scan_009.tif", "Ada Quill/Harbour/scan_003.tif", "Ada Quill/Harbour/scan_004.tif"]
    for n, name in enumerate(names):
        write(name, dice.integers(0, 255, (40, 50, 3), dtype=np.uint8), at=f"2026-03-01T10:0{n}:00", folder="masters")
    take_up(store)
    confirm(db)
    with transaction(db):
        for name in names:
            file = files.by_path(db, store.id, name)
            assert file and file.scan_id
            scans.set_role(db, file.scan_id, "tile")
    assert {source[-7:-4]: target.rpartition("tile ")[2][:2]
            for source, target in targets(plan_tidying(db, home.settings, store)).items()} == {
                "009": "09", "003": "03", "004": "04"}


def test_what_was_found_of_a_file_goes_along_with_it(db: Database, home: Home, store: Store, untidy: Path) -> None:
    """An edit that nobody accepted stayed behind under the old name, and the file counted as sound."""
    path = "Ada Quill/Harbour/scan0001.tif"
    file = files.by_path(db, store.id, path)
    assert file
    with transaction(db):
        findings.record(db, "edited", "an editor saved it", store_id=store.id, path=path,
                        file_id=file.id, scan_id=file.scan_id)
    apply_tidying(db, home, plan_tidying(db, home.settings, store))
    assert [(f.kind, f.path) for f in findings.list_open(db, store_id=store.id, kind="edited")] == [
        ("edited", "Ada Quill/Harbour/Ada Quill - Harbour - master - 2026-03-01.tif")]
    assert not copies.is_sound(db, file.id)


def test_applied_it_moves_the_same_bytes_and_undone_brings_back_every_name(
        db: Database, home: Home, store: Store, untidy: Path) -> None:
    before = tree(untidy)
    plan = plan_tidying(db, home.settings, store)
    done = apply_tidying(db, home, plan)
    assert not done.skipped
    after = tree(untidy)
    assert sorted(after) == sorted(m.target for m in plan.moves)
    assert sorted(after.values()) == sorted(before.values())
    assert not (untidy / "Ada Quill/Harbour/tiles").exists(), "an emptied folder goes"
    assert not plan_tidying(db, home.settings, store).moves
    (summary,) = index(db, home, [store], workers=1)
    assert (summary.read, summary.gone) == (0, 0)
    assert sum(e.type == "filename change" for e in recorded.events(db)) == 5
    assert done.undo
    undone = undo_tidying(db, home, done.undo)
    assert not undone.skipped
    assert tree(untidy) == before
    (summary,) = index(db, home, [store], workers=1)
    assert (summary.read, summary.gone) == (0, 0)


@pytest.mark.usefixtures("untidy")
def test_a_file_in_another_pieces_folder_goes_to_its_own(db: Database, home: Home, store: Store) -> None:
    with transaction(db):
        quay = pieces.piece_called(db, pieces.artist_called(db, "Ada Quill").id, "Quay")
        file = files.by_path(db, store.id, "Ada Quill/Harbour/scan0001.tif")
        assert file and file.scan_id
        scans.set_piece(db, file.scan_id, quay)
    move = next(m for m in plan_tidying(db, home.settings, store).moves if m.source.endswith("scan0001.tif"))
    assert move.target.startswith("Ada Quill/Quay/")
    assert move.why == "belongs to Ada Quill, Quay"


def test_changed_bytes_stay_where_they_are(db: Database, home: Home, store: Store, untidy: Path) -> None:
    victim = untidy / "Ada Quill/Harbour/scan0001.tif"
    data = bytearray(victim.read_bytes())
    data[-1] ^= 1
    victim.write_bytes(data)
    done = apply_tidying(db, home, plan_tidying(db, home.settings, store))
    assert victim.read_bytes() == data
    assert [item.path for item in done.skipped] == [victim]
    assert "Audit" in done.skipped[0].why


def test_what_stands_at_the_new_name_is_never_overwritten(
        db: Database, home: Home, store: Store, untidy: Path) -> None:
    plan = plan_tidying(db, home.settings, store)
    late = untidy / plan.moves[0].target
    late.write_bytes(b"came after the plan")
    done = apply_tidying(db, home, plan)
    assert late.read_bytes() == b"came after the plan"
    assert [item.path.name for item in done.skipped] == [Path(plan.moves[0].source).name]


def test_sidecars_go_with_their_file(db: Database, home: Home, store: Store, untidy: Path) -> None:
    for name in ("scan0001.xmp", "scan0001.tif.xmp"):
        (untidy / "Ada Quill/Harbour" / name).write_text(name)
    apply_tidying(db, home, plan_tidying(db, home.settings, store))
    new = untidy / "Ada Quill/Harbour/Ada Quill - Harbour - master - 2026-03-01.tif"
    assert new.with_suffix(".xmp").read_text() == "scan0001.xmp"
    assert new.with_name(new.name + ".xmp").read_text() == "scan0001.tif.xmp"
    assert not list(untidy.rglob("scan0001*"))


def test_a_sidecar_that_two_pictures_may_own_goes_with_one_and_stays_with_the_other(
        db: Database, home: Home, store: Store, untidy: Path) -> None:
    folder = untidy / "Ada Quill/Harbour"
    for name in ("scan0001.xmp", "scan0001.tif.xmp", "scan0001.jpg"):
        (folder / name).write_text(name)
    done = apply_tidying(db, home, plan_tidying(db, home.settings, store))
    assert (folder / "scan0001.xmp").exists() and (folder / "scan0001.jpg").exists()
    new = folder / "Ada Quill - Harbour - master - 2026-03-01.tif"
    assert new.with_name(f"{new.name}.xmp").read_text() == "scan0001.tif.xmp"
    assert new.with_suffix(".xmp").read_text() == "scan0001.xmp"
    assert done.undo is not None
    undo_tidying(db, home, done.undo)
    assert sorted(p.name for p in folder.iterdir() if p.is_file()) == [
        "scan0001.jpg", "scan0001.tif", "scan0001.tif.xmp", "scan0001.xmp"]


def test_a_picture_whose_sidecar_cannot_go_with_it_stays(db: Database, home: Home, store: Store, untidy: Path) -> None:
    folder = untidy / "Ada Quill/Harbour"
    (folder / "scan0001.XMP").write_text("its own")
    new = folder / "Ada Quill - Harbour - master - 2026-03-01.XMP"
    new.write_text("another's")
    done = apply_tidying(db, home, plan_tidying(db, home.settings, store))
    assert (folder / "scan0001.tif").exists() and (folder / "scan0001.XMP").read_text() == "its own"
    assert new.read_text() == "another's" and any(f"another is called {new.name}" in item.why for item in done.skipped)


def test_moves_that_follow_on_one_another_are_undone_last_first(
        db: Database, home: Home, store: Store, untidy: Path) -> None:
    """One takes the name that another has just left."""
    before = tree(untidy)
    first, second = "Ada Quill/Harbour/scan0001.tif", "Ada Quill/Harbour/tiles/t_a.tif"
    moves = []
    for source, target in ((first, "Ada Quill/Harbour/aside.tif"), (second, first)):
        file = files.by_path(db, store.id, source)
        assert file is not None
        moves.append(Move(file.id, source, target, before[source], file.size, "by hand"))
    done = apply_tidying(db, home, Tidying(store.id, store.name, tuple(moves), 0, ()))
    assert len(done.moved) == 2 and done.undo is not None
    assert tree(untidy)[first] == before[second]
    assert undo_tidying(db, home, done.undo).skipped == ()
    assert tree(untidy) == before


def test_an_undo_file_of_another_store_is_not_carried_out_here(
        db: Database, home: Home, store: Store, untidy: Path, tmp_path: Path) -> None:
    """One cut short in a store that is away now, where files of the same names lay."""
    twin = untidy / "Ada Quill/Harbour/twin.tif"
    twin.write_bytes((untidy / "Ada Quill/Harbour/scan0001.tif").read_bytes())
    before = tree(untidy)
    undo_folder(home.folder).mkdir(parents=True)
    (undo_folder(home.folder) / "tidy-9-20260301.jsonl").write_text("\n".join(json.dumps(line) for line in (
        {"store": "another store's marker"},
        {"from": "Ada Quill/Harbour/twin.tif", "to": "Ada Quill/Harbour/scan0001.tif",
         "sha256": before["Ada Quill/Harbour/twin.tif"]})))
    assert moving.finish_cut_short(db, home, store) == []
    assert tree(untidy) == before


def test_the_old_name_stays_where_the_new_one_holds_other_bytes(tmp_path: Path) -> None:
    (tmp_path / "old.tif").write_bytes(b"the picture")
    (tmp_path / "new.tif").write_bytes(b"another one")
    sha256 = hashlib.sha256(b"the picture").hexdigest()
    with open_folder(tmp_path) as folder:
        renaming.drop_old_name(folder.entry("old.tif"), folder.entry("new.tif"), sha256)
        assert sorted(folder.names()) == ["new.tif", "old.tif"]
        (tmp_path / "new.tif").write_bytes(b"the picture")
        renaming.drop_old_name(folder.entry("old.tif"), folder.entry("new.tif"), sha256)
        assert folder.names() == ["new.tif"]


def test_a_disk_without_second_names_gets_verified_copies(
        db: Database, home: Home, store: Store, untidy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """exFAT and many shares refuse a hard link."""
    before = tree(untidy)
    link = os.link

    def refuse(source: object, target: object, **options: bool) -> None:
        if str(target).endswith("master - 2026-03-01.tif"):
            raise OSError(errno.EPERM, "no links here")
        link(source, target, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "link", refuse)
    done = apply_tidying(db, home, plan_tidying(db, home.settings, store))
    assert not done.skipped
    assert sorted(tree(untidy).values()) == sorted(before.values())


@pytest.mark.parametrize("moment", ["_record", "drop_old_name"])
def test_killed_in_the_middle_nothing_is_lost_and_the_next_run_completes(
        db: Database, home: Home, store: Store, untidy: Path, moment: str) -> None:
    (untidy / "Ada Quill/Harbour/scan0001.xmp").write_text("facts")
    before = tree(untidy)
    script = f"""
import os, signal
from pathlib import Path
from catalogue.intake import moving
from catalogue.intake.tidy import plan_tidying
from catalogue.records import stores
from catalogue.records.database import open_database
from catalogue.settings import Home
home = Home(Path({str(home.folder)!r}))
db = open_database(home.database)
setattr(moving, {moment!r}, lambda *_: os.kill(os.getpid(), signal.SIGKILL))
moving.apply_tidying(db, home, plan_tidying(db, home.settings, stores.by_name(db, "masters")))
"""
    killed = subprocess.run([sys.executable, "-c", script], check=False,
                            env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])})
    assert killed.returncode == -signal.SIGKILL
    assert set(tree(untidy).values()) == set(before.values())
    assert len(tree(untidy)) == len(before) + 2, "for a moment one file and its sidecar bear both names"
    if moment == "_record":
        index(db, home, [store], workers=1)  # meanwhile an index run takes the second name for a new file
    done = apply_tidying(db, home, plan_tidying(db, home.settings, store))
    again = apply_tidying(db, home, plan_tidying(db, home.settings, store))
    assert not again.skipped
    assert not done.skipped
    assert sorted(tree(untidy).values()) == sorted(before.values())
    kept_files = {path for path in tree(untidy) if path.endswith(".tif")}
    assert {p.path for p in intake.filed_files(db, store.id)} == kept_files
    assert not (untidy / "Ada Quill/Harbour/scan0001.xmp").exists()


def test_a_name_that_differs_only_in_form_is_renamed_in_place(
        db: Database, home: Home, store: Store, write: Write, take_up: TakeUp, tmp_path: Path) -> None:
    """Decomposed names, as macOS once wrote them, become composed ones."""
    write("Ada Quill/Café/Cafe\u0301 master.tif", np.zeros((9, 9, 3), np.uint8), folder="masters")
    take_up(store)
    plan = plan_tidying(db, home.settings, store, Level.PORTABLE)
    assert targets(plan) == {"Ada Quill/Café/Cafe\u0301 master.tif": "Ada Quill/Café/Café master.tif"}
    assert not apply_tidying(db, home, plan).skipped
    assert [p.name for p in (tmp_path / "masters/Ada Quill/Café").iterdir()] == ["Café master.tif"]


@pytest.mark.parametrize("level", [Level.PORTABLE, Level.RULE])
def test_a_name_that_differs_in_its_accents_form_alone_is_left_to_the_file_that_has_it(
        db: Database, home: Home, store: Store, write: Write, take_up: TakeUp, tmp_path: Path, level: Level) -> None:
    """Planned for the second file each time, it was refused each time."""
    dice = np.random.default_rng(8)
    for name in ("Caf\u00e9.tif", "Cafe\u0301.tif"):
        write(f"Ada Quill/{name}", dice.integers(0, 255, (40, 50, 3), dtype=np.uint8), folder="masters")
    if len(list((tmp_path / "masters" / "Ada Quill").iterdir())) < 2:
        pytest.skip("this disk takes both names for one")
    take_up(store)
    confirm(db)
    before = tree(tmp_path / "masters")
    plan = plan_tidying(db, home.settings, store, level)
    assert len(set(targets(plan).values())) == len(targets(plan))
    done = apply_tidying(db, home, plan)
    assert (len(done.moved), done.skipped) == (len(plan.moves), ())
    assert done.undo is not None
    assert undo_tidying(db, home, done.undo).skipped == ()
    assert tree(tmp_path / "masters") == before


@pytest.mark.usefixtures("untidy")
def test_a_move_that_was_refused_is_not_undone(db: Database, home: Home, store: Store, tmp_path: Path) -> None:
    """Its line is in the list, for that comes first; what stands at the target is another file, and sound."""
    plan = plan_tidying(db, home.settings, store)
    blocked = tmp_path / "masters" / plan.moves[0].target
    blocked.parent.mkdir(parents=True, exist_ok=True)
    other = next(path for path in sorted((tmp_path / "masters").rglob("*.tif")) if not path.name.startswith("scan0001"))
    blocked.write_bytes(other.read_bytes())
    index(db, home, [store])
    done = apply_tidying(db, home, plan)
    assert len(done.skipped) == 1
    assert done.undo is not None
    assert undo_tidying(db, home, done.undo).skipped == ()


@pytest.mark.usefixtures("untidy")
def test_the_undo_line_is_on_the_disk_before_the_file_moves(
        db: Database, home: Home, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []

    def look(*given: object, **_: bool) -> None:
        undo = next((home.folder / "undo").iterdir()).read_text()
        seen.append(str(given[2]) in undo)
        raise OSError(errno.EIO, "stop here")

    monkeypatch.setattr(moving, "rename", look)
    done = apply_tidying(db, home, plan_tidying(db, home.settings, store))
    assert seen
    assert all(seen)
    assert len(done.skipped) == len(seen)


@pytest.mark.usefixtures("untidy")
def test_where_nothing_was_moved_there_is_nothing_to_undo(
        db: Database, home: Home, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """A store that is read-only: the summary named an undo file, and the file stayed."""
    def refuse(*_: object, **options: bool) -> None:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    monkeypatch.setattr(moving, "rename", refuse)
    done = apply_tidying(db, home, plan_tidying(db, home.settings, store))
    assert done.skipped
    assert (done.moved, done.undo) == ((), None)
    assert list((home.folder / "undo").iterdir()) == []


@pytest.mark.parametrize("failing", ["catalogue", "undo file"])
def test_where_nothing_can_be_written_down_no_file_is_left_under_two_names(
        db: Database, home: Home, store: Store, untidy: Path, monkeypatch: pytest.MonkeyPatch, failing: str) -> None:
    """The disk of the catalogue is full: what was not moved is said, and nothing is half moved."""
    before, plan = tree(untidy), plan_tidying(db, home.settings, store)
    where, name = (moving, "_record") if failing == "catalogue" else (undo_lists, "write_all")
    real, calls = getattr(where, name), [0]

    def full(*given: object) -> None:
        calls[0] += 1
        if calls[0] == 3:
            if failing == "catalogue":
                raise DiskFull()
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(*given)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(where, name, full)
        done = apply_tidying(db, home, plan)
    assert len(done.moved) == (2 if failing == "catalogue" else 1)
    assert len(done.moved) + len(done.skipped) == len(plan.moves)
    assert "This file was not moved" in done.skipped[0].why
    assert {item.why for item in done.skipped[1:]} == {"not attempted"}
    assert sorted(tree(untidy).values()) == sorted(before.values()), "every file stands under one name"
    assert not apply_tidying(db, home, plan_tidying(db, home.settings, store)).skipped
    assert {p.path for p in intake.filed_files(db, store.id)} == set(tree(untidy))


def test_a_name_the_disk_did_not_confirm_is_taken_back(
        db: Database, home: Home, store: Store, untidy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second name stayed, on no record, and the next run gave the file yet another one."""
    before, plan, real, calls = tree(untidy), plan_tidying(db, home.settings, store), renaming.sync, [0]

    def failing(fd: int) -> None:
        calls[0] += 1
        if calls[0] == 1:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        real(fd)

    with monkeypatch.context() as patch:
        patch.setattr(renaming, "sync", failing)
        done = apply_tidying(db, home, plan)
    assert len(done.skipped) == 1 and os.strerror(errno.EIO) in done.skipped[0].why
    assert sorted(tree(untidy).values()) == sorted(before.values()), "every file stands under one name"
    assert not apply_tidying(db, home, plan_tidying(db, home.settings, store)).skipped
    assert {p.path for p in intake.filed_files(db, store.id)} == set(tree(untidy))


def test_an_end_that_cannot_be_written_down_does_not_hide_what_was_moved(
        db: Database, home: Home, store: Store, untidy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From the last line on the disk of the catalogue stays full."""
    plan, real = plan_tidying(db, home.settings, store), undo_lists.write_all

    def full(out: int, data: memoryview) -> None:
        if b'"end"' in bytes(data):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(out, data)

    with monkeypatch.context() as patch:
        patch.setattr(undo_lists, "write_all", full)
        done = apply_tidying(db, home, plan)
    assert len(done.moved) == len(plan.moves) and not done.skipped
    assert moving.cut_short(home, store)
    assert not apply_tidying(db, home, plan_tidying(db, home.settings, store)).skipped
    assert not moving.cut_short(home, store)


def test_an_old_name_that_cannot_be_removed_is_told_and_the_next_run_removes_it(
        db: Database, home: Home, store: Store, untidy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before, plan = tree(untidy), plan_tidying(db, home.settings, store)

    def refusing(*_: object) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    with monkeypatch.context() as patch:
        patch.setattr(moving, "drop_old_name", refusing)
        done = apply_tidying(db, home, plan)
    assert len(done.skipped) == len(plan.moves)
    assert all("old one cannot be removed" in item.why for item in done.skipped)
    assert done.undo is not None
    assert '"end"' not in done.undo.read_text(), "files stand under two names: nothing has come to its end"
    apply_tidying(db, home, plan_tidying(db, home.settings, store, Level.PORTABLE))
    moving.finish_cut_short(db, home, store)
    assert sorted(tree(untidy).values()) == sorted(before.values())


def test_many_files_that_want_one_name_are_named_and_moved_in_linear_time(
        db: Database, home: Home, store: Store, write: Write, take_up: TakeUp, tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch) -> None:
    """Each free number is tried once, and no folder is listed once a file."""
    from catalogue.intake.targets import Names
    from catalogue.storage.folders import OpenFolder

    count = 30
    dice = np.random.default_rng(4)
    for n in range(count):
        write(f"Ada Quill/Harbour/x {n:02}.tif", dice.integers(0, 255, (9, 9, 3), dtype=np.uint8), folder="masters")
        (tmp_path / "masters" / "Ada Quill" / "Harbour" / f"x {n:02}.xmp").write_text("sidecar")
    take_up(store)
    confirm(db)
    with transaction(db):
        for n in range(count):
            file = files.by_path(db, store.id, f"Ada Quill/Harbour/x {n:02}.tif")
            assert file and file.scan_id
            scans.set_role(db, file.scan_id, "master")
    asked, listed, taken, names = [0], [0], Names.taken, OpenFolder.names

    def asking(self: Names, path: str) -> bool:
        asked[0] += 1
        return taken(self, path)

    def listing(self: OpenFolder) -> list[str]:
        listed[0] += 1
        return names(self)

    monkeypatch.setattr(Names, "taken", asking)
    monkeypatch.setattr(OpenFolder, "names", listing)
    plan = plan_tidying(db, home.settings, store)
    assert len({m.target for m in plan.moves}) == count
    assert asked[0] <= 3 * count
    done = apply_tidying(db, home, plan)
    assert len(done.moved) == count
    assert listed[0] <= 5
    assert len(list((tmp_path / "masters").rglob("*.xmp"))) == count


def test_a_tidying_cut_short_is_completed_also_where_nothing_else_is_to_be_renamed(
        db: Database, home: Home, store: Store, untidy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before, real, calls = tree(untidy), moving.drop_old_name, [0]

    def once(*given: object) -> None:
        calls[0] += 1
        if calls[0] == 2:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        real(*given)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(moving, "drop_old_name", once)
        apply_tidying(db, home, plan_tidying(db, home.settings, store))
    assert len(tree(untidy)) == len(before) + 1
    assert moving.cut_short(home, store)
    empty = plan_tidying(db, home.settings, store)
    assert not empty.moves
    assert not apply_tidying(db, home, empty).skipped
    assert sorted(tree(untidy).values()) == sorted(before.values())
    assert not moving.cut_short(home, store)
