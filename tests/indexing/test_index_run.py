"""What an index run sees, reads, records, and leaves alone."""

import hashlib
import os
import subprocess
from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import pytest

from catalogue.errors import Busy, Refused
from catalogue.indexing import service
from catalogue.indexing.locating import locate_store
from catalogue.indexing.service import StoreSummary, index
from catalogue.indexing.stores import add_store
from catalogue.reading.model import Fault
from catalogue.records import files, findings, pieces, scans, stores
from catalogue.records.database import Database
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.storage.folders import MARKER
from tests import recorded

Scan = Callable[..., Path]


def threads(workers: int) -> Executor:
    """Reading in this process: quick to start."""
    return ThreadPoolExecutor(workers)


def nobody(workers: int) -> Executor:
    raise AssertionError("a run over unchanged files must read nothing")


@dataclass
class Shop:
    db: Database
    home: Home
    store: Store
    root: Path

    def index(self, **options: object) -> StoreSummary:
        options.setdefault("executors", threads)
        return index(self.db, self.home, [stores.by_id(self.db, self.store.id)], **options)[0]  # type: ignore[arg-type]

    def kinds(self) -> dict[str, set[str]]:
        found: dict[str, set[str]] = {}
        for finding in findings.list_open(self.db):
            found.setdefault(finding.path, set()).add(finding.kind)
        return found

    def file(self, path: str) -> files.File:
        file = files.by_path(self.db, self.store.id, path)
        assert file is not None
        return file


@pytest.fixture
def shop(db: Database, home: Home, scan: Scan, tmp_path: Path) -> Shop:
    scan("main/Ada Quill/Harbour/master.tif", seed=1)
    scan("main/Ada Quill/Harbour/tile 1 of 2.tif", seed=2)
    scan("main/Ben Orrery/Two Boats/master.tif", seed=3)
    root = tmp_path / "main"
    return Shop(db, home, add_store(db, "main", root, "primary", consent=True), root)


def listing(root: Path) -> dict[str, tuple[int, int]]:
    return {str(p.relative_to(root)): (p.stat().st_size, p.stat().st_mtime_ns) for p in root.rglob("*")}


def test_a_run_records_every_scan_and_writes_nothing_in_the_store(shop: Shop) -> None:
    before = listing(shop.root)
    summary = shop.index()
    assert (summary.outcome, summary.seen, summary.read) == ("finished", 3, 3)
    assert listing(shop.root) == before
    assert set(before) - {MARKER} >= {"Ada Quill/Harbour/master.tif"}
    piece = pieces.by_id(shop.db, pieces.known_piece(shop.db, "ada quill", "HARBOUR") or 0)
    assert piece is not None
    assert {s.role for s in scans.of_piece(shop.db, piece.id)} == {"master", "tile"}
    current = scans.by_id(shop.db, piece.current_scan_id or 0)
    assert current is not None and current.role == "master"
    assert shop.home.preview(current.sha256).is_file()


def test_digests_are_those_of_sha256sum(shop: Shop) -> None:
    """Against the sha256sum of GNU coreutils where there is one, else Python's hashlib."""
    shop.index()
    for path in shop.root.rglob("*.tif"):
        try:
            told = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout.split()[0]
        except FileNotFoundError:
            told = hashlib.sha256(path.read_bytes()).hexdigest()
        found = scans.by_digest(shop.db, told)
        assert found is not None and found.bytes == path.stat().st_size


def test_second_run_opens_nothing(shop: Shop) -> None:
    shop.index()
    summary = shop.index(executors=nobody)
    assert (summary.seen, summary.unchanged, summary.read) == (3, 3, 0)


def test_again_reads_everything(shop: Shop) -> None:
    shop.index()
    assert shop.index(again=True).read == 3


def test_a_changed_file_is_read_anew_and_told(shop: Shop, scan: Scan) -> None:
    shop.index()
    old = shop.file("Ada Quill/Harbour/master.tif").scan_id
    scan("main/Ada Quill/Harbour/master.tif", seed=99)
    assert shop.index().read == 1
    assert shop.file("Ada Quill/Harbour/master.tif").scan_id != old
    assert "edited" in shop.kinds()["Ada Quill/Harbour/master.tif"]


def test_a_file_of_another_size_is_read_though_its_time_is_as_before(shop: Shop) -> None:
    shop.index()
    path = shop.root / "Ada Quill/Harbour/master.tif"
    stat = path.stat()
    path.write_bytes(path.read_bytes() + b"more")
    os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    assert shop.index().read == 1
    assert shop.file("Ada Quill/Harbour/master.tif").size == stat.st_size + 4


def test_a_touched_file_is_not_called_edited(shop: Shop) -> None:
    shop.index()
    os.utime(shop.root / "Ada Quill/Harbour/master.tif", ns=(1, 1))
    assert shop.index().read == 1
    assert "edited" not in shop.kinds().get("Ada Quill/Harbour/master.tif", set())


def test_gone_is_missing_and_back_is_resolved(shop: Shop) -> None:
    shop.index()
    path, aside = shop.root / "Ben Orrery/Two Boats/master.tif", shop.root.parent / "aside.tif"
    path.rename(aside)
    assert shop.index().gone == 1
    assert shop.kinds()["Ben Orrery/Two Boats/master.tif"] == {"missing"}
    aside.rename(path)
    shop.index(executors=nobody)
    assert "Ben Orrery/Two Boats/master.tif" not in shop.kinds()
    assert shop.file("Ben Orrery/Two Boats/master.tif").state == "present"


def test_a_moved_file_is_known_by_its_digest(shop: Shop) -> None:
    shop.index()
    (shop.root / "Ben Orrery/Two Boats/master.tif").rename(shop.root / "Ben Orrery/Two Boats/final master.tif")
    shop.index()
    assert files.by_path(shop.db, shop.store.id, "Ben Orrery/Two Boats/master.tif") is None
    assert not any("missing" in kinds for kinds in shop.kinds().values())
    assert any(e.type == "filename change" for e in recorded.events(shop.db))


def test_bad_files_are_findings_and_the_run_goes_on(shop: Shop, scan: Scan) -> None:
    (shop.root / "zero.tif").touch()
    (shop.root / "letter.tif").write_text("Dear printer, …")
    whole = scan("main/cut.tif", seed=5, size=(200, 200))
    os.truncate(whole, whole.stat().st_size // 2)
    (shop.root / "[bold]red[b]").mkdir()
    scan("main/[bold]red[b]/[proof] é 絵.tif", seed=6)
    summary = shop.index()
    assert (summary.outcome, summary.read) == ("finished", 7)
    kinds = shop.kinds()
    assert kinds["zero.tif"] == {"empty"}
    assert kinds["letter.tif"] == {Fault.NOT_A_PICTURE}
    assert "truncated" in kinds["cut.tif"]
    assert shop.file("[bold]red[b]/[proof] é 絵.tif").scan_id is not None


def test_a_mended_file_resolves_its_findings(shop: Shop, scan: Scan) -> None:
    (shop.root / "zero.tif").touch()
    shop.index()
    scan("main/zero.tif", seed=8)
    shop.index()
    assert "empty" not in shop.kinds().get("zero.tif", set())


def test_names_that_are_not_utf8(shop: Shop, scan: Scan) -> None:
    plain = scan("main/plain.tif", seed=9)
    try:
        os.rename(os.fsencode(plain), os.fsencode(shop.root) + b"/caf\xe9.tif")
    except OSError:
        pytest.skip("this file system takes only UTF-8 names")
    shop.index()
    assert any("UTF-8" in kind for kind in shop.kinds()["caf//e9.tif"])
    assert shop.file("caf//e9.tif").scan_id is not None
    assert shop.index(executors=nobody).unchanged == 4


def test_links_are_told_and_not_followed(shop: Shop) -> None:
    (shop.root / "Ada Quill" / "loop").symlink_to(shop.root, target_is_directory=True)
    summary = shop.index()
    assert summary.seen == 3
    assert shop.kinds()["Ada Quill/loop"] == {"link"}


def test_a_folder_that_cannot_be_read_hides_files_but_loses_none(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """The refusal is made at os.scandir, for a superuser may read any folder."""
    shop.index()
    really = os.scandir

    def refuse(path: str) -> object:
        if str(path).endswith("Ada Quill"):
            raise PermissionError(13, "Permission denied", path)
        return really(path)

    monkeypatch.setattr(os, "scandir", refuse)
    summary = shop.index(executors=nobody)
    assert summary.gone == 0
    assert shop.kinds()["Ada Quill"] == {"unreadable folder"}
    assert shop.file("Ada Quill/Harbour/master.tif").state == "present"
    monkeypatch.undo()
    shop.index(executors=nobody)
    assert "Ada Quill" not in shop.kinds()


def test_an_unplugged_store_is_offline_not_missing(shop: Shop) -> None:
    shop.index()
    shop.root.rename(shop.root.parent / "unplugged")
    assert shop.index(executors=nobody).outcome == "offline"
    assert shop.kinds() == {"": {"offline"}} | {p: k for p, k in shop.kinds().items() if p}
    assert not any("missing" in k for k in shop.kinds().values())
    (shop.root.parent / "unplugged").rename(shop.root)
    assert shop.index(executors=nobody).outcome == "finished"
    assert "" not in shop.kinds()


def test_an_empty_mount_point_is_offline(shop: Shop) -> None:
    """The mount point stays when a disk goes: an empty folder must not read as 'all files are gone'."""
    shop.index()
    shop.root.rename(shop.root.parent / "unplugged")
    shop.root.mkdir()
    assert shop.index(executors=nobody).outcome == "offline"
    assert shop.file("Ada Quill/Harbour/master.tif").state == "present"


def test_a_store_pulled_during_the_run_blames_no_file(shop: Shop, scan: Scan) -> None:
    for n in range(12):
        scan(f"main/Cy/Piece {n}/master.tif", seed=100 + n)

    class Pulling(ThreadPoolExecutor):
        def submit(self, *args: object, **kwargs: object):  # type: ignore[no-untyped-def, override]
            if shop.root.exists():
                shop.root.rename(shop.root.parent / "unplugged")
            return super().submit(*args, **kwargs)  # type: ignore[arg-type]

    summary = shop.index(executors=Pulling)
    assert summary.outcome == "failed"
    assert not any({"vanished", "unreadable", "missing"} & kinds for kinds in shop.kinds().values())
    (shop.root.parent / "unplugged").rename(shop.root)
    assert shop.index().outcome == "finished"
    assert len(list(files.known(shop.db, shop.store.id))) == 15


def test_a_store_pulled_while_it_is_looked_through_loses_no_file(
        shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is left of its mount point is an empty folder, in which nothing is where it was."""
    shop.index()
    compare = service.compare

    def pulled(*given: object, **named: object) -> object:
        shop.root.rename(shop.root.parent / "unplugged")
        shop.root.mkdir()
        return compare(*given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(service, "compare", pulled)
    before = shop.kinds()
    summary = shop.index()
    assert (summary.outcome, summary.gone) == ("failed", 0)
    assert {path: kinds for path, kinds in shop.kinds().items() if path} == {p: k for p, k in before.items() if p}
    assert {row[3] for row in files.known(shop.db, shop.store.id)} == {"present"}


def test_a_file_that_vanishes_during_the_run_is_a_finding(shop: Shop) -> None:
    class Snatching(ThreadPoolExecutor):
        def submit(self, *args: object, **kwargs: object):  # type: ignore[no-untyped-def, override]
            (shop.root / "Ben Orrery/Two Boats/master.tif").unlink(missing_ok=True)
            return super().submit(*args, **kwargs)  # type: ignore[arg-type]

    summary = shop.index(executors=Snatching)
    assert summary.outcome == "finished"
    assert shop.kinds()["Ben Orrery/Two Boats/master.tif"] == {"vanished"}
    shop.index()
    assert "Ben Orrery/Two Boats/master.tif" not in shop.kinds()


def test_cancelled_keeps_what_was_read_and_the_next_run_carries_on(shop: Shop, scan: Scan) -> None:
    for n in range(20):
        scan(f"main/Cy/Piece {n}/master.tif", seed=200 + n)
    read = 0

    def count(progress: object) -> None:
        nonlocal read
        read = progress.done if progress.stage.startswith("Reading") else read  # type: ignore[attr-defined]

    first = shop.index(workers=1, report=count, cancelled=lambda: read >= 5)
    assert first.outcome == "cancelled" and 5 <= first.read < 23
    second = shop.index()
    assert second.outcome == "finished" and first.read + second.read == 23


def test_one_run_at_a_time(shop: Shop) -> None:
    def try_again(_: object) -> None:
        with pytest.raises(Busy):
            shop.index()

    assert shop.index(report=try_again).outcome == "finished"


def test_stores_do_not_overlap_and_no_two_have_one_name(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "another").mkdir()
    with pytest.raises(Refused, match="already a store called 'main'"):
        add_store(shop.db, "main", tmp_path / "another", "copy", consent=False)
    assert [store.name for store in stores.listed(shop.db)] == ["main"]
    with pytest.raises(Refused):
        add_store(shop.db, "inner", shop.root / "Ada Quill", "copy", consent=False)


def test_a_store_without_marker_is_never_written_to(db: Database, scan: Scan, tmp_path: Path) -> None:
    scan("quiet/A/B/master.tif")
    before = listing(tmp_path / "quiet")
    store = add_store(db, "quiet", tmp_path / "quiet", "copy", consent=False)
    assert locate_store(db, store) == tmp_path / "quiet"
    assert listing(tmp_path / "quiet") == before


def test_a_disk_is_known_again_by_its_marker(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    shop.index()
    volumes = shop.root.parent / "volumes"
    volumes.mkdir()
    shop.root.rename(volumes / "USB 7")
    monkeypatch.setattr("catalogue.indexing.mount_points.candidates",
                        lambda _: iter([volumes / "other", volumes / "USB 7"]))
    summary = shop.index(executors=nobody)
    assert (summary.outcome, summary.unchanged) == ("finished", 3)
    assert stores.by_name(shop.db, "main").root == str(volumes / "USB 7")


def test_the_same_bytes_in_two_stores_are_one_scan(shop: Shop, tmp_path: Path) -> None:
    shop.index()
    copy = tmp_path / "copy" / "backup of harbour.tif"
    copy.parent.mkdir()
    copy.write_bytes((shop.root / "Ada Quill/Harbour/master.tif").read_bytes())
    second = add_store(shop.db, "copy", copy.parent, "copy", consent=True)
    index(shop.db, shop.home, [second], executors=threads)
    scan_id = shop.file("Ada Quill/Harbour/master.tif").scan_id
    assert scan_id is not None
    assert [f.store for f in files.of_scan(shop.db, scan_id)] == ["main", "copy"]
    assert pieces.counts(shop.db)["scan"] == 3


def test_a_file_dated_past_2262_is_like_any_other(shop: Shop, scan: Scan) -> None:
    """SQLite holds whole numbers below 2**63: nanoseconds up to 11 April 2262."""
    late = scan("main/Ada Quill/Harbour/late.tif", seed=21)
    os.utime(late, (9_999_999_999, 9_999_999_999))
    if late.stat().st_mtime_ns < 2 ** 63:
        pytest.skip("this file system knows no such time")
    assert shop.index().outcome == "finished"
    assert shop.file("Ada Quill/Harbour/late.tif").scan_id is not None
    assert shop.index(executors=nobody).unchanged == 4


def test_a_link_to_itself_hides_nothing(shop: Shop) -> None:
    (shop.root / "Ada Quill" / "Harbour" / "round").symlink_to("round")
    (shop.root / "Ada Quill" / "Harbour" / "round.tif").symlink_to("round.tif")
    assert shop.index().seen == 3
    assert shop.kinds() == {"Ada Quill/Harbour/round.tif": {"link"}}


def test_folders_nested_beyond_what_the_system_takes_are_a_finding(shop: Shop) -> None:
    """PATH_MAX is 4,096 bytes on Linux, 1,024 elsewhere."""
    handle = os.open(shop.root, os.O_RDONLY)
    for _ in range(1500):
        os.mkdir("nested", dir_fd=handle)
        inner = os.open("nested", os.O_RDONLY, dir_fd=handle)
        os.close(handle)
        handle = inner
    os.close(os.open("deep.tif", os.O_CREAT | os.O_WRONLY, dir_fd=handle))
    os.close(handle)
    try:
        summary = shop.index()
        assert (summary.outcome, summary.read) == ("finished", 3)
        (path, kinds), = shop.kinds().items()
        assert path.startswith("nested/nested/") and kinds == {"unreadable folder"}
        assert shop.index(executors=nobody).outcome == "finished"
    finally:
        subprocess.run(["rm", "-rf", shop.root / "nested"], check=True)


def test_an_entry_that_cannot_be_asked_is_told_and_not_lost(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on a disk that fails in the middle of a folder's table."""
    shop.index()
    really = os.scandir

    class Entry:
        def __init__(self, entry: os.DirEntry[str]) -> None:
            self.entry = entry

        def __getattr__(self, name: str) -> object:
            if name == "stat" and self.entry.name.startswith("tile"):
                raise OSError(5, "Input/output error")
            return getattr(self.entry, name)

    class Listing:
        def __init__(self, path: str) -> None:
            self.listing = really(path)

        def __enter__(self) -> "Listing":
            return self

        def __exit__(self, *_: object) -> None:
            self.listing.close()

        def __iter__(self) -> object:
            return (Entry(entry) for entry in self.listing)

    monkeypatch.setattr(os, "scandir", Listing)
    summary = shop.index(executors=nobody)
    monkeypatch.undo()
    assert (summary.gone, summary.unchanged) == (0, 2)
    assert shop.kinds() == {"Ada Quill/Harbour/tile 1 of 2.tif": {"unreadable folder"}}
    assert shop.file("Ada Quill/Harbour/tile 1 of 2.tif").state == "present"


def test_a_file_replaced_while_it_is_read_keeps_what_was_known(shop: Shop, scan: Scan,
                                                               monkeypatch: pytest.MonkeyPatch) -> None:
    from catalogue.reading import file as reading

    shop.index()
    known = shop.file("Ada Quill/Harbour/master.tif")
    other = scan("other.tif", seed=31)
    os.utime(shop.root / "Ada Quill/Harbour/master.tif", ns=(7, 7))
    real = reading.open_source

    def swapping(*given: object) -> object:
        if other.exists():
            other.replace(shop.root / "Ada Quill/Harbour/master.tif")
        return real(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(reading, "open_source", swapping)
    shop.index()
    assert shop.kinds()["Ada Quill/Harbour/master.tif"] == {"changing"}
    assert shop.file("Ada Quill/Harbour/master.tif").scan_id == known.scan_id
    shop.index()
    assert shop.kinds()["Ada Quill/Harbour/master.tif"] == {"edited"}
    assert shop.file("Ada Quill/Harbour/master.tif").scan_id != known.scan_id
