"""Copy, verify, switch. The digests of FIPS 180-4 are the outside check; the rest is what the file system shows."""

import errno
import hashlib
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from catalogue.errors import Busy, CatalogueError, Damaged, NameTaken, NotFound, Refused
from catalogue.fixity import copying
from catalogue.fixity.copying import Stopped, copy_verified
from catalogue.progress import Progress, ignore_progress, never_cancelled
from catalogue.storage.atomic import aside_name, opened, write_atomically
from catalogue.storage.medium import FOLDER_READ_ONLY, TooLarge
from tests.files import part_path

# FIPS 180-4 examples
FIPS = {b"": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        b"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
        b"a" * 1_000_000: "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"}


def copy(source: Path, target: Path, **options: object) -> str:
    return copy_verified(source, target,
                         **{"sha256": None, "report": ignore_progress, "cancelled": never_cancelled, **options})


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


@pytest.fixture
def master(tmp_path: Path) -> Path:
    path = tmp_path / "card" / "harbour.tif"
    path.parent.mkdir()
    path.write_bytes(os.urandom(300_000))
    os.utime(path, ns=(10**18, 10**18 + 7))
    return path


@pytest.fixture
def place(tmp_path: Path) -> Path:
    folder = tmp_path / "store"
    folder.mkdir()
    return folder


@pytest.mark.parametrize("data", FIPS)
def test_gives_the_published_digest(tmp_path: Path, place: Path, data: bytes) -> None:
    source = tmp_path / "in"
    source.write_bytes(data)
    assert copy(source, place / "out", sha256=FIPS[data]) == FIPS[data]
    assert (place / "out").read_bytes() == data


def test_copy_keeps_bytes_and_time_makes_folders_and_leaves_nothing_else(master: Path, place: Path) -> None:
    target = place / "Ada Quill" / "Harbour" / "harbour.tif"
    copy(master, target)
    assert target.read_bytes() == master.read_bytes()
    assert target.stat().st_mtime_ns == 10**18 + 7
    assert names(target.parent) == ["harbour.tif"]


def test_refuses_to_overwrite_and_leaves_what_stands_there(master: Path, place: Path) -> None:
    (place / "harbour.tif").write_bytes(b"the only master")
    with pytest.raises(NameTaken):
        copy(master, place / "harbour.tif")
    assert (place / "harbour.tif").read_bytes() == b"the only master"
    assert names(place) == ["harbour.tif"]


@pytest.mark.parametrize("links", [True, False])
def test_a_file_that_appears_during_the_copy_is_not_overwritten(master: Path, place: Path, links: bool,
                                                               monkeypatch: pytest.MonkeyPatch) -> None:
    if not links:
        monkeypatch.setattr(os, "link", _refusing(errno.EPERM))
    target = place / "harbour.tif"

    def report(progress: Progress) -> None:
        if progress.stage == "verify":
            target.write_bytes(b"came first")

    with pytest.raises(NameTaken):
        copy(master, target, report=report)
    assert target.read_bytes() == b"came first"
    assert names(place) == ["harbour.tif"]


def test_works_where_the_file_system_knows_no_links(master: Path, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "link", _refusing(errno.EPERM))
    copy(master, place / "harbour.tif")
    assert names(place) == ["harbour.tif"]


def test_replaces_when_asked(master: Path, place: Path) -> None:
    (place / "harbour.tif").write_bytes(b"damaged")
    copy(master, place / "harbour.tif", replace=True)
    assert (place / "harbour.tif").read_bytes() == master.read_bytes()


def test_refuses_a_source_that_fails_its_check(master: Path, place: Path) -> None:
    with pytest.raises(Damaged, match=copying.FAILS_CHECK):
        copy(master, place / "harbour.tif", sha256="0" * 64)
    assert names(place) == []


def test_says_when_there_is_no_source(place: Path) -> None:
    with pytest.raises(NotFound):
        copy(place / "nothing.tif", place / "out.tif")
    assert names(place) == []


@pytest.mark.parametrize("kind", ["folder", "pipe"])
def test_what_is_no_file_is_not_copied(place: Path, tmp_path: Path, kind: str) -> None:
    """A pipe nobody writes to reads as an empty file."""
    source = tmp_path / "source"
    source.mkdir() if kind == "folder" else os.mkfifo(source)
    with pytest.raises(NotFound, match=copying.NOT_A_FILE):
        copy(source, place / "out.tif")
    assert names(place) == []


def test_notices_a_disk_that_stores_other_bytes(master: Path, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write = os.write

    def lying(fd: int, data: memoryview) -> int:
        return write(fd, bytes(data)[:-1] + bytes([data[-1] ^ 1]))

    monkeypatch.setattr(os, "write", lying)
    with pytest.raises(Damaged, match=copying.READS_BACK_OTHERWISE):
        copy(master, place / "harbour.tif")
    assert names(place) == []


def test_notices_a_source_that_changes_meanwhile(master: Path, place: Path) -> None:
    def report(progress: Progress) -> None:
        if progress.stage == "copy":
            os.utime(master, ns=(5, 5))

    with pytest.raises(Refused, match="changed while"):
        copy(master, place / "harbour.tif", report=report)
    assert names(place) == []


def test_a_read_error_names_the_byte(master: Path, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(copying, "BLOCK_BYTES", 100_000)
    readv, calls = os.readv, []

    def failing(fd: int, buffers: list[memoryview]) -> int:
        calls.append(fd)
        if len(calls) == 3:
            raise OSError(errno.EIO, "Input/output error")
        return readv(fd, buffers)

    monkeypatch.setattr(os, "readv", failing)
    with pytest.raises(Damaged, match="byte 200,000"):
        copy(master, place / "harbour.tif")
    assert names(place) == []


@pytest.mark.parametrize("stage", ["copy", "verify"])
def test_stops_when_told_and_cleans_up(master: Path, place: Path, stage: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(copying, "BLOCK_BYTES", master.stat().st_size // 4)
    seen: list[str] = []
    with pytest.raises(Stopped):
        copy(master, place / "harbour.tif", report=lambda p: seen.append(p.stage), cancelled=lambda: stage in seen)
    assert names(place) == []
    assert seen[-1] == stage, "it went on to the next stage"
    assert seen.count(stage) == 1, "it went on to the next block"


def test_refuses_when_the_disk_lacks_room(master: Path, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(copying, "SPARE_BYTES", 1 << 60)
    with pytest.raises(copying.NoRoom):
        copy(master, place / "harbour.tif")
    assert names(place) == []


def test_a_file_too_large_for_the_file_system_leaves_nothing_and_is_called_so(
        master: Path, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """RLIMIT_FSIZE lets the kernel refuse a write in the middle of the file, for real."""
    import resource

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    monkeypatch.setattr(copying, "BLOCK_BYTES", 65_536)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (150_000, before[1]))
        with pytest.raises(TooLarge):
            copy(master, place / "harbour.tif")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, ignored)
    assert names(place) == []


@pytest.mark.parametrize("number", [errno.EROFS, errno.EACCES])
def test_a_read_only_store_is_said_to_be_so(master: Path, place: Path, number: int,
                                            monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.open

    def refusing(path: object, flags: int, *rest: int, **more: object) -> int:
        if flags & os.O_CREAT:
            raise OSError(number, os.strerror(number))
        return real(path, flags, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "open", refusing)
    with pytest.raises(Refused, match=FOLDER_READ_ONLY):
        copy(master, place / "harbour.tif")


def test_a_store_pulled_during_the_copy_is_an_error_not_a_crash(master: Path, place: Path, tmp_path: Path) -> None:
    def report(progress: Progress) -> None:
        if progress.stage == "verify":
            place.rename(tmp_path / "pulled")

    with pytest.raises(CatalogueError):
        copy(master, place / "harbour.tif", report=report)
    assert not (tmp_path / "pulled" / "harbour.tif").exists()


def test_a_leftover_is_removed_even_when_it_is_a_second_name_of_a_master(master: Path, place: Path) -> None:
    """Killed between giving the name and removing the temporary one: the leftover must not be emptied."""
    target = place / "harbour.tif"
    copy(master, target)
    os.link(target, part_path(target))
    with pytest.raises(Refused):
        copy(master, target)
    assert names(place) == ["harbour.tif"]
    assert target.read_bytes() == master.read_bytes()


def test_two_programs_at_once_do_not_disturb_each_other(master: Path, place: Path) -> None:
    target = place / "harbour.tif"
    met: list[str] = []

    def report(progress: Progress) -> None:
        if progress.stage == "verify" and not met:
            with pytest.raises(Busy):
                copy(master, target)
            met.append("busy")

    copy(master, target, report=report)
    assert met == ["busy"]
    assert target.read_bytes() == master.read_bytes()


def test_a_copy_killed_at_any_point_leaves_all_or_nothing(master: Path, place: Path) -> None:
    """The short form of ``scripts/torture.py``: the child kills itself at its n-th call into the system."""
    child = """
import os, signal, sys
from pathlib import Path
from catalogue.fixity import copying
from catalogue.progress import ignore_progress, never_cancelled
from catalogue.reading import digests
digests.BLOCK_BYTES = copying.BLOCK_BYTES = 100_000
left = int(sys.argv[3])
def hook(event, args):
    global left
    if event in ("open", "os.link", "os.rename", "os.remove", "os.utime"):
        left -= 1
        if left < 0:
            os.kill(os.getpid(), signal.SIGKILL)
for name in ("write", "readv", "fsync", "close"):
    real = getattr(os, name)
    def wrapped(*args, real=real):
        hook("open", args)
        return real(*args)
    setattr(os, name, wrapped)
sys.addaudithook(hook)
copying.copy_verified(Path(sys.argv[1]), Path(sys.argv[2]), sha256=None,
                      report=ignore_progress, cancelled=never_cancelled)
left = 10**9
print("done")
"""
    target = place / "harbour.tif"
    whole = hashlib.sha256(master.read_bytes()).hexdigest()
    killed, point = 0, 0
    while True:
        run = subprocess.run([sys.executable, "-c", child, str(master), str(target), str(point)],
                             capture_output=True, text=True, check=False)
        if target.exists():
            assert hashlib.sha256(target.read_bytes()).hexdigest() == whole
            target.unlink()
        copy(master, target)
        assert names(place) == ["harbour.tif"]
        target.unlink()
        if run.returncode == 0:
            break
        assert run.returncode == -signal.SIGKILL, run.stderr
        killed, point = killed + 1, point + 1
    assert killed >= 15


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.binary(max_size=5000), name=st.binary(min_size=1, max_size=255).filter(
    lambda n: not set(n) & {0, 47} and n not in (b".", b"..")))
def test_any_bytes_under_any_name(tmp_path: Path, data: bytes, name: bytes) -> None:
    source = tmp_path / "source"
    source.write_bytes(data)
    target = tmp_path / "held" / os.fsdecode(name)
    assert copy(source, target, replace=True) == hashlib.sha256(data).hexdigest()
    assert target.read_bytes() == data
    assert len(names(target.parent)) == 1
    target.unlink()


def test_the_aside_name_is_free_and_fits(place: Path) -> None:
    with opened(place / ("h" * 250 + ".tif")) as long:
        first = aside_name(long, "2026-11-25T09:17:18.000Z").path
        first.touch()
        second = aside_name(long, "2026-11-25T09:17:18.000Z").path
    assert first != second
    assert first.suffix == ".damaged-20261125T091718"
    second.touch()


def test_write_atomically_replaces_whole(place: Path) -> None:
    write_atomically(place / "manifest", b"one")
    write_atomically(place / "manifest", b"two")
    assert (place / "manifest").read_bytes() == b"two"
    assert names(place) == ["manifest"]


def _refusing(number: int):  # type: ignore[no-untyped-def]
    def refuse(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number))

    return refuse
