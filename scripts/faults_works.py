"""The commands that ``faults.py`` lets fail, the archives they work on, and what must hold once they are done."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import faults_states as states
from faults_archive import STORES, Archive, Before, Preparation
from faults_states import INTAKE, arguments

from catalogue.records.backup import condition

if TYPE_CHECKING:
    from faults_run import Run

Check = Callable[[Archive], str]
NEVER = "(?!)"  # prints no word of success that a failure could share
DONE = (r"(?i)recorded|is in its place|has its new name|is kept|was kept|stays|are done|is done|was done|is back|"
        r"are back|could not be removed|cannot be removed|was made|were made|was written|were written|copied|renamed|"
        r"was added|imported")


@dataclass(frozen=True)
class Work:
    """One command: the archive it wants, its arguments, what must hold after a good end, and the codes of one.

    ``success`` matches words that must not be said where the exit code is 2. ``may_repeat``: what was done already
    may be found done, and is not done again. ``then`` is what the messages of a failed run advise besides.
    ``frees``: it removes doubles; one removed may be on record until the next run, which then says so.
    ``stores``: it writes into a store or the ledger, so every one of its calls is to fail, not a sample.
    """

    name: str
    state: Preparation
    call: tuple[str, ...]
    wrong: Check
    success: str = NEVER
    codes: tuple[int, ...] = (0,)
    may_repeat: bool = False
    then: tuple[tuple[str, ...], ...] = ()
    stores: bool = False
    recovers: bool = False
    frees: bool = False

    def arguments(self, archive: Archive) -> list[str]:
        return arguments(self.call, archive)

    def untrue(self, archive: Archive, before: Before, done: "Run") -> list[str]:
        """Words that do not fit what happened."""
        wrong = self.wrong(archive)
        found = []
        if done.code not in (0, 1, 2) and done.code >= 0:
            found.append(f"it ended with {done.code}")
        if done.code == 0 and wrong:
            found.append(f"it ended with 0, but {wrong}")
        if done.code == 2 and re.search(self.success, done.out):
            found.append("it failed and speaks of success")
        if done.code >= 2 and not done.err.strip():
            found.append("it failed without a word")
        changed = archive.pictures() != before.pictures or archive.statements() > before.statements
        if re.search("nothing was (changed|moved|written|copied|recorded|noted|renamed)", done.told, re.IGNORECASE) \
                and done.code != 0 and changed:
            found.append("it says that nothing was done, and something was")
        if done.code == 2 and changed and not wrong and not re.search(DONE, done.told):
            found.append("it failed after all was done, and does not say that it was")
        return found


def rows(sql: str, *wanted: tuple[object, ...]) -> Check:
    """That a question to the catalogue has this answer."""
    def check(archive: Archive) -> str:
        found = archive.ask(sql)
        return "" if found == list(wanted) else f"{sql} gives {found}"
    return check


def there(*names: str) -> Check:
    def check(archive: Archive) -> str:
        return "; ".join(f"{name} is not there" for name in names if not list(archive.folder.glob(name)))
    return check


def both(*checks: Check) -> Check:
    def check(archive: Archive) -> str:
        return "; ".join(filter(None, (one(archive) for one in checks)))
    return check


def same_stores(archive: Archive) -> str:
    now = archive.contents()
    return "" if now.get("main") == now.get("nas") else "the stores differ"


def restored(archive: Archive) -> str:
    target = archive.folder / states.MASTERS / "0 master.tif"
    good = archive.folder / "nas" / "Ada Quill" / "Harbour" / "0 master.tif"
    if not target.is_file() or target.read_bytes() != good.read_bytes():
        return "the good bytes are not there"
    return rows("SELECT count(*) FROM finding WHERE kind = 'changed' AND resolved IS NULL", (0,))(archive)


def taken_in(archive: Archive) -> str:
    now, key = archive.pictures(), {sha for path, sha in archive.pictures().items() if path.startswith("key")}
    for top in STORES:
        counts = [sum(sha == s for path, s in now.items() if path.startswith(top)) for sha in key]
        if any(count != 1 for count in counts):
            return f"in {top} the new scans lie {counts} times"
    return rows("SELECT count(*) FROM file", (8,))(archive)


def cleared(archive: Archive) -> str:
    return "the key is not empty" if list((archive.folder / "key").glob("*.tif")) else \
        rows("SELECT count(*) FROM file", (8,))(archive)


def doubles(count: int) -> Check:
    def wrong(archive: Archive) -> str:
        found = [path for path in archive.pictures() if path.endswith(("/0 again.tif", "/0 master.tif"))
                 and path.startswith("main")]
        listed = archive.ask("SELECT count(*) FROM file WHERE store_id = 1 AND path LIKE '%0 %'")[0][0]
        return "" if len(found) == listed == count else f"there are {found}, {listed} on record"
    return wrong


def names_as_on_record(archive: Archive, fitting: Callable[[str], bool]) -> str:
    names = [path for path in archive.pictures() if path.startswith("main")]
    if len(names) != 2 or not all(map(fitting, names)):
        return f"the names are {names}"
    listed = [f"main/{row[0]}" for row in archive.ask("""SELECT path FROM file WHERE state = 'present'
                                                       AND store_id = 1 ORDER BY path""")]
    return "" if listed == sorted(names) else f"on record are {listed}"


def tidied(archive: Archive) -> str:
    return names_as_on_record(archive, lambda name: " - master - " in name)


def not_tidied(archive: Archive) -> str:
    return names_as_on_record(archive, lambda name: name.endswith(("/0 master.tif", "/1 master.tif")))


def backup_made(archive: Archive) -> str:
    made = sorted((archive.home / "backups").glob("catalogue-*.sqlite"))
    faults = [fault for one in made for fault in condition(one).faults]
    return str(faults) if faults else "" if made else "there is no backup"


def nas_here(archive: Archive) -> str:
    return rows("SELECT root FROM store WHERE name = 'nas'", (str(archive.folder / "nas"),))(archive)


def of_piece(column: str, *wanted: object) -> Check:
    return rows(f"SELECT {column} FROM piece ORDER BY id", *((one,) for one in wanted))


ORDERED = "SELECT count(*) FROM order_line"
SPLIT_OFF = "=SELECT substr(s.sha256, 1, 16) FROM scan s JOIN file f ON f.scan_id = s.id WHERE f.path LIKE '%/1 %'"
FIRST, SECOND = "=SELECT min(id) FROM piece", "=SELECT max(id) FROM piece"
COPY_AGAIN: tuple[tuple[str, ...], ...] = (("copy", "--to", "nas", "--yes"),)
VERDICT = "SELECT verdict FROM likeness_verdict"

WORKS = (
    Work("store add", states.bare, ("store", "add", "main", "@/main", "--marker"),
         rows("SELECT name FROM store", ("main",)), "Added", may_repeat=True, stores=True),
    Work("store move", states.on_another_mount, ("store", "move", "nas", "@/nas"), nas_here, "lies at",
         may_repeat=True),
    Work("store retire", states.copied, ("store", "retire", "nas", "--yes"),
         rows("SELECT forgotten IS NULL FROM store WHERE name = 'nas'", (0,)), "left out", may_repeat=True),
    Work("index", states.backed_up_today, ("index",), rows("SELECT count(*) FROM file", (2,)), codes=(0, 1),
         stores=True),
    Work("copy", states.indexed, ("copy", "--to", "nas", "--yes"), same_stores, "up to date", stores=True),
    Work("audit", states.copied, ("audit",), rows("SELECT count(*) FROM file WHERE checked_at IS NULL", (0,)),
         codes=(0, 1)),
    Work("audit the log", states.ordered, ("audit", "--log"),
         rows("SELECT count(*) FROM event WHERE detail LIKE 'event log reviewed%'", (1,)), "The chain holds",
         may_repeat=True),
    Work("restore", states.damaged, ("restore", "main:Ada Quill/Harbour/0 master.tif", "--yes"), restored, "Restored",
         may_repeat=True, then=(("audit",),), stores=True),
    Work("intake", states.copied, INTAKE, taken_in, codes=(0, 1), then=COPY_AGAIN, stores=True),
    Work("intake clearing the key", states.copied, (*INTAKE, "--remove-sources"), cleared, codes=(0, 1),
         may_repeat=True, then=(*COPY_AGAIN, (*INTAKE, "--remove-sources")), stores=True),
    Work("doubles --free", states.doubled, ("doubles", "main", "--free", "--yes"), doubles(1), codes=(0, 1),
         may_repeat=True, stores=True, frees=True),
    Work("doubles --undo", states.freed, ("doubles", "--undo", "@/home/undo/*.jsonl"), doubles(2), codes=(0, 1),
         may_repeat=True, stores=True),
    Work("tidy", states.confirmed, ("tidy", "main", "--yes"), tidied, codes=(0, 1), stores=True),
    Work("tidy, cut short before", states.tidied_by_halves, ("tidy", "main", "--yes"), tidied, codes=(0, 1),
         stores=True),
    Work("tidy --undo", states.tidied, ("tidy", "--undo", "@/home/undo/*.jsonl"), not_tidied, codes=(0, 1),
         stores=True),
    Work("recover", states.catalogue_damaged, ("recover", "--yes"), rows(ORDERED, (2,)), "is back", (0, 1),
         may_repeat=True, stores=True, recovers=True),
    Work("recover --from", states.with_backup, ("recover", "--from", "@/home/backups/*.sqlite", "--yes"),
         both(rows(ORDERED, (2,)), rows("SELECT count(*) FROM event WHERE type = 'recovery'", (1,))), "is back", (0, 1),
         may_repeat=True, recovers=True),
    Work("recover --rebuild", states.catalogue_gone, ("recover", "--rebuild", "@/main", "@/nas", "--yes"),
         both(rows(ORDERED, (2,)), rows("SELECT count(*) FROM file", (4,))), "no event is lost", (0, 1),
         may_repeat=True, recovers=True, then=(("index",),)),
    Work("backup", states.copied, ("backup",), backup_made, "^Backup", stores=True),
    Work("backup --also", states.ordered, ("backup", "--also", "@/other"),
         both(backup_made, there("other/catalogue-*.sqlite", "other/ledger/orders.csv")), "^Backup"),
    Work("order add", states.numbered, ("order", "add", "Harbour", "--size", "20x30", "--number", "K-1", "--yes"),
         rows(ORDERED, (1,)), codes=(0, 1), may_repeat=True, stores=True),
    Work("order repeat", states.ordered, ("order", "repeat", "K-1", "--number", "K-2", "--yes"),
         rows("SELECT count(*) FROM order_line WHERE repeat_of IS NOT NULL", (1,)), codes=(0, 1), may_repeat=True,
         stores=True),
    Work("order status", states.ordered, ("order", "status", "K-1", "printed"),
         rows("SELECT status FROM orders", ("printed",)), may_repeat=True, stores=True),
    Work("order handover", states.ordered, ("order", "handover", "K-1", "--quantity", "1"),
         rows("SELECT quantity FROM handover", (1,)), may_repeat=True, stores=True),
    Work("order correct", states.ordered, ("order", "correct", "K-1", "--buyer", "Bea"),
         rows("SELECT buyer FROM orders", ("Bea",)), may_repeat=True, stores=True),
    Work("order change", states.with_buyers,
         ("order", "change", "K-1", "K-2", "--state", "printed", "--unit-price", "7"),
         rows("SELECT o.status, l.price FROM orders o JOIN order_line l ON l.order_id = o.id ORDER BY o.number",
              ("printed", "14.00"), ("printed", "7.00")), may_repeat=True, stores=True),
    Work("buyer set", states.with_buyers, ("buyer", "set", "ann tarn", "--contact", "by post"),
         rows("SELECT contact FROM buyer_stated", ("by post",)), may_repeat=True),
    Work("buyer merge", states.with_buyers, ("buyer", "merge", "A. Tarn", "--into", "Ann Tarn"),
         rows("SELECT DISTINCT buyer FROM order_buyer", ("ann tarn",)), may_repeat=True),
    Work("order sheet", states.ordered, ("order", "sheet", "K-1", "--copy"),
         there("home/sheets/jobs/*/*.html", "home/sheets/jobs/*/*.txt", "home/sheets/jobs/*/*.tif"), codes=(0, 1),
         stores=True),
    Work("print", states.ordered, ("print", "K-1", "--to", "@/home", "--marks"),
         both(there("home/K-1-1 *.tif"), rows("SELECT DISTINCT line_id FROM print_file", (1,))), may_repeat=True,
         stores=True),
    Work("recipe --record", states.with_old_print,
         ("recipe", "Ada Quill/Meadow/print 61x46.tif", "--record", "--yes"),
         rows("SELECT count(*) FROM print_recipe", (1,)), may_repeat=True),
    Work("edition set", states.copied, ("edition", "set", "Harbour", "--limit", "10"),
         rows("SELECT size_limit FROM edition", (10,)), may_repeat=True),
    Work("edition close", states.numbered, ("edition", "close", "1"), rows("SELECT closed = '' FROM edition", (0,)),
         may_repeat=True),
    Work("edition move", states.printed, ("edition", "move", "1", "1", "--to", "consigned", "--holder", "Umberlow"),
         rows("SELECT place, holder FROM print_move", ("consigned", "Umberlow")), may_repeat=True),
    Work("edition destroy", states.printed, ("edition", "destroy", "1", "1", "--reason", "torn"),
         rows("SELECT count(*) FROM edition_print WHERE destroyed <> ''", (1,)), "Recorded", may_repeat=True),
    Work("edition certificates", states.ordered,
         ("edition", "certificates", "1", "--csv", "@/list.csv", "--html", "@/list.html"),
         there("list.csv", "list.html"), "Wrote", may_repeat=True),
    Work("import", states.with_tables, ("import", "@/orders.csv", "--as", "orders"),
         rows("SELECT number FROM orders ORDER BY number", ("K-1",), ("K-9",)), codes=(0, 1), may_repeat=True),
    Work("alike", states.copied, ("alike",), rows("SELECT count(*) FROM likeness", (1,)), codes=(0, 1)),
    Work("alike confirm", states.compared, ("alike", "confirm", "1"), rows(VERDICT, ("confirmed",))),
    Work("alike reject", states.compared, ("alike", "reject", "1"), rows(VERDICT, ("rejected",))),
    Work("alike reopen", states.judged, ("alike", "reopen", "1"), rows(VERDICT, )),
    Work("alike merge", states.two_pieces, ("alike", "merge", FIRST, SECOND), of_piece("title", "Harbour"),
         may_repeat=True),
    Work("alike split", states.copied, ("alike", "split", FIRST, SPLIT_OFF, "--title", "Quay"),
         of_piece("title", "Harbour", "Quay"), may_repeat=True),
    Work("alike undo", states.merged_long_ago, ("alike", "undo", "1"),
         rows("SELECT undone IS NULL FROM piece_change", (0,)), "Undone", may_repeat=True),
    Work("piece set", states.copied, ("piece", "set", "Harbour", "--year", "1999"), of_piece("year", "1999")),
    Work("piece confirm", states.copied, ("piece", "confirm", "Harbour"),
         rows("SELECT title FROM piece_stated WHERE title IS NOT NULL", ("Harbour",)), may_repeat=True),
    Work("piece merge", states.two_pieces, ("piece", "merge", "Quay", "--into", "Harbour"),
         of_piece("title", "Harbour"), may_repeat=True),
    Work("piece split", states.copied, ("piece", "split", "Harbour", "--scan", SPLIT_OFF, "--title", "Quay"),
         of_piece("title", "Harbour", "Quay"), may_repeat=True),
    Work("scan set", states.copied, ("scan", "set", "1 master.tif", "--role", "reference"),
         rows("SELECT role FROM scan ORDER BY role", ("master",), ("reference",))),
    Work("artist set", states.copied, ("artist", "set", "Ada Quill", "--contact", "by post"),
         rows("SELECT contact FROM artist", ("by post",))),
    Work("artist terms", states.copied, ("artist", "terms", "Ada Quill", "--percent", "40"),
         rows("SELECT rate FROM artist_terms", ("40",)), may_repeat=True),
    Work("statement", states.with_terms, ("statement", "Ada Quill", "--month", "2026-01", "--to-file", "@/owed.html",
                                          "--to-file", "@/owed.csv"),
         both(rows("SELECT first, last FROM artist_statement", ("2026-01-01", "2026-01-31")),
              there("owed.html", "owed.csv")), "Wrote", may_repeat=True),
    Work("artist rename", states.copied, ("artist", "rename", "Ada Quill", "Ada Quillon"),
         rows("SELECT name FROM artist", ("Ada Quillon",)), may_repeat=True),
    Work("artist merge", states.two_pieces, ("artist", "merge", "Cy Lund", "--into", "Ada Quill"),
         rows("SELECT name FROM artist", ("Ada Quill",)), may_repeat=True),
    Work("artist also", states.two_pieces, ("artist", "also", "Ada Quill", "A. Q."),
         rows("SELECT known_key FROM artist_stated WHERE known_key = 'a q'", ("a q",)), may_repeat=True),
    Work("refile", states.under_other_rules, ("refile", "--yes"), of_piece("title", "Ada Quill"), "filed anew",
         may_repeat=True),
    Work("refile --undo", states.refiled, ("refile", "--undo"), of_piece("title", "Harbour"), "are back",
         may_repeat=True),
    Work("undo", states.dated, ("undo",), of_piece("year", ""), may_repeat=True),
    Work("rescan --note", states.copied, ("rescan", "Harbour", "--note", "light=left"),
         rows("SELECT count(*) FROM scan WHERE capture LIKE '%left%'", (1,))),
    Work("levels --answer", states.copied, ("levels", "--answer", "places", "yes, two rooms"),
         rows("SELECT count(*) FROM answer", (1,))),
    Work("findings --accept", states.copied,
         ("findings", "--accept", "=SELECT min(id) FROM finding WHERE kind = 'no profile'", "--why", "as it came"),
         rows("SELECT count(*) FROM finding WHERE resolved IS NOT NULL AND kind = 'no profile'", (1,)), "Closed",
         may_repeat=True),
    Work("export manifest", states.copied, ("export", "manifest", "main", "--into-store", "--yes"),
         there("home/manifests/main.sha256", "main/scan-store.sha256"), "checksums of"),
    Work("export bag", states.copied, ("export", "bag", "@/bag"), there("bag/bagit.txt"), "copied and verified",
         may_repeat=True),
    Work("export csv", states.ordered, ("export", "csv", "orders", "@/orders.csv"), there("orders.csv"), "Wrote",
         may_repeat=True),
    Work("export holdings", states.ordered, ("export", "holdings", "Ada Quill", "--to", "@/page.html"),
         there("page.html"), "Wrote", may_repeat=True),
    Work("sidecar", states.copied, ("sidecar", "Harbour", "--yes"), there("main/Ada Quill/Harbour/0 master.xmp"),
         codes=(0, 1)),
    Work("sidecar --into-copy", states.copied, ("sidecar", "Harbour", "--into-copy", "@/copies", "--yes"),
         there("copies/0 master.tif", "copies/1 master.tif"), codes=(0, 1), may_repeat=True),
    Work("demo", states.with_demo_archive,
         ("--catalogue", "@/demo", "demo", "--archive", "@/archive", "--no-screens"), there("demo/catalogue.sqlite"),
         "Look around"),
)

# Commands that change nothing, and why: whatever else there is must be among the works above.
ONLY_READ = {
    "": "opens the screens, which write through the same operations as the commands",
    "find": "asks the catalogue, opened to read alone", "show": "asks the catalogue, opened to read alone",
    "history": "asks the catalogue, opened to read alone", "store list": "asks the catalogue, opened to read alone",
    "order list": "asks the catalogue, opened to read alone", "order show": "asks the catalogue, opened to read alone",
    "artist list": "asks the catalogue, opened to read alone",
    "scan list": "asks the catalogue, opened to read alone",
    "artist show": "asks the catalogue, opened to read alone",
    "buyer list": "asks the catalogue, opened to read alone", "buyer show": "asks the catalogue, opened to read alone",
    "edition list": "asks the catalogue, opened to read alone",
    "edition where": "asks the catalogue, opened to read alone",
    "edition show": "asks the catalogue, opened to read alone",
    "alike changes": "asks the catalogue, opened to read alone",
    "alike tiles": "computes a map from what is on record",
    "doctor": "looks at program, machine and catalogue", "completion": "prints a script",
}
# Options that make another thing of a command, each to be struck in a work of its own.
MORE_WAYS = ("audit --log", "backup --also", "findings --accept", "intake --remove-sources", "levels --answer",
             "recover --from", "recover --rebuild", "refile --undo", "rescan --note", "sidecar --into-copy",
             "doubles --undo", "tidy --undo")


def command_of(call: Sequence[str], known: Sequence[str]) -> str:
    """Which command of ``known`` a work calls: its first words, options before it left out."""
    words = list(call[2:] if call and call[0] == "--catalogue" else call)
    return next((name for name in (" ".join(words[:2]), words[0]) if name in known), "")
