"""What an audit tells apart, in which order it goes, and that it survives what happens to disks.

SHA-256 is hashlib's; that sha256sum agrees is in test_manifest.
"""

import errno
import hashlib
import os
import struct
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from fixity_shop import Shop, rot

from catalogue.errors import Busy
from catalogue.fixity import audit as auditing
from catalogue.fixity import checking, verdicts
from catalogue.fixity.audit import Budget
from catalogue.fixity.checking import Expected, Result, check
from catalogue.fixity.damage_regions import from_text
from catalogue.indexing.exclusive_lock import exclusive_lock
from catalogue.progress import Progress, never_cancelled
from catalogue.reading.digests import ReadFailed
from catalogue.records import events, files, findings, fixity
from tests import recorded
from tests.waiting import HANG_SECONDS

Scan = Callable[..., Path]
MASTER = "Ada Quill/Harbour/master.tif"


@pytest.fixture
def master(shop: Shop, scan: Scan) -> Path:
    path = scan(f"main/{MASTER}", seed=1, size=(64, 80), rowsperstrip=8)
    shop.index()
    return path


def test_an_intact_file_is_recorded_as_checked(shop: Shop, master: Path) -> None:
    done = shop.audit()
    assert (done.outcome, done.checked, done.intact, done.remaining, done.findings) == ("finished", 1, 1, 0, {})
    assert done.bytes == master.stat().st_size
    last = recorded.events(shop.db, sha256=shop.due(MASTER).sha256)[-1]
    assert (last.type, last.outcome, last.path) == ("fixity check", "success", MASTER)
    assert shop.due(MASTER).checked_at is not None


def test_silent_damage_is_found_and_placed_in_the_picture(shop: Shop, scan: Scan) -> None:
    """One byte of the tenth strip of sixteen, by tifffile's own account of where that lies: rows 900 to 1000."""
    import tifffile

    master = scan(f"main/{MASTER}", size=(1600, 900), rowsperstrip=100)
    shop.index()
    with tifffile.TiffFile(master) as tif:
        offset = tif.pages[0].dataoffsets[9]
    rot(master, offset + 5)
    done = shop.audit()
    assert done.findings == {"changed": 1}
    finding = shop.finding("changed")
    assert finding.offset is not None and finding.offset <= offset + 5
    text = fixity.damage(shop.db, shop.due(MASTER).id)
    assert text is not None
    damage = from_text(text)
    (region,) = damage.regions
    assert (region.left, region.right) == (0, 1)
    assert region.top <= 900 / 1600 and region.bottom >= 1000 / 1600
    assert damage.share < 0.3
    assert recorded.events(shop.db, sha256=shop.due(MASTER).sha256)[-1].outcome == "fail"


def test_damage_beside_the_picture_is_said_to_be_so(shop: Shop, master: Path) -> None:
    import tifffile

    with tifffile.TiffFile(master) as tif:
        profile = tif.pages[0].tags[34675].valueoffset
    rot(master, profile + 200)
    shop.audit()
    text = fixity.damage(shop.db, shop.due(MASTER).id)
    assert text is not None
    assert from_text(text).regions == ()
    assert from_text(text).outside_picture


def test_an_edit_is_told_from_damage(shop: Shop, master: Path) -> None:
    rot(master, 500)
    os.utime(master, ns=(1, 1))
    assert shop.audit().findings == {"edited": 1}


def test_an_edit_that_was_read_in_stays_open_until_somebody_accepts_it(shop: Shop, master: Path) -> None:
    """Its bytes agree with what is on record by now; that nobody meant to change it is what the finding says."""
    master.write_bytes(master.read_bytes()[:-1] + b"?")
    os.utime(master, ns=(7, 7))
    shop.index()
    assert "edited" in shop.kinds(MASTER)
    assert shop.audit().findings == {}
    assert "edited" in shop.kinds(MASTER)


def test_what_is_wrong_with_the_bytes_on_record_stays_open(shop: Shop, master: Path) -> None:
    cut = master.with_name("cut.tif")
    cut.write_bytes(master.read_bytes()[:9000])
    shop.index()
    path = MASTER.replace("master.tif", "cut.tif")
    assert "truncated" in shop.kinds(path)
    assert shop.audit().findings == {}
    assert "truncated" in shop.kinds(path)


def test_damage_that_is_mended_by_other_hands_is_no_longer_drawn(shop: Shop, master: Path) -> None:
    rot(master, 900)
    shop.audit()
    assert fixity.damage(shop.db, shop.due(MASTER).id) is not None
    rot(master, 900)   # the same bits again: the bytes on record are back
    assert shop.audit().findings == {}
    assert fixity.damage(shop.db, shop.due(MASTER).id) is None


def test_a_new_time_on_the_same_bytes_is_no_finding(shop: Shop, master: Path) -> None:
    os.utime(master, ns=(1, 1))
    assert shop.audit().findings == {}
    assert shop.due(MASTER).mtime_ns == 1


def test_a_cut_file_is_truncated_with_the_lost_part_of_the_picture(shop: Shop, master: Path) -> None:
    os.truncate(master, master.stat().st_size - 64 * 80)
    assert shop.audit().findings == {"truncated": 1}
    text = fixity.damage(shop.db, shop.due(MASTER).id)
    assert text is not None
    assert from_text(text).regions


def test_a_shorter_file_with_other_bytes_is_edited(shop: Shop, master: Path) -> None:
    master.write_bytes(os.urandom(2000))
    assert shop.audit().findings == {"edited": 1}


def test_missing_then_found_again(shop: Shop, master: Path) -> None:
    master.rename(shop.folder / "elsewhere.tif")
    assert shop.audit().findings == {"missing": 1}
    assert shop.due(MASTER).state == "missing"
    (shop.folder / "elsewhere.tif").rename(master)
    assert shop.audit().findings == {}
    assert shop.due(MASTER).state == "present"
    assert shop.kinds(MASTER) == set()


def test_a_moved_file_is_recognised_by_its_digest(shop: Shop, master: Path) -> None:
    other = shop.folder / "main" / "Ada Quill" / "renamed.tif"
    master.rename(other)
    assert shop.audit().findings == {"moved": 1}
    assert "renamed.tif" in shop.finding("moved").detail
    shop.index()
    assert shop.kinds(MASTER) == set()
    assert shop.audit().findings == {}


def test_a_missing_file_with_an_older_copy_in_the_store_is_missing_not_moved(shop: Shop, master: Path) -> None:
    twin = shop.folder / "main" / "Ada Quill" / "Harbour" / "a copy.tif"
    twin.write_bytes(master.read_bytes())
    shop.index()
    twin.unlink()
    assert shop.audit().findings == {"missing": 1}


@pytest.mark.parametrize(("recorded", "found", "words"), [
    ("Ada Quill/Caf\N{LATIN SMALL LETTER E WITH ACUTE}.tif", "Ada Quill/Cafe\N{COMBINING ACUTE ACCENT}.tif", "accents"),
    ("Ada Quill/Harbour.TIF", "Ada Quill/harbour.tif", "capitals")])
def test_names_that_a_file_system_respells_are_recognised(shop: Shop, scan: Scan, recorded: str, found: str,
                                                         words: str) -> None:
    """As after a disk's contents went over one that decomposes accents, or one that folds case."""
    scan(f"main/{recorded}").rename(shop.folder / "main" / "tmp")
    (shop.folder / "main" / "tmp").rename(shop.folder / "main" / recorded)
    shop.index()
    (shop.folder / "main" / recorded).rename(shop.folder / "main" / found)
    assert shop.audit().findings == {"moved": 1}
    assert words in shop.finding("moved").detail


@pytest.mark.usefixtures("master")
def test_an_offline_store_is_offline_not_missing(shop: Shop) -> None:
    (shop.folder / "main").rename(shop.folder / "unplugged")
    done = shop.audit()
    assert (done.outcome, done.findings) == ("offline", {"offline": 1})
    assert shop.kinds(MASTER) == set()
    (shop.folder / "unplugged").rename(shop.folder / "main")
    assert shop.audit().outcome == "finished"
    assert findings.list_open(shop.db, kind="offline") == []


def test_an_off_site_disk_is_expected_elsewhere_until_its_audit_is_due(shop: Shop, scan: Scan) -> None:
    """Else every audit of a shop that does the right thing would end with a finding."""
    shop.add("away", "off-site")
    scan("away/Ada Quill/Harbour/master.tif")
    shop.index("away")
    (shop.folder / "away").rename(shop.folder / "elsewhere")
    assert shop.audit("away").findings == {"offline": 1}, "never audited"
    (shop.folder / "elsewhere").rename(shop.folder / "away")
    shop.audit("away")
    (shop.folder / "away").rename(shop.folder / "elsewhere")
    done = shop.audit("away")
    assert (done.outcome, done.findings) == ("offline", {})
    with shop.db.conn:
        shop.db.execute("UPDATE run SET ended = '2020-01-01T00:00:00.000Z'")
    assert shop.audit("away").findings == {"offline": 1}
    assert "01 Jan 2020" in shop.finding("offline").detail


def test_a_store_pulled_mid_run_says_nothing_about_its_files(shop: Shop, scan: Scan) -> None:
    for n in range(12):
        scan(f"main/Ada Quill/Harbour/{n:02}.tif", seed=n)
    shop.index()
    pulled = []

    def report(_: Progress) -> None:
        if not pulled:
            (shop.folder / "main").rename(shop.folder / "pulled")
            pulled.append(1)

    done = shop.audit(report=report)
    assert done.outcome == "failed"
    assert done.checked < 12
    assert not findings.list_open(shop.db, kind="missing")
    assert len(findings.list_open(shop.db, kind="offline")) == 1
    (shop.folder / "pulled").rename(shop.folder / "main")
    again = shop.audit()
    assert (again.outcome, again.checked + again.carried_on) == ("finished", 12)


def test_a_read_error_is_tried_again_then_placed_to_the_sector(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "f"
    path.write_bytes(bytes(300_000))
    bad = 123_456
    readv, tries = os.readv, []

    def failing(fd: int, buffers: list[memoryview]) -> int:
        at = os.lseek(fd, 0, os.SEEK_CUR)
        if at <= bad < at + len(buffers[0]):
            tries.append(at)
            raise OSError(errno.EIO, "Input/output error")
        return readv(fd, buffers)

    monkeypatch.setattr(os, "readv", failing)
    found = check(str(path), Expected(300_000, path.stat().st_mtime_ns, "0" * 64), on_read=lambda _: None,
                  cancelled=never_cancelled)
    assert found.result is Result.UNREADABLE
    assert found.offset == bad // checking.SECTOR_BYTES * checking.SECTOR_BYTES
    assert tries.count(found.offset) >= checking.TRIES


@pytest.mark.usefixtures("master")
def test_a_read_error_that_passes_is_no_finding(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    readv, failed = os.readv, []

    def once(fd: int, buffers: list[memoryview]) -> int:
        if not failed:
            failed.append(1)
            raise OSError(errno.EIO, "Input/output error")
        return readv(fd, buffers)

    monkeypatch.setattr(os, "readv", once)
    assert shop.audit().findings == {}
    assert failed


@pytest.mark.skipif(not Path("/proc/self/mem").exists(), reason="needs Linux's /proc")
def test_the_kernels_own_read_error_is_met_the_same_way() -> None:
    """Address 0 of a process is never mapped: reading it gives a true EIO."""
    fd = os.open("/proc/self/mem", os.O_RDONLY)
    try:
        with pytest.raises(OSError, match="at byte 0") as caught:
            checking.read_at(fd, memoryview(bytearray(10_000)), 0)
        assert caught.value.errno == errno.EIO
    finally:
        os.close(fd)


@pytest.mark.usefixtures("master")
def test_an_unreadable_file_is_a_finding_with_its_offset(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(*_: object) -> int:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(os, "readv", failing)
    assert shop.audit().findings == {"unreadable": 1}
    assert shop.finding("unreadable").offset == 0


def test_a_file_written_to_meanwhile_says_nothing(tmp_path: Path) -> None:
    path = tmp_path / "f"
    path.write_bytes(b"x" * 1000)

    def tell(_: int) -> None:
        os.utime(path, ns=(7, 7))

    found = check(str(path), Expected(1000, path.stat().st_mtime_ns, "0" * 64), on_read=tell, cancelled=never_cancelled)
    assert found.result is Result.CHANGING


def test_a_file_replaced_meanwhile_says_nothing(tmp_path: Path) -> None:
    """What was read through is not what stands there now, though both hold the bytes on record."""
    path, other = tmp_path / "f", tmp_path / "other"
    for one in (path, other):
        one.write_bytes(b"x" * 1000)
    expected = Expected(1000, path.stat().st_mtime_ns, hashlib.sha256(b"x" * 1000).hexdigest())
    found = check(str(path), expected, on_read=lambda _: other.replace(path) and None, cancelled=never_cancelled)
    assert (found.result, found.detail) == (Result.CHANGING, "it was replaced while being read")


@pytest.mark.parametrize("failures", [1, 2, 3])
def test_a_sector_is_read_three_times_before_it_is_given_up(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failures: int) -> None:
    (tmp_path / "f").write_bytes(b"x" * 100)
    readv, left = os.readv, [1] * failures

    def failing(fd: int, buffers: list[memoryview]) -> int:
        if left:
            left.pop()
            raise OSError(errno.EIO, "Input/output error")
        return readv(fd, buffers)

    monkeypatch.setattr(os, "readv", failing)
    with (tmp_path / "f").open("rb") as file:
        if failures < 3:
            assert checking.read_at(file.fileno(), memoryview(bytearray(checking.SECTOR_BYTES)), 0) == 100
        else:
            with pytest.raises(ReadFailed, match="at byte 0"):
                checking.read_at(file.fileno(), memoryview(bytearray(checking.SECTOR_BYTES)), 0)


def test_a_pipe_in_the_place_of_a_file_does_not_hang(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "f")
    assert check(str(tmp_path / "f"), Expected(1, 1, ""), on_read=lambda _: None,
                 cancelled=never_cancelled).result is Result.MISSING


def test_oldest_check_first_within_a_byte_budget_then_the_rest(shop: Shop, scan: Scan) -> None:
    size = {scan(f"main/Ada Quill/Harbour/{n}.tif", seed=n).stat().st_size for n in range(6)}.pop()
    shop.index()

    def turns() -> list[int]:
        return [row or 0 for row in (_turn(shop, f"Ada Quill/Harbour/{n}.tif") for n in range(6))]

    done = shop.audit(budget=Budget(bytes=2 * size))
    assert (done.outcome, done.checked, done.remaining) == ("budget", 2, 4)
    first = turns()
    assert [n for n, t in enumerate(first) if t] == [0, 1]
    shop.audit(budget=Budget(bytes=3 * size))
    assert [n for n, t in enumerate(turns()) if t > first[0]] == [2, 3, 4]
    shop.audit(budget=Budget(bytes=2 * size))
    newest = max(turns())
    assert [n for n, t in enumerate(turns()) if t == newest] == [0, 5]


def _turn(shop: Shop, path: str) -> int | None:
    row = shop.db.execute("SELECT turn FROM fixity_turn WHERE file_id = ?", [shop.due(path).id]).fetchone()
    return None if row is None else int(row[0])


def test_a_tiny_budget_still_checks_one_file(shop: Shop, scan: Scan) -> None:
    for n in range(3):
        scan(f"main/Ada Quill/Harbour/{n}.tif", seed=n)
    shop.index()
    assert shop.audit(budget=Budget(bytes=1)).checked == 1


def test_a_bad_file_does_not_keep_the_others_waiting(shop: Shop, scan: Scan) -> None:
    """A failed check is a turn too: else damaged files would eat every later budget."""
    paths = [scan(f"main/Ada Quill/Harbour/{n}.tif", seed=n) for n in range(3)]
    shop.index()
    size = paths[0].stat().st_size
    rot(paths[0], 2000)
    for _ in range(3):
        shop.audit(budget=Budget(bytes=size))
    assert all(shop.due(f"Ada Quill/Harbour/{n}.tif").checked_at for n in range(3))


def test_a_sample_checks_a_share(shop: Shop, scan: Scan) -> None:
    for n in range(10):
        scan(f"main/Ada Quill/Harbour/{n}.tif", seed=n)
    shop.index()
    assert shop.audit(budget=Budget(share=0.3)).checked == 3


def test_a_time_budget_ends_the_audit(shop: Shop, scan: Scan) -> None:
    for n in range(30):
        scan(f"main/Ada Quill/Harbour/{n}.tif", seed=n)
    shop.index()
    done = shop.audit(budget=Budget(seconds=0.0))
    assert done.outcome == "budget"
    assert 1 <= done.checked < 30


def test_cancelled_then_carried_on(shop: Shop, scan: Scan) -> None:
    for n in range(40):
        scan(f"main/Ada Quill/Harbour/{n:02}.tif", seed=n)
    shop.index()
    calls: list[int] = []

    def cancelled() -> bool:
        calls.append(1)
        return len(calls) > 3

    first = shop.audit(cancelled=cancelled)
    assert first.outcome == "cancelled"
    assert 0 < first.checked < 40
    second = shop.audit()
    assert second.checked == 40 - first.checked
    assert second.carried_on == first.checked
    assert shop.audit().checked == 40


def test_a_clock_set_back_spares_no_file(shop: Shop, scan: Scan, monkeypatch: pytest.MonkeyPatch) -> None:
    from catalogue.fixity import verdicts

    for n in range(4):
        scan(f"main/Ada Quill/Harbour/{n}.tif", seed=n)
    shop.index()
    size = (shop.folder / "main/Ada Quill/Harbour/0.tif").stat().st_size
    monkeypatch.setattr(verdicts, "now", lambda: "2099-01-01T00:00:00.000Z")
    shop.audit(budget=Budget(bytes=2 * size))
    monkeypatch.setattr(verdicts, "now", lambda: "2001-01-01T00:00:00.000Z")
    shop.audit(budget=Budget(bytes=2 * size))
    shop.audit(budget=Budget(bytes=2 * size))
    years = [(shop.due(f"Ada Quill/Harbour/{n}.tif").checked_at or "")[:4] for n in range(4)]
    assert years == ["2001"] * 4


def test_two_audits_at_once_get_a_clear_word(shop: Shop) -> None:
    with exclusive_lock(shop.home, "audit"), pytest.raises(Busy, match="Another audit"):
        shop.audit()


def test_killed_at_any_moment_the_next_audit_completes(shop: Shop, scan: Scan) -> None:
    """kill -9 after a random number of files: every file then has its check, and the log's chain holds."""
    for n in range(30):
        scan(f"main/Ada Quill/Harbour/{n:02}.tif", seed=n)
    shop.index()
    child = """
import os, signal, sys
from pathlib import Path
from catalogue.fixity import audit as auditing
from catalogue.records import stores
from catalogue.records.database import open_database
from catalogue.settings import Home
home = Home(Path(sys.argv[1]))
db = open_database(home.database)
auditing.COMMIT_FILES = 3
def report(progress):
    if progress.done >= int(sys.argv[2]):
        os.kill(os.getpid(), signal.SIGKILL)
auditing.audit(db, home, stores.listed(db), report=report)
"""
    done = 0
    for point in (2, 9):
        subprocess.run([sys.executable, "-c", child, str(shop.home.folder), str(point)], check=False)
        done = sum(1 for n in range(30) if _turn(shop, f"Ada Quill/Harbour/{n:02}.tif"))
        assert done < 30
    last = shop.audit()
    assert last.carried_on == done
    assert last.checked == 30 - done
    assert list(events.broken_links(shop.db)) == []
    assert [r.outcome for r in recorded.runs(shop.db, "audit")] == ["finished", "running", "running"]


def test_several_stores_are_read_side_by_side_one_reader_a_spinning_disk(shop: Shop, scan: Scan,
                                                                        monkeypatch: pytest.MonkeyPatch) -> None:
    """The first file of each store waits for the other's: alone, one after the other, neither would go on."""
    from threading import Barrier, Lock

    from catalogue.records import stores

    shop.add("disk", "copy")
    for n in range(6):
        scan(f"main/a/{n}.tif", seed=n)
        scan(f"disk/a/{n}.tif", seed=n)
    shop.index("main", "disk")
    with shop.db.conn:
        stores.set_one_reader(shop.db, shop.store("disk").id, True)
    real, meet, lock = checking.check, Barrier(2), Lock()
    seen, now, most = set[str](), {"main": 0, "disk": 0}, {"main": 0, "disk": 0}

    def counted(path: str, *args: object, **options: object) -> object:
        name = "disk" if "/disk/" in path else "main"
        with lock:
            now[name] += 1
            most[name] = max(most[name], now[name])
            first = name not in seen
            seen.add(name)
        if first:
            meet.wait(timeout=HANG_SECONDS)
        try:
            return real(path, *args, **options)  # type: ignore[arg-type]
        finally:
            with lock:
                now[name] -= 1

    monkeypatch.setattr(verdicts, "check", counted)
    shop.audit("main", "disk")
    assert most["disk"] == 1


@pytest.mark.usefixtures("master")
def test_progress_tells_rate_and_time_left(shop: Shop) -> None:
    assert auditing._time_left(500_000_000, 1_500_000_000, 10.0, Budget()) == "50 MB/s, 0:00:20 left"
    assert auditing._time_left(500_000_000, 1_500_000_000, 10.0, Budget(seconds=15)) == "50 MB/s, 0:00:05 left"
    seen: list[Progress] = []
    shop.audit(report=seen.append)
    assert seen[-1].done == seen[-1].total == 1
    assert seen[-1].bytes_total == files.by_path(shop.db, shop.store().id, MASTER).size  # type: ignore[union-attr]


def test_reading_all_anew_does_not_take_silent_damage_for_new_content(shop: Shop, master: Path) -> None:
    """``index --again`` once gave the damaged bytes the file's name, and every later audit found them intact."""
    from fixity_shop import threads

    from catalogue.indexing.service import index

    was = shop.due(MASTER).sha256
    rot(master, 2000)
    index(shop.db, shop.home, [shop.store()], again=True, executors=threads)
    assert shop.due(MASTER).sha256 == was
    assert "changed" in shop.kinds(MASTER)
    assert shop.audit().findings == {"changed": 1}
    assert shop.db.execute("SELECT count(*) FROM scan").fetchone()[0] == 1


def test_damage_in_a_psd_is_not_said_to_lie_outside_its_picture(shop: Shop, scan: Scan) -> None:
    place = scan("main/Ada Quill/Harbour/master.tif")
    psd = place.with_suffix(".psd")
    rows, columns = 40, 50
    psd.write_bytes(b"8BPS" + struct.pack(">H6xHIIHH", 1, 3, rows, columns, 8, 3) + struct.pack(">III", 0, 0, 0)
                    + struct.pack(">H", 0) + bytes(range(250)) * (3 * rows * columns // 250))
    shop.index()
    rot(psd, 2000)
    shop.audit()
    (finding,) = (f for f in findings.list_open(shop.db, kind="changed") if f.path.endswith(".psd"))
    assert "where in the picture cannot be told" in finding.detail
    assert "outside" not in finding.detail


def test_an_index_run_does_not_forget_where_an_audit_placed_the_damage(shop: Shop, master: Path) -> None:
    """It asked for the audit that had just been made."""
    rot(master, 2000)
    shop.audit()
    placed = shop.finding("changed")
    assert "from the top" in placed.detail
    shop.index()
    assert (shop.finding("changed").detail, shop.finding("changed").hint) == (placed.detail, placed.hint)
