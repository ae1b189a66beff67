"""The archive that ``faults.py`` lets commands work on, in the states they want, and what must hold afterwards."""

import csv
import hashlib
import json
import re
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from catalogue.errors import CatalogueError
from catalogue.fixity.bag_check import check_bag
from catalogue.progress import ignore_progress, never_cancelled
from catalogue.records import events, journal
from catalogue.records.backup import condition
from catalogue.records.database import Database, open_database
from catalogue.records.replay import differences
from catalogue.records.transactions import recovered_path, transaction
from catalogue.storage.atomic import PART_PREFIX
from catalogue.storage.folders import MARKER

STORES = ("main", "nas")
NOT_THERE = " is on record and not there"
NO_CATALOGUE_YET = "no catalogue yet"
KNOWN = "known contents"
# what a store may hold besides pictures
OURS = re.compile(r"\.scan-store\.json|scan-store\.sha256|.*\.xmp|\.catalogue-part-.*")
# what is derived, is made anew when it is wanted next, and its temporary file removed then
SWEPT_LATER = re.compile(r"/home/(features|previews)/")


@dataclass(frozen=True)
class Before:
    """What was there before a command: contents by store and of the key, paths, and the last event."""

    contents: dict[str, set[str]]
    pictures: dict[str, str]
    last_event: int
    last_chain: str
    statements: int
    sound: bool


@dataclass(frozen=True)
class Archive:
    """Two stores, a key of new scans and a catalogue, all below one folder."""

    folder: Path

    @property
    def home(self) -> Path:
        return self.folder / "home"

    @property
    def database(self) -> Path:
        return self.home / "catalogue.sqlite"

    def keep_as(self, snapshot: Path) -> None:
        """Copy the archive aside. Where files lie is forgotten first, for their inodes are others in each copy."""
        if self.database.exists() and not condition(self.database).faults:
            db = open_database(self.database)
            with transaction(db):
                db.execute("DELETE FROM store_place")
                db.execute("DELETE FROM file_place")
            db.close()
        shutil.copytree(self.folder, snapshot, symlinks=True)

    def begin_from(self, snapshot: Path) -> None:
        """Become what was kept, at the same place, so that every path on record fits."""
        shutil.rmtree(self.folder, ignore_errors=True)
        shutil.copytree(snapshot, self.folder, symlinks=True)

    def pictures(self) -> dict[str, str]:
        """Path to SHA-256 of every picture in the stores and on the key, hidden ones left out."""
        return {str(p.relative_to(self.folder)): hashlib.sha256(p.read_bytes()).hexdigest()
                for top in (*STORES, "key") for p in sorted((self.folder / top).rglob("*"))
                if p.is_file() and not p.name.startswith(".") and (p.suffix == ".tif" or ".damaged-" in p.name)}

    def contents(self) -> dict[str, set[str]]:
        """Contents by store, and of the key."""
        held: dict[str, set[str]] = {}
        for path, sha256 in self.pictures().items():
            held.setdefault(path.split("/")[0], set()).add(sha256)
        return held

    def keep_contents(self) -> None:
        """Take every picture as it is now for one that may be met later."""
        known = self.folder / KNOWN
        before = known.read_text().split() if known.exists() else []
        known.write_text("\n".join(sorted({*before, *self.pictures().values()})))

    def ask(self, sql: str) -> list[tuple[object, ...]]:
        """Rows of the catalogue; none where there is no catalogue yet, or none that can be read."""
        if not self.database.exists():
            return []
        with closing(sqlite3.connect(f"{self.database.as_uri()}?mode=ro", uri=True)) as connection:
            try:
                return [tuple(row) for row in connection.execute(sql).fetchall()]
            except sqlite3.DatabaseError as error:
                return [(str(error),)]

    def before(self) -> Before:
        """What :meth:`lost` compares with."""
        last = self.ask("SELECT id, chain FROM event ORDER BY id DESC LIMIT 1")
        count = self.ask("SELECT count(*) FROM event WHERE change <> ''")
        readable = bool(last) and len(last[0]) == 2
        return Before(self.contents(), self.pictures(), int(str(last[0][0])) if readable else 0,
                      str(last[0][1]) if readable else "", _number(count),
                      not self.database.exists() or not condition(self.database).faults)

    def statements(self) -> int:
        """How many statements the event log has."""
        return _number(self.ask("SELECT count(*) FROM event WHERE change <> ''"))

    def lost(self, before: Before, *, same_log: bool = True, ended: bool = False) -> list[str]:
        """Contents that are not where they were; catalogues, logs and ledgers that are not sound.

        ``same_log``: the event log must go on from where it was; after a recovery it need not. ``ended``: a run came to
        its end since, so that the journal must say what the log says, and no temporary file is left.
        """
        now = self.contents()
        lost = [f"{len(gone)} contents of {top}" for top, held in before.contents.items()
                if (gone := held - now.get(top, set())) and not (top == "key" and all(
                    sum(sha in now.get(store, ()) for store in STORES) == 2 for sha in gone))]
        if not self.database.exists() or recovered_path(self.database).exists():
            return lost  # a recovery cut short says by itself that it must be finished
        with closing(sqlite3.connect(self.database)) as connection, suppress(sqlite3.DatabaseError):
            connection.execute("SELECT 1 FROM sqlite_schema")  # what a kill left half written is taken back
        faults = condition(self.database).faults
        if faults == ("it holds no catalogue",) and (self.folder / NO_CATALOGUE_YET).exists():
            return lost  # the first command was cut short before it had made one
        if faults and not (before.sound or ended):
            return lost  # as damaged as it was; a recovery that failed has left it alone
        if faults:
            return [*lost, *(f"catalogue: {fault}" for fault in faults)]
        db = open_database(self.database)
        try:
            lost += self._ledger(db)
            if same_log and before.last_event and events.by_id(db, before.last_event) is None:
                lost.append(f"event {before.last_event} is gone")
            if ended:
                with suppress(CatalogueError):  # as the next statement does; one killed just before its line is behind
                    journal.append_new(db, self.database)
                lost += journal.check(db, self.database)
        finally:
            db.close()
        return [*lost, *(f"{path.relative_to(self.folder)} is left over" for path in self.folder.rglob("*")
                         if ended and path.name.startswith(PART_PREFIX) and not SWEPT_LATER.search(str(path)))]

    def _ledger(self, db: Database) -> list[str]:
        lost = ["the event log's chain is broken"] if list(events.broken_links(db)) else []
        lost += [f"ledger: {one}" for one in differences(db)]
        bare = db.execute("""SELECT count(*) FROM orders o WHERE NOT EXISTS (
                             SELECT 1 FROM order_line l WHERE l.order_id = o.id)""").fetchone()[0]
        if bare:
            lost.append("an order without its lines")
        present = db.execute("""SELECT s.root, f.path FROM file f JOIN store s ON s.id = f.store_id
                                WHERE f.state = 'present'""").fetchall()
        return [*lost, *(f"{path}{NOT_THERE}" for root, path in present
                         if not (Path(root) / path).is_file())]

    def half(self) -> list[str]:
        """Files under a final name that are not whole, and files that no command should have put into a store."""
        known = set((self.folder / KNOWN).read_text().split())
        half = [f"{path} has bytes that never were" for path, sha256 in self.pictures().items() if sha256 not in known]
        for path in self.folder.rglob("*"):
            if path.is_file() and PART_PREFIX not in str(path) and (fault := _fault(path)):
                half.append(f"{path.relative_to(self.folder)}: {fault}")
        for store in STORES:
            half += [f"{path.relative_to(self.folder)} is nothing a store should hold"
                     for path in (self.folder / store).rglob("*") if path.is_file() and path.suffix != ".tif"
                     and ".damaged-" not in path.name and not OURS.fullmatch(path.name)]
        bag = self.folder / "bag"
        if bag.is_dir():
            half += [f"bag: {problem}" for problem in check_bag(bag, report=ignore_progress, cancelled=never_cancelled)]
        return half


def _number(rows: list[tuple[object, ...]]) -> int:
    return rows[0][0] if rows and isinstance(rows[0][0], int) else 0


def _fault(path: Path) -> str:
    """What is wrong with a small file of ours; pictures and databases are looked at elsewhere."""
    try:
        if path.name == MARKER:
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
        elif path.parent.name == "backups" and path.suffix == ".sqlite":
            return "; ".join(condition(path).faults)
    except (OSError, ValueError, ElementTree.ParseError) as error:
        return f"cannot be read: {error}"
    return ""


Preparation = Callable[[Archive], None]
_BEFORE: dict[Preparation, Preparation] = {}


def after(before: Preparation) -> Callable[[Preparation], Preparation]:
    """Say which state a preparation begins from."""
    def note(preparation: Preparation) -> Preparation:
        _BEFORE[preparation] = before
        return preparation
    return note


@dataclass
class States:
    """Archives prepared once and kept aside, to begin from again and again."""

    folder: Path
    now: Archive
    kept: dict[Preparation, Path]

    def begin(self, preparation: Preparation) -> None:
        """Bring the archive into a state, prepared at its first use."""
        if preparation not in self.kept:
            shutil.rmtree(self.now.folder, ignore_errors=True)
            if preparation in _BEFORE:
                self.begin(_BEFORE[preparation])
            preparation(self.now)
            snapshot = self.folder / f"state {len(self.kept)}"
            self.now.keep_as(snapshot)
            self.kept[preparation] = snapshot
        self.now.begin_from(self.kept[preparation])
