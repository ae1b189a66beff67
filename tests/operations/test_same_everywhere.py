"""A command and the screen for the same thing leave the same facts behind, and say the same words.

Each runs on an archive of its own; then findings, events and the files of the catalogue are compared.
"""

import json
import os
import re
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile

from catalogue.errors import DiskFull
from catalogue.fixity.audit import Budget
from catalogue.intake.proposals import Plan, with_answers
from catalogue.operations.copying import NEVER_READ, OUTCOMES
from catalogue.records import files, stores
from catalogue.records.database import open_database
from catalogue.screens.background import jobs
from catalogue.settings import Home, Settings
from tests.operations.shops import Archive, Desk

HARBOUR = "Ada Quill/Harbour/master.tif"
Way = Callable[[Archive], str]


def rot(path: Path) -> None:
    """One flipped bit, size and times as before."""
    stat = path.stat()
    data = bytearray(path.read_bytes())
    data[-9] ^= 4
    path.write_bytes(data)
    os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))


def plain(text: str, archive: Archive) -> str:
    """Words without what differs between two runs: the folder, moments, rates, random names."""
    text = text.replace(str(archive.folder), "FOLDER")
    text = re.sub(r"\d{8}T\d{6}Z?|\d{4}-\d\d-\d\d[T ][\d:.]+Z?(\+00:00)?", "MOMENT", text)
    text = re.sub(r" at [\d.]+ [kMG]?B/s", "", text)
    return re.sub(r"[\d.]+ s\b", "SECONDS", re.sub(r"segment-[0-9a-f]{32}", "SEGMENT", text))


def facts(archive: Archive) -> dict[str, object]:
    """What an operation has left behind."""
    db = open_database(archive.home.database)
    try:
        found = {tuple(row) for row in db.execute("SELECT kind, path, resolved IS NULL, resolution FROM finding")}
        events = Counter((row[0], row[1], plain(row[2], archive)) for row in db.execute(
            "SELECT type, outcome, detail FROM event WHERE change = ''"))
        runs = Counter(tuple(row) for row in db.execute("SELECT kind, outcome FROM run"))
        likenesses = db.execute("SELECT count(*) FROM likeness").fetchone()[0]
    finally:
        db.close()
    names = {plain(str(path.relative_to(archive.home.folder)), archive) for path in archive.home.folder.rglob("*")
             if path.is_file() and not path.name.endswith(("-wal", "-shm")) and "likeness" not in path.parts}
    return {"findings": found, "events": events, "runs": runs, "likenesses": likenesses, "files": names}


def by_command(*words: str, code: int = 0) -> Way:
    def run(archive: Archive) -> str:
        ended, out = archive.call(*words)
        assert ended == code, out
        return out
    return run


def by_screen(start: Callable[[Any], object]) -> Way:
    def run(archive: Archive) -> str:
        desk = Desk(archive.home)
        start(desk)
        return desk.notice
    return run


def damaged(archive: Archive) -> None:
    """A store brought up to date, then a rotten file that an audit has found."""
    assert archive.call("copy", "--to", "nas", "--yes")[0] == 0
    rot(archive.folder / "main" / HARBOUR)
    assert archive.call("audit", "main")[0] == 1


def restore(desk: Any) -> None:
    db = open_database(desk.home.database)
    file = files.by_path(db, stores.by_name(db, "main").id, HARBOUR)
    db.close()
    assert file is not None
    jobs.start_restore(desk, file.id, "nas")


def new_files(archive: Archive) -> None:
    shutil.copy2(archive.folder / "main" / HARBOUR, archive.folder / "main/Ada Quill/Harbour/another.tif")
    (archive.folder / "main" / "torn.tif").write_bytes(b"II*\0")


def rotten(archive: Archive) -> None:
    rot(archive.folder / "main" / HARBOUR)


def as_it_is(_: Archive) -> None:
    """Nothing to prepare."""


def new_scans(archive: Archive) -> None:
    """A folder of scans that say whose they are, to be imported."""
    key = archive.folder / "key" / "Nell Orrin" / "Stair"
    key.mkdir(parents=True)
    pixels = np.random.default_rng(5).integers(0, 255, (60, 80, 3), dtype=np.uint8)
    tifffile.imwrite(key / "Nell Orrin - Stair - master.tif", pixels, photometric="rgb", resolution=(100, 100),
                     resolutionunit=2, metadata=None)


def take_in(desk: Any) -> None:
    key, said = desk.home.folder.parent / "key", {"artist": "Nell Orrin", "piece": "Stair"}

    def look(plan: Plan) -> None:
        db = open_database(desk.home.database)
        whole = with_answers(db, desk.home, plan, 0, **said)
        db.close()
        jobs.start_taking_in(desk, whole, ["nas"], False, lambda _: None)

    jobs.start_proposing(desk, key, "main", {}, look)


def an_order(archive: Archive) -> None:
    assert archive.call("order", "add", "harbour", "--size", "20x30", "--number", "J-7", "--yes")[0] == 0


def a_print_folder(archive: Archive) -> None:
    """An order with a print folder in the settings, and a print file already made of it."""
    an_order(archive)
    hot = archive.folder / "hot folder"
    hot.mkdir()
    (archive.home.folder / "settings.toml").write_text(f"print_folder = {json.dumps(str(hot))}\n")
    archive.home = Home(archive.home.folder, Settings(workers=1, print_folder=str(hot)))
    assert archive.call("print", "J-7")[0] == 0


CASES: dict[str, tuple[Callable[[Archive], None], Way, Way]] = {
    "index": (new_files, by_command("index", code=1), by_screen(jobs.start_index)),
    "audit": (rotten, by_command("audit", code=1), by_screen(lambda desk: jobs.start_audit(desk, [], Budget()))),
    "copy": (as_it_is, by_command("copy", "--to", "nas", "--yes"),
             by_screen(lambda desk: jobs.start_copy(desk, "nas"))),
    "restore": (damaged, by_command("restore", f"main:{HARBOUR}", "--from", "nas", "--yes"), by_screen(restore)),
    "backup": (as_it_is, by_command("backup"), by_screen(jobs.start_backup)),
    "job sheet": (an_order, by_command("order", "sheet", "J-7", "--copy"),
                  by_screen(lambda desk: jobs.start_job_sheet(desk, 1, True, lambda _: None))),
    "print file": (a_print_folder, by_command("print", "J-7"),
                   by_screen(lambda desk: jobs.start_print_files(desk, [1]))),
    "intake": (new_scans, lambda archive: by_command(
        "intake", archive.folder / "key", "--into", "main", "--also", "nas", "--artist", "Nell Orrin", "--piece",
        "Stair", "--yes")(archive), by_screen(take_in)),
}


@pytest.mark.parametrize("name", CASES)
def test_a_command_and_its_screen_do_and_say_the_same(twins: tuple[Archive, Archive], name: str) -> None:
    prepare, command, screen = CASES[name]
    one, two = twins
    for archive in twins:
        prepare(archive)
    out, notice = command(one), screen(two)
    left, right = facts(one), facts(two)
    for kind in left:
        assert left[kind] == right[kind]
    said, shown = plain(out, one).splitlines(), plain(notice, two).splitlines()
    at = said.index(shown[0])   # intake shows its plan first
    assert said[at:at + len(shown)] == shown
    assert len(said) <= at + len(shown) + 1  # the command line may add which command comes next


def open_kinds(archive: Archive) -> set[str]:
    db = open_database(archive.home.database)
    kinds = {row[0] for row in db.execute("SELECT kind FROM finding WHERE resolved IS NULL")}
    db.close()
    return kinds


def test_restoring_from_the_screens_closes_single_copy(twins: tuple[Archive, Archive]) -> None:
    archive, _ = twins
    damaged(archive)
    assert {"changed", "single copy"} <= open_kinds(archive)
    restore(Desk(archive.home))
    assert not {"changed", "single copy"} & open_kinds(archive)


def test_a_backup_from_the_screens_makes_ledger_tables_and_manifests(twins: tuple[Archive, Archive]) -> None:
    archive, _ = twins
    by_screen(jobs.start_backup)(archive)
    assert {path.stem for path in (archive.home.folder / "ledger").glob("*.csv")} == {
        "artists", "pieces", "editions", "orders", "buyers"}
    assert HARBOUR in (archive.home.folder / "manifests" / "main.sha256").read_text()


def test_an_audit_from_the_screens_backs_up_unless_stopped(twins: tuple[Archive, Archive]) -> None:
    archive, other = twins
    start: Callable[[Any], object] = lambda desk: jobs.start_audit(desk, [], Budget())  # noqa: E731
    start(Desk(archive.home))
    assert len(list(archive.home.backups.glob("*.sqlite"))) == 1
    stopped = Desk(other.home, lambda: True)
    start(stopped)
    assert list(other.home.backups.glob("*.sqlite")) == []
    assert "main: stopped; 0 files checked" in stopped.notice


def test_an_index_run_that_is_stopped_still_counts_copies(twins: tuple[Archive, Archive]) -> None:
    """What was read before the stop has its findings: nobody need wait for another run to learn of single copies."""
    archive, _ = twins
    stopped: Any = Desk(archive.home, lambda: True)
    jobs.start_index(stopped)
    assert "single copy: 2 masters" in stopped.notice
    assert list(archive.home.backups.glob("*.sqlite")) == []


def test_unreadable_masters_are_told_by_the_copy_of_the_screens(twins: tuple[Archive, Archive]) -> None:
    """A store is not called up to date while it lacks what nobody could read."""
    archive, _ = twins
    db = open_database(archive.home.database)
    (archive.folder / "main" / "lost.tif").touch()
    with db.conn:
        db.execute("INSERT INTO file (store_id, path, size, mtime_ns, scan_id, state, first_seen, read_at) "
                   "VALUES (1, 'lost.tif', 5, 0, NULL, 'present', '2026', '2026')")
    db.close()
    notice = by_screen(lambda desk: jobs.start_copy(desk, "nas"))(archive)
    assert f"lost.tif: {NEVER_READ}" in notice and OUTCOMES["incomplete"] in notice


@pytest.mark.parametrize("name", ["index", "audit"])
def test_a_backup_that_fails_hides_nothing_that_was_done(twins: tuple[Archive, Archive], name: str,
                                                         monkeypatch: pytest.MonkeyPatch) -> None:
    """What was read is on record and told; that today has no backup is told beside it, and is a finding."""

    def full(*_: object, **__: object) -> None:
        raise DiskFull

    monkeypatch.setattr("catalogue.fixity.backup.back_up", full)
    archive, other = twins
    trouble = f"Today's backup could not be made. {DiskFull()}"
    code, out = archive.call(name, "main")
    assert code == 1 and out.startswith("main: ") and trouble in out.splitlines()
    notice = CASES[name][2](other)
    assert notice.startswith("main: ") and trouble in notice.splitlines()


def test_an_audit_of_whole_files_still_tells_of_single_copies(twins: tuple[Archive, Archive]) -> None:
    archive, _ = twins
    code, out = archive.call("audit")
    assert code == 1
    assert "2 intact" in out and "single copy: 2 masters" in out.splitlines()
