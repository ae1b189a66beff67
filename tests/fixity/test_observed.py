"""What may happen to a file, and what each way of looking at it must then say.

Every row was written by hand from the rule: what was observed is added to, never blanked. Known content stays until
other content was read whole; a look that failed counts as no copy and is repeated; findings speak only of what was
looked at. ``A`` is the content that was indexed and copied, ``B`` a whole other one, ``copies`` counts stores.
"""

import builtins
import errno
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from fixity_shop import Shop, rot, threads

from catalogue.errors import CatalogueError
from catalogue.fixity import copies as copying
from catalogue.fixity import restore
from catalogue.fixity.advice import accept
from catalogue.indexing.service import index
from catalogue.reading.model import Fault
from catalogue.records import copies, files, findings, fixity, pieces, scans
from catalogue.records.database import open_database
from catalogue.records.fixity import wanted_by
from catalogue.settings import Home
from tests.copies import copy_shop
from tests.files import write_scan

MASTER, MOVED, TWIN = ("Ada Quill/Harbour/master.tif", "Ada Quill/Old/was the master.tif",
                       "Ada Quill/Harbour/a twin.tif")
Scan = Callable[..., Path]


@dataclass
class World:
    shop: Shop
    scan: Scan
    master: Path
    contents: dict[str, str]     # SHA-256 to its name here

    def content(self, path: str, store: str = "main") -> str:
        file = files.by_path(self.shop.db, self.shop.store(store).id, path)
        if file is None:
            return "no row"
        scan = scans.by_id(self.shop.db, file.scan_id) if file.scan_id else None
        return self.contents.get(scan.sha256, "other") if scan else "none"

    def state(self, path: str) -> str:
        file = files.by_path(self.shop.db, self.shop.store().id, path)
        return file.state if file else "no row"

    def copies(self, name: str) -> int:
        sha256 = next(sha for sha, called in self.contents.items() if called == name)
        scan = scans.by_digest(self.shop.db, sha256)
        return copies.of_scan(self.shop.db, scan.id).stores if scan else 0

    def edited(self) -> None:
        """A person saves another picture under the name; B is what it holds from then on."""
        self.scan("main/" + MASTER, seed=77)
        os.utime(self.master, ns=(5, 5))


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("world")
    home = Home(folder / "catalogue home")
    with closing(open_database(home.database)) as db:
        shop = Shop(db, home, folder)
        shop.add("main")
        write_scan(folder / "main" / MASTER, seed=1)
        shop.index()
        shop.add("nas", "copy")
        copying.copy_to(db, home, shop.store("nas"), wanted_by(db, shop.store("nas")))
    write_scan(folder / "elsewhere.tif", seed=77)
    return folder


@pytest.fixture
def shop(built: Path, home: Home, tmp_path: Path) -> Iterator[Shop]:
    copy_shop(built, tmp_path, home)
    with closing(open_database(home.database)) as db:
        yield Shop(db, home, tmp_path)


@pytest.fixture
def world(shop: Shop, scan: Scan, tmp_path: Path) -> World:
    master = tmp_path / "main" / MASTER
    return World(shop, scan, master, {digest(master): "A", digest(tmp_path / "elsewhere.tif"): "B"})


def digest(path: Path) -> str:
    import hashlib

    return hashlib.sha256(path.read_bytes()).hexdigest()


@contextmanager
def refusing(path: Path, number: int) -> Iterator[None]:
    """Opening ``path`` fails with this errno; made here, for a superuser may open anything."""
    real_open, real_os_open = builtins.open, os.open

    def refused(wanted: object) -> bool:
        return not isinstance(wanted,
                              int) and os.fspath(wanted) == str(path)  # type: ignore[call-overload,no-any-return]

    def python_open(file: object, *given: object, **named: object) -> object:
        if refused(file):
            raise OSError(number, os.strerror(number), str(path))
        return real_open(file, *given, **named)  # type: ignore[call-overload]

    def os_open(file: object, *given: object, **named: object) -> int:
        if refused(file):
            raise OSError(number, os.strerror(number), str(path))
        return real_os_open(file, *given, **named)  # type: ignore[arg-type]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(builtins, "open", python_open)
        patch.setattr(os, "open", os_open)
        yield


# -- what may happen to the file ---------------------------------------------------------------------------------


def nothing(world: World) -> None:
    pass


def add(world: World) -> None:
    world.scan("main/Ada Quill/Harbour/more.tif", seed=77)


def move(world: World) -> None:
    target = world.shop.folder / "main" / MOVED
    target.parent.mkdir()
    world.master.rename(target)


def rename(world: World) -> None:
    world.master.rename(world.shop.folder / "main" / TWIN)


def touch(world: World) -> None:
    os.utime(world.master, ns=(9, 9))


def edit(world: World) -> None:
    world.edited()


def truncate(world: World) -> None:
    os.truncate(world.master, world.master.stat().st_size // 2)


def truncate_keeping_time(world: World) -> None:
    stat = world.master.stat()
    os.truncate(world.master, stat.st_size // 2)
    os.utime(world.master, ns=(stat.st_atime_ns, stat.st_mtime_ns))


def empty(world: World) -> None:
    os.truncate(world.master, 0)


def overwrite(world: World) -> None:
    world.master.write_text("Dear printer, this is no picture.")


def flip(world: World) -> None:
    rot(world.master, world.master.stat().st_size // 2)


def delete(world: World) -> None:
    world.master.unlink()


def clone(world: World) -> None:
    shutil.copy2(world.master, world.shop.folder / "main" / TWIN)


def delete_beside_a_touched_twin(world: World) -> None:
    clone(world)
    world.shop.index()
    world.master.unlink()
    os.utime(world.shop.folder / "main" / TWIN, ns=(9, 9))


def refuse_once(world: World) -> None:
    with refusing(world.master, errno.EACCES):
        LOOKS["again"](world)
        LOOKS["audit"](world)


def fail_once(world: World) -> None:
    with refusing(world.master, errno.EIO):
        LOOKS["audit"](world)


def kill_the_reader_once(world: World) -> None:
    from catalogue.indexing import workers

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(workers, "read_one", lambda path: workers.crashed(path, lambda: None, Exception))
        LOOKS["again"](world)


def empty_for_a_while(world: World) -> None:
    stat, data = world.master.stat(), world.master.read_bytes()
    empty(world)
    LOOKS["index"](world)
    world.master.write_bytes(data)
    os.utime(world.master, ns=(stat.st_atime_ns, stat.st_mtime_ns))


def flip_for_a_while(world: World) -> None:
    flip(world)
    LOOKS["audit"](world)
    flip(world)


def delete_for_a_while(world: World) -> None:
    aside = world.shop.folder / "aside.tif"
    world.master.rename(aside)
    LOOKS["index"](world)
    aside.rename(world.master)


def edit_and_take_back(world: World) -> None:
    stat, data = world.master.stat(), world.master.read_bytes()
    edit(world)
    LOOKS["index"](world)
    world.master.write_bytes(data)
    os.utime(world.master, ns=(stat.st_atime_ns, stat.st_mtime_ns + 1_000_000_000))


def unplug(world: World) -> None:
    (world.shop.folder / "main").rename(world.shop.folder / "unplugged")


def put_a_wrong_disk_in(world: World) -> None:
    unplug(world)
    (world.shop.folder / "main").mkdir()
    (world.shop.folder / "main" / "something else.tif").write_bytes(b"II*\0")


# -- how it may be looked at -------------------------------------------------------------------------------------


def look_index(world: World, again: bool = False) -> None:
    shop = world.shop
    index(shop.db, shop.home, [shop.store()], again=again, executors=threads)
    copying.review(shop.db, shop.home.settings)


LOOKS: dict[str, Callable[[World], object]] = {
    "index": look_index,
    "again": lambda world: look_index(world, again=True),
    "audit": lambda world: world.shop.audit(),
}
ALL = ("index", "again", "audit")
READS = ("index", "again")
THOROUGH = ("again", "audit")

# what happened · how it is looked at · content known at MASTER · state · findings at MASTER · copies of A, of B
TABLE: list[tuple[Callable[[World], None], tuple[str, ...], str, str, set[str], int, int]] = [
    (nothing, ALL, "A", "present", set(), 2, 0),
    (add, READS, "A", "present", set(), 2, 1),
    (add, ("audit",), "A", "present", set(), 2, 0),
    (move, READS, "no row", "no row", set(), 2, 0),
    (move, ("audit",), "A", "missing", {"moved"}, 1, 0),
    (rename, READS, "no row", "no row", set(), 2, 0),
    (rename, ("audit",), "A", "missing", {"moved"}, 1, 0),
    (touch, ALL, "A", "present", set(), 2, 0),
    (edit, READS, "B", "present", {"edited"}, 1, 0),
    (edit, ("audit",), "A", "present", {"edited"}, 1, 0),
    (truncate, ALL, "A", "present", {"truncated"}, 1, 0),
    (truncate_keeping_time, ALL, "A", "present", {"truncated"}, 1, 0),
    (empty, ALL, "A", "present", {"empty"}, 1, 0),
    (overwrite, READS, "A", "present", {Fault.NOT_A_PICTURE}, 1, 0),
    (overwrite, ("audit",), "A", "present", {"edited"}, 1, 0),
    (flip, ("index",), "A", "present", set(), 2, 0),
    (flip, THOROUGH, "A", "present", {"changed"}, 1, 0),
    (delete, ALL, "A", "missing", {"missing"}, 1, 0),
    (clone, ALL, "A", "present", set(), 2, 0),
    (delete_beside_a_touched_twin, ALL, "A", "missing", {"missing"}, 2, 0),
    (refuse_once, ALL, "A", "present", set(), 2, 0),
    (fail_once, ALL, "A", "present", set(), 2, 0),
    (kill_the_reader_once, ALL, "A", "present", set(), 2, 0),
    (empty_for_a_while, ALL, "A", "present", set(), 2, 0),
    (flip_for_a_while, ALL, "A", "present", set(), 2, 0),
    (delete_for_a_while, ALL, "A", "present", set(), 2, 0),
    (edit_and_take_back, READS, "A", "present", set(), 2, 0),
    (edit_and_take_back, ("audit",), "B", "present", {"edited"}, 1, 0),
    (unplug, ALL, "A", "present", set(), 2, 0),
    (put_a_wrong_disk_in, ALL, "A", "present", set(), 2, 0),
]
CELLS = [(deed, look, *rest) for deed, looks, *rest in TABLE for look in looks]


@pytest.mark.parametrize(("deed", "look", "content", "state", "kinds", "of_a", "of_b"), CELLS,
                         ids=[f"{cell[0].__name__}-{cell[1]}" for cell in CELLS])
def test_what_a_look_says_of_what_happened(world: World, deed: Callable[[World], None], look: str, content: str,
                                           state: str, kinds: set[str], of_a: int, of_b: int) -> None:
    deed(world)
    LOOKS[look](world)
    said = (world.content(MASTER), world.state(MASTER), world.shop.kinds(MASTER), world.copies("A"), world.copies("B"))
    assert said == (content, state, kinds, of_a, of_b)
    if content == "A":
        listed = {row[0]: world.contents[row[1]] for row in fixity.manifest_rows(world.shop.db, world.shop.store().id)}
        assert listed[MASTER] == "A", "the manifest forgets a file"
    before = rows(world)
    LOOKS[look](world)
    LOOKS[look](world)
    assert rows(world) == before, "a repeated look adds findings, closes some or begins their time anew"


def rows(world: World) -> list[tuple[object, ...]]:
    return [tuple(row) for row in world.shop.db.execute(
        "SELECT id, kind, path, first_seen, resolved FROM finding ORDER BY id")]


@pytest.mark.parametrize("look", ALL)
@pytest.mark.parametrize("number", [errno.EACCES, errno.EIO])
def test_while_it_cannot_be_read_it_is_no_copy_and_stays_known(world: World, look: str, number: int) -> None:
    with refusing(world.master, number):
        LOOKS[look](world)
        looked = look != "index"  # size and time are unchanged: a plain run does not open it
        assert world.shop.kinds(MASTER) == ({"unreadable"} if looked else set())
        assert (world.content(MASTER), world.copies("A")) == ("A", 1 if looked else 2)
        before = rows(world)
        LOOKS[look](world)
        assert rows(world) == before
        if looked:
            LOOKS["index"](world)
            assert world.shop.kinds(MASTER) == {"unreadable"}, "what failed is tried again, and fails again"
    LOOKS["index"](world)
    assert (world.content(MASTER), world.shop.kinds(MASTER), world.copies("A")) == ("A", set(), 2)


DAMAGE = [edit, truncate, truncate_keeping_time, empty, overwrite, flip, delete, move]


@pytest.mark.parametrize("look", [None, *ALL])
@pytest.mark.parametrize("deed", DAMAGE, ids=lambda deed: deed.__name__)
def test_whatever_happened_the_known_content_can_be_restored(world: World, deed: Callable[[World], None],
                                                            look: str | None) -> None:
    shop = world.shop
    deed(world)
    if look:
        LOOKS[look](world)
    file = files.by_path(shop.db, shop.store().id, MASTER)
    if file is None:
        pytest.skip("an index run follows a file that moved")
    was = next(sha for sha, name in world.contents.items() if name == "A")
    restore.restore(shop.db, shop.home.settings, restore.plan(shop.db, file.id, shop.store("nas"), sha256=was))
    assert (world.content(MASTER), world.state(MASTER), shop.kinds(MASTER)) == ("A", "present", set())
    assert world.copies("A") == 2
    assert not findings.list_open(shop.db, kind="single copy"), "restored, it is no single copy any more"
    for again in ALL:
        LOOKS[again](world)
        assert (world.content(MASTER), shop.kinds(MASTER), world.copies("A")) == ("A", set(), 2)


@pytest.mark.parametrize("deed", [nothing, touch], ids=lambda deed: deed.__name__)
def test_what_is_sound_is_not_restored(world: World, deed: Callable[[World], None]) -> None:
    deed(world)
    with pytest.raises(CatalogueError, match="sound"):
        restore.plan(world.shop.db, world.shop.due(MASTER).id, world.shop.store("nas"))


def test_an_accepted_edit_is_what_the_file_holds_and_its_former_content_lacks_nothing(world: World) -> None:
    shop = world.shop
    (shop.folder / "nas" / MASTER).unlink()
    edit(world)
    LOOKS["index"](world)
    index(shop.db, shop.home, [shop.store("nas")], executors=threads)
    accept(shop.db, shop.home.settings, shop.finding("edited").id, "retouched")
    accept(shop.db, shop.home.settings, shop.finding("missing").id, "thinned out")
    assert (world.content(MASTER), shop.kinds(MASTER), world.copies("B")) == ("B", set(), 1)
    lacking = {f.scan_id for f in findings.list_open(shop.db, kind="single copy")}
    held = shop.due(MASTER).scan_id
    assert lacking == {held}, "a content that no file should hold any more lacks copies for ever"


def test_an_edit_accepted_before_it_was_read_is_no_copy_until_it_is(world: World) -> None:
    shop = world.shop
    edit(world)
    LOOKS["audit"](world)
    accept(shop.db, shop.home.settings, shop.finding("edited").id, "retouched")
    assert (world.content(MASTER), world.copies("A")) == ("A", 1)
    LOOKS["index"](world)
    assert (world.content(MASTER), shop.kinds(MASTER), world.copies("A"), world.copies("B")) == ("B", set(), 1, 1)


@pytest.mark.parametrize("deed", [edit, touch, truncate, empty], ids=lambda deed: deed.__name__)
def test_what_has_another_size_or_time_is_no_copy_until_it_is_read(world: World,
                                                                   deed: Callable[[World], None]) -> None:
    """The run is stopped between looking and reading: what was seen speaks against the content on record."""
    shop = world.shop
    deed(world)
    stages: list[str] = []
    index(shop.db, shop.home, [shop.store()], executors=threads, report=lambda done: stages.append(done.stage),
          cancelled=lambda: "Reading main" in stages)
    assert (world.content(MASTER), world.state(MASTER), shop.kinds(MASTER)) == ("A", "present", set())
    assert world.copies("A") == 1
    LOOKS["index"](world)
    assert world.copies("A") == (2 if deed is touch else 1)


def test_a_file_that_came_back_altered_is_an_edit_though_its_former_content_lies_elsewhere(world: World) -> None:
    """Back at its place it has not moved, and the file elsewhere is a copy."""
    aside = world.shop.folder / "aside.tif"
    world.master.rename(aside)
    LOOKS["index"](world)
    edit(world)
    earlier = "Ada Quill/A copy/master.tif"  # read before it: files are read in the order of their paths
    (world.shop.folder / "main" / earlier).parent.mkdir()
    aside.rename(world.shop.folder / "main" / earlier)
    LOOKS["index"](world)
    assert (world.content(MASTER), world.content(earlier)) == ("B", "A")
    assert world.shop.kinds(MASTER) == {"edited"}


def test_an_accepted_edit_that_was_away_for_a_while_is_not_told_again(world: World) -> None:
    shop, aside = world.shop, world.shop.folder / "aside.tif"
    edit(world)
    LOOKS["audit"](world)
    accept(shop.db, shop.home.settings, shop.finding("edited").id, "retouched")
    world.master.rename(aside)
    LOOKS["index"](world)
    aside.rename(world.master)
    LOOKS["index"](world)
    assert (world.content(MASTER), shop.kinds(MASTER)) == ("B", set())


def test_the_check_of_a_file_in_doubt_is_not_the_last_check(world: World) -> None:
    """The master was checked after its copy, and failed since."""
    shop = world.shop
    scan = scans.by_digest(shop.db, next(sha for sha, name in world.contents.items() if name == "A"))
    assert scan is not None
    for store, moment in (("nas", "2020-01-02T03:04:05"), ("main", "2021-01-02T03:04:05")):
        files.mark_checked(shop.db, shop.due(MASTER, store).id, moment)
    assert copies.of_scan(shop.db, scan.id).checked_at == "2021-01-02T03:04:05"
    flip(world)
    LOOKS["audit"](world)
    files.mark_checked(shop.db, shop.due(MASTER, "nas").id, "2020-01-02T03:04:05")
    assert shop.due(MASTER).checked_at == "2021-01-02T03:04:05"
    assert copies.of_scan(shop.db, scan.id).checked_at == "2020-01-02T03:04:05"


def test_a_second_edit_still_knows_the_content_that_was_agreed(world: World) -> None:
    shop = world.shop
    edit(world)
    LOOKS["index"](world)
    first = shop.finding("edited")
    world.scan("main/" + MASTER, seed=78)
    os.utime(world.master, ns=(6, 6))
    LOOKS["index"](world)
    second = shop.finding("edited")
    assert (second.id, second.first_seen) == (first.id, first.first_seen)
    assert world.contents[second.former_sha256] == "A"


@pytest.mark.parametrize("deed", [edit, truncate, empty, flip, delete], ids=lambda deed: deed.__name__)
def test_a_copy_from_a_file_that_fails_is_not_made_and_the_file_counts_no_more(world: World,
                                                                             deed: Callable[[World], None]) -> None:
    shop = world.shop
    shop.add("usb", "off-site")
    (shop.folder / "nas").rename(shop.folder / "nas unplugged")
    deed(world)
    done = copying.copy_to(shop.db, shop.home, shop.store("usb"), wanted_by(shop.db, shop.store("usb")))
    assert (done.copied, len(done.not_copied)) == (0, 1)
    assert (world.content(MASTER), world.copies("A")) == ("A", 1)
    assert findings.list_open(shop.db, kind="single copy")
    LOOKS["index"](world)
    assert world.shop.kinds(MASTER), "what failed as a source is read by the next run"


def test_a_cancelled_run_closes_and_opens_nothing_it_did_not_look_at(world: World) -> None:
    shop = world.shop
    (shop.folder / "main" / "way").symlink_to(shop.folder, target_is_directory=True)
    world.master.unlink()
    LOOKS["index"](world)
    before = rows(world)
    assert {row[1] for row in before} >= {"link", "missing"}
    (shop.folder / "main" / "way").unlink()
    index(shop.db, shop.home, [shop.store()], executors=threads, cancelled=lambda: True)
    assert rows(world) == before
    LOOKS["index"](world)
    assert not shop.kinds("way")


def test_the_master_that_is_there_is_current_while_the_other_is_not(world: World, scan: Scan) -> None:
    shop = world.shop
    (shop.folder / "nas").rename(shop.folder / "nas unplugged")
    other = scan("main/Ada Quill/Harbour/second master.tif", seed=3)
    shop.index()
    held = {path: shop.due(path).scan_id for path in (MASTER, "Ada Quill/Harbour/second master.tif")}
    piece = scans.by_id(shop.db, held[MASTER])
    assert piece is not None and piece.piece_id is not None

    def current() -> int | None:
        found = pieces.by_id(shop.db, piece.piece_id or 0)
        return found.current_scan_id if found else None

    shop.db.execute("DELETE FROM file WHERE store_id = ?", [shop.store("nas").id])
    assert current() == held[MASTER]
    for look in ("index", "audit"):
        aside = shop.folder / "aside.tif"
        world.master.rename(aside)
        LOOKS[look](world)
        assert current() == held[str(other.relative_to(shop.folder / "main"))], look
        aside.rename(world.master)
        LOOKS[look](world)
        assert current() == held[MASTER], look


@pytest.mark.parametrize("deed", [nothing, touch, edit, truncate, empty, flip, delete, refuse_once, unplug],
                         ids=lambda deed: deed.__name__)
@pytest.mark.parametrize("look", ALL)
def test_copies_and_last_check_are_the_same_wherever_they_are_asked(world: World, deed: Callable[[World], None],
                                                                    look: str) -> None:
    """The piece page, an order's file, the holdings page, the levels and the findings of one scan."""
    from catalogue.fixity import levels
    from catalogue.ledger.health import health
    from catalogue.records import fixity_facts, glances
    from catalogue.sheets.holdings import _kept

    shop, db = world.shop, world.shop.db
    a = scans.by_digest(db, next(sha for sha, name in world.contents.items() if name == "A"))
    assert a is not None
    deed(world)
    LOOKS[look](world)
    said = copies.of_scan(db, a.id)
    listed = {c.scan_id: c for c in copies.of_masters(db)}
    assert listed[a.id] == said
    lacks = [f.detail for f in findings.list_open(db, kind="single copy") if f.scan_id == a.id]
    assert bool(lacks) == (said.stores < shop.home.settings.copies_wanted)
    assert fixity_facts.facts(db, "").in_two == sum(c.stores >= 2 for c in listed.values())
    one_disk = replace(shop.home, settings=replace(shop.home.settings, copies_on_one_disk=True))
    two = next(c for area in levels.levels(db, one_disk) for c in area.criteria if c.text == levels.TWO_COPIES)
    assert two.met == all(c.stores >= 2 for c in listed.values())
    asked = health(db, a)
    assert asked.last_check == said.checked_at
    assert sum(copy.state == "sound" for copy in asked.copies) <= said.stores
    words = _kept(db, a, one_disk.settings)
    assert f"kept in {said.stores} cop" in words
    words = _kept(db, a, shop.home.settings)
    assert f"kept in {min(said.stores, 1)} cop" in words, "the stores of a test lie on one disk"
    seen = glances.glance(db, a.piece_id or 0)
    if seen is not None and seen.sha256 == a.sha256:
        assert (seen.stores, seen.disks, seen.checked_at, seen.present) == (
            said.stores, said.disks, said.checked_at, said.present)
