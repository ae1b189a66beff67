"""The commands that ``faults.py`` lets fail, the archives they work on, and what must hold afterwards."""

import csv
import hashlib
import json
import os
import re
import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import numpy as np
import tifffile

import catalogue.indexing.service  # noqa: F401 - before the forks, so that each child starts at its work
from catalogue.fixity.bag_check import check_bag
from catalogue.progress import never, unheard
from catalogue.records import events
from catalogue.records.backup import condition
from catalogue.records.database import open_database

if TYPE_CHECKING:
    from faults import Run

Runner = Callable[..., "Run"]
STORES = ("main", "nas")


@dataclass(frozen=True)
class Archive:
    """Two stores, a key of new scans and a catalogue, all below one folder."""

    folder: Path

    @property
    def home(self) -> Path:
        return self.folder / "home"

    def begin_from(self, start: "Archive") -> None:
        """Become a copy of another archive; paths in its catalogue are relative to a link that is moved here."""
        shutil.rmtree(self.folder, ignore_errors=True)
        shutil.copytree(start.folder, self.folder, symlinks=True)
        for database in self.folder.rglob("catalogue.sqlite"):
            db = open_database(database)
            db.execute("SELECT 1")
            from catalogue.records.database import transaction

            with transaction(db):
                db.execute("UPDATE store SET root = replace(root, ?, ?)", [str(start.folder), str(self.folder)])
                db.execute("DELETE FROM store_place")
            db.close()

    def pictures(self) -> dict[str, str]:
        """Path to SHA-256 of every picture in the stores and on the key, hidden ones left out."""
        return {str(p.relative_to(self.folder)): hashlib.sha256(p.read_bytes()).hexdigest()
                for top in (*STORES, "key") for p in sorted((self.folder / top).rglob("*"))
                if p.is_file() and not p.name.startswith(".") and (p.suffix == ".tif" or ".damaged-" in p.name)}

    def contents(self) -> dict[str, set[str]]:
        """Contents by store, and of the key."""
        found: dict[str, set[str]] = {}
        for path, sha256 in self.pictures().items():
            found.setdefault(path.split("/")[0], set()).add(sha256)
        return found

    def lost(self, before: dict[str, set[str]]) -> list[str]:
        """Contents that are not where they were; catalogues and logs that are not sound."""
        now = self.contents()
        lost = [f"{len(gone)} contents of {top}" for top, held in before.items()
                if (gone := held - now.get(top, set())) and not (top == "key" and all(
                    sum(sha in now.get(store, ()) for store in STORES) == 2 for sha in gone))]
        database = self.home / "catalogue.sqlite"
        if database.exists():
            faults = condition(database).faults
            if faults == ("it holds no catalogue",) and (self.folder / "no catalogue yet").exists():
                return lost  # the first command was cut short before it had made one
            lost += [f"catalogue: {fault}" for fault in faults]
            if not lost:
                db = open_database(database)
                try:
                    if list(events.broken_links(db)):
                        lost.append("the event log's chain is broken")
                    lines, orders = (db.execute(f"SELECT count(*) FROM {t}").fetchone()[0]
                                     for t in ("order_line", "orders"))
                    if orders and not lines:
                        lost.append("an order without its lines")
                    present = db.execute("""SELECT s.root, f.path FROM file f JOIN store s ON s.id = f.store_id
                                            WHERE f.state = 'present'""").fetchall()
                    lost += [f"{path} is on record and not there" for root, path in present
                             if not (Path(root) / path).is_file()]
                finally:
                    db.close()
        return lost

    def half(self) -> list[str]:
        """Files under a final name that are not whole."""
        known = set((self.folder / "known contents").read_text().split())
        half = [f"{path} has bytes that never were" for path, sha256 in self.pictures().items() if sha256 not in known]
        for path in self.folder.rglob("*"):
            if path.is_file() and not path.name.startswith(".catalogue-part-") and ".catalogue-part-" not in str(path):
                fault = _fault(path)
                if fault:
                    half.append(f"{path.relative_to(self.folder)}: {fault}")
        bag = self.folder / "bag"
        if bag.is_dir():
            half += [f"bag: {problem}" for problem in check_bag(bag, report=unheard, cancelled=never)]
        return half


def _fault(path: Path) -> str:
    """What is wrong with a small file of ours; pictures and databases are looked at elsewhere."""
    try:
        if path.name == ".scan-store.json":
            return "" if json.loads(path.read_text()).get("store") else "no marker"
        if path.suffix == ".xmp":
            ElementTree.fromstring(path.read_text().strip())
        elif path.suffix == ".html":
            return "" if path.read_text().rstrip().endswith("</html>") else "no end"
        elif path.suffix == ".csv":
            rows = list(csv.reader(path.read_text().splitlines()))
            return "" if rows and len({len(row) for row in rows}) == 1 else "no table"
        elif path.suffix == ".sha256":
            text = path.read_text()
            wanted = re.search(r"^# files: (\d+)$", text, re.MULTILINE)
            if wanted is None or sum(not line.startswith("#") for line in text.splitlines()) != int(wanted[1]):
                return "not all lines"
    except (OSError, ValueError, ElementTree.ParseError) as error:
        return f"cannot be read: {error}"
    return ""


@dataclass(frozen=True)
class Work:
    """One command: the archive it wants, its arguments, the codes of a good end, what must hold then.

    ``success`` matches words that must not be said where the exit code is 2. ``may_repeat``: what was done already
    may be found done, and is not done again. ``then`` is what the messages of a failed run advise besides.
    """

    name: str
    prepare: Callable[[Archive, Runner], None]
    call: Sequence[str]
    wrong: Callable[[Archive], str]
    success: str
    codes: tuple[int, ...] = (0,)
    may_repeat: bool = False
    then: Sequence[str] = ()

    def arguments(self, place: Archive) -> list[str]:
        return [part.replace("@", str(place.folder)) for part in self.call]

    def untrue(self, place: Archive, done: "Run") -> list[str]:
        """Words that do not fit what happened."""
        found = []
        if done.code == 0 and self.wrong(place):
            found.append(f"it ended with 0, but {self.wrong(place)}")
        if done.code == 2 and re.search(self.success, done.out):
            found.append("it failed and speaks of success")
        if done.code >= 2 and not done.err.strip():
            found.append("it failed without a word")
        if re.search("nothing was (changed|moved|written|copied)", done.told, re.IGNORECASE) and done.code != 0 \
                and not self.wrong(place):
            found.append("it says that nothing was done, and it was")
        return found


def scan(path: Path, seed: int) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    pixels = np.random.default_rng(seed).integers(0, 255, (24, 32, 3), dtype=np.uint8)
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(100, 100), resolutionunit=2, metadata=None)


def _must(done: "Run", *codes: int) -> None:
    if done.code not in (codes or (0,)):
        raise RuntimeError(f"{done.code}: {done.told}")


def bare(place: Archive, _: Runner) -> None:
    for store in STORES:
        (place.folder / store).mkdir(parents=True)
    place.home.mkdir()
    (place.home / "settings.toml").write_text("copies_on_one_disk = true\nworkers = 1\n")
    for n in range(3):
        scan(place.folder / "main" / "Ada Quill" / "Harbour" / f"{n} master.tif", n)
    for n in range(2):
        scan(place.folder / "key" / f"new {n}.tif", 50 + n)
    keep_contents(place)
    (place.folder / "no catalogue yet").touch()


def keep_contents(place: Archive) -> None:
    known = place.folder / "known contents"
    before = known.read_text().split() if known.exists() else []
    known.write_text("\n".join(sorted({*before, *place.pictures().values()})))


def added(place: Archive, run: Runner) -> None:
    bare(place, run)
    (place.folder / "no catalogue yet").unlink()
    for store, kind in zip(STORES, ("primary", "copy"), strict=True):
        _must(run(["store", "add", store, str(place.folder / store), "--kind", kind, "--marker"], place.home,
                  place.folder))


def indexed(place: Archive, run: Runner) -> None:
    added(place, run)
    _must(run(["index"], place.home, place.folder), 0, 1)


def copied(place: Archive, run: Runner) -> None:
    indexed(place, run)
    _must(run(["copy", "--to", "nas", "--yes"], place.home, place.folder))


def damaged(place: Archive, run: Runner) -> None:
    copied(place, run)
    bad = place.folder / "main" / "Ada Quill" / "Harbour" / "0 master.tif"
    stat, data = bad.stat(), bytearray(bad.read_bytes())
    data[-100] ^= 1
    bad.write_bytes(bytes(data))
    os.utime(bad, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    keep_contents(place)
    _must(run(["audit"], place.home, place.folder), 1)


def ordered(place: Archive, run: Runner) -> None:
    copied(place, run)
    _must(run(["edition", "set", "Harbour", "--limit", "10"], place.home, place.folder))
    _must(run(["order", "add", "Harbour", "--size", "20x30", "--quantity", "2", "--number", "K-1", "--date",
               "2026-01-02", "--yes"], place.home, place.folder), 0, 1)


def backed_up(place: Archive, run: Runner) -> None:
    ordered(place, run)
    _must(run(["backup"], place.home, place.folder))
    with (place.home / "catalogue.sqlite").open("r+b") as file:
        file.seek(4096 * 3)
        file.write(b"\x55" * 4096)


def ask(place: Archive, sql: str) -> list[tuple[object, ...]]:
    """Rows of the catalogue; none where there is no catalogue yet."""
    database = place.home / "catalogue.sqlite"
    if not database.exists():
        return []
    db = open_database(database)
    try:
        return [tuple(row) for row in db.execute(sql).fetchall()]
    finally:
        db.close()


def rows(sql: str, *wanted: tuple[object, ...]) -> Callable[[Archive], str]:
    """That a question to the catalogue has this answer."""
    def check(place: Archive) -> str:
        found = ask(place, sql)
        return "" if found == list(wanted) else f"{sql} gives {found}"
    return check


def there(*names: str) -> Callable[[Archive], str]:
    def check(place: Archive) -> str:
        return "; ".join(f"{name} is not there" for name in names if not list(place.folder.glob(name)))
    return check


def same_stores(place: Archive) -> str:
    now = place.contents()
    return "" if now.get("main") == now.get("nas") else "the stores differ"


def restored(place: Archive) -> str:
    target = place.folder / "main" / "Ada Quill" / "Harbour" / "0 master.tif"
    good = place.folder / "nas" / "Ada Quill" / "Harbour" / "0 master.tif"
    if not target.is_file() or target.read_bytes() != good.read_bytes():
        return "the good bytes are not there"
    return rows("SELECT count(*) FROM finding WHERE kind = 'changed' AND resolved IS NULL", (0,))(place)


def taken_in(place: Archive) -> str:
    now, key = place.pictures(), {sha for path, sha in place.pictures().items() if path.startswith("key")}
    for top in STORES:
        counts = [sum(sha == s for path, s in now.items() if path.startswith(top)) for sha in key]
        if any(count != 1 for count in counts):
            return f"in {top} the new scans lie {counts} times"
    return rows("SELECT count(*) FROM file", (7,))(place)


def cleared(place: Archive) -> str:
    return "the key is not empty" if list((place.folder / "key").glob("*.tif")) else \
        rows("SELECT count(*) FROM file", (10,))(place)


def tidied(place: Archive) -> str:
    names = [p for p in place.pictures() if p.startswith("main")]
    if len(names) != 3 or not all(" - master - " in name for name in names):
        return f"the names are {names}"
    listed = [f"main/{row[0]}" for row in ask(place, """SELECT path FROM file WHERE state = 'present'
                                                        AND store_id = 1 ORDER BY path""")]
    return "" if listed == sorted(names) else f"on record are {listed}"


def backup_made(place: Archive) -> str:
    made = sorted((place.home / "backups").glob("catalogue-*.sqlite"))
    faults = [fault for one in made for fault in condition(one).faults]
    return str(faults) if faults else "" if made else "there is no backup"


NEVER = "(?!)"  # prints no word of success that a failure could share
INTAKE = ("intake", "@/key", "--into", "main", "--also", "nas", "--artist", "Bo Ek", "--piece", "Quarry", "--yes")

WORKS = (
    Work("store add", bare, ("store", "add", "main", "@/main", "--marker"),
         rows("SELECT name FROM store", ("main",)), "Added", may_repeat=True),
    Work("index", added, ("index",), rows("SELECT count(*) FROM file", (3,)), NEVER, (0, 1)),
    Work("copy", indexed, ("copy", "--to", "nas", "--yes"), same_stores, "up to date"),
    Work("audit", copied, ("audit",), rows("SELECT count(*) FROM file WHERE checked_at IS NULL", (0,)), NEVER, (0, 1)),
    Work("restore", damaged, ("restore", "main:Ada Quill/Harbour/0 master.tif", "--yes"), restored, "Restored",
         may_repeat=True, then=("audit",)),
    Work("intake", indexed, INTAKE, taken_in, NEVER, (0, 1), then=("copy", "--to", "nas", "--yes")),
    Work("intake clearing the key", copied, (*INTAKE, "--remove-sources"), cleared, NEVER, (0, 1),
         may_repeat=True, then=("copy", "--to", "nas", "--yes")),
    Work("tidy", copied, ("tidy", "main", "--yes"), tidied, NEVER, (0, 1)),
    Work("export manifest", copied, ("export", "manifest", "main", "--into-store", "--yes"),
         there("home/manifests/main.sha256", "main/scan-store.sha256"), "checksums of"),
    Work("export bag", copied, ("export", "bag", "@/bag"), there("bag/bagit.txt"), "copied and verified",
         may_repeat=True),
    Work("export csv", ordered, ("export", "csv", "orders", "@/orders.csv"), there("orders.csv"), "Wrote",
         may_repeat=True),
    Work("export holdings", ordered, ("export", "holdings", "Ada Quill", "--to", "@/page.html"), there("page.html"),
         "Wrote", may_repeat=True),
    Work("sidecar", copied, ("sidecar", "Harbour", "--yes"), there("main/Ada Quill/Harbour/0 master.xmp"), NEVER),
    Work("backup", copied, ("backup",), backup_made, "^Backup"),
    Work("recover", backed_up, ("recover", "--yes"), rows("SELECT count(*) FROM order_line", (1,)), "is back",
         (0, 1), may_repeat=True),
    Work("edition set", copied, ("edition", "set", "Harbour", "--limit", "10"),
         rows("SELECT size_limit FROM edition", (10,)), NEVER),
    Work("order add", copied, ("order", "add", "Harbour", "--size", "20x30", "--number", "K-1", "--yes"),
         rows("SELECT count(*) FROM order_line", (1,)), NEVER, (0, 1), may_repeat=True),
    Work("order sheet", ordered, ("order", "sheet", "K-1", "--copy"), there("home/sheets/jobs/*/*.html"), NEVER,
         (0, 1)),
    Work("piece set", copied, ("piece", "set", "Harbour", "--year", "1999"),
         rows("SELECT year FROM piece", ("1999",)), NEVER),
    Work("artist set", copied, ("artist", "set", "Ada Quill", "--contact", "by post"),
         rows("SELECT contact FROM artist", ("by post",)), NEVER),
)
