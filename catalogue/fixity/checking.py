"""Check one file against what is on record for it. Knows no database; runs in threads."""

import errno
import hashlib
import os
import stat
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from catalogue.progress import Cancelled, Stopped
from catalogue.reading.digests import ReadFailed, hash_open_file, read_block
from catalogue.records.paths import stored_mtime
from catalogue.records.sidecars import SeenSidecar
from catalogue.storage.identity import identity
from catalogue.storage.medium import drop_cache

SECTOR_BYTES = 4096   # the unit in which a failing medium is narrowed down
TRIES = 3
_GONE = {errno.ENOENT, errno.ENOTDIR}


class Result(StrEnum):
    """The possible results of a check; the names of findings where there is one."""

    INTACT = "intact"
    CHANGED = "changed"          # bytes differ though size and time do not
    EDITED = "edited"            # bytes differ, and so does size or time
    TRUNCATED = "truncated"      # the rest of it is gone
    EMPTY = "empty"              # all of it is gone
    MISSING = "missing"
    UNREADABLE = "unreadable"
    CHANGING = "changing"        # being written while it was read: says nothing


@dataclass(frozen=True, slots=True)
class Expected:
    """What a file was when its digest was taken; ``mtime_ns`` as :func:`stored_mtime` gives it."""

    size: int
    mtime_ns: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Checked:
    """One check. ``size`` and ``mtime_ns`` are as found; ``offset`` is the first byte that could not be read;
    ``denied``: the system did not let it be opened, which says nothing of its bytes. ``sidecars`` are beside it;
    None if nobody looked."""

    result: Result
    size: int = 0
    mtime_ns: int = 0
    sha256: str = ""
    offset: int | None = None
    detail: str = ""
    denied: bool = False
    sidecars: tuple[SeenSidecar, ...] | None = None


def check(path: str, expected: Expected, *, on_read: Callable[[int], None], cancelled: Cancelled,
          from_disk: bool = True) -> Checked:
    """Digest a file and compare.

    ``on_read`` is called with the bytes of each buffer. With ``from_disk`` the system's memory of the file is dropped
    first, so that the medium is what is checked. A file whose size differs is not digested: its bytes cannot agree.

    Raises Stopped: ``cancelled()`` said so. Every fault of the file is a result, not an error.
    """
    try:
        fd = os.open(path, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
    except OSError as error:
        return _refused(error)
    try:
        checked = check_open(fd, expected, on_read=on_read, cancelled=cancelled, from_disk=from_disk)
        before, named = identity(fd), identity(path)
    finally:
        os.close(fd)
    if checked.sha256 and named != before:
        return Checked(Result.CHANGING, checked.size, checked.mtime_ns, detail="it was replaced while being read")
    return checked


def check_open(fd: int, expected: Expected, *, on_read: Callable[[int], None], cancelled: Cancelled,
               from_disk: bool = True) -> Checked:
    """:func:`check` for a file that is open already, and stays so."""
    try:
        before = os.fstat(fd)
        if not stat.S_ISREG(before.st_mode):
            return Checked(Result.MISSING, detail="something other than a file is in its place")
        if not before.st_size and expected.size:
            return Checked(Result.EMPTY, 0, before.st_mtime_ns, detail=f"no bytes where there were {expected.size:,}")
        if before.st_size != expected.size:
            kind = Result.TRUNCATED if before.st_size < expected.size else Result.EDITED
            return Checked(kind, before.st_size, before.st_mtime_ns,
                           detail=f"{before.st_size:,} bytes where there were {expected.size:,}")
        if from_disk:
            drop_cache(fd)
        digest = _digest(fd, on_read, cancelled)
        after = os.fstat(fd)
    except ReadFailed as error:
        return Checked(Result.UNREADABLE, offset=error.offset, detail=str(error))
    except OSError as error:
        return _refused(error)
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        return Checked(Result.CHANGING, after.st_size, after.st_mtime_ns, detail="it was written to while being read")
    return Checked(_compared(digest, before.st_mtime_ns, expected), before.st_size, before.st_mtime_ns, digest)


def _compared(digest: str, mtime_ns: int, expected: Expected) -> Result:
    if digest == expected.sha256:
        return Result.INTACT
    return Result.CHANGED if stored_mtime(mtime_ns) == expected.mtime_ns else Result.EDITED


def _refused(error: OSError) -> Checked:
    if error.errno in _GONE:
        return Checked(Result.MISSING, detail="the file is no longer there")
    return Checked(Result.UNREADABLE, detail=f"it cannot be opened: {error.strerror}",
                   denied=error.errno in (errno.EACCES, errno.EPERM))


def _digest(fd: int, on_read: Callable[[int], None], cancelled: Cancelled) -> str:
    sha = hashlib.sha256()

    def after_block(count: int) -> None:
        on_read(count)
        if cancelled():
            raise Stopped

    hash_open_file(fd, [sha], after_block, read=read_at)
    return sha.hexdigest()


def read_at(fd: int, buffer: memoryview, offset: int) -> int:
    """Bytes from ``offset`` into ``buffer``; how many came, 0 at the end.

    A failing read is tried again, then narrowed down to a sector. Raises :class:`ReadFailed` with the first byte
    that the medium does not give.
    """
    for attempt in range(TRIES):
        try:
            return read_block(fd, buffer, offset)
        except ReadFailed:
            if attempt == TRIES - 1:
                if len(buffer) <= SECTOR_BYTES:
                    raise
                return _by_sectors(fd, buffer, offset)
    raise AssertionError("no try was made")


def _by_sectors(fd: int, buffer: memoryview, offset: int) -> int:
    """Read what a failing range still returns, sector by sector, up to its first bad sector."""
    bytes_read = 0
    while bytes_read < len(buffer):
        try:
            count = read_at(fd, buffer[bytes_read:bytes_read + SECTOR_BYTES], offset + bytes_read)
        except ReadFailed:
            if not bytes_read:
                raise
            return bytes_read  # the next read starts at the bad sector and says so
        if not count:
            break
        bytes_read += count
    return bytes_read
