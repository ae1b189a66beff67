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


def arguments(call: tuple[str, ...], place: Archive) -> list[str]:
    """A command's words: ``@`` stands for the archive, ``*`` for the first name that fits, ``=`` begins a question."""
    return [str(place.ask(part[1:])[0][0]) if part.startswith("=") else
            str(min(place.folder.glob(part[2:]))) if "*" in part else part.replace("@", str(place.folder))
            for part in call]


def do(place: Archive, *call: str, codes: tuple[int, ...] = (0,)) -> None:
    """Run one command, which must end well."""
    done = run(arguments(call, place), place.home, place.folder)
    if done.code not in codes:
        raise RuntimeError(f"{' '.join(call)}: {done.code}: {done.told}")


def bare(place: Archive) -> None:
    for store in STORES:
        (place.folder / store).mkdir(parents=True)
    place.home.mkdir()
    (place.home / "settings.toml").write_text(SETTINGS)
    scan(place.folder / MASTERS / "0 master.tif", 0)
    scan(place.folder / MASTERS / "1 master.tif", 0, 200)
    for n in range(2):
        scan(place.folder / "key" / f"new {n}.tif", 50 + n)
    place.keep_contents()
    (place.folder / NO_CATALOGUE_YET).touch()


@after(bare)
def added(place: Archive) -> None:
    (place.folder / NO_CATALOGUE_YET).unlink()
    for store, kind in zip(STORES, ("primary", "copy"), strict=True):
        do(place, "store", "add", store, f"@/{store}", "--kind", kind, "--marker")


@after(bare)
def on_another_mount(place: Archive) -> None:
    added(place)
    away = place.folder / "away"
    (place.folder / "nas").rename(away)
    do(place, "store", "move", "nas", "@/away")
    away.rename(place.folder / "nas")


@after(added)
def backed_up_today(place: Archive) -> None:
    """So that an index run makes no backup, which is struck by itself."""
    do(place, "backup")


@after(added)
def indexed(place: Archive) -> None:
    do(place, "index", codes=(0, 1))


@after(indexed)
def copied(place: Archive) -> None:
    do(place, "copy", "--to", "nas", "--yes")


@after(copied)
def doubled(place: Archive) -> None:
    """One master stands in its store a second time."""
    shutil.copy2(place.folder / MASTERS / "0 master.tif", place.folder / "main" / "0 again.tif")
    place.keep_contents()
    do(place, "index", codes=(0, 1))


@after(doubled)
def freed(place: Archive) -> None:
    do(place, "doubles", "main", "--free", "--yes")


@after(copied)
def damaged(place: Archive) -> None:
    bad = place.folder / MASTERS / "0 master.tif"
    stat, data = bad.stat(), bytearray(bad.read_bytes())
    data[-100] ^= 1
    bad.write_bytes(bytes(data))
    os.utime(bad, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    place.keep_contents()
    do(place, "audit", codes=(1,))


@after(copied)
def compared(place: Archive) -> None:
    do(place, "alike", codes=(0, 1))


@after(compared)
def judged(place: Archive) -> None:
    do(place, "alike", "confirm", "1")


@after(copied)
def two_pieces(place: Archive) -> None:
    do(place, "scan", "set", "1 master.tif", "--new", "Quay", "--artist", "Cy Lund")


@after(copied)
def dated(place: Archive) -> None:
    do(place, "piece", "set", "Harbour", "--year", "1999")


@after(copied)
def merged_long_ago(place: Archive) -> None:
    """As a catalogue that an earlier version wrote: a split that only the table of its time knows of."""
    with closing(sqlite3.connect(place.database)) as db, db:
        db.execute("""INSERT INTO piece_change (at, kind, detail, before) VALUES ('2020-01-02T03:04:05Z', 'split',
                      'Quay', '{"pieces": [], "moved": [], "removed": null}')""")


@after(copied)
def under_other_rules(place: Archive) -> None:
    (place.home / "settings.toml").write_text(SETTINGS + 'place_rules = ["{piece}/{artist}/*"]\n')


@after(under_other_rules)
def refiled(place: Archive) -> None:
    do(place, "refile", "--yes")


@after(copied)
def numbered(place: Archive) -> None:
    do(place, "edition", "set", "Harbour", "--limit", "10")


@after(numbered)
def ordered(place: Archive) -> None:
    do(place, "order", "add", "Harbour", "--size", "20x30", "--quantity", "2", "--number", "K-1", "--date",
       "2026-01-02", "--yes", codes=(0, 1))


@after(ordered)
def with_buyers(place: Archive) -> None:
    do(place, "order", "correct", "K-1", "--buyer", "Ann Tarn")
    do(place, "order", "add", "Harbour", "--size", "20x30", "--number", "K-2", "--buyer", "A. Tarn", "--yes",
       codes=(0, 1))


@after(copied)
def with_terms(place: Archive) -> None:
    do(place, "artist", "terms", "Ada Quill", "--percent", "40")
    do(place, "order", "add", "Harbour", "--size", "20x30", "--number", "K-1", "--date", "2026-01-02", "--unit-price",
       "50", "--status", "printed", "--yes", codes=(0, 1))


@after(ordered)
def printed(place: Archive) -> None:
    do(place, "order", "status", "K-1", "printed")


@after(copied)
def with_old_print(place: Archive) -> None:
    """A master with a picture, and beside it a print file made from it without a word of how."""
    folder = place.folder / "main/Ada Quill/Meadow"
    folder.mkdir(parents=True)
    levels = np.add.outer(np.sin(np.arange(480) / 23), np.cos(np.arange(360) / 17)) * 40 + 128
    levels = levels + np.kron(np.random.default_rng(5).integers(-40, 40, (48, 36)), np.ones((10, 10)))
    pixels = np.dstack([levels.clip(0, 255).astype(np.uint8)] * 3)
    for name, shown in (("master.tif", pixels), ("print 61x46.tif", pixels[60:420])):
        tifffile.imwrite(folder / name, shown, photometric="rgb", resolution=(200, 200), resolutionunit=2,
                         metadata=None)
    place.keep_contents()
    do(place, "index", codes=(0, 1))
    do(place, "scan", "set", "Ada Quill/Meadow/master.tif", "--role", "master")
    do(place, "scan", "set", "Ada Quill/Meadow/print 61x46.tif", "--role", "print file", "--piece", "Meadow")


@after(ordered)
def with_tables(place: Archive) -> None:
    """A table of orders to take in."""
    (place.folder / "orders.csv").write_text(
        "number,date,artist,piece,size,quantity,numbers\nK-9,2026-01-03,Ada Quill,Harbour,20x30,1,5\n")


@after(ordered)
def with_backup(place: Archive) -> None:
    do(place, "backup")
    do(place, "order", "add", "Harbour", "--size", "30x40", "--number", "K-2", "--yes", codes=(0, 1))


@after(with_backup)
def catalogue_damaged(place: Archive) -> None:
    """A page that is in use is overwritten, once all lies in the one file: the log beside it would hide the damage."""
    with closing(sqlite3.connect(place.database)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        page = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'scan'").fetchone()[0]
        size = db.execute("PRAGMA page_size").fetchone()[0]
    with place.database.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\x55" * size)


@after(with_backup)
def catalogue_gone(place: Archive) -> None:
    do(place, "export", "manifest", "--into-store", "--yes")
    for path in place.home.glob("catalogue.sqlite*"):
        path.unlink()
    shutil.rmtree(place.home / "backups")


@after(copied)
def confirmed(place: Archive) -> None:
    """A person has said that artist and title are what was guessed."""
    do(place, "piece", "confirm", "Harbour")


@after(confirmed)
def tidied(place: Archive) -> None:
    do(place, "tidy", "main", "--yes")


@after(confirmed)
def tidied_by_halves(place: Archive) -> None:
    """A tidying killed at the first moment at which a file stands under two names."""
    with tempfile.TemporaryDirectory(prefix="faults-state-") as folder:
        start = Path(folder) / "start"
        place.keep_as(start)
        for point in range(1, 1000):
            place.begin_from(start)
            run(["tidy", "main", "--yes"], place.home, place.folder, Strike(point, -1))
            if any(path.stat().st_nlink == 2 and path.suffix == ".tif" for path in (place.folder / "main").rglob("*")):
                return
    raise RuntimeError("no kill leaves a file under two names")


@after(bare)
def with_demo_archive(place: Archive) -> None:
    for disk in ("main-disk", "copy-disk"):
        scan(place.folder / "archive" / disk / "Ada Quill" / "Harbour" / "0 master.tif", 0)
    scan(place.folder / "archive" / "since" / "files" / "main-disk" / "Ada Quill" / "Harbour" / "0 master.tif", 1)
    (place.folder / "archive" / "editions.csv").write_text("artist,piece,limit\nAda Quill,Harbour,5\n")
    (place.folder / "archive" / "orders.csv").write_text(
        "number,date,artist,piece,size,quantity\nD-1,2026-01-02,Ada Quill,Harbour,20x30,1\n")
