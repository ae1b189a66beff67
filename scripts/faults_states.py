"""The states of an archive that commands are tried in, each made from an earlier one by the program itself."""

import os
import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import numpy as np
import tifffile
from faults_archive import NO_CATALOGUE_YET, STORES, Archive, after
from faults_run import Strike, run

SETTINGS = "copies_on_one_disk = true\nworkers = 1\n"
MASTERS = Path("main/Ada Quill/Harbour")
INTAKE = ("intake", "@/key", "--into", "main", "--also", "nas", "--artist", "Bo Ek", "--piece", "Quarry", "--yes")


def scan(path: Path, seed: int, resolution: int = 100) -> None:
    """A small master; two of one seed show the same pixels."""
    path.parent.mkdir(parents=True, exist_ok=True)
    pixels = np.random.default_rng(seed).integers(0, 255, (24, 32, 3), dtype=np.uint8)
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(resolution, resolution), resolutionunit=2,
                     metadata=None)


def arguments(call: tuple[str, ...], archive: Archive) -> list[str]:
    """A command's words: ``@`` stands for the archive, ``*`` for the first name that fits, ``=`` begins a question."""
    return [str(archive.ask(part[1:])[0][0]) if part.startswith("=") else
            str(min(archive.folder.glob(part[2:]))) if "*" in part else part.replace("@", str(archive.folder))
            for part in call]


def do(archive: Archive, *call: str, codes: tuple[int, ...] = (0,)) -> None:
    """Run one command, which must end well."""
    done = run(arguments(call, archive), archive.home, archive.folder)
    if done.code not in codes:
        raise RuntimeError(f"{' '.join(call)}: {done.code}: {done.told}")


def bare(archive: Archive) -> None:
    for store in STORES:
        (archive.folder / store).mkdir(parents=True)
    archive.home.mkdir()
    (archive.home / "settings.toml").write_text(SETTINGS)
    scan(archive.folder / MASTERS / "0 master.tif", 0)
    scan(archive.folder / MASTERS / "1 master.tif", 0, 200)
    for n in range(2):
        scan(archive.folder / "key" / f"new {n}.tif", 50 + n)
    archive.keep_contents()
    (archive.folder / NO_CATALOGUE_YET).touch()


@after(bare)
def added(archive: Archive) -> None:
    (archive.folder / NO_CATALOGUE_YET).unlink()
    for store, kind in zip(STORES, ("primary", "copy"), strict=True):
        do(archive, "store", "add", store, f"@/{store}", "--kind", kind, "--marker")


@after(bare)
def on_another_mount(archive: Archive) -> None:
    added(archive)
    away = archive.folder / "away"
    (archive.folder / "nas").rename(away)
    do(archive, "store", "move", "nas", "@/away")
    away.rename(archive.folder / "nas")


@after(added)
def backed_up_today(archive: Archive) -> None:
    """So that an index run makes no backup, which is struck by itself."""
    do(archive, "backup")


@after(added)
def indexed(archive: Archive) -> None:
    do(archive, "index", codes=(0, 1))


@after(indexed)
def copied(archive: Archive) -> None:
    do(archive, "copy", "--to", "nas", "--yes")


@after(copied)
def doubled(archive: Archive) -> None:
    """One master stands in its store a second time."""
    shutil.copy2(archive.folder / MASTERS / "0 master.tif", archive.folder / "main" / "0 again.tif")
    archive.keep_contents()
    do(archive, "index", codes=(0, 1))


@after(doubled)
def freed(archive: Archive) -> None:
    do(archive, "doubles", "main", "--free", "--yes")


@after(copied)
def damaged(archive: Archive) -> None:
    bad = archive.folder / MASTERS / "0 master.tif"
    stat, data = bad.stat(), bytearray(bad.read_bytes())
    data[-100] ^= 1
    bad.write_bytes(bytes(data))
    os.utime(bad, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    archive.keep_contents()
    do(archive, "audit", codes=(1,))


@after(copied)
def compared(archive: Archive) -> None:
    do(archive, "alike", codes=(0, 1))


@after(compared)
def judged(archive: Archive) -> None:
    do(archive, "alike", "confirm", "1")


@after(copied)
def two_pieces(archive: Archive) -> None:
    do(archive, "scan", "set", "1 master.tif", "--new", "Quay", "--artist", "Cy Lund")


@after(copied)
def dated(archive: Archive) -> None:
    do(archive, "piece", "set", "Harbour", "--year", "1999")


@after(copied)
def merged_long_ago(archive: Archive) -> None:
    """As a catalogue that an earlier version wrote: a split that only the table of its time knows of."""
    with closing(sqlite3.connect(archive.database)) as db, db:
        db.execute("""INSERT INTO piece_change (at, kind, detail, before) VALUES ('2020-01-02T03:04:05Z', 'split',
                      'Quay', '{"pieces": [], "moved": [], "removed": null}')""")


@after(copied)
def under_other_rules(archive: Archive) -> None:
    (archive.home / "settings.toml").write_text(SETTINGS + 'place_rules = ["{piece}/{artist}/*"]\n')


@after(under_other_rules)
def refiled(archive: Archive) -> None:
    do(archive, "refile", "--yes")


@after(copied)
def numbered(archive: Archive) -> None:
    do(archive, "edition", "set", "Harbour", "--limit", "10")


@after(numbered)
def ordered(archive: Archive) -> None:
    do(archive, "order", "add", "Harbour", "--size", "20x30", "--quantity", "2", "--number", "K-1", "--date",
       "2026-01-02", "--yes", codes=(0, 1))


@after(ordered)
def with_buyers(archive: Archive) -> None:
    do(archive, "order", "correct", "K-1", "--buyer", "Ann Tarn")
    do(archive, "order", "add", "Harbour", "--size", "20x30", "--number", "K-2", "--buyer", "A. Tarn", "--yes",
       codes=(0, 1))


@after(copied)
def with_terms(archive: Archive) -> None:
    do(archive, "artist", "terms", "Ada Quill", "--percent", "40")
    do(archive, "order", "add", "Harbour", "--size", "20x30", "--number", "K-1", "--date", "2026-01-02", "--unit-price",
       "50", "--status", "printed", "--yes", codes=(0, 1))


@after(ordered)
def printed(archive: Archive) -> None:
    do(archive, "order", "status", "K-1", "printed")


@after(copied)
def with_old_print(archive: Archive) -> None:
    """A master with a picture, and beside it a print file made from it without a word of how."""
    folder = archive.folder / "main/Ada Quill/Meadow"
    folder.mkdir(parents=True)
    levels = np.add.outer(np.sin(np.arange(480) / 23), np.cos(np.arange(360) / 17)) * 40 + 128
    levels = levels + np.kron(np.random.default_rng(5).integers(-40, 40, (48, 36)), np.ones((10, 10)))
    pixels = np.dstack([levels.clip(0, 255).astype(np.uint8)] * 3)
    for name, shown in (("master.tif", pixels), ("print 61x46.tif", pixels[60:420])):
        tifffile.imwrite(folder / name, shown, photometric="rgb", resolution=(200, 200), resolutionunit=2,
                         metadata=None)
    archive.keep_contents()
    do(archive, "index", codes=(0, 1))
    do(archive, "scan", "set", "Ada Quill/Meadow/master.tif", "--role", "master")
    do(archive, "scan", "set", "Ada Quill/Meadow/print 61x46.tif", "--role", "print file", "--piece", "Meadow")


@after(ordered)
def with_tables(archive: Archive) -> None:
    """A table of orders to take in."""
    (archive.folder / "orders.csv").write_text(
        "number,date,artist,piece,size,quantity,numbers\nK-9,2026-01-03,Ada Quill,Harbour,20x30,1,5\n")


@after(ordered)
def with_backup(archive: Archive) -> None:
    do(archive, "backup")
    do(archive, "order", "add", "Harbour", "--size", "30x40", "--number", "K-2", "--yes", codes=(0, 1))


@after(with_backup)
def catalogue_damaged(archive: Archive) -> None:
    """A page that is in use is overwritten, once all lies in the one file: the log beside it would hide the damage."""
    with closing(sqlite3.connect(archive.database)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        page = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'scan'").fetchone()[0]
        size = db.execute("PRAGMA page_size").fetchone()[0]
    with archive.database.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\x55" * size)


@after(with_backup)
def catalogue_gone(archive: Archive) -> None:
    do(archive, "export", "manifest", "--into-store", "--yes")
    for path in archive.home.glob("catalogue.sqlite*"):
        path.unlink()
    shutil.rmtree(archive.home / "backups")


@after(copied)
def confirmed(archive: Archive) -> None:
    """A person has said that artist and title are what was guessed."""
    do(archive, "piece", "confirm", "Harbour")


@after(confirmed)
def tidied(archive: Archive) -> None:
    do(archive, "tidy", "main", "--yes")


@after(confirmed)
def tidied_by_halves(archive: Archive) -> None:
    """A tidying killed at the first moment at which a file stands under two names."""
    with tempfile.TemporaryDirectory(prefix="faults-state-") as folder:
        start = Path(folder) / "start"
        archive.keep_as(start)
        for point in range(1, 1000):
            archive.begin_from(start)
            run(["tidy", "main", "--yes"], archive.home, archive.folder, Strike(point, -1))
            if any(path.stat().st_nlink == 2 for path in (archive.folder / "main").rglob("*.tif")):
                return
    raise RuntimeError("no kill leaves a file under two names")


@after(bare)
def with_demo_archive(archive: Archive) -> None:
    for disk in ("main-disk", "copy-disk"):
        scan(archive.folder / "archive" / disk / "Ada Quill" / "Harbour" / "0 master.tif", 0)
    scan(archive.folder / "archive" / "since" / "files" / "main-disk" / "Ada Quill" / "Harbour" / "0 master.tif", 1)
    (archive.folder / "archive" / "editions.csv").write_text("artist,piece,limit\nAda Quill,Harbour,5\n")
    (archive.folder / "archive" / "orders.csv").write_text(
        "number,date,artist,piece,size,quantity\nD-1,2026-01-02,Ada Quill,Harbour,20x30,1\n")
